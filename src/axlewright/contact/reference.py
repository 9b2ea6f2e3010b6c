"""Roll one flank pair in plain NumPy: the oracle of the compiled kernel, and its stand-in.

For every roll angle the pinion grid is carried into the ring gear's frame; the gap of a point is the angle
between it and the ring-gear flank at the same (r, z). Nothing is iterated to convergence and edge contact
comes out by itself.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from axlewright.contact.mesh import MARK_MARGIN, FlankMesh

Array = NDArray[np.float64]


def gaps(
    flank: FlankMesh, points: Array, matrices: Array, shifts: Array, y_floor: float, margin: float = 1e-9
) -> tuple[Array, Array, Array]:
    """Return the gap of every pinion point at every roll angle.

    Parameters
    ----------
    flank : FlankMesh
    points : array, shape (ny, nx, 3)
        Real pinion flank [mm].
    matrices, shifts : array, shape (n, 3, 3), (n, 3)
        From `roll_transforms`.
    y_floor : float
        Lowest profile place at which the ring gear still has a flank (its clearance).
    margin : float
        How far beyond toe, heel and top the flank is taken to go on.

    Returns
    -------
    gap : array, shape (n, ny, nx)
        Angle the ring gear must turn to touch [rad]; infinite outside either tooth.
    x, y : array, shape (n, ny, nx)
        Where the point stands on the ring-gear tooth.
    """
    q = np.einsum("nij,abj->nabi", matrices, points) + shifts[:, None, None, :]
    r = np.hypot(q[..., 0], q[..., 1])
    x, y = flank.ring.blank.to_tooth(r, q[..., 2])
    theta = flank.ring.patches(np.clip(x, -1.3, 1.3), np.clip(y, -1.45, 1.45))[0]
    gap = flank.ring.outward * _wrap(np.arctan2(q[..., 1], q[..., 0]) - theta)
    outside = (np.abs(x) > 1.0 + margin) | (y > 1.0 + margin) | (y < y_floor) | ~flank.valid
    gap[outside] = np.inf
    # A point meets the ring gear within half a pitch of where it would touch if conjugate; further off
    # lies the other branch of an undercut flank, which the cutter has removed.
    away = np.abs(flank.roll[:, None, None] - flank.contact_roll) > 0.5 * flank.pitch
    gap[away] = np.inf
    return gap, x, y


def _wrap(angle: Array) -> Array:
    return (angle + np.pi) % (2.0 * np.pi) - np.pi


def _refined_minimum(values: Array, axis: int) -> Array:
    """Return the least value along `axis`, by a parabola through it and its finite neighbours."""
    v = np.moveaxis(values, axis, -1)
    k = np.argmin(v, axis=-1)
    best = np.take_along_axis(v, k[..., None], -1)[..., 0]
    n = v.shape[-1]
    inner = (k > 0) & (k < n - 1)
    before = np.take_along_axis(v, np.clip(k - 1, 0, n - 1)[..., None], -1)[..., 0]
    after = np.take_along_axis(v, np.clip(k + 1, 0, n - 1)[..., None], -1)[..., 0]
    fine = inner & np.isfinite(before) & np.isfinite(after) & np.isfinite(best)
    with np.errstate(invalid="ignore"):
        bend = before - 2.0 * best + after
        drop = (before - after) ** 2 / (8.0 * np.where(bend > 0, bend, 1.0))
    return np.where(fine & (bend > 0), best - drop, best)


def pair_curve(gap: Array) -> Array:
    """Return the least gap of one pair at each roll angle, shape (n,) [rad].

    Parameters
    ----------
    gap : array, shape (n, ny, nx)
        [rad].
    """
    return _refined_minimum(_refined_minimum(gap, 1), 1)


def envelope(curve: Array, per_pitch: int) -> Array:
    """Return the least gap over all neighbouring pairs at each roll angle, shape (n,) [rad].

    Parameters
    ----------
    curve : array, shape (n,)
        [rad].
    per_pitch : int
        Roll angles per pitch.
    """
    n = len(curve)
    folded = np.full(per_pitch, np.inf)
    np.minimum.at(folded, np.arange(n) % per_pitch, curve)
    return folded[np.arange(n) % per_pitch]


def marks(flank: FlankMesh, gap: Array, lowest: Array, x: Array, y: Array) -> tuple[Array, Array, Array]:
    """Return how near each pinion point comes to being squeezed, and where on the ring gear that is.

    Parameters
    ----------
    flank : FlankMesh
    gap : array, shape (n, ny, nx)
        [rad].
    lowest : array, shape (n,)
        `envelope` [rad].
    x, y : array, shape (n, ny, nx)

    Returns
    -------
    nearest : array, shape (ny, nx)
        Least normal gap to the envelope over the roll [mm].
    at_x, at_y : array, shape (ny, nx)
        Where the point then stands on the ring-gear tooth.
    """
    over = gap - lowest[:, None, None]
    k = np.argmin(over, axis=0)
    n = gap.shape[0]

    def pick(values: Array, shift: int) -> Array:
        index = np.clip(k + shift, 0, n - 1)[None]
        out: Array = np.take_along_axis(values, index, 0)[0]
        return out

    v0, vm, vp = pick(over, 0), pick(over, -1), pick(over, 1)
    fine = (k > 0) & (k < n - 1) & np.isfinite(v0) & np.isfinite(vm) & np.isfinite(vp)
    with np.errstate(invalid="ignore"):
        bend = np.where(fine, vm - 2.0 * v0 + vp, 1.0)
        bend = np.where(bend > 1e-300, bend, 1.0)
        step = np.where(fine, np.clip((vm - vp) / (2.0 * bend), -1.0, 1.0), 0.0)
        drop = np.where(fine, (vm - vp) ** 2 / (8.0 * bend), 0.0)
    nearest = np.where(np.isfinite(v0), (v0 - drop) * flank.lever, np.inf)
    forth = step >= 0
    size = np.abs(step)
    at_x = pick(x, 0) * (1 - size) + np.where(forth, pick(x, 1), pick(x, -1)) * size
    at_y = pick(y, 0) * (1 - size) + np.where(forth, pick(y, 1), pick(y, -1)) * size
    return nearest, at_x, at_y


def roll_pair(
    flank: FlankMesh, points: Array, matrices: Array, shifts: Array, y_floor: float
) -> tuple[Array, Array, Array, Array, Array, Array]:
    """Roll one flank pair over its whole path.

    Parameters
    ----------
    flank : FlankMesh
    points : array, shape (ny, nx, 3)
        Real pinion flank [mm].
    matrices, shifts : array, shape (n, 3, 3), (n, 3)
        From `roll_transforms` at the pair's roll angles.
    y_floor : float
        Lowest profile place at which the ring gear still has a flank.

    Returns
    -------
    curve, lowest : array, shape (n,)
        Least gap of the pair, and of all pairs [rad].
    nearest, at_x, at_y : array, shape (ny, nx)
        See `marks`.
    path : array, shape (n, 2)
        Where the least gap lies on the ring-gear tooth.
    """
    wide, x, y = gaps(flank, points, matrices, shifts, y_floor, MARK_MARGIN)
    gap = np.where((np.abs(x) > 1.0 + 1e-9) | (y > 1.0 + 1e-9), np.inf, wide)
    curve = pair_curve(gap)
    lowest = envelope(curve, flank.per_pitch)
    nearest, at_x, at_y = marks(flank, wide, lowest, x, y)
    flat = np.argmin(gap.reshape(len(curve), -1), axis=1)
    rows = np.arange(len(curve))
    path = np.stack([x.reshape(len(curve), -1)[rows, flat], y.reshape(len(curve), -1)[rows, flat]], axis=1)
    return curve, lowest, nearest, at_x, at_y, path
