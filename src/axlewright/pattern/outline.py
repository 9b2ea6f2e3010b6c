"""The outline of a mark: areas that could be it, how clear and how like a mark each is, and where it lies."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from axlewright.pattern.surface_features import tones

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


LEAST_SHAPE = 0.25
FULL_CONTRAST = 12.0
# Half of a coat of optical depth 2 hides 0.73 of what a full one does, of depth 1.5 0.68, of depth 1 0.62:
# paint is laid on thick, a print is what was carried over.
HALF_PAINT, HALF_PRINT = 0.70, 0.62
COMPLETENESS = 4.0  # how strongly stretches of an outline without contrast speak against it
SMALL = 0.12  # share of the flank below which an area is less likely to be the mark


def rings(mask: Mask, known: Mask, width: int) -> tuple[Mask, Mask]:
    grown = ndimage.binary_dilation(mask, iterations=width)
    gap = ndimage.binary_dilation(mask, iterations=1)
    core = ndimage.binary_erosion(mask, iterations=1, border_value=1)
    shrunk = ndimage.binary_erosion(mask, iterations=width, border_value=1)
    return core & ~shrunk & known, grown & ~gap & known


def clearest_direction(f: Array, mask: Mask, known: Mask, width: int) -> Array:
    """Return the direction in which the features differ most clearly across an outline, shape (3,)."""
    inner, outer = rings(mask, known, width)
    if inner.sum() < 12 or outer.sum() < 12:
        return np.zeros(3)
    mi, ci = moments(f[inner], np.ones(int(inner.sum())))
    mo, co = moments(f[outer], np.ones(int(outer.sum())))
    return np.asarray(np.linalg.solve(0.5 * (ci + co) + np.eye(3), mi - mo))


def likeness(mask: Mask) -> float:
    """Return 0 … 1: high for one oval of credible size that leaves the ends of the flank free."""
    share = float(mask.mean())
    if not 0.015 < share < 0.85:
        return 0.0
    border = np.concatenate([mask[0], mask[-1], mask[:, 0], mask[:, -1]])
    free = 1.0 - float(border.mean())
    rows, cols = np.nonzero(mask)
    i, j = np.indices(mask.shape)
    d = np.stack([rows - rows.mean(), cols - cols.mean()])
    (a, b), (_, c) = d @ d.T / d.shape[1] + 0.1 * np.eye(2)
    di, dj = i - rows.mean(), j - cols.mean()
    # The ellipse with the same second moments reaches to 2 standard deviations.
    oval = (c * di * di - 2 * b * di * dj + a * dj * dj) / (a * c - b * b) < 4.0
    overlap = float((oval & mask).sum() / (oval | mask).sum())
    _, pieces = ndimage.label(mask)
    score = free**1.5 * overlap**0.8 / (1.0 + 0.25 * (pieces - 1)) * min(1.0, share / SMALL) ** 0.35
    # A shadow or a lit strip runs along a whole edge; a mark hardly ever does.
    along = max(float(m.any(0).mean()) for m in (mask[:3], mask[-3:]))
    across = max(float(m.any(1).mean()) for m in (mask[:, :3], mask[:, -3:]))
    if along > 0.72 or across > 0.6:
        score *= 0.3
    return float(score)


class OutlineProbe:
    """Pairs of places on both sides along an outline, to compare features there in any view.

    Parameters
    ----------
    mask : array of bool, shape (rows, cols)
    """

    def __init__(self, mask: Mask) -> None:
        self.shape = mask.shape
        signed = ndimage.distance_transform_edt(mask) - ndimage.distance_transform_edt(~mask)
        gy, gx = np.gradient(ndimage.gaussian_filter(signed, 1.0))
        rows, cols = np.nonzero(mask & (signed <= 1.0))
        inner = (rows > 2) & (rows < mask.shape[0] - 3) & (cols > 2) & (cols < mask.shape[1] - 3)
        rows, cols = rows[inner], cols[inner]
        size = np.hypot(gx, gy)[rows, cols] + 1e-6
        ny, nx = gy[rows, cols] / size, gx[rows, cols] / size
        self.inside = np.array([rows + 2.6 * ny, cols + 2.6 * nx])
        self.outside = np.array([rows - 3.2 * ny, cols - 3.2 * nx])

    def contrast(self, f: Array, known: Mask, usual: Array) -> tuple[float, Array]:
        """Return the contrast reached along most of the outline, and the usual features on both sides.

        Both sides are compared place by place, so that light which changes along the outline does not matter.

        Parameters
        ----------
        f : array, shape (rows, cols, 3)
        known : array of bool, shape (rows, cols)
        usual : array, shape (3,)
            Unit of the contrast.

        Returns
        -------
        contrast : float
        sides : array, shape (2, 3)
            Inside, outside.
        """
        if self.inside.shape[1] < 20:
            return 0.0, np.zeros((2, 3))
        seen = np.ones(self.inside.shape[1], bool)
        values = []
        for where in (self.inside, self.outside):
            i = np.clip(np.rint(where[0]), 0, self.shape[0] - 1).astype(int)
            j = np.clip(np.rint(where[1]), 0, self.shape[1] - 1).astype(int)
            seen &= known[i, j]
            values.append(f[i, j])
        if seen.sum() < 15:
            return 0.0, np.zeros((2, 3))
        inside, outside = values[0][seen], values[1][seen]
        d = (inside - outside) / usual
        middle = np.median(d, axis=0)
        direction = middle / (np.linalg.norm(middle) + 1e-9)
        # Where one side is hidden nothing speaks for the outline.
        along = np.concatenate([d @ direction, np.zeros(int((~seen).sum()))])
        usually = float(np.median(along))
        if usually <= 0.0:
            return 0.0, np.zeros((2, 3))
        complete = float(np.mean(np.clip(along / usually, 0.0, 1.0)))
        reached = usually * complete**COMPLETENESS
        return reached, np.stack([np.median(inside, axis=0), np.median(outside, axis=0)])


Half = Callable[[Mask, Mask, Array], float]


def half_coat(light: Array, grey: bool, coat: float) -> Half:
    """Return a function that says where between outside and inside half the coat's thickness looks to be.

    The colour of a thin coat over metal is mixed from both colours as they are found in the picture; what
    share of the step that is depends on how bright they are.

    Parameters
    ----------
    light : array, shape (rows, cols, 3)
        Linear RGB.
    grey : bool
        As `tones`.
    coat : float
        +1 when the compound lies outside of the mark, −1 when inside, 0 when that is not known.
    """

    def share(inner: Mask, outer: Mask, direction: Array) -> float:
        if coat == 0.0:
            return 0.5
        inside, outside = (np.median(light[m], axis=0) for m in (inner, outer))
        paint, metal = (outside, inside) if coat > 0 else (inside, outside)
        hides = HALF_PAINT if coat > 0 else HALF_PRINT
        mixed = hides * paint + (1.0 - hides) * metal
        a, b, half = (tones(v, grey) @ direction for v in (outside, inside, mixed))
        if abs(b - a) < 1e-6:
            return 0.5
        usual = 1.0 - hides if coat > 0 else hides
        return float(np.clip((half - a) / (b - a), usual - 0.25, usual + 0.25))

    return share


def settle(f: Array, mask: Mask, known: Mask, half: Half | None = None) -> tuple[Array, Mask]:
    """Move the outline to half way between what lies just inside and just outside of it.

    Parameters
    ----------
    f : array, shape (rows, cols, 3)
    mask, known : array of bool, shape (rows, cols)
    half : callable, optional
        As `half_coat`: a coat's colour saturates with its thickness (Beer and Lambert), half the thickness
        shows more than half of it. Half way when None.

    Returns
    -------
    level : array, shape (rows, cols)
        0 … 1, 0.5 on the outline.
    mask : array of bool, shape (rows, cols)
    """
    level = mask.astype(float)
    for width, reach in ((8, 10.0), (6, 8.0), (5, 7.0)):
        direction = clearest_direction(f, mask, known, width)
        line = f @ direction
        inner, outer = rings(mask, known, width)
        if inner.sum() < 20 or outer.sum() < 20:
            break

        def local(where: Mask, reach: float = reach, line: Array = line) -> Array:
            w = where.astype(float)
            base = float(line[where].mean())
            weight = ndimage.gaussian_filter(w, reach)
            total = ndimage.gaussian_filter(w * (line - base), reach)
            return np.asarray(base + total / (weight + 0.01))

        a, b = local(outer), local(inner)
        gap = b - a
        floor = 0.35 * float(np.median(np.abs(gap)))
        gap = np.where(np.abs(gap) < floor, np.copysign(floor, np.median(gap)), gap)
        middle = 0.5 if half is None else half(inner, outer, direction)
        share = np.clip((line - a) / gap + 0.5 - middle, -0.3, 1.3)
        weight = known.astype(float)
        away = ndimage.distance_transform_edt(mask) - ndimage.distance_transform_edt(~mask)
        # Far from the outline the earlier decision stands; bridged places follow their surroundings.
        share = np.where(away > width + 2, 1.0, np.where(away < -(width + 2), 0.0, share))
        soft = 0.9
        total = ndimage.gaussian_filter(share * weight, soft)
        norm = ndimage.gaussian_filter(weight, soft)
        wide = ndimage.gaussian_filter(mask.astype(float), 2.0)
        level = np.where(norm > 0.3, total / np.maximum(norm, 1e-6), wide)
        mask = main_areas(level.ravel(), *level.shape)
        level = np.where(mask, np.maximum(level, 0.5), np.minimum(level, 0.5))
        if not mask.any():
            break
    return np.clip(level, 0.0, 1.0), mask


def edge_cells(f: Array, mask: Mask, known: Mask, reach: int = 22) -> float:
    """Return the width over which the features change from a quarter to three quarters [fine cells].

    Parameters
    ----------
    f : array, shape (rows, cols, 3)
    mask, known : array of bool, shape (rows, cols)
    reach : int
        How far from the outline is looked [fine cells].
    """
    away = ndimage.distance_transform_edt(mask) - ndimage.distance_transform_edt(~mask)
    line = f @ clearest_direction(f, mask, known, 8)
    steps = np.arange(-reach, reach + 1)
    values = np.full(len(steps), np.nan)
    for k, step in enumerate(steps):
        here = known & (np.abs(away - step) <= 0.75)
        if here.sum() >= 15:
            values[k] = float(line[here].mean())
    seen = np.isfinite(values)
    if seen.sum() < 10:
        return 1.0
    steps, values = steps[seen], ndimage.uniform_filter1d(values[seen], 3)
    low, high = float(values[:4].mean()), float(values[-4:].mean())
    if high <= low:
        return 1.0
    share = (values - low) / (high - low)
    quarter = steps[int(np.argmax(share > 0.25))]
    three = steps[int(np.argmax(share > 0.75))]
    return float(max(1.0, three - quarter))
