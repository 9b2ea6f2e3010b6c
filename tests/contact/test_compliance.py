"""Bending influence of the teeth: physics it must keep, and how it is kept on disk."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from axlewright.contact import compliance
from axlewright.contact.compliance import (
    DesignInfluence,
    cache_folder,
    content_key,
    flank_nodes,
    influence,
    member_influence,
    middle_feet,
)
from axlewright.contact.loaded_setup import relative_curvature
from axlewright.contact.mesh import build_mesh
from axlewright.contact.tooth_solid import LEVELS, mesh_tooth, pinion_member, ring_member
from axlewright.gearset import build_geometry, load_design, shipped_designs


@pytest.fixture(scope="module")
def kept() -> DesignInfluence:
    return influence(load_design("TY-222"))


@pytest.mark.parametrize("name", shipped_designs())
def test_teeth_are_solid_and_do_not_overlap(name: str) -> None:
    """Metal between the flanks at every height; ring-gear tooth and slot make one pitch."""
    geometry = build_geometry(load_design(name))
    for member in (ring_member(geometry), pinion_member(geometry)):
        s = member.lengthwise(np.linspace(-1, 1, 7))
        for level in LEVELS:
            h = member.level(s, np.full(7, level))
            width = member.surfaces["drive"](s, h) - member.surfaces["coast"](s, h)
            assert np.ptp(np.sign(width)) == 0
            assert np.all(np.abs(width) < member.pitch)
        solid = mesh_tooth(member)
        p = solid.nodes[solid.hexes]
        volume = np.einsum("ei,ei->e", np.cross(p[:, 4] - p[:, 0], p[:, 2] - p[:, 0]), p[:, 1] - p[:, 0])
        assert np.all(volume > 0)


@pytest.mark.parametrize("name", shipped_designs())
def test_pinion_flanks_pass_through_the_conjugate_points(name: str) -> None:
    """The polynomial that carries the pinion's flank into the root misses it by less than 30 µm."""
    from axlewright.contact.tooth_solid import pinion_places

    geometry = build_geometry(load_design(name))
    member = pinion_member(geometry)
    pair = build_mesh(geometry.design, 33, 17, 64).drive
    r, z, theta = pinion_places(geometry, pair.points[2:15, 5:30])
    s, h = member.unroll(r, z)
    miss = (member.surfaces["drive"](s, h) - theta + np.pi) % (2 * np.pi) - np.pi
    assert np.abs(miss * r)[pair.valid[2:15, 5:30]].max() < 0.03


def test_influence_obeys_reciprocity_and_keeps_energy(kept: DesignInfluence) -> None:
    """Maxwell's reciprocity: symmetric; no negative energy; a force moves its own place forward."""
    for part in kept.parts.values():
        assert part.bend == pytest.approx(part.bend.T, abs=1e-15)
        assert np.linalg.eigvalsh(part.bend).min() > -1e-12 * np.linalg.eigvalsh(part.bend).max()
        assert np.all(np.diag(part.bend) > 0.0)
        # The flank is loaded, the middle surface is read: reciprocal only nearly.
        assert part.asymmetry < 0.2
        assert np.all(part.depth > 0.5)


def test_tip_gives_more_than_root_and_ends_more_than_middle(kept: DesignInfluence) -> None:
    for (member, flank), part in kept.parts.items():
        own = np.diag(part.bend).reshape(len(part.u), len(part.v))
        assert np.all(np.diff(own[5]) > 0.0), (member, flank)
        assert max(own[0, 2], own[-1, 2]) > 1.3 * own[5, 2], (member, flank)


def test_tooth_stiffness_is_of_the_order_of_the_standard() -> None:
    """Order of size: ISO 6336-1 gives 14 N/(mm µm) for a pair of standard spur teeth, flattening included."""
    part = influence(load_design("TY-222"))
    weight = np.full(11, 0.1)
    weight[[0, -1]] = 0.05
    total = 0.0
    for member in ("ring", "pinion"):
        p = part.part(member, "drive")
        n = len(p.v)
        mid = p.bend.reshape(11, n, 11, n)[:, 2, :, 2]
        total += float(weight @ mid @ weight)
    face = load_design("TY-222").face_width_mm
    bending = 1e-3 / total / face
    assert 14.0 < bending < 90.0  # without flattening, and hypoid teeth are stubbier at their root


def test_finer_mesh_changes_an_even_load_little() -> None:
    """An even load along mid-height: 10×4 cells against 16×4 within 12 %."""
    member = ring_member(build_geometry(load_design("TY-222")))
    found = []
    for cells, across in ((10, 4), (16, 4)):
        part = member_influence(member, mesh_tooth(member, lengthwise=cells, across=across))["drive"]
        n = len(part.v)
        weight = np.full(cells + 1, 1.0 / cells)
        weight[[0, -1]] /= 2
        found.append(weight @ part.bend.reshape(cells + 1, n, cells + 1, n)[:, 2, :, 2] @ weight)
    assert found[0] == pytest.approx(found[1], rel=0.12)


def test_middle_feet_lie_on_the_inward_normal() -> None:
    member = ring_member(build_geometry(load_design("TY-222")))
    solid = mesh_tooth(member)
    points, normals = flank_nodes(member, solid, "drive")
    a, b, depth = middle_feet(member, solid, points, normals)
    inner = np.flatnonzero((np.abs(a) < 0.85) & (b > 0.6) & (b < 4.9))
    assert len(inner) > 20
    from scipy.interpolate import CubicSpline

    mid = solid.nodes[solid.tooth[:, :, solid.tooth.shape[2] // 2]]
    rows = CubicSpline(np.arange(6.0), CubicSpline(np.linspace(-1, 1, 11), mid, axis=0)(a[inner]), axis=1)
    foot = np.stack([rows(v)[n] for n, v in enumerate(b[inner])])
    line = points.reshape(-1, 3)[inner] - depth[inner, None] * normals.reshape(-1, 3)[inner]
    assert np.linalg.norm(foot - line, axis=1).max() < 1e-3


@pytest.mark.parametrize("name", shipped_designs())
@pytest.mark.parametrize("flank", ["drive", "coast"])
def test_conjugate_flanks_touch_along_lines(name: str, flank: str) -> None:
    """Own theory: conjugate flanks have no relative curvature along the contact line, some across it."""
    mesh = build_mesh(load_design(name))
    pair = mesh.flank(flank)  # type: ignore[arg-type]
    across, along, _ = relative_curvature(mesh, pair)
    inside = pair.valid & (np.abs(pair.x) < 0.95)[None, :] & (np.abs(pair.y) < 0.95)[:, None]
    assert np.percentile(np.abs(along[inside]) / across[inside], 99) < 2e-3
    assert np.median(1.0 / across[inside]) < mesh.geometry.cones.radius2


def test_key_follows_the_teeth_only() -> None:
    design = load_design("TY-222")
    assert content_key(design) == content_key(replace(design, name="other", lengthwise_crown_mm=0.05))
    for change in ({"face_width_mm": 34.0}, {"pinion_teeth": 12}, {"mean_pressure_angle_deg": 21.0}):
        assert content_key(design) != content_key(replace(design, **change))


def test_kept_on_disk_and_read_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kept: DesignInfluence
) -> None:
    """Solved once, written whole, read back equal; a damaged file is solved again."""
    monkeypatch.setenv("AXLEWRIGHT_HOME", str(tmp_path))
    solved = 0

    def solve(_design: object) -> DesignInfluence:
        nonlocal solved
        solved += 1
        return kept

    monkeypatch.setattr(compliance, "compute_influence", solve)
    design = load_design("TY-222")
    compliance._influence.cache_clear()
    try:
        first = influence(design)
        compliance._influence.cache_clear()
        again = influence(design)
        assert solved == 1
        for key, part in first.parts.items():
            assert np.array_equal(part.bend, again.parts[key].bend)
            assert np.array_equal(part.depth, again.parts[key].depth)
        files = list(cache_folder().iterdir())
        assert [f.name for f in files] == [f"{content_key(design)}.npz"]
        for damage in (b"", files[0].read_bytes()[:500]):
            files[0].write_bytes(damage)
            compliance._influence.cache_clear()
            influence(design)
        assert solved == 3
        blocked = tmp_path / "file"
        blocked.write_text("")
        monkeypatch.setenv("AXLEWRIGHT_HOME", str(blocked))
        assert influence(design).parts.keys() == kept.parts.keys()
    finally:
        compliance._influence.cache_clear()
