"""Sets rolled at known settings, as evidence for the diagnosis."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

import axlewright as aw
from axlewright.contact import Settings, roll
from axlewright.contact.atlas import atlas_of
from axlewright.diagnosis import Evidence

SD = (0.02, 0.02)


def rolled(name: str, settings: Settings, *, flanks: str = "both", **more: Any) -> Evidence:
    """Return what a careful reader would see of a set at these settings.

    The drive flank counts as photographed twice, so that no test of a change meets
    the offer of one more photo.
    """
    more.setdefault("looked_again", True)
    design = aw.load_design(name)
    where = {
        "pinion_out_mm": settings.pinion_out_mm,
        "ring_away_mm": settings.ring_away_mm,
        "offset_error_mm": settings.offset_error_mm,
        "shaft_angle_error_deg": settings.shaft_angle_error_deg,
    }
    drive = roll(design, "drive", **where).pattern if flanks != "coast" else None
    coast = roll(design, "coast", **where).pattern if flanks != "drive" else None
    backlash = design.backlash_nominal_mm + atlas_of(design).figure("backlash_change_mm", settings)
    return Evidence(design, drive, coast, SD, SD, backlash_mm=max(0.0, backlash), **more)


@pytest.fixture(scope="session")
def seen() -> Callable[..., Evidence]:
    """Return the maker of evidence."""
    return rolled
