"""Control charts: does the work stay as it was?

References
----------
ISO 7870-2:2013, Control charts, Shewhart control charts (chart forms, and the tests for special causes).
Nelson, L. S., "The Shewhart control chart: tests for special causes", Journal of Quality Technology 16
(1984) 237-239 (from memory).
The constants are computed from the normal distribution, not copied: d2 and d3 are the mean and standard
deviation of the range of n normal values.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import integrate, special

from axlewright.errors import InputError
from axlewright.language import Text, _

Array = NDArray[np.float64]

FEWEST_POINTS: Final = 20
"""Fewest points a control limit is worked out from (common practice: 20 to 25)."""
LARGEST_SUBGROUP: Final = 10


@lru_cache(maxsize=32)
def range_constants(size: int) -> tuple[float, float]:
    """Return d2 and d3 for the range of `size` normal values.

    Tippett's integral for the mean, the double integral over the joint density for the second moment::

        d2 = ∫ [1 − F(x)^n − (1 − F(x))^n] dx
        E W² = 2 ∬_{y<x} [1 − F(x)^n − (1 − F(y))^n + (F(x) − F(y))^n] dy dx
    """
    if not 2 <= size <= 25:
        raise ValueError(f"range of {size} values: 2 to 25 are known")
    grid = np.linspace(-8.5, 8.5, 1701)
    below = special.ndtr(grid)
    above = special.ndtr(-grid)
    d2 = float(integrate.simpson(1.0 - below**size - above**size, x=grid))
    inner = np.zeros(len(grid))
    for k in range(1, len(grid)):
        y = slice(0, k + 1)
        values = 1.0 - below[k] ** size - above[y] ** size + (below[k] - below[y]) ** size
        inner[k] = integrate.simpson(values, x=grid[y]) if k > 1 else integrate.trapezoid(values, x=grid[y])
    second = 2.0 * float(integrate.simpson(inner, x=grid))
    return d2, math.sqrt(second - d2 * d2)


@dataclass(frozen=True, eq=False)
class Signal:
    """A point or run that calls for a look.

    Attributes
    ----------
    rule : Text
        Which test, in words.
    points : tuple of int
        Places in the series, from 0.
    """

    rule: Text
    points: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Panel:
    """One chart: points, centre line and limits.

    Attributes
    ----------
    name : Text
    values : array, shape (n,)
        NaN where there is no point.
    center, low, high : float
    signals : tuple of Signal
    """

    name: Text
    values: Array
    center: float
    low: float
    high: float
    signals: tuple[Signal, ...]

    @property
    def flagged(self) -> frozenset[int]:
        """Places of the points that call for a look."""
        return frozenset(k for signal in self.signals for k in signal.points)


@dataclass(frozen=True, eq=False)
class ControlChart:
    """A pair of charts, one for the place and one for the spread.

    Attributes
    ----------
    kind : {"individuals and moving range", "averages and ranges"}
    place, spread : Panel
    within_sd : float
        Standard deviation within subgroups or from one set to the next.
    labels : tuple of str
        Name of each point.
    """

    kind: str
    place: Panel
    spread: Panel
    within_sd: float
    labels: tuple[str, ...]

    @property
    def stable(self) -> bool:
        """Whether no test gives a signal."""
        return not self.place.signals and not self.spread.signals


def run_signals(values: Array, center: float, sigma: float) -> tuple[Signal, ...]:
    """Apply four of Nelson's tests to the chart of the place.

    One point beyond three sigma; nine in a row on one side; six in a row rising or falling; two of three
    beyond two sigma on one side. On a quiet series of 60 single values with limits from the same series at
    least one of the charts gives a false signal in about half of cases, of 100 in about three quarters
    (simulated, 400 series each): a signal is a reason to look, not a verdict.
    """
    z = (np.asarray(values, dtype=float) - center) / sigma if sigma > 0 else np.zeros(len(values))
    out = []
    beyond = tuple(int(k) for k in np.flatnonzero(np.abs(z) > 3.0))
    if beyond:
        out.append(Signal(_("beyond the control limits"), beyond))
    side = np.sign(z)
    out += _runs(_("nine in a row on one side of the centre line"), 9, side)
    out += _runs(_("six in a row rising or falling"), 5, np.sign(np.diff(values)), grow=1)
    pairs: set[int] = set()
    for sign in (1.0, -1.0):
        far = sign * z > 2.0
        for k in range(2, len(z)):
            if far[k] and far[k - 2 : k + 1].sum() >= 2:
                pairs.update(int(m) for m in range(k - 2, k + 1) if far[m])
    if pairs:
        out.append(Signal(_("two of three beyond two sigma on one side"), tuple(sorted(pairs))))
    return tuple(out)


def _runs(rule: Text, length: int, signs: Array, grow: int = 0) -> list[Signal]:
    points: set[int] = set()
    start = 0
    for k in range(1, len(signs) + 1):
        if k == len(signs) or signs[k] != signs[start] or signs[start] == 0:
            if k - start >= length and signs[start] != 0:
                points.update(range(start, k + grow))
            start = k
    return [Signal(rule, tuple(sorted(points)))] if points else []


def _checked(values: Sequence[float], labels: Sequence[str]) -> Array:
    series = np.asarray(values, dtype=float)
    if len(series) < FEWEST_POINTS:
        raise InputError(
            _("{count} points are too few for control limits").format(count=len(series)),
            where=_("control chart"),
            fix=_("collect at least {fewest}").format(fewest=FEWEST_POINTS),
        )
    if len(labels) != len(series) or not np.isfinite(series).all():
        raise ValueError("points without a number or name")
    if float(np.ptp(series)) == 0.0:
        raise InputError(
            _("all points are the same"),
            where=_("control chart"),
            fix=_("read with a finer instrument"),
        )
    return series


def individuals_chart(values: Sequence[float], labels: Sequence[str], name: Text = "") -> ControlChart:
    """Return the chart of single values with the moving range of neighbours.

    Limits are the mean ± 3 · (mean moving range)/d2(2) and, for the range, D4(2) · (mean moving range).
    """
    series = _checked(values, labels)
    moving = np.abs(np.diff(series))
    d2, d3 = range_constants(2)
    mean_range = float(moving.mean())
    sigma = mean_range / d2
    center = float(series.mean())
    place = Panel(
        name, series, center, center - 3 * sigma, center + 3 * sigma, run_signals(series, center, sigma)
    )
    top = mean_range * (1.0 + 3.0 * d3 / d2)
    over = tuple(int(k) + 1 for k in np.flatnonzero(moving > top))
    signals = (Signal(_("beyond the control limits"), over),) if over else ()
    spread = Panel(_("moving range"), np.concatenate([[np.nan], moving]), mean_range, 0.0, top, signals)
    return ControlChart("individuals and moving range", place, spread, sigma, tuple(labels))


def averages_chart(
    values: Sequence[float], labels: Sequence[str], size: int, name: Text = ""
) -> ControlChart:
    """Return the chart of averages and ranges of subgroups of neighbours; a last part group is left out.

    Limits are the grand mean ± 3 · (mean range)/(d2 √n) and (mean range) · (1 ± 3 d3/d2), not below zero.
    """
    series = np.asarray(values, dtype=float)
    if not 2 <= size <= LARGEST_SUBGROUP:
        raise InputError(
            _("subgroups of {size}").format(size=size),
            where=_("control chart"),
            fix=_("use 2 to {largest}").format(largest=LARGEST_SUBGROUP),
        )
    groups = len(series) // size
    if groups < FEWEST_POINTS:
        raise InputError(
            _("{count} subgroups are too few for control limits").format(count=groups),
            where=_("control chart"),
            fix=_("collect at least {fewest}, or use single values").format(fewest=FEWEST_POINTS),
        )
    table = series[: groups * size].reshape(groups, size)
    names = tuple(f"{labels[k * size]}–{labels[k * size + size - 1]}" for k in range(groups))
    means = _checked([float(v) for v in table.mean(axis=1)], names)
    ranges = np.ptp(table, axis=1)
    d2, d3 = range_constants(size)
    mean_range = float(ranges.mean())
    sigma = mean_range / d2
    center = float(means.mean())
    half = 3.0 * sigma / math.sqrt(size)
    place = Panel(name, means, center, center - half, center + half, run_signals(means, center, half / 3.0))
    low = mean_range * max(0.0, 1.0 - 3.0 * d3 / d2)
    high = mean_range * (1.0 + 3.0 * d3 / d2)
    out = tuple(int(k) for k in np.flatnonzero((ranges > high) | (ranges < low)))
    signals = (Signal(_("beyond the control limits"), out),) if out else ()
    spread = Panel(_("range"), ranges, mean_range, low, high, signals)
    return ControlChart("averages and ranges", place, spread, sigma, names)
