"""Worked spacer examples as printed, both sign conventions and three units.

Numbers from public-domain government technical manuals name the manual; those from civil service literature
are facts with the maker withheld. What was derived and not printed says so.
"""

from __future__ import annotations

import math

import pytest

from axlewright import setup
from axlewright.units import Length

INCH = 25.4
LARGER = "plus_means_larger_mounting_distance"
THICKER = "plus_means_thicker_spacer"


def change_in(old: float, new: float, place: str, meaning: str, unit: str = "0.001 in") -> float:
    """Return the printed change of the shim [in] for a change of mark."""
    result = setup.spacer_from_old(
        Length(1.0 * INCH, label="old spacer"),
        setup.DepthMark(old, unit, meaning),
        setup.DepthMark(new, unit, meaning),
        place=place,
    )
    return result.value_mm / INCH - 1.0


@pytest.mark.parametrize(
    ("old", "new", "place", "meaning", "printed_in", "source"),
    [
        (-3, +2, "under_head", LARGER, -0.005, "TM 9-2320-280-34 p 19-12; TM 9-2320-387-24-2 p 30-12"),
        (+4, -4, "under_head", LARGER, +0.008, "TM 9-2320-280-34 p 19-12; TM 9-2320-387-24-2 p 30-12"),
        (0, +1, "behind_cup", LARGER, -0.001, "TM 9-2320-266-34 p 19-7, table"),
        (+2, -1, "cage_flange", LARGER, -0.003, "TM 5-3895-369-14 p 5-409, table new minus old"),
        # The manual prints the rule with the example mark PC +4 = 0.004 in; the sum of both lines is ours.
        (0, +4, "behind_cup", LARGER, -0.004, "TM 9-2320-366-34-4 p 24-12"),
    ],
)
def test_printed_change_of_shim_for_a_change_of_mark(
    old: float, new: float, place: str, meaning: str, printed_in: float, source: str
) -> None:
    assert change_in(old, new, place, meaning) == pytest.approx(printed_in, abs=1e-9), source


@pytest.mark.parametrize(
    ("gauge_in", "mark", "printed_in", "printed_mm"),
    # TM 9-2320-289-34 p 6-37: plus adds, minus subtracts, the opposite of the manuals above. The metric
    # figure of the second is printed to three decimals.
    [(0.019, +2, 0.021, 0.534), (0.031, -3, 0.028, 0.711)],
)
def test_plus_adds_where_the_manual_says_so(
    gauge_in: float, mark: int, printed_in: float, printed_mm: float
) -> None:
    result = setup.spacer_from_zero_mark(
        Length(gauge_in * INCH, label="gauge"),
        setup.DepthMark(mark, "0.001 in", THICKER),
        place="under_head",
    )
    assert result.value_mm / INCH == pytest.approx(printed_in, abs=1e-9)
    assert result.value_mm == pytest.approx(printed_mm, abs=0.0007)


def test_cage_pack_by_way_of_the_standard_pack() -> None:
    # TM 10-3930-660-34 p 9-20: pack 0.030, old mark -2 -> standard 0.032; new mark -5 -> 0.027 in.
    old, new = (setup.DepthMark(v, "0.001 in", LARGER) for v in (-2, -5))
    pack = Length(0.030 * INCH, label="old pack")
    standard = setup.spacer_from_old(pack, old, setup.DepthMark(0, "0.001 in", LARGER), place="cage_flange")
    assert standard.value_mm / INCH == pytest.approx(0.032, abs=1e-9)
    fitted = setup.spacer_from_old(pack, old, new, place="cage_flange")
    assert fitted.value_mm / INCH == pytest.approx(0.027, abs=1e-9)
    assert str(fitted.total) == "0.0300 + 0.0020 − 0.0050 = 0.0270 in"


@pytest.mark.parametrize("old", [-3, 0, 2])
@pytest.mark.parametrize("new", [-4, 0, 5])
def test_cage_form_subtracts_the_old_plus_and_adds_the_new_plus(old: int, new: int) -> None:
    # TM 5-3805-262-34 p 4-230: + old subtract, - old add; then + new add. Printed as a form without numbers.
    assert change_in(old, new, "cage_flange", LARGER) == pytest.approx((new - old) / 1000.0, abs=1e-12)


@pytest.mark.parametrize(
    ("old_md_in", "new_md_in", "printed_in"),
    # TM 10-3930-671-24: outright mounting distances, shim behind the head cup, old pack 0.031 in. In the
    # second example the manual exchanges the labels of the two distances; its arithmetic (+0.004) is right.
    [(5.901, 5.904, 0.028), (5.905, 5.901, 0.035)],
)
def test_outright_mounting_distance(old_md_in: float, new_md_in: float, printed_in: float) -> None:
    result = setup.spacer_from_nominal(
        Length(0.031 * INCH, label="old pack"),
        Length(0.0, label="case"),
        Length(new_md_in * INCH, label="new set"),
        Length(old_md_in * INCH, label="old set"),
        place="behind_cup",
    )
    assert result.value_mm / INCH == pytest.approx(printed_in, abs=1e-9)


def test_outright_mounting_distance_with_a_new_case() -> None:
    # TM 10-3930-671-24: nominal pack 0.034 in, nominal distance 5.900 in (149.860 mm), E = 0.034 + C - (B -
    # 5.900). The case B 5.904, C +0.002 -> 0.032 is worked here, not printed.
    result = setup.spacer_from_nominal(
        Length(0.034 * INCH, label="nominal pack"),
        Length(0.002 * INCH, label="case"),
        Length(5.904 * INCH, label="this set"),
        Length(5.900 * INCH, label="nominal"),
        place="behind_cup",
    )
    assert result.value_mm / INCH == pytest.approx(0.032, abs=1e-9)
    assert abs(5.900 * INCH - 149.860) < 5e-4


def test_hundredths_of_a_millimetre() -> None:
    # Civil service literature, maker withheld, two texts: 3.21 + (2 - (-1)) 0.01 = 3.24 mm.
    result = setup.spacer_from_old(
        Length(3.21, label="old spacer"),
        setup.DepthMark(2, "0.01 mm", LARGER),
        setup.DepthMark(-1, "0.01 mm", LARGER),
        place="under_head",
    )
    assert result.value_mm == pytest.approx(3.24, abs=1e-9)
    # The program takes the old mark out and puts the new one in, the text adds their difference.
    assert result.total.text("metric") == "3.210 + 0.020 + 0.010 = 3.240 mm"


def test_hundredths_of_a_millimetre_with_the_opposite_meaning() -> None:
    # Civil service literature, maker withheld: +8 -> +22, larger mark is thicker: +0.14 mm. The text rounds
    # this to 0.13 mm (0.005 in); 0.14 is the arithmetic.
    change_mm = change_in(8, 22, "under_head", THICKER, "0.01 mm") * INCH
    assert change_mm == pytest.approx(0.14, abs=1e-9)
    assert round(change_mm, 2) != 0.13


def test_thousandths_of_a_millimetre() -> None:
    # Civil service literature, maker withheld: +20 = 0.02 mm, plus subtracts.
    change_mm = change_in(0, 20, "under_head", LARGER, "0.001 mm") * INCH
    assert change_mm == pytest.approx(-0.02, abs=1e-9)


def test_a_mark_stamped_in_both_units_agrees_with_itself() -> None:
    # Civil service literature, maker withheld, two texts: "m+8 (+3)" is 8/100 mm and 3/1000 in, plus
    # subtracts.
    metric = setup.DepthMark(8, "0.01 mm", LARGER).shim_change_mm("under_head")
    inch = setup.DepthMark(3, "0.001 in", LARGER).shim_change_mm("under_head")
    assert metric == pytest.approx(-0.08)
    assert round(metric / INCH, 3) == round(inch / INCH, 3) == -0.003


def test_hundredths_of_a_millimetre_written_as_thousandths_of_a_centimetre() -> None:
    # TM 9-2320-366-34-4 p 24-13 prints "PC -0.005 cm": 5/1000 cm are 5/100 mm.
    mark = setup.DepthMark(-5, "0.01 mm", LARGER)
    assert mark.mounting_distance_deviation_mm == pytest.approx(-0.005 * 10.0)


def test_the_sum_on_the_sheet_reads_as_it_is_worked() -> None:
    # Invented shop, worked by hand: no outside source.
    result = setup.spacer_from_carrier(
        Length(4.3125 * INCH, label="axis to housing shoulder"),
        Length(1.2490 * INCH, label="head bearing width"),
        Length(3.0 * INCH, label="nominal mounting distance"),
        setup.DepthMark(2, "0.001 in", LARGER),
        place="under_head",
    )
    assert str(result.total) == "4.3125 − 3.0000 − 1.2490 − 0.0020 = 0.0615 in"
    assert result.total.text("metric") == "109.5375 − 76.2000 − 31.7246 − 0.0508 = 1.5621 mm"
    # Rounded mark, ± half a thousandth uniform: 0.0254/sqrt(12) mm.
    assert result.standard_uncertainty_mm == pytest.approx(0.0254 / math.sqrt(12.0))
    assert result.other_convention is not None
    assert result.other_convention.value / INCH == pytest.approx(0.0655)
