"""Words and sketches."""

from __future__ import annotations

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
    y = [pattern_from_words(t, "coast").pattern.center[1] for t in ("slightly high", "high", "very high")]
    assert y[0] < y[1] < y[2]


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
        ("purple", "'purple' is not understood"),
        ("high, 300 %", "cannot be"),
        ("the pattern", "say nothing"),
    ],
)
def test_bad_words(text: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        pattern_from_words(text, "drive")


@settings(max_examples=100, deadline=None)
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
