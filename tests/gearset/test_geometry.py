"""What must hold for every set, whatever its numbers."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from axlewright.contact import Settings, build_mesh
from axlewright.contact.mesh import roll_transforms
from axlewright.errors import DesignError
from axlewright.gearset import (
    build_geometry,
    design_from_fields,
    load_design,
    shipped_designs,
    solve_pitch_cones,
)

VARIED = {
    "right hand": {"pinion_teeth": 10, "ring_teeth": 41, "offset_mm": 35.0, "hand": "right"},
    "shaft angle 80": {"pinion_teeth": 13, "ring_teeth": 40, "offset_mm": 20.0, "shaft_angle_deg": 80.0},
    "shaft angle 100": {"pinion_teeth": 12, "ring_teeth": 38, "offset_mm": 25.0, "shaft_angle_deg": 100.0},
    "standard depth": {"pinion_teeth": 12, "ring_teeth": 43, "offset_mm": 30.0, "depth_taper": "standard"},
    "constant depth": {"pinion_teeth": 11, "ring_teeth": 39, "offset_mm": 30.0, "depth_taper": "constant"},
    "face-hobbed bevel": {
        "pinion_teeth": 15, "ring_teeth": 44, "offset_mm": 0.0, "tooth_form": "face-hobbed",
        "blade_groups": 13, "cutter_radius_mm": 88.0,
    },
    "bevel at 80": {"pinion_teeth": 15, "ring_teeth": 40, "offset_mm": 0.0, "shaft_angle_deg": 80.0},
}  # fmt: skip


def varied(name: str):
    return design_from_fields({"name": name, "ring_outer_diameter_mm": 210.0, **VARIED[name]})


ALL = [load_design(n) for n in shipped_designs()] + [varied(n) for n in VARIED]


@pytest.mark.parametrize("design", ALL, ids=lambda d: d.name)
def test_pitch_cones_meet_their_geometric_conditions(design):
    cones = build_geometry(design).cones
    for name, miss in cones.residuals(design.ratio).items():
        assert abs(miss) < 1e-9, name


@given(
    z1=st.integers(8, 16),
    ratio=st.floats(2.5, 4.8),
    offset=st.floats(0.04, 0.19),
    spiral=st.floats(42.0, 52.0),
    cutter=st.floats(0.38, 0.5),
    shaft=st.sampled_from([80.0, 90.0, 95.0]),
)
@settings(max_examples=60)
def test_identities_of_any_hypoid(z1, ratio, offset, spiral, cutter, shaft):
    """Spherical identities at 90 degrees: vector algebra, textbook knowledge, no single source."""
    d = 200.0
    z2 = round(z1 * ratio)
    cones = solve_pitch_cones(
        pinion_teeth=z1,
        ring_teeth=z2,
        offset_mm=offset * d,
        ring_outer_diameter_mm=d,
        face_width_mm=0.14 * d,
        pinion_spiral_angle_deg=spiral,
        cutter_radius_mm=cutter * d,
        shaft_angle_deg=shaft,
    )
    assert max(abs(v) for v in cones.residuals(z2 / z1).values()) < 1e-9
    if shaft == 90.0:
        eta = cones.offset_angle_wheel
        eps = math.asin((offset * d - cones.radius1 * math.sin(eta)) / cones.radius2)
        assert math.sin(cones.delta1) == pytest.approx(math.cos(cones.delta2) * math.cos(eps), abs=1e-9)
        assert math.sin(cones.delta2) == pytest.approx(math.cos(cones.delta1) * math.cos(eta), abs=1e-9)
        assert math.sin(cones.spiral1 - cones.spiral2) == pytest.approx(
            math.sin(eps) / math.cos(cones.delta1), abs=1e-9
        )


def test_a_small_offset_tends_to_the_spiral_bevel():
    common = {
        "pinion_teeth": 14,
        "ring_teeth": 39,
        "ring_outer_diameter_mm": 176.0,
        "face_width_mm": 25.0,
        "pinion_spiral_angle_deg": 35.0,
    }
    bevel = solve_pitch_cones(offset_mm=0.0, cutter_radius_mm=114.3, **common)
    assert bevel.limit_pressure_angle == 0.0
    assert bevel.spiral1 == bevel.spiral2
    assert math.degrees(bevel.delta1) == pytest.approx(math.degrees(math.atan(14 / 39)))


@pytest.mark.parametrize("design", ALL, ids=lambda d: d.name)
@pytest.mark.parametrize("flank", ["drive", "coast"])
def test_without_ease_off_the_gap_vanishes_along_the_contact_line(design, flank):
    mesh = build_mesh(design, 25, 15, 96)
    pair = mesh.flank(flank)
    matrices, shifts = roll_transforms(mesh.geometry, Settings(), pair.contact_roll.ravel())
    q = np.einsum("nij,nj->ni", matrices, pair.points.reshape(-1, 3)) + shifts
    gap = np.arctan2(q[:, 1], q[:, 0]) - pair.ring.theta(np.hypot(q[:, 0], q[:, 1]), q[:, 2])
    assert np.abs(gap).max() < 1e-7


@pytest.mark.parametrize("design", ALL, ids=lambda d: d.name)
def test_the_patches_stand_for_the_flank(design):
    """Patch normals are unit; the drive flank is convex, the coast flank concave."""
    geometry = build_geometry(design)
    for flank in (geometry.drive, geometry.coast):
        x = np.linspace(-1, 1, 41)
        points, normals = flank.points(x, np.zeros_like(x))
        assert np.allclose(np.linalg.norm(normals, axis=1), 1.0)
        chord = points[-1] - points[0]
        chord /= np.linalg.norm(chord)
        bow = points[20] - (points[0] + points[-1]) / 2.0
        # A convex flank bows along its outward normal.
        assert (bow @ normals[20] > 0.0) == (flank.name == "drive")


def test_hand_does_not_change_the_pattern():
    left = design_from_fields(
        {"name": "left", "ring_outer_diameter_mm": 210.0, **VARIED["right hand"], "hand": "left"}
    )
    from axlewright.contact import roll

    a = roll(left, "drive", pinion_out_mm=0.05, lengthwise=33, profile=21)
    b = roll(varied("right hand"), "drive", pinion_out_mm=0.05, lengthwise=33, profile=21)
    assert a.pattern.center == pytest.approx(b.pattern.center)


@pytest.mark.parametrize("hand", ["left", "right"])
@pytest.mark.parametrize("direction", ["below", "above"])
def test_the_offset_enlarges_the_pinion_on_either_side(hand, direction):
    """The computed set is one; hand and side say which mirror image of it stands in the housing."""
    fields = {"name": "any", "ring_outer_diameter_mm": 210.0, **VARIED["right hand"]}
    design = design_from_fields({**fields, "hand": hand, "offset_direction": direction})
    cones = build_geometry(design).cones
    bevel = build_geometry(design_from_fields({**fields, "offset_mm": 0.0})).cones
    assert cones.radius1 > 1.1 * bevel.radius1
    assert cones.spiral1 > cones.spiral2
    from axlewright.contact import roll

    plain = design_from_fields(fields)
    a, b = (roll(d, "drive", 0.05, lengthwise=33, profile=21).pattern.center for d in (design, plain))
    assert a == pytest.approx(b)


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"pinion_teeth": 50}, "fewer than"),
        ({"ring_outer_diameter_mm": -5}, "ring_outer_diameter_mm"),
        ({"offset_mm": 120.0}, "offset"),
        ({"cutter_radius_mm": 8.0}, "cutter"),
        ({"face_width_mm": 150.0}, "face width"),
        ({"tooth_form": "face-hobbed", "blade_groups": 60}, "cutter"),
        ({"no_such_field": 1}, "no_such_field"),
        ({"tooth_form": "square"}, "tooth_form"),
    ],
)
def test_impossible_designs_are_refused_in_a_sentence(change, word):
    fields = {
        "name": "bad",
        "pinion_teeth": 11,
        "ring_teeth": 41,
        "ring_outer_diameter_mm": 222.0,
        "offset_mm": 38.0,
    }
    with pytest.raises(DesignError) as caught:
        build_geometry(design_from_fields({**fields, **change}))
    assert word in str(caught.value)
    assert caught.value.fix
