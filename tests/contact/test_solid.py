"""The 3-D view's triangles: closed, the right way round, in mesh without cutting into each other."""

import math
from collections import Counter

import numpy as np
import pytest
from many_designs import MANY

from axlewright.contact import Settings
from axlewright.contact.solid import COAST, DRIVE, OFF_FLANK, PLAIN, solid_pair
from axlewright.gearset import build_geometry, load_design

DESIGNS = [load_design("TY-222"), load_design("TY-205H"), load_design("TY-176B"), MANY["spiral-bevel-right"]]


@pytest.fixture(scope="module", params=DESIGNS, ids=lambda d: d.name)
def pair(request):
    return solid_pair(request.param)


@pytest.mark.parametrize("which", ["ring", "pinion"])
def test_whole_gear_is_closed_and_turned_outward(pair, which):
    points, faces = getattr(pair, which).around()
    _, weld = np.unique(np.round(points, 2), axis=0, return_inverse=True)
    faces = weld.ravel()[faces]
    faces = faces[(faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])]
    edges = Counter()
    for a, b in ((0, 1), (1, 2), (2, 0)):
        edges.update(map(tuple, faces[:, [a, b]]))
    odd = sum(1 for (a, b), n in edges.items() if edges[(b, a)] != n)
    assert odd <= 0.002 * len(edges)  # rounding at the weld may part a few
    corner = np.zeros((weld.max() + 1, 3))
    corner[weld.ravel()] = points
    a, b, c = corner[faces[:, 0]], corner[faces[:, 1]], corner[faces[:, 2]]
    volume = float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6.0)
    assert volume > 0.0


@pytest.mark.parametrize("roll", [-0.06, 0.0, 0.05])
def test_teeth_mesh_without_cutting_into_each_other(pair, roll):
    # Every ring-gear vertex near the mesh, carried into the pinion: its nearest pinion vertices must not
    # lie behind it. Checked by the signed distance along the pinion's vertex normals.
    from scipy.spatial import KDTree

    ring_at, pinion_at = pair.placements(Settings(), roll)
    rp, _ = pair.ring.around()
    pp, pf = pair.pinion.around()
    normals = np.zeros_like(pp)
    face = np.cross(pp[pf[:, 1]] - pp[pf[:, 0]], pp[pf[:, 2]] - pp[pf[:, 0]])
    for k in range(3):
        np.add.at(normals, pf[:, k], face)
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
    flank = np.tile(pair.pinion.part != PLAIN, pair.pinion.teeth)
    rp = rp @ ring_at[:3, :3].T
    pp = pp @ pinion_at[:3, :3].T + pinion_at[:3, 3]
    normals = normals @ pinion_at[:3, :3].T
    distance, nearest = KDTree(pp[flank]).query(rp)
    close = distance < 1.2
    assert close.sum() > 30
    depth = np.einsum("ij,ij->i", rp[close] - pp[flank][nearest[close]], normals[flank][nearest[close]])
    # Facets as large as 2 mm on curved flanks: a tenth of a millimetre is what the eye's mesh can miss by.
    assert np.mean(depth < -0.25) < 0.01


def test_flanks_touch_at_the_pitch_point(pair):
    geometry = build_geometry(pair.design)
    point = geometry.cones.mean_point * (np.array([1.0, -1.0, 1.0]) if pair.mirrored else 1.0)
    for tooth in (pair.ring, pair.pinion):
        gap = np.linalg.norm(tooth.vertices[tooth.part == DRIVE] - point, axis=1).min()
        assert gap < 1.5  # half a cell


def test_places_name_the_tooth(pair):
    for tooth in (pair.ring, pair.pinion):
        assert np.all(tooth.place[tooth.part == PLAIN] == OFF_FLANK)
        for number in (DRIVE, COAST):
            on = tooth.place[tooth.part == number]
            on = on[on[:, 0] != OFF_FLANK]
            assert len(on) > 100
            assert on[:, 0].min() < -0.9
            assert on[:, 0].max() > 0.9


def test_settings_move_the_pinion(pair):
    _, still = pair.placements(Settings(), 0.0)
    assert np.allclose(still, np.eye(4))
    _, out = pair.placements(Settings(pinion_out_mm=0.5), 0.0)
    assert np.allclose(out[:3, 3], 0.5 * pair.pinion.axis)
    ring, pinion = pair.placements(Settings(), 2.0 * math.pi / pair.design.ring_teeth)
    # A pitch on, both gears look the same: the teeth turn into each other.
    step = np.degrees(math.acos((np.trace(pinion[:3, :3]) - 1.0) / 2.0))
    assert step == pytest.approx(360.0 / pair.design.pinion_teeth)
    assert np.degrees(math.acos((np.trace(ring[:3, :3]) - 1.0) / 2.0)) == pytest.approx(
        360.0 / pair.design.ring_teeth
    )


def test_size_suits_a_phone(pair):
    for tooth in (pair.ring, pair.pinion):
        assert tooth.vertices.nbytes + tooth.triangles.nbytes + tooth.place.nbytes < 120_000
