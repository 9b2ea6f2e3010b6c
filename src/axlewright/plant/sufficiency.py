"""Whether readings are enough to mark a set, and in words why not."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
from numpy.typing import NDArray

from axlewright.language import eager as _
from axlewright.language import eager_plural as plural
from axlewright.plant.practice import Practice
from axlewright.units import show_length

Array = NDArray[np.float64]

FEWEST_POSITIONS: Final = 3
MISFIT_SHARE: Final = 1.0 / 3.0
"""Share of readings that do not fit from which on a set stays undecided (common practice, no source)."""


def misfit(readings: int, doubtful: int) -> str:
    """Say that too many readings do not fit: then neither the curve nor its spread can be believed.

    Parameters
    ----------
    readings, doubtful : int
        All readings of the set, and those of them that do not fit.

    Returns
    -------
    str
        A clause; empty when they are few enough.
    """
    if doubtful < MISFIT_SHARE * readings:
        return ""
    return plural(
        "{doubtful} of {count} readings does not fit the curve, run the set again",
        "{doubtful} of {count} readings do not fit the curve, run the set again",
        doubtful,
    ).format(doubtful=doubtful, count=readings)


def why_not(
    counted: int,
    likely_mm: tuple[float, float, float],
    positions_mm: Array,
    practice: Practice,
    fitting: Mapping[str, int],
    doubtful: int,
) -> tuple[str, int]:
    """Say why a set is not decided.

    Parameters
    ----------
    counted : int
        Different positions with a reading.
    likely_mm : (float, float, float)
        Best position: 2.5, 50 and 97.5 of a hundred [mm].
    positions_mm : array, shape (n,)
        Positions run, in order [mm].
    practice : Practice
    fitting : mapping of flank to int
        Different positions whose reading fits, of each flank that counts.
    doubtful : int
        Readings that do not fit.

    Returns
    -------
    str
        A clause; empty when the set is decided.
    int
        +1 or −1 when the set is to be run beyond the last or the first position, else 0.
    """
    low, mid, high = likely_mm
    first, last = float(positions_mm[0]), float(positions_mm[-1])
    if counted < FEWEST_POSITIONS:
        return _("only {count} of at least {fewest} positions").format(
            count=counted, fewest=FEWEST_POSITIONS
        ), 0
    if not first - 1e-9 <= mid <= last + 1e-9:
        return _("the best position lies outside those that were run"), 1 if mid > last else -1
    for flank, count in fitting.items():
        if count < FEWEST_POSITIONS:
            text = (
                _("only {count} of at least {fewest} positions fit on the drive flank")
                if flank == "drive"
                else _("only {count} of at least {fewest} positions fit on the coast flank")
            )
            return text.format(count=count, fewest=FEWEST_POSITIONS), 0
    half = (high - low) / 2.0
    if half > practice.needed_mm:
        if doubtful:
            return plural(
                "one reading does not fit the others and the spread is ±{spread}",
                "{count} readings do not fit the others and the spread is ±{spread}",
                doubtful,
            ).format(spread=show_length(half), count=doubtful), 0
        return _("the spread is ±{spread}, wanted is ±{needed}").format(
            spread=show_length(half), needed=show_length(practice.needed_mm)
        ), 0
    if low < first - 1e-9 or high > last + 1e-9:
        return _(
            "the best position lies at the edge of those that were run"
        ), 1 if last - mid < mid - first else -1
    return "", 0
