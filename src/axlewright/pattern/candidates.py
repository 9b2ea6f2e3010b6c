"""Areas that could be the mark: from two classes fitted from several starts, and from cuts at levels."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


def _basis(rows: int, cols: int, shade: Mask | None) -> Array:
    """Return the smooth fields light may follow, shape (rows * cols, n); a shade has its own slope."""
    x, y = np.meshgrid(np.linspace(-1, 1, cols), np.linspace(-1, 1, rows))
    fields = [x, y, x * x, x * y, y * y, x * x * y, x * y * y]
    if shade is not None:
        s = shade.astype(float)
        fields += [s, s * x, s * y]
    return np.stack(fields, -1).reshape(rows * cols, -1)


def moments(f: Array, w: Array) -> tuple[Array, Array]:
    total = w.sum() + 1e-9
    mean = (w[:, None] * f).sum(0) / total
    d = f - mean
    return mean, (w[:, None] * d).T @ d / total


def _starts(f: Array, rows: int, cols: int, use: Array, basis: Array) -> tuple[list[Array], list[Array]]:
    """Return first guesses of the marked area, and lines to cut at any level, each shape (rows * cols,)."""
    x, y = (v.ravel() for v in np.meshgrid(np.linspace(-1, 1, cols), np.linspace(-1, 1, rows)))
    B = np.column_stack([np.ones(len(f)), basis])
    flat = f.copy()
    w = use[:, None]
    coef, *_ = np.linalg.lstsq(B * w, f[:, :1] * w, rcond=None)
    flat[:, :1] -= B @ coef
    out = []
    # Ellipses of several places and sizes: the one that parts the features best.
    masks = np.stack([
        ((x - cx) / a) ** 2 + ((y - cy) / b) ** 2 < 1
        for cx in np.linspace(-0.6, 0.6, 7) for cy in np.linspace(-0.6, 0.6, 5)
        for a, b in ((0.35, 0.35), (0.5, 0.45), (0.65, 0.7))
    ]).astype(float) * use  # fmt: skip
    for data in (f, flat):
        inside = np.maximum(masks.sum(1, keepdims=True), 1.0)
        all_count = use.sum()
        total = use @ data
        mi = masks @ data / inside
        mo = (total - masks @ data) / (all_count - inside)
        _, cov = moments(data, use)
        delta = mi - mo
        share = inside[:, 0] / all_count
        between = np.einsum("ni,ij,nj->n", delta, np.linalg.inv(cov + np.eye(3)), delta) * share * (1 - share)
        for k in np.argsort(between)[::-1][:1]:
            out.append(masks[k])
    # Two clusters along the main direction of colour, and along lightness.
    cd = f[:, 1:] - np.median(f[use > 0, 1:], axis=0)
    values, vectors = np.linalg.eigh((cd * w).T @ cd / use.sum())
    main = cd @ vectors[:, int(np.argmax(values))]
    for line in (main, flat[:, 0]):
        low, high = np.percentile(line[use > 0], [10, 90])
        for _ in range(12):
            cut = 0.5 * (low + high)
            a, b = line[(use > 0) & (line < cut)], line[(use > 0) & (line >= cut)]
            if len(a) == 0 or len(b) == 0:
                break
            low, high = float(a.mean()), float(b.mean())
        out.append((line > 0.5 * (low + high)).astype(float))
    return out, [main, flat[:, 0]]


def _classes(f: Array, start: Array, rows: int, cols: int, use: Array, basis: Array) -> Array:
    """Fit two Gaussian classes with a smooth field in lightness; return the share of the start's class."""
    r = np.clip(start, 0.02, 0.98)
    B = basis
    g = f.copy()
    ridge = np.diag([4.0, 4.0, 4.0])
    for step in range(10):
        stats = []
        for w in (r * use, (1 - r) * use):
            m, c = moments(g, w)
            stats.append((m, c + ridge, w.sum() / use.sum()))
        logs = []
        for m, c, share in stats:
            d = g - m
            inv = np.linalg.inv(c)
            logs.append(
                np.log(share + 1e-6) - 0.5 * np.linalg.slogdet(c)[1]
                - 0.5 * np.minimum(((d @ inv) * d).sum(1), 18.0)
            )  # fmt: skip
        odds = (logs[0] - logs[1]) * use
        field = ndimage.gaussian_filter(np.clip(odds, -6, 6).reshape(rows, cols), 1.5)
        r = 1.0 / (1.0 + np.exp(-np.clip(1.6 * field.ravel(), -30, 30)))
        if step % 2 == 1:
            # Field of light: what is left of lightness after the class means, smooth over the flank.
            expected = r * stats[0][0][0] + (1 - r) * stats[1][0][0]
            rest = f[:, 0] - expected
            weight = use * (0.2 + np.abs(2 * r - 1))
            miss = rest - np.median(rest[use > 0])
            weight = weight / (1.0 + (miss / 12.0) ** 2)
            BB = np.column_stack([np.ones(len(B)), B])
            A = (BB * weight[:, None]).T @ BB + np.diag([1e-6] + [25.0] * B.shape[1])
            coef = np.linalg.solve(A, (BB * weight[:, None]).T @ rest)
            g[:, 0] = f[:, 0] - B @ coef[1:]
    return r


def main_areas(r: Array, rows: int, cols: int) -> Mask:
    """Return the main connected area of a soft area, holes filled."""
    area = ndimage.binary_opening(r.reshape(rows, cols) > 0.5, iterations=1)
    labels, count = ndimage.label(area)
    if count == 0:
        return np.zeros((rows, cols), bool)
    sizes = ndimage.sum_labels(np.ones_like(labels), labels, np.arange(1, count + 1))
    keep = np.flatnonzero(sizes >= 0.12 * sizes.max()) + 1
    return np.asarray(ndimage.binary_fill_holes(np.isin(labels, keep)))


def candidates(f3: Array, known: Mask, shade: Mask | None) -> list[Mask]:
    """Return candidates of the marked area on a coarse grid."""
    rows, cols = known.shape
    f = f3.reshape(-1, 3)
    use = known.ravel().astype(float)
    basis = _basis(rows, cols, shade)
    starts, lines = _starts(f, rows, cols, use, basis)
    weight = known.astype(float)
    near = ndimage.gaussian_filter(lines[-1].reshape(rows, cols) * weight, (9, 16))
    near /= np.maximum(ndimage.gaussian_filter(weight, (9, 16)), 1e-3)
    lines.append(lines[-1] - near.ravel())
    out: list[Mask] = []
    for line in lines:
        out += _islands(line.reshape(rows, cols), known)
    for start in starts:
        r = _classes(f, start, rows, cols, use, basis)
        out += [main_areas(r, rows, cols), main_areas(1 - r, rows, cols)]
    return [m for m in out if m.any() and not m.all()]


def _islands(line: Array, known: Mask) -> list[Mask]:
    """Return the compact areas above or below any of a row of levels."""
    weight = known.astype(float)
    norm = ndimage.gaussian_filter(weight, 1.2)
    soft = ndimage.gaussian_filter(line * weight, 1.2) / np.maximum(norm, 1e-3)
    out = []
    for level in np.percentile(soft[known], np.linspace(6, 94, 15)):
        for side in (soft > level, soft < level):
            labels, count = ndimage.label(ndimage.binary_opening(side, iterations=1))
            if count == 0:
                continue
            sizes = ndimage.sum_labels(np.ones_like(labels), labels, np.arange(1, count + 1))
            for k in np.argsort(sizes)[::-1][:2]:
                if sizes[k] > 0.02 * line.size:
                    out.append(np.asarray(ndimage.binary_fill_holes(labels == k + 1)))
    return out
