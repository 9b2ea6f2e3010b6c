"""Several teeth around the ring gear: settings and runout kept apart."""

from __future__ import annotations

import math

import numpy as np
import pytest

import axlewright as aw
from axlewright.errors import InputError
from axlewright.gearset import GearSetDesign
from axlewright.pattern import PatternReading, combine_teeth


def _reading(design: GearSetDesign, ring_away_mm: float, pinion_out_mm: float = 0.05) -> PatternReading:
    pattern = aw.roll(design, "drive", pinion_out_mm=pinion_out_mm, ring_away_mm=ring_away_mm).pattern
    return PatternReading(pattern=pattern, center_sd=(0.012, 0.025), length_sd=0.03, source="photo")


def test_runout_is_kept_apart_from_the_setting(design: GearSetDesign) -> None:
    teeth = [1, 8, 15, 22, 28, 35]
    lift = 0.08  # mm, far beyond any limit, so that the wander must be seen
    readings = [_reading(design, lift * math.cos(2 * math.pi * (t - 8) / 41)) for t in teeth]
    together = combine_teeth(readings, teeth, 41)
    assert together.runout
    assert together.lengthwise is not None
    assert together.lengthwise.largest_at_tooth == pytest.approx(8, abs=4)
    still = _reading(design, 0.0).pattern.center
    assert together.mean.pattern.center[0] == pytest.approx(still[0], abs=0.03)
    assert together.mean.pattern.center[1] == pytest.approx(still[1], abs=0.05)
    assert any("runout" in n for n in together.notes)
    assert together.summary()["runout"] is True


def test_scatter_alone_is_no_runout(design: GearSetDesign) -> None:
    """By its stated chance about 1 in 100 per direction; 120 trials of pure reading error stay below 6 %."""
    rng = np.random.default_rng(5)
    one = _reading(design, 0.0)
    teeth = [1, 8, 15, 22, 28, 35]
    called = 0
    for _ in range(120):
        readings = []
        for _t in teeth:
            center = tuple(np.array(one.pattern.center) + rng.normal(0, 1, 2) * one.center_sd)
            p = one.pattern
            moved = type(p)(
                p.flank, p.mask, center, p.length_fraction, p.height_fraction, p.area_fraction, p.slant_deg,
                p.touches,
            )  # fmt: skip
            readings.append(
                PatternReading(pattern=moved, center_sd=one.center_sd, length_sd=0.03, source="photo")
            )
        called += combine_teeth(readings, teeth, 41).runout
    assert called <= 7


def test_three_teeth_give_a_mean_only(design: GearSetDesign) -> None:
    together = combine_teeth([_reading(design, v) for v in (0.0, 0.02, -0.02)], [1, 14, 28], 41)
    assert together.profile is None
    assert not together.runout
    assert "four teeth" in together.notes[0]


def test_bad_teeth(design: GearSetDesign) -> None:
    r = _reading(design, 0.0)
    with pytest.raises(InputError, match="at least two"):
        combine_teeth([r], [1], 41)
    with pytest.raises(InputError, match="twice"):
        combine_teeth([r, r], [1, 1], 41)
    with pytest.raises(InputError, match="does not exist"):
        combine_teeth([r, r], [1, 42], 41)
