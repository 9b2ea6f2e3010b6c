"""Another look, which costs minutes and comes before every change: when it is due and what it is worth.

A second photo of the flank that decides shows the same pattern with an error of its own. Every sample of the
posterior is taken for the truth in turn, a photo of it is drawn, the samples are weighed by it and the change
with the fewest expected hours is chosen anew (the value of sample information: H. Raiffa and R. Schlaifer,
Applied Statistical Decision Theory, 1961; from memory). What is saved against choosing now is set against the
cost of the look. What two photos of a set share of their errors, a fifth of the variance, is left aside; the
worth is overstated a little by that.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from axlewright.contact.atlas import Atlas
from axlewright.contact.marks import flank_name
from axlewright.diagnosis.advice import (
    COST_HOURS,
    COST_WORDS,
    Advice,
    expected_hours,
    gears_out_class,
    show_chance,
)
from axlewright.diagnosis.cause import Posterior
from axlewright.diagnosis.cure import Goal, accepted, best_moves, patterns_after
from axlewright.diagnosis.evidence import Evidence, Place
from axlewright.gearset import FlankName
from axlewright.language import Text, _

Array = NDArray[np.float64]

# Pinion moves tried, about the wanted one in its own standard deviations: beyond two a photo seldom sends it.
TRIED_SDS = (-2.0, -1.5, -1.0, -0.5, 0.0, 0.5, 1.0, 1.5, 2.0)
SAMPLES = 1024
TRUTHS = 512  # of them are taken for the truth
RING_SAMPLES = 128  # the ring gear's move hardly hangs on the pinion's: three places and lines between
# A new photo is taken to be read about as well as the one before, within what drawn photos reach.
NEW_PHOTO_SD = (0.02, 0.05)


@dataclass(frozen=True, slots=True)
class LookWorth:
    """What another photo is worth.

    Attributes
    ----------
    hours_saved : float
        On average, the cost of the look not counted [h].
    chance_now, chance_then : float
        Chance of being the last teardown of the change chosen now, and on average after the look.
    """

    hours_saved: float
    chance_now: float
    chance_then: float


def worth_of_another_photo(
    posterior: Posterior,
    atlas: Atlas,
    *,
    goal: Goal,
    target_mm: float,
    moves: tuple[Array, Array],
    place: Place,
    profile_sd: float,
    buildable: Array | None = None,
    seed: int = 0,
) -> LookWorth:
    """Return what another photo of the flank that decides would save.

    Parameters
    ----------
    posterior : Posterior
    atlas : Atlas
    goal : Goal
    target_mm : float
        Wanted mean backlash [mm].
    moves : (array, array)
        Pinion and ring-gear move that suit each sample best, as `best_moves` gives them [mm].
    place : {"under_head", "behind_cup", "cage_flange"}
        Where the spacer sits; it decides what a change costs.
    profile_sd : float
        How well the profile place was read [half working depths].
    buildable : array, optional
        Pinion moves that can be built [mm]; any, when None.
    seed : int
    """
    rng = np.random.default_rng(seed)
    wanted, spread = float(np.median(moves[0])), float(np.std(moves[0]))
    some, posterior = posterior.thinned(RING_SAMPLES), posterior.thinned(SAMPLES)
    scatter = rng.standard_normal((len(posterior.settings), 2)) * goal.build_sd_mm

    def ring_for(pinion: float) -> float:
        b = best_moves(some, atlas, target_mm, goal, pinion_move=np.array(pinion))[1]
        return float(np.median(b))

    pinion_moves = wanted + spread * np.array(TRIED_SDS)
    known = pinion_moves[[0, len(pinion_moves) // 2, -1]]
    ring_known = [ring_for(float(m)) for m in known]
    if buildable is not None:  # of those on the shelf the nearest to each
        pinion_moves = np.unique(buildable[np.abs(pinion_moves[:, None] - buildable).argmin(axis=1)])
    ring_moves = np.interp(pinion_moves, known, ring_known)
    tries = [(0.0, 0.0, "L0"), (0.0, ring_for(0.0), "L1")]
    tries += [
        (float(m), float(r), gears_out_class(place)) for m, r in zip(pinion_moves, ring_moves, strict=True)
    ]
    good = np.empty((len(tries), len(posterior.settings)))
    for k, (pinion, ring, _class) in enumerate(tries):
        built = scatter * [bool(pinion), bool(pinion or ring)]
        after = patterns_after(posterior, atlas, pinion + built[:, 0], ring + built[:, 1])
        good[k] = accepted(*after, target_mm, goal)
    classes = [c for _pinion, _ring, c in tries]
    now = good.mean(axis=1)
    hours_now = expected_hours(classes, now)

    column = 1 if goal.deciding_flank == "drive" else 3
    place_now = patterns_after(posterior, atlas, 0.0, 0.0)[0][:, column]
    sd = float(np.clip(profile_sd, *NEW_PHOTO_SD))
    truth = np.linspace(0, len(place_now) - 1, TRUTHS).astype(int)
    evenly = (rng.permutation(TRUTHS) + rng.random(TRUTHS)) / TRUTHS  # reading errors, one from each share
    shown = place_now[truth] + sd * norm.ppf(evenly)
    weight = np.exp(-0.5 * ((shown[:, None] - place_now) / sd) ** 2)
    then = (weight @ good.T) / weight.sum(axis=1, keepdims=True)
    hours_then = expected_hours(classes, then)
    chosen = hours_then.argmin(axis=1)
    # The same truths without the photo, so that chance in drawing them does not count.
    same = expected_hours(classes, then.mean(axis=0))
    rows = np.arange(TRUTHS)
    return LookWorth(
        float(same.min() - hours_then[rows, chosen].mean()),
        float(now[int(hours_now.argmin())]),
        float(then[rows, chosen].mean()),
    )


def _look(text: Text, spacer_now_mm: float | None) -> Advice:
    """Return a look that costs minutes and moves nothing."""
    return Advice(
        text, 0.0, 0.0, 0.0, spacer_now_mm, "L0", _(COST_WORDS["L0"]), 0.0, {}, None, look_again=True
    )


def _photograph_first(flank: FlankName, refused: bool) -> Text:
    if refused:
        return _(
            "Photograph the {flank} again before anything is changed: it decides, and its photo was refused. "
            "Soft light from the side, no shine, the paint fresh and thin; if it is refused again, draw the "
            "mark by hand."
        ).format(flank=flank_name(flank))
    return _(
        "Photograph the {flank} before anything is changed: it decides, and it was not read. The {other} "
        "alone is no ground for pressing a bearing."
    ).format(flank=flank_name(flank), other=flank_name("coast" if flank == "drive" else "drive"))


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
        return _look(
            _(
                "Roll and read both flanks again and check that design, set and pictures belong together; "
                "what was read is no ground for taking anything apart."
            ),
            spacer,
        )
    if seen is None or refused:  # words or a sketch in place of a refused photo do not stand in for it
        return _look(_photograph_first(flank, refused), spacer)
    look = evidence.drive if flank == "drive" else evidence.coast
    if seen.profile_sd > ROUGH_SD and getattr(look, "source", "") in BY_HAND:
        if best.cost_class == "L4" or best.chance_last_teardown >= ROUGH_CHANCE:
            return None
        return _look(
            _(
                "Photograph both flanks and read the backlash before anything is decided: what is known so "
                "far is too rough to say that the set is right, and no ground for taking it apart."
            ),
            spacer,
        )
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
    text = _(
        "Photograph the {flank} once more, on another tooth, before anything is changed: that should raise "
        "the chance of the last teardown from {now} to about {then}. Fresh, thin paint, soft light from the "
        "side; both photos then count."
    ).format(flank=flank_name(flank), now=show_chance(now), then=show_chance(then))
    return replace(_look(text, spacer), saves_hours=worth.hours_saved)
