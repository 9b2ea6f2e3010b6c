"""Work over wheel turns instead of time: phase refinement, order spectra, tracked tones.

References
----------
Fyfe and Munck, Analysis of computed order tracking, Mechanical Systems and Signal Processing 11 (1997).
Blough, Understanding the Kalman/Vold-Kalman order tracking filters, SAE paper 2007-01-2221 (from
memory for the number); the weight for a wanted bandwidth is derived in `vold_kalman_weight`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, signal, sparse
from scipy.sparse import linalg as sparse_linalg

from axlewright.sound.lines import line_score, noise_floor

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

BASE_RATE_HZ: Final = 200
"""Rate of mixed-down base bands [Hz]."""
PER_TURN: Final = 1024
TURNS: Final = 32
"""Wheel turns per order spectrum: resolution 1/32 of an order."""
HOP_TURNS: Final = 8
ORDER_STEP: Final = 1.0 / (2 * TURNS)
FLOOR_ORDERS: Final = 2.5
HIGHEST_ORDER: Final = 150.0


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


@dataclass(frozen=True, slots=True)
class OrderSpectra:
    """Spectra over wheel turns.

    Parameters
    ----------
    orders : ndarray, shape (bins,)
        Orders, spaced `ORDER_STEP`.
    power : ndarray, shape (segments, bins)
        Power per bin, re the local noise floor.
    level : ndarray, shape (bins,)
        Mean power density per order, re full scale squared.
    scores : ndarray, shape (segments, bins)
        Line scores [nats].
    times_s : ndarray, shape (segments,)
        Middle of each segment.
    """

    orders: FloatArray
    power: FloatArray
    level: FloatArray
    scores: FloatArray
    times_s: FloatArray


def order_spectra(
    samples: FloatArray,
    rate_hz: int,
    turns: FloatArray,
    leave_out_s: tuple[tuple[float, float], ...] = (),
) -> OrderSpectra | None:
    """Resample to even wheel turns and transform.

    Parameters
    ----------
    samples : ndarray, shape (n,)
    rate_hz : int
    turns : ndarray, shape (n,)
        Rising wheel turns at each sample.
    leave_out_s : tuple of spans
        Stretches set to zero; segments more than half inside are dropped.

    Returns
    -------
    OrderSpectra or None
        None when the recording holds fewer than one segment of `TURNS` turns.
    """
    total = turns[-1] - turns[0]
    if total < TURNS:
        return None
    used = samples.copy()
    keep = np.ones(len(samples), dtype=bool)
    for start, stop in leave_out_s:
        keep[int(max(start, 0) * rate_hz) : int(stop * rate_hz)] = False
    used[~keep] = 0.0
    # Twice the rate makes linear interpolation good to 0.3 % at 1 kHz.
    double = signal.resample_poly(used.astype(np.float32), 2, 1)
    grid = turns[0] + np.arange(int(total * PER_TURN)) / PER_TURN
    position = np.interp(grid, turns, np.arange(len(samples), dtype=np.float64))
    whole = position * 2
    index = np.minimum(whole.astype(np.intp), len(double) - 2)
    share = (whole - index).astype(np.float32)
    even = double[index] * (1 - share) + double[index + 1] * share
    size, hop = TURNS * PER_TURN, HOP_TURNS * PER_TURN
    starts = np.arange(0, len(even) - size + 1, hop)
    window = np.hanning(size + 1)[:-1].astype(np.float32)
    bins = int(HIGHEST_ORDER * 2 * TURNS)
    rows, times = [], []
    for start in starts.tolist():
        a, b = int(position[start]), int(position[min(start + size, len(position) - 1)])
        if keep[a : b + 1].mean() < 0.5:
            continue
        part = np.fft.rfft(even[start : start + size] * window, 2 * size)[:bins]
        rows.append(part.real**2 + part.imag**2)
        times.append((a + b) / 2 / rate_hz)
    if not rows:
        return None
    power: FloatArray = np.asarray(rows, dtype=np.float64)
    floor = noise_floor(power, int(2 * FLOOR_ORDERS / ORDER_STEP) + 1)
    ratio = np.asarray(power / floor, dtype=np.float64)
    scale = float((window.astype(np.float64) ** 2).sum()) * PER_TURN / 2
    return OrderSpectra(
        np.asarray(np.arange(bins) * ORDER_STEP, dtype=np.float64),
        ratio,
        np.asarray(power.mean(axis=0) / scale, dtype=np.float64),
        line_score(ratio),
        np.asarray(times, dtype=np.float64),
    )


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
