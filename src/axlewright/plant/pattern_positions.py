"""The best position of a set from its contact patterns, where no motion error was read, or beside it.

A pattern read at one depth says where it would lie at another, because the design's own pattern moves by a
known way with depth; how this set's pattern lies against the design's is taken as the same at every depth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from axlewright.plant.curves import DesignCurve
from axlewright.plant.practice import Practice
from axlewright.plant.rolls import Roll

Array = NDArray[np.float64]
DRAWS = 400


@dataclass(frozen=True, slots=True)
class PatternPosition:
    """Where the patterns lie best.

    Attributes
    ----------
    best_mm : float
        Median [mm], positive out.
    interval_95_mm : (float, float)
    readings : int
    """

    best_mm: float
    interval_95_mm: tuple[float, float]
    readings: int


def pattern_position(
    rolls: Sequence[Roll],
    curve: DesignCurve,
    practice: Practice | None = None,
    *,
    wanted: tuple[float, float] = (0.0, 0.0),
) -> PatternPosition | None:
    """Return the depth at which the pattern centres come nearest to where they belong.

    Parameters
    ----------
    rolls : sequence of Roll
        Readings of one set.
    curve : DesignCurve
        Of its design.
    wanted : (float, float)
        Place wanted (lengthwise, profile) of both flanks.

    Returns
    -------
    PatternPosition or None
        None when no pattern was read in profile. Distances of both flanks are weighed as the shop weighs
        them; a lengthwise place that was not read is left out.
    """
    practice = practice or Practice()
    grid = curve.pinion_out_mm[0] + np.arange(
        0.0, curve.pinion_out_mm[-1] - curve.pinion_out_mm[0] + 1e-9, 0.0025
    )
    rng = np.random.default_rng(21)
    cost = np.zeros((DRAWS, len(grid)))
    used: set[int] = set()
    for flank in ("drive", "coast"):
        for k, axis in enumerate(("lengthwise", "profile")):
            kept = [n for n, r in enumerate(rolls) if getattr(r, f"{flank}_{axis}") is not None]
            if not kept:
                continue
            seen = np.array([getattr(rolls[n], f"{flank}_{axis}") for n in kept])
            depth = np.array([rolls[n].pinion_out_mm for n in kept])
            lie = seen - curve.center_at(flank, depth)[:, k]
            sd = practice.reading_place / np.sqrt(len(kept))
            draws = float(lie.mean()) + rng.normal(0.0, sd, DRAWS)
            cost += (
                practice.weight(flank)
                * (draws[:, None] + curve.center_at(flank, grid)[:, k] - wanted[k]) ** 2
            )
            if axis == "profile":
                used.update(kept)
    if not used:
        return None
    best = grid[np.argmin(cost, axis=1)]
    low, mid, high = (float(v) for v in np.percentile(best, (2.5, 50.0, 97.5)))
    return PatternPosition(mid, (low, high), len(used))
