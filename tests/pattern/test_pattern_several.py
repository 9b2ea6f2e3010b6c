"""Several photos: of teeth around the ring gear, or of one flank at one setting."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

import axlewright as aw
from axlewright.contact import Settings, roll
from axlewright.contact.runout import Runout, roll_runout
from axlewright.errors import InputError, PhotoError
from axlewright.gearset import GearSetDesign
from axlewright.pattern import (
    PatternReading,
    SeveralTeeth,
    ToothPhoto,
    combine_looks,
    combine_teeth,
    estimate_runout,
    read_several,
)
from axlewright.pattern.several import SHARED


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
