"""Several looks at one setting of an axle: which of them count together, and what they say of each other."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from axlewright.job.pattern_looks import FLANKS, FlankName, kept_reading
from axlewright.language import eager as _

if TYPE_CHECKING:
    from axlewright.pattern import PatternReading

PHOTOGRAPHED: Final = ("photo", "teeth")
"""Ways of reading that count together when there are several at one setting."""
MOST_OFFERS: Final = 3
"""Photos of the flank that decides after which no more are offered, whether they agree or not."""


@dataclass(frozen=True, slots=True)
class Look:
    """One flank as it was read in one round.

    Attributes
    ----------
    reading : PatternReading
    photos : frozenset of str
        Hashes of the photos it was read from.
    doubts : tuple of str
        What should be looked at before anything is pressed on the strength of it.
    """

    reading: PatternReading
    photos: frozenset[str] = frozenset()
    doubts: tuple[str, ...] = ()


def photos_of(kept: Mapping[str, Any]) -> frozenset[str]:
    """Return the hashes of the photos a kept flank was read from."""
    return frozenset(str(one["photo"]) for one in (kept, *kept.get("teeth", ())) if one.get("photo"))


def look_of(kept: Mapping[str, Any], flank: str) -> Look:
    """Return a look as it was kept."""
    return Look(kept_reading(kept, flank), photos_of(kept), tuple(kept.get("doubts", ())))


def gathered(newest_first: Iterable[Mapping[Any, Look]]) -> dict[Any, tuple[Look, ...]]:
    """Return the looks of each flank that count at one setting, oldest first.

    Photos count together, each once: the same photo read anew stands in place of its older reading. Words and
    sketches stand alone, and for what was read before them. A flank that the newest round did not read is
    taken from the newest round that photographed it, unless what that round shows of the other flank is
    another setting.

    Parameters
    ----------
    newest_first : iterable of mappings of flank to Look
        Rounds at the setting, the newest first.
    """
    from axlewright.pattern import agree

    looks: dict[Any, list[Look]] = {}
    closed: set[Any] = set()
    for place, one in enumerate(newest_first):
        unlike = any(
            flank in looks and not agree(look.reading, looks[flank][-1].reading)
            for flank, look in one.items()
        )
        for flank, look in one.items():
            photographed = look.reading.source in PHOTOGRAPHED
            newer = looks.get(flank)
            if newer is None:
                if place == 0 or (photographed and not unlike):
                    looks[flank] = [look]
            elif flank in closed or not photographed or newer[-1].reading.source not in PHOTOGRAPHED:
                closed.add(flank)
            elif not any(look.photos & other.photos for other in newer):
                newer.insert(0, look)
    return {flank: tuple(several) for flank, several in looks.items()}


def together(looks: Mapping[Any, Sequence[Look]]) -> dict[Any, PatternReading]:
    """Return one reading of each flank."""
    from axlewright.pattern import combine_looks

    return {flank: combine_looks([look.reading for look in several]) for flank, several in looks.items()}


def looked_again(several: Sequence[Look]) -> bool:
    """Say whether a flank was photographed as often as is asked for."""
    from axlewright.pattern import agree

    photographed = [look.reading for look in several if look.reading.source in PHOTOGRAPHED]
    alike = sum(agree(one, photographed[-1]) for one in photographed)
    return alike > 1 or len(photographed) >= MOST_OFFERS


def notes_of(
    looks: Mapping[Any, Sequence[Look]], read_now: Mapping[FlankName, Any]
) -> tuple[list[str], list[str]]:
    """Say what earlier rounds at the same setting add to this one.

    Returns
    -------
    notes, doubts : list of str
        Doubts are to be asked about before gears come out.
    """
    from axlewright.pattern import agree

    notes, doubts = list[str](), list[str]()
    for flank in FLANKS:
        several = looks.get(flank, ())
        if not several:
            continue
        label = _("drive: {sentence}") if flank == "drive" else _("coast: {sentence}")
        if flank not in read_now:
            notes.append(
                _("The drive flank counts as it was read before at this setting.")
                if flank == "drive"
                else _("The coast flank counts as it was read before at this setting.")
            )
        if len(several) == 1:
            continue
        newest, combined = several[-1].reading, together({flank: several})[flank]
        notes += [label.format(sentence=s) for s in combined.quality if s not in newest.quality]
        if not all(agree(look.reading, newest) for look in several):
            doubts.append(
                _("Two photos of the drive flank at this setting do not agree: photograph a third.")
                if flank == "drive"
                else _("Two photos of the coast flank at this setting do not agree: photograph a third.")
            )
    return notes, doubts
