"""Fix the speed by the lines of the set of sources that was found, and say how far it is then known.

Teeth, joints and whole orders of a tread fix the speed; a bearing slips, so it tells the speed only
within its slip, joined with what was stated; an order nobody named tells nothing about the speed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from axlewright.sound.angle import OrderSpectra, refine
from axlewright.sound.evidence import Posterior, SetEvidence, own_slip
from axlewright.sound.findings import MESH
from axlewright.sound.orders import Candidate
from axlewright.sound.sidebands import locate

FloatArray = NDArray[np.float64]

FOUND_SPEED: Final = 0.003
"""A speed whose 90 % interval is no wider than this to either side (relative) is called found."""
RIGID_FLOOR: Final = 0.0004
"""Standard deviation (relative) of a speed fixed by teeth, found on simulated drives."""
RIGID_CAP: Final = 0.0006
"""After phase refinement no rigid line is worse than this, however broad its score was; likewise."""
LEAST_WEIGHT: Final = 1e-4
CHANCE: Final = 0.9


@dataclass(frozen=True, slots=True)
class Settled:
    """The speed as one set of sources wants it.

    Parameters
    ----------
    turns : ndarray, shape (n,)
        Wheel turns at each sample.
    wheel_hz : ndarray, shape (frames,)
        Wheel turn rate at the frames.
    sigma : float
        Relative standard deviation of the mean rate, over all sets that compete.
    interval : tuple of float
        Lower and upper relative error of the mean rate with a chance of 90 %, over all sets likewise.
    """

    turns: FloatArray
    wheel_hz: FloatArray
    sigma: float
    interval: tuple[float, float]


def settle(
    samples: FloatArray,
    rate: int,
    times: FloatArray,
    turns: FloatArray,
    spectra: OrderSpectra,
    posterior: Posterior,
    by_name: dict[str, Candidate],
    winner: SetEvidence,
    sigma: float,
) -> Settled:
    """Fix the speed by one set's own lines.

    Parameters
    ----------
    samples : ndarray, shape (n,)
    rate : int
    times : ndarray, shape (frames,)
    turns : ndarray, shape (n,)
        Wheel turns of the reference.
    spectra : OrderSpectra
        On those turns.
    posterior : Posterior
    by_name : dict of str to Candidate
    winner : SetEvidence
        The set to go by.
    sigma : float
        Relative standard deviation of the stated speed.

    Returns
    -------
    Settled
    """
    named = [by_name[name] for name in winner.members if name in by_name]
    # An order nobody named gives the shape of the speed; its mean stays the stated one.
    error = winner.error
    if named:
        lead = min(named, key=lambda c: (c.slip, c.name != MESH))
        slip = own_slip(posterior.line_scores, lead, winner.error)
        lines = _strong_lines(posterior, lead, winner.error + slip)
        if lead.slip:
            error = winner.mean_error
        elif lines:
            seen, power = locate(spectra.level, lines[-1] * math.exp(winner.error))
            if power > 0 and abs(math.log(seen / lines[-1]) - winner.error) < 0.004:
                error = math.log(seen / lines[-1])
        own = slip + winner.error - error if lead.slip else 0.0
        turns = turns * math.exp(error)
        if lines:
            turns, _ = refine(samples, rate, turns, tuple(o * math.exp(own) for o in lines), rounds=3)
    else:
        turns = turns * math.exp(error)
    at = np.clip((times * rate).astype(int), 0, len(turns) - 1)
    low, high, spread = _known_to(posterior, by_name, winner, error, sigma)
    return Settled(turns, np.gradient(turns[at], times), spread, (low, high))


def _strong_lines(posterior: Posterior, candidate: Candidate, error: float) -> list[float]:
    """Return the candidate's lines that are clearly there, lowest first."""
    orders = candidate.orders
    if candidate.kind == "tread":
        orders = tuple(float(n) for n in range(39, 98))
    step = posterior.orders[1]
    scored = []
    for order in orders:
        at = round(order * math.exp(error) / step)
        if 2 <= at < len(posterior.line_scores) - 2:
            scored.append((float(posterior.line_scores[at - 1 : at + 2].max()), order))
    strong = sorted(scored, reverse=True)[:2]
    return sorted(order for score, order in strong if score > 5.0)


def _known_to(
    posterior: Posterior, by_name: dict[str, Candidate], winner: SetEvidence, error: float, sigma: float
) -> tuple[float, float, float]:
    """Return the 90 % interval of the speed error that is left, and its standard deviation.

    All sets speak with their probability, each with a normal distribution of its own.
    """
    weights: list[float] = []
    centres: list[float] = []
    widths: list[float] = []
    for item in posterior.sets:
        weight = math.exp(item.log_posterior)
        if weight < LEAST_WEIGHT and item is not winner:
            continue
        slips = [by_name[name].slip for name in item.members if name in by_name]
        if not slips:
            width = sigma
        elif min(slips) == 0:
            width = math.hypot(min(item.error_sigma, RIGID_CAP), RIGID_FLOOR)
        else:
            width = item.error_sigma
        weights.append(weight)
        other = item.mean_error if slips and min(slips) > 0 else item.error
        centres.append(error if item is winner else other)
        widths.append(width)
    share = np.array(weights) / sum(weights)
    offset, width_of = np.array(centres) - error, np.array(widths)
    spread = math.sqrt(float((share * (offset**2 + width_of**2)).sum()))
    reach = float((np.abs(offset) + 4 * width_of).max())
    grid = np.linspace(-reach, reach, 4001)
    chance = (share[:, None] * stats.norm.cdf((grid[None, :] - offset[:, None]) / width_of[:, None])).sum(0)
    low = float(np.interp((1 - CHANCE) / 2, chance, grid))
    return low, float(np.interp((1 + CHANCE) / 2, chance, grid)), spread
