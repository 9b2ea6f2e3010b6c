"""Runout rolled tooth by tooth."""

import numpy as np
import pytest

from axlewright.contact import Runout, Settings, backlash_per_move, roll, roll_runout
from axlewright.errors import InputError
from axlewright.gearset import load_design

COARSE = {"lengthwise": 40, "profile": 20, "roll_angles": 64}


@pytest.fixture(scope="module")
def design():
    return load_design("TY-222")


@pytest.fixture(scope="module")
def true_running(design):
    return roll_runout(design, Runout(), **COARSE)


@pytest.fixture(scope="module")
def wobbling(design):
    return roll_runout(design, Runout(ring_face_tir_mm=0.05, ring_face_high_deg=90.0), **COARSE)


def test_without_runout_every_tooth_is_the_same_and_as_rolled_alone(design, true_running):
    assert true_running.drive.wander == (0.0, 0.0)
    assert true_running.backlash_variation_mm == pytest.approx(0.0, abs=1e-9)
    alone = roll(design, "drive", **COARSE)
    assert true_running.drive.patterns[0].center == pytest.approx(alone.pattern.center, abs=0.03)
    assert np.ptp(true_running.drive.motion_error_urad) == pytest.approx(alone.motion_error_pp_urad, rel=0.05)
    bands = true_running.sidebands_urad("drive")
    assert bands["ring_below"] < 1e-6
    assert bands["ring_above"] < 1e-6


def test_face_runout_varies_the_backlash_like_moving_the_ring_gear(design, wobbling):
    # Tilted by TIR over its diameter the teeth move to and fro by TIR × mean radius / outer radius; the
    # shop's sum is TIR × backlash per shim (docs/setup.md).
    ring, _ = backlash_per_move(design)
    from axlewright.gearset import build_geometry

    share = build_geometry(design).cones.radius2 / (design.ring_outer_diameter_mm / 2.0)
    assert wobbling.backlash_variation_mm == pytest.approx(0.05 * share * ring.computed, rel=0.03)


def test_backlash_is_least_where_the_face_stands_nearest_to_the_pinion(design, wobbling):
    # High spot 90° on from the first tooth in the gear's own sense: tooth 41/4 on or the same number back.
    nearest = int(np.argmin(wobbling.backlash_mm))
    assert min(abs(nearest - 41 / 4), abs(nearest - 3 * 41 / 4)) <= 1.0
    assert wobbling.backlash_mm.mean() == pytest.approx(design.backlash_nominal_mm, abs=0.001)


def test_high_spot_at_the_first_tooth_acts_there(design):
    rolled = roll_runout(design, Runout(ring_face_tir_mm=0.05), **COARSE)
    assert int(np.argmin(rolled.backlash_mm)) in (0, 1, 40)
    # The tooth at the high spot is marked like a set with the ring gear closer, apart from the tilt.
    close = roll(design, "coast", ring_away_mm=-0.02, **COARSE).pattern.center[1]
    there = rolled.coast.patterns[0].center[1]
    opposite = rolled.coast.patterns[20].center[1]
    assert np.sign(there - opposite) == np.sign(close)


def test_sidebands_stand_one_turn_beside_the_mesh_order(design, wobbling, true_running):
    bands = wobbling.sidebands_urad("drive")
    assert bands["ring_below"] > 0.5
    assert bands["ring_above"] > 0.5
    assert bands["pinion_below"] < 0.3 * bands["ring_below"]
    assert bands["mesh"] == pytest.approx(true_running.sidebands_urad("drive")["mesh"], rel=0.15)
    pinion = roll_runout(design, Runout(pinion_radial_tir_mm=0.02), **COARSE).sidebands_urad("drive")
    assert pinion["pinion_above"] > 2.0 * pinion["ring_above"]


def test_radial_runout_moves_the_ring_gear_once_per_turn(design):
    rolled = roll_runout(design, Runout(ring_radial_tir_mm=0.04), **COARSE)
    # Eccentricity e turns the gear by about e/r each way: 0.02 mm at 95.3 mm is 210 µrad (plain geometry).
    assert rolled.drive.order_urad(1) == pytest.approx(0.02 / 95.3 * 1e6, rel=0.35)
    assert rolled.drive.wander[0] + rolled.drive.wander[1] > 0.03


def test_settings_and_runout_add(design):
    rolled = roll_runout(design, Runout(ring_face_tir_mm=0.03), Settings(ring_away_mm=0.05), **COARSE)
    ring, _ = backlash_per_move(design)
    assert rolled.backlash_mm.mean() - design.backlash_nominal_mm == pytest.approx(
        0.05 * ring.computed, abs=0.002
    )


def test_a_reading_no_gear_could_run_with_is_refused(design):
    with pytest.raises(InputError, match="ring_face_tir_mm"):
        roll_runout(design, Runout(ring_face_tir_mm=3.0))
