"""Road noise that masks the gears, for made sounds.

The slopes with speed are those of rolling noise outside; the cabin's shape is our guess, low-heavy.
A user's own recording gives better noise than this.

References
----------
Directive 2002/49/EC, Annex II as amended by (EU) 2021/1226, Table F-1: rolling sound power of light
vehicles, A_R + B_R lg(v / 70 km/h) by octave.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

OCTAVES_HZ: Final = (63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)
ROLLING_A_DB: Final = (83.1, 89.2, 87.7, 93.1, 100.1, 96.7, 86.8, 76.2)
ROLLING_B_DB: Final = (30.0, 41.5, 38.9, 25.7, 32.5, 37.2, 39.0, 40.0)
REFERENCE_MPS: Final = 70.0 / 3.6
A_WEIGHT_DB: Final = (-26.2, -16.1, -8.6, -3.2, 0.0, 1.2, 1.0, -1.1)
"""IEC 61672-1 A-weighting at the octave middles."""


def rolling_power_db(speed_mps: float) -> FloatArray:
    """Return the rolling sound power by octave [dB], shape (8,)."""
    result: FloatArray = np.asarray(ROLLING_A_DB) + np.asarray(ROLLING_B_DB) * np.log10(
        speed_mps / REFERENCE_MPS
    )
    return result


def rolling_power_dba(speed_mps: float) -> float:
    """Return the A-weighted sum of the rolling sound power [dB(A)]."""
    return float(10 * np.log10(np.sum(10 ** (0.1 * (rolling_power_db(speed_mps) + np.asarray(A_WEIGHT_DB))))))


def cabin_density(frequency_hz: FloatArray) -> FloatArray:
    """Return the cabin noise's power density at the reference speed, relative; our guess.

    First-order fall from 120 Hz, and from 900 Hz on 2.5th-order in all.
    """
    f = np.asarray(frequency_hz, dtype=np.float64)
    result: FloatArray = 1 / (1 + (f / 120.0) ** 2) / (1 + (f / 900.0) ** 2) ** 1.5
    return result


def speed_gain_db(frequency_hz: FloatArray, speed_mps: float | FloatArray) -> FloatArray:
    """Return by how much the noise changes from the reference speed of 70 km/h [dB]."""
    slope = np.interp(np.log(np.maximum(frequency_hz, 1.0)), np.log(OCTAVES_HZ), ROLLING_B_DB)
    result: FloatArray = slope * np.log10(np.maximum(speed_mps, 1.0) / REFERENCE_MPS)
    return result


def road_noise(speed_mps: FloatArray, rate_hz: int, seed: int = 0) -> FloatArray:
    """Make road noise along a speed profile.

    Parameters
    ----------
    speed_mps : ndarray, shape (n,)
        Speed at each sample.
    rate_hz : int
    seed : int

    Returns
    -------
    ndarray, shape (n,)
        Noise whose one-sided power density at 70 km/h is `cabin_density`; each octave follows its
        own slope with speed.
    """
    n = len(speed_mps)
    rng = np.random.default_rng(seed)
    frequency = np.asarray(np.fft.rfftfreq(n, 1 / rate_hz), dtype=np.float64)
    spectrum = np.fft.rfft(rng.standard_normal(n)) * np.sqrt(cabin_density(frequency) * rate_hz / 2)
    log_f = np.log2(np.maximum(frequency, 1.0))
    centres = np.log2(np.asarray(OCTAVES_HZ))
    total = np.zeros(n)
    for index, centre in enumerate(centres):
        left = 1.0 if index == 0 else None
        right = 1.0 if index == len(centres) - 1 else None
        # Neighbouring octaves are parts of one wave, so their amplitudes have to add to one.
        share = np.clip(1 - np.abs(log_f - centre), 0, 1)
        if left is not None:
            share = np.where(log_f < centre, 1.0, share)
        if right is not None:
            share = np.where(log_f > centre, 1.0, share)
        band = np.fft.irfft(spectrum * share, n)
        total += band * 10 ** (
            ROLLING_B_DB[index] * np.log10(np.maximum(speed_mps, 1.0) / REFERENCE_MPS) / 20
        )
    return total


def noise_density(frequency_hz: FloatArray, speed_mps: FloatArray) -> FloatArray:
    """Return the power density of `road_noise` at matching frequencies and speeds."""
    result: FloatArray = cabin_density(frequency_hz) * 10 ** (speed_gain_db(frequency_hz, speed_mps) / 10)
    return result
