"""What people type, against a general units library as oracle."""

from __future__ import annotations

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from axlewright.errors import InputError
from axlewright.language import Shown, using_language
from axlewright.units import (
    Length,
    Torque,
    parse_angle,
    parse_force,
    parse_length,
    parse_speed,
    parse_torque,
    show_length,
    show_number,
    show_speed,
    using_system,
)

ureg = pint.UnitRegistry()


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("0.002 in", 0.0508),
        ("5 thou", 0.127),
        ("0,05 mm", 0.05),
        ("109.54mm", 109.54),
        ("1 3/8 in", 34.925),
        ("3/8 in", 9.525),
        ('4.3125"', 109.5375),
        ("-0.002in", -0.0508),
        ("−0.002 in", -0.0508),
        ("+.03 mm", 0.03),
        ("2 µm", 0.002),
        ("1e-3 in", 0.0254),
        ("2,1 m", 2100.0),
    ],
)
def test_lengths_as_typed(text, mm):
    assert parse_length(text) == pytest.approx(mm, abs=1e-12)


@given(st.floats(-1e4, 1e4, allow_nan=False), st.sampled_from(["mm", "cm", "m", "in", "ft"]))
def test_lengths_agree_with_the_oracle(value, unit):
    wanted = ureg.Quantity(value, unit).to("mm").magnitude
    assert parse_length(f"{value!r} {unit}") == pytest.approx(wanted, rel=1e-12, abs=1e-12)


@given(
    st.floats(0, 1e4, allow_nan=False),
    st.sampled_from(
        [("lb-in", "lbf*inch"), ("lb-ft", "lbf*foot"), ("Nm", "N*m"), ("Ncm", "N*cm"), ("kgf-cm", "kgf*cm")]
    ),
)
def test_torques_agree_with_the_oracle(value, unit):
    ours, theirs = unit
    wanted = ureg.Quantity(value, theirs).to("N*m").magnitude
    assert parse_torque(f"{value!r} {ours}") == pytest.approx(wanted, rel=1e-9, abs=1e-12)


@given(
    st.floats(0, 300, allow_nan=False),
    st.sampled_from([("mph", "mile/hour"), ("km/h", "km/hour"), ("m/s", "m/s")]),
)
def test_speeds_agree_with_the_oracle(value, unit):
    ours, theirs = unit
    wanted = ureg.Quantity(value, theirs).to("m/s").magnitude
    assert parse_speed(f"{value!r} {ours}") == pytest.approx(wanted, rel=1e-12, abs=1e-12)


def test_angles_and_forces():
    assert parse_angle("1 mrad") == pytest.approx(ureg.Quantity(1, "mrad").to("deg").magnitude)
    assert parse_angle("0.5") == 0.5
    assert parse_force("7.5 lbf") == pytest.approx(ureg.Quantity(7.5, "lbf").to("N").magnitude)


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("", "not a number"),
        ("five thou", "not a number"),
        ("5 furlong", "furlong"),
        ("0.05", "no unit"),
        ("1/0 in", "zero"),
        ("1e999 mm", "finite"),
        ("5 mm 3", "unknown length unit"),
    ],
)
def test_what_cannot_be_read_is_said_with_an_example(text, word):
    with pytest.raises(InputError, match=word) as caught:
        parse_length(text, where="carrier")
    assert str(caught.value).startswith("carrier: ")
    assert caught.value.fix


def test_a_bare_number_takes_the_default_unit_only_where_there_is_one():
    assert parse_length("4.3125", default_unit="in") == pytest.approx(109.5375)
    assert parse_length(2.0, default_unit="mm") == 2.0
    with pytest.raises(InputError):
        parse_length(float("nan"), default_unit="mm")


def test_both_systems_are_shown():
    assert show_length(0.127) == "0.0050 in (0.127 mm)"
    assert show_length(-0.0508, "metric", signed=True) == "−0.051 mm (−0.0020 in)"
    # 20 lb-in is printed as 2.3 N·m in public-domain manual TM 9-2320-387-24-2.
    assert Torque(parse_torque("20 lb-in")).show() == "20.0 lb-in (2.26 N·m)"
    assert Length(25.4).thou == 1000.0


def test_what_rounds_to_zero_has_no_sign():
    assert show_length(-0.0001, signed=True) == "0.0000 in (0.000 mm)"
    assert show_length(0.0, signed=True) == "0.0000 in (0.000 mm)"
    assert show_length(-0.0001, "metric") == "0.000 mm (0.0000 in)"
    # 0.001 mm = 0.00004 in: each number by itself.
    assert show_length(-0.001, signed=True) == "0.0000 in (−0.001 mm)"
    shown = [show_number(v, 1, signed=True) for v in (-28.44, 0.04, -0.04, 0.06)]
    assert shown == ["−28.4", "0.0", "0.0", "+0.1"]
    assert show_number(float("nan"), 1) == "nan"


@given(st.floats(-50, 50, allow_nan=False))
def test_what_is_shown_reads_back(mm):
    inch = show_length(mm).split(" (", 1)[0]
    assert parse_length(inch) == pytest.approx(mm, abs=0.5e-4 * 25.4 + 1e-9)


def test_numbers_have_the_decimal_sign_of_the_language() -> None:
    with using_language("de"):
        assert show_length(0.127) == "0,0050 in (0,127 mm)"
        assert show_length(-0.0508, "metric", signed=True) == "−0,051 mm (−0,0020 in)"
        assert Torque(2.26).show() == "20,0 lb-in (2,26 N·m)"
        assert show_number(0.04, 1) == "0,0"
        assert [f"{Shown(v):+.2f}" for v in (-1.5, 0.25, -0.001)] == ["−1,50", "+0,25", "0,00"]
        assert f"{Shown(1.25):.1f}" == "1,2"
        assert f"{Shown(-1e-7):g}" == "−1e-07"
        assert parse_length(show_length(0.127).partition(" (")[0]) == pytest.approx(0.127)
    assert f"{Shown(-1.5):.1f} {Shown(2.0):g}" == "−1.5 2"


def test_the_chosen_system_comes_first_unless_one_is_named() -> None:
    with using_system("metric"):
        assert show_length(0.127) == "0.127 mm (0.0050 in)"
        assert show_length(0.127, "inch") == "0.0050 in (0.127 mm)"
        assert Torque(2.26).show() == "2.26 N·m (20.0 lb-in)"
        assert show_speed(20.0) == "72 km/h (45 mph)"
    assert show_length(0.127) == "0.0050 in (0.127 mm)"
    assert show_speed(20.0) == "45 mph (72 km/h)"
