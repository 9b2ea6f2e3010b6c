"""Preload arithmetic and misprints as found in print."""

from __future__ import annotations

from itertools import pairwise

import pytest

from axlewright import setup
from axlewright.units import NM_PER_LBF_IN, Length, Torque, parse_force, parse_length, parse_torque

INCH = 25.4


@pytest.mark.parametrize(
    ("pull", "radius", "printed_lb_in"),
    # TM 5-3895-359-14&P ch 5: 5 lb x 3 in = 15 lb-in. TM 5-4210-233-14&P-1 ch 5: 7.5 lb x 3.31 in = 24.8
    # lb-in.
    [("5 lbf", "3 in", 15.0), ("7.5 lbf", "3.31 in", 24.8)],
)
def test_cord_and_scale(pull: str, radius: str, printed_lb_in: float) -> None:
    torque = setup.torque_of_cord(parse_force(pull), parse_length(radius))
    assert torque.nm / NM_PER_LBF_IN == pytest.approx(printed_lb_in, abs=0.05)


def test_misprinted_pull_does_not_give_the_printed_torque() -> None:
    # The same manual prints 7.75 x 3.31 = 24.8 beside the recorded 7.5 lb: 7.75 would give 25.7.
    torque = setup.torque_of_cord(parse_force("7.75 lbf"), parse_length("3.31 in"))
    assert torque.nm / NM_PER_LBF_IN == pytest.approx(25.65, abs=0.01)


def test_side_bearing_drag_seen_at_the_pinion() -> None:
    # 35 / 3.73 = 9.4 lb-in (derived), which lies in the printed rise of 7 to 11 lb-in (civil service
    # literature, maker withheld).
    zero = Torque(0.0, label="none")
    side = Torque(35.0 * NM_PER_LBF_IN, label="side bearings")
    total = setup.total_at_pinion(zero, zero, side, 3.73)
    assert total.value / NM_PER_LBF_IN == pytest.approx(9.4, abs=0.05)
    assert setup.judge(total.value, setup.DEFAULT_LIMITS["side_preload_rise"]).kind == "inside"


def test_cap_spread() -> None:
    # TM 5-3810-306-34 p 8-34: 15.324 - 15.315 = 0.009 in, limit 0.006 to 0.013 in (0.15 to 0.33 mm).
    spread = setup.cap_spread(Length(15.324 * INCH, label="preloaded"), Length(15.315 * INCH, label="free"))
    assert spread.text() == "15.3240 − 15.3150 = 0.0090 in"
    limit = setup.DEFAULT_LIMITS["cap_spread"]
    assert limit.low == pytest.approx(0.15, abs=0.005)
    assert limit.high == pytest.approx(0.33, abs=0.005)
    assert setup.judge(spread.value, limit).kind == "inside"


@pytest.mark.parametrize(
    ("key", "low_nm", "high_nm", "source"),
    [
        (
            "pinion_preload_new_sleeve",
            1.9,
            2.8,
            "TM 9-2320-387-24-2 p 30-17: 17 to 25 lb-in (1.9 to 2.8 N·m)",
        ),
        ("pinion_preload_used_sleeve", 1.1, 1.7, "same: 10 to 15 lb-in (1.1 to 1.7 N·m)"),
        ("pinion_preload_new", 0.56, 5.08, "TM 9-2320-363-34-2 and others: 5 to 45 lb-in (0.56 to 5.08 N·m)"),
        ("pinion_preload_used", 1.13, 3.39, "same: 10 to 30 lb-in (1.13 to 3.39 N·m)"),
        ("side_preload_rise", 0.79, 1.24, "civil service literature: 7 to 11 lb-in (0.79 to 1.24 N·m)"),
    ],
)
def test_default_preloads_agree_with_both_printed_units(
    key: str, low_nm: float, high_nm: float, source: str
) -> None:
    limit = setup.DEFAULT_LIMITS[key]
    assert limit.low == pytest.approx(low_nm, abs=0.05 if low_nm > 1 else 0.01), source
    assert limit.high == pytest.approx(high_nm, abs=0.05), source
    assert limit.is_default


@pytest.mark.parametrize("printed", ["89 lb-ft", "125 lb-ft", "120 Nm", "170 Nm"])
def test_pinion_drag_a_hundred_times_too_big_is_doubted(printed: str) -> None:
    # TM 10-3930-669-34 p 10-24 prints 89 to 125 lb-ft (120 to 170 N·m); 120 to 170 N·cm = 10.6 to 15 lb-in
    # fits.
    doubts = setup.doubt_preload_unit(parse_torque(printed))
    meant = {str(d.meant): d.value_nm / NM_PER_LBF_IN for d in doubts}
    assert "N·cm, not N·m" in meant
    assert 10.5 <= meant["N·cm, not N·m"] <= 15.1


@pytest.mark.parametrize("sensible", ["5 lb-in", "45 lb-in", "1.9 Nm", "20 kgf-cm"])
def test_sensible_preload_is_not_doubted(sensible: str) -> None:
    assert setup.doubt_preload_unit(parse_torque(sensible)) == ()


@pytest.mark.parametrize("slip", ["20 lb-ft", "20 Nm"])
def test_pound_inches_typed_in_a_larger_unit_are_doubted(slip: str) -> None:
    assert any(str(d.meant).startswith("lb-in") for d in setup.doubt_preload_unit(parse_torque(slip)))


@pytest.mark.parametrize(
    ("first", "second", "kind", "source"),
    [
        ("8 lb-in", "11 Nm", "torque", "civil service literature: 8-14 lb-in = 11-19 N·m; really 0.9 to 1.6"),
        ("14 lb-in", "19 Nm", "torque", "same"),
        ("0.002 in", "0.057 mm", "length", "TM 9-2320-289-34 ch 6; really 0.051"),
        ("0.005 mm", "0.002 in", "length", "civil service literature, backlash variation; really 0.05 mm"),
        ("30000 lbf", "9979 kgf", "force", "TM 5-4210-233-14&P-1 ch 5; really 13,608"),
    ],
)
def test_misprinted_pairs_are_asked_about(first: str, second: str, kind: str, source: str) -> None:
    question = setup.printed_pair_question(first, second, kind)
    assert question is not None, source
    assert first in question
    assert second in question


@pytest.mark.parametrize(
    ("first", "second", "kind", "source"),
    [
        ("0.002 in", "0.051 mm", "length", "the right value of the misprint above"),
        ("0.021 in", "0.534 mm", "length", "TM 9-2320-289-34 p 6-37, rounded up from 0.5334"),
        ("0.028 in", "0.711 mm", "length", "same"),
        ("30000 lbf", "13608 kgf", "force", "the right value of the misprint above"),
        ("10 lb-in", "1.1 Nm", "torque", "TM 9-2320-387-24-2 p 30-17"),
        ("0.05 mm", "0.002 in", "length", "the right value of the misprint above"),
    ],
)
def test_rightly_printed_pairs_pass(first: str, second: str, kind: str, source: str) -> None:
    assert setup.printed_pair_question(first, second, kind) is None, source


def test_side_shim_sum_printed_five_hundredths_too_large() -> None:
    # Civil service literature, maker withheld: 170.75 + 0.1 - 165.85 printed as 5.05; it is 5.00.
    total = setup.WrittenSum(
        "side shims",
        (
            setup.Term(Length(170.75, label="case")),
            setup.Term(Length(0.1, label="preload")),
            setup.Term(Length(165.85, label="bearings"), -1.0),
        ),
    )
    assert total.text("metric") == "170.750 + 0.100 − 165.850 = 5.000 mm"


def test_mounting_distance_sum_printed_rounded() -> None:
    # Civil service literature, maker withheld: 103.5 + 0.08 printed as 103.6 mm; it is 103.58.
    mark = setup.DepthMark(8, "0.01 mm", "plus_means_larger_mounting_distance")
    total = setup.WrittenSum(
        "mounting distance",
        (setup.Term(Length(103.5, label="nominal")), setup.Term(mark.deviation())),
    )
    assert total.text("metric") == "103.500 + 0.080 = 103.580 mm"


def test_inch_conversion_is_not_one_percent_low() -> None:
    # TM 10-3930-660-34 converts with 0.039; 0.1 mm in a set of shims would then be 0.0039 and not 0.00394 in.
    shown = setup.WrittenSum("ten metric leaves", (setup.Term(Length(1.0, label="leaves")),)).text()
    assert shown == "0.0394 = 0.0394 in"


@pytest.mark.parametrize(
    ("diameter_in", "teeth", "low_in", "high_in"),
    # Worked once more from the table (derived): 8.8 in, 41 teeth -> pitch 4.66 -> 0.006 to 0.008; 15.4 in ->
    # 2.66 -> 0.010 to 0.013.
    [(8.8, 41, 0.006, 0.008), (15.4, 41, 0.010, 0.013)],
)
def test_backlash_by_diametral_pitch(diameter_in: float, teeth: int, low_in: float, high_in: float) -> None:
    limit = setup.backlash_limit_by_pitch(diameter_in * INCH, teeth)
    assert (limit.low, limit.high) == pytest.approx((low_in * INCH, high_in * INCH))


def test_rows_of_the_backlash_table_join_and_fall() -> None:
    # The reprint prints its last row as "8.00-1.00"; rows must join and the backlash must fall with the
    # pitch.
    rows = setup.BACKLASH_BY_DIAMETRAL_PITCH
    for (_, up_to, fine, coarse), (start, _, next_fine, next_coarse) in pairwise(rows):
        assert up_to == start
        assert next_fine < fine
        assert next_coarse < coarse
    assert all(low < high for low, high, _, _ in rows)
