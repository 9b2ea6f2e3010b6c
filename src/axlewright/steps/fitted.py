"""The spacer that is in the axle: what was last said to be fitted counts until another is entered."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final

from axlewright.language import Shown
from axlewright.units import MM_PER_INCH, System

if TYPE_CHECKING:
    from axlewright.records import Entry

SAME_MM: Final = 5e-4
"""Two typed thicknesses this close are the same entry; well below what a micrometer shows."""


@dataclass(frozen=True, slots=True)
class LastFitted:
    """The spacer last said to be fitted.

    Attributes
    ----------
    mm : float
        Its thickness [mm].
    place : str
        Where it sits.
    seq, who, at : int, str, datetime
        The reading it was typed in, by whom and when.
    counts : bool
        Whether that entry stands; False when it was taken back and nothing took its place.
    system : {"inch", "metric"}
        In which it was typed.
    """

    mm: float
    place: str
    seq: int
    who: str
    at: datetime
    counts: bool
    system: System

    @property
    def typed(self) -> str:
        """The thickness with its unit, as a form is filled in with it."""
        metric = self.system == "metric"
        value, unit, least = (self.mm, "mm", 3) if metric else (self.mm / MM_PER_INCH, "in", 4)
        places = next(p for p in (least, 4, 5, 6) if p == 6 or abs(round(value, p) - value) < 1e-7)
        return f"{Shown(value):.{places}f} {unit}"


def last_fitted(entries: Sequence[Entry]) -> LastFitted | None:
    """Return the spacer last said to be fitted in a job, also where that entry was taken back.

    Parameters
    ----------
    entries : sequence of Entry
        All entries of the job, oldest first, superseded ones among them.
    """
    gone = {e.supersedes for e in entries if e.supersedes is not None}
    by_seq = {e.seq: e for e in entries}
    for entry in reversed(entries):
        if entry.step != "depth" or entry.kind != "result":
            continue
        values: Mapping[str, Any] = entry.payload.get("values", {})
        if not values.get("fitted"):
            continue
        origin = by_seq.get(int(values.get("fitted_from") or entry.payload.get("of") or 0), entry)
        return LastFitted(
            float(values["spacer_now_mm"]),
            str(values.get("place", "")),
            origin.seq,
            origin.who,
            origin.at,
            entry.seq not in gone,
            "metric" if origin.payload.get("system") == "metric" else "inch",
        )
    return None
