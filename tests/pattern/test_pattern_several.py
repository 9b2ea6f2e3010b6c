"""Several teeth around the ring gear: settings and runout kept apart."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

import axlewright as aw
from axlewright.contact import Settings
from axlewright.contact.runout import Runout, roll_runout
from axlewright.errors import InputError, PhotoError
from axlewright.gearset import GearSetDesign
from axlewright.pattern import (
    PatternReading,
    SeveralTeeth,
    ToothPhoto,
    combine_teeth,
    estimate_runout,
    read_several,
)


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


@pytest.fixture(scope="module")
def around(design: GearSetDesign) -> dict[str, SeveralTeeth]:
    """Both flanks of six teeth; the ring gear runs out on its face and radially, settings are off as well."""
    runout = Runout(
        ring_face_tir_mm=0.12, ring_radial_tir_mm=0.08, ring_face_high_deg=90.0, ring_radial_high_deg=200.0
    )
    rolled = roll_runout(design, runout, Settings(0.04, -0.03), lengthwise=40, profile=20, roll_angles=72)
    teeth = [1, 8, 15, 22, 29, 36]
    out = {}
    for flank in ("drive", "coast"):
        patterns = [rolled.flank(flank).patterns[t - 1] for t in teeth]  # type: ignore[arg-type]
        readings = [
            PatternReading(pattern=p, center_sd=(0.012, 0.02), length_sd=0.03, source="photo")
            for p in patterns
        ]
        out[flank] = combine_teeth(readings, teeth, design.ring_teeth)
    return out


def test_both_flanks_tell_face_from_radial_runout(
    around: dict[str, SeveralTeeth], design: GearSetDesign
) -> None:
    """Held against the runout put into the rolling, at other settings than the answers are taken at."""
    found = estimate_runout(design, drive=around["drive"], coast=around["coast"])
    assert found.told_apart
    z = design.ring_teeth
    # Teeth are numbered as they mesh: against the sense in which the runout's place is counted.
    for dial, tir, high in ((found.face, 0.12, 1 + 270 / 360 * z), (found.radial, 0.08, 1 + 160 / 360 * z)):
        assert dial.sure
        assert abs(dial.tir_mm - tir) < 3.0 * dial.sd_mm
        assert dial.tir_mm == pytest.approx(tir, rel=0.35)
        assert min(abs(dial.high_at_tooth - high), z - abs(dial.high_at_tooth - high)) < 5.0
    assert any("measure both" in n for n in found.notes)
    assert found.summary()["face"]["sure"] is True


def test_one_flank_does_not(around: dict[str, SeveralTeeth], design: GearSetDesign) -> None:
    one = estimate_runout(design, drive=around["drive"])
    both = estimate_runout(design, drive=around["drive"], coast=around["coast"])
    assert not one.told_apart
    assert one.face.sd_mm > 1.3 * both.face.sd_mm
    assert any("other one" in n for n in one.notes)


def test_runout_needs_four_teeth(design: GearSetDesign) -> None:
    few = combine_teeth([_reading(design, v) for v in (0.0, 0.02)], [1, 20], 41)
    with pytest.raises(InputError, match="too few teeth"):
        estimate_runout(design, drive=few)


def test_a_tooth_that_cannot_be_read_is_left_out(job: dict[str, Any], design: GearSetDesign) -> None:
    photo = job["drive"]
    good = [ToothPhoto(photo.path, photo.corners + k, t) for k, t in ((0, 1), (1.0, 2))]
    bad = ToothPhoto(photo.path, photo.corners + 5000.0, 9)
    together = read_several([*good, bad], design, "drive")
    assert together.teeth == (1, 2)
    assert any("Tooth 9 was left out" in n and "outside the picture" in n for n in together.notes)
    with pytest.raises(PhotoError, match="outside the picture"):
        read_several([good[0], bad], design, "drive")
