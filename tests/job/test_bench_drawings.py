"""Drawings of the depth step: on a phone everything is in the picture and no two words meet."""

from __future__ import annotations

import itertools
import re

import pytest

from axlewright.steps.drawings import depth_diagram, gauge_diagram

LETTERS = ("A", "D", "T", "S", "c", "G", "d", "b", "B", "P", "R1", "R2", "C", "H")
# Mean width of a letter in DejaVu Sans, measured on such texts: bold 0.59 to 0.68 em, plain 0.48 to 0.51 em.
# Sizes are those of page.css on narrow screens.
BOLD = 0.70 * 18
PLAIN = 0.56 * 16
HIGH = 15.0

Box = tuple[str, float, float, float, float]


def words_of(svg: str) -> list[Box]:
    found = []
    for kind, x, y, anchor, said in re.findall(
        r'<text class="([^"]+)" x="([^"]+)" y="([^"]+)" text-anchor="([^"]+)">(.*?)</text>', svg
    ):
        wide = len(re.sub(r"\s+", " ", said)) * (BOLD if kind == "d-value" else PLAIN)
        left = float(x) - {"start": 0.0, "middle": wide / 2, "end": wide}[anchor]
        found.append((said, left, left + wide, float(y) - HIGH, float(y)))
    return found


@pytest.mark.parametrize("value", ["12.3456 in", "123.456 mm"])
@pytest.mark.parametrize(
    "drawn",
    [
        ("depth", "under_head"),
        ("depth", "behind_cup"),
        ("depth", "cage_flange"),
        ("centred", ""),
        ("resting", "toward_pinion"),
        ("resting", "away_from_pinion"),
        ("parting", ""),
        ("over_case", ""),
    ],
)
def test_words_stay_in_the_picture_and_apart(drawn: tuple[str, str], value: str) -> None:
    kind, how = drawn
    values = {**dict.fromkeys(LETTERS, value), "M": "+2"}
    svg = depth_diagram(how, values) if kind == "depth" else gauge_diagram(kind, values, rests=how)
    left, top, wide, high = (float(part) for part in svg.split('viewBox="')[1].split('"')[0].split())
    assert wide <= 470, "wider ones are too small on a phone or have to be pushed"
    words = words_of(svg)
    assert sum(value in said for said, *_rest in words) >= 3
    for said, x1, x2, y1, y2 in words:
        assert left <= x1 < x2 <= left + wide, said
        assert top - 1 <= y1 < y2 <= top + high, said
    for (one, a1, a2, b1, b2), (other, c1, c2, d1, d2) in itertools.combinations(words, 2):
        apart = a2 <= c1 or c2 <= a1 or b2 <= d1 or d2 <= b1
        assert apart, f"{one} meets {other}"


def test_words_are_drawn_over_the_lines() -> None:
    svg = depth_diagram("under_head", {"A": "5.6254 in"})
    assert svg.rfind("<path") < svg.find("<text"), "no line strikes a number through"
