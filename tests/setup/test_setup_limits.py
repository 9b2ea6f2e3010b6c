"""Limits, verdicts and cautions."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from axlewright import setup
from axlewright.errors import InputError

BAND = setup.Limit("band", 1.0, 2.0, "mm", "service data typed in by bench one")


@given(st.floats(-1.0, 4.0), st.floats(0.0, 1.5))
def test_verdict_follows_the_interval(value: float, half: float) -> None:
    kind = setup.judge(value, BAND, expanded_uncertainty=half).kind
    low, high = value - half, value + half
    if low > 1.0 + 1e-6 and high < 2.0 - 1e-6:
        assert kind == "inside"
    elif high < 1.0 - 1e-6 or low > 2.0 + 1e-6:
        assert kind == "outside"
    elif low < 1.0 - 1e-6 or high > 2.0 + 1e-6:
        assert kind == "near the edge: measure again"


@pytest.mark.parametrize("edge", [1.0, 2.0])
def test_an_edge_is_permitted(edge: float) -> None:
    assert setup.judge(edge, BAND).kind == "inside"


def test_a_typed_decimal_is_not_judged_by_its_last_bit() -> None:
    spread = 0.0085 * 25.4 - 0.0065 * 25.4
    assert spread != 0.002 * 25.4
    assert setup.judge(spread, setup.DEFAULT_LIMITS["backlash_spread"]).kind == "inside"


def test_open_sides() -> None:
    most = setup.Limit("runout", None, 0.05, "mm", "typed in")
    least = setup.Limit("backlash", 0.05, None, "mm", "typed in")
    assert setup.judge(-5.0, most).kind == "inside"
    assert setup.judge(0.06, most).kind == "outside"
    assert setup.judge(5.0, least).kind == "inside"
    assert "at most" in most.text()
    assert "at least" in least.text()


def test_own_data_wins_over_the_default() -> None:
    own = setup.inch_limit("flange runout", None, 0.001, "service data typed in by bench one")
    assert setup.choose_limit("flange_runout", {"flange_runout": own}) is own
    default = setup.choose_limit("flange_runout", {})
    assert default.is_default
    assert "default" in default.text()
    assert "default" not in own.text()


def test_own_limit_in_another_kind_of_unit_is_refused() -> None:
    wrong = setup.lbf_in_limit("flange runout", None, 1.0, "typed in")
    with pytest.raises(InputError, match="give it in mm"):
        setup.choose_limit("flange_runout", {"flange_runout": wrong})


def test_a_limit_nobody_knows_is_asked_for() -> None:
    with pytest.raises(InputError, match="service data"):
        setup.choose_limit("pinion_nut_torque")


@pytest.mark.parametrize(
    ("low", "high", "source"),
    [(None, None, "typed in"), (2.0, 1.0, "typed in"), (1.0, 2.0, " "), (math.nan, 1.0, "typed in")],
)
def test_limits_that_cannot_be_are_refused(low: float | None, high: float | None, source: str) -> None:
    with pytest.raises(InputError):
        setup.Limit("limit", low, high, "mm", source)


@pytest.mark.parametrize("key", sorted(setup.DEFAULT_LIMITS))
def test_every_default_says_that_it_is_one_and_whence(key: str) -> None:
    limit = setup.DEFAULT_LIMITS[key]
    assert limit.is_default
    assert len(str(limit.source)) > 8
    # Structural fasteners are never among the defaults.
    assert not any(word in limit.name for word in ("nut", "bolt", "cap torque"))


STEPS = [
    "complaint",
    "as_found",
    "identity",
    "fits",
    "runout",
    "depth",
    "pinion_preload",
    "backlash",
    "pattern",
    "final_build",
    "close",
    "roll_test",
]


@pytest.mark.parametrize("step", STEPS)
def test_every_step_has_cautions_that_promise_nothing(step: str) -> None:
    cautions = setup.cautions_for(step)
    assert cautions
    for caution in cautions:
        words = str(caution.text).lower()
        assert "safe" not in words
        assert "harmless" not in words
        assert str(caution.text).endswith(".")
        assert caution.source
        assert len(str(caution.text)) < 140


def test_cautions_where_they_matter() -> None:
    text = {step: " ".join(str(c.text) for c in setup.cautions_for(step)) for step in STEPS}
    assert "lead-free" in text["pattern"]
    assert "Never back the nut off" in text["pinion_preload"]
    assert "second person" in text["close"]
    assert "gloves" in text["fits"]
    assert "Hearing" in text["roll_test"] or "hearing" in text["roll_test"]


def test_an_unknown_step_is_no_all_clear() -> None:
    with pytest.raises(InputError, match="unknown step"):
        setup.cautions_for("wash")
