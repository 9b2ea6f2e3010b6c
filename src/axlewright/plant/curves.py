"""How motion error and pattern of a design change with pinion depth, as the roll tester moves it.

The ring gear either keeps the backlash (it is reset at each position, the usual way) or keeps its place.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from axlewright.contact import Settings
from axlewright.contact.atlas import FIGURES, figures_at
from axlewright.errors import ContactError
from axlewright.gearset import GearSetDesign
from axlewright.gearset.design import REFERENCE_DIAMETER_MM
from axlewright.language import _

Array = NDArray[np.float64]
Held = Literal["backlash", "ring position"]

HALF_RANGE_MM: Final = 0.36
STEPS: Final = 36


@dataclass(frozen=True, eq=False)
class DesignCurve:
    """Figures of a design over pinion depth.

    Attributes
    ----------
    pinion_out_mm : array, shape (n,)
        Depths, evenly spaced [mm].
    motion_error_urad : dict of str to array, shape (n,)
        "drive" and "coast", peak to peak.
    center : dict of str to array, shape (n, 2)
        Pattern centre (lengthwise, profile).
    held : {"backlash", "ring position"}
    """

    pinion_out_mm: Array
    motion_error_urad: dict[str, Array]
    center: dict[str, Array]
    held: Held

    def error_at(self, flank: str, pinion_out_mm: Array) -> Array:
        """Return the motion error [µrad] at any depths; beyond the range it stays at its edge."""
        return np.interp(pinion_out_mm, self.pinion_out_mm, self.motion_error_urad[flank])

    def center_at(self, flank: str, pinion_out_mm: Array) -> Array:
        """Return the pattern centre at any depths, shape (..., 2)."""
        one = self.center[flank]
        return np.stack([np.interp(pinion_out_mm, self.pinion_out_mm, one[:, k]) for k in (0, 1)], axis=-1)


@lru_cache(maxsize=256)
def backlash_slopes(design: GearSetDesign) -> tuple[float, float]:
    """Return the change of backlash per pinion out and per ring gear away [mm/mm]."""
    step = 0.05
    still, by_pinion, by_ring = (
        figures_at(design, Settings(*move))[FIGURES.index("backlash_change_mm")]
        for move in ((0.0, 0.0), (step, 0.0), (0.0, step))
    )
    return float((by_pinion - still) / step), float((by_ring - still) / step)


def ring_per_pinion(design: GearSetDesign) -> float:
    """Return how far the ring gear moves away per pinion out to keep the backlash [mm/mm]."""
    by_pinion, by_ring = backlash_slopes(design)
    return -by_pinion / by_ring


@lru_cache(maxsize=64)
def design_curve(design: GearSetDesign, held: Held = "backlash") -> DesignCurve:
    """Roll a design over the range of pinion depth.

    Raises
    ------
    ContactError
        When fewer than nine depths keep the teeth in contact.
    """
    half = HALF_RANGE_MM * design.ring_outer_diameter_mm / REFERENCE_DIAMETER_MM
    ratio = ring_per_pinion(design) if held == "backlash" else 0.0
    depths, rows = [], []
    for depth in np.linspace(-half, half, STEPS + 1):
        try:
            figures = figures_at(design, Settings(float(depth), float(ratio * depth)))
        except ContactError:
            continue
        if np.isfinite(figures).all():
            depths.append(depth)
            rows.append(figures)
    if len(rows) < 9:
        raise ContactError(
            _("too few depths keep the teeth in contact"), where=design.name, fix=_("check the design")
        )
    table = np.array(rows)
    flanks = ("drive", "coast")
    error = {f: table[:, FIGURES.index(f"{f}_motion_error_urad")] for f in flanks}
    first = {f: FIGURES.index(f"{f}_lengthwise") for f in flanks}
    center = {f: table[:, first[f] : first[f] + 2] for f in flanks}
    return DesignCurve(np.array(depths), error, center, held)
