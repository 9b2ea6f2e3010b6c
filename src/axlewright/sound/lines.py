"""How much a spectral line speaks for a tone: floor, line score, and scores over many frames.

A bin of noise alone has an exponentially distributed power; with a sinusoid of signal-to-noise ratio
ρ in it the likelihood ratio at power r (in units of the mean noise) is e^−ρ I0(2 √(ρ r)) (noncentral
chi-square with two degrees of freedom; for example Whalen, Detection of Signals in Noise, 1971).
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import special

FloatArray = NDArray[np.float64]

RATIOS_DB: Final = (0.0, 3.0, 6.0, 9.0, 12.0, 15.0)
"""Signal-to-noise ratios over which the likelihood ratio is averaged."""
CAP: Final = 6.0
"""Largest score a line may bring per frame when sources are decided [nats]; our judgement."""

_TABLE_X: Final = np.linspace(0.0, 60.0, 2401)


def _table() -> FloatArray:
    r = _TABLE_X**2
    rho = 10 ** (np.asarray(RATIOS_DB) / 10)
    argument = 2 * np.sqrt(rho[None, :] * r[:, None])
    terms = -rho[None, :] + np.log(special.ive(0, argument)) + argument
    result: FloatArray = special.logsumexp(terms, axis=1) - math.log(len(rho))
    return result


_TABLE_L: Final = _table()


def line_score(ratio: FloatArray) -> FloatArray:
    """Return the log-likelihood ratio for "a tone is here" at power over mean noise `ratio`.

    Parameters
    ----------
    ratio : ndarray
        Power of the bin over the mean noise power.

    Returns
    -------
    ndarray
        Score [nats], same shape; negative where there is less than the noise.
    """
    result: FloatArray = np.interp(np.sqrt(ratio), _TABLE_X, _TABLE_L)
    return result


def noise_floor(power: FloatArray, width: int, step: int | None = None) -> FloatArray:
    """Return the mean noise power per bin from the running median.

    Parameters
    ----------
    power : ndarray, shape (frames, bins)
        Power spectra.
    width : int
        Bins over which the median is taken.
    step : int, optional
        Spacing of the medians; linear in the logarithm between.

    Returns
    -------
    ndarray, shape (frames, bins)
        Median / ln 2, the mean of an exponential distribution with that median.
    """
    bins = power.shape[1]
    step = step or max(width // 4, 1)
    width = min(width, bins)
    starts = np.arange(0, bins - width + 1, step)
    windows = np.lib.stride_tricks.sliding_window_view(power, width, axis=1)[:, starts]
    # A few rows at a time: the median copies every window.
    medians = np.concatenate([np.median(windows[row : row + 32], axis=2) for row in range(0, len(power), 32)])
    medians = np.log(medians + 1e-300)
    centres = starts + (width - 1) / 2
    at = np.arange(bins)
    index = np.clip(np.searchsorted(centres, at) - 1, 0, max(len(centres) - 2, 0))
    if len(centres) == 1:
        return np.repeat(np.exp(medians), bins, axis=1) / math.log(2)
    share = np.clip((at - centres[index]) / (centres[index + 1] - centres[index]), 0.0, 1.0)
    logs = medians[:, index] * (1 - share) + medians[:, index + 1] * share
    result: FloatArray = np.exp(logs) / math.log(2)
    return result
