"""Edges of the flank: reached or not, how sure, and along how much; and how the other measures spread."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

import axlewright as aw
from axlewright.contact import measure_mask
from axlewright.gearset import GearSetDesign
from axlewright.pattern import PatternReading, judge, pattern_from_sketch, pattern_from_words, read_photo
from axlewright.pattern.expected import with_other
from axlewright.pattern.readings import EDGES, HARD_LINE_SHARE, EdgeReading, hard_lines, read_edges

ROWS, COLS = 48, 96


def block(low: int, high: int, left: int = 30, right: int = 66) -> Any:
    mask = np.zeros((ROWS, COLS), dtype=bool)
    mask[low:high, left:right] = True
    return mask


def test_far_from_all_edges_nothing_is_reached() -> None:
    edges = read_edges(block(18, 30), 1.0, (0.01, 0.01))
    assert set(edges) == set(EDGES)
    assert all(one.chance < 1e-6 and one.share == 0.0 and not one.hard_line for one in edges.values())


def test_nearer_is_likelier_and_a_cut_off_mark_is_a_hard_line() -> None:
    """36 of 96 nodes lie on the top edge: 0.375 of it."""
    chances = [read_edges(block(20, top), 1.5, (0.0, 0.0))["top"].chance for top in (44, 46, 47, 48)]
    assert chances == sorted(chances)
    assert chances[0] < 0.05
    assert chances[2] == pytest.approx(0.37, abs=0.02), "half a cell short of the edge, 1.5 cells of doubt"
    assert chances[3] > 0.99
    edges = read_edges(block(20, 48), 1.5, (0.0, 0.0))
    assert edges["top"].share == pytest.approx(0.375)
    assert 0.0 < edges["top"].share_sd < 0.05
    assert hard_lines(edges) == ["top"]
    narrow = read_edges(block(20, 48, 44, 52), 1.5, (0.0, 0.0))
    assert narrow["top"].share < HARD_LINE_SHARE
    assert hard_lines(narrow) == []


def test_words_alone_never_tell_a_hard_line() -> None:
    """How high the mark is was not said: that it is cut off is the oval's doing, not the person's."""
    said = pattern_from_words("very high", "drive")
    assert "top" in said.pattern.touches
    assert 0.5 < said.edges()["top"].chance < 0.9
    assert {v.criterion.key: v.kind for v in judge(said)}["clear"] == "near the edge: measure again"


def test_a_mark_placed_less_well_is_less_sure_of_its_edges() -> None:
    near = block(20, 45)
    sure, unsure = (read_edges(near, 0.5, (0.0, sd))["top"].chance for sd in (0.01, 0.2))
    assert sure < 0.01 < 0.2 < unsure < 0.5


def test_beside_an_edge_a_photo_is_blind() -> None:
    seen, blind = (read_edges(block(20, 48), 6.0, (0.0, 0.0), strip)["top"] for strip in (0.0, 2.0))
    assert 0.5 < blind.chance < seen.chance
    assert blind.share < seen.share
    hardly = block(20, 48, 46, 50)
    assert read_edges(hardly, 1.5, (0.0, 0.0), 2.0)["top"].chance < 0.5


@pytest.mark.parametrize("edge", EDGES)
def test_every_edge_is_its_own(edge: str) -> None:
    mask = {
        "toe": block(18, 30, 0, 30),
        "heel": block(18, 30, 66, COLS),
        "root": block(0, 12),
        "top": block(36, ROWS),
    }[edge]
    assert {name for name, one in read_edges(mask, 0.5, (0.0, 0.0)).items() if one.chance > 0.5} == {edge}


def test_another_outline_enters_with_its_chance() -> None:
    mixed = EdgeReading(0.9, 0.3, 0.02).mixed(EdgeReading(0.1, 0.0, 0.02), 0.25)
    assert mixed.chance == pytest.approx(0.75 * 0.9 + 0.25 * 0.1)
    assert mixed.share_sd == pytest.approx(np.hypot(0.02, 0.5 * 0.3))


def test_a_photo_tells_every_measure_with_its_spread(job: dict[str, Any], design: GearSetDesign) -> None:
    """The truth is the pattern rolled at the settings the photo was drawn with."""
    photo = job["coast"]
    read = read_photo(photo.path, photo.text, design, "coast")
    assert read.height_sd is not None
    assert read.area_sd is not None
    assert read.slant_sd_deg is not None
    true, found = photo.pattern, read.pattern
    assert abs(found.height_fraction - true.height_fraction) < 3.0 * read.height_sd
    assert abs(found.area_fraction - true.area_fraction) < 3.0 * read.area_sd
    turned = (found.slant_deg - true.slant_deg + 90.0) % 180.0 - 90.0
    assert abs(turned) < 3.0 * read.slant_sd_deg
    assert max(read.height_sd, read.area_sd) < 0.1
    assert read.slant_sd_deg < 15.0
    told = read.summary()
    assert {"height_sd", "area_sd", "slant_sd_deg", "edges"} <= set(told)
    assert set(told["edges"]) == set(EDGES)
    assert all(told["edges"][e]["chance"] < 0.2 for e in EDGES if e not in true.touches)
    other = replace(read, alone_edges={e: EdgeReading(1.0, 0.5, 0.1) for e in EDGES})
    doubted = with_other(read, other, 0.3)
    assert doubted.height_sd == pytest.approx(read.height_sd), "the other outline has the same shape"
    taller = measure_mask(block(0, 48), "coast")
    widened = with_other(read, replace(read, pattern=taller), 0.3).height_sd
    away = taller.height_fraction - found.height_fraction
    assert widened == pytest.approx(np.hypot(read.height_sd, np.sqrt(0.3) * away))
    assert doubted.edges()["toe"].chance == pytest.approx(0.3, abs=0.05)


def test_a_pattern_cut_off_by_an_edge_is_called_a_hard_line(design: GearSetDesign) -> None:
    by_key = {v.criterion.key: v for v in judge(measure_mask(block(20, 48), "drive"))}
    assert by_key["clear"].kind == "outside"
    assert str(by_key["clear"].text).startswith("The top cuts the pattern off, a hard line there")
    rolled = aw.roll(design, "drive", pinion_out_mm=0.30).pattern
    assert "top" in rolled.touches
    verdict = {v.criterion.key: v for v in judge(rolled)}["clear"]
    assert verdict.kind == "outside"
    assert str(verdict.text).startswith("The pattern reaches the top"), "a tenth of it: no line"


def test_verdicts_on_edges_know_how_sure_the_reading_is() -> None:
    def clear(mask: Any, sd: float) -> str:
        pattern = measure_mask(mask, "drive")
        read = PatternReading(pattern=pattern, center_sd=(sd, sd), length_sd=0.03, source="photo")
        return {v.criterion.key: v.kind for v in judge(read)}["clear"]

    assert clear(block(18, 30), 0.02) == "inside"
    assert clear(block(20, 46), 0.1) == "near the edge: measure again"
    assert clear(block(20, 48, 47, 49), 0.1) == "near the edge: measure again", "touched, but barely"
    assert clear(block(20, 48), 0.02) == "outside"


def test_words_and_sketches_say_less() -> None:
    words = pattern_from_words("high, toward heel", "drive").summary()
    assert words["height_sd"] is None
    assert words["slant_sd_deg"] is None
    square = [(-0.4, -0.3), (0.4, -0.3), (0.4, 0.3), (-0.4, 0.3)]
    sketch = pattern_from_sketch(square, "drive")
    assert sketch.height_sd is not None
    assert sketch.edges()["top"].chance < 0.05
