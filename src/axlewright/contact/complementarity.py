"""Share a torque among possible contact points: the complementarity problem at one roll angle, compiled.

Force ≥ 0, separation ≥ 0, one of them zero, Σ force × lever arm = torque. It is solved by an active-set
Newton (primal-dual active set of Hintermüller, Ito and Kunisch 2003) with the twist of the ring gear
eliminated. `loaded_reference` solves the same by other means and is the oracle.
"""

from __future__ import annotations

import math

import numpy as np

from axlewright.contact.kernel import njit

SMALLEST_LOAD = 1e-3  # line load below which the logarithm of the flattening law is held [N/mm]
ITERATIONS = 120


@njit(cache=True, nogil=True)
def solve_complementarity(C, lever, gap, c0, a1, cell, torque, force):  # type: ignore[no-untyped-def]
    """Share a torque among m possible contact points.

    Parameters: bending `C` (m, m) [mm/N]; lever arms [mm]; gaps [rad]; flattening law
    h = F/cell · a1 · (c0 − 2 ln(F/cell)); torque [N·mm]; `force` holds the first guess and the answer [N].
    Returns the twist [rad], the displacement at each point [mm], and the iterations (−1 when it failed).
    """
    m = len(lever)
    active = np.zeros(m, np.bool_)
    count = 0
    for i in range(m):
        active[i] = force[i] > 0.0
        count += active[i]
    start = torque / np.mean(lever)
    if count == 0:
        for i in range(m):
            active[i] = True
            force[i] = start / m
    u = np.zeros(m)
    index = np.empty(m, np.int64)
    L = np.empty((m, m))
    ra = np.empty(m)
    rb = np.empty(m)
    twist = 0.0
    for iteration in range(ITERATIONS):
        na = 0
        for i in range(m):
            if active[i]:
                index[na] = i
                na += 1
        if na == 0:
            return twist, u, -1
        for p in range(na):
            i = index[p]
            f = max(force[i] / cell[i], SMALLEST_LOAD)
            bracket = c0[i] - 2.0 * math.log(f)
            slope = max(bracket - 2.0, 0.5) * a1 / cell[i]
            if force[i] <= SMALLEST_LOAD * cell[i]:
                slope = bracket * a1 / cell[i]  # a straight line through nought, so that touching starts at 0
            h0 = f * bracket * a1
            for q in range(p + 1):
                L[p, q] = C[i, index[q]]
            L[p, p] += slope
            ra[p] = lever[i]
            rb[p] = lever[i] * gap[i] + h0 - slope * f * cell[i]
        # Cholesky and the two right-hand sides.
        for p in range(na):
            for q in range(p + 1):
                value = L[p, q]
                for t in range(q):
                    value -= L[p, t] * L[q, t]
                if p == q:
                    if value <= 0.0:
                        return twist, u, -1
                    L[p, p] = math.sqrt(value)
                else:
                    L[p, q] = value / L[q, q]
            va = ra[p]
            vb = rb[p]
            for t in range(p):
                va -= L[p, t] * ra[t]
                vb -= L[p, t] * rb[t]
            ra[p] = va / L[p, p]
            rb[p] = vb / L[p, p]
        for p in range(na - 1, -1, -1):
            va = ra[p]
            vb = rb[p]
            for t in range(p + 1, na):
                va -= L[t, p] * ra[t]
                vb -= L[t, p] * rb[t]
            ra[p] = va / L[p, p]
            rb[p] = vb / L[p, p]
        top = torque
        bottom = 0.0
        for p in range(na):
            top += lever[index[p]] * rb[p]
            bottom += lever[index[p]] * ra[p]
        twist = top / bottom
        change = 0.0
        dropped = 0
        worst = 0.0
        worst_at = -1
        for p in range(na):
            i = index[p]
            new = twist * ra[p] - rb[p]
            change = max(change, abs(new - force[i]))
            force[i] = new
            if new <= 0.0:
                dropped += 1
                if new < worst or worst_at < 0:
                    worst = new
                    worst_at = i
        cautious = iteration > 25
        if dropped > 0:
            for p in range(na):
                i = index[p]
                if force[i] <= 0.0 and (not cautious or i == worst_at):
                    active[i] = False
                    force[i] = 0.0
            if cautious:
                for p in range(na):
                    force[index[p]] = max(force[index[p]], 0.0)
                continue
        for i in range(m):
            value = 0.0
            for p in range(na):
                value += C[i, index[p]] * force[index[p]]
            u[i] = value
        added = 0
        worst = 0.0
        worst_at = -1
        for i in range(m):
            if active[i] or force[i] > 0.0:
                continue
            s = lever[i] * (gap[i] - twist) + u[i]
            if s < -1e-12:
                if s < worst:
                    worst = s
                    worst_at = i
                if not cautious and dropped == 0:
                    active[i] = True
                    added += 1
        if cautious and worst_at >= 0:
            active[worst_at] = True
            added = 1
        if dropped == 0 and added == 0 and change < 1e-10 * start:
            for p in range(na):
                i = index[p]
                f = max(force[i] / cell[i], SMALLEST_LOAD)
                u[i] += force[i] / cell[i] * a1 * (c0[i] - 2.0 * math.log(f))
            return twist, u, iteration + 1
    return twist, u, -1
