"""How a shop works at its roll tester: what its marks mean, how it weighs the flanks, how well it reads.

All of it is data. The defaults say that they are ones.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any, Literal

from axlewright.errors import InputError
from axlewright.language import _
from axlewright.setup.marks import MARK_MEANINGS, MARK_UNITS, UNIT_MM, DepthMark, MarkMeaning, MarkUnit


@dataclass(frozen=True, slots=True)
class Practice:
    """The shop's ways.

    Attributes
    ----------
    mark_unit, mark_meaning : str
        As in `axlewright.setup.marks`; empty while the shop has not said so, and then no mark is given.
    drive_weight : float
        What the drive flank counts, 0 … 1; the coast flank counts the rest.
    reading_urad : float
        Standard deviation of one motion error read again at the same position [µrad].
    reading_db : float
        The same of a sound level [dB].
    reading_place : float
        The same of a pattern centre, −1 … +1.
    unlike : float
        How far a set's curve departs from its design's stretched one, as a share of the figure.
    stretch : float
        Standard deviation of the logarithm of how much wider or narrower a set's curve is.
    spread_mm : float
        How far best positions usually lie from nominal [mm].
    needed_mm : float
        Half width of the 95 % interval at which a position counts as decided [mm].
    source : str
        Where the figures come from.
    """

    mark_unit: MarkUnit | Literal[""] = ""
    mark_meaning: MarkMeaning | Literal[""] = ""
    drive_weight: float = 0.7
    reading_urad: float = 2.0
    reading_db: float = 1.0
    reading_place: float = 0.05
    unlike: float = 0.08
    stretch: float = 0.2
    spread_mm: float = 0.08
    needed_mm: float = 0.030
    source: str = "defaults: common practice, no source; replace by what your own repeats show"

    def __post_init__(self) -> None:
        if self.mark_unit not in ("", *MARK_UNITS):
            raise InputError(
                _("unknown unit '{unit}'").format(unit=self.mark_unit),
                where=_("mark"),
                fix=_("use one of {units}").format(units=", ".join(MARK_UNITS)),
            )
        if self.mark_meaning not in ("", *MARK_MEANINGS):
            raise InputError(
                _("unknown meaning '{meaning}'").format(meaning=self.mark_meaning),
                where=_("mark"),
                fix=_("use one of {meanings}").format(meanings=", ".join(MARK_MEANINGS)),
            )
        if not 0.0 <= self.drive_weight <= 1.0:
            raise InputError(
                _("weight {value}").format(value=self.drive_weight),
                where=_("weight of the drive flank"),
                fix=_("give a share from 0 to 1"),
            )
        for key in fields(self):
            value = getattr(self, key.name)
            if key.name == "drive_weight" or not isinstance(value, float):
                continue
            if not (math.isfinite(value) and value > 0.0):
                raise InputError(
                    _("{value} is not above zero").format(value=value),
                    where=key.name,
                    fix=_("give a number above 0"),
                )

    def weight(self, flank: str) -> float:
        """Return what a flank counts."""
        return self.drive_weight if flank == "drive" else 1.0 - self.drive_weight

    @property
    def step_mm(self) -> float:
        """Step in which positions are tried: one unit of the mark, at least 0.01 mm [mm]."""
        return max(UNIT_MM[self.mark_unit or "0.001 in"], 0.01)

    def mark(self, best_mm: float) -> DepthMark | None:
        """Return the mark for a best position, or None while the shop's convention is not known."""
        if not self.mark_unit or not self.mark_meaning:
            return None
        return DepthMark.of_deviation(best_mm, self.mark_unit, self.mark_meaning)

    def plain(self) -> dict[str, Any]:
        """Return the fields as JSON values."""
        return asdict(self)

    @classmethod
    def of(cls, values: Mapping[str, Any]) -> Practice:
        """Return the practice of plain fields; unknown ones are left out."""
        names = {field.name for field in fields(cls)}
        return cls(**{key: value for key, value in values.items() if key in names})
