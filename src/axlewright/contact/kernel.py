"""What all compiled kernels stand on: the gap of one pinion point, and numba or its stand-in.

Everything here is plain scalar code for numba. Where numba is missing the functions are left as they are and
nobody calls them; `AVAILABLE` says so and the NumPy reference is used.

numba keeps compiled functions on disk by the date of the file they stand in. A function of this file is
compiled *into* its callers, so after a change here the callers' kept files (``__pycache__/*.nb?``) are stale
and have to be removed. The kernels write the three steps of a gap out one after the other: one function that
holds all three made them slower by half, measured both ways numba can inline.
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
NEAR = 0.15  # sine of an angle up to which its series is good to rounding
QUICK = {
    "contract",
    "arcp",
    "nsz",
}  # what the compiler may do to sums and quotients; infinities stay what they are


def njit(**options: Any) -> Any:
    """Return numba's decorator with these options, or one that leaves the function alone without numba."""
    if AVAILABLE:
        return _njit(**options)

    def keep(function: F) -> F:  # pragma: no cover - platforms without a wheel
        return function

    return keep  # pragma: no cover - platforms without a wheel


def ring_parameters(flank: FlankMesh) -> Array:
    """Return what `standing` and `turn_to_touch` need of the ring-gear tooth, packed.

    Parameters
    ----------
    flank : FlankMesh

    Returns
    -------
    array, shape (13,)
        Pitch point (r, z) [mm]; sine and cosine of the pitch angle; 2/face width [1/mm]; addendum [mm] and
        tangent of its angle; dedendum of the working depth [mm] and tangent of its angle; corner (x, y) of
        the patches and how many of their cells go into one unit of x and of y.
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
            1.0 / patches.dx,
            1.0 / patches.dy,
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
def standing(px, py, pz, matrices, shifts, k, ring):  # type: ignore[no-untyped-def]
    """Return where one pinion point stands on the ring gear at one roll angle.

    Parameters
    ----------
    px, py, pz : float
        The point, relieved, in the mesh frame at roll angle 0 [mm].
    matrices, shifts : array, shape (n, 3, 3), (n, 3)
        Motion into the turning ring gear's frame, from `roll_transforms`.
    k : int
        Index of the roll angle.
    ring : array, shape (13,)
        From `ring_parameters`.

    Returns
    -------
    qx, qy : float
        The point across the ring gear's axis, in its turning frame [mm].
    r : float
        Its radius [mm].
    x, y : float
        (lengthwise, profile).
    """
    qx = matrices[k, 0, 0] * px + matrices[k, 0, 1] * py + matrices[k, 0, 2] * pz + shifts[k, 0]
    qy = matrices[k, 1, 0] * px + matrices[k, 1, 1] * py + matrices[k, 1, 2] * pz + shifts[k, 1]
    qz = matrices[k, 2, 0] * px + matrices[k, 2, 1] * py + matrices[k, 2, 2] * pz + shifts[k, 2]
    r = math.sqrt(qx * qx + qy * qy)
    dr = r - ring[0]
    dz = qz - ring[1]
    along = dr * ring[2] + dz * ring[3]
    h = dr * ring[3] - dz * ring[2]
    top = ring[5] + along * ring[6]
    bottom = -(ring[7] + along * ring[8])
    return qx, qy, r, along * ring[4], (2.0 * h - top - bottom) / (top - bottom)


@njit(cache=True, nogil=True, inline="always")
def turn_to_touch(angle, x, y, ring, coef, outward):  # type: ignore[no-untyped-def]
    """Return the angle the ring gear must turn to touch a point at this angle and place [rad].

    Parameters
    ----------
    angle : float
        Of the point about the ring gear's axis, in its turning frame [rad].
    x, y : float
        (lengthwise, profile), within the patches.
    ring : array, shape (13,)
        From `ring_parameters`.
    coef : array, shape (nx, ny, 4, 4)
        `Patches.coef` of the ring-gear flank.
    outward : float
        `RingFlank.outward`.
    """
    fx = (x - ring[9]) * ring[11]
    fy = (y - ring[10]) * ring[12]
    i = int(fx)
    j = int(fy)
    u = fx - i
    v = fy - j
    t0 = ((coef[i, j, 0, 0] * v + coef[i, j, 0, 1]) * v + coef[i, j, 0, 2]) * v + coef[i, j, 0, 3]
    t1 = ((coef[i, j, 1, 0] * v + coef[i, j, 1, 1]) * v + coef[i, j, 1, 2]) * v + coef[i, j, 1, 3]
    t2 = ((coef[i, j, 2, 0] * v + coef[i, j, 2, 1]) * v + coef[i, j, 2, 2]) * v + coef[i, j, 2, 3]
    t3 = ((coef[i, j, 3, 0] * v + coef[i, j, 3, 1]) * v + coef[i, j, 3, 2]) * v + coef[i, j, 3, 3]
    turn = angle - (((t0 * u + t1) * u + t2) * u + t3)
    if turn > math.pi:
        turn -= 2.0 * math.pi
    elif turn < -math.pi:
        turn += 2.0 * math.pi
    return outward * turn


@njit(cache=True, nogil=True, inline="always")
def angle_beside(qx, qy, r, angle, cosine, sine):  # type: ignore[no-untyped-def]
    """Return the angle of a place about the ring gear's axis, knowing one close to it [rad].

    The arc sine's series (first seven terms) is several times quicker than the arc tangent; beyond `NEAR`,
    where the first term left out would pass 2e-16 rad, the arc tangent is taken.

    Parameters
    ----------
    qx, qy, r : float
        The place and its radius [mm].
    angle, cosine, sine : float
        The known angle [rad] and its cosine and sine.
    """
    s = (qy * cosine - qx * sine) / r
    if s > NEAR or s < -NEAR:
        return math.atan2(qy, qx)
    q = s * s
    series = 35.0 / 1152.0 + q * (63.0 / 2816.0 + q * (231.0 / 13312.0))
    return angle + s * (1.0 + q * (1.0 / 6.0 + q * (3.0 / 40.0 + q * (5.0 / 112.0 + q * series))))


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
