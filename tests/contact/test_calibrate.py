"""The ease-off fitted to a known good pattern comes back, with an uncertainty that covers the truth."""

import json
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

import axlewright as aw
from axlewright.contact import Settings, fit_ease_off, measure_mask
from axlewright.errors import InputError
from axlewright.pattern import read_photo


@pytest.mark.parametrize("name", ["TY-222", "TY-205H", "TY-176B"])
def test_round_trip_on_masks_alone(name):
    design = aw.load_design(name)
    true = replace(
        design,
        lengthwise_crown_mm=1.4 * design.lengthwise_crown_mm,
        drive_center_lengthwise=-0.15,
        drive_center_profile=0.08,
        coast_center_lengthwise=0.10,
        coast_center_profile=-0.05,
    )
    masks = {f: aw.roll(true, f).pattern.mask for f in ("drive", "coast")}
    fit = fit_ease_off(design, masks)
    for field in fit.fields:
        assert abs(field.value - getattr(true, field.field)) <= 2.0 * field.standard_uncertainty, field
    again = aw.roll(fit.design, "drive").pattern
    assert again.center == pytest.approx(aw.roll(true, "drive").pattern.center, abs=0.03)
    assert again.length_fraction == pytest.approx(aw.roll(true, "drive").pattern.length_fraction, abs=0.05)
    assert fit.misfit < 1.0


def test_fitted_fields_are_named_with_their_uncertainty():
    design = aw.load_design("TY-222")
    fitted = aw.calibrate(design, aw.roll(replace(design, drive_center_lengthwise=-0.2), "drive").pattern)
    notes = {e.field: e for e in fitted.estimates}
    assert "standard uncertainty" in notes["drive_center_lengthwise"].rule
    assert fitted.drive_center_lengthwise == pytest.approx(-0.2, abs=0.03)
    assert fitted.coast_center_lengthwise == design.coast_center_lengthwise
    # The film scales both crowns: a pattern cannot fix the crown better than the film is known.
    fit = fit_ease_off(design, aw.roll(design, "drive").pattern)
    crown = next(f for f in fit.fields if f.field == "lengthwise_crown_mm")
    assert crown.standard_uncertainty / crown.value > 0.2
    profile = next(f for f in fit.fields if f.field == "profile_crown_mm")
    assert not profile.determined
    assert fit.design.profile_crown_mm == design.profile_crown_mm


def test_pattern_taken_at_a_known_setting_is_carried_back():
    design = aw.load_design("TY-222")
    seen = aw.roll(design, "drive", 0.08).pattern
    fitted = fit_ease_off(design, seen, Settings(0.08))
    place = {f.field: f for f in fitted.fields}
    assert abs(place["drive_center_lengthwise"].value) < 0.05
    assert abs(place["drive_center_profile"].value) < 0.12
    wrong = {f.field: f for f in fit_ease_off(design, seen).fields}
    assert wrong["drive_center_profile"].value > 0.15


@dataclass(frozen=True)
class Reading:
    pattern: aw.ContactPattern
    center_sd: tuple[float, float]
    length_sd: float


def test_a_vaguer_reading_leaves_more_open():
    design = aw.load_design("TY-222")
    pattern = measure_mask(aw.roll(design, "drive").pattern.mask, "drive")
    sharp = fit_ease_off(design, Reading(pattern, (0.02, 0.02), 0.02))
    vague = fit_ease_off(design, Reading(pattern, (0.25, 0.25), 0.2))
    assert vague.fields[2].standard_uncertainty > 3.0 * sharp.fields[2].standard_uncertainty
    assert sharp.fields[2].determined


def test_useless_patterns_are_refused():
    design = aw.load_design("TY-222")
    with pytest.raises(ValueError, match="no pattern"):
        aw.calibrate(design, [])
    with pytest.raises(InputError, match="nothing is marked"):
        aw.calibrate(design, {"drive": np.zeros((48, 96), bool)})
    with pytest.raises(ValueError, match="own"):
        aw.calibrate(design, {"coast": aw.roll(design, "drive").pattern})


PHOTOS = Path(__file__).parents[2] / "examples" / "photos"


@pytest.mark.parametrize("flank", ["drive", "coast"])
def test_a_photo_taken_at_a_known_setting_brings_the_design_back(flank):
    """The demo photo was drawn from TY-222 as shipped with the pinion out; the fit must find that design.

    Centred at 0, 0 within twice the stated uncertainty; the reading's own uncertainty goes into it.
    """
    known = json.loads((PHOTOS / f"ty-222-job-{flank}.json").read_text())
    design = aw.load_design(known["design"])
    reading = read_photo(PHOTOS / f"ty-222-job-{flank}.jpg", known["corners_text"], design, flank)
    fit = fit_ease_off(design, reading, Settings(**known["settings"]))
    for field in fit.fields:
        assert abs(field.value - getattr(design, field.field)) <= 2.0 * field.standard_uncertainty, field
    place = next(f for f in fit.fields if f.field == f"{flank}_center_lengthwise")
    assert place.determined
    assert place.standard_uncertainty < 0.2
