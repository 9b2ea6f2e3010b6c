"""Where in time and frequency there are lines: the map from which road and engine are followed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from axlewright.sound.lines import line_score, noise_floor

FloatArray = NDArray[np.float64]

FRAME: Final = 4096
PADDED: Final = 8192
HOP_S: Final = 0.1
LOWEST_HZ: Final = 25.0
HIGHEST_HZ: Final = 4000.0
LOWEST_FIXED_HZ: Final = 80.0
"""Below, a recorder's low cut bends the floor and looks like a steady tone."""
FLOOR_HALF_WIDTH_HZ: Final = 60.0
STEP: Final = 0.001
"""Step of the speed error's grid (relative)."""
STANDING_SWEEP: Final = 1.15
MOST_FIXED: Final = 60
LOWEST_ORDER: Final = 0.9
HIGHEST_ORDER: Final = 150.0


@dataclass(frozen=True, slots=True)
class OrderMap:
    """Line scores over time and apparent order.

    Parameters
    ----------
    times_s : ndarray, shape (frames,)
    wheel_hz : ndarray, shape (frames,)
        Stated wheel turn rate.
    log_orders : ndarray, shape (orders,)
        Natural logarithm of the apparent order, evenly spaced by `STEP`.
    scores : ndarray of float32, shape (frames, orders)
        Line scores [nats]; 0 outside the audible band and in left-out frames.
    ratio_db : ndarray, shape (frames, bins)
        Spectrum over the noise floor [dB], for pictures.
    frequency_hz : ndarray, shape (bins,)
    floor : ndarray, shape (frames, bins)
        Noise power density [1/Hz] re full scale.
    fixed_hz : tuple of float
        Tones that do not follow road speed; they are left out of `scores`.
    """

    times_s: FloatArray
    wheel_hz: FloatArray
    log_orders: FloatArray
    scores: NDArray[np.float32]
    ratio_db: FloatArray
    frequency_hz: FloatArray
    floor: FloatArray
    fixed_hz: tuple[float, ...] = ()


def order_map(
    samples: FloatArray,
    rate_hz: int,
    wheel_hz_at: FloatArray,
    leave_out_s: tuple[tuple[float, float], ...] = (),
) -> OrderMap:
    """Compute the line scores of a recording over apparent order.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Mono at `rate_hz` = 16 kHz.
    rate_hz : int
    wheel_hz_at : ndarray, shape (frames,)
        Stated wheel turn rate at the frames of `frame_times`.
    leave_out_s : tuple of spans
        Speech and silence.

    Returns
    -------
    OrderMap
    """
    times = frame_times(len(samples), rate_hz)
    hop = int(HOP_S * rate_hz)
    window = np.hanning(FRAME + 1)[:-1].astype(np.float32)
    frames = np.lib.stride_tricks.sliding_window_view(samples.astype(np.float32), FRAME)[::hop][: len(times)]
    keep = int(HIGHEST_HZ / rate_hz * PADDED) + 1
    frequency = np.arange(keep) * rate_hz / PADDED
    df = float(frequency[1])
    width = 2 * int(FLOOR_HALF_WIDTH_HZ / df) + 1
    floor, ratio = np.empty((len(times), keep)), np.empty((len(times), keep))
    for first in range(0, len(times), 128):
        part = np.fft.rfft(frames[first : first + 128] * window, PADDED, axis=1)[:, :keep]
        power = (part.real**2 + part.imag**2).astype(np.float64)
        floor[first : first + 128] = noise_floor(power, width)
        ratio[first : first + 128] = power / floor[first : first + 128]
    audible = frequency >= LOWEST_HZ
    used = np.ones(len(times), dtype=bool)
    for start, stop in leave_out_s:
        used &= (times < start - 0.15) | (times > stop + 0.15)
    usable = used & (wheel_hz_at > 1.0)
    fixed = _fixed_tones(ratio, frequency, wheel_hz_at, usable)
    scores = line_score(ratio / _standing(ratio, wheel_hz_at, usable))
    scores[:, ~audible] = 0.0
    for tone in fixed:
        scores[:, np.abs(frequency - tone) < 12.0] = 0.0
    ratio_db = np.log10(ratio + 1e-12, out=ratio)
    ratio_db *= 10.0
    log_orders = np.arange(np.log(LOWEST_ORDER), np.log(HIGHEST_ORDER), STEP)
    orders = np.exp(log_orders)
    grid = np.empty((len(times), len(orders)), dtype=np.float32)
    for i in range(len(times)):
        grid[i] = np.interp(orders * (wheel_hz_at[i] / df), np.arange(keep), scores[i], left=0.0, right=0.0)
    grid[~usable] = 0.0
    scale = float((window.astype(np.float64) ** 2).sum()) * rate_hz / 2.0
    return OrderMap(
        times,
        wheel_hz_at,
        log_orders,
        grid,
        ratio_db,
        frequency,
        np.divide(floor, scale, out=floor),
        fixed,
    )


def _standing(ratio: FloatArray, wheel_hz: FloatArray, usable: NDArray[np.bool_]) -> FloatArray:
    """Return what stands at a fixed frequency above the floor: a body's resonances, which lead nowhere.

    Where the speed hardly changes nothing can be told from a line, and nothing is taken out.
    """
    if usable.sum() < 50 or np.percentile(wheel_hz[usable], 95) < STANDING_SWEEP * np.percentile(
        wheel_hz[usable], 5
    ):
        return np.ones(ratio.shape[1])
    median = np.median(ratio[usable][::3], axis=0) / np.log(2)
    return np.asarray(np.maximum(ndimage.uniform_filter1d(median, 3), 1.0))


def frame_times(count: int, rate_hz: int) -> FloatArray:
    """Return the middle of each frame [s]."""
    hop = int(HOP_S * rate_hz)
    frames = (count - FRAME) // hop + 1
    return (np.arange(frames) * hop + FRAME / 2) / rate_hz


def _fixed_tones(
    ratio: FloatArray, frequency: FloatArray, wheel_hz: FloatArray, usable: NDArray[np.bool_]
) -> tuple[float, ...]:
    """Find tones that stay put while the speed sweeps by more than a tenth."""
    if usable.sum() < 50 or wheel_hz[usable].max() / wheel_hz[usable].min() < 1.1:
        return ()
    mean_log = np.log(ratio[usable] + 1e-9).mean(axis=0)
    # The mean log of an exponential variable is −0.577, its standard deviation 1.28; frames overlap.
    excess = (mean_log + 0.577) / (1.283 / np.sqrt(usable.sum() / 2.5))
    peaks = (
        (excess > 9.0)
        & (mean_log > 0.9)
        & (excess >= ndimage.maximum_filter1d(excess, 9))
        & (frequency > LOWEST_FIXED_HZ)
    )
    return tuple(float(f) for f in frequency[peaks][:MOST_FIXED])
