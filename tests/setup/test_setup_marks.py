"""Depth marks: nothing guessed, signs, units, and reading what is typed."""

from __future__ import annotations

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from axlewright import setup
from axlewright.errors import InputError
from axlewright.language import using_language

UNITS = pint.UnitRegistry()
LARGER, THICKER = setup.MARK_MEANINGS
values = st.integers(-22, 22).map(float)
units = st.sampled_from(setup.MARK_UNITS)
meanings = st.sampled_from(setup.MARK_MEANINGS)
places = st.sampled_from(setup.SHIM_PLACES)


@pytest.mark.parametrize(
    ("unit", "meaning", "asks"),
    [
        ("", LARGER, "unit"),
        ("0.001 in", "", "larger_mounting_distance"),
        ("thou", LARGER, "0.01 mm"),
        ("0.001 in", "plus_is_plus", "thicker_spacer"),
    ],
)
def test_missing_unit_or_meaning_is_asked_for(unit: str, meaning: str, asks: str) -> None:
    with pytest.raises(InputError, match=asks):
        setup.DepthMark(2, unit, meaning)


@pytest.mark.parametrize("place", ["", "somewhere"])
def test_missing_place_is_asked_for(place: str) -> None:
    with pytest.raises(InputError, match=r"under_head.*behind_cup.*cage_flange"):
        setup.DepthMark(2, "0.001 in", LARGER).shim_change_mm(place)


@given(values, units, meanings, places)
def test_both_conventions_mirror_each_other(value: float, unit: str, meaning: str, place: str) -> None:
    mark = setup.DepthMark(value, unit, meaning)
    other = mark.other_convention()
    assert other.meaning != mark.meaning
    assert other.other_convention() == mark
    assert other.shim_change_mm(place) == -mark.shim_change_mm(place)


@given(values, units, meanings)
def test_cage_flange_is_the_mirror_of_the_other_places(value: float, unit: str, meaning: str) -> None:
    mark = setup.DepthMark(value, unit, meaning)
    head, cup, cage = (mark.shim_change_mm(p) for p in ("under_head", "behind_cup", "cage_flange"))
    assert head == cup == -cage


@given(st.integers(1, 20).map(float), units, places)
def test_plus_signs_in_words(value: float, unit: str, place: str) -> None:
    mark = setup.DepthMark(value, unit, LARGER)
    assert mark.mounting_distance_deviation_mm > 0.0
    assert "pinion farther out" in mark.effect_text(place)
    assert ("thicker than" in mark.effect_text(place)) == (place == "cage_flange")
    turned = mark.other_convention()
    assert "pinion farther in" in turned.effect_text(place)


@given(values, units, meanings, places)
def test_shim_change_moves_the_pinion_where_the_mark_says(
    value: float, unit: str, meaning: str, place: str
) -> None:
    mark = setup.DepthMark(value, unit, meaning)
    out = setup.pinion_out_of_shim_change_mm(mark.shim_change_mm(place), place)
    assert out == pytest.approx(mark.mounting_distance_deviation_mm)
    assert setup.shim_change_of_pinion_out_mm(out, place) == pytest.approx(mark.shim_change_mm(place))


@given(values, units)
def test_size_of_a_mark_against_another_unit_library(value: float, unit: str) -> None:
    size, name = unit.split()
    expected = (value * float(size) * UNITS.Unit({"in": "inch", "mm": "millimeter"}[name])).to("mm").magnitude
    assert setup.DepthMark(value, unit, LARGER).mounting_distance_deviation_mm == pytest.approx(
        expected, rel=1e-12, abs=1e-15
    )


@given(st.floats(-0.2, 0.2), units, meanings)
def test_marking_a_set_is_off_by_half_a_unit_at_most(deviation: float, unit: str, meaning: str) -> None:
    mark = setup.DepthMark.of_deviation(deviation, unit, meaning)
    assert mark.value == int(mark.value)
    assert abs(mark.mounting_distance_deviation_mm - deviation) <= 0.5 * mark.unit_mm * (1 + 1e-9)


def test_an_unusually_large_mark_is_asked_about_and_kept() -> None:
    mark = setup.DepthMark(40, "0.001 in", LARGER)
    assert mark.question is not None
    assert mark.shim_change_mm("under_head") == pytest.approx(-1.016)
    assert setup.DepthMark(10, "0.001 in", LARGER).question is None


@pytest.mark.parametrize(
    ("typed", "readings"),
    [
        ("+2", [(2, "0.001 in"), (2, "0.01 mm"), (2, "0.001 mm")]),
        ("-3", [(-3, "0.001 in"), (-3, "0.01 mm"), (-3, "0.001 mm")]),
        ("−3", [(-3, "0.001 in"), (-3, "0.01 mm"), (-3, "0.001 mm")]),
        ("+.03", [(3, "0.01 mm"), (30, "0.001 in")]),
        ("+0,03", [(3, "0.01 mm"), (30, "0.001 in")]),
        ("m+8 (+3)", [(8, "0.01 mm"), (3, "0.001 in")]),
        ("+22", [(22, "0.01 mm"), (22, "0.001 in"), (22, "0.001 mm")]),
        ("PC -0.005 cm", [(-5, "0.01 mm")]),
        ("+0.002 in", [(2, "0.001 in")]),
        ("+4 thou", [(4, "0.001 in")]),
        ("m-5", [(-5, "0.01 mm"), (-5, "0.001 mm")]),
    ],
)
def test_typed_marks(typed: str, readings: list[tuple[float, str]]) -> None:
    assert [(c.value, c.unit) for c in setup.parse_mark(typed)] == readings


def test_implausible_readings_come_last_and_say_so() -> None:
    millimetres, inches = setup.parse_mark("+.03")
    assert millimetres.likely
    assert not inches.likely


def test_a_number_without_sign_and_a_zero_are_questioned() -> None:
    assert "pair or part number" in setup.parse_mark("7")[0].questions[0]
    assert "zero" in setup.parse_mark("0")[0].questions[0]
    assert setup.parse_mark("+7")[0].questions == ()


def test_a_dual_mark_that_disagrees_is_questioned() -> None:
    assert setup.parse_mark("m+8 (+3)")[0].questions == ()
    assert setup.parse_mark("m+8 (-3)")[0].questions != ()
    assert setup.parse_mark("m+8 (+5)")[0].questions != ()


@pytest.mark.parametrize("typed", ["", "abc", "+", "++2", "5.904", "149.86 mm", "+250", "+2 furlong", "2 3"])
def test_what_is_no_mark_is_refused(typed: str) -> None:
    with pytest.raises(InputError):
        setup.parse_mark(typed)


@given(st.integers(-9, 9), st.sampled_from(["{:+d}", " {:+d} ", "PC {:+d}", "{:+d}."]))
def test_every_integer_mark_is_found_again(value: int, form: str) -> None:
    if form == "{:+d}." and abs(value) >= 1:
        return
    found = setup.parse_mark(form.format(value))
    assert (float(value), "0.001 in") in [(c.value, c.unit) for c in found]
    assert found[0].confirm(LARGER) == setup.DepthMark(float(value), found[0].unit, LARGER)


def test_every_answer_that_is_known_has_its_words_and_its_numbers() -> None:
    assert tuple(setup.UNIT_WORDS) == setup.MARK_UNITS
    assert tuple(setup.MEANING_WORDS) == setup.MARK_MEANINGS
    assert tuple(setup.PLACE_WORDS) == setup.SHIM_PLACES
    assert set(setup.MATERIAL_WORDS) == set(setup.EXPANSIONS)
    for width_class in setup.WIDTH_CLASS_WORDS:  # 40 mm: within the bores of every class
        assert setup.unmeasured_bearing_width(30.0, 40.0, width_class).standard_uncertainty > 0.0


def test_a_unit_has_the_decimal_sign_of_its_reader() -> None:
    mark = setup.DepthMark(2.0, "0.001 in", LARGER)
    with using_language("de"):
        assert "0,001 in" in str(mark.text())
    assert str(mark.text()) == "+2 in units of 0.001 in, plus means a larger mounting distance"
