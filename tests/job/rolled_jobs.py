"""Readings of the demo design rolled at settings, and what a depth step is told."""

from __future__ import annotations

from dataclasses import replace

import axlewright as aw
from axlewright.contact import Settings, roll
from axlewright.pattern import PatternReading

SD = (0.02, 0.03)
INCH = 25.4


def read_of(settings: Settings, sd: tuple[float, float] = SD, lift: float = 0.0) -> dict[str, PatternReading]:
    """Return both flanks of the demo design rolled at settings, the patterns lifted in profile."""
    design, out = aw.load_design("TY-222"), {}
    for flank in ("drive", "coast"):
        pattern = roll(design, flank, settings.pinion_out_mm, settings.ring_away_mm).pattern
        pattern = replace(pattern, center=(pattern.center[0], pattern.center[1] + lift))
        out[flank] = PatternReading(pattern=pattern, center_sd=sd, length_sd=0.03, source="photo")
    return out


def depth(fitted_in: float, carrier_in: float = 5.6254) -> dict[str, str]:
    return {
        "place": "under_head",
        "carrier": f"{carrier_in:.4f} {carrier_in:.4f}",
        "bearing": "1.2500",
        "mounting_distance": "4.3125",
        "fitted": f"{fitted_in:.4f}",
    }
