"""Directions the trade knows, on eight designs of both tooth forms beside the shop's own.

Common practice, no source; set-up sheets of both tooth forms agree on them.
"""

from dataclasses import replace

import pytest
from many_designs import MANY

from axlewright.contact import roll
from axlewright.gearset import build_geometry, load_design

GRID = {"lengthwise": 64, "profile": 32, "roll_angles": 96}


def moves(design, **change):
    """Return how far drive and coast pattern go from minus to plus the change, halved."""
    back = {k: -v for k, v in change.items()}
    out = []
    for flank in ("drive", "coast"):
        a = roll(design, flank, **change, **GRID).pattern.center
        b = roll(design, flank, **back, **GRID).pattern.center
        out.append(((a[0] - b[0]) / 2.0, (a[1] - b[1]) / 2.0))
    return out


@pytest.mark.parametrize("design", MANY.values(), ids=lambda d: d.name)
def test_pinion_out_moves_both_patterns_up_and_lengthwise_by_the_tooth_form(design):
    drive, coast = moves(design, pinion_out_mm=0.1)
    assert drive[1] > 0.1
    assert coast[1] > 0.1
    if design.tooth_form == "face-hobbed":
        assert drive[0] < 0.0 < coast[0]
    else:
        assert drive[0] > 0.05
        # Coast toward the toe needs a cutter that is large for the cone distance (docs/method.md, 9).
        wide = design.cutter_radius_mm / build_geometry(design).cones.cone_distance2 > 0.9
        assert coast[0] < drive[0] - 0.02
        if wide and design.shaft_angle_deg >= 90.0:
            assert coast[0] < 0.0


@pytest.mark.parametrize("design", MANY.values(), ids=lambda d: d.name)
def test_less_backlash_moves_both_patterns_down_and_the_drive_toward_the_toe(design):
    drive, coast = moves(design, ring_away_mm=-0.12)
    assert drive[0] < -0.1
    assert drive[1] < -0.02
    assert coast[1] < -0.02
    assert abs(coast[0]) < abs(drive[0])
    if design.tooth_form == "face-hobbed":
        assert coast[0] > 0.05  # drive toward toe, coast toward heel


def test_the_coast_follows_the_drive_toward_the_toe_the_larger_the_cutter():
    base = replace(load_design("TY-222"), depth_taper="standard")
    coast = [
        moves(replace(base, cutter_radius_mm=r), ring_away_mm=-0.15)[1][0]
        for r in (76.2, 95.25, 114.3, 139.7)
    ]
    assert coast == sorted(coast, reverse=True)
    assert coast[0] > 0.1
    assert coast[-1] < -0.05
