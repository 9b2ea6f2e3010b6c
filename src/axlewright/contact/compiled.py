"""The compiled rolling kernel: the same numbers as `reference`, many times faster.

Only the roll angles at which a point can matter are visited: from the angle where the conjugate point would
touch the kernel walks downhill to the point's least gap and outward until the gap has grown by `REACH`.
"""

from __future__ import annotations

import math
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from axlewright.contact.mesh import MARK_MARGIN, FlankMesh

Array = NDArray[np.float64]
F = TypeVar("F")

try:
    from numba import njit

    AVAILABLE = True
except ImportError:  # pragma: no cover - platforms without a wheel
    AVAILABLE = False

    def njit(*_args: Any, **_kwargs: Any) -> Any:
        """Stand in where numba is missing; the reference kernel is used then."""

        def keep(function: F) -> F:
            return function

        return keep


REACH = 0.0016  # a point whose gap is this far above its least one neither touches nor marks [rad]


@njit(cache=True, nogil=True, inline="always")
def _gap(px, py, pz, m, s, ring, coef, outward, y_floor):  # type: ignore[no-untyped-def]
    return _gap_within(px, py, pz, m, s, ring, coef, outward, y_floor, 1.0 + 1e-9)


@njit(cache=True, nogil=True, inline="always")
def _gap_within(px, py, pz, m, s, ring, coef, outward, y_floor, edge):  # type: ignore[no-untyped-def]
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
    gap = math.atan2(qy, qx) - theta
    if gap > math.pi:
        gap -= 2.0 * math.pi
    elif gap < -math.pi:
        gap += 2.0 * math.pi
    return outward * gap, x, y


@njit(cache=True, nogil=True)
def _refine(before, best, after):  # type: ignore[no-untyped-def]
    if not (math.isfinite(before) and math.isfinite(after) and math.isfinite(best)):
        return best
    bend = before - 2.0 * best + after
    if bend <= 0.0:
        return best
    return best - (before - after) ** 2 / (8.0 * bend)


@njit(cache=True, nogil=True)
def _vertex(before, best, after):  # type: ignore[no-untyped-def]
    if not (math.isfinite(before) and math.isfinite(after) and math.isfinite(best)):
        return 0.0
    bend = before - 2.0 * best + after
    if bend <= 0.0:
        return 0.0
    return min(max((before - after) / (2.0 * bend), -0.5), 0.5)


@njit(cache=True, nogil=True)
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
    stored = np.full((nx, ny, window), np.inf)
    start = np.zeros((nx, ny), np.int64)
    curve = np.full(n, np.inf)
    columns = np.full((nx, n), np.inf)
    path = np.zeros((n, 2))
    path_gap = np.full(n, np.inf)
    row_shift = np.zeros((nx, n))
    column = np.empty((n, ny))
    wide = np.empty(n)
    edge = 1.0 + margin
    for a in range(nx):
        column[:, :] = np.inf
        for b in range(ny):
            if not valid[b, a]:
                continue
            px, py, pz = points[b, a, 0], points[b, a, 1], points[b, a, 2]
            k0 = min(max(first[b, a], 0), n - 1)
            lo = k0
            hi = k0
            g0, x0, y0 = _gap_within(px, py, pz, matrices[k0], shifts[k0], ring, coef, outward, y_floor, edge)
            wide[k0] = g0
            best = g0
            inside = abs(x0) <= 1.0 + 1e-9 and y0 <= 1.0 + 1e-9
            if inside:
                column[k0, b] = g0
            if inside and g0 < path_gap[k0]:
                path_gap[k0] = g0
                path[k0, 0] = x0
                path[k0, 1] = y0
            up = True
            down = True
            beyond_up = 0
            beyond_down = 0
            while up or down:
                if up:
                    if hi + 1 >= n or hi + 1 - lo >= window:
                        up = False
                    else:
                        hi += 1
                        g, x, y = _gap_within(
                            px, py, pz, matrices[hi], shifts[hi], ring, coef, outward, y_floor, edge
                        )
                        wide[hi] = g
                        inside = abs(x) <= 1.0 + 1e-9 and y <= 1.0 + 1e-9
                        if inside:
                            column[hi, b] = g
                        if inside and g < path_gap[hi]:
                            path_gap[hi] = g
                            path[hi, 0] = x
                            path[hi, 1] = y
                        if g < best:
                            best = g
                            beyond_up = 0
                        elif g > best + reach:
                            beyond_up += 1
                            if math.isfinite(best) or beyond_up > 4:
                                up = False
                if down:
                    if lo - 1 < 0 or hi - (lo - 1) >= window:
                        down = False
                    else:
                        lo -= 1
                        g, x, y = _gap_within(
                            px, py, pz, matrices[lo], shifts[lo], ring, coef, outward, y_floor, edge
                        )
                        wide[lo] = g
                        inside = abs(x) <= 1.0 + 1e-9 and y <= 1.0 + 1e-9
                        if inside:
                            column[lo, b] = g
                        if inside and g < path_gap[lo]:
                            path_gap[lo] = g
                            path[lo, 0] = x
                            path[lo, 1] = y
                        if g < best:
                            best = g
                            beyond_down = 0
                        elif g > best + reach:
                            beyond_down += 1
                            if math.isfinite(best) or beyond_down > 4:
                                down = False
            start[a, b] = lo
            for k in range(lo, hi + 1):
                stored[a, b, k - lo] = wide[k]
        for k in range(n):
            jb = 0
            low = np.inf
            for b in range(ny):
                if column[k, b] < low:
                    low = column[k, b]
                    jb = b
            if 0 < jb < ny - 1:
                row_shift[a, k] = _vertex(column[k, jb - 1], low, column[k, jb + 1])
                low = _refine(column[k, jb - 1], low, column[k, jb + 1])
            columns[a, k] = low
    for k in range(n):
        ia = 0
        low = np.inf
        for a in range(nx):
            if columns[a, k] < low:
                low = columns[a, k]
                ia = a
        path[k, 1] += row_shift[ia, k] * spacing[1]
        if 0 < ia < nx - 1:
            path[k, 0] += _vertex(columns[ia - 1, k], low, columns[ia + 1, k]) * spacing[0]
            low = _refine(columns[ia - 1, k], low, columns[ia + 1, k])
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
            for w in range(window):
                if lo + w >= n:
                    break
                g = stored[a, b, w] - lowest[lo + w]
                if g < low:
                    low = g
                    kb = w
            if kb < 0:
                at_x[b, a] = 0.0
                at_y[b, a] = 0.0
                continue
            k = lo + kb
            step = 0.0
            if 0 < kb < window - 1 and k + 1 < n:
                vm = stored[a, b, kb - 1] - lowest[k - 1]
                vp = stored[a, b, kb + 1] - lowest[k + 1]
                if math.isfinite(vm) and math.isfinite(vp):
                    bend = vm - 2.0 * low + vp
                    if bend > 1e-300:
                        step = min(max((vm - vp) / (2.0 * bend), -1.0), 1.0)
                        low -= (vm - vp) ** 2 / (8.0 * bend)
            nearest[b, a] = low * lever[b, a]
            px, py, pz = points[b, a, 0], points[b, a, 1], points[b, a, 2]
            g, x, y = _gap_within(px, py, pz, matrices[k], shifts[k], ring, coef, outward, y_floor, edge)
            if step != 0.0:
                k2 = k + 1 if step > 0 else k - 1
                g, x2, y2 = _gap_within(
                    px, py, pz, matrices[k2], shifts[k2], ring, coef, outward, y_floor, edge
                )
                x += abs(step) * (x2 - x)
                y += abs(step) * (y2 - y)
            at_x[b, a] = x
            at_y[b, a] = y
    return curve, lowest, nearest, at_x, at_y, path, path_gap


def ring_parameters(flank: FlankMesh) -> Array:
    """Pack what the kernel needs of the ring-gear tooth into one array."""
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


def roll_pair(
    flank: FlankMesh, points: Array, matrices: Array, shifts: Array, y_floor: float
) -> tuple[Array, Array, Array, Array, Array, Array]:
    """Roll one flank pair; see `reference` for each result.

    Returns
    -------
    curve, lowest : array, shape (n,)
    nearest, at_x, at_y : array, shape (ny, nx)
    path : array, shape (n, 2)
    """
    step = flank.roll[1] - flank.roll[0]
    first = np.rint((flank.contact_roll - flank.roll[0]) / step).astype(np.int64)
    curve, lowest, nearest, at_x, at_y, path, _ = _roll(
        points,
        flank.valid,
        first,
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
