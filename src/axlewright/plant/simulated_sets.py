"""A roll-test log made by rolling: sets that differ as sets do, run at several positions and read with noise.

Used for the demonstration and for checking the answers: the truth of each set is known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from axlewright.contact import Settings
from axlewright.contact.atlas import FIGURES, figures_at
from axlewright.gearset import GearSetDesign
from axlewright.plant.curves import backlash_slopes
from axlewright.plant.practice import Practice
from axlewright.plant.rolls import Roll
from axlewright.units import MM_PER_INCH

Array = NDArray[np.float64]
THOU: Final = MM_PER_INCH / 1000.0


@dataclass(frozen=True, slots=True)
class Spread:
    """How sets and readings differ; standard deviations.

    Attributes
    ----------
    deviation_mm : float
        Of the set's own mounting distance.
    crown, relief : float
        Of the logarithm of crowns and relief.
    lie : float
        Of where each flank was developed, −1 … +1.
    twist_mm : float
    position_mm : float
        Of the position run against the one written down.
    reading_urad, reading_share : float
        Of one reading: a fixed part and a share of the figure.
    backlash_mm : float
        Of the backlash to which the ring gear is reset.
    slips : float
        Share of readings that are a slip (half as much again).
    """

    deviation_mm: float = 0.045
    crown: float = 0.12
    relief: float = 0.12
    lie: float = 0.05
    twist_mm: float = 0.004
    position_mm: float = 0.003
    reading_urad: float = 1.5
    reading_share: float = 0.04
    backlash_mm: float = 0.01
    slips: float = 0.01


@dataclass(frozen=True, slots=True)
class Member:
    """A set as it came out of lapping: each flank with its own ease-off."""

    drive: GearSetDesign
    coast: GearSetDesign
    deviation_mm: float
    slopes: tuple[float, float]

    def figures(self, pinion_out_mm: float, backlash_mm: float) -> Array:
        """Return both flanks' figures, each flank with its own ease-off."""
        depth = pinion_out_mm - self.deviation_mm
        by_pinion, by_ring = self.slopes
        at = Settings(float(depth), float((backlash_mm - by_pinion * depth) / by_ring))
        out = figures_at(self.drive, at)
        other = figures_at(self.coast, at)
        for name in ("coast_lengthwise", "coast_profile", "coast_motion_error_urad"):
            out[FIGURES.index(name)] = other[FIGURES.index(name)]
        return out

    def read(
        self,
        pinion_out_mm: float,
        number: str,
        *,
        spread: Spread,
        rng: np.random.Generator,
        patterns: bool = True,
        operator: str = "",
        at: str = "",
    ) -> Roll:
        """Run the set at a position and read it as an operator would, with noise and slips."""
        slack = float(rng.normal(0.0, spread.backlash_mm))
        figures = self.figures(pinion_out_mm + float(rng.normal(0.0, spread.position_mm)), slack)
        values = dict(zip(FIGURES, figures, strict=True))
        read: dict[str, Any] = {}
        for flank in ("drive", "coast"):
            true = values[f"{flank}_motion_error_urad"]
            seen = true * (1.0 + rng.normal(0.0, spread.reading_share)) + rng.normal(0.0, spread.reading_urad)
            if rng.random() < spread.slips:
                seen *= 1.5
            read[f"{flank}_motion_error_urad"] = round(max(float(seen), 0.5), 1)
        if patterns:
            for name in ("drive_lengthwise", "drive_profile", "coast_lengthwise", "coast_profile"):
                read[name] = round(float(np.clip(values[name] + rng.normal(0.0, 0.05), -1, 1)), 2)
        return Roll(
            set_number=number,
            design=self.drive.name,
            pinion_out_mm=round(pinion_out_mm, 4),
            backlash_mm=round(self.drive.backlash_nominal_mm + slack, 3),
            **read,
            operator=operator,
            at=at,
        )


@dataclass(frozen=True, slots=True)
class SimulatedSet:
    """A set with its readings and its truth.

    `best_mm` is the position with the least weighted motion error: no noise, backlash kept [mm].
    """

    rolls: tuple[Roll, ...]
    member: Member
    practice: Practice

    @property
    def best_mm(self) -> float:
        """Return the truth; it is rolled when asked for, which takes half a second."""
        return _truth(self.member, self.practice.drive_weight)


def _member(design: GearSetDesign, spread: Spread, rng: np.random.Generator) -> Member:
    flanks = []
    for _flank in range(2):
        grow = np.exp(rng.normal(0.0, [spread.crown, spread.crown, spread.relief]))
        lie = rng.normal(0.0, spread.lie, 4)
        flanks.append(
            replace(
                design,
                lengthwise_crown_mm=design.lengthwise_crown_mm * grow[0],
                profile_crown_mm=design.profile_crown_mm * grow[1],
                top_root_relief_mm=design.top_root_relief_mm * grow[2],
                twist_mm=design.twist_mm + rng.normal(0.0, spread.twist_mm),
                coast_twist_mm=design.coast_twist_mm + rng.normal(0.0, spread.twist_mm),
                drive_center_lengthwise=design.drive_center_lengthwise + lie[0],
                drive_center_profile=design.drive_center_profile + lie[1],
                coast_center_lengthwise=design.coast_center_lengthwise + lie[2],
                coast_center_profile=design.coast_center_profile + lie[3],
            )
        )
    deviation = float(rng.normal(0.0, spread.deviation_mm))  # how the set came out of lapping
    return Member(flanks[0], flanks[1], deviation, backlash_slopes(design))


def _truth(member: Member, weight: float) -> float:
    x = member.deviation_mm + np.linspace(-0.16, 0.16, 33)
    table = np.array([member.figures(float(v), 0.0) for v in x])
    total = (
        weight * table[:, FIGURES.index("drive_motion_error_urad")]
        + (1.0 - weight) * table[:, FIGURES.index("coast_motion_error_urad")]
    )
    k = int(np.clip(np.argmin(total), 1, len(x) - 2))
    left, mid, right = total[k - 1 : k + 2]
    bend = left - 2.0 * mid + right
    shift = 0.5 * (left - right) / bend if bend > 0 else 0.0
    return float(x[k] + np.clip(shift, -1, 1) * (x[1] - x[0]))


def simulate_set(
    design: GearSetDesign,
    number: str,
    *,
    rng: np.random.Generator,
    positions_thou: Sequence[float] = (-4.0, -2.0, 0.0, 2.0, 4.0),
    spread: Spread | None = None,
    practice: Practice | None = None,
    operator: str = "tester",
    started: datetime | None = None,
    patterns: bool = True,
) -> SimulatedSet:
    """Make one set, run it at some positions and read it.

    Parameters
    ----------
    design : GearSetDesign
    number : str
        Set number.
    rng : Generator
        Everything random comes from it.
    positions_thou : sequence of float
        Pinion out [0.001 in].
    patterns : bool
        Whether pattern centres are written down as well.
    """
    spread = spread or Spread()
    practice = practice or Practice()
    member = _member(design, spread, rng)
    moment = started or datetime(2026, 3, 2, 7, 0)
    rolls = tuple(
        member.read(
            place * THOU,
            number,
            spread=spread,
            rng=rng,
            patterns=patterns,
            operator=operator,
            at=(moment + timedelta(minutes=2 * n)).strftime("%Y-%m-%dT%H:%M:%S"),
        )
        for n, place in enumerate(positions_thou)
    )
    return SimulatedSet(rolls, member, practice)


def simulated_log(
    designs: Sequence[GearSetDesign], count: int, *, seed: int = 1, first_number: int = 4401
) -> list[SimulatedSet]:
    """Make the log of a shop: sets of several designs in turn, over working days.

    Some sets were run at three positions only, as happens on a busy afternoon.
    """
    rng = np.random.default_rng(seed)
    out = []
    for n in range(count):
        design = designs[n % len(designs)]
        few = rng.random() < 0.15
        day, slot = divmod(n, 24)
        begun = datetime(2026, 3, 2, 7, 0) + timedelta(days=day + 2 * (day // 5), minutes=20 * slot)
        out.append(
            simulate_set(
                design,
                str(first_number + n),
                rng=rng,
                positions_thou=(-2.0, 0.0, 2.0) if few else (-4.0, -2.0, 0.0, 2.0, 4.0),
                operator=("tester", "bench two")[day % 2],
                started=begun,
            )
        )
    return out
