"""The command listen as a person uses it."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile
import typer
from typer.testing import CliRunner

from axlewright.cli.listen import listen
from axlewright.sound import DrivePlan, DriveSource, Tyre, save_drive, simulate_drive

app = typer.Typer()
app.command("listen")(listen)


@app.callback()
def _root() -> None:
    """Keep the command's name."""


TEETH = ["--ring-teeth", "41", "--pinion-teeth", "11"]
ROLLOUT = ["--tyre-rollout", "2.10m"]


@pytest.fixture(scope="module")
def drive_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a recording with its marks beside it."""
    source = DriveSource("mesh", 41, 9.0, pinion_runout=0.3, pinion_order=41 / 11)
    drive = simulate_drive((source,), Tyre(2.1, 0.005, ""), DrivePlan(duration_s=30), 3)
    return save_drive(drive, tmp_path_factory.mktemp("cli"), "drive", "flac")


def run(*arguments: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(app, list(arguments))
    return result.exit_code, result.stdout, result.stderr


def test_json_and_picture(drive_file: Path, tmp_path: Path) -> None:
    marks = str(drive_file.with_suffix(".marks"))
    png = tmp_path / "heard.png"
    code, out, _ = run(
        "listen", str(drive_file), *TEETH, *ROLLOUT, "--speed-marks", marks, "--json", "--png", str(png)
    )
    assert code == 0
    report = json.loads(out)
    assert report["sources"][0]["name"] == "ring and pinion mesh"
    assert report["mesh"]["tone_to_noise_db"] > 3
    assert png.read_bytes().startswith(b"\x89PNG")


def test_text_with_design_and_size(drive_file: Path) -> None:
    code, out, _ = run(
        "listen", str(drive_file), "--design", "TY-222", "--tyre-size", "235/60 R16", "--speed", "45mph",
        "--bearing", "wheel:17:12:70", "--bearing", "pinion:17:9.5:60:15", "--tread-blocks", "62",
    )  # fmt: skip
    assert code == 0
    assert "What fits:" in out
    assert "Record next:" in out
    assert "sweep" in out


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ([*ROLLOUT, "--speed", "45mph"], "tooth counts are missing"),
        ([*TEETH, "--speed", "45mph"], "tyre must be given once"),
        ([*TEETH, *ROLLOUT, "--tyre-size", "205/55 R16", "--speed", "45mph"], "tyre must be given once"),
        ([*TEETH, *ROLLOUT], "speed must be given once"),
        ([*TEETH, *ROLLOUT, "--speed", "45"], "no unit"),
        ([*TEETH, *ROLLOUT, "--speed", "45mph", "--speed-from", "guess"], "no place a speed comes from"),
        ([*TEETH, "--tyre-rollout", "2.1mm", "--speed", "45mph"], "fits no road"),
        ([*TEETH, *ROLLOUT, "--speed", "45mph", "--bearing", "wheel:x"], "no bearing"),
        ([*TEETH, *ROLLOUT, "--speed", "45mph", "--tread-blocks", "3"], "tread"),
        (["--design", "no-such-design", *ROLLOUT, "--speed", "45mph"], "no-such-design"),
    ],
)
def test_bad_input_is_one_sentence_and_code_2(drive_file: Path, arguments: list[str], says: str) -> None:
    code, out, err = run("listen", str(drive_file), *arguments)
    assert code == 2
    assert says in err
    assert out == ""
    assert len(err.strip().splitlines()) == 1


def test_missing_and_silent_files(tmp_path: Path) -> None:
    silent = tmp_path / "silent.wav"
    soundfile.write(silent, np.zeros(48000 * 5), 48000)
    for path, says in ((tmp_path / "none.wav", "no such file"), (silent, "silent")):
        code, _, err = run("listen", str(path), *TEETH, *ROLLOUT, "--speed", "45mph")
        assert code == 2
        assert says in err


def test_nothing_is_overwritten_unasked(drive_file: Path, tmp_path: Path) -> None:
    png = tmp_path / "there.png"
    png.write_text("mine")
    code, _, err = run("listen", str(drive_file), *TEETH, *ROLLOUT, "--speed", "45mph", "--png", str(png))
    assert code == 2
    assert "exists already" in err
    assert png.read_text() == "mine"
