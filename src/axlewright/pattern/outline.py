"""The outline of a mark: how clear it is, how like a mark it is, and where exactly it lies."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from axlewright.pattern.candidates import main_areas, moments
from axlewright.pattern.surface_features import tones

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
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
