"""Student's factor against another routine."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from axlewright import setup


@given(st.floats(1.0, 500.0), st.floats(0.5, 0.999))
def test_factor_against_the_distribution_itself(freedom: float, level: float) -> None:
    k = setup.coverage_factor(freedom, level)
    assert stats.t.cdf(k, freedom) - stats.t.cdf(-k, freedom) == pytest.approx(level, abs=1e-9)


def test_without_end_it_is_the_normal_factor() -> None:
    # 1.96 for 95 %, as in every table.
    assert setup.coverage_factor(float("inf")) == pytest.approx(1.96, abs=5e-5)
