"""Compiled kernels of rolling under load: column gaps, load sharing over the pairs, marks.

`loaded_reference` does the same in NumPy and is the oracle.
"""

from __future__ import annotations

import math

import numpy as np

from axlewright.contact.complementarity import solve_complementarity
from axlewright.contact.kernel import EDGE, QUICK, angle_beside, njit, standing, turn_to_touch


@njit(cache=True, nogil=True)
def column_gaps(  # type: ignore[no-untyped-def]
    points, valid, first, matrices, shifts, ring, coef, outward, y_floor, half, reach
):
    """Return the least gap of each column at each roll angle, its row and its bend (−1 at an edge)."""
    ny, nc = first.shape
    n = matrices.shape[0]
    least = np.full((nc, n), np.inf)
    row = np.zeros((nc, n))
    bend = np.full((nc, n), -1.0)
    column = np.empty((ny, n))
    reached = np.zeros((ny, 2), np.int64)
    for a in range(nc):
        column[:, :] = np.inf
        _fill(
            column,
            reached,
            a,
            points,
            valid,
            first,
            matrices,
            shifts,
            ring,
            coef,
            outward,
            y_floor,
            half,
            reach,
        )
        for k in range(n):
            low, at, curve = _column_least(column, k)
            least[a, k] = low
            row[a, k] = at
            bend[a, k] = curve
    return least, row, bend


@njit(cache=True, nogil=True, fastmath=QUICK)
def _fill(  # type: ignore[no-untyped-def]
    column, reached, a, points, valid, first, matrices, shifts, ring, coef, outward, y_floor, half, reach
):
    ny, n = column.shape
    for b in range(ny):
        if not valid[b, a]:
            continue
        px, py, pz = points[b, a, 0], points[b, a, 1], points[b, a, 2]
        k0 = min(max(first[b, a], 0), n - 1)
        best = np.inf
        angle = 0.0
        cosine = 0.0
        sine = 0.0
        reached[b, 0] = k0
        reached[b, 1] = k0
        for side in range(2):
            step = 1 if side == 0 else -1
            k = k0 if side == 0 else k0 - 1
            while 0 <= k < n and abs(k - first[b, a]) <= half:
                qx, qy, r, x, y = standing(px, py, pz, matrices, shifts, k, ring)
                if x > EDGE or x < -EDGE or y > EDGE or y < y_floor:
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
                column[b, k] = g
                reached[b, 1 - side] = k
                if g < best:
                    best = g
                elif g > best + reach and math.isfinite(best):
                    break
                k += step


@njit(cache=True, nogil=True)
def _column_least(column, k):  # type: ignore[no-untyped-def]
    ny = column.shape[0]
    low = np.inf
    jb = 0
    for b in range(ny):
        if column[b, k] < low:
            low = column[b, k]
            jb = b
    at = float(jb)
    curve = -1.0
    if 0 < jb < ny - 1:
        before, after = column[jb - 1, k], column[jb + 1, k]
        if math.isfinite(before) and math.isfinite(after):
            c = before - 2.0 * low + after
            if c > 0.0:
                at += 0.5 * (before - after) / c
                low -= (before - after) ** 2 / (8.0 * c)
                curve = c
    return low, at, curve


@njit(cache=True, nogil=True)
def share_load(  # type: ignore[no-untyped-def]
    least, row, bend, place, lever, radius, across, depth, edge_weight, influence, weights,
    per_pitch, phases, torque, limit, modulus, a1, poisson_term,
    force, displacement, flat, pressure, line, twist, iterations,
):  # fmt: skip
    """Share the torque at every roll angle of one pitch; fills the last seven arrays."""
    nc, n = least.shape
    ny, nq = weights.shape
    pairs = (n + per_pitch - 1) // per_pitch
    cap = nc * pairs
    col = np.empty(cap, np.int64)
    at = np.empty(cap, np.int64)
    wy = np.empty((cap, nq))
    arm = np.empty(cap)
    gap = np.empty(cap)
    c0 = np.empty(cap)
    cell = np.empty(cap)
    R = np.empty(cap)
    guess = np.empty(cap)
    for s in range(len(phases)):
        phase = phases[s]
        low = np.inf
        for k in range(phase, n, per_pitch):
            for a in range(nc):
                low = min(low, least[a, k])
        m = 0
        for k in range(phase, n, per_pitch):
            for a in range(nc):
                if not (least[a, k] < low + limit) or edge_weight[a] <= 0.0:
                    continue
                b = min(int(row[a, k]), ny - 2)
                t = row[a, k] - b
                for q in range(nq):
                    wy[m, q] = (1.0 - t) * weights[b, q] + t * weights[b + 1, q]
                arm[m] = (1.0 - t) * lever[b, a] + t * lever[b + 1, a]
                gap[m] = least[a, k]
                nominal = (1.0 - t) * radius[b, a] + t * radius[b + 1, a]
                R[m] = nominal
                if bend[a, k] > 0.0:
                    found = ((1.0 - t) * across[b, a] + t * across[b + 1, a]) / (bend[a, k] * arm[m])
                    R[m] = min(max(found, 0.3 * nominal), 3.0 * nominal)
                d = (1.0 - t) * depth[b, a] + t * depth[b + 1, a]
                c0[m] = 2.0 * math.log(d * math.pi * modulus / R[m]) - poisson_term
                cell[m] = _cell(a, k, least, row, place, edge_weight)
                col[m] = a
                at[m] = k
                before = 0.0
                if s > 0 and k > 0:
                    before = force[a, k - (phase - phases[s - 1])] if k >= phase - phases[s - 1] else 0.0
                guess[m] = before
                m += 1
        if m == 0:
            iterations[s] = -2
            continue
        C = np.zeros((m, m))
        for i in range(m):
            for j in range(i + 1):
                if at[i] != at[j]:
                    continue
                value = 0.0
                for p in range(nq):
                    part = 0.0
                    for q in range(nq):
                        part += influence[col[i], col[j], p, q] * wy[j, q]
                    value += wy[i, p] * part
                C[i, j] = value
                C[j, i] = value
        forces = guess[:m].copy()
        turn, u, took = solve_complementarity(C, arm[:m], gap[:m], c0[:m], a1, cell[:m], torque, forces)
        if took < 0:
            forces[:] = 0.0
            turn, u, took = solve_complementarity(C, arm[:m], gap[:m], c0[:m], a1, cell[:m], torque, forces)
        iterations[s] = took
        twist[phase] = turn
        for i in range(m):
            a, k = col[i], at[i]
            force[a, k] = forces[i]
            displacement[a, k] = u[i]
            f = max(forces[i], 0.0) / cell[i]
            line[a, k] = f
            half = math.sqrt(4.0 * f * R[i] / (math.pi * modulus))
            flat[a, k] = half * half / (2.0 * R[i])
            pressure[a, k] = math.sqrt(f * modulus / (math.pi * R[i]))


@njit(cache=True, nogil=True)
def _cell(a, k, least, row, place, edge_weight):  # type: ignore[no-untyped-def]
    """Return the length of contact line that column `a` stands for [mm]."""
    nc = least.shape[0]
    ny = place.shape[0]
    lo = a - 1 if a > 0 and math.isfinite(least[a - 1, k]) else a
    hi = a + 1 if a < nc - 1 and math.isfinite(least[a + 1, k]) else a
    length = 0.0
    if lo == hi:
        b = min(int(row[a, k]), ny - 2)
        other = a + 1 if a < nc - 1 else a - 1
        for axis in range(3):
            length += (place[b, other, axis] - place[b, a, axis]) ** 2
        return math.sqrt(length) * edge_weight[a]
    for axis in range(3):
        ends = 0.0
        for e in range(2):
            c = hi if e == 0 else lo
            b = min(int(row[c, k]), ny - 2)
            t = row[c, k] - b
            value = (1.0 - t) * place[b, c, axis] + t * place[b + 1, c, axis]
            ends = ends + value if e == 0 else ends - value
        length += ends * ends
    return math.sqrt(length) / (hi - lo) * edge_weight[a]


@njit(cache=True, nogil=True)
def relieved_gap(extra, flat):  # type: ignore[no-untyped-def]
    """Return the gap beside a flattened line from the unloaded gap there; flat = b²/(2R) [mm]."""
    if extra <= flat:
        return 0.0
    if flat <= 1e-12:
        return extra
    xi = math.sqrt(extra / flat)
    root = math.sqrt(xi * xi - 1.0)
    return flat * (xi * root - math.log(xi + root))


@njit(cache=True, nogil=True)
def loaded_marks(  # type: ignore[no-untyped-def]
    points, valid, first, lever, matrices, shifts, ring, coef, outward, y_floor, half, reach,
    twist, displacement, flat, offset, stride, per_pitch,
):  # fmt: skip
    """Return how near each pinion point comes under load [mm], and where on the ring gear that is."""
    ny, nx = first.shape
    n = matrices.shape[0]
    nc = displacement.shape[0]
    nearest = np.full((ny, nx), np.inf)
    at_x = np.zeros((ny, nx))
    at_y = np.zeros((ny, nx))
    column = np.empty((ny, n))
    reached = np.zeros((ny, 2), np.int64)
    low = np.empty(n)
    for a in range(nx):
        place = (a - offset) / stride
        if place < -1e-9 or place > nc - 1 + 1e-9:
            continue
        c = min(max(int(place), 0), nc - 2)
        t = place - c
        column[:, :] = np.inf
        _fill(
            column,
            reached,
            a,
            points,
            valid,
            first,
            matrices,
            shifts,
            ring,
            coef,
            outward,
            y_floor,
            half,
            reach,
        )
        for k in range(n):
            low[k], _at, _curve = _column_least(column, k)
        for b in range(ny):
            if not valid[b, a]:
                continue
            best = np.inf
            kb = -1
            for k in range(reached[b, 0], reached[b, 1] + 1):
                g = column[b, k]
                if not math.isfinite(g):
                    continue
                u = (1.0 - t) * displacement[c, k] + t * displacement[c + 1, k]
                if lever[b, a] * (low[k] - twist[k % per_pitch]) + u >= best:
                    continue  # the flattened gap only adds to this
                s = _separation(g, low[k], twist[k % per_pitch], lever[b, a], displacement, flat, c, t, k)
                if s < best:
                    best = s
                    kb = k
            if kb < 0:
                k0 = min(max(first[b, a], 0), n - 1)
                px, py, pz = points[b, a, 0], points[b, a, 1], points[b, a, 2]
                _qx, _qy, _r, x, y = standing(px, py, pz, matrices, shifts, k0, ring)
                at_x[b, a] = x
                at_y[b, a] = y
                continue
            v0 = best
            step = 0.0
            if 0 < kb < n - 1 and math.isfinite(column[b, kb - 1]) and math.isfinite(column[b, kb + 1]):
                vm = _separation(
                    column[b, kb - 1], low[kb - 1], twist[(kb - 1) % per_pitch], lever[b, a],
                    displacement, flat, c, t, kb - 1,
                )  # fmt: skip
                vp = _separation(
                    column[b, kb + 1], low[kb + 1], twist[(kb + 1) % per_pitch], lever[b, a],
                    displacement, flat, c, t, kb + 1,
                )  # fmt: skip
                bend = vm - 2.0 * v0 + vp
                if bend > 1e-12:
                    step = min(max((vm - vp) / (2.0 * bend), -1.0), 1.0)
                    best = v0 - (vm - vp) ** 2 / (8.0 * bend)
            nearest[b, a] = best
            px, py, pz = points[b, a, 0], points[b, a, 1], points[b, a, 2]
            _qx, _qy, _r, x, y = standing(px, py, pz, matrices, shifts, kb, ring)
            if step != 0.0:
                k2 = kb + 1 if step > 0 else kb - 1
                _qx, _qy, _r, x2, y2 = standing(px, py, pz, matrices, shifts, k2, ring)
                x += abs(step) * (x2 - x)
                y += abs(step) * (y2 - y)
            at_x[b, a] = x
            at_y[b, a] = y
    return nearest, at_x, at_y


@njit(cache=True, nogil=True, inline="always")
def _separation(g, low, twist, lever, displacement, flat, c, t, k):  # type: ignore[no-untyped-def]
    u = (1.0 - t) * displacement[c, k] + t * displacement[c + 1, k]
    f = (1.0 - t) * flat[c, k] + t * flat[c + 1, k]
    return lever * (low - twist) + u + relieved_gap(lever * (g - low), f)
