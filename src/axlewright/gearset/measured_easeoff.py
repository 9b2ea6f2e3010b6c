"""Ease-off known on a grid: measured against the conjugate pinion, or made from a measured pinion.

An ease-off file has the columns ``lengthwise,profile,ease_off_mm`` on a full grid of places −1 … +1.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RectBivariateSpline

from axlewright.errors import DesignError
from axlewright.gearset.easeoff import EaseOff
from axlewright.gearset.points import place_words, read_table
from axlewright.language import eager as _

Array = NDArray[np.float64]

EASE_OFF_COLUMNS = ("lengthwise", "profile", "ease_off_mm")


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredEaseOff(EaseOff):
    """An ease-off known on a grid; used wherever an `EaseOff` is.

    The inherited coefficients are the parabola nearest to the grid, for people to read.

    Attributes
    ----------
    grid_lengthwise, grid_profile : array, shape (nx,), (ny,)
    grid_mm : array, shape (ny, nx)
        Normal set-back [mm]. Beyond the grid it goes on straight from its edge.
    """

    grid_lengthwise: Array | None = None
    grid_profile: Array | None = None
    grid_mm: Array | None = None

    def __call__(self, x: Array, y: Array) -> Array:
        """Return the normal set-back [mm] at (x, y); any common shape."""
        if self.grid_lengthwise is None or self.grid_profile is None or self.grid_mm is None:
            raise DesignError(
                _("has no grid"), where=_("measured ease-off"), fix=_("make it with read_ease_off")
            )
        gx, gy = self.grid_lengthwise, self.grid_profile
        u, v = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(y, dtype=float))
        spline = RectBivariateSpline(gy, gx, self.grid_mm, kx=min(3, len(gy) - 1), ky=min(3, len(gx) - 1))
        # The grid is stored where it was measured; moving the pattern moves the grid.
        u, v = u - self.center_lengthwise, v - self.center_profile
        cu, cv = np.clip(u, gx[0], gx[-1]), np.clip(v, gy[0], gy[-1])
        value = spline(cv, cu, grid=False)
        value = value + (u - cu) * spline(cv, cu, dy=1, grid=False)
        return np.asarray(value + (v - cv) * spline(cv, cu, dx=1, grid=False), dtype=np.float64)


def read_ease_off(source: str | Path, *, where: str = "ease-off grid") -> MeasuredEaseOff:
    """Read a measured ease-off grid.

    Parameters
    ----------
    source : str or Path
        Path, or the text of the file.
    where : str
        Named in errors when `source` is text.

    Returns
    -------
    MeasuredEaseOff

    Raises
    ------
    DesignError
        When a column, a place of the grid or most of the tooth is missing, naming the place.
    """
    rows, _labels = read_table(source, EASE_OFF_COLUMNS, where)
    x, y = np.unique(np.round(rows[:, 0], 6)), np.unique(np.round(rows[:, 1], 6))
    if len(x) < 4 or len(y) < 3:
        raise DesignError(
            _("the grid has {columns} by {rows} places").format(columns=len(x), rows=len(y)),
            where=where,
            fix=_("give at least 4 lengthwise and 3 in profile"),
        )
    if x[0] > -0.7 or x[-1] < 0.7 or y[0] > -0.6 or y[-1] < 0.6 or max(x[-1], -x[0], y[-1], -y[0]) > 1.3:
        raise DesignError(
            _("the grid covers lengthwise {toe} … {heel} and profile {root} … {top}").format(
                toe=f"{x[0]:+.2f}", heel=f"{x[-1]:+.2f}", root=f"{y[0]:+.2f}", top=f"{y[-1]:+.2f}"
            ),
            where=where,
            fix=_("cover the tooth: −1 toe … +1 heel and −1 root … +1 top"),
        )
    grid = np.full((len(y), len(x)), np.nan)
    i, j = np.searchsorted(y, np.round(rows[:, 1], 6)), np.searchsorted(x, np.round(rows[:, 0], 6))
    grid[i, j] = rows[:, 2]
    if np.isnan(grid).any():
        a, b = (int(v) for v in np.argwhere(np.isnan(grid))[0])
        raise DesignError(
            _("the grid has a hole at {place}").format(place=place_words(float(x[b]), float(y[a]))),
            where=where,
            fix=_("give a value for every place of the grid"),
        )
    return ease_off_from_grid(x, y, grid)


def ease_off_from_grid(x: Array, y: Array, grid_mm: Array) -> MeasuredEaseOff:
    """Make an ease-off from values on a grid.

    Parameters
    ----------
    x, y : array, shape (nx,), (ny,)
        Lengthwise and profile nodes, rising.
    grid_mm : array, shape (ny, nx)
        Normal set-back [mm].

    Returns
    -------
    MeasuredEaseOff
    """
    X, Y = np.meshgrid(x, y)
    terms = np.stack([np.ones_like(X), X, Y, X * X, Y * Y, X * Y], axis=-1).reshape(-1, 6)
    coef, *_rest = np.linalg.lstsq(terms, grid_mm.ravel(), rcond=None)
    return MeasuredEaseOff(
        float(coef[3]), float(coef[4]), float(coef[5]), grid_lengthwise=x, grid_profile=y, grid_mm=grid_mm
    )
