"""Tones over wheel turns: turns refined by their phase, and the amplitude of each tone followed.

References
----------
Blough, Understanding the Kalman/Vold-Kalman order tracking filters, SAE paper 2007-01-2221 (from
memory for the number); the weight for a wanted bandwidth is derived in `vold_kalman_weight`.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, signal, sparse
from scipy.sparse import linalg as sparse_linalg

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

BASE_RATE_HZ: Final = 200
"""Rate of mixed-down base bands [Hz]."""


def wheel_turns(times_s: FloatArray, wheel_hz: FloatArray, count: int, rate_hz: int) -> FloatArray:
    """Integrate the wheel's turn rate to turns at each sample, shape (count,)."""
    from scipy.interpolate import PchipInterpolator

    t = np.arange(count) / rate_hz
    curve = PchipInterpolator(times_s, wheel_hz)
    inner = np.clip(t, times_s[0], times_s[-1])
    whole = curve.antiderivative()
    turns = whole(inner)
    turns += np.where(t < times_s[0], (t - times_s[0]) * wheel_hz[0], 0.0)
    turns += np.where(t > times_s[-1], (t - times_s[-1]) * wheel_hz[-1], 0.0)
    result: FloatArray = turns - turns[0]
    return result


def mix_down(samples: FloatArray, rate_hz: int, turns: FloatArray, order: float) -> ComplexArray:
    """Bring one order to zero frequency at `BASE_RATE_HZ`.

    Returns
    -------
    ndarray, shape (n // (rate / 200),)
        Complex amplitude; a tone A cos(2π order turns + φ) gives A e^{jφ}.
    """
    step = rate_hz // BASE_RATE_HZ
    count = len(samples) // step
    mixed = np.empty(len(samples), dtype=np.complex64)
    for first in range(0, len(samples), 1 << 18):
        part = slice(first, first + (1 << 18))
        mixed[part] = 2 * samples[part] * np.exp(-2j * np.pi * order * turns[part])
    # Three passes of a moving mean: zeros at multiples of 200 Hz, so nothing folds onto the tone.
    for _ in range(3):
        mixed = ndimage.uniform_filter1d(mixed.real, step) + 1j * ndimage.uniform_filter1d(mixed.imag, step)
    return np.asarray(mixed[step // 2 :: step][:count], dtype=np.complex128)


def refine(
    samples: FloatArray, rate_hz: int, turns: FloatArray, orders: tuple[float, ...], rounds: int = 3
) -> tuple[FloatArray, float]:
    """Correct the wheel turns by the phase of the tracked tones.

    Parameters
    ----------
    samples : ndarray, shape (n,)
    rate_hz : int
    turns : ndarray, shape (n,)
        Wheel turns as tracked.
    orders : tuple of float
        The family; each line speaks with the weight of its coherence.
    rounds : int
        Repetitions.

    Returns
    -------
    tuple of ndarray and float
        Corrected turns, and the relative size of the last correction (median): small when it settled.
    """
    last = 1.0
    for index in range(rounds):
        smooth_s = (1.2, 0.8, 0.5)[min(index, 2)]
        cut_hz = (3.0, 2.0, 2.0)[min(index, 2)]
        numerator: FloatArray = np.zeros(0)
        weight: FloatArray = np.zeros(0)
        speed = np.gradient(turns[:: rate_hz // BASE_RATE_HZ]) * BASE_RATE_HZ
        for order in orders:
            base = mix_down(samples, rate_hz, turns, order)
            sos = signal.butter(2, cut_hz, fs=BASE_RATE_HZ, output="sos")
            base = signal.sosfiltfilt(sos, base)
            # Pulse pairs: the mean turn of the phase between samples, with no unwrapping to go wrong.
            pair = base[1:] * np.conj(base[:-1])
            mean = ndimage.gaussian_filter1d(pair.real, smooth_s * BASE_RATE_HZ / 2) + 1j * (
                ndimage.gaussian_filter1d(pair.imag, smooth_s * BASE_RATE_HZ / 2)
            )
            power = ndimage.gaussian_filter1d(np.abs(base[1:]) ** 2, smooth_s * BASE_RATE_HZ / 2) + 1e-30
            local = np.abs(base[1:]) ** 2
            scale = np.median(local) + 1e-30
            trust = np.minimum(power / scale, 10.0) * order**2
            shift_hz = np.angle(mean) * BASE_RATE_HZ / (2 * np.pi)
            if numerator.size == 0:
                numerator, weight = np.zeros_like(shift_hz), np.zeros_like(shift_hz)
            numerator += trust * shift_hz / order
            weight += trust
        correction = numerator / weight
        correction = np.concatenate([correction[:1], correction])
        correction = np.clip(correction, -0.01 * speed[: len(correction)], 0.01 * speed[: len(correction)])
        last = float(np.median(np.abs(correction) / np.maximum(speed[: len(correction)], 0.1)))
        added = np.cumsum(correction) / BASE_RATE_HZ
        at = np.arange(len(samples)) / rate_hz
        base_t = np.arange(len(added)) / BASE_RATE_HZ
        turns = turns + np.interp(at, base_t, added)
    return np.maximum.accumulate(turns), last


def vold_kalman_weight(bandwidth_hz: float, rate_hz: float, poles: int = 2) -> float:
    """Return the structural weight r for a half-power bandwidth.

    The filter passes H = 1/(1 + r² (2 − 2 cos ω)^p); half power (H² = 1/2) at ω = π B / fs gives
    r = √((√2 − 1) / (2 − 2 cos(π B/fs))^p).
    """
    return math.sqrt((math.sqrt(2) - 1) / (2 - 2 * math.cos(math.pi * bandwidth_hz / rate_hz)) ** poles)


def vold_kalman(base: ComplexArray, bandwidth_hz: float, rate_hz: float = BASE_RATE_HZ) -> ComplexArray:
    """Return the slowly varying complex amplitude in a mixed-down base band.

    Parameters
    ----------
    base : ndarray, shape (n,)
        From `mix_down`.
    bandwidth_hz : float
        Full half-power bandwidth [Hz].
    rate_hz : float

    Returns
    -------
    ndarray, shape (n,)
        Minimises r² |D² x|² + |base − x|² (second generation, two poles, one order).
    """
    n = len(base)
    weight = vold_kalman_weight(bandwidth_hz, rate_hz) ** 2
    second = sparse.diags_array(
        [np.ones(n - 2), -2 * np.ones(n - 2), np.ones(n - 2)], offsets=[0, 1, 2], shape=(n - 2, n)
    )
    matrix = (sparse.eye_array(n) + weight * (second.T @ second)).tocsc()
    solve = sparse_linalg.factorized(matrix)
    result: ComplexArray = solve(base.real.copy()) + 1j * solve(base.imag.copy())
    return result
