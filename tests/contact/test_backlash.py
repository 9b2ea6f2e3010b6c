"""Backlash from both flanks: against first-order kinematics, the closed form and the shop's own rules."""

import math
from dataclasses import replace

import numpy as np
import pytest
from many_designs import MANY

from axlewright.contact import Settings, backlash_at, backlash_per_move
from axlewright.contact.backlash import first_order_per_move, pressure_angles
from axlewright.gearset import build_geometry, load_design, shipped_designs
from axlewright.setup import backlash_per_pinion_move, backlash_per_ring_move

ALL = [load_design(n) for n in shipped_designs()] + list(MANY.values())


@pytest.mark.parametrize("design", ALL, ids=lambda d: d.name)
def test_rolling_gives_the_change_that_the_normals_where_it_touches_give(design):
    # First-order kinematics: gap n·d over the lever of the ring gear, both flanks (docs/method.md).
    ring, pinion = backlash_per_move(design)
    assert ring.computed == pytest.approx(ring.at_contact, rel=0.01)
    assert pinion.computed == pytest.approx(pinion.at_contact, rel=0.05)


@pytest.mark.parametrize("design", [d for d in ALL if d.depth_taper == "constant"], ids=lambda d: d.name)
def test_closed_form_holds_at_the_mean_point_of_constant_depth(design):
    # Closed form Δj = Δx sin δ (tan α_D + tan α_C)/cos β2; square axes, both flanks at the mean point.
    geometry = build_geometry(design)
    x, y = geometry.blank.to_tooth(
        np.array(geometry.blank.pitch_radius), np.array(geometry.blank.pitch_height)
    )
    places = ((float(x), float(y)), (float(x), float(y)))
    drive, coast = (math.degrees(a) for a in pressure_angles(geometry))
    beta = math.degrees(geometry.cones.spiral2)
    ratio = design.ring_outer_diameter_mm / 2.0 / geometry.cones.radius2
    away = first_order_per_move(geometry, np.array([0.0, 0.0, -1.0]), places)
    assert away == pytest.approx(
        backlash_per_ring_move(
            math.degrees(geometry.cones.delta2), beta, drive, coast, heel_radius_ratio=ratio
        ),
        rel=2e-4,
    )
    out = first_order_per_move(geometry, geometry.cones.pinion_axis, places)
    assert out == pytest.approx(
        backlash_per_pinion_move(
            math.degrees(geometry.cones.delta1), beta, drive, coast, heel_radius_ratio=ratio
        ),
        rel=2e-4,
    )


@pytest.mark.parametrize("design", ALL, ids=lambda d: d.name)
def test_ring_gear_shift_stays_within_a_tenth_of_the_closed_form(design):
    ring, _ = backlash_per_move(design)
    assert ring.computed == pytest.approx(ring.closed_form, rel=0.10)


@pytest.mark.parametrize("name", shipped_designs())
def test_square_to_tooth_lies_in_the_band_of_the_shop_rules(name):
    # Shop rules, government and civil service manuals: 0.5 to 0.8 of backlash per unit of shim moved across.
    ring, _ = backlash_per_move(load_design(name))
    assert 0.5 <= ring.square_to_tooth <= 0.8


def test_backlash_at_settings():
    design = load_design("TY-222")
    nominal = backlash_at(design)
    assert nominal.in_rotation_mm == pytest.approx(design.backlash_nominal_mm)
    assert nominal.change_mm == 0.0
    away, close = backlash_at(design, Settings(0.0, 0.1)), backlash_at(design, Settings(0.0, -0.1))
    assert close.in_rotation_mm < nominal.in_rotation_mm < away.in_rotation_mm
    assert backlash_at(design, Settings(0.1, 0.0)).change_mm > 0.0
    assert 0.0 < nominal.within_pitch_mm < 0.01
    assert nominal.square_to_tooth_mm < nominal.in_rotation_mm


def test_nominal_backlash_does_not_depend_on_the_grid():
    design = replace(load_design("TY-205H"), backlash_nominal_mm=0.2)
    coarse = backlash_at(design, Settings(0.05, -0.05), lengthwise=48, profile=24, roll_angles=80)
    fine = backlash_at(design, Settings(0.05, -0.05), lengthwise=96, profile=48, roll_angles=160)
    assert coarse.change_mm == pytest.approx(fine.change_mm, abs=0.0005)
