"""Which part of the unrolled flank is marked: two kinds of surface told apart in one photo's own light and colour.

Light and shade are slow over a flank and act on lightness alone, so colour is taken free of lightness (CIE a*, b*
at equal luminance) and lightness as a logarithm with a smooth field taken out. Two Gaussian classes are fitted
from several starts; the start whose outline shows the clearest step across it, with a compact mark clear of the
ends, wins. At last the outline is moved to half way between the surfaces just inside and just outside of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from axlewright.errors import PhotoError
from axlewright.pattern.colour import lab, luminance

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Compound = Literal["rubbed", "print", "auto"]

LEAST_CONTRAST = 1.6  # step across the outline over the scatter beside it; below it nothing can be told apart
LEAST_DIFFERENCE = 4.0  # the same step in Lab units; below it compression and noise make their own outlines
MOST_GLARE = 0.35  # share of the flank
COLOUR_LIGHT = 0.25  # luminance at which colours are compared
LIGHTNESS_SCALE = 25.0  # Lab-like units per unit of the natural logarithm of luminance


@dataclass(frozen=True, slots=True)
class Segmentation:
    """Marked area on a fine grid.

    Attributes
    ----------
    level : array, shape (rows, cols)
        0 outside … 1 inside, 0.5 on the outline; root row first, toe column first.
    known : array of bool, shape (rows, cols)
        False where glare or darkness hid the surface and the outline was bridged.
    step : float
        Contrast of the outline: step over scatter.
    difference : float
        The same step in Lab units.
    edge_cells : float
        Width of the outline from a quarter to three quarters [fine cells].
    rubbed : bool or None
        True when the mark is the less coloured (or darker) surface; None when that cannot be told.
    glare : float
        Share of the flank hidden by glare.
    """

    level: Array
    known: Mask
    step: float
    difference: float
    edge_cells: float
    rubbed: bool | None
    glare: float


def features(light: Array) -> tuple[Array, Mask, Mask]:
    """Return lightness and colour features, shape (rows, cols, 3), and where glare and darkness hide them."""
    soft = np.stack([ndimage.gaussian_filter(light[..., k], 0.8) for k in range(3)], -1)
    y = luminance(soft)
    middle = float(np.median(y)) + 1e-4
    glare = (soft.max(-1) > 0.93) & (soft.min(-1) > 0.55)
    glare |= soft.min(-1) > 0.86
    dark = y < 0.004
    floor = 0.003
    even = soft * (COLOUR_LIGHT / np.maximum(y, floor))[..., None]
    colour = lab(np.clip(even, 0.0, 2.0))
    out = np.stack([LIGHTNESS_SCALE * np.log((y + floor) / middle), colour[..., 1], colour[..., 2]], -1)
    return out, ndimage.binary_dilation(glare, iterations=1), dark


def _basis(rows: int, cols: int) -> Array:
    x, y = np.meshgrid(np.linspace(-1, 1, cols), np.linspace(-1, 1, rows))
    return np.stack([x, y, x * x, x * y, y * y, x * x * y, x * y * y], -1).reshape(-1, 7)


def _moments(f: Array, w: Array) -> tuple[Array, Array]:
    total = w.sum() + 1e-9
    mean = (w[:, None] * f).sum(0) / total
    d = f - mean
    return mean, (w[:, None] * d).T @ d / total


def _starts(f: Array, rows: int, cols: int, use: Array) -> list[Array]:
    """Return first guesses of the marked area, each shape (rows * cols,) of 0 … 1."""
    x, y = (v.ravel() for v in np.meshgrid(np.linspace(-1, 1, cols), np.linspace(-1, 1, rows)))
    B = np.column_stack([np.ones(len(f)), _basis(rows, cols)])
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
        inside = masks.sum(1, keepdims=True)
        all_count = use.sum()
        total = use @ data
        mi = masks @ data / inside
        mo = (total - masks @ data) / (all_count - inside)
        _, cov = _moments(data, use)
        delta = mi - mo
        share = inside[:, 0] / all_count
        between = np.einsum("ni,ij,nj->n", delta, np.linalg.inv(cov + np.eye(3)), delta) * share * (1 - share)
        for k in np.argsort(between)[::-1][:2]:
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
    return out


def _classes(f: Array, start: Array, rows: int, cols: int, use: Array) -> Array:
    """Fit two Gaussian classes with a smooth field in lightness; return the share of the start's class."""
    r = np.clip(start, 0.02, 0.98)
    B = _basis(rows, cols)
    g = f.copy()
    ridge = np.diag([4.0, 4.0, 4.0])
    for step in range(14):
        stats = []
        for w in (r * use, (1 - r) * use):
            m, c = _moments(g, w)
            stats.append((m, c + ridge, w.sum() / use.sum()))
        logs = []
        for m, c, share in stats:
            d = g - m
            inv = np.linalg.inv(c)
            logs.append(
                np.log(share + 1e-6) - 0.5 * np.linalg.slogdet(c)[1]
                - 0.5 * np.minimum(np.einsum("ni,ij,nj->n", d, inv, d), 18.0)
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
            A = (BB * weight[:, None]).T @ BB + np.diag([1e-6] + [25.0] * 7)
            coef = np.linalg.solve(A, (BB * weight[:, None]).T @ rest)
            g[:, 0] = f[:, 0] - B @ coef[1:]
    return r


def _blob(r: Array, rows: int, cols: int) -> Mask:
    """Return the main connected area of a soft area, holes filled."""
    area = ndimage.binary_opening(r.reshape(rows, cols) > 0.5, iterations=1)
    labels, count = ndimage.label(area)
    if count == 0:
        return np.zeros((rows, cols), bool)
    sizes = ndimage.sum_labels(np.ones_like(labels), labels, np.arange(1, count + 1))
    keep = np.flatnonzero(sizes >= 0.12 * sizes.max()) + 1
    return np.asarray(ndimage.binary_fill_holes(np.isin(labels, keep)))


def _rings(mask: Mask, known: Mask, width: int) -> tuple[Mask, Mask]:
    grown = ndimage.binary_dilation(mask, iterations=width)
    gap = ndimage.binary_dilation(mask, iterations=1)
    core = ndimage.binary_erosion(mask, iterations=1, border_value=1)
    shrunk = ndimage.binary_erosion(mask, iterations=width, border_value=1)
    return core & ~shrunk & known, grown & ~gap & known


def _step(f: Array, mask: Mask, known: Mask, width: int = 6) -> tuple[float, Array, Array]:
    """Return the step across an outline over the scatter beside it, its direction, and the means inside and out."""
    inner, outer = _rings(mask, known, width)
    if inner.sum() < 12 or outer.sum() < 12:
        return 0.0, np.zeros(3), np.zeros((2, 3))
    mi, ci = _moments(f[inner], np.ones(int(inner.sum())))
    mo, co = _moments(f[outer], np.ones(int(outer.sum())))
    pooled = 0.5 * (ci + co) + np.eye(3)
    delta = mi - mo
    direction = np.linalg.solve(pooled, delta)
    return float(np.sqrt(max(delta @ direction, 0.0))), direction, np.stack([mi, mo])


def _shape_score(mask: Mask) -> float:
    """Return 0 … 1: high for one compact area of credible size that leaves the ends of the flank free."""
    share = float(mask.mean())
    if not 0.015 < share < 0.85:
        return 0.0
    border = np.concatenate([mask[0], mask[-1], mask[:, 0], mask[:, -1]])
    free = 1.0 - float(border.mean())
    smooth = ndimage.gaussian_filter(mask.astype(float), 4.0) > 0.5
    overlap = float((smooth & mask).sum() / max(1, (smooth | mask).sum()))
    _, pieces = ndimage.label(mask)
    return free**1.5 * overlap / (1.0 + 0.25 * (pieces - 1))


def _settle(f: Array, mask: Mask, known: Mask) -> tuple[Array, Mask]:
    """Move the outline to half way between what lies just inside and just outside of it."""
    level = mask.astype(float)
    for width, reach in ((8, 10.0), (6, 8.0), (5, 7.0)):
        _, direction, _ = _step(f, mask, known, width)
        line = f @ direction
        inner, outer = _rings(mask, known, width)
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
        share = np.clip((line - a) / gap, -0.3, 1.3)
        weight = known.astype(float)
        away = ndimage.distance_transform_edt(mask) - ndimage.distance_transform_edt(~mask)
        # Far from the outline the earlier decision stands; bridged places follow their surroundings.
        share = np.where(away > width + 2, 1.0, np.where(away < -(width + 2), 0.0, share))
        soft = 0.9
        total = ndimage.gaussian_filter(share * weight, soft)
        norm = ndimage.gaussian_filter(weight, soft)
        wide = ndimage.gaussian_filter(mask.astype(float), 2.0)
        level = np.where(norm > 0.3, total / np.maximum(norm, 1e-6), wide)
        mask = _blob(level.ravel(), *level.shape)
        level = np.where(mask, np.maximum(level, 0.5), np.minimum(level, 0.5))
        if not mask.any():
            break
    return np.clip(level, 0.0, 1.0), mask


def segment(light: Array, compound: Compound = "auto") -> Segmentation:
    """Find the marked area of an unrolled flank.

    Parameters
    ----------
    light : array, shape (rows, cols, 3)
        Linear RGB, root row first, toe column first.
    compound : {"rubbed", "print", "auto"}
        Painted flank with the contact rubbed clear, clean flank with a print, or to be found out.

    Returns
    -------
    Segmentation

    Raises
    ------
    PhotoError
        When glare hides too much or nothing stands out.
    """
    f3, glare, dark = features(light)
    rows, cols = glare.shape
    known = ~(glare | dark)
    hidden = float(glare.mean())
    if hidden > MOST_GLARE:
        raise PhotoError(
            f"glare hides {hidden:.0%} of the flank",
            where="photo",
            fix="turn the lamp or the gear, or shade the tooth, until the flank does not shine",
        )
    if float(dark.mean()) > 0.5:
        raise PhotoError(
            "more than half of the flank is black", where="photo", fix="give it more light and take it again"
        )
    coarse, coarse_known = _halved(f3, known)
    low_rows, low_cols = coarse_known.shape
    f = coarse.reshape(-1, 3)
    use = coarse_known.ravel().astype(float)
    best: tuple[float, Mask] | None = None
    for start in _starts(f, low_rows, low_cols, use):
        r = _classes(f, start, low_rows, low_cols, use)
        for soft in (r, 1 - r):
            mask = _blob(soft, low_rows, low_cols)
            if not mask.any() or mask.all():
                continue
            step, _, sides = _step(coarse, mask, coarse_known, 4)
            strength = min(step, 8.0) * min(1.0, float(np.linalg.norm(sides[0] - sides[1])) / 15.0) ** 0.5
            score = strength * _shape_score(mask) * _agrees(sides, compound)
            if best is None or score > best[0]:
                best = (score, mask)
    if best is None or best[0] <= 0.0:
        raise _nothing()
    grown = ndimage.zoom(best[1].astype(float), (rows / low_rows, cols / low_cols), order=1, grid_mode=False)
    level, mask = _settle(f3, grown[:rows, :cols] > 0.5, known)
    step, _, sides = _step(f3, mask, known)
    size = float(np.linalg.norm(sides[0] - sides[1]))
    if step < LEAST_CONTRAST or size < LEAST_DIFFERENCE or not mask.any():
        raise _nothing()
    return Segmentation(level, known, step, size, _edge_cells(level), _rubbed(sides), hidden)


def _halved(f: Array, known: Mask) -> tuple[Array, Mask]:
    """Return every second node of smoothed features, and where they are known."""
    weight = known.astype(float)
    norm = ndimage.gaussian_filter(weight, 0.8)
    soft = np.stack([ndimage.gaussian_filter(f[..., k] * weight, 0.8) for k in range(3)], -1)
    soft /= np.maximum(norm, 1e-6)[..., None]
    return soft[::2, ::2], norm[::2, ::2] > 0.3


def _nothing() -> PhotoError:
    return PhotoError(
        "no mark stands out from the rest of the flank",
        where="photo",
        fix="wipe oil off, paint a thin even coat, roll under drag, and take the photo in soft light from the side",
    )


def _rubbed(sides: Array) -> bool | None:
    """Tell from the colours inside and outside whether the mark is the bare metal of the two.

    Metal is the greyer; where both are grey (white or grey compound) it is the darker.
    """
    inside, outside = sides
    chroma_in, chroma_out = float(np.hypot(*inside[1:])), float(np.hypot(*outside[1:]))
    if abs(chroma_in - chroma_out) > 6.0:
        return chroma_in < chroma_out
    if max(chroma_in, chroma_out) < 22.0 and abs(inside[0] - outside[0]) > 5.0:
        return bool(inside[0] < outside[0])
    return None


def _agrees(sides: Array, compound: Compound) -> float:
    """Return how well a step fits what was said of the compound: 1 when it does, less when it does not."""
    found = _rubbed(sides)
    if compound == "auto" or found is None:
        return 1.0
    return 1.0 if found == (compound == "rubbed") else 0.35


def _edge_cells(level: Array) -> float:
    gy, gx = np.gradient(level)
    slope = np.hypot(gx, gy)
    near = (level > 0.3) & (level < 0.7)
    if near.sum() < 10:
        return 1.0
    return float(0.5 / max(np.median(slope[near]), 1e-3))
