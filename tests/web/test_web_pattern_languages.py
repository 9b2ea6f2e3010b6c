"""Patterns entered in one language and unit system read in another: page, sheet, command line."""

from __future__ import annotations

import json
import re
from html import unescape
from pathlib import Path

import pytest
from axlewright.cli.app import app
from typer.testing import CliRunner
from web_visitor import Visitor

from axlewright.job import enter, sheet_data, start_job
from axlewright.job.pattern import answer_advice, enter_patterns
from axlewright.job.photos import FlankLook
from axlewright.language import using_language
from axlewright.records import JobStore, open_store
from axlewright.units import System, using_system

PHOTOS = Path(__file__).parents[2] / "examples" / "photos"
FIRST = {
    "drive": FlankLook(words="high, toward heel, about half"),
    "coast": FlankLook(words="high, centred, about half"),
}


def corners(flank: str) -> str:
    return str(json.loads((PHOTOS / f"ty-222-job-{flank}.json").read_text())["corners_text"])


def entered(store: JobStore, language: str, system: System) -> int:
    """Read words, press what is advised, then photograph both flanks: doubts, an offer, expected and came."""
    with using_language(language), using_system(system):
        number = start_job(store, design_name="TY-222", vehicle="v", complaint="c", who="b").number
        fields = {"readings": "0.15 mm 0.17 mm 0.16 mm 0.18 mm", "stem": "in_rotation", "axle": "light"}
        enter(store, number, "backlash", {**fields, "target": "0.18 mm"}, who="b", system=system)
        enter_patterns(store, number, FIRST, who="b", system=system)
        enter(store, number, "backlash", {**fields, "moved": "0.1 mm"}, who="b", system=system)
        looks = {
            flank: FlankLook((PHOTOS / f"ty-222-job-{flank}.jpg").read_bytes(), corners(flank))
            for flank in FIRST
        }
        enter_patterns(store, number, looks, who="b", system=system)
        advice = store.entries(number, kind="advice")[-1]
        answer_advice(store, number, advice.seq, True, "", who="b")
    return number


def plain(page: str, number: int) -> str:
    text = re.sub(r"\s+", " ", unescape(re.sub(r"<script.*?</script>|<[^>]+>", " ", page, flags=re.S)))
    text = re.sub(r"\d{4}-\d\d-\d\d \d\d:\d\d", "WHEN", text)
    return re.sub(rf"\b(Job|Auftrag) {number}\b", r"\1 N", text)


@pytest.mark.parametrize(
    ("language", "system", "other", "other_system"),
    [("de", "metric", "en", "inch"), ("en", "inch", "de", "metric")],
)
def test_patterns_entered_in_one_language_read_in_another(
    warm: Visitor, tmp_path: Path, language: str, system: System, other: str, other_system: System
) -> None:
    home = tmp_path / "records"
    with open_store(home) as store:
        foreign, own = entered(store, language, system), entered(store, other, other_system)
        kept = {n: store.entries(n, kind="advice")[-1].payload["text"] for n in (foreign, own)}
        with using_language(other), using_system(other_system):
            sheets = []
            for number in (foreign, own):
                sheet = sheet_data(store, number, system=other_system)
                parts = (*sheet.patterns, *sheet.causes, *sheet.advice)
                sheets.append(
                    [*(one.model_dump(exclude={"measured", "computed"}) for one in parts), sheet.cause_note]
                )
    assert kept[foreign]["shown"] != kept[own]["shown"], "the words as first shown are kept"
    assert {k: v for k, v in kept[foreign].items() if k != "shown"} == {
        k: v for k, v in kept[own].items() if k != "shown"
    }
    assert sheets[0] == sheets[1]
    warm.post("/settings/me", {"who": "b", "system": other_system, "language": other})
    pages = [plain(warm.get(f"/jobs/{number}/pattern"), number) for number in (foreign, own)]
    assert str(kept[own]["shown"]) in pages[1]
    assert pages[0] == pages[1]
    shown = []
    for number in (foreign, own):
        command = ["job", "show", str(number), "--home", str(home), "--system", other_system]
        done = CliRunner().invoke(app, command, env={"AXLEWRIGHT_LANGUAGE": other})
        shown.append(plain(done.output.partition("] pattern")[2].partition("] final")[0], number))
    assert shown[0] == shown[1]
    assert len(shown[0]) > 60
