"""Cast shadows on a flank, found by their edge: light drops there by one factor whatever it falls on.

A neighbouring tooth throws a shadow with a nearly straight edge that runs along the flank to its toe or heel,
and may turn a corner where that tooth ends. A mark is an oval inside the flank, so no such edge bounds it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

LEAST_DROP = 6.0  # of lightness, in the units of `surface_features.features`
LEAST_RUN = 0.38  # of the flank's length along which an edge must be seen
APART = (2, 5)  # rows from the edge between which both sides are averaged, on the coarse grid


@dataclass(frozen=True, slots=True)
class Shadow:
    """One cast shadow.

    Attributes
    ----------
    edge : (float, float, float)
        Row of the edge = edge[0] + edge[1] · column + edge[2] · column², on the coarse grid.
    above : bool
        True when the dark side has the higher rows.
    corner : (float, float, float) or None
        Column and row at which the edge turns, and columns per row of the turned edge.
    toe_side : bool
        With a corner: True when the dark part lies toward the toe of it.
    drop : float
        By how much lightness drops into the shadow.
    size : (int, int)
        Rows and columns of the coarse grid.
    """

    edge: tuple[float, float, float]
    above: bool
    corner: tuple[float, float, float] | None
    toe_side: bool
    drop: float
    size: tuple[int, int]

    def mask(self, rows: int, cols: int) -> Mask:
        """Return the dark area on a grid of any fineness."""
        i = np.linspace(0, self.size[0] - 1, rows)[:, None]
        j = np.linspace(0, self.size[1] - 1, cols)[None, :]
        edge = self.edge[0] + self.edge[1] * j + self.edge[2] * j * j
        dark = (i >= edge) if self.above else (i <= edge)
        if self.corner is not None:
            turn = self.corner[0] + self.corner[2] * (i - self.corner[1])
            dark = dark & ((j <= turn) if self.toe_side else (j >= turn))
        return np.asarray(np.broadcast_to(dark, (rows, cols)))


def cast_shadows(lightness: Array, known: Mask, most: int = 1) -> list[Shadow]:
    """Return the likeliest cast shadows of a coarse grid, strongest first.

    Parameters
    ----------
    lightness : array, shape (rows, cols)
        Logarithmic.
    known : array of bool, shape (rows, cols)
    most : int
        How many to return at most.
    """
    rows, cols = lightness.shape
    weight = known.astype(float)
    norm = ndimage.gaussian_filter(weight, 0.7)
    soft = ndimage.gaussian_filter(lightness * weight, 0.7) / np.maximum(norm, 1e-3)
    # jump[i]: mean of the rows above i less the mean of the rows below it.
    total = np.concatenate([np.zeros((1, cols)), np.cumsum(soft, 0)])
    near, far = APART
    i = np.arange(far, rows - far)
    up = (total[i + far] - total[i + near]) / (far - near)
    down = (total[i - near + 1] - total[i - far + 1]) / (far - near)
    jump = up - down
    first = np.arange(0, len(i))
    slopes = np.linspace(-0.34, 0.34, 35)
    j = np.arange(cols)
    middle = (cols - 1) / 2.0
    index = first[:, None, None] + slopes[None, :, None] * (j - middle)[None, None, :]
    inside = (index >= 0) & (index <= len(i) - 1)
    at = np.clip(np.rint(index), 0, len(i) - 1).astype(np.intp)
    along = np.where(inside, jump[at, j[None, None, :]], 0.0)
    found: list[tuple[float, Shadow]] = []
    for sign in (1.0, -1.0):
        strength = sign * along
        good = strength > LEAST_DROP
        for from_toe in (True, False):
            g = good if from_toe else good[..., ::-1]
            s = strength if from_toe else strength[..., ::-1]
            run, value = _run_from_end(g, s)
            value = np.where(run >= LEAST_RUN * cols, value, 0.0)
            for _ in range(2):
                k = int(np.argmax(value))
                if value.flat[k] <= 0.0:
                    break
                a, b = np.unravel_index(k, value.shape)
                length = int(run[a, b])
                drop = float(np.median(s[a, b, :length]))
                slope = float(slopes[b])
                row = float(i[0] + first[a] - slope * middle)
                # Lightness rises with the row when the jump is positive: the dark side is below.
                edge = _bent(sign * jump, row - i[0], slope, length, from_toe)
                edge = (edge[0] + float(i[0]), edge[1], edge[2])
                shadow = _with_corner(soft, edge, sign < 0, length, from_toe, drop)
                found.append((float(value[a, b]), shadow))
                value[max(0, a - 5) : a + 6] = 0.0
    found.sort(key=lambda item: -item[0])
    out: list[Shadow] = []
    masks: list[Mask] = []
    for _, shadow in found:
        mask = shadow.mask(rows, cols)
        if not 0.03 < float(mask.mean()) < 0.97:
            continue
        if all(float((mask ^ other).mean()) > 0.06 for other in masks):
            out.append(shadow)
            masks.append(mask)
        if len(out) == most:
            break
    return out


def _run_from_end(good: NDArray[np.bool_], strength: Array) -> tuple[NDArray[np.intp], Array]:
    """Return how many columns from the first on an edge is seen (small gaps allowed), and its strength."""
    cols = good.shape[-1]
    gap = ndimage.uniform_filter1d((~good).astype(np.float32), 9, axis=-1, mode="nearest")
    broken = gap > 0.6
    run = np.where(broken.any(-1), np.argmax(broken, -1), cols)
    take = np.arange(cols) < run[..., None]
    alike = np.where(take, np.minimum(strength, 14.0), 0.0).sum(-1)
    seen = np.where(take, good, False).sum(-1) / np.maximum(run, 1)
    return run, np.where(seen > 0.8, alike, 0.0)


def _bent(jump: Array, row: float, slope: float, length: int, from_toe: bool) -> tuple[float, float, float]:
    """Return a straight edge bent to where the jump is largest near it: row by powers of the column."""
    rows, cols = jump.shape
    j = np.arange(length) if from_toe else np.arange(cols - length, cols)
    shifts = np.arange(-4, 5)
    at = np.clip(np.rint(row + slope * j[:, None] + shifts[None, :]), 0, rows - 1).astype(np.intp)
    values = jump[at, j[:, None]]
    off = shifts[np.argmax(values, 1)].astype(float)
    weight = np.ones(length)
    u = (j - j.mean()) / max(1.0, 0.5 * length)
    A = np.stack([np.ones(length), u, u * u], 1)
    coef = np.zeros(3)
    for _ in range(6):
        coef, *_ = np.linalg.lstsq(A * weight[:, None], off * weight, rcond=None)
        weight = 1.0 / (1.0 + ((off - A @ coef) / 0.8) ** 2)
    m, h = float(j.mean()), max(1.0, 0.5 * length)
    c0, c1, c2 = (float(c) for c in coef)
    # Back from u = (j − m)/h to powers of the column.
    return (row + c0 - c1 * m / h + c2 * m * m / h**2, slope + c1 / h - 2 * c2 * m / h**2, c2 / h**2)


def _with_corner(
    soft: Array, edge: tuple[float, float, float], above: bool, length: int, from_toe: bool, drop: float
) -> Shadow:
    """Return the shadow with its corner, where the edge ends before the other end of the flank."""
    rows, cols = soft.shape
    size = (rows, cols)
    plain = Shadow(edge, above, None, from_toe, drop, size)
    if length >= cols - 6:
        return plain
    column = float(length if from_toe else cols - 1 - length)
    start = edge[0] + edge[1] * column + edge[2] * column * column
    i = np.arange(int(np.ceil(start)) + 1, rows) if above else np.arange(0, int(np.floor(start)))
    if len(i) < 4:
        return plain
    best: tuple[float, float, float] | None = None
    for shift in np.arange(-5.0, 6.0, 1.0):
        for lean in np.linspace(-2.2, 2.2, 23):
            j = column + shift + lean * (i - start)
            ok = (j > 4) & (j < cols - 5)
            if ok.sum() < 0.5 * len(i):
                continue
            sides = [
                ndimage.map_coordinates(soft, [i[ok], j[ok] + by], order=1, mode="nearest")
                for by in (-3.5, 3.5)
            ]
            jump = (sides[1] - sides[0]) if from_toe else (sides[0] - sides[1])
            value = float(np.minimum(jump, 14.0).mean())
            if best is None or value > best[0]:
                best = (value, column + shift, lean)
    if best is None or best[0] < 0.5 * LEAST_DROP:
        return plain
    return Shadow(edge, above, (best[1], start, best[2]), from_toe, drop, size)


def edge_zone(dark: Mask, width: int) -> Mask:
    """Return the strip along a shadow's edge in which lightness cannot be trusted."""
    return np.asarray(
        ndimage.binary_dilation(dark, iterations=width)
        & ~ndimage.binary_erosion(dark, iterations=width, border_value=1)
    )
