"""Is another photo worth its minutes? What it would save on average, before it is taken.

A second photo of the flank that decides shows the same pattern with an error of its own. Every sample of the
posterior is taken for the truth in turn, a photo of it is drawn, the samples are weighed by it and the change
with the fewest expected hours is chosen anew (the value of sample information: H. Raiffa and R. Schlaifer,
Applied Statistical Decision Theory, 1961; from memory). What is saved against choosing now is set against the
cost of the look. What two photos of a set share of their errors, a fifth of the variance, is left aside; the
worth is overstated a little by that.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from axlewright.contact.atlas import Atlas
from axlewright.diagnosis.advice import expected_hours, gears_out_class
from axlewright.diagnosis.cause import Posterior
from axlewright.diagnosis.cure import Goal, accepted, best_moves, patterns_after
from axlewright.diagnosis.evidence import Place

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
