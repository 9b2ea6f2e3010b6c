"""The end of an attempt told plainly: the truth, how it stands, what each move did, and the best course."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

from axlewright.diagnosis import Goal
from axlewright.job.practice_view import action_words, show_hours
from axlewright.language import Number, _
from axlewright.training import (
    FAULT_WORDS,
    Action,
    HiddenAxle,
    Played,
    after_course,
    best_settings,
    judge_axle,
    needs_setting,
    not_sure_at_the_bench,
    review,
    show_axle,
    way_of,
)
from axlewright.units import System, show_length

COUNTS_AS_RIGHT: Final = (0.7, 1.3)
"""A move of this share of what was needed is called about right."""
TOLD_MM: Final = 0.0127
"""Less than this off is not told (0.0005 in, the step of spacers)."""


@dataclass(frozen=True, slots=True)
class ShownReview:
    """The end of an attempt in words.

    Attributes
    ----------
    right : bool
    headline : str
    truth : tuple of str
        What was wrong and by how much.
    end : tuple of str
        How the axle stands now.
    moves : tuple of (str, str)
        Each change and what there is to say of it.
    best : tuple of str
        The best course, step by step.
    best_why : tuple of str
        Why the best course leaves something where it is that sits off, in sentences.
    best_hours, hours, share : str
    """

    right: bool
    headline: str
    truth: tuple[str, ...]
    end: tuple[str, ...]
    moves: tuple[tuple[str, str], ...]
    best: tuple[str, ...]
    best_why: tuple[str, ...]
    best_hours: str
    hours: str
    share: str


def _off(mm: float, plus: str, minus: str, system: System) -> str:
    return (plus if mm > 0 else minus).format(length=show_length(abs(mm), system))


def show_review(played: Played, system: System) -> ShownReview:
    """Tell the truth, the best course, and why, after an attempt is over."""
    came = review(played)
    found = played.axle.settings
    truth = [_(FAULT_WORDS[played.axle.kind])]
    if abs(found.pinion_out_mm) > TOLD_MM:
        truth.append(
            _off(
                found.pinion_out_mm,
                _("The pinion sat {length} too far out."),
                _("The pinion sat {length} too far in."),
                system,
            )
        )
    if abs(found.ring_away_mm) > TOLD_MM:
        truth.append(
            _off(
                found.ring_away_mm,
                _("The ring gear sat {length} too far away."),
                _("The ring gear sat {length} too close."),
                system,
            )
        )
    if found.offset_error_mm:
        truth.append(
            _("Offset {length}, shaft angle {angle} minutes of arc off.").format(
                length=show_length(found.offset_error_mm, system, signed=True),
                angle=Number(found.shaft_angle_error_deg * 60, "+.1f"),
            )
        )
    if played.axle.kind == "runout":
        truth.append(
            _("The ring gear ran out by {length}.").format(length=show_length(played.axle.runout_mm, system))
        )
    if needs_setting(played.axle.kind):
        truth += _own_place(played.axle, system) + _where_backlash_came_from(played.axle, system)
    moves = []
    for k, action in enumerate(played.attempt.actions):
        way = way_of(played, k)
        if way is not None:
            moves.append((action_words(action, system), _way_words(way)))
    end = []
    if came.judged.good:
        end.append(_("Patterns and backlash lie as they belong."))
    elif came.judged.passes:
        end += _only_passes(played)
    end.extend(came.judged.faults)
    if came.right:
        headline = _("Right. The clock stands at {hours}; the best there was is {best}.").format(
            hours=show_hours(came.hours), best=show_hours(came.best_hours)
        )
    elif came.comeback_hours:
        headline = _("Not right: this one comes back and costs another {hours}.").format(
            hours=show_hours(came.comeback_hours)
        )
    else:
        headline = _("Not right.")
    return ShownReview(
        came.right,
        headline,
        tuple(truth),
        tuple(end),
        tuple(moves),
        tuple(action_words(a, system) for a in came.best),
        _why_it_stays(played.axle, came.best, system) if needs_setting(played.axle.kind) else (),
        show_hours(came.best_hours),
        show_hours(came.hours + came.comeback_hours),
        f"{100 * came.share:.0f} %",
    )


def _own_place(axle: HiddenAxle, system: System) -> list[str]:
    """Say how far the members sat from where this set itself lies best, where that is another place."""
    found, best = axle.settings, best_settings(axle, axle.settings)
    if max(abs(best.pinion_out_mm), abs(best.ring_away_mm)) <= TOLD_MM:
        return []
    return [
        _(
            "These are distances from where the set was developed. Its own lie and backlash put its best "
            "place elsewhere: from there the pinion sat {pinion} (out plus), the ring gear {ring} (away "
            "plus)."
        ).format(
            pinion=show_length(found.pinion_out_mm - best.pinion_out_mm, system, signed=True),
            ring=show_length(found.ring_away_mm - best.ring_away_mm, system, signed=True),
        )
    ]


def _where_backlash_came_from(axle: HiddenAxle, system: System) -> list[str]:
    """Say what the set's own backlash was and what ring gear and pinion made of it."""
    found = axle.settings
    came = show_axle(axle, found).backlash_mm
    by_ring = show_axle(axle, replace(found, pinion_out_mm=0.0)).backlash_mm - axle.backlash_zero_mm
    if not math.isfinite(came + by_ring):
        return []
    return [
        _(
            "Its backlash came in at {came}: {zero} where this set was developed, {ring} from the ring "
            "gear's place and {pinion} from the pinion's."
        ).format(
            came=show_length(came, system),
            zero=show_length(axle.backlash_zero_mm, system),
            ring=show_length(by_ring, system, signed=True),
            pinion=show_length(came - by_ring - axle.backlash_zero_mm, system, signed=True),
        )
    ]


def _only_passes(played: Played) -> list[str]:
    """Say why an axle that no acceptance criterion calls outside is not right all the same."""
    goal, shown = Goal(), show_axle(played.axle, played.settings)
    unsure = not_sure_at_the_bench(played.axle, shown)
    out = [
        _("No limit of a pattern check is crossed, but it does not lie where it runs quietly.")
        if unsure
        else _("A pattern check would pass it, but it does not lie where it runs quietly.")
    ]
    for k, flank in enumerate(("drive", "coast")):
        value, wanted = shown.patterns[flank].center[1], goal.center[2 * k + 1]
        if abs(value - wanted) <= goal.accept[2 * k + 1]:
            continue
        words = (
            _("Drive side: centre in profile {value}; it belongs at {wanted} ± {accept}.")
            if flank == "drive"
            else _("Coast side: centre in profile {value}; it belongs at {wanted} ± {accept}.")
        )
        out.append(
            words.format(
                value=Number(value, "+.2f"),
                wanted=Number(wanted, ".2f"),
                accept=Number(goal.accept[2 * k + 1], ".2f"),
            )
        )
    if unsure:
        out.append(_("Read at the bench, the check leaves this open and asks to measure again:"))
        out += unsure
    return out


def _why_it_stays(axle: HiddenAxle, course: tuple[Action, ...], system: System) -> tuple[str, ...]:
    """Say why a course leaves ring gear or pinion where it is though it sits off."""
    goal, found, kinds = Goal(), axle.settings, {a.kind for a in course}
    shown = show_axle(axle, after_course(axle, course))
    if not judge_axle(axle, shown).good:
        return ()
    nominal = axle.design.backlash_nominal_mm
    low, high = nominal - goal.backlash_accept_mm, nominal + goal.backlash_accept_mm
    words = []
    if "shim" not in kinds and abs(found.ring_away_mm) > TOLD_MM:
        words.append(
            _("The ring gear may stay where it sits, {off} (away plus).").format(
                off=show_length(found.ring_away_mm, system, signed=True)
            )
        )
    if "press" not in kinds and abs(found.pinion_out_mm) > TOLD_MM:
        words.append(
            _("The pinion may stay where it sits, {off} (out plus).").format(
                off=show_length(found.pinion_out_mm, system, signed=True)
            )
        )
    if not words:
        return ()
    return (
        *words,
        _(
            "After this course both patterns lie as they belong, and the backlash comes to {backlash}, "
            "within {low} to {high}: to move more costs hours and makes nothing better that counts."
        ).format(
            backlash=show_length(shown.backlash_mm, system),
            low=show_length(low, system),
            high=show_length(high, system),
        ),
    )


def _way_words(way: float) -> str:
    low, high = COUNTS_AS_RIGHT
    if abs(way) < 0.05:
        return _("nothing was needed there")
    if way < 0:
        return _("the wrong way")
    if way < low:
        return _("the right way, {share} % of what was needed").format(share=round(100 * way))
    if way > high:
        return _("the right way, too far: {share} % of what was needed").format(share=round(100 * way))
    return _("about right")
