"""What rolling under load needs of a flank pair: coarse columns, curvatures, bending influence."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from axlewright.contact.compliance import influence
from axlewright.contact.hertz import POISSON, YOUNG_MPA, contact_modulus
from axlewright.contact.mesh import FlankMesh, Mesh
from axlewright.contact.once import OncePerKey
from axlewright.contact.tooth_solid import pinion_member, pinion_places
from axlewright.gearset import FlankName, rotation_about

Array = NDArray[np.float64]

COLUMNS = 30  # coarse columns over the face, about
ROUGH_PER_PITCH = 9  # roll angles per pitch from which the mean force on the mounts is taken
LEVEL_NODES = 6  # Chebyshev nodes of the influence over the profile
MODULUS = contact_modulus()
SLOPE = (1.0 - POISSON**2) / (math.pi * YOUNG_MPA)  # factor of the flattening law [mm²/N]
POISSON_TERM = 2.0 * POISSON / (1.0 - POISSON)


@dataclass(frozen=True, slots=True)
class LoadedFlank:
    """A flank pair ready to be loaded; nc coarse columns of the pinion grid, ny its rows.

    Attributes
    ----------
    pair : FlankMesh
    rough : FlankMesh
        The same at few roll angles, for the mean force on the mounts.
    offset, stride : int
        Column c of the coarse set is column ``offset + stride·c`` of the pair's grid.
    x : array, shape (nc,)
        Lengthwise place of the columns.
    weight : array, shape (nc,)
        Share of each column's cell that lies on the face.
    radius : array, shape (ny, nc)
        Relative radius across the contact line [mm], without ease-off.
    across : array, shape (ny, nc)
        (row spacing)² · sin² of the angle between column and contact line [mm²].
    depth : array, shape (ny, nc)
        Product of both members' depths to the middle surface [mm²].
    influence : array, shape (nc, nc, q, q)
        Bending of both teeth [mm/N] between nodes of the profile.
    weights : array, shape (ny, q)
        Lagrange weights of the profile nodes at the rows.
    line_curvature : float
        Largest curvature along the contact line over that across it; zero for conjugate flanks.
    """

    pair: FlankMesh
    rough: FlankMesh
    offset: int
    stride: int
    x: Array
    weight: Array
    radius: Array
    across: Array
    depth: Array
    influence: Array
    weights: Array
    line_curvature: float

    @property
    def columns(self) -> slice:
        """Columns of the pair's grid that are taken."""
        return slice(self.offset, self.offset + self.stride * (len(self.x) - 1) + 1, self.stride)


def relative_curvature(mesh: Mesh, pair: FlankMesh) -> tuple[Array, Array, Array]:
    """Return the curvature of the gap between conjugate flanks where they touch.

    Returns
    -------
    across, along : array, shape (ny, nx)
        Principal relative curvatures [1/mm]; `along`, on the contact line, is zero but for rounding.
    sine : array, shape (ny, nx)
        Sine of the angle between a grid column and the contact line.
    """
    X, Y = np.meshgrid(pair.x, pair.y)
    p, n = pair.ring.points(X, Y)
    turn = rotation_about(mesh.geometry.cones.pinion_axis, -mesh.geometry.design.ratio * pair.contact_roll)
    back = rotation_about(np.array([0.0, 0.0, 1.0]), -pair.contact_roll)
    carry = back @ turn

    def slopes(values: Array) -> tuple[Array, Array]:
        gy, gx = np.gradient(values, pair.y, pair.x, axis=(0, 1), edge_order=2)
        return np.asarray(gx), np.asarray(gy)

    def carried(values: Array) -> Array:
        return np.asarray(np.einsum("abij,abj->abi", carry, values))

    px, py = slopes(p)
    nx, ny = slopes(n)
    qx, qy = (carried(v) for v in slopes(pair.points))
    mx, my = (carried(v) for v in slopes(pair.normals))
    # Orthonormal tangent frame.
    e1 = px / np.linalg.norm(px, axis=-1, keepdims=True)
    e2 = np.cross(n, e1)

    def tensor(tx: Array, ty: Array, dx: Array, dy: Array) -> Array:
        """Return the second fundamental form −dn·dp in the frame (e1, e2)."""
        T = np.stack(
            [np.stack([np.sum(t * e, axis=-1) for e in (e1, e2)], axis=-1) for t in (tx, ty)], axis=-2
        )
        B = -np.stack(
            [np.stack([np.sum(d * t, axis=-1) for t in (tx, ty)], axis=-1) for d in (dx, dy)], axis=-2
        )
        B = 0.5 * (B + np.swapaxes(B, -1, -2))
        det = T[..., 0, 0] * T[..., 1, 1] - T[..., 0, 1] * T[..., 1, 0]
        inverse = np.empty_like(T)
        inverse[..., 0, 0], inverse[..., 1, 1] = T[..., 1, 1], T[..., 0, 0]
        inverse[..., 0, 1], inverse[..., 1, 0] = -T[..., 0, 1], -T[..., 1, 0]
        with np.errstate(divide="ignore", invalid="ignore"):
            inverse = inverse / det[..., None, None]
        return np.asarray(inverse @ B @ np.swapaxes(inverse, -1, -2))

    gap = tensor(qx, qy, mx, my) - tensor(px, py, nx, ny)
    gap = np.where(np.isfinite(gap) & pair.valid[..., None, None], gap, 0.0)
    values, vectors = np.linalg.eigh(gap)
    line = vectors[..., :, 0]
    column = np.stack([np.sum(qy * e1, axis=-1), np.sum(qy * e2, axis=-1)], axis=-1)
    column /= np.maximum(np.linalg.norm(column, axis=-1, keepdims=True), 1e-12)
    sine = np.abs(column[..., 0] * line[..., 1] - column[..., 1] * line[..., 0])
    return values[..., 1], values[..., 0], sine


def _lagrange(nodes: Array, at: Array) -> Array:
    """Return the Lagrange weights of `nodes` at places clipped to their span, shape (len(at), len(nodes))."""
    t = np.clip(at, nodes.min(), nodes.max())[:, None]
    out = np.ones((len(at), len(nodes)))
    for i, node in enumerate(nodes):
        for j, other in enumerate(nodes):
            if i != j:
                out[:, i] *= (t[:, 0] - other) / (node - other)
    return out


def _prepare(mesh: Mesh, flank: FlankName, columns: int) -> LoadedFlank:
    pair = mesh.flank(flank)
    dx = float(pair.x[1] - pair.x[0])
    stride = max(1, round(2.0 / dx / columns))
    toe = round((-1.0 - pair.x[0]) / dx)
    offset = toe % stride
    count = (len(pair.x) - 1 - offset) // stride + 1
    x = pair.x[offset + stride * np.arange(count)]
    half = 0.5 * stride * dx
    weight = np.clip(np.minimum(x + half, 1.0) - np.maximum(x - half, -1.0), 0.0, None) / (2 * half)
    weight = np.where(weight < 0.02, 0.0, weight)  # a sliver of a cell carries nothing
    cols = slice(offset, offset + stride * (count - 1) + 1, stride)
    across, along, sine = relative_curvature(mesh, pair)
    face = np.abs(pair.x) <= 1.0
    good = pair.valid & face[None, :] & (np.abs(pair.y) <= 1.0)[:, None]
    odd = float(np.percentile(np.abs(along[good]) / across[good], 99))
    radius = 1.0 / np.clip(across, 1.0 / (50.0 * mesh.geometry.blank.face_width), 10.0)
    span = np.linalg.norm(np.gradient(pair.points, axis=0), axis=-1)
    bend = influence(mesh.geometry.design)
    ring, pinion = bend.part("ring", flank), bend.part("pinion", flank)
    nodes = np.cos(np.pi * np.arange(LEVEL_NODES)[::-1] / (LEVEL_NODES - 1))
    member = pinion_member(mesh.geometry)
    r, z, _ = pinion_places(mesh.geometry, pair.points)
    s, h = member.unroll(r, z)
    u_pinion, v_pinion = member.lengthwise_of(s)[:, cols], member.level_of(s, h)[:, cols]
    at_nodes = CubicSpline(pair.y, np.eye(len(pair.y)))(nodes)
    ring_w = ring.weights(np.repeat(x, LEVEL_NODES), np.tile(nodes, count))
    pinion_w = pinion.weights((at_nodes @ u_pinion).T.ravel(), (at_nodes @ v_pinion).T.ravel())
    total = ring_w @ ring.bend @ ring_w.T + pinion_w @ pinion.bend @ pinion_w.T
    table = total.reshape(count, LEVEL_NODES, count, LEVEL_NODES).transpose(0, 2, 1, 3)
    rows = len(pair.y)
    ring_depth = ring.weights(np.tile(x, rows), np.repeat(pair.y, count)) @ ring.depth.ravel()
    pinion_depth = pinion.weights(u_pinion.ravel(), v_pinion.ravel()) @ pinion.depth.ravel()
    depth = np.maximum(ring_depth, 0.1) * np.maximum(pinion_depth, 0.1)
    few = math.ceil((pair.roll[-1] - pair.roll[0]) / pair.pitch * ROUGH_PER_PITCH) + 1
    roll = pair.roll[0] + pair.pitch / ROUGH_PER_PITCH * np.arange(few)
    return LoadedFlank(
        pair,
        replace(pair, roll=roll, per_pitch=ROUGH_PER_PITCH),
        offset,
        stride,
        x,
        weight,
        np.ascontiguousarray(radius[:, cols]),
        np.ascontiguousarray((span * sine)[:, cols] ** 2),
        depth.reshape(rows, count),
        np.ascontiguousarray(table),
        _lagrange(nodes, pair.y),
        odd,
    )


_KEPT: OncePerKey[tuple[int, str, int], tuple[Mesh, LoadedFlank]] = OncePerKey(16)


def prepare(mesh: Mesh, flank: FlankName, columns: int = COLUMNS) -> LoadedFlank:
    """Return the flank pair ready to be loaded; kept in memory with its mesh, worked out once."""
    # The mesh is kept beside its flank, so its id stays its own as long as the entry lives.
    return _KEPT.get((id(mesh), flank, columns), lambda: (mesh, _prepare(mesh, flank, columns)))[1]
