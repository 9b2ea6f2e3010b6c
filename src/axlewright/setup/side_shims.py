"""Side shims and threaded adjusters: where the ring gear sits, with the preload kept or added.

A thicker shim on the side of the ring gear's back pushes the gear toward the pinion. Equal and opposite
changes keep the total, and with it the preload of the side bearings (TM 9-2320-289-34 ch 6; TM 5-3805-260-24
ch 3 for adjusters).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from axlewright.errors import InputError
from axlewright.language import Text, _, plural


@dataclass(frozen=True, slots=True)
class SideShims:
    """The two side shims.

    Parameters
    ----------
    ring_side_mm : float
        Shim on the side of the ring gear's back [mm].
    other_side_mm : float
        Shim on the other side [mm].
    """

    ring_side_mm: float
    other_side_mm: float

    def __post_init__(self) -> None:
        for value, side in ((self.ring_side_mm, _("ring gear side")), (self.other_side_mm, _("other side"))):
            if not (math.isfinite(value) and value > 0.0):
                raise InputError(
                    _("shim of {value} mm").format(value=value),
                    where=_("side shims, {side}").format(side=side),
                    fix=_("a shim is thicker than zero"),
                )

    @property
    def total_mm(self) -> float:
        """Both together [mm]; sets the preload."""
        return self.ring_side_mm + self.other_side_mm

    def moved(self, ring_away_mm: float) -> SideShims:
        """Return the shims that move the ring gear away from the pinion by `ring_away_mm`, total kept."""
        return SideShims(self.ring_side_mm - ring_away_mm, self.other_side_mm + ring_away_mm)

    def preloaded(self, each_side_mm: float) -> SideShims:
        """Return the shims with `each_side_mm` added on each side for preload."""
        return SideShims(self.ring_side_mm + each_side_mm, self.other_side_mm + each_side_mm)


def notch_travel_mm(thread_pitch_mm: float, notches: int) -> float:
    """Return how far a threaded adjuster moves for one notch [mm].

    Parameters
    ----------
    thread_pitch_mm : float
        Pitch of its thread [mm], > 0; 25.4 over the number of threads per inch.
    notches : int
        Notches around the adjuster.
    """
    if not thread_pitch_mm > 0.0:
        raise InputError(
            _("thread pitch {thread_pitch_mm} mm").format(thread_pitch_mm=thread_pitch_mm),
            where=_("adjuster"),
            fix=_("give the pitch, above 0"),
        )
    if notches < 1:
        raise InputError(
            _("{notches} notches").format(notches=notches),
            where=_("adjuster"),
            fix=_("count the notches around the adjuster"),
        )
    return thread_pitch_mm / notches


@dataclass(frozen=True, slots=True)
class AdjusterMove:
    """A ring gear move in notches of threaded adjusters.

    Parameters
    ----------
    notches : int
        Notches to turn, the same number off on one side and on at the other.
    ring_away_mm : float
        The move that these notches make [mm].
    remainder_mm : float
        Asked minus made [mm].
    """

    notches: int
    ring_away_mm: float
    remainder_mm: float

    def text(self) -> Text:
        """Return what to turn, in the order that ends by tightening."""
        if self.notches == 0:
            return _("Less than half a notch: leave the adjusters.")
        n = abs(self.notches)
        if self.notches > 0:
            words = plural(
                "Back the ring gear side off {n} notch, then tighten the other side {n} notch.",
                "Back the ring gear side off {n} notches, then tighten the other side {n} notches.",
                n,
            )
        else:
            words = plural(
                "Back the other side off {n} notch, then tighten the ring gear side {n} notch.",
                "Back the other side off {n} notches, then tighten the ring gear side {n} notches.",
                n,
            )
        return words.format(n=n)


def notches_for_move(ring_away_mm: float, thread_pitch_mm: float, notches_around: int) -> AdjusterMove:
    """Return the adjuster notches for a ring gear move; equal on both sides, so that the preload stays.

    One off, one on by the same amount (TM 5-3805-260-24 ch 3); always end by tightening
    (TM 5-3895-369-14 ch 5).
    """
    per_notch = notch_travel_mm(thread_pitch_mm, notches_around)
    count = round(ring_away_mm / per_notch)
    made = count * per_notch
    return AdjusterMove(count, made, ring_away_mm - made)
