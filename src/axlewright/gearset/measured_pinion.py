"""A measured pinion flank as what it is in the mesh: an ease-off from the pinion that would fit.

Every measured point is laid on the conjugate pinion flank of the design at the same radius and height about
the pinion's axis. Its distance square to that flank, into the pinion's metal, is the ease-off there; the
turn about the axis that a machine cannot know is taken out so that the least ease-off is zero.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RectBivariateSpline
from scipy.spatial import KDTree

from axlewright.errors import DesignError
from axlewright.gearset.conjugate import conjugate_pinion
from axlewright.gearset.design import GearSetDesign
from axlewright.gearset.easeoff import MeasuredEaseOff, ease_off_from_grid
from axlewright.gearset.flank import X_CELLS, X_REACH, Y_CELLS, Y_REACH, FlankName
from axlewright.gearset.geometry import Geometry, build_geometry
from axlewright.gearset.measured import SAME_FLANK
from axlewright.gearset.points import (
    FLANK_COLUMN,
    MIRROR,
    NORMAL_COLUMNS,
    POINT_COLUMNS,
    refuse_few,
    refuse_holes,
    refuse_normals,
    refuse_off_tooth,
    refuse_outlier,
    working_places,
)
from axlewright.gearset.smoothing import smooth_surface
from axlewright.language import Number, Text, _

Array = NDArray[np.float64]

NODES_X, NODES_Y = 65, 49  # of the conjugate pinion that points are laid on
REACH_X, REACH_Y = 1.10, (-1.05, 1.06)  # below lies beyond the pinion's tip, above may be undercut
NEWTON_STEPS = 8
FOLD_FROM = 0.75  # profile place above which a point may belong to a flank that folds back
FOLD_MISS_MM = 0.005  # such a point finds no place with its radius and height within this …
FOLD_NEAR_MM = 0.3  # … although the flank passes as near as this


@dataclass(frozen=True, slots=True)
class PinionFit:
    """A fitted pinion flank and how well it meets its points.

    Attributes
    ----------
    flank : {"drive", "coast"}
        Of the ring gear that it meets.
    ease_off : MeasuredEaseOff
        For `axlewright.contact.roll`.
    points : int
        Used.
    left_out : int
        Points by the pinion's root where it is all but undercut, which say nothing.
    scatter_mm : float
        Standard deviation of the points from the surface, square to it [mm].
    greatest_mm : float
        Largest distance of a point from the surface [mm].
    turned_deg : float
        Turn about the pinion's axis that was taken out [deg].
    ease_off_range_mm : (float, float)
        Least and greatest ease-off on the working flank [mm].
    """

    flank: FlankName
    ease_off: MeasuredEaseOff
    points: int
    left_out: int
    scatter_mm: float
    greatest_mm: float
    turned_deg: float
    ease_off_range_mm: tuple[float, float]


@dataclass(frozen=True, slots=True)
class _Conjugate:
    """The conjugate pinion flank about its own axis, over the places of the ring-gear tooth that make it."""

    places: Array
    known: Array
    r: RectBivariateSpline
    z: RectBivariateSpline
    angle: RectBivariateSpline
    normal: tuple[RectBivariateSpline, ...]

    def place_of(self, r: Array, z: Array) -> tuple[Array, Array]:
        """Return (lengthwise, profile) of the point at radius r and height z, shape (n,) each.

        Off the nodes the place is the one that the slopes at the nearest node give.
        """
        _distance, start = KDTree(self.known).query(np.column_stack([r, z]))
        x, y = self.places[start, 0].copy(), self.places[start, 1].copy()
        to_x = to_y = np.zeros_like(x)
        for _round in range(NEWTON_STEPS):
            rx, ry = self.r.ev(x, y, dx=1), self.r.ev(x, y, dy=1)
            zx, zy = self.z.ev(x, y, dx=1), self.z.ev(x, y, dy=1)
            miss_r, miss_z = r - self.r.ev(x, y), z - self.z.ev(x, y)
            det = rx * zy - ry * zx
            to_x, to_y = x + (miss_r * zy - miss_z * ry) / det, y + (miss_z * rx - miss_r * zx) / det
            x, y = np.clip(to_x, -REACH_X, REACH_X), np.clip(to_y, *REACH_Y)
        return to_x, to_y

    def folded(self, r: Array, z: Array) -> NDArray[np.bool_]:
        """Return which points stand by the pinion's root where the flank all but folds back, shape (n,).

        There, close to undercut, radius and height no longer tell the place; such points say nothing.
        """
        x, y = self.place_of(r, z)
        x, y = np.clip(x, -REACH_X, REACH_X), np.clip(y, *REACH_Y)
        miss = np.hypot(r - self.r.ev(x, y), z - self.z.ev(x, y))
        near, _start = KDTree(self.known).query(np.column_stack([r, z]))
        return np.asarray((y > FOLD_FROM) & (miss > FOLD_MISS_MM) & (near < FOLD_NEAR_MM))

    def at(self, x: Array, y: Array) -> tuple[Array, Array, Array]:
        """Return angle [rad], normal in (radial, around, axial) into the metal, and lever [mm per rad]."""
        n = np.stack([s.ev(x, y) for s in self.normal], axis=-1)
        n /= np.linalg.norm(n, axis=-1, keepdims=True)
        return self.angle.ev(x, y), n, n[..., 1] * self.r.ev(x, y)


def pinion_axes(geometry: Geometry) -> tuple[Array, Array]:
    """Return origin and axes of the pinion's own frame in the mesh frame.

    Parameters
    ----------
    geometry : Geometry

    Returns
    -------
    origin : array, shape (3,)
        Point of the pinion's axis nearest to the ring gear's [mm].
    axes : array, shape (3, 3)
        Rows x, y, z; z along the axis toward the pinion's heel.
    """
    u1, origin = geometry.cones.pinion_axis, np.array([0.0, geometry.cones.offset, 0.0])
    e1 = geometry.cones.mean_point - origin
    e1 = e1 - (e1 @ u1) * u1
    e1 /= np.linalg.norm(e1)
    return origin, np.stack([e1, np.cross(u1, e1), u1])


def _conjugate(geometry: Geometry, name: FlankName) -> _Conjugate:
    x, y = np.linspace(-REACH_X, REACH_X, NODES_X), np.linspace(*REACH_Y, NODES_Y)
    made = conjugate_pinion(geometry.cones, geometry.flank(name), geometry.design.ratio, x, y)
    origin, axes = pinion_axes(geometry)
    q, n = (made.points - origin) @ axes.T, made.normals @ axes.T
    r = np.hypot(q[..., 0], q[..., 1])
    angle = np.unwrap(np.unwrap(np.arctan2(q[..., 1], q[..., 0]), axis=0), axis=1)
    c, s = q[..., 0] / r, q[..., 1] / r
    radial, around = c * n[..., 0] + s * n[..., 1], c * n[..., 1] - s * n[..., 0]

    def spline(values: Array) -> RectBivariateSpline:
        return RectBivariateSpline(x, y, values.T)

    X, Y = np.meshgrid(x, y)
    return _Conjugate(
        np.column_stack([X.ravel(), Y.ravel()]),
        np.column_stack([r.ravel(), q[..., 2].ravel()]),
        spline(r),
        spline(q[..., 2]),
        spline(angle),
        (spline(radial), spline(around), spline(n[..., 2])),
    )


def _reached(geometry: Geometry, conjugate: _Conjugate) -> Array:
    """Return the working places that lie within the pinion's own tip cone, shape (m, 2)."""
    places = working_places()
    blank, cones = geometry.blank, geometry.cones
    origin, axes = pinion_axes(geometry)
    z0 = float((cones.mean_point - origin) @ axes[2])
    r = conjugate.r.ev(places[:, 0], places[:, 1]) - cones.radius1
    z = conjugate.z.ev(places[:, 0], places[:, 1]) - z0
    s, c = math.sin(cones.delta1), math.cos(cones.delta1)
    along, up = r * s + z * c, r * c - z * s
    tip = blank.mean_addendum1 + along * math.tan(blank.addendum_angle1)
    within: Array = places[up <= tip]
    return within


def fit_pinion(
    design: GearSetDesign,
    name: FlankName,
    points: Array,
    normals: Array | None = None,
    *,
    where: Text = "pinion points",
) -> PinionFit:
    """Make the ease-off of a pinion flank from measured points.

    Parameters
    ----------
    design : GearSetDesign
        Its conjugate pinion is what the points are measured against.
    name : {"drive", "coast"}
        Flank of the ring gear that this pinion flank meets.
    points : array, shape (n, 3)
        In the pinion's frame (`points` module) [mm].
    normals : array, shape (n, 3), optional
        Out of the metal, unit length.
    where : str
        Named in errors.

    Returns
    -------
    PinionFit

    Raises
    ------
    DesignError
        As `axlewright.gearset.measured.fit_flank`.

    Notes
    -----
    The strip at the root of the ring gear's tooth that the pinion's tip cone cannot reach needs no points;
    the ease-off goes on straight there.
    """
    refuse_few(len(points), where)
    geometry = build_geometry(design)
    conjugate = _conjugate(geometry, name)
    points = np.array(points, dtype=np.float64)
    if design.hand == "right":
        points = points * MIRROR
        normals = None if normals is None else normals * MIRROR
    folded = conjugate.folded(np.hypot(points[:, 0], points[:, 1]), points[:, 2])
    points, normals = points[~folded], None if normals is None else normals[~folded]
    refuse_few(len(points), where)
    x, y = refuse_off_tooth(
        points,
        lambda p: conjugate.place_of(np.hypot(p[:, 0], p[:, 1]), p[:, 2]),
        where,
        _("check the frame: z from the point nearest to the ring gear's axis toward the heel, in mm"),
    )
    refuse_holes(x, y, where, _reached(geometry, conjugate))
    expected, normal, lever = conjugate.at(x, y)
    theta = np.arctan2(points[:, 1], points[:, 0])
    turned = float(np.angle(np.mean(np.exp(1j * (theta - expected)))))
    back = np.angle(np.exp(1j * (theta - expected - turned))) * lever  # into the metal positive
    spread = float(np.ptp(back))
    if spread > SAME_FLANK * geometry.blank.mean_normal_module:
        raise DesignError(
            _("the points leave the design's pinion flank for {flank} by {distance} mm").format(
                flank=_(name), distance=Number(spread, ".2f")
            ),
            where=where,
            fix=_("check that the file holds this flank of this design, and its hand"),
        )
    # What is smoothed is the turn, so that the turn taken out stays a constant of it.
    nodes = smooth_surface(x, y, back / lever)
    xn, yn = np.linspace(-X_REACH, X_REACH, X_CELLS + 1), np.linspace(*Y_REACH, Y_CELLS + 1)
    keep_x, keep_y = np.abs(xn) <= REACH_X, (yn >= REACH_Y[0]) & (yn <= REACH_Y[1])
    gx, gy = np.meshgrid(xn[keep_x], yn[keep_y], indexing="ij")
    levers = conjugate.at(gx, gy)[2]
    surface = RectBivariateSpline(xn, yn, nodes)
    left = back - surface.ev(x, y) * lever
    refuse_outlier(-left, x, y, where)
    work = (np.abs(gx) <= 1.0) & (np.abs(gy) <= 1.0)
    turn = nodes[np.ix_(keep_x, keep_y)]
    # Turned until it touches: the least set-back over the working flank becomes zero.
    start = float(turn[work].min() if levers[work].mean() > 0.0 else turn[work].max())
    grid = ((turn - start) * levers).T
    if normals is not None:
        c, s = np.cos(theta), np.sin(theta)
        about = np.stack(
            [c * normals[:, 0] + s * normals[:, 1], c * normals[:, 1] - s * normals[:, 0], normals[:, 2]],
            axis=1,
        )
        refuse_normals(about, -normal, x, y, where)
    inside = grid.T[work]
    return PinionFit(
        name,
        ease_off_from_grid(xn[keep_x], yn[keep_y], np.ascontiguousarray(grid)),
        len(points),
        int(folded.sum()),
        float(np.std(left)),
        float(np.abs(left).max()),
        math.degrees(turned + start),
        (float(inside.min()), float(inside.max())),
    )


def which_pinion_flank(design: GearSetDesign, points: Array) -> FlankName | None:
    """Return the flank of the ring gear that measured pinion points meet by their shape, None for neither.

    Parameters
    ----------
    design : GearSetDesign
    points : array, shape (n, 3)
        In the pinion's frame [mm].
    """
    geometry = build_geometry(design)
    points = points * MIRROR if design.hand == "right" else points
    r, theta = np.hypot(points[:, 0], points[:, 1]), np.arctan2(points[:, 1], points[:, 0])
    spread: dict[FlankName, float] = {}
    for flank in (geometry.drive, geometry.coast):
        conjugate = _conjugate(geometry, flank.name)
        expected, _normal, lever = conjugate.at(*conjugate.place_of(r, points[:, 2]))
        turned = np.angle(np.mean(np.exp(1j * (theta - expected))))
        back = np.angle(np.exp(1j * (theta - expected - turned))) * lever
        spread[flank.name] = float(np.ptp(back))
    name: FlankName = "drive" if spread["drive"] <= spread["coast"] else "coast"
    return name if spread[name] <= SAME_FLANK * geometry.blank.mean_normal_module else None


def pinion_csv(
    design: GearSetDesign, name: FlankName, lengthwise: int = 15, profile: int = 9, *, edge: float = 0.97
) -> str:
    """Return a file of a pinion flank as designed, ease-off included: an example, or the grid to measure.

    Parameters
    ----------
    design : GearSetDesign
    name : {"drive", "coast"}
        Flank of the ring gear that it meets.
    lengthwise, profile : int
        Points each way.
    edge : float
        The grid reaches this far toward the edges of the ring-gear tooth it meets.

    Returns
    -------
    str
        CSV in the pinion's frame, normals out of its metal, a column for the flank.
    """
    geometry = build_geometry(design)
    x, y = np.linspace(-edge, edge, lengthwise), np.linspace(-edge, edge, profile)
    made = conjugate_pinion(geometry.cones, geometry.flank(name), design.ratio, x, y)
    back = design.ease_off(name)(x[None, :], y[:, None])
    origin, axes = pinion_axes(geometry)
    points = (made.points + back[..., None] * made.normals - origin) @ axes.T
    normals = -made.normals @ axes.T
    if design.hand == "right":
        points, normals = points * MIRROR, normals * MIRROR
    rows = np.concatenate([points, normals], axis=-1).reshape(-1, 6)
    lines = [",".join((*POINT_COLUMNS, *NORMAL_COLUMNS, FLANK_COLUMN))]
    lines += [",".join(f"{v:.7f}" for v in row) + f",{name}" for row in rows]
    return "\n".join(lines) + "\n"
