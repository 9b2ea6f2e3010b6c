"""The compiled rolling kernel: the same numbers as `reference`, many times faster.

Only the roll angles at which a point can matter are visited: from the angle where the conjugate point would
touch the kernel walks downhill to the point's least gap and outward until the gap has grown by `REACH`.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from axlewright.contact.kernel import (
    AVAILABLE,
    EDGE,
    QUICK,
    angle_beside,
    nearest_roll,
    njit,
    parabola_least,
    parabola_place,
    ring_parameters,
    standing,
    turn_to_touch,
)
from axlewright.contact.mesh import MARK_MARGIN, FlankMesh

__all__ = ["AVAILABLE", "REACH", "nearest_roll", "ring_parameters", "roll_pair"]

Array = NDArray[np.float64]

REACH = 0.0016  # a point whose gap is this far above its least one neither touches nor marks [rad]


@njit(cache=True, nogil=True, fastmath=QUICK)
def _roll(  # type: ignore[no-untyped-def]
    points,
    valid,
    first,
    lever,
    matrices,
    shifts,
    ring,
    coef,
    outward,
    y_floor,
    per_pitch,
    reach,
    window,
    spacing,
    margin,
):
    ny, nx = first.shape
    n = matrices.shape[0]
    stored = np.empty((nx, ny, window))
    start = np.zeros((nx, ny), np.int64)
    count = np.zeros((nx, ny), np.int64)
    curve = np.full(n, np.inf)
    columns = np.full((nx, n), np.inf)
    path = np.zeros((n, 2))
    path_gap = np.full(n, np.inf)
    row_shift = np.zeros((nx, n))
    column = np.full((n, ny), np.inf)
    least = np.full(n, np.inf)
    least_row = np.zeros(n, np.int64)
    wide = np.empty(n)
    edge = 1.0 + margin
    for a in range(nx):
        first_k, last_k = n, -1
        for b in range(ny):
            if not valid[b, a]:
                continue
            px, py, pz = points[b, a, 0], points[b, a, 1], points[b, a, 2]
            k0 = min(max(first[b, a], 0), n - 1)
            lo = k0
            hi = k0 - 1
            best = np.inf
            up = True
            down = True
            # One angle about the ring gear's axis is worked out for each point, the others beside it.
            angle = 0.0
            cosine = 0.0
            sine = 0.0
            # Up and down in turn, so that the window stays about the least gap.
            while up or down:
                for way in (1, -1):
                    if not (up if way > 0 else down):
                        continue
                    k = hi + 1 if way > 0 else lo - 1
                    if k < 0 or k >= n or hi - lo + 1 >= window:
                        g = np.inf
                        ended = True
                    else:
                        qx, qy, r, x, y = standing(px, py, pz, matrices, shifts, k, ring)
                        if x > edge or x < -edge or y > edge or y < y_floor:
                            g = np.inf
                        else:
                            if cosine == 0.0 and sine == 0.0:
                                angle = math.atan2(qy, qx)
                                cosine = qx / r
                                sine = qy / r
                                here = angle
                            else:
                                here = angle_beside(qx, qy, r, angle, cosine, sine)
                            g = turn_to_touch(here, x, y, ring, coef, outward)
                        hi = max(hi, k)
                        lo = min(lo, k)
                        wide[k] = g
                        if abs(x) <= EDGE and y <= EDGE:
                            column[k, b] = g
                            if g < least[k]:
                                least[k] = g
                                least_row[k] = b
                            if g < path_gap[k]:
                                path_gap[k] = g
                                path[k, 0] = x
                                path[k, 1] = y
                        best = min(best, g)
                        ended = g > best + reach
                    if ended and way > 0:
                        up = False
                    elif ended:
                        down = False
            start[a, b] = lo
            count[a, b] = hi - lo + 1
            first_k = min(first_k, lo)
            last_k = max(last_k, hi)
            for k in range(lo, hi + 1):
                stored[a, b, k - lo] = wide[k]
        for k in range(first_k, last_k + 1):
            jb = least_row[k]
            low = least[k]
            if 0 < jb < ny - 1:
                row_shift[a, k] = parabola_place(column[k, jb - 1], low, column[k, jb + 1])
                low = parabola_least(column[k, jb - 1], low, column[k, jb + 1])
            columns[a, k] = low
            column[k, :] = np.inf
            least[k] = np.inf
            least_row[k] = 0
    for k in range(n):
        ia = 0
        low = np.inf
        for a in range(nx):
            if columns[a, k] < low:
                low = columns[a, k]
                ia = a
        path[k, 1] += row_shift[ia, k] * spacing[1]
        if 0 < ia < nx - 1:
            path[k, 0] += parabola_place(columns[ia - 1, k], low, columns[ia + 1, k]) * spacing[0]
            low = parabola_least(columns[ia - 1, k], low, columns[ia + 1, k])
        curve[k] = low
    folded = np.full(per_pitch, np.inf)
    for k in range(n):
        if curve[k] < folded[k % per_pitch]:
            folded[k % per_pitch] = curve[k]
    lowest = np.empty(n)
    for k in range(n):
        lowest[k] = folded[k % per_pitch]
    nearest = np.full((ny, nx), np.inf)
    at_x = np.zeros((ny, nx))
    at_y = np.zeros((ny, nx))
    for a in range(nx):
        for b in range(ny):
            lo = start[a, b]
            low = np.inf
            kb = -1
            held = count[a, b]
            for w in range(held):
                g = stored[a, b, w] - lowest[lo + w]
                if g < low:
                    low = g
                    kb = w
            if kb < 0:
                continue
            k = lo + kb
            step = 0.0
            if 0 < kb < held - 1:
                vm = stored[a, b, kb - 1] - lowest[k - 1]
                vp = stored[a, b, kb + 1] - lowest[k + 1]
                if math.isfinite(vm) and math.isfinite(vp):
                    bend = vm - 2.0 * low + vp
                    if bend > 1e-300:
                        step = min(max((vm - vp) / (2.0 * bend), -1.0), 1.0)
                        low -= (vm - vp) ** 2 / (8.0 * bend)
            nearest[b, a] = low * lever[b, a]
            px, py, pz = points[b, a, 0], points[b, a, 1], points[b, a, 2]
            _qx, _qy, _r, x, y = standing(px, py, pz, matrices, shifts, k, ring)
            if step != 0.0:
                k2 = k + 1 if step > 0 else k - 1
                _qx, _qy, _r, x2, y2 = standing(px, py, pz, matrices, shifts, k2, ring)
                x += abs(step) * (x2 - x)
                y += abs(step) * (y2 - y)
            at_x[b, a] = x
            at_y[b, a] = y
    return curve, lowest, nearest, at_x, at_y, path, path_gap


def roll_pair(
    flank: FlankMesh, points: Array, matrices: Array, shifts: Array, y_floor: float
) -> tuple[Array, Array, Array, Array, Array, Array]:
    """Roll one flank pair; see `reference` for each result.

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
    nearest, at_x, at_y : array, shape (ny, nx)
    path : array, shape (n, 2)
    """
    curve, lowest, nearest, at_x, at_y, path, _ = _roll(
        points,
        flank.valid,
        nearest_roll(flank),
        flank.lever,
        matrices,
        shifts,
        ring_parameters(flank),
        flank.ring.patches.coef,
        float(flank.ring.outward),
        y_floor,
        flank.per_pitch,
        REACH,
        max(8, flank.per_pitch),
        np.array([flank.x[1] - flank.x[0], flank.y[1] - flank.y[0]]),
        MARK_MARGIN,
    )
    return curve, lowest, nearest, at_x, at_y, path
