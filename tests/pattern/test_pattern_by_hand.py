"""Words and sketches."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from axlewright.errors import InputError
from axlewright.pattern import pattern_from_sketch, pattern_from_words


@pytest.mark.parametrize(
    ("text", "x", "y", "length"),
    [
        ("high, toward heel, about half", 1, 1, 0.5),
        ("low, toward the toe, a third", -1, -1, 0.33),
        ("very high", 0, 1, None),
        ("slightly low and slightly toward heel, 40 %", 1, -1, 0.40),
        ("centred, two thirds of the tooth length", 0, 0, 0.67),
        ("high", 0, 1, None),
        ("at the root, at the heel", 1, -1, None),
        ("Centered", 0, 0, None),
    ],
)
def test_words(text: str, x: int, y: int, length: float | None) -> None:
    reading = pattern_from_words(text, "drive")
    cx, cy = reading.pattern.center
    for value, sign in ((cx, x), (cy, y)):
        assert (value > 0.1) == (sign > 0)
        assert (value < -0.1) == (sign < 0)
    if length is not None:
        assert reading.pattern.length_fraction == pytest.approx(length, abs=0.06)
    assert reading.source == "words"
    assert reading.center_sd[1] >= 0.15


def test_more_is_more() -> None:
    rising = ("very slightly high", "slightly high", "high", "quite high", "very high")
    y = [pattern_from_words(t, "coast").pattern.center[1] for t in rising]
    assert all(a < b - 0.02 for a, b in pairwise(y))
    assert y[0] > 0.03


@pytest.mark.parametrize(
    ("text", "same"),
    [
        ("a little bit high", "slightly high"),
        ("a bit toward the heel", "slightly toward heel"),
        ("very, very slightly low", "very slightly low"),
        ("centered between toe and heel, slightly low", "centred lengthwise and slightly low"),
        ("1/3, low", "low, a third long"),
        ("HIGH; heel", "heel high"),
    ],
)
def test_two_ways_to_say_it(text: str, same: str) -> None:
    a, b = (pattern_from_words(t, "drive") for t in (text, same))
    assert a.pattern.center == pytest.approx(b.pattern.center, abs=1e-9)
    assert a.center_sd == b.center_sd
    assert a.pattern.length_fraction == b.pattern.length_fraction


def test_a_part_of_the_tooth() -> None:
    """A mark in the top third has its middle in the middle of that third and is no taller than it."""
    top = pattern_from_words("top third, a bit toward heel", "drive").pattern
    assert top.center[1] == pytest.approx(2 / 3, abs=0.03)
    assert top.height_fraction == pytest.approx(1 / 3, abs=0.04)
    assert 0.1 < top.center[0] < 0.25
    toe = pattern_from_words("toe half", "drive").pattern
    assert toe.center[0] == pytest.approx(-0.5, abs=0.03)
    assert toe.length_fraction == pytest.approx(0.5, abs=0.04)


def test_hedges_and_pressure() -> None:
    sure, hedged = (pattern_from_words(t, "drive") for t in ("low", "maybe low"))
    assert hedged.center_sd[1] > sure.center_sd[1]
    light = pattern_from_words("a bit toward heel, wide, light", "drive")
    assert any("how hard it was rolled" in q for q in light.quality)
    assert light.pattern.height_fraction > sure.pattern.height_fraction


def test_all_unknown_words_are_named() -> None:
    with pytest.raises(InputError, match=r"'purple', 'elephant'") as caught:
        pattern_from_words("high, purple elephant", "drive")
    assert "very slightly high" in caught.value.fix


def test_what_is_not_said_is_less_sure() -> None:
    assert (
        pattern_from_words("high", "drive").center_sd[0]
        > pattern_from_words("high, heel", "drive").center_sd[0]
    )


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no words"),
        ("high and low", "contradict"),
        ("toward heel and toe", "contradict"),
        ("purple", "not understood: 'purple'"),
        ("not high", "does not say where"),
        ("high, 300 %", "cannot be"),
        ("the pattern", "say nothing"),
    ],
)
def test_bad_words(text: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        pattern_from_words(text, "drive")


@settings(max_examples=100)
@given(st.text(max_size=60))
def test_any_text_gives_a_pattern_or_a_sentence(text: str) -> None:
    try:
        assert not pattern_from_words(text, "drive").pattern.empty
    except InputError:
        return


def test_sketch() -> None:
    reading = pattern_from_sketch([(-0.6, 0.1), (0.2, 0.1), (0.2, 0.7), (-0.6, 0.7)], "coast")
    assert reading.pattern.center == pytest.approx((-0.2, 0.4), abs=0.03)
    assert reading.pattern.length_fraction == pytest.approx(0.4, abs=0.03)
    assert reading.source == "sketch"
    photo_like = 0.03
    assert min(reading.center_sd) > photo_like


@pytest.mark.parametrize(
    ("polygon", "words"),
    [
        ([(0, 0), (1, 1)], "three points"),
        ([(0, 0), (0.01, 0), (0, 0.01)], "too small"),
        ([(0, 0), (9, 0), (0, 1)], "far off"),
        ([(0, 0), (float("nan"), 0), (0, 1)], "far off"),
        ([("a", "b")] * 3, "no numbers"),
        ([(-0.5, -0.5), (0.5, 0.5), (0.5, -0.5), (-0.5, 0.5)], "crosses itself"),
    ],
)
def test_bad_sketches(polygon: list[tuple[float, float]], words: str) -> None:
    with pytest.raises(InputError, match=words):
        pattern_from_sketch(polygon, "drive")
