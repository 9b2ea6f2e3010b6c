"""Bending influence of the teeth: physics it must keep, and how it is kept on disk."""

import threading
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from axlewright.contact import compliance, tooth_solid
from axlewright.contact.compliance import (
    LENGTHWISE_CELLS,
    DesignInfluence,
    content_key,
    flank_nodes,
    hat_load,
    influence,
    influence_folder,
    member_influence,
    middle_feet,
)
from axlewright.contact.loaded_setup import relative_curvature
from axlewright.contact.mesh import build_mesh
from axlewright.contact.tooth_solid import LEVELS, mesh_tooth, pinion_member, ring_member
from axlewright.gearset import GearSetDesign, build_geometry, load_design, shipped_designs


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
        assert np.all(np.diff(own[6]) > 0.0), (member, flank)
        assert max(own[0, 2], own[-1, 2]) > 1.3 * own[6, 2], (member, flank)


def test_tooth_stiffness_is_of_the_order_of_the_standard() -> None:
    """Order of size: ISO 6336-1 gives 14 N/(mm µm) for a pair of standard spur teeth, flattening included."""
    part = influence(load_design("TY-222"))
    weight = np.full(13, 1.0 / 12.0)
    weight[[0, -1]] /= 2.0
    total = 0.0
    for member in ("ring", "pinion"):
        p = part.part(member, "drive")
        n = len(p.v)
        mid = p.bend.reshape(13, n, 13, n)[:, 2, :, 2]
        total += float(weight @ mid @ weight)
    face = load_design("TY-222").face_width_mm
    bending = 1e-3 / total / face
    assert 14.0 < bending < 90.0  # without flattening, and hypoid teeth are stubbier at their root


def test_finer_mesh_changes_the_influence_little() -> None:
    """Twice the cells each way on the flank: even load within 1 %, places within 5 % of the largest."""
    member = ring_member(build_geometry(load_design("TY-222")))
    found = [
        member_influence(member, mesh_tooth(member, **options))["drive"]  # type: ignore[arg-type]
        for options in (
            {},
            {"lengthwise": 24, "levels": np.linspace(-1, 1, 9), "rim_layers": 3, "rim_sides": 4},
        )
    ]
    weight = np.full(13, 1.0 / 12.0)
    weight[[0, -1]] /= 2.0
    n = len(LEVELS)
    even = [weight @ p.bend.reshape(13, n, 13, n)[:, 2, :, 2] @ weight for p in found]
    assert even[0] == pytest.approx(even[1], rel=0.01)
    assert np.abs(found[0].bend - found[1].bend).max() < 0.05 * found[1].bend.max()


def test_equal_hats_make_an_even_load_of_the_same_force() -> None:
    """The hats of all places, the two half ones at the ends halved, are an even load whatever the mesh."""
    member = ring_member(build_geometry(load_design("TY-222")))
    ends = np.linspace(-1.0, 1.0, 2 * LENGTHWISE_CELLS + 1)
    share = np.full(LENGTHWISE_CELLS + 1, 1.0)
    share[[0, -1]] = 0.5
    total = sum(w * hat_load(member, "drive", 0.0, ends, i, LENGTHWISE_CELLS) for i, w in enumerate(share))
    size = np.linalg.norm(np.asarray(total).sum(axis=1), axis=-1)  # force on each cell
    assert size == pytest.approx(0.5, rel=1e-3)  # 12 N over 24 cells
    # Simpson's shares of an even load on a quadratic edge.
    ends_and_middle = np.linalg.norm(np.asarray(total), axis=-1) / size[:, None]
    assert ends_and_middle == pytest.approx(np.broadcast_to([1 / 6, 2 / 3, 1 / 6], (24, 3)), abs=0.01)


def test_middle_feet_lie_on_the_inward_normal() -> None:
    member = ring_member(build_geometry(load_design("TY-222")))
    solid = mesh_tooth(member)
    points, normals = flank_nodes(member, 12, "drive")
    a, b, depth = middle_feet(solid, points, normals)
    inner = np.flatnonzero((np.abs(a) < 0.85) & (b > 0.6) & (b < 4.9))
    assert len(inner) > 20
    from scipy.interpolate import CubicSpline

    mid = solid.nodes[solid.tooth[:, :, solid.tooth.shape[2] // 2]]
    rows = CubicSpline(np.arange(6.0), CubicSpline(np.linspace(-1, 1, 13), mid, axis=0)(a[inner]), axis=1)
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


def _key_with(design: GearSetDesign, constant: str, value: float) -> str:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(tooth_solid, constant, value)
        return content_key(design)


def test_key_follows_the_teeth_only() -> None:
    design = load_design("TY-222")
    assert content_key(design) == content_key(replace(design, name="other", lengthwise_crown_mm=0.05))
    assert content_key(design) != _key_with(design, "RIM_WIDTH", 2.0)
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
    compliance._KEPT.clear()
    try:
        first = influence(design)
        compliance._KEPT.clear()
        again = influence(design)
        assert solved == 1
        for key, part in first.parts.items():
            assert np.array_equal(part.bend, again.parts[key].bend)
            assert np.array_equal(part.depth, again.parts[key].depth)
        files = list(influence_folder().iterdir())
        assert [f.name for f in files] == [f"{content_key(design)}.npz"]
        for damage in (b"", files[0].read_bytes()[:500]):
            files[0].write_bytes(damage)
            compliance._KEPT.clear()
            influence(design)
        assert solved == 3
        compliance._KEPT.clear()
        asked = [
            threading.Thread(target=influence, args=(replace(design, pinion_teeth=12),)) for _ in range(4)
        ]
        for thread in asked:
            thread.start()
        for thread in asked:
            thread.join()
        assert solved == 4  # four threads, one solution
        assert {f.suffix for f in influence_folder().iterdir()} == {".npz"}  # no half-written file is left
        blocked = tmp_path / "file"
        blocked.write_text("")
        monkeypatch.setenv("AXLEWRIGHT_HOME", str(blocked))
        assert influence(design).parts.keys() == kept.parts.keys()
    finally:
        compliance._KEPT.clear()
