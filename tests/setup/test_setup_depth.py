"""Depth spacer: signs, terms, the other convention, units and what is refused."""

from __future__ import annotations

import math

import pint
import pytest
import uncertainties
from hypothesis import given
from hypothesis import strategies as st

from axlewright import setup
from axlewright.errors import InputError
from axlewright.units import Length

INCH = 25.4
UNITS = pint.UnitRegistry()
LARGER, THICKER = setup.MARK_MEANINGS
lengths = st.floats(1.0, 400.0)
small = st.floats(1e-6, 0.05)


def length(value_mm: float, u_mm: float = 0.0, label: str = "length") -> Length:
    return Length(value_mm, u_mm, label=label)


def carrier_spacer(
    place: str, *, carrier: float = 110.0, width: float = 31.0, distance: float = 76.0, mark: float = 2.0
) -> setup.SpacerResult:
    """A plausible axle at any of the three places."""
    cage = length(-4.0 + carrier - width - distance + 3.0) if place == "cage_flange" else None
    return setup.spacer_from_carrier(
        length(carrier),
        length(width),
        length(distance),
        setup.DepthMark(mark, "0.001 in", LARGER),
        place=place,
        cage_height=cage,
    )


@pytest.mark.parametrize("place", ["under_head", "behind_cup"])
def test_signs_of_the_terms_under_head_and_behind_cup(place: str) -> None:
    base = carrier_spacer(place).value_mm
    assert carrier_spacer(place, carrier=110.1).value_mm - base == pytest.approx(+0.1)
    assert carrier_spacer(place, width=31.1).value_mm - base == pytest.approx(-0.1)
    assert carrier_spacer(place, distance=76.1).value_mm - base == pytest.approx(-0.1)
    assert carrier_spacer(place, mark=3.0).value_mm - base == pytest.approx(-0.0254)


def test_signs_of_the_terms_at_the_cage_flange() -> None:
    def pack(face: float = 130.0, width: float = 31.0, distance: float = 76.0, cage: float = 24.0) -> float:
        return setup.spacer_from_carrier(
            length(face), length(width), length(distance), None, place="cage_flange", cage_height=length(cage)
        ).value_mm

    assert pack() == pytest.approx(1.0)
    assert pack(face=130.1) == pytest.approx(0.9)
    assert pack(width=31.1) == pytest.approx(1.1)
    assert pack(distance=76.1) == pytest.approx(1.1)
    assert pack(cage=24.1) == pytest.approx(1.1)


@given(lengths, lengths, lengths, st.integers(-9, 9), st.sampled_from(setup.MARK_MEANINGS))
def test_fitting_the_spacer_puts_the_pinion_at_its_distance(
    carrier: float, width: float, distance: float, mark: int, meaning: str
) -> None:
    # The stack from the axis: shoulder minus bearing minus spacer is where the back of the head comes to lie.
    depth_mark = setup.DepthMark(mark, "0.01 mm", meaning)
    result = setup.spacer_from_carrier(
        length(carrier), length(width), length(distance), depth_mark, place="under_head"
    )
    back_of_head = carrier - width - result.value_mm
    assert back_of_head == pytest.approx(distance + depth_mark.mounting_distance_deviation_mm, abs=1e-9)


@given(
    st.integers(-9, 9),
    st.integers(-9, 9),
    st.sampled_from(setup.SHIM_PLACES),
    st.sampled_from(setup.MARK_UNITS),
)
def test_converting_there_and_back_gives_the_old_spacer(old: int, new: int, place: str, unit: str) -> None:
    first, second = (setup.DepthMark(v, unit, LARGER) for v in (old, new))
    there = setup.spacer_from_old(length(2.0), first, second, place=place)
    back = setup.spacer_from_old(length(there.value_mm), second, first, place=place)
    assert back.value_mm == pytest.approx(2.0, abs=1e-12)
    assert there.other_convention is not None
    # Both conventions lie equally far on either side of the old spacer.
    assert there.other_convention.value - 2.0 == pytest.approx(-(there.value_mm - 2.0), abs=1e-12)


@given(st.sampled_from(setup.SHIM_PLACES), st.floats(0.001, 0.2))
def test_a_wider_bearing_leaves_the_pinion_where_it_was(place: str, wider: float) -> None:
    result = setup.spacer_from_old(
        length(2.0),
        None,
        None,
        place=place,
        old_bearing_width=length(31.0),
        new_bearing_width=length(31.0 + wider),
    )
    change = result.value_mm - 2.0
    assert change == pytest.approx(wider if place == "cage_flange" else -wider)
    assert result.other_convention is None
    assert result.other_convention_text() == ""


@given(lengths, small, lengths, small, lengths, small)
def test_uncertainty_against_another_library(
    a: float, u_a: float, t: float, u_t: float, d: float, u_d: float
) -> None:
    result = setup.spacer_from_carrier(
        length(a, u_a, "a"), length(t, u_t, "t"), length(d, u_d, "d"), None, place="under_head"
    )
    oracle = uncertainties.ufloat(a, u_a) - uncertainties.ufloat(t, u_t) - uncertainties.ufloat(d, u_d)
    assert result.value_mm == pytest.approx(oracle.nominal_value, abs=1e-9)
    assert result.standard_uncertainty_mm == pytest.approx(oracle.std_dev, rel=1e-9, abs=1e-15)


@given(st.floats(3.5, 6.0), st.floats(1.0, 1.4), st.floats(2.0, 2.4))
def test_the_sum_does_not_depend_on_the_unit_it_was_typed_in(a: float, t: float, d: float) -> None:
    inches = [x * UNITS.inch for x in (a, t, d)]
    in_mm = [q.to("mm").magnitude for q in inches]
    result = setup.spacer_from_carrier(
        length(in_mm[0]),
        length(in_mm[1]),
        length(in_mm[2]),
        setup.DepthMark(2, "0.001 in", LARGER),
        place="under_head",
    )
    expected = (inches[0] - inches[1] - inches[2] - 0.002 * UNITS.inch).to("mm").magnitude
    assert result.value_mm == pytest.approx(expected, abs=1e-9)


@given(st.lists(st.floats(-200.0, 200.0), min_size=1, max_size=6), st.sampled_from(["inch", "metric"]))
def test_a_written_sum_adds_up_as_written_or_says_that_it_is_rounded(
    values: list[float], system: str
) -> None:
    total = setup.WrittenSum("sum", tuple(setup.Term(length(v)) for v in values))
    line = total.text(system)
    left, right = line.replace("−", "-").split(" = ")
    parts = left.replace("+ ", "+").replace("- ", "-").split()
    shown = sum(round(float(p) * 1e6) for p in parts)
    result = round(float(right.split()[0]) * 1e6)
    assert shown == result or line.endswith("(rounded)")


def test_every_term_can_be_drawn() -> None:
    result = carrier_spacer("under_head")
    assert str(result.terms[-1].label) == "depth mark"
    assert [t.sign for t in result.terms] == [1, -1, -1, -1]
    assert "plus means a larger mounting distance" in result.terms[-1].source
    assert sum(t.contribution for t in result.terms) == pytest.approx(result.value_mm)
    low, high = result.interval_95_mm
    assert low < result.value_mm < high
    assert high - low == pytest.approx(2 * 1.96 * 0.0254 / math.sqrt(12.0), rel=1e-3)


def test_what_the_other_convention_gives_is_told() -> None:
    result = carrier_spacer("under_head")
    assert result.other_convention_difference_mm == pytest.approx(2 * 0.0508)
    assert "+0.0040 in" in result.other_convention_text()


def test_no_mark_is_told_and_not_taken_for_zero() -> None:
    result = setup.spacer_from_carrier(length(110.0), length(31.0), length(76.0), None, place="under_head")
    assert any("No depth mark" in q for q in result.questions)
    stamped = setup.spacer_from_carrier(
        length(110.0),
        length(31.0),
        length(76.0),
        None,
        place="under_head",
        mounting_distance_is_this_sets=True,
    )
    assert stamped.questions == ()


def test_an_impossible_spacer_is_asked_about() -> None:
    assert any("no such spacer" in q for q in carrier_spacer("under_head", carrier=100.0).questions)


def test_correction_of_temperature_is_a_term_of_its_own() -> None:
    reading = length(110.0, label="carrier")
    correction = setup.temperature_correction(reading, part_temperature_c=40.0, gauge_temperature_c=20.0)
    result = setup.spacer_from_carrier(
        reading, length(31.0), length(76.0), None, place="under_head", carrier_corrections=(correction,)
    )
    assert str(result.terms[1].label) == "temperature of part and gauge"
    # A warm casting measured with a cool gauge reads too long.
    too_long = 110.0 * 10.5e-6 * 20.0
    assert result.value_mm == pytest.approx(3.0 - too_long)
    pack = setup.spacer_from_carrier(
        reading,
        length(31.0),
        length(76.0),
        None,
        place="cage_flange",
        cage_height=length(5.0),
        carrier_corrections=(correction,),
    )
    assert pack.value_mm == pytest.approx(2.0 + too_long)


@pytest.mark.parametrize(
    ("arguments", "asks"),
    [
        ({"place": ""}, "place of the shim"),
        ({"place": "cage_flange"}, "cage height"),
        ({"place": "under_head", "cage_height": length(20.0)}, "cage height"),
        ({"place": "under_head", "mounting_distance_is_this_sets": True}, "count it twice"),
    ],
)
def test_what_is_missing_or_doubled_is_asked_for(arguments: dict[str, object], asks: str) -> None:
    mark = setup.DepthMark(2, "0.001 in", LARGER)
    with pytest.raises(InputError, match=asks):
        setup.spacer_from_carrier(length(110.0), length(31.0), length(76.0), mark, **arguments)


def test_one_mark_or_one_bearing_width_alone_is_refused() -> None:
    mark = setup.DepthMark(2, "0.001 in", LARGER)
    with pytest.raises(InputError, match="old set's mark"):
        setup.spacer_from_old(length(2.0), None, mark, place="under_head")
    with pytest.raises(InputError, match="new head bearing"):
        setup.spacer_from_old(length(2.0), mark, mark, place="under_head", old_bearing_width=length(31.0))


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_a_length_that_is_none_is_refused(bad: float) -> None:
    with pytest.raises(InputError):
        length(bad)
    with pytest.raises(InputError):
        length(1.0, bad)
    with pytest.raises(InputError):
        length(1.0, -0.1)
