"""What all compiled kernels stand on: the gap of one pinion point, and numba or its stand-in.

Everything here is plain scalar code for numba. Where numba is missing the functions are left as they are and
nobody calls them; `AVAILABLE` says so and the NumPy reference is used.

numba keeps compiled functions on disk by the date of the file they stand in. A function of this file is
compiled *into* its callers, so after a change here the callers' kept files (``__pycache__/*.nb?``) are stale
and have to be removed.
"""

from __future__ import annotations

import math
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from axlewright.contact.mesh import FlankMesh

Array = NDArray[np.float64]
F = TypeVar("F")

try:
    from numba import njit as _njit

    AVAILABLE = True
except ImportError:  # pragma: no cover - platforms without a wheel
    AVAILABLE = False

EDGE = 1.0 + 1e-9  # a point counts as on the tooth up to here; the rest is rounding


def njit(**options: Any) -> Any:
    """Return numba's decorator with these options, or one that leaves the function alone without numba."""
    if AVAILABLE:
        return _njit(**options)

    def keep(function: F) -> F:  # pragma: no cover - platforms without a wheel
        return function

    return keep  # pragma: no cover - platforms without a wheel


def ring_parameters(flank: FlankMesh) -> Array:
    """Return what `point_gap_within` needs of the ring-gear tooth, packed.

    Parameters
    ----------
    flank : FlankMesh

    Returns
    -------
    array, shape (13,)
        Pitch point (r, z) [mm]; sine and cosine of the pitch angle; 2/face width [1/mm]; addendum [mm] and
        tangent of its angle; dedendum of the working depth [mm] and tangent of its angle; corner (x, y) and
        cell (dx, dy) of the patches.
    """
    blank, patches = flank.ring.blank, flank.ring.patches
    return np.array(
        [
            blank.pitch_radius,
            blank.pitch_height,
            math.sin(blank.delta2),
            math.cos(blank.delta2),
            2.0 / blank.face_width,
            blank.mean_addendum2,
            math.tan(blank.addendum_angle2),
            blank.mean_addendum1,
            math.tan(blank.addendum_angle1),
            patches.x0,
            patches.y0,
            patches.dx,
            patches.dy,
        ]
    )


def nearest_roll(flank: FlankMesh) -> NDArray[np.int64]:
    """Return the index of the roll angle at which each conjugate point touches, shape (ny, nx).

    It may lie before the first or after the last roll angle.

    Parameters
    ----------
    flank : FlankMesh
    """
    step = flank.roll[1] - flank.roll[0]
    return np.ascontiguousarray(np.rint((flank.contact_roll - flank.roll[0]) / step).astype(np.int64))


@njit(cache=True, nogil=True, inline="always")
def point_gap_within(px, py, pz, m, s, ring, coef, outward, y_floor, edge):  # type: ignore[no-untyped-def]
    """Return the gap of one pinion point at one roll angle and where it stands on the ring-gear tooth.

    Parameters
    ----------
    px, py, pz : float
        The point, relieved, in the mesh frame at roll angle 0 [mm].
    m, s : array, shape (3, 3), (3,)
        Motion into the turning ring gear's frame, from `roll_transforms`.
    ring : array, shape (13,)
        From `ring_parameters`.
    coef : array, shape (nx, ny, 4, 4)
        `Patches.coef` of the ring-gear flank.
    outward : float
        `RingFlank.outward`.
    y_floor : float
        Lowest profile place at which the ring gear has a flank.
    edge : float
        Largest |x| and y at which the tooth is taken to have a flank; 1 is toe, heel and top themselves.

    Returns
    -------
    gap : float
        Angle the ring gear must turn to touch [rad]; infinite off the tooth.
    x, y : float
        (lengthwise, profile).
    """
    qx = m[0, 0] * px + m[0, 1] * py + m[0, 2] * pz + s[0]
    qy = m[1, 0] * px + m[1, 1] * py + m[1, 2] * pz + s[1]
    qz = m[2, 0] * px + m[2, 1] * py + m[2, 2] * pz + s[2]
    r = math.sqrt(qx * qx + qy * qy)
    dr = r - ring[0]
    dz = qz - ring[1]
    along = dr * ring[2] + dz * ring[3]
    h = dr * ring[3] - dz * ring[2]
    top = ring[5] + along * ring[6]
    bottom = -(ring[7] + along * ring[8])
    x = along * ring[4]
    y = (2.0 * h - top - bottom) / (top - bottom)
    if x > edge or x < -edge or y > edge or y < y_floor:
        return np.inf, x, y
    fx = (x - ring[9]) / ring[11]
    fy = (y - ring[10]) / ring[12]
    i = int(fx)
    j = int(fy)
    u = fx - i
    v = fy - j
    c = coef[i, j]
    t0 = ((c[0, 0] * v + c[0, 1]) * v + c[0, 2]) * v + c[0, 3]
    t1 = ((c[1, 0] * v + c[1, 1]) * v + c[1, 2]) * v + c[1, 3]
    t2 = ((c[2, 0] * v + c[2, 1]) * v + c[2, 2]) * v + c[2, 3]
    t3 = ((c[3, 0] * v + c[3, 1]) * v + c[3, 2]) * v + c[3, 3]
    theta = ((t0 * u + t1) * u + t2) * u + t3
    turn = math.atan2(qy, qx) - theta
    if turn > math.pi:
        turn -= 2.0 * math.pi
    elif turn < -math.pi:
        turn += 2.0 * math.pi
    return outward * turn, x, y


@njit(cache=True, nogil=True, inline="always")
def point_gap(px, py, pz, m, s, ring, coef, outward, y_floor):  # type: ignore[no-untyped-def]
    """Return `point_gap_within` the tooth itself.

    Parameters
    ----------
    px, py, pz, m, s, ring, coef, outward, y_floor
        As there; the edge is `EDGE`.
    """
    return point_gap_within(px, py, pz, m, s, ring, coef, outward, y_floor, EDGE)


@njit(cache=True, nogil=True)
def parabola_least(before, best, after):  # type: ignore[no-untyped-def]
    """Return the least value of the parabola through three evenly spaced values, `best` the middle one.

    Parameters
    ----------
    before, best, after : float
        Where one is not finite the middle value is returned.
    """
    if not (math.isfinite(before) and math.isfinite(after) and math.isfinite(best)):
        return best
    bend = before - 2.0 * best + after
    if bend <= 0.0:
        return best
    return best - (before - after) ** 2 / (8.0 * bend)


@njit(cache=True, nogil=True)
def parabola_place(before, best, after):  # type: ignore[no-untyped-def]
    """Return where that parabola is least, −½ … ½ of the spacing from the middle.

    Parameters
    ----------
    before, best, after : float
        Where one is not finite the middle is returned, 0.
    """
    if not (math.isfinite(before) and math.isfinite(after) and math.isfinite(best)):
        return 0.0
    bend = before - 2.0 * best + after
    if bend <= 0.0:
        return 0.0
    return min(max((before - after) / (2.0 * bend), -0.5), 0.5)
