"""The command line: results, JSON, and one sentence with code 2 when something is wrong."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from axlewright.cli.app import app
from axlewright.language import using_language

runner = CliRunner()
SPACER = ("spacer", "--carrier", "5.6", "--bearing", "1.2", "--mounting-distance", "4.3")


def run(*args: str):
    return runner.invoke(app, list(args))


def test_help_is_quick_because_it_loads_no_numerics():
    code = (
        "import sys\n"
        "import axlewright.cli.app\n"
        "heavy = {'numpy', 'scipy', 'numba', 'matplotlib', 'sqlalchemy'} & set(sys.modules)\n"
        "print(sorted(heavy))\n"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


def test_designs_are_listed_and_shown_with_their_estimates():
    assert "TY-222" in run("designs").output
    shown = json.loads(run("designs", "TY-222", "--json").output)
    assert shown["fields"]["ring_teeth"] == 41
    assert shown["derived"]["ring_pitch_angle_deg"] == pytest.approx(69.955, abs=1e-3)
    assert {e["field"] for e in shown["estimates"]} >= {"depth_taper"}


def test_roll_gives_the_same_in_thousandths_and_millimetres(tmp_path):
    inch = json.loads(run("roll", "TY-222", "--pinion-out", "2 thou", "--flank", "drive", "--json").output)
    metric = json.loads(
        run("roll", "TY-222", "--pinion-out", "0,0508 mm", "--flank", "drive", "--json").output
    )
    assert inch == metric
    assert inch["drive"]["pattern"]["center"][1] > 0.05
    picture = tmp_path / "roll.png"
    assert run("roll", "TY-222", "--png", str(picture)).exit_code == 0
    assert picture.read_bytes().startswith(b"\x89PNG")
    again = run("roll", "TY-222", "--png", str(picture))
    assert again.exit_code == 2
    assert "exists already" in again.output


def test_spacer_writes_the_sum_and_what_the_other_convention_gives():
    out = json.loads(
        run(
            "spacer", "--carrier", "5.6230 5.6235 5.6225", "--bearing", "1.2490",
            "--mounting-distance", "4.3125", "--place", "under_head",
            "--mark", "+2", "--mark-unit", "0.001 in",
            "--mark-meaning", "plus_means_larger_mounting_distance",
            "--stock", "0.0590 0.0600", "--json",
        ).output
    )  # fmt: skip
    assert out["spacer_mm"] == pytest.approx((5.6230 - 1.2490 - 4.3125 - 0.002) * 25.4, abs=1e-4)
    assert "= 0.0595 in" in out["sum"]
    assert "0.0635" in out["other_convention"]
    assert out["standard_uncertainty_mm"] > 0
    assert out["stock"]["thickness_mm"] in (pytest.approx(0.0590 * 25.4), pytest.approx(0.0600 * 25.4))


@pytest.mark.parametrize(
    ("args", "word"),
    [
        (("roll", "TY-222", "--pinion-out", "5 furlong"), "furlong"),
        (("roll", "TY-222", "--pinion-out", "0.05"), "unit"),
        (("roll", "TY-222", "--flank", "left"), "flank"),
        (("roll", "nothing"), "TY-222"),
        ((*SPACER, "--place", "somewhere"), "place"),
        ((*SPACER, "--place", "under_head", "--mark", "+2"), "unit"),
        (("read", "--design", "TY-222"), "pattern"),
        (
            ("read", "--design", "TY-222", "--drive", "missing.jpg", "--drive-corners", "1,1 2,1 2,2 1,2"),
            "missing.jpg",
        ),
        (("job", "show", "77", "--home", "HOME"), "77"),
        (("job", "add", "1", "polish", "--home", "HOME"), "step"),
    ],
)  # fmt: skip
def test_bad_input_is_one_sentence_and_code_2(args, word, tmp_path):
    out = run(*(str(tmp_path / "home") if a == "HOME" else a for a in args))
    assert out.exit_code == 2
    assert word in out.output
    assert "Traceback" not in out.output
    assert len(out.output.strip().splitlines()) == 1


def test_a_job_from_start_to_sheet(tmp_path: Path):
    home = str(tmp_path / "home")
    started = json.loads(
        run("job", "new", "--design", "TY-222", "--vehicle", "lorry", "--home", home, "--json").output
    )
    number = str(started["number"])
    depth = run(
        "job", "add", number, "depth", "place=under_head", "carrier=5.6230 5.6235 5.6225", "bearing=1.2490",
        "mounting_distance=4.3125", "mark=+2", "mark_unit=0.001 in",
        "mark_meaning=plus_means_larger_mounting_distance", "--who", "bench one", "--home", home, "--json",
    )  # fmt: skip
    assert depth.exit_code == 0, depth.output
    shown = json.loads(run("job", "show", number, "--home", home, "--json").output)
    assert shown["chain_holds"] is True
    assert any(e["step"] == "depth" for e in shown["entries_list"])
    assert run("job", "next", number, "--home", home).exit_code == 0
    pdf = tmp_path / "sheet.pdf"
    assert run("job", "sheet", number, "--out", str(pdf), "--home", home).exit_code == 0
    assert pdf.read_bytes().startswith(b"%PDF")
    assert run("job", "sheet", number, "--out", str(pdf), "--home", home).exit_code == 2
    carried = tmp_path / "job.zip"
    assert run("job", "export", number, "--out", str(carried), "--home", home).exit_code == 0
    other = str(tmp_path / "other")
    assert run("job", "import", str(carried), "--home", other).exit_code == 0
    assert "lorry" in run("job", "list", "--home", other).output


def test_reading_in_words_gives_the_json_contract():
    out = json.loads(
        run("read", "--design", "TY-222", "--drive-words", "high, toward heel, about half",
            "--coast-words", "high, centred, about half", "--backlash", "0.20mm", "--json").output
    )  # fmt: skip
    assert out["drive"]["center"][1] > 0
    assert set(out["cause"]) == {"pinion_out_mm", "ring_away_mm", "offset_error_mm", "shaft_angle_error_deg"}
    for spread in (*out["cause"].values(), *out["cure"].values()):
        assert spread["p05"] <= spread["mean"] <= spread["p95"]
        assert spread["sd"] > 0
    assert out["cause"]["pinion_out_mm"]["mean"] > 0
    assert 0 <= out["fixable_by_shims"] <= 1
    assert {"spacer_change_mm", "shim_move_mm", "cost_class", "chance_last_teardown"} <= set(out["advice"][0])


def test_an_unwritable_folder_is_said(tmp_path: Path):
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    out = run("job", "new", "--design", "TY-222", "--home", str(blocked / "home"))
    assert out.exit_code == 2
    assert "Traceback" not in out.output


@pytest.mark.parametrize(
    ("args", "word"),
    [
        (("roll", "TY-222", "--png", "MISSING/x.png"), "no such folder"),
        (("roll", "TY-222", "--torque", "300"), "unit"),
        (
            ("sound", "--design", "TY-222", "--pinion-out", "0.005in", "--out", "MISSING/x.wav"),
            "no such folder",
        ),
        (("sound", "--design", "TY-222", "--out", "FOLDER/x.wav"), "same"),
    ],
)
def test_places_and_settings_that_cannot_be_are_said_first(args, word, tmp_path):
    places = {"MISSING": str(tmp_path / "missing"), "FOLDER": str(tmp_path)}
    out = run(*(a.replace("MISSING", places["MISSING"]).replace("FOLDER", places["FOLDER"]) for a in args))
    assert out.exit_code == 2, out.output
    assert word in out.output
    assert not (tmp_path / "missing").exists()


def test_sounds_of_two_settings_are_made_at_equal_gain(tmp_path):
    import soundfile

    wav = tmp_path / "before.wav"
    told = json.loads(
        run("sound", "--design", "TY-222", "--pinion-out", "0.005in", "--torque", "0 Nm", "--seconds", "2",
            "--out", str(wav), "--json").output
    )  # fmt: skip
    assert told["setting"]["harmonic_urad"][0] > told["compared"]["harmonic_urad"][0]
    for name in ("before.wav", "before-compared.wav"):
        samples, rate = soundfile.read(tmp_path / name)
        assert len(samples) == 2 * rate
        assert 0.01 < abs(samples).max() < 1.0


def test_answers_in_german_have_decimal_commas_and_begin_with_the_system_asked_for():
    with using_language("de"):
        rolled = run("roll", "TY-222", "--pinion-out", "0,1 mm", "--system", "metric").output
        spacer = run(*SPACER, "--place", "under_head", "--unit", "in").output
    assert "+0,100 mm (+0,0039 in)" in rolled
    assert "Zug" in rolled
    assert "= 0,1000 in" in spacer
    assert not [
        word for text in (rolled, spacer) for word in text.split() if word[0].isdigit() and "." in word
    ]
    assert run("roll", "TY-222", "--system", "cubits").exit_code == 2
