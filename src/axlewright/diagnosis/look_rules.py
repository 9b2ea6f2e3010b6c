"""When a look that costs minutes comes before the best change."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from axlewright.contact.atlas import Atlas
from axlewright.diagnosis.advice import COST_HOURS, Advice, expected_hours, show_chance
from axlewright.diagnosis.another_look import worth_of_another_photo
from axlewright.diagnosis.cause import Posterior
from axlewright.diagnosis.cure import Goal
from axlewright.diagnosis.evidence import Evidence
from axlewright.diagnosis.looks import (
    photograph_first,
    photograph_once_more,
    read_again,
    see_better_first,
)

Array = NDArray[np.float64]

# A place in profile known worse than this (words, a sketch) carries no change, nor leaving all as it is, that
# is more likely wrong than right; photos reach 0.02 to 0.06.
ROUGH_SD, ROUGH_CHANCE = 0.10, 0.5
BY_HAND = ("words", "sketch")
LOOK_HOURS = COST_HOURS["L0"]
# One more photo is offered when it saves at least twice what it costs: the estimate is a rough one, and who
# is asked each time for little stops listening. Our choice.
WORTH_HOURS = 2.0 * LOOK_HOURS


def look_before(
    evidence: Evidence,
    posterior: Posterior,
    atlas: Atlas,
    goal: Goal,
    best: Advice,
    *,
    explained: bool,
    target_mm: float,
    moves: tuple[Array, Array],
    buildable: Array | None = None,
) -> Advice | None:
    """Return the look that comes before the best change; None when the change comes first.

    Parameters
    ----------
    best : Advice
        The best change.
    explained : bool
        Whether likely settings explain what was seen.
    target_mm : float
        Wanted mean backlash [mm].
    moves : (array, array)
        As `best_moves` gives them [mm].
    buildable : array, optional
        Pinion moves that can be built from the shelf [mm].
    """
    spacer, flank = evidence.spacer_now_mm, goal.deciding_flank
    seen, refused = evidence.seen(flank), flank in evidence.refused
    if not explained:
        return read_again(spacer)
    if seen is None or refused:  # words or a sketch in place of a refused photo do not stand in for it
        return photograph_first(flank, refused, spacer)
    look = evidence.drive if flank == "drive" else evidence.coast
    if seen.profile_sd > ROUGH_SD and getattr(look, "source", "") in BY_HAND:
        unsure = best.cost_class != "L4" and best.chance_last_teardown < ROUGH_CHANCE
        return see_better_first(spacer) if unsure else None
    if evidence.looked_again or best.cost_class == "L4":
        return None
    most = float(expected_hours(["L0"], np.array([best.chance_last_teardown]))[0]) - LOOK_HOURS
    if most <= WORTH_HOURS:  # a change as sure as this is left alone
        return None
    worth = worth_of_another_photo(
        posterior,
        atlas,
        goal=goal,
        target_mm=target_mm,
        moves=moves,
        place=evidence.place,
        profile_sd=seen.profile_sd,
        buildable=buildable,
    )
    now, gained = best.chance_last_teardown, worth.chance_then - worth.chance_now
    then = min(1.0, now + gained)
    if worth.hours_saved < WORTH_HOURS or gained <= 0.0 or show_chance(now) == show_chance(then):
        return None
    return photograph_once_more(flank, now, then, worth.hours_saved, spacer)
