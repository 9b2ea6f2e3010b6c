"""More than one photo of a flank at one setting."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

import axlewright as aw
from axlewright.contact import roll
from axlewright.errors import InputError
from axlewright.pattern import PatternReading, combine_looks
from axlewright.pattern.several import SHARED


def look(x: float, y: float, sd: tuple[float, float] = (0.02, 0.04), flank: str = "drive") -> PatternReading:
    pattern = replace(roll(aw.load_design("TY-222"), flank).pattern, center=(x, y))
    return PatternReading(pattern=pattern, center_sd=sd, length_sd=0.03, source="photo")


def test_two_that_agree_are_averaged_by_their_variances() -> None:
    """Weighted mean of measurements: GUM-style, weights one over variance (any text on statistics)."""
    both = combine_looks([look(0.00, 0.10), look(0.02, 0.04, (0.02, 0.02))])
    assert both.pattern.center == pytest.approx((0.01, (0.10 / 4 + 0.04) / (1 / 4 + 1)))
    assert 0.02 * math.sqrt(1.0 / 1.25) < both.center_sd[1] < 0.02
    assert any("mean of 2 photos" in q for q in both.quality)


def test_more_photos_help_less_and_less() -> None:
    """What photos of one set share does not average out."""
    sds = [combine_looks([look(0.0, 0.1)] * n).center_sd[1] for n in (1, 2, 4, 100)]
    assert sds == sorted(sds, reverse=True)
    assert sds[-1] > 0.04 * math.sqrt(SHARED)
    assert combine_looks([look(0.0, 0.1)]).quality == ()


def test_scatter_of_means_is_as_stated() -> None:
    rng = np.random.default_rng(3)
    shared = math.sqrt(SHARED) * 0.04 * rng.standard_normal(400)
    own = math.sqrt(1.0 - SHARED) * 0.04 * rng.standard_normal((400, 2))
    off = [
        combine_looks([look(0.0, 0.1 + float(s + e)) for e in two])
        for s, two in zip(shared, own, strict=True)
    ]
    z = [(one.pattern.center[1] - 0.1) / one.center_sd[1] for one in off]
    assert float(np.std(z)) == pytest.approx(1.0, abs=0.12)


def test_one_that_does_not_agree_is_left_out_and_told() -> None:
    newest = look(0.0, 0.10)
    both = combine_looks([look(0.0, -0.25), newest])
    assert both.pattern.center == newest.pattern.center
    assert both.center_sd[1] == pytest.approx(math.hypot(0.04, 0.175), rel=0.02), "which is right is open"
    assert any("left out" in q and "0.35 in profile" in q for q in both.quality)
    third = combine_looks([look(0.0, -0.25), look(0.0, 0.11), newest])
    assert third.center_sd[1] < 0.04, "two against one"
    assert any("left out" in q for q in third.quality)


def test_flanks_are_not_mixed() -> None:
    with pytest.raises(InputError, match="mixed"):
        combine_looks([look(0.0, 0.1), look(0.0, 0.1, flank="coast")])
    with pytest.raises(InputError, match="no reading"):
        combine_looks([])
