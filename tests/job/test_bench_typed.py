"""Reading what was typed: numbers, units, several readings in a field, complaints that name the field."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from axlewright.errors import InputError
from axlewright.job import FieldError
from axlewright.steps.answers import Answers, split_readings
from axlewright.steps.field import Field, Kind
from axlewright.units import System


def typed(
    text: str,
    system: System = "inch",
    *,
    kind: Kind = "lengths",
    usual: tuple[float, float] | None = None,
    **more: str,
) -> Answers:
    return Answers([Field("a", "the reading", kind, usual=usual)], {"a": text, **more}, system)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("4.3125 4.3120 4,3130", ("4.3125", "4.3120", "4,3130")),
        ("4.3125\n4.3120\n", ("4.3125", "4.3120")),
        ("4.3125, 4.3120; 4.3130", ("4.3125", "4.3120", "4.3130")),
        ("1 3/8 in", ("1 3/8",)),
        (".0615 0,0620", (".0615", "0,0620")),
    ],
)
def test_readings_are_told_apart(text: str, expected: tuple[str, ...]) -> None:
    assert tuple(number for number, _ in split_readings(text)) == expected


def test_one_unit_counts_for_all_readings() -> None:
    # 1 in = 25.4 mm exactly (NIST SP 811).
    assert typed("0.15 0.17 0.16 mm").lengths("a") == pytest.approx((0.15, 0.17, 0.16))
    assert typed("0.006 0.007 in", "metric").lengths("a") == pytest.approx((0.1524, 0.1778))


def test_a_unit_in_the_middle_is_asked_about_and_nothing_untyped_is_quoted() -> None:
    with pytest.raises(FieldError, match="142,83 may count for that one alone or for all 5") as e:
        typed("5.6230 5.6235 5.6225 142,83 mm 5.6230", usual=(20.0, 500.0))
    assert e.value.field == "a"
    assert "unit at each" in e.value.fix
    assert typed("5.6230 in 142,83 mm").lengths("a") == pytest.approx((142.8242, 142.83))
    with pytest.raises(FieldError, match=r"'5\.6230', counted in mm as at the end"):
        typed("5.6230 142,83 mm", usual=(20.0, 500.0))


def test_mixed_units_each_keep_their_own() -> None:
    assert typed("0.006 in 0.15 mm 0.006").lengths("a") == pytest.approx((0.1524, 0.15, 0.1524))


@pytest.mark.parametrize("text", ["abc", "0.006 or 0.007", "4.31 --", "3 furlongs"])
def test_nonsense_names_the_field(text: str) -> None:
    with pytest.raises(FieldError) as caught:
        typed(text)
    assert caught.value.field == "a"
    assert "the reading" in str(caught.value)


def test_unusual_numbers_are_asked_about_and_can_be_confirmed() -> None:
    with pytest.raises(FieldError, match="unusual"):
        typed("6", kind="length", usual=(0.0, 2.0))
    assert typed("6", kind="length", usual=(0.0, 2.0), really="yes").length("a") == pytest.approx(6 * 25.4)


@given(st.lists(st.floats(min_value=0.001, max_value=99.0), min_size=1, max_size=8))
def test_written_readings_come_back(values: list[float]) -> None:
    text = " ".join(f"{v:.4f}" for v in values)
    read = typed(text, "metric").lengths("a")
    assert read == pytest.approx([round(v, 4) for v in values], abs=1e-9)


@given(st.text(max_size=40))
def test_any_text_is_read_or_refused_in_one_sentence(text: str) -> None:
    try:
        read = typed(text).lengths("a")
    except InputError as error:
        message = str(error)
    else:
        message = f"{len(read)} readings"
    assert message


def test_a_kept_list_that_cannot_be_read_counts_as_empty() -> None:
    kept = Answers([Field("a", "the reading", "lengths")], {"a": "9 furlongs"}, "inch", kept=True)
    assert kept.lengths("a") == ()
    assert kept.last_digit_mm("a") == 0.0
