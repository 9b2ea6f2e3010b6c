"""The ring gear as a mesh: flanks, fillets, top lands and end faces of several neighbouring teeth."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from axlewright.gearset import build_geometry

THICKNESS_SHARE = (
    0.46  # ring-gear tooth thickness at the mean point as a share of the pitch; drawn, not measured
)
BODY_DEPTH = -3.2  # profile coordinate down to which the end faces are drawn
DRIVE, COAST, TOP, FILLET, END = range(5)


@dataclass(frozen=True)
class Mesh:
    """Triangles with a normal, a place on the tooth, a kind of surface and a tooth number per vertex.

    Attributes
    ----------
    points, normals : array, shape (n, 3)
        [mm].
    place : array, shape (n, 2)
        (lengthwise, profile) on the tooth.
    kind, tooth : array of int, shape (n,)
        DRIVE … END; 0 is the tooth in the middle.
    faces : array of int, shape (m, 3)
    """

    points: np.ndarray
    normals: np.ndarray
    place: np.ndarray
    kind: np.ndarray
    tooth: np.ndarray
    faces: np.ndarray


class Gear:
    """Ring gear of a design, mirrored for a right-hand pinion.

    Parameters
    ----------
    design : GearSetDesign
    """

    def __init__(self, design: Any) -> None:
        self.design = design
        self.geometry = build_geometry(design)
        self.blank = self.geometry.blank
        self.pitch = 2.0 * math.pi / design.ring_teeth
        self.mirror = np.array([1.0, -1.0, 1.0]) if design.hand == "right" else np.ones(3)
        b = self.blank
        self.root_y = -1.0 - 2.0 * b.clearance / b.working_depth

    def angle(self, name: str, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Angle [rad] at which a flank of tooth 0 stands, the tooth given its thickness."""
        flank = self.geometry.flank(name)  # type: ignore[arg-type]
        return np.asarray(flank.patches(x, y)[0] + flank.outward * THICKNESS_SHARE * self.pitch / 2.0)

    def flank(self, name: str, x: np.ndarray, y: np.ndarray, tooth: int = 0) -> tuple[np.ndarray, np.ndarray]:
        """Points and outward normals of a flank at (lengthwise, profile), shape (..., 3) [mm]."""
        flank = self.geometry.flank(name)  # type: ignore[arg-type]
        p, n = flank.points(x, y)
        turn = flank.outward * THICKNESS_SHARE * self.pitch / 2.0 + tooth * self.pitch
        c, s = math.cos(turn), math.sin(turn)
        m = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
        return (p @ m.T) * self.mirror, (n @ m.T) * self.mirror

    def _at(self, x: np.ndarray, y: np.ndarray, theta: np.ndarray) -> np.ndarray:
        r, z = self.blank.from_tooth(x, y)
        return np.stack([r * np.cos(theta), r * np.sin(theta), np.broadcast_to(z, r.shape)], axis=-1)

    def mesh(self, teeth: range, along: int = 49, up: int = 15) -> Mesh:
        """Build the mesh of the given teeth around tooth 0."""
        x = np.linspace(-1.0, 1.0, along)
        drive_side = self.geometry.drive.outward
        patches: list[tuple[int, np.ndarray, np.ndarray, np.ndarray]] = []

        def grid(y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
            return np.meshgrid(x, y)

        for kind, name in ((DRIVE, "drive"), (COAST, "coast")):
            X, Y = grid(np.linspace(-1.0, 1.0, up))
            p = self._at(X, Y, self.angle(name, X, Y))
            n = self.flank(name, X, Y)[1] * self.mirror
            patches.append((kind, p, n, np.stack([X, Y], -1)))
        s = np.linspace(0.0, 1.0, 5)
        X, S = np.meshgrid(x, s)
        top = np.ones_like(X)
        a, b = self.angle("drive", X, top), self.angle("coast", X, top)
        p = self._at(X, top, a + (b - a) * S)
        patches.append((TOP, p, self._grid_normals(p, X, top), np.stack([X, top], -1)))
        s = np.linspace(0.0, 1.0, 11)
        X, S = np.meshgrid(x, s)
        foot, root = -np.ones_like(X), np.full_like(X, self.root_y)
        a, a2 = self.angle("drive", X, foot), self.angle("drive", X, root)
        turn = drive_side * self.pitch
        b, b2 = self.angle("coast", X, foot) + turn, self.angle("coast", X, root) + turn
        w = [(1 - S) ** 4, 4 * S * (1 - S) ** 3, 6 * S**2 * (1 - S) ** 2, 4 * S**3 * (1 - S), S**4]
        mid = 0.5 * (a2 + b2)
        theta = (
            w[0] * a
            + w[1] * (0.85 * a2 + 0.15 * mid)
            + w[2] * mid
            + w[3] * (0.85 * b2 + 0.15 * mid)
            + w[4] * b
        )
        deep = self.root_y - 0.12
        Y = w[0] * foot + w[1] * deep + w[2] * deep + w[3] * deep + w[4] * foot
        p = self._at(X, Y, theta)
        patches.append((FILLET, p, self._grid_normals(p, X, Y), np.stack([X, Y], -1)))
        contour = [
            (patches[0][1], patches[0][3]),
            (patches[2][1], patches[2][3]),
            (patches[1][1], patches[1][3]),
        ]
        contour.append((patches[3][1], patches[3][3]))
        for column, value in ((0, -1.0), (-1, 1.0)):
            for pts, place in contour:
                edge, yy = pts[:, column], place[:, column, 1]
                theta = np.arctan2(edge[:, 1], edge[:, 0])
                t = np.linspace(0.0, 1.0, 9)[:, None]
                Yd = yy[None, :] + (BODY_DEPTH - yy[None, :]) * t
                Xd = np.full_like(Yd, value)
                p = self._at(Xd, Yd, np.broadcast_to(theta, Yd.shape))
                n = self._end_normal(p, value)
                patches.append((END, p, n, np.stack([Xd, Yd], -1)))
        return self._assemble(patches, teeth)

    def _grid_normals(self, p: np.ndarray, X: np.ndarray, Y: np.ndarray) -> np.ndarray:
        n = np.cross(np.gradient(p, axis=1), np.gradient(p, axis=0))
        n /= np.linalg.norm(n, axis=-1, keepdims=True) + 1e-12
        up = self._at(X, Y + 0.1, np.arctan2(p[..., 1], p[..., 0])) - p
        return n * np.where(np.sum(n * up, -1, keepdims=True) < 0, -1.0, 1.0)

    def _end_normal(self, p: np.ndarray, side: float) -> np.ndarray:
        theta = np.arctan2(p[..., 1], p[..., 0])
        s2, c2 = math.sin(self.blank.delta2), math.cos(self.blank.delta2)
        return side * np.stack([s2 * np.cos(theta), s2 * np.sin(theta), np.full_like(theta, c2)], -1)

    def _assemble(self, patches: list[tuple[int, np.ndarray, np.ndarray, np.ndarray]], teeth: range) -> Mesh:
        P, N, U, K, T, F = [], [], [], [], [], []
        start = 0
        for tooth in teeth:
            c, s = math.cos(tooth * self.pitch), math.sin(tooth * self.pitch)
            m = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
            for kind, p, n, u in patches:
                rows, cols = p.shape[:2]
                P.append((p.reshape(-1, 3) @ m.T) * self.mirror)
                N.append((n.reshape(-1, 3) @ m.T) * self.mirror)
                U.append(u.reshape(-1, 2))
                K.append(np.full(rows * cols, kind))
                T.append(np.full(rows * cols, tooth))
                i = start + np.arange(rows * cols).reshape(rows, cols)
                q = np.stack([i[:-1, :-1], i[:-1, 1:], i[1:, 1:], i[1:, :-1]], -1).reshape(-1, 4)
                F += [q[:, [0, 1, 2]], q[:, [0, 2, 3]]]
                start += rows * cols
        return Mesh(*(np.concatenate(a) for a in (P, N, U, K, T, F)))
