"""Sidebands beside a tone: their spacing names the gear without knowing the speed.

A mesh tone that swells once per pinion turn has sidebands at ±R, once per ring-gear turn at ±1 wheel
order. Tone over spacing is then exactly the pinion's or the ring gear's tooth count, whatever the
speed was. Each sideband of an amplitude modulation m stands 20 lg(m/2) below the tone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from axlewright.sound.turned import STEP as ORDER_STEP

FloatArray = NDArray[np.float64]

SPACING_SIGMA: Final = 0.25 * ORDER_STEP
"""Standard deviation of a measured spacing [orders]; found on simulated drives."""
FLOOR_DB: Final = -40.0
PAIR_NATS: Final = 2.0


@dataclass(frozen=True, slots=True)
class Sidebands:
    """Sidebands at one spacing.

    Parameters
    ----------
    name : str
        What turns at that rate.
    spacing : float
        Measured spacing [wheel orders as tracked].
    ratio : float
        Tone over spacing; tooth count when it is the mesh.
    ratio_sigma : float
        Its standard deviation.
    level_db : float
        Mean of both sides over the tone [dB].
    modulation : float
        Amplitude modulation that makes such sidebands.
    evidence : float
        Evidence for lines at both sides [nats].
    """

    name: str
    spacing: float
    ratio: float
    ratio_sigma: float
    level_db: float
    modulation: float
    evidence: float


def comb_score(scores: FloatArray, carriers: tuple[float, ...], spacings: FloatArray) -> FloatArray:
    """Return the joint score of lines on both sides of the carriers, shape of `spacings`.

    Parameters
    ----------
    scores : ndarray, shape (orders,)
        Joint line scores on the `ORDER_STEP` grid.
    carriers : tuple of float
        Apparent orders.
    spacings : ndarray
        Apparent spacings.
    """
    grid = np.arange(len(scores))
    total = np.zeros(len(spacings))
    for carrier in carriers:
        sides = [
            np.interp((carrier + side * spacings) / ORDER_STEP, grid, scores, left=0.0, right=0.0)
            for side in (-1, 1)
        ]
        total += pair_score(sides[0], sides[1])
    return total


def pair_score(lower: FloatArray, upper: FloatArray) -> FloatArray:
    """Return the score of two sidebands of one tone: both are there, or neither."""
    both = np.where(np.minimum(lower, upper) > PAIR_NATS, lower + upper, np.minimum(lower + upper, 0.0))
    result: FloatArray = np.logaddexp(math.log(0.5), math.log(0.5) + both)
    return result


def measure_sidebands(
    scores: FloatArray, level: FloatArray, carrier: float, spacing: float, name: str
) -> Sidebands:
    """Measure sidebands near an expected spacing.

    Parameters
    ----------
    scores, level : ndarray, shape (orders,)
        Joint line scores, and power per order.
    carrier, spacing : float
        Apparent order of the tone and expected apparent spacing.
    name : str

    Returns
    -------
    Sidebands
    """
    near = spacing + np.linspace(-2, 2, 17) * ORDER_STEP
    evidence = float(comb_score(scores, (carrier, 2 * carrier), near).max())
    top = _peak(level, carrier)
    upper, lower = _peak(level, carrier + spacing), _peak(level, carrier - spacing)
    measured = (upper[0] - lower[0]) / 2
    power = 0.5 * (upper[1] + lower[1])
    ratio_db = max(10 * math.log10(max(power, 1e-30) / max(top[1], 1e-30)), FLOOR_DB)
    return Sidebands(
        name,
        measured,
        top[0] / measured,
        top[0] / measured * SPACING_SIGMA / measured,
        ratio_db,
        2 * 10 ** (ratio_db / 20),
        evidence,
    )


def _peak(level: FloatArray, order: float) -> tuple[float, float]:
    """Return place and power, noise taken out, of the peak nearest to an apparent order."""
    middle = round(order / ORDER_STEP)
    lines = slice(max(middle - 3, 1), middle + 4)
    if middle + 40 >= len(level) or middle < 5:
        return order, 0.0
    at = int(np.argmax(level[lines])) + lines.start
    around = (
        np.concatenate([level[at - 30 : at - 8], level[at + 9 : at + 31]])
        if at > 30
        else level[at + 9 : at + 31]
    )
    floor = float(np.median(around))
    power = float(np.clip(level[at - 4 : at + 5] - floor, 0, None).sum())
    a, b, c = np.log(level[at - 1 : at + 2] + 1e-30)
    curve = a - 2 * b + c
    shift = 0.5 * (a - c) / curve if curve < 0 else 0.0
    return (at + float(np.clip(shift, -0.5, 0.5))) * ORDER_STEP, power


def locate(level: FloatArray, order: float) -> tuple[float, float]:
    """Return place and power of the peak nearest to an apparent order; see `measure_sidebands`."""
    return _peak(level, order)
