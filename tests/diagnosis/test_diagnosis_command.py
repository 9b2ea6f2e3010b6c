"""``axlewright read``: its JSON keeps the agreed names, and says the same as the library and the kept job."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from PIL import Image, ImageFilter
from typer.testing import CliRunner

import axlewright as aw
from axlewright.cli.app import app
from axlewright.diagnosis import Evidence, diagnose
from axlewright.job import enter, put_on_shelf, start_job
from axlewright.job.entering import known_of
from axlewright.job.pattern import enter_patterns, judge
from axlewright.job.photos import FLANKS, FlankLook, ReadFlank
from axlewright.job.rounds import setting_of
from axlewright.language import using_language
from axlewright.pattern import PhotoReading, pattern_from_words
from axlewright.records import open_store

PHOTOS = Path(__file__).parents[2] / "examples" / "photos"
CAUSE = {"pinion_out_mm", "ring_away_mm", "offset_error_mm", "shaft_angle_error_deg"}
ADVICE = {"spacer_change_mm", "shim_move_mm", "cost_class", "chance_last_teardown"}


def ask(*more: str) -> dict[str, Any]:
    """Return what the command prints as JSON."""
    done = CliRunner().invoke(app, ["read", "--design", "TY-222", "--json", *more])
    assert done.exit_code == 0, done.output
    told: dict[str, Any] = json.loads(done.output)
    return told


def photo_options() -> list[str]:
    out = []
    for flank in FLANKS:
        corners = json.loads((PHOTOS / f"ty-222-job-{flank}.json").read_text())["corners_text"]
        out += [f"--{flank}", str(PHOTOS / f"ty-222-job-{flank}.jpg"), f"--{flank}-corners", corners]
    return out


def test_photos_give_the_agreed_names() -> None:
    """The photos were drawn with the pinion 0.127 mm out: their JSON says so."""
    told = ask(*photo_options(), "--compound", "auto", "--backlash", "0.17mm", "--backlash", "0.18mm")
    assert {"drive", "coast", "cause", "cure", "fixable_by_shims", "advice"} <= set(told)
    assert set(told["cause"]) == CAUSE
    assert set(told["cure"]) == {"pinion_move_mm", "ring_move_mm"}
    for spread in (*told["cause"].values(), *told["cure"].values()):
        assert set(spread) == {"mean", "sd", "p05", "p95"}
    assert told["advice"]
    assert all(set(one) >= ADVICE for one in told["advice"])
    truth = json.loads((PHOTOS / "ty-222-job-drive.json").read_text())["settings"]["pinion_out_mm"]
    assert told["cause"]["pinion_out_mm"]["p05"] <= truth <= told["cause"]["pinion_out_mm"]["p95"]
    assert told["cure"]["pinion_move_mm"]["mean"] == pytest.approx(-truth, abs=0.03)
    for flank in FLANKS:
        assert {"center", "center_sd", "length_fraction"} <= set(told[flank])


def test_command_library_and_job_say_the_same_of_the_same(tmp_path: Path) -> None:
    """Given the same evidence nothing differs; the job usually knows more (mark, backlash) and is surer."""
    words = {"drive": "high, toward heel, half", "coast": "high, centred lengthwise, half"}
    told = ask("--drive-words", words["drive"], "--coast-words", words["coast"], "--backlash", "0.17mm")
    design = aw.load_design("TY-222")
    read = {flank: pattern_from_words(text, flank) for flank, text in words.items()}
    found = diagnose(Evidence(design, read["drive"], read["coast"], backlash_mm=0.17)).to_json()
    assert told["cause"] == found["cause"]
    assert told["cure"] == found["cure"]
    alone = ask("--drive-words", words["drive"], "--coast-words", words["coast"])
    looks = {flank: FlankLook(words=text) for flank, text in words.items()}
    with open_store(tmp_path) as store:
        job = start_job(store, design_name="TY-222", vehicle="v", complaint="c", who="b").number
        kept = enter_patterns(store, job, looks, who="b").entries[1].payload["diagnosis"]
        assert kept["cause"] == alone["cause"]
        assert kept["cure"] == alone["cure"]
        enter(store, job, "backlash", {"readings": "0.17 mm 0.17 mm 0.17 mm 0.17 mm", "stem": "in_rotation",
                                       "axle": "light"}, who="b")  # fmt: skip
        later = enter_patterns(store, job, looks, who="b").entries[1].payload["diagnosis"]
        assert later["cause"] == told["cause"], "the same backlash as the command was given"


def test_a_mark_turned_round_is_said_on_the_command_line_and_on_the_page(tmp_path: Path) -> None:
    """Words put the drive side low as an error of twice +0.006 in would (0.012 in too far in)."""
    words = ("--drive-words", "very low, toward toe", "--coast-words", "very low, toward heel")
    told = ask(*words, "--mark", "+0.006in")
    share = told["how_the_depth_came_about"]["the mark was taken the wrong way round"]
    assert share > 0.1, "as likely beforehand as left out (a tenth), and it fits better"
    sentences = [n for n in told["notes"] if "twice the depth mark" in n]
    assert bool(sentences) == (share > 0.4)
    assert all(n in told["words"] for n in sentences)


def blurred(photo: Path, to: Path) -> Path:
    """Keep a picture so far out of focus that it is refused."""
    with Image.open(photo) as picture:
        picture.filter(ImageFilter.GaussianBlur(55)).save(to, "JPEG")
    return to


@pytest.mark.parametrize("as_json", [True, False])
def test_a_refused_drive_photo_is_asked_for_again_before_any_change(tmp_path: Path, as_json: bool) -> None:
    options = photo_options()
    options[1] = str(blurred(Path(options[1]), tmp_path / "drive.jpg"))
    if as_json:
        told = ask(*options)
        assert told["drive"] is None
        assert told["coast"]["source"] == "photo"
        assert set(told["refused"]) == {"drive"}
        assert told["refused"]["drive"]["fix"]
        first = told["advice"][0]
        assert first["look_again"]
        assert first["cost_class"] == "L0"
        assert first["pinion_move_mm"] == first["shim_move_mm"] == 0.0
        return
    done = CliRunner().invoke(app, ["read", "--design", "TY-222", *options])
    assert done.exit_code == 0, done.output
    lines = done.output.splitlines()
    assert lines[0].startswith("drive: photo refused: ")
    assert any(line.startswith("1. Photograph the drive flank again") for line in lines)


def test_a_refused_photo_with_nothing_beside_it_is_an_error(tmp_path: Path) -> None:
    options = photo_options()[:4]
    options[1] = str(blurred(Path(options[1]), tmp_path / "drive.jpg"))
    done = CliRunner().invoke(app, ["read", "--design", "TY-222", *options])
    assert done.exit_code == 2
    assert "photo" in done.output


def test_two_photos_settle_their_outlines_together(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the two flanks agree on is what is diagnosed, as on the page."""
    asked = []

    def settle(drive: PhotoReading, coast: PhotoReading, design: Any) -> tuple[PhotoReading, PhotoReading]:
        asked.append((drive.pattern.flank, coast.pattern.flank, design.name))
        return replace(drive, center_sd=(0.31, 0.32)), coast

    monkeypatch.setattr("axlewright.pattern.settle_pair", settle)
    assert ask(*photo_options())["drive"]["center_sd"] == [0.31, 0.32]
    ask(*photo_options()[:4])
    assert asked == [("drive", "coast", "TY-222")]


def test_each_flank_is_held_against_what_is_wanted() -> None:
    """The photos were drawn with the pinion 0.127 mm out: the drive pattern lies too high."""
    told = ask(*photo_options())
    verdicts = {one["criterion"]: one for one in told["drive"]["acceptance"]}
    assert verdicts["profile"]["verdict"] == "outside"
    assert "centred between top and root" in verdicts["profile"]["text"]
    assert "TM 9-2320-273-34" in verdicts["profile"]["text"]
    assert "working-lengthwise" in verdicts
    turned = ask(*photo_options(), "--drives-on", "coast", "--condition", "used")
    assert {one["criterion"] for one in turned["drive"]["acceptance"]} == {"clear", "used"}
    assert turned["cause"] == told["cause"]
    done = CliRunner().invoke(app, ["read", "--design", "TY-222", *photo_options()])
    assert "✕ Pattern centre in profile" in done.output
    assert "expected backlash" not in done.output, "it was not read"


def test_shims_steps_and_flank_are_heard() -> None:
    words = ("--drive-words", "very high, half", "--coast-words", "very high, half", "--backlash", "0.10mm")
    told = ask(
        *words, "--side-shims", "0.250in 0.265in", "--shim-step", "0.005in", "--spacer-step", "0.002in"
    )
    for one in told["advice"]:
        if one["look_again"]:
            continue
        assert round(one["shim_move_mm"] / 0.127, 3) % 1 == pytest.approx(0.0, abs=0.01)
        assert round(one["spacer_change_mm"] / 0.0508, 3) % 1 == pytest.approx(0.0, abs=0.01)
        ring, other = one["side_shims_to_fit_mm"]
        assert ring + other == pytest.approx((0.250 + 0.265) * 25.4, abs=1e-3)
        assert ring == pytest.approx(0.250 * 25.4 - one["shim_move_mm"], abs=1e-3)


@pytest.mark.parametrize(
    ("option", "value", "says"),
    [
        ("--side-shims", "0.25in", "two thicknesses are needed"),
        ("--side-shims", "0mm 1mm", "no side shim"),
        ("--shim-step", "0mm", "cannot be built"),
        ("--drives-on", "front", "unknown flank"),
        ("--condition", "worn", "unknown condition"),
    ],
)
def test_bad_options_are_refused_in_a_sentence(option: str, value: str, says: str) -> None:
    done = CliRunner().invoke(app, ["read", "--design", "TY-222", "--drive-words", "low", option, value])
    assert done.exit_code == 2
    assert says in done.output


def test_a_mark_in_the_other_unit_is_thought_of_on_the_command_line() -> None:
    """A mark typed in inches may have meant hundredths of a millimetre, and the other way round."""
    words = ("--drive-words", "low", "--coast-words", "low")
    for mark in ("+0.006in", "+0.06 mm"):
        assert (
            "the mark was taken in the wrong unit" in ask(*words, "--mark", mark)["how_the_depth_came_about"]
        )


def test_no_english_is_left_on_a_german_command_line() -> None:
    with using_language("de"):
        options = [*photo_options(), "--compound", "print", "--backlash", "0.15mm"]
        done = CliRunner().invoke(app, ["read", "--design", "TY-222", *options])
    assert done.exit_code == 0, done.output
    lines = [line.partition(" (")[0] for line in done.output.splitlines()]  # sources keep their own words
    words = set(" ".join(lines).replace(",", " ").replace(":", " ").split())
    english = {
        "drive",
        "coast",
        "expected",
        "rubbed",
        "print",
        "is",
        "outside",
        "wanted",
        "the",
        "heel",
        "top",
    }
    assert not words & english
    assert "Zug" in words


@pytest.mark.parametrize(
    "typed",
    [
        ["0.16 mm"],
        ["0.15mm", "0.17mm"],
        ["0.15 0.17"],
        ["0,15mm 0,17mm"],
        ["0.15, 0.17 mm"],
        ["0.00590551 0.00669291 in"],
    ],
)
def test_backlash_is_understood_as_on_the_page(typed: list[str]) -> None:
    """A decimal comma is no separator, and a unit after a space belongs to its number."""
    words = ("--drive-words", "low", "--coast-words", "low", "--backlash-target", "0.16 mm")
    options = [part for one in typed for part in ("--backlash", one)]
    told, plain = ask(*words, *options), ask(*words, "--backlash", "0.16mm")
    assert ask(*words, "--backlash", *typed) == told, "one after the other does as well"
    assert told["cause"]["ring_away_mm"]["mean"] == pytest.approx(
        plain["cause"]["ring_away_mm"]["mean"], abs=1e-4
    )


def test_a_word_too_many_is_refused() -> None:
    done = CliRunner().invoke(app, ["read", "--design", "TY-222", "--drive-words", "low", "0.15mm"])
    assert done.exit_code == 2
    assert "'0.15mm' belongs to no option" in done.output


def test_cause_and_cure_are_two_lines() -> None:
    done = CliRunner().invoke(app, ["read", "--design", "TY-222", *photo_options()])
    lines = done.output.splitlines()
    cause = next(k for k, line in enumerate(lines) if line.startswith("Cause: "))
    assert lines[cause + 1].startswith("Cure, known better: pinion −0.00")
    assert lines[cause + 2].startswith("Figures of the pinion, out plus, in minus: it stands +0.00")


def test_page_and_command_give_one_advice_for_one_input_and_shelf(tmp_path: Path) -> None:
    """No depth sum in either: the same spacer, shelf and readings round the gear give the same advice."""
    words = {"drive": "high, toward heel, half", "coast": "high, centred lengthwise, half"}
    shelf, readings = "0.0540 0.0560 0.0580 0.0600 0.0620", "0.0060 0.0065 0.0070 0.0065"
    told = ask(
        "--drive-words", words["drive"], "--coast-words", words["coast"], "--stock", f"{shelf} in",
        "--spacer-now", "0.0560in", "--backlash", f"{readings} in", "--backlash-target", "0.0070in",
    )  # fmt: skip
    with open_store(tmp_path) as store:
        put_on_shelf(store, "pinion spacer", shelf, design_name="TY-222", who="b", system="inch")
        job = start_job(store, design_name="TY-222", vehicle="v", complaint="c", who="b").number
        enter(store, job, "backlash", {"readings": readings, "stem": "in_rotation", "axle": "light",
                                       "target": "0.0070"}, who="b", system="inch")  # fmt: skip
        known = known_of(store, job, who="b", system="inch")
        now = replace(setting_of(known), spacer_now_mm=0.0560 * 25.4)
        read = {f: pattern_from_words(text, f) for f, text in words.items()}
        looks = {f: ReadFlank(r, {}) for f, r in read.items()}
        _found, diagnosis = judge(store, known, looks, now)
    kept = json.loads(json.dumps(diagnosis.to_json(), default=str))
    assert kept["notes"] == told["notes"]
    assert kept["advice"] == told["advice"]
    assert kept["figures"] == told["figures"]
    assert kept["cure"] == told["cure"]
    assert {a["spacer_to_fit_mm"] for a in told["advice"] if a["spacer_change_mm"]} <= {
        round(float(t) * 25.4, 4) for t in shelf.split()
    }, "only what lies on the shelf"


def test_one_more_photo_counts_together_with_the_first(tmp_path: Path) -> None:
    """A second picture of the flank, here the first with less light: place between both, known better."""
    options = photo_options()
    with Image.open(options[1]) as picture:
        picture.point(lambda v: int(0.85 * v)).save(tmp_path / "again.jpg", "JPEG", quality=88)
    more = ("--drive-again", str(tmp_path / "again.jpg"), "--drive-again-corners", options[3])
    alone, second, both = ask(*options), ask("--drive", more[1], *options[2:]), ask(*options, *more)
    assert both["drive"]["center_sd"][1] < min(d["drive"]["center_sd"][1] for d in (alone, second))
    ends = sorted(d["drive"]["center"][1] for d in (alone, second))
    assert ends[0] - 1e-3 <= both["drive"]["center"][1] <= ends[1] + 1e-3
    assert any("mean of 2 photos" in q for q in both["drive"]["quality"])
    assert not both["advice"][0]["look_again"]
    assert both["coast"] == alone["coast"]


def test_one_more_photo_needs_a_first_one_corners_and_another_picture(tmp_path: Path) -> None:
    options = photo_options()
    (tmp_path / "copy.jpg").write_bytes(Path(options[1]).read_bytes())
    for more, sentence in (
        (("--drive-again", options[1]), "differ in number (1 and 0)"),
        (("--drive-again", str(tmp_path / "copy.jpg"), "--drive-again-corners", options[3]), "given twice"),
    ):
        done = CliRunner().invoke(app, ["read", "--design", "TY-222", *options, *more])
        assert done.exit_code == 2
        assert sentence in done.output
    words = ["--drive-words", "high", "--drive-again", options[1], "--drive-again-corners", options[3]]
    done = CliRunner().invoke(app, ["read", "--design", "TY-222", *words])
    assert done.exit_code == 2
    assert "no first photo" in done.output


def test_a_refused_photo_beside_a_read_one_is_told_and_the_read_one_counts(tmp_path: Path) -> None:
    options = photo_options()
    with Image.open(options[1]) as picture:
        picture.point(lambda v: int(0.85 * v)).save(tmp_path / "good.jpg", "JPEG", quality=88)
    bad = str(blurred(Path(options[1]), tmp_path / "bad.jpg"))
    good = str(tmp_path / "good.jpg")
    for first, second in ((bad, good), (good, bad)):
        told = ask("--drive", first, *options[2:4], "--drive-words", "low",
                   "--drive-again", second, "--drive-again-corners", options[3])  # fmt: skip
        assert told["refused"]["drive"]["photo"] == "bad.jpg"
        assert told["drive"]["source"] == "photo", "words stand in only where no photo is read"
        assert not any("earlier photo" in q for q in told["drive"]["quality"])
        assert "was refused" not in told["advice"][0]["text"]
