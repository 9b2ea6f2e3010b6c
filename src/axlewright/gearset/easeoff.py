"""How far the real pinion flank stands back from the perfectly conjugate one.

A set's true ease-off is unknown to a workshop; typical values by size are the prior (see `design`), a fit to
a known good pattern or a measured grid replaces it.

An ease-off file has the columns ``lengthwise,profile,ease_off_mm`` on a full grid of places −1 … +1.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RectBivariateSpline

from axlewright.errors import DesignError
from axlewright.gearset.points import place_words, read_table
from axlewright.language import Number, Text, _

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class EaseOff:
    """Ease-off of one flank over (lengthwise x, profile y), each −1 … +1.

    Attributes
    ----------
    lengthwise_crown_mm, profile_crown_mm, twist_mm : float
        Coefficients of x², y² and x y [mm].
    top_root_relief_mm : float
        Relief at |y| = 1 [mm].
    relief_start : float
        |y| at which the relief begins, 0 … 1; it grows quadratically from there.
    center_lengthwise, center_profile : float
        Where the surface touches first when set where it was developed; the parabolas are centred there.
    """

    lengthwise_crown_mm: float
    profile_crown_mm: float
    twist_mm: float = 0.0
    top_root_relief_mm: float = 0.0
    relief_start: float = 1.0
    center_lengthwise: float = 0.0
    center_profile: float = 0.0

    def __call__(self, x: Array, y: Array) -> Array:
        """Return the normal set-back [mm] at (x, y); any common shape."""
        u = np.asarray(x) - self.center_lengthwise
        v = np.asarray(y) - self.center_profile
        relief = np.zeros(np.broadcast(u, v).shape)
        if self.top_root_relief_mm and self.relief_start < 1.0:
            beyond = np.maximum(np.abs(np.asarray(y)) - self.relief_start, 0.0) / (1.0 - self.relief_start)
            relief = relief + self.top_root_relief_mm * beyond**2
        return (
            self.lengthwise_crown_mm * u * u + self.profile_crown_mm * v * v + self.twist_mm * u * v + relief
        )

    def moved(self, lengthwise: float, profile: float) -> EaseOff:
        """Return the same surface with its centre moved by (lengthwise, profile).

        Parameters
        ----------
        lengthwise, profile : float
            In half face widths and half working depths; toward heel and top positive.
        """
        return replace(
            self,
            center_lengthwise=self.center_lengthwise + lengthwise,
            center_profile=self.center_profile + profile,
        )


@dataclass(frozen=True, slots=True)
class EaseOffSpread:
    """Standard deviations of a set's ease-off about that of its design.

    Attributes
    ----------
    lengthwise_crown, profile_crown, top_root_relief : float
        As shares (of the logarithm).
    twist_mm : float
        For a ring gear of 222 mm, growing with it [mm].
    relief_start : float
        In half working depths.
    center_lengthwise, center_profile : float
        Where the ease-off touches deepest, in half face widths and half working depths; 0.27 in profile is a
        pressure angle about one minute of arc off.
    """

    lengthwise_crown: float = 0.15
    profile_crown: float = 0.25
    twist_mm: float = 0.003
    top_root_relief: float = 0.20
    relief_start: float = 0.03
    center_lengthwise: float = 0.065
    center_profile: float = 0.27

    def __post_init__(self) -> None:
        for key in fields(self):
            value = getattr(self, key.name)
            if not 0.0 < value < 1.0:
                raise ValueError(f"{key.name} = {value} is no spread: above 0 and below 1")

    def draw(self, rng: np.random.Generator, base: EaseOff, size: float) -> EaseOff:
        """Return the ease-off of one set; `size` is the ring gear's over 222 mm."""
        z = rng.standard_normal(7)
        return replace(
            base,
            lengthwise_crown_mm=base.lengthwise_crown_mm * math.exp(self.lengthwise_crown * z[0]),
            profile_crown_mm=base.profile_crown_mm * math.exp(self.profile_crown * z[1]),
            twist_mm=base.twist_mm + self.twist_mm * size * z[2],
            top_root_relief_mm=base.top_root_relief_mm * math.exp(self.top_root_relief * z[3]),
            relief_start=float(np.clip(base.relief_start + self.relief_start * z[4], 0.3, 0.8)),
            center_lengthwise=base.center_lengthwise + self.center_lengthwise * z[5],
            center_profile=base.center_profile + self.center_profile * z[6],
        )


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
            raise ValueError("a measured ease-off without a grid: make it with read_ease_off")
        gx, gy = self.grid_lengthwise, self.grid_profile
        u, v = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(y, dtype=float))
        spline = RectBivariateSpline(gy, gx, self.grid_mm, kx=min(3, len(gy) - 1), ky=min(3, len(gx) - 1))
        # The grid is stored where it was measured; moving the pattern moves the grid.
        u, v = u - self.center_lengthwise, v - self.center_profile
        cu, cv = np.clip(u, gx[0], gx[-1]), np.clip(v, gy[0], gy[-1])
        value = spline(cv, cu, grid=False)
        value = value + (u - cu) * spline(cv, cu, dy=1, grid=False)
        return np.asarray(value + (v - cv) * spline(cv, cu, dx=1, grid=False), dtype=np.float64)


def read_ease_off(source: str | Path, *, where: Text = "ease-off grid") -> MeasuredEaseOff:
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
                toe=Number(x[0], "+.2f"),
                heel=Number(x[-1], "+.2f"),
                root=Number(y[0], "+.2f"),
                top=Number(y[-1], "+.2f"),
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
