"""The command listen as a person uses it."""

from __future__ import annotations

import gettext
import json
import re
from pathlib import Path

import numpy as np
import pytest
import soundfile
from typer.testing import CliRunner

from axlewright import language
from axlewright.cli.app import app
from axlewright.language import using_language
from axlewright.sound import DrivePlan, DriveSource, Tyre, save_drive, simulate_drive

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


class Guillemets(gettext.NullTranslations):
    """A language made of the English in guillemets."""

    def gettext(self, message: str) -> str:
        return f"«{message}»"

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return f"«{msgid1 if n == 1 else msgid2}»"


def outside(text: str) -> list[str]:
    """Return the words of a text that stand in no message."""
    left, depth = "", 0
    for letter in text:
        depth += letter == "«"
        left += letter if depth == 0 else " "
        depth -= letter == "»"
    return [word for word in re.findall(r"[A-Za-z]{3,}", left) if word != "mph"]


def test_every_word_is_a_message(drive_file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(language, "_catalogue", lambda _chosen: Guillemets())
    common = ["listen", str(drive_file), *TEETH, *ROLLOUT, "--bearing", "wheel:17:12:70"]
    for speed in (["--speed-marks", str(drive_file.with_suffix(".marks"))], ["--speed", "45mph"]):
        code, out, _ = run(*common, *speed)
        assert code == 0
        assert outside(out) == []
        assert "«ring and pinion mesh»" in out or "--speed" in speed


def test_german_has_its_words_and_commas_and_the_system_asked_for(drive_file: Path) -> None:
    marks = str(drive_file.with_suffix(".marks"))
    arguments = ["listen", str(drive_file), *TEETH, *ROLLOUT, "--speed-marks", marks, "--system", "metric"]
    with using_language("de"):
        code, out, _ = run(*arguments)
        assert code == 0
        report = json.loads(run(*arguments, "--json")[1])
    assert "wahrscheinlich" in out
    assert "Eingriff von Tellerrad und Ritzel" in out
    assert re.search(r"bei \d+ km/h \(\d+ mph\)", out)
    assert not re.search(r"\d\.\d", out)
    assert report["sources"][0]["name"] == "ring and pinion mesh", "names in a report are the same everywhere"
    assert run(*arguments[:-1], "furlongs")[0] == 2


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--speed", "300mph"], "not possible"),
        (["--tyre-rollout", "2.1mm"], "fits no road"),
        (["--speed", "150mph", "--tyre-rollout", "0.95m"], "cannot be"),
        (["--tone-to-noise", "90"], "out of reach"),
        (["--pinion-runout", "200"], "more than itself"),
        (["--flank", "up"], "unknown answer 'up'"),
    ],
)
def test_sounds_that_cannot_be_made_are_refused(tmp_path: Path, arguments: list[str], says: str) -> None:
    out = tmp_path / "made.wav"
    code, _, err = run("sound", "--design", "TY-222", "--pinion-out", "5thou", *arguments, "--out", str(out))
    assert code == 2
    assert says in err
    assert not out.exists()


def test_a_sound_is_written_as_wav_only(tmp_path: Path) -> None:
    out = tmp_path / "made.txt"
    code, _, err = run("sound", "--design", "TY-222", "--pinion-out", "5thou", "--out", str(out))
    assert code == 2
    assert "let its name end in .wav" in err


def test_the_evidence_is_drawn_on_request(drive_file: Path, tmp_path: Path) -> None:
    png = tmp_path / "evidence.png"
    marks = str(drive_file.with_suffix(".marks"))
    code, _, _ = run(
        "listen", str(drive_file), *TEETH, *ROLLOUT, "--speed-marks", marks, "--evidence-png", str(png)
    )
    assert code == 0
    assert png.read_bytes().startswith(b"\x89PNG")
