"""Weigh sets of sources against each other, "none" and "unknown" among them.

A set of sources is judged by all its lines at once, with one error of the speed for the whole set
inside its prior. What the set leaves unexplained counts against it, because a larger set would
explain it. The result is a probability for every set and, summed over sets, for every source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import special

from axlewright.language import n_
from axlewright.sound.angle import ORDER_STEP, OrderSpectra
from axlewright.sound.lines import persistent_score
from axlewright.sound.orders import TREAD_BLOCKS, Candidate
from axlewright.sound.sidebands import CARRIER_REACH, free_spacing_evidence, spacing_evidence, widened

FloatArray = NDArray[np.float64]

TEMPER: Final = 0.2
"""Segments overlap by three quarters and noise is not ideal; checked by the benchmark's coverage."""
ERROR_STEP: Final = 0.0002
OVERTONE_ABSENT: Final = 0.4
TREAD_ABSENT: Final = 0.7
UNKNOWN_ODDS: Final = 0.22
UNKNOWN_ORDERS: Final = (1.5, 130.0)
SECOND: Final = 0.2
"""Factor on the odds of a source when another is already there."""
TOP_NATS: Final = 5.0
TREAD_REACH: Final = (0.78, 1.22)
"""Part of the number of blocks over which the lines of a tread spread."""
TREAD_LINES: Final = 3.0
LEADING_ACTIVITY: Final = (0.3, 0.6, 0.9)
"""Shares of the time in which a source's leading line is heard if the source is there at all."""
TREAD_SKIRT: Final = 0.38
"""Orders on either side of each whole order that a tread's lines and their wander may fill."""
SKIRT: Final = 0.3
"""Orders on either side of a strong line in which its own wander may leave something."""
UNKNOWN: Final = n_("something else that follows road speed")
NONE: Final = n_("no tone that follows road speed")


@dataclass(frozen=True, slots=True)
class SetEvidence:
    """One set of sources.

    Parameters
    ----------
    members : tuple of str
        Names; empty for none.
    log_posterior : float
        Relative to the best set [nats].
    error : float
        Most likely ln(true wheel rate / reference wheel rate) under this set.
    error_sigma : float
        Its standard deviation.
    unknown_order : float
        Order of the unknown member, if there is one (0 otherwise).
    mean_error : float
        Mean of that error instead of its most likely value: a bearing's slip leaves a wide range.
    """

    members: tuple[str, ...]
    log_posterior: float
    error: float
    error_sigma: float
    unknown_order: float = 0.0
    mean_error: float = 0.0


@dataclass(frozen=True, slots=True)
class Posterior:
    """What the recording says about sources.

    Parameters
    ----------
    sets : tuple of SetEvidence
        All sets, best first.
    probability : dict of str to float
        Chance that the source is there, for every candidate, `UNKNOWN` and `NONE`.
    line_scores : ndarray, shape (orders,)
        Joint line score over apparent order, for pictures.
    orders : ndarray, shape (orders,)
    curves : dict of str to ndarray
        Evidence of each candidate alone over the speed error, shape (errors,).
    errors : ndarray, shape (errors,)
    """

    sets: tuple[SetEvidence, ...]
    probability: dict[str, float]
    line_scores: FloatArray
    orders: FloatArray
    curves: dict[str, FloatArray]
    errors: FloatArray

    @property
    def top_sets(self) -> tuple[SetEvidence, ...]:
        """Sets within five nats of the best that are not a better set with something added."""
        kept: list[SetEvidence] = []
        for item in self.sets:
            if item.log_posterior < -TOP_NATS:
                break
            if not any(set(better.members) <= set(item.members) and better.members for better in kept):
                kept.append(item)
        return tuple(kept)

    @property
    def top(self) -> tuple[str, ...]:
        """Sources that are in one of `top_sets`, most probable first."""
        names = {name for item in self.top_sets for name in (item.members or (NONE,))}
        return tuple(sorted(names, key=lambda name: -self.probability[name]))


class _Lines:
    """Line scores over apparent order, read at any order and speed error.

    `scores` has two rows: a line that may be absent, and a leading line, which may not.
    """

    def __init__(self, scores: FloatArray, errors: FloatArray) -> None:
        self.scores = scores
        self.errors = errors
        self.wide = widened(scores[0])
        self.known: dict[tuple[float, bool], FloatArray] = {}

    def at(self, order: float, *, leading: bool = False) -> FloatArray:
        """Score of a line of this true order for every speed error."""
        key = (round(order, 4), leading)
        if key not in self.known:
            position = order * np.exp(self.errors) / ORDER_STEP
            row = self.scores[int(leading)]
            self.known[key] = np.interp(position, np.arange(len(row)), row, left=0.0, right=0.0)
        return self.known[key]


def _overtone(score: FloatArray) -> FloatArray:
    result: FloatArray = np.logaddexp(math.log(OVERTONE_ABSENT), math.log(1 - OVERTONE_ABSENT) + score)
    return result


def _family(lines: _Lines, candidate: Candidate) -> FloatArray:
    """Score of a candidate's lines for every speed error."""
    if candidate.kind == "tread":
        return _tread(lines, candidate)
    total = np.zeros(len(lines.errors))
    for index, order in enumerate(candidate.orders):
        total += lines.at(order, leading=True) if index == 0 else _overtone(lines.at(order))
    total += spacing_evidence(lines.wide, candidate, lines.errors)
    if candidate.slip:
        total = _smear(total, candidate.slip)
    return total


def _smear(score: FloatArray, sigma: float) -> FloatArray:
    """Average the likelihood over an own error of the candidate's orders."""
    half = int(2.5 * sigma / ERROR_STEP)
    offset = np.arange(-half, half + 1) * ERROR_STEP
    kernel = np.exp(-0.5 * (offset / sigma) ** 2)
    kernel /= kernel.sum()
    top = score.max()
    padded = np.pad(np.exp(score - top), half, mode="edge")
    result: FloatArray = np.log(np.convolve(padded, kernel, mode="valid") + 1e-300) + top
    return result


def _tread(lines: _Lines, candidate: Candidate) -> FloatArray:
    """Score of a hump of whole orders round the number of blocks, averaged over that number.

    A hump is several lines: where fewer than `TREAD_LINES` carry the score it is none.
    """
    blocks = [int(candidate.orders[0])] if candidate.orders else range(TREAD_BLOCKS[0], TREAD_BLOCKS[1] + 1)
    lowest, highest = math.ceil(TREAD_REACH[0] * min(blocks)), math.floor(TREAD_REACH[1] * max(blocks))
    raw = np.stack([lines.at(float(n)) for n in range(lowest, highest + 1)])
    each = np.logaddexp(math.log(TREAD_ABSENT), math.log(1 - TREAD_ABSENT) + raw)
    strong = np.maximum(raw - 2.0, 0.0)
    sums = []
    for b in blocks:
        rows = slice(math.ceil(TREAD_REACH[0] * b) - lowest, math.floor(TREAD_REACH[1] * b) - lowest + 1)
        total = each[rows].sum(axis=0)
        count = strong[rows].sum(axis=0) ** 2 / ((strong[rows] ** 2).sum(axis=0) + 1e-9)
        sums.append(np.where(count >= TREAD_LINES, total, np.minimum(total, -5.0)))
    result: FloatArray = special.logsumexp(np.stack(sums), axis=0) - math.log(len(sums))
    return result


def _mask_explained(scores: FloatArray, candidate: Candidate, error: float) -> FloatArray:
    """Blank what a source explains: its lines, their skirts and the sidebands they can have."""
    left = scores.copy()
    grid = np.arange(scores.shape[1]) * ORDER_STEP
    scale = math.exp(error)
    if candidate.kind == "tread":
        whole = grid / scale
        left[:, (np.abs(whole - np.round(whole)) < TREAD_SKIRT) & (whole > 39) & (whole < 98)] = 0.0
        return left
    scale *= math.exp(own_slip(scores[0], candidate, error))
    for order in candidate.orders:
        for spacing in (0.0, *(s for s in candidate.spacings if s > CARRIER_REACH)):
            for k in (-2, -1, 1, 2) if spacing else (0,):
                centre = (order + k * spacing) * scale
                away = np.abs(grid - centre)
                left[:, away < 0.004 * order + (SKIRT if k == 0 else 0.12)] = 0.0
    return left


def own_slip(scores: FloatArray, candidate: Candidate, error: float) -> float:
    """Return the slip of a bearing at which its lines fit best, 0 for anything else."""
    if not candidate.slip:
        return 0.0
    slips = np.arange(-2.5 * candidate.slip, 2.5 * candidate.slip, ERROR_STEP)
    total = -0.5 * (slips / candidate.slip) ** 2
    grid = np.arange(len(scores))
    for order in candidate.orders:
        total = total + np.interp(order * np.exp(error + slips) / ORDER_STEP, grid, scores, right=0.0)
    # Strong lines have flat tops: the middle of what fits about equally well.
    return float(slips[total > total.max() - 1.0].mean())


def _unknown(scores: FloatArray) -> tuple[float, float]:
    """Return the evidence for one more family of any order, and its most likely order."""
    log_orders = np.arange(math.log(UNKNOWN_ORDERS[0]), math.log(UNKNOWN_ORDERS[1]), 0.0004)
    orders = np.exp(log_orders)
    grid = np.arange(scores.shape[1])
    total = np.interp(orders / ORDER_STEP, grid, scores[1])
    for h in (2, 3):
        total = total + _overtone(np.interp(h * orders / ORDER_STEP, grid, scores[0], right=0.0))
    return float(special.logsumexp(total) - math.log(len(orders))), float(orders[np.argmax(total)])


def weigh(
    spectra: OrderSpectra,
    candidates: tuple[Candidate, ...],
    *,
    sigma: float,
    reference_error: float,
    presence_nats: float,
    lowest_order: float,
) -> Posterior:
    """Weigh all sets of up to two named sources, with and without an unknown one.

    Parameters
    ----------
    spectra : OrderSpectra
        Made with the reference speed.
    candidates : tuple of Candidate
    sigma : float
        Relative standard deviation of the stated wheel rate.
    reference_error : float
        Mean of ln(reference wheel rate / stated wheel rate).
    presence_nats : float
        Evidence that anything at all follows road speed, from the tracker.
    lowest_order : float
        Below this nothing can be heard in the recording.

    Returns
    -------
    Posterior
    """
    scores = np.stack(
        [
            persistent_score(spectra.scores, TEMPER),
            persistent_score(spectra.scores, TEMPER, activity=LEADING_ACTIVITY),
        ]
    )
    scores[:, spectra.orders < lowest_order] = 0.0
    # A little beyond the tracker's window, which phase refinement may leave.
    reach = 3 * sigma + 0.01
    errors = np.arange(-reach, reach + ERROR_STEP, ERROR_STEP) - reference_error
    log_prior = -0.5 * ((errors + reference_error) / sigma) ** 2
    log_prior -= special.logsumexp(log_prior)
    lines = _Lines(scores, errors)
    alone = {c.name: _family(lines, c) for c in candidates}
    own_odds = {c.name: math.log(c.prior) for c in candidates}
    extra, order = _unknown(scores)
    unknown_odds = math.log(UNKNOWN_ODDS)
    base = extra + unknown_odds + free_spacing_evidence(widened(scores[0]), order)
    found = [SetEvidence((UNKNOWN,), base, -reference_error, sigma, order)]
    singles = {
        c.name: _weigh_one(alone[c.name] + log_prior, errors, (c.name,), own_odds[c.name]) for c in candidates
    }
    # The stronger one speaks first and takes its sidebands with it; the other must live on the rest.
    ranked = sorted(candidates, key=lambda c: -singles[c.name].log_posterior)
    for index, first in enumerate(ranked):
        single = singles[first.name]
        found.append(single)
        left = _mask_explained(scores, first, single.error)
        extra, order = _unknown(left)
        found.append(_with_unknown(single, extra + unknown_odds, order))
        for second in ranked[index + 1 :]:
            names = (first.name, second.name)
            odds = own_odds[first.name] + math.log(second.prior * SECOND)
            pair = _weigh_pair(
                scores, left, (first, second), names, alone[first.name], log_prior, errors, odds
            )
            if pair is None:
                continue
            found.append(pair)
            if pair.log_posterior > single.log_posterior - 20.0:
                both = _mask_explained(_mask_explained(scores, first, pair.error), second, pair.error)
                extra, order = _unknown(both)
                found.append(_with_unknown(pair, extra + unknown_odds, order))
    best_value = max(item.log_posterior for item in found)
    # What the tracker says about "nothing at all" fixes the empty set against the best of the others.
    found.append(SetEvidence((), best_value - presence_nats, -reference_error, sigma))
    top = max(item.log_posterior for item in found)
    sets = sorted(
        (replace(item, log_posterior=item.log_posterior - top) for item in found),
        key=lambda item: -item.log_posterior,
    )
    return Posterior(
        tuple(sets), _marginals(sets, candidates), scores[0], spectra.orders, alone, errors + reference_error
    )


def _weigh_pair(
    scores: FloatArray,
    left: FloatArray,
    members: tuple[Candidate, Candidate],
    names: tuple[str, str],
    first_score: FloatArray,
    log_prior: FloatArray,
    errors: FloatArray,
    odds: float,
) -> SetEvidence | None:
    """Weigh two sources that share one speed; None when no speed leaves the second its own lines."""
    masked_at = math.nan
    for _ in range(3):
        joint = first_score + _family(_Lines(left, errors), members[1]) + log_prior
        pair = _weigh_one(joint, errors, names, odds)
        if math.isfinite(masked_at) and abs(pair.error - masked_at) < 0.004:
            return pair
        masked_at = pair.error
        left = _mask_explained(scores, members[0], pair.error)
    return None


def _weigh_one(joint: FloatArray, errors: FloatArray, names: tuple[str, ...], odds: float) -> SetEvidence:
    value = float(special.logsumexp(joint))
    weight = np.exp(joint - value)
    mean = float((weight * errors).sum())
    variance = float((weight * (errors - mean) ** 2).sum()) + ERROR_STEP**2 / 12
    best = float(errors[np.argmax(joint)])
    return SetEvidence(names, value + odds, best, math.sqrt(variance), mean_error=mean)


def _with_unknown(base: SetEvidence, extra: float, order: float) -> SetEvidence:
    return replace(
        base,
        members=(*base.members, UNKNOWN),
        log_posterior=base.log_posterior + extra,
        unknown_order=order,
    )


def _marginals(sets: list[SetEvidence], candidates: tuple[Candidate, ...]) -> dict[str, float]:
    norm = sum(math.exp(item.log_posterior) for item in sets)
    result = {c.name: 0.0 for c in candidates} | {UNKNOWN: 0.0, NONE: 0.0}
    for item in sets:
        share = math.exp(item.log_posterior) / norm
        for name in item.members or (NONE,):
            result[name] += share
    return result
