"""An axle with a hidden fault: what is true of it, known to nobody until the end.

An exercise is named by design, level and number; the same name gives the same axle everywhere, so that a
whole class can work on one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from axlewright.contact import Settings
from axlewright.errors import InputError
from axlewright.gearset import EaseOff, FlankName, GearSetDesign
from axlewright.language import _, n_

FaultKind = Literal[
    "depth",
    "ring",
    "both",
    "mark left out",
    "mark turned round",
    "runout",
    "housing",
    "mismatch",
    "not the gears",
]

FAULT_WORDS: Final[dict[str, str]] = {
    "depth": n_("The pinion depth was wrong."),
    "ring": n_("The ring gear sat in the wrong place; the depth was right."),
    "both": n_("Pinion depth and ring-gear position were both wrong."),
    "mark left out": n_("The depth mark was left out when the spacer was chosen."),
    "mark turned round": n_("The depth mark was taken the wrong way round: the error is twice the mark."),
    "runout": n_("Dirt under the ring gear: it ran out, the settings were right."),
    "housing": n_("The bores of the housing were out of place; spacers and shims cannot cure that."),
    "mismatch": n_("Ring gear and pinion were not lapped together."),
    "not the gears": n_("The gears were right; the noise came from elsewhere."),
}

LEVEL_WORDS: Final[dict[int, str]] = {
    1: n_("one thing is wrong, the set lies as designed"),
    2: n_("one or two things are wrong, each set has its own lie, readings scatter"),
    3: n_("anything may be wrong, or nothing"),
}
LARGEST_NUMBER: Final = 9999
RUNOUT_SEEN_MM: Final = 0.05
"""With more runout than this [mm] the ring gear's seat is worth cleaning (common practice, no source)."""


@dataclass(frozen=True, slots=True, order=True)
class ExerciseName:
    """Design, level and number of an exercise: the same name is the same axle everywhere."""

    design: str
    level: int
    number: int

    def __post_init__(self) -> None:
        if self.level not in LEVEL_WORDS:
            raise InputError(
                _("there is no level {level}").format(level=self.level),
                where=_("level"),
                fix=_("choose 1, 2 or 3"),
            )
        if not 1 <= self.number <= LARGEST_NUMBER:
            raise InputError(
                _("there is no exercise {number}").format(number=self.number),
                where=_("number"),
                fix=_("choose 1 to {largest}").format(largest=LARGEST_NUMBER),
            )


@dataclass(frozen=True, slots=True)
class HiddenAxle:
    """What is true of an exercise's axle as it comes in.

    Attributes
    ----------
    name : ExerciseName
    design : GearSetDesign
    kind : str
        A key of `FAULT_WORDS`.
    settings : Settings
        Where the members sit against where this set was developed.
    drive, coast : EaseOff
        The set's own flanks.
    backlash_zero_mm : float
        Backlash at the heel where the set was developed [mm].
    runout_mm : float
        Peak-to-valley axial runout of the ring gear [mm].
    mark_mm : float
        What the set's depth mark asks of the mounting distance, larger positive [mm].
    matched : bool
    spacer_mm : float
        Thickness of the spacer that is in, under the pinion head [mm].
    """

    name: ExerciseName
    design: GearSetDesign
    kind: FaultKind
    settings: Settings
    drive: EaseOff
    coast: EaseOff
    backlash_zero_mm: float
    runout_mm: float
    mark_mm: float
    matched: bool
    spacer_mm: float

    def ease_off(self, flank: FlankName) -> EaseOff:
        """Return the set's own ease-off of one flank."""
        return self.drive if flank == "drive" else self.coast
