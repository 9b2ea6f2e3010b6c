"""Measured flanks and grids, and the checks of a design."""

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import axlewright as aw
from axlewright.contact import Settings, measured_mesh
from axlewright.contact.rolling import roll_unloaded
from axlewright.errors import DesignError
from axlewright.gearset import build_geometry, design_from_fields, design_schema, load_design
from axlewright.gearset.checks import check_design, ring_thickness_mm, top_lands_mm
from axlewright.gearset.easeoff import read_ease_off
from axlewright.gearset.measured import fit_flank, flank_csv, measured_geometry
from axlewright.gearset.points import read_flank_points


def measured_text(design, name, *, noise_mm=0.0, turn=0.7, count=(25, 13), change=None, seed=1):
    """Sample the design's own flank as a machine would: noise along the normal, turned about the axis."""
    points, normals = read_flank_points(flank_csv(build_geometry(design).flank(name), *count))
    rng = np.random.default_rng(seed)
    points = points + noise_mm * rng.standard_normal((len(points), 1)) * normals
    c, s = math.cos(turn), math.sin(turn)
    spin = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    rows = np.hstack([points @ spin.T, normals @ spin.T])
    if design.hand == "right":
        rows *= np.array([1.0, -1.0, 1.0, 1.0, -1.0, 1.0])
    if change is not None:
        rows = change(rows)
    head = "x_mm,y_mm,z_mm,nx,ny,nz\n"
    return head + "\n".join(",".join(f"{v:.7f}" for v in row) for row in rows) + "\n"


def pattern_of(mesh, name):
    design = mesh.geometry.design
    return roll_unloaded(mesh, name, Settings(), design.ease_off(name), design.compound_film_mm)[0]


@pytest.mark.parametrize("name", ["TY-222", "TY-205H", "TY-176B"])
@pytest.mark.parametrize("pinion", ["of the design", "fitted to it"])
def test_a_flank_measured_with_a_micron_of_noise_rolls_like_the_cut_one(name, pinion):
    design = load_design(name)
    geometry = measured_geometry(
        design,
        measured_text(design, "drive", noise_mm=0.001),
        measured_text(design, "coast", noise_mm=0.001, seed=2),
    )
    mesh = measured_mesh(geometry, pinion)
    for flank in ("drive", "coast"):
        here, cut = pattern_of(mesh, flank), aw.roll(design, flank).pattern
        assert here.center == pytest.approx(cut.center, abs=0.02)
        assert here.length_fraction == pytest.approx(cut.length_fraction, abs=0.04)
        assert here.area_fraction == pytest.approx(cut.area_fraction, abs=0.02)


def test_fit_states_scatter_and_turn():
    design = load_design("TY-222")
    text = measured_text(design, "drive", noise_mm=0.001, turn=0.7)
    fit = fit_flank(design, "drive", *read_flank_points(text))
    assert fit.scatter_mm == pytest.approx(0.001, rel=0.15)
    assert fit.turned_deg == pytest.approx(math.degrees(0.7), abs=0.01)
    assert max(abs(v) for v in fit.deviation_mm) < 0.0015


def test_a_real_deviation_is_kept():
    # Lengthwise crown of 20 µm taken off the ring gear itself, along its normals.
    design = load_design("TY-222")
    geometry = build_geometry(design)

    def crowned(rows):
        x, _ = geometry.blank.to_tooth(np.hypot(rows[:, 0], rows[:, 1]), rows[:, 2])
        rows[:, :3] -= 0.020 * (x * x)[:, None] * rows[:, 3:]
        return rows

    text = measured_text(design, "drive", change=crowned)
    fit = fit_flank(design, "drive", *read_flank_points(text))
    assert fit.deviation_mm[0] == pytest.approx(-0.020, abs=0.003)
    mesh = measured_mesh(replace(geometry, drive=fit.flank))
    assert pattern_of(mesh, "drive").length_fraction < aw.roll(design, "drive").pattern.length_fraction - 0.08


def test_right_hand_sets_are_mirrored():
    right = replace(load_design("TY-222"), hand="right")
    text = measured_text(right, "drive")
    assert fit_flank(right, "drive", *read_flank_points(text)).scatter_mm < 1e-6


def hole(rows):
    geometry = build_geometry(load_design("TY-222"))
    x, y = geometry.blank.to_tooth(np.hypot(rows[:, 0], rows[:, 1]), rows[:, 2])
    return rows[np.hypot(x - 0.5, y - 0.4) > 0.5]


def outlier(rows):
    rows[160, :3] += 0.020 * rows[160, 3:]
    return rows


def leaning(rows):
    rows[160, 3:] += np.array([0.0, 0.0, 0.15])
    rows[160, 3:] /= np.linalg.norm(rows[160, 3:])
    return rows


def inward(rows):
    rows[:, 3:] *= -1.0
    return rows


def lifted(rows):
    rows[:, 2] += 30.0
    return rows


def in_inches(rows):
    rows[:, :3] /= 25.4
    return rows


def in_metres(rows):
    rows[:, :3] /= 1000.0
    return rows


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (hole, r"no point within .* of heel, top"),
        (outlier, r"point 161 stands \+.*µm off .*lengthwise"),
        (leaning, r"normal of point 161 leans"),
        (inward, "into the tooth's metal"),
        (lifted, "off the tooth"),
        (in_inches, "only when read as inches; write millimetres"),
        (in_metres, "only when read as metres; write millimetres"),
        (lambda rows: rows[:12], "12 points"),
    ],
)
def test_bad_points_are_refused_naming_the_place(change, words):
    design = load_design("TY-222")
    with pytest.raises(DesignError, match=words):
        measured_geometry(design, measured_text(design, "drive", change=change))


def test_the_other_flank_is_noticed():
    design = load_design("TY-222")
    with pytest.raises(DesignError, match="leave the design's drive flank by"):
        measured_geometry(design, measured_text(design, "coast"))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("x_mm,y_mm\n1,2\n", "column z_mm is missing"),
        ("x_mm,y_mm,z_mm\n1,2,three\n", "line 2"),
        ("x_mm,y_mm,z_mm,nx,ny,nz\n1,2,3,1,1,1\n", "normal of length 1.732"),
    ],
)
def test_unreadable_files_are_refused(text, words):
    with pytest.raises(DesignError, match=words):
        read_flank_points(text)


def test_a_missing_file_is_refused(tmp_path):
    with pytest.raises(DesignError, match="cannot be read"):
        read_flank_points(tmp_path / "none.csv")


def ease_off_text(x, y, values):
    rows = [f"{a:.4f},{b:.4f},{values[i, j]:.6f}" for i, b in enumerate(y) for j, a in enumerate(x)]
    return "lengthwise,profile,ease_off_mm\n" + "\n".join(rows) + "\n"


def test_a_measured_ease_off_rolls_like_the_one_it_was_taken_from():
    design = load_design("TY-222")
    own = design.ease_off("drive")
    x, y = np.linspace(-1, 1, 17), np.linspace(-1, 1, 13)
    grid = read_ease_off(ease_off_text(x, y, own(x[None, :], y[:, None])))
    here, cut = aw.roll(design, "drive", 0.05, ease_off=grid), aw.roll(design, "drive", 0.05)
    assert here.pattern.center == pytest.approx(cut.pattern.center, abs=0.02)
    assert here.motion_error_pp_urad == pytest.approx(cut.motion_error_pp_urad, rel=0.08)
    assert grid.lengthwise_crown_mm == pytest.approx(own.lengthwise_crown_mm, rel=0.02)
    assert grid.moved(0.2, 0.0)(np.array(0.2), np.array(0.0)) == pytest.approx(grid(0.0, 0.0), abs=1e-9)


def test_ease_off_grid_with_a_hole_is_refused():
    x, y = np.linspace(-1, 1, 5), np.linspace(-1, 1, 5)
    text = ease_off_text(x, y, np.zeros((5, 5)))
    lines = text.splitlines()
    del lines[1 + 2 * 5 + 4]
    with pytest.raises(DesignError, match="hole at heel, mid-depth"):
        read_ease_off("\n".join(lines) + "\n")
    with pytest.raises(DesignError, match="cover"):
        read_ease_off(ease_off_text(x * 0.4, y, np.zeros((5, 5))))


def test_ring_thickness_against_the_standards_sum():
    # ISO 23509 without thickness change, by hand for TY-176B: m_n 3.2025, addenda 4.8205 / 1.5844,
    # tan 20° twice, β 35°: 3.2025 (π/2 − 0.50526·0.72794)/cos 35° = 4.703 mm (own arithmetic).
    assert ring_thickness_mm(build_geometry(load_design("TY-176B"))) == pytest.approx(4.703, abs=0.002)


@pytest.mark.parametrize("name", ["TY-222", "TY-310", "TY-205H", "TY-176B"])
def test_shipped_designs_have_tops_and_taper_the_right_way(name):
    design = load_design(name)
    assert [f for f in check_design(design) if "top land" in f.what] == []
    pinion = top_lands_mm(design, "pinion")
    assert np.all(np.diff(pinion) > 0)  # the pinion's tooth grows toward its heel


def test_top_land_of_a_pinion_agrees_with_its_virtual_spur_gear():
    # Spiral bevel: the mean normal section is close to an involute gear of z/(cos δ cos³β) teeth. By the
    # involute's own formula s_a = d_a (s/d + inv α − inv α_a) (any gear handbook).
    design = load_design("TY-176B")
    geometry = build_geometry(design)
    cones, blank = geometry.cones, geometry.blank
    m = blank.mean_normal_module
    radius = m * design.pinion_teeth / (math.cos(cones.delta1) * math.cos(cones.spiral1) ** 3) / 2.0
    thick = math.pi * m - ring_thickness_mm(geometry) * math.cos(cones.spiral2)
    tip = radius + blank.mean_addendum1
    alpha_tip = math.acos(radius * math.cos(math.radians(20.0)) / tip)

    def inv(a):
        return math.tan(a) - a

    wanted = 2.0 * tip * (thick / (2.0 * radius) + inv(math.radians(20.0)) - inv(alpha_tip))
    assert float(top_lands_mm(design, "pinion", (0.0,))[0]) == pytest.approx(wanted, rel=0.15)


def test_pointed_teeth_are_refused_with_the_width():
    fields = load_design("TY-176B").fields() | {"mean_pressure_angle_deg": 29.0}
    with pytest.raises(DesignError, match=r"run to a point at the \w+ \(top land −"):
        check_design(design_from_fields(fields))


def test_thin_tops_and_wide_faces_are_told():
    fields = load_design("TY-176B").fields() | {"face_width_mm": 31.0}
    found = check_design(design_from_fields(fields))
    assert any(f.field == "face_width_mm" for f in found)


DOCS = Path(__file__).parents[2] / "docs"


def test_the_published_schema_is_current():
    assert json.loads((DOCS / "design.schema.json").read_text(encoding="utf-8")) == design_schema(), (
        "write docs/design.schema.json anew from gearset.design_schema()"
    )


def test_every_field_is_described():
    text = (DOCS / "designs.md").read_text(encoding="utf-8")
    for field in design_schema()["properties"]:
        assert f"| `{field}` |" in text
