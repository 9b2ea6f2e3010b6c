"""Rolling under load in plain NumPy and SciPy: the oracle of the compiled kernels, and their stand-in.

The complementarity problem is solved by other means than in `loaded_kernel`: for a given twist it is a
non-negative least-squares problem (Lawson and Hanson) on the Cholesky factor of the compliance, the
logarithm of the flattening law is iterated, and the twist is found by bracketing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular
from scipy.optimize import brentq, nnls

from axlewright.contact import reference

if TYPE_CHECKING:
    from axlewright.contact.loaded_setup import LoadedFlank
    from axlewright.contact.mesh import FlankMesh

Array = NDArray[np.float64]

SMALLEST_LOAD = 1e-3  # as in the compiled kernel [N/mm]


def _least(gap: Array) -> tuple[Array, Array, Array]:
    """Return least gap, row and bend over the last axis but one; gap is (n, ny, nc), results (nc, n)."""
    n, ny, nc = gap.shape
    k = np.argmin(gap, axis=1)
    K, C = np.meshgrid(np.arange(n), np.arange(nc), indexing="ij")
    low = gap[K, k, C]
    before = gap[K, np.clip(k - 1, 0, ny - 1), C]
    after = gap[K, np.clip(k + 1, 0, ny - 1), C]
    fine = (k > 0) & (k < ny - 1) & np.isfinite(low) & np.isfinite(before) & np.isfinite(after)
    with np.errstate(invalid="ignore"):
        curve = np.where(fine, before - 2.0 * low + after, -1.0)
        fine &= curve > 0.0
        safe = np.where(fine, curve, 1.0)
        row = k + np.where(fine, 0.5 * (before - after) / safe, 0.0)
        low = np.where(fine, low - (before - after) ** 2 / (8.0 * safe), low)
    return low.T.copy(), row.T.copy(), np.where(fine, curve, -1.0).T.copy()


def column_gaps(
    ready: LoadedFlank, pair: FlankMesh, points: Array, matrices: Array, shifts: Array, floor: float
) -> tuple[Array, Array, Array]:
    """Return least gap [rad], row and bend of the coarse columns, each shape (nc, nroll)."""
    gap, _, _ = reference.gaps(pair, points, matrices, shifts, floor)
    return _least(gap[:, :, ready.columns])


def solve_complementarity(
    C: Array, lever: Array, gap: Array, c0: Array, a1: float, cell: Array, torque: float
) -> tuple[float, Array, Array]:
    """Return twist [rad], forces [N] and displacements [mm]; arguments as in the compiled kernel."""

    def secant(force: Array) -> Array:
        f = np.maximum(force / cell, SMALLEST_LOAD)
        return np.asarray(a1 / cell * np.maximum(c0 - 2.0 * np.log(f), 1.0))

    def at(twist: float, start: Array) -> Array:
        force = start
        for _ in range(60):
            M = C + np.diag(secant(force))
            L = np.linalg.cholesky(M)
            target = solve_triangular(L, lever * (twist - gap), lower=True)
            new, _ = nnls(L.T, target, maxiter=50 * len(lever))
            step = float(np.abs(new - force).max())
            force = new
            if step < 1e-12 * max(1.0, float(force.max())):
                break
        return force

    guess = np.full(len(lever), torque / lever.mean() / len(lever))
    kept = guess

    def miss(twist: float) -> float:
        nonlocal kept
        kept = at(twist, guess)
        return float(lever @ kept) / torque - 1.0

    low = float(gap.min())
    high = low + 1e-5
    while miss(high) < 0.0:
        high = low + 2.0 * (high - low)
    twist = float(brentq(miss, low, high, xtol=1e-15, rtol=1e-15))
    force = at(twist, guess)
    return twist, force, C @ force + np.where(force > 0.0, secant(force) * force, 0.0)


def share_load(
    least: Array, row: Array, bend: Array, place: Array, lever: Array, radius: Array, across: Array,
    depth: Array, weight: Array, influence: Array, weights: Array, per_pitch: int,
    phases: NDArray[np.int64], torque: float, limit: float, modulus: float, a1: float, poisson_term: float,
    force: Array, displacement: Array, flat: Array, pressure: Array, line: Array, twist: Array,
    iterations: Any,
) -> None:  # fmt: skip
    """Share the torque at every roll angle of one pitch; fills the last seven arrays."""
    n = least.shape[1]
    ny = len(weights)
    for s, phase in enumerate(phases):
        ks = np.arange(phase, n, per_pitch)
        here = least[:, ks]
        picked = (here < here.min() + limit) & (weight > 0.0)[:, None]
        at, a = np.nonzero(picked.T)
        k = ks[at]
        b = np.minimum(row[a, k].astype(np.intp), ny - 2)
        t = row[a, k] - b

        def between(values: Array, b: Any = b, t: Array = t, a: Any = a) -> Array:
            return np.asarray((1 - t) * values[b, a] + t * values[b + 1, a])

        wy = (1 - t)[:, None] * weights[b] + t[:, None] * weights[b + 1]
        arm, R = between(lever), between(radius)
        found = between(across) / np.where(bend[a, k] > 0.0, bend[a, k] * arm, 1.0)
        R = np.where(bend[a, k] > 0.0, np.clip(found, 0.3 * R, 3.0 * R), R)
        c0 = 2.0 * np.log(between(depth) * np.pi * modulus / R) - poisson_term
        cell = np.array([_cell(int(i), int(j), least, row, place, weight) for i, j in zip(a, k, strict=True)])
        table = influence[a[:, None], a[None, :]]
        C = np.einsum("ip,ijpq,jq->ij", wy, table, wy, optimize=True) * (k[:, None] == k[None, :])
        turn, forces, u = solve_complementarity(0.5 * (C + C.T), arm, least[a, k], c0, a1, cell, torque)
        iterations[s] = 1
        twist[phase] = turn
        force[a, k] = forces
        displacement[a, k] = u
        f = forces / cell
        line[a, k] = f
        flat[a, k] = 2.0 * f / (np.pi * modulus)
        pressure[a, k] = np.sqrt(f * modulus / (np.pi * R))


def _cell(a: int, k: int, least: Array, row: Array, place: Array, weight: Array) -> float:
    nc, ny = least.shape[0], place.shape[0]
    lo = a - 1 if a > 0 and np.isfinite(least[a - 1, k]) else a
    hi = a + 1 if a < nc - 1 and np.isfinite(least[a + 1, k]) else a

    def point(c: int) -> Array:
        b = min(int(row[c, k]), ny - 2)
        t = row[c, k] - b
        return np.asarray((1 - t) * place[b, c] + t * place[b + 1, c])

    if lo == hi:
        b = min(int(row[a, k]), ny - 2)
        other = a + 1 if a < nc - 1 else a - 1
        return float(np.linalg.norm(place[b, other] - place[b, a]) * weight[a])
    return float(np.linalg.norm(point(hi) - point(lo)) / (hi - lo) * weight[a])


def relieved_gap(extra: Array, flat: Array) -> Array:
    """Return the gap beside a flattened line from the unloaded gap there; flat = b²/(2R) [mm]."""
    pressed = flat > 1e-12
    safe = np.where(pressed, flat, 1.0)
    xi = np.sqrt(np.maximum(extra / safe, 1.0))
    bent = safe * (xi * np.sqrt(np.maximum(xi * xi - 1.0, 0.0)) - np.arccosh(xi))
    return np.where(extra <= flat, 0.0, np.where(pressed, bent, extra))


def loaded_marks(
    ready: LoadedFlank, points: Array, matrices: Array, shifts: Array, floor: float, twist: Array,
    displacement: Array, flat: Array,
) -> tuple[Array, Array, Array]:  # fmt: skip
    """Return how near each pinion point comes under load [mm], and where on the ring gear that is."""
    pair = ready.pair
    gap, x, y = reference.gaps(pair, points, matrices, shifts, floor)
    n, _, nx = gap.shape
    low = _least(gap)[0].T[:, None, :]
    nc = len(ready.x)
    place = (np.arange(nx) - ready.offset) / ready.stride
    c = np.clip(place.astype(np.intp), 0, nc - 2)
    t = (place - c)[:, None]
    u = ((1 - t) * displacement[c] + t * displacement[c + 1]).T[:, None, :]
    f = ((1 - t) * flat[c] + t * flat[c + 1]).T[:, None, :]
    alpha = twist[np.arange(n) % pair.per_pitch][:, None, None]
    off = (place < -1e-9) | (place > nc - 1 + 1e-9)
    finite = np.isfinite(gap) & ~off
    with np.errstate(invalid="ignore"):
        extra = np.where(finite, pair.lever * (gap - low), 0.0)
        base = np.where(finite, pair.lever * (low - alpha), np.inf)
    separation = np.where(finite, base + u + relieved_gap(extra, np.broadcast_to(f, extra.shape)), np.inf)
    step = pair.roll[1] - pair.roll[0]
    first = np.clip(np.rint((pair.contact_roll - pair.roll[0]) / step).astype(np.intp), 0, n - 1)
    k = np.where(np.isfinite(separation).any(axis=0), np.argmin(separation, axis=0), first)

    def pick(values: Array, shift: int) -> Array:
        return np.asarray(np.take_along_axis(values, np.clip(k + shift, 0, n - 1)[None], 0)[0])

    v0, vm, vp = pick(separation, 0), pick(separation, -1), pick(separation, 1)
    fine = (k > 0) & (k < n - 1) & np.isfinite(v0) & np.isfinite(vm) & np.isfinite(vp)
    with np.errstate(invalid="ignore"):
        curve = np.where(fine, vm - 2.0 * v0 + vp, 0.0)
        fine &= curve > 1e-12
        safe = np.where(fine, curve, 1.0)
        move = np.where(fine, np.clip((vm - vp) / (2.0 * safe), -1.0, 1.0), 0.0)
        nearest = np.where(fine, v0 - (vm - vp) ** 2 / (8.0 * safe), v0)
    size = np.abs(move)
    at_x = pick(x, 0) * (1 - size) + np.where(move >= 0, pick(x, 1), pick(x, -1)) * size
    at_y = pick(y, 0) * (1 - size) + np.where(move >= 0, pick(y, 1), pick(y, -1)) * size
    return nearest, at_x, at_y
