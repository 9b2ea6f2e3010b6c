"""Ring-gear flanks as the angle θ(r, z) at which they stand in the ring gear's own cylindrical coordinates.

Three makers, one result: form-cut with a circular cutter (face-milled), continuously indexed along an
extended epicycloid (face-hobbed), and a measured grid of points. Each is sampled on a grid of the unrolled
tooth, a little beyond its edges, and joined by bicubic patches; everything after this module sees only
those patches.

The drive flank is the convex one. The outward normal points out of the ring-gear tooth's metal.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from axlewright.errors import DesignError
from axlewright.gearset.blank import Blank
from axlewright.gearset.pitch import PitchCones
from axlewright.language import Number, Text, _

Array = NDArray[np.float64]
FlankName = Literal["drive", "coast"]

X_REACH = 1.40  # patches reach this far beyond the mean point lengthwise, in half face widths
Y_REACH = (-1.55, 1.55)  # and this far in profile, in half working depths
X_CELLS, Y_CELLS = 56, 40


@dataclass(frozen=True, slots=True)
class Patches:
    """Bicubic patches of θ over the unrolled tooth, uniform cells.

    Attributes
    ----------
    x0, y0, dx, dy : float
        Corner and cell sizes in (lengthwise, profile) units.
    coef : array, shape (nx, ny, 4, 4)
        θ = Σ coef[i, j, p, q] u^(3−p) v^(3−q) with u, v the distances from the cell corner in cells.
    """

    x0: float
    y0: float
    dx: float
    dy: float
    coef: Array

    def __call__(self, x: Array, y: Array) -> tuple[Array, Array, Array]:
        """Return θ [rad], ∂θ/∂x and ∂θ/∂y at (x, y); any common shape."""
        nx, ny = self.coef.shape[:2]
        fx, fy = (np.asarray(x) - self.x0) / self.dx, (np.asarray(y) - self.y0) / self.dy
        i = np.clip(np.floor(fx), 0, nx - 1).astype(np.intp)
        j = np.clip(np.floor(fy), 0, ny - 1).astype(np.intp)
        u, v = fx - i, fy - j
        c = self.coef[i, j]
        vv = np.stack([v**3, v**2, v, np.ones_like(v)], axis=-1)
        dv = np.stack([3 * v**2, 2 * v, np.ones_like(v), np.zeros_like(v)], axis=-1)
        uu = np.stack([u**3, u**2, u, np.ones_like(u)], axis=-1)
        du = np.stack([3 * u**2, 2 * u, np.ones_like(u), np.zeros_like(u)], axis=-1)
        theta = np.einsum("...p,...pq,...q->...", uu, c, vv)
        return (
            theta,
            np.einsum("...p,...pq,...q->...", du, c, vv) / self.dx,
            np.einsum("...p,...pq,...q->...", uu, c, dv) / self.dy,
        )


def make_patches(x: Array, y: Array, theta: Array) -> Patches:
    """Join samples ``theta[len(x), len(y)]`` on uniform nodes by a not-a-knot bicubic spline.

    Parameters
    ----------
    x, y : array, shape (nx,), (ny,)
        Uniform nodes over the unrolled tooth.
    theta : array, shape (nx, ny)
        Angle of the flank at them [rad].
    """
    along_y = CubicSpline(y, theta, axis=1)  # c: (4, ny, nx)
    along_x = CubicSpline(x, np.moveaxis(along_y.c, 2, 0), axis=0)  # c: (4, nx, 4, ny)
    dx, dy = float(x[1] - x[0]), float(y[1] - y[0])
    scale_x = dx ** np.arange(3, -1, -1.0)
    scale_y = dy ** np.arange(3, -1, -1.0)
    coef = np.ascontiguousarray(np.einsum("pixj,p,x->ijpx", along_x.c, scale_x, scale_y), dtype=np.float64)
    return Patches(float(x[0]), float(y[0]), dx, dy, coef)


@dataclass(frozen=True, slots=True)
class RingFlank:
    """One flank of the ring gear.

    Attributes
    ----------
    name : {"drive", "coast"}
    blank : Blank
    patches : Patches
    outward : int
        +1 when the outward normal has a positive component along increasing θ, else −1.
    source : Text
        How the flank was made.
    """

    name: FlankName
    blank: Blank
    patches: Patches
    outward: int
    source: Text

    def theta(self, r: Array, z: Array) -> Array:
        """Return the angle θ [rad] of the flank at (r, z) [mm]; any shape.

        Parameters
        ----------
        r, z : array
            In the ring gear's frame [mm].
        """
        x, y = self.blank.to_tooth(r, z)
        return self.patches(x, y)[0]

    def points(self, x: Array, y: Array) -> tuple[Array, Array]:
        """Return points and outward unit normals at (lengthwise, profile).

        Parameters
        ----------
        x, y : array
            Common shape (...).

        Returns
        -------
        points, normals : array, shape (..., 3)
            In the ring gear's frame [mm].
        """
        r, z = self.blank.from_tooth(x, y)
        theta, tx, ty = self.patches(x, y)
        rx, zx, ry, zy = self._map_derivatives(x, y)
        det = rx * zy - ry * zx
        theta_r = (tx * zy - ty * zx) / det
        theta_z = (ty * rx - tx * ry) / det
        c, s = np.cos(theta), np.sin(theta)
        points = np.stack([r * c, r * s, z], axis=-1)
        # Gradient of θ_point − θ(r, z): e_θ/r − θ_r e_r − θ_z e_z.
        normal = np.stack([-s / r - theta_r * c, c / r - theta_r * s, -theta_z], axis=-1)
        normal *= self.outward / np.linalg.norm(normal, axis=-1, keepdims=True)
        return points, normal

    def _map_derivatives(self, x: Array, y: Array) -> tuple[Array, Array, Array, Array]:
        blank = self.blank
        s2, c2 = math.sin(blank.delta2), math.cos(blank.delta2)
        half = blank.face_width / 2.0
        top, bottom = blank.depth_limits(np.asarray(x) * half)
        t_top = math.tan(blank.addendum_angle2) * half
        t_bottom = -math.tan(blank.addendum_angle1) * half
        hx = (np.asarray(y) * (t_top - t_bottom) + t_top + t_bottom) / 2.0
        hy = (top - bottom) / 2.0
        return half * s2 + hx * c2, half * c2 - hx * s2, hy * c2, -hy * s2


@dataclass(frozen=True, slots=True)
class _Tool:
    """Cutter placed at the mean point: root-plane frame and blade."""

    point: Array
    up: Array  # cutter axis, out of the root plane toward the tooth top
    across: Array  # in the root plane, square to the tooth, toward the cutter's side
    centre: Array
    radius: float


def _place_tool(cones: PitchCones, blank: Blank, cutter_radius: float) -> _Tool:
    p = cones.mean_point
    around = np.cross([0.0, 0.0, 1.0], p)
    around /= np.linalg.norm(around)
    tilt = blank.dedendum_angle2
    n, g = cones.normal, cones.ring_generator()
    up = n * math.cos(tilt) + g * math.sin(tilt)
    root_line = g * math.cos(tilt) - n * math.sin(tilt)
    tooth = math.cos(cones.spiral2) * root_line + math.sin(cones.spiral2) * around
    across = -math.sin(cones.spiral2) * root_line + math.cos(cones.spiral2) * around
    # The cutter centre makes 90° − (β − ν) with the direction to the apex (−root_line): the spiral
    # angle then grows toward the heel. `across` turned by ν toward the toe gives that direction.
    toward = math.cos(cones.lead_angle) * across + math.sin(cones.lead_angle) * tooth
    return _Tool(p, up, across, p + cutter_radius * toward, cutter_radius)


def blade_angle(cones: PitchCones, flank: FlankName, mean_pressure_angle_deg: float) -> float:
    """Return the blade angle of a flank [rad]: mean pressure angle ± limit pressure angle.

    Parameters
    ----------
    cones : PitchCones
    flank : {"drive", "coast"}
    mean_pressure_angle_deg : float
    """
    alpha = math.radians(mean_pressure_angle_deg)
    lim = cones.limit_pressure_angle
    return alpha + lim if flank == "drive" else alpha - lim


def _grid() -> tuple[Array, Array]:
    return (
        np.linspace(-X_REACH, X_REACH, X_CELLS + 1),
        np.linspace(Y_REACH[0], Y_REACH[1], Y_CELLS + 1),
    )


def form_cut_flank(
    cones: PitchCones,
    blank: Blank,
    flank: FlankName,
    *,
    cutter_radius_mm: float,
    mean_pressure_angle_deg: float,
) -> RingFlank:
    """Cut one flank with a circular cutter: a cone about the cutter axis through the mean point.

    Parameters
    ----------
    cones : PitchCones
    blank : Blank
    flank : {"drive", "coast"}
    cutter_radius_mm : float
    mean_pressure_angle_deg : float

    Raises
    ------
    DesignError
        When the cutter does not sweep the whole flank.
    """
    tool = _place_tool(cones, blank, cutter_radius_mm)
    alpha = blade_angle(cones, flank, mean_pressure_angle_deg)
    slope = -math.tan(alpha) if flank == "drive" else math.tan(alpha)
    x, y = _grid()
    X, Y = np.meshgrid(x, y, indexing="ij")
    r, z = blank.from_tooth(X, Y)
    theta = np.full_like(r, math.atan2(tool.point[1], tool.point[0]))
    k, centre = tool.up, tool.centre
    for _again in range(60):
        c, s = np.cos(theta), np.sin(theta)
        q = np.stack([r * c - centre[0], r * s - centre[1], z - centre[2]], axis=-1)
        dq = np.stack([-r * s, r * c, np.zeros_like(r)], axis=-1)
        h = q @ k
        flat = q - h[..., None] * k
        rho = np.linalg.norm(flat, axis=-1)
        f = rho - tool.radius - slope * h
        df = np.sum(flat * dq, axis=-1) / rho - slope * (dq @ k)
        step = f / df
        theta = theta - np.clip(step, -0.2, 0.2)
        if np.max(np.abs(step)) < 1e-14:
            break
    return _finish(cones, blank, flank, x, y, theta, float(np.max(np.abs(step))), _("form-cut (face-milled)"))


def indexed_flank(
    cones: PitchCones,
    blank: Blank,
    flank: FlankName,
    *,
    ring_teeth: int,
    blade_groups: int,
    cutter_radius_mm: float,
    mean_pressure_angle_deg: float,
) -> RingFlank:
    """Sweep one flank by a straight blade along an extended epicycloid while the ring gear turns.

    The blade edge lies in the plane square to the tooth at the mean point; the ring gear turns z0/z2 of a
    cutter turn, in the sense that makes the relative velocity at the mean point run along the tooth.

    Parameters
    ----------
    cones : PitchCones
    blank : Blank
    flank : {"drive", "coast"}
    ring_teeth : int
    blade_groups : int
        z0 of the cutter.
    cutter_radius_mm : float
    mean_pressure_angle_deg : float

    Raises
    ------
    DesignError
        When the blade does not sweep the whole flank.
    """
    tool = _place_tool(cones, blank, cutter_radius_mm)
    alpha = blade_angle(cones, flank, mean_pressure_angle_deg)
    side = -math.tan(alpha) if flank == "drive" else math.tan(alpha)
    # Convex flank (drive): cut nearer to the cutter centre the higher up; `across` points to the centre.
    edge = tool.up - side * tool.across
    k, centre = tool.up, tool.centre
    index = blade_groups / ring_teeth
    tooth = np.cross(tool.across, tool.up)
    velocity = np.cross(k, tool.point - centre)
    ring_velocity = np.cross([0.0, 0.0, 1.0], tool.point)
    sense = 1.0
    if abs((velocity - index * ring_velocity) @ tool.across) > abs(
        (velocity + index * ring_velocity) @ tool.across
    ):
        sense = -1.0
    index *= sense
    slip = (velocity - index * ring_velocity) @ tool.across / np.linalg.norm(velocity)
    if abs(slip) > 0.05:
        raise DesignError(
            _("the blade would not run along the tooth (slip {slip})").format(
                slip=Number(float(slip), ".3f")
            ),
            where="blade_groups",
            fix=_("check it"),
        )
    del tooth
    x, y = _grid()
    X, Y = np.meshgrid(x, y, indexing="ij")
    r, z = blank.from_tooth(X, Y)
    turn = np.zeros_like(r)
    height = np.zeros_like(r)

    def place(t: Array, h: Array) -> tuple[Array, Array, Array]:
        base = (tool.point - centre) + h[..., None] * edge
        along = base @ k
        flat = base - along[..., None] * k
        side_v = np.cross(np.broadcast_to(k, flat.shape), flat)
        ct, st = np.cos(t)[..., None], np.sin(t)[..., None]
        q = along[..., None] * k + flat * ct + side_v * st
        dq_t = -flat * st + side_v * ct
        edge_along = edge @ k
        edge_flat = edge - edge_along * k
        edge_side = np.cross(k, edge_flat)
        dq_h = edge_along * k + edge_flat * ct + edge_side * st
        return q + centre, dq_t, dq_h

    worst = math.inf
    for _again in range(80):
        q, q_t, q_h = place(turn, height)
        rho = np.hypot(q[..., 0], q[..., 1])
        f1, f2 = rho - r, q[..., 2] - z
        a11 = (q[..., 0] * q_t[..., 0] + q[..., 1] * q_t[..., 1]) / rho
        a12 = (q[..., 0] * q_h[..., 0] + q[..., 1] * q_h[..., 1]) / rho
        a21, a22 = q_t[..., 2], q_h[..., 2]
        det = a11 * a22 - a12 * a21
        dt = (f1 * a22 - f2 * a12) / det
        dh = (a11 * f2 - a21 * f1) / det
        turn = turn - np.clip(dt, -0.1, 0.1)
        height = height - np.clip(dh, -2.0, 2.0)
        worst = float(max(np.max(np.abs(dt)), np.max(np.abs(dh)) / 10.0))
        if worst < 1e-13:
            break
    q, _rest, _rest2 = place(turn, height)
    theta = np.arctan2(q[..., 1], q[..., 0]) - index * turn
    return _finish(cones, blank, flank, x, y, theta, worst, _("continuously indexed (face-hobbed)"))


def _finish(
    cones: PitchCones,
    blank: Blank,
    flank: FlankName,
    x: Array,
    y: Array,
    theta: Array,
    miss: float,
    how: Text,
) -> RingFlank:
    if not np.all(np.isfinite(theta)) or miss > 1e-10:
        raise DesignError(
            _("the cutter does not sweep the whole flank"),
            where="cutter_radius_mm",
            fix=_("use a cutter radius nearer to half the ring gear's diameter or a smaller spiral angle"),
        )
    ring = RingFlank(flank, blank, make_patches(x, y, theta), 1, how)
    # Convex flank: the normal points away from the cutter centre, against `across`.
    around = np.cross([0.0, 0.0, 1.0], cones.mean_point)
    across = -math.sin(cones.spiral2) * cones.ring_generator() + math.cos(cones.spiral2) * (
        around / np.linalg.norm(around)
    )
    wanted = -across if flank == "drive" else across
    _rest, normal = ring.points(np.array(0.0), np.array(0.0))
    outward = 1 if float(normal @ wanted) > 0.0 else -1
    return RingFlank(flank, blank, ring.patches, outward, how)
