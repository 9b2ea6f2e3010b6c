"""Find out how fast the wheel really turned, from the sound alone, near what was stated.

The speed's error is a slowly varying bias, not noise from frame to frame: the tracker allows it a
hard window of three standard deviations and a slow walk inside. A prior of independent errors per
frame lets every candidate slide onto the strongest line.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from axlewright.sound.lines import CAP, line_score, noise_floor

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
WALK: Final = 0.003
"""Standard deviation of the change of the speed error per 0.1 s (relative)."""
WALK_REACH: Final = 8
TEMPER: Final = 0.3
"""Frames overlap and noise is not as ideal as modelled; our judgement, see the benchmark."""
MISS: Final = 0.4
"""Chance that an overtone is absent in a frame."""
AT_ONCE: Final = 16
"""Families followed at the same time."""
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
    fixed_nats : float
        Evidence of the strongest tone of fixed frequency that is still left [nats].
    """

    times_s: FloatArray
    wheel_hz: FloatArray
    log_orders: FloatArray
    scores: NDArray[np.float32]
    ratio_db: FloatArray
    frequency_hz: FloatArray
    floor: FloatArray
    fixed_hz: tuple[float, ...] = ()
    fixed_nats: float = 0.0

    @property
    def sweep(self) -> float:
        """Highest over lowest stated speed, less one."""
        return float(self.wheel_hz.max() / self.wheel_hz.min() - 1)


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
        _fixed_evidence(scores, frequency, usable),
    )


def _standing(ratio: FloatArray, wheel_hz: FloatArray, usable: NDArray[np.bool_]) -> FloatArray:
    """Return what stands at a fixed frequency above the floor: a body's resonances, which lead nowhere.

    Where the speed hardly changes nothing can be told from a line, and nothing is taken out.
    """
    if usable.sum() < 50 or np.percentile(wheel_hz[usable], 95) < STANDING_SWEEP * np.percentile(wheel_hz[usable], 5):
        return np.ones(ratio.shape[1])
    median = np.median(ratio[usable][::3], axis=0) / np.log(2)
    return np.asarray(np.maximum(ndimage.uniform_filter1d(median, 3), 1.0))


def without_fixed_tones(samples: FloatArray, rate_hz: int, fixed_hz: tuple[float, ...]) -> FloatArray:
    """Take tones of fixed frequency out of a recording, each with 6 Hz on either side."""
    if not fixed_hz:
        return samples
    spectrum = np.fft.rfft(samples)
    frequency = np.fft.rfftfreq(len(samples), 1 / rate_hz)
    for tone in fixed_hz:
        spectrum[np.abs(frequency - tone) < 6.0] = 0.0
    result: FloatArray = np.fft.irfft(spectrum, len(samples))
    return result


def _fixed_evidence(scores: FloatArray, frequency: FloatArray, usable: NDArray[np.bool_]) -> float:
    heard = scores[usable][:, frequency > LOWEST_FIXED_HZ]
    return float(TEMPER * np.minimum(heard, CAP).sum(axis=0).max()) if heard.size else 0.0


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


@dataclass(frozen=True, slots=True)
class Tracker:
    """A family of lines to be followed.

    Parameters
    ----------
    name : str
    orders : tuple of float
        Leading order first.
    sigma : float
        Standard deviation of the speed error for this family.
    free : bool
        A family without a name, somewhere near its leading order: any error in the window alike.
    """

    name: str
    orders: tuple[float, ...]
    sigma: float
    free: bool = False


@dataclass(frozen=True, slots=True)
class Path:
    """A tracked speed error.

    Parameters
    ----------
    tracker : Tracker
    error : ndarray, shape (frames,)
        ln(true wheel rate / stated wheel rate).
    evidence : float
        ln of the chance of the scores under this family over that of noise alone [nats].
    gain : float
        Score along the path itself, same scores [nats]; at least the evidence.
    """

    tracker: Tracker
    error: FloatArray
    evidence: float
    gain: float


def follow(map_: OrderMap, trackers: list[Tracker]) -> list[Path]:
    """Follow each family through the map.

    Parameters
    ----------
    map_ : OrderMap
    trackers : list of Tracker

    Returns
    -------
    list of Path
        In the order of `trackers`. The path is the best one (Viterbi) on uncapped scores; the
        evidence is the sum over all paths (forward recursion) on capped and tempered scores.
    """
    half = max(int(np.ceil(3 * max(t.sigma for t in trackers) / STEP)), 3)
    # A few at a time: ten minutes of all of them would fill the memory of a small machine.
    return [
        path
        for first in range(0, len(trackers), AT_ONCE)
        for path in _follow_some(map_, trackers[first : first + AT_ONCE], half)
    ]


def _follow_some(map_: OrderMap, trackers: list[Tracker], half: int) -> list[Path]:
    u = np.arange(-half, half + 1) * STEP
    frames = len(map_.times_s)
    raw = np.empty((len(trackers), frames, len(u)), dtype=np.float32)
    capped = np.empty_like(raw)
    start = np.empty((len(trackers), len(u)))
    for k, tracker in enumerate(trackers):
        best = np.zeros((frames, len(u)))
        soft = np.zeros((frames, len(u)))
        for order in tracker.orders:
            window = _window(map_, np.log(order), half)
            limited = np.minimum(window, 40.0)
            best += np.log((1 - MISS) + MISS * np.exp(limited)) + np.maximum(window - 40.0, 0.0)
            soft += np.log((1 - MISS) + MISS * np.exp(np.minimum(window, CAP)))
        raw[k], capped[k] = best, TEMPER * soft
        reach = 3 * tracker.sigma
        prior = np.zeros(len(u)) if tracker.free else -0.5 * (u / tracker.sigma) ** 2
        prior[np.abs(u) > reach + STEP / 2] = -1e9
        start[k] = prior - np.log(np.exp(prior).sum())
    evidence = _forward(capped, start)
    paths = _viterbi(raw, start)
    result = []
    for k, tracker in enumerate(trackers):
        gain = float(capped[k][np.arange(frames), paths[k]].sum())
        result.append(Path(tracker, u[paths[k]], float(evidence[k]), max(gain, float(evidence[k]))))
    return result


def _window(map_: OrderMap, log_order: float, half: int) -> FloatArray:
    """Return the scores within ±half steps of an order, shape (frames, 2 half + 1)."""
    centre = (log_order - map_.log_orders[0]) / STEP
    first = int(np.floor(centre)) - half
    share = centre - np.floor(centre)
    columns = first + np.arange(2 * half + 2)
    inside = (columns >= 0) & (columns < len(map_.log_orders))
    block = np.zeros((len(map_.times_s), len(columns)))
    block[:, inside] = map_.scores[:, columns[inside]]
    result: FloatArray = block[:, :-1] * (1 - share) + block[:, 1:] * share
    return result


def _walk() -> FloatArray:
    d = np.arange(-WALK_REACH, WALK_REACH + 1) * STEP
    kernel = np.exp(-0.5 * (d / WALK) ** 2)
    result: FloatArray = kernel / kernel.sum()
    return result


def _forward(scores: NDArray[np.float32], start: FloatArray) -> FloatArray:
    kernel = _walk()
    count, frames, _ = scores.shape
    total = np.zeros(count)
    alpha = np.exp(start)
    allowed = start > -1e8
    for i in range(frames):
        if i:
            alpha = ndimage.convolve1d(alpha, kernel, axis=1, mode="constant") * allowed
        alpha = alpha * np.exp(scores[:, i])
        norm = alpha.sum(axis=1)
        total += np.log(norm)
        alpha /= norm[:, None]
    return total


def _viterbi(scores: NDArray[np.float32], start: FloatArray) -> NDArray[np.intp]:
    log_kernel = np.log(_walk())
    count, frames, states = scores.shape
    value = start + scores[:, 0]
    back = np.zeros((frames, count, states), dtype=np.int8)
    padded = np.full((count, states + 2 * WALK_REACH), -1e18)
    for i in range(1, frames):
        padded[:, WALK_REACH:-WALK_REACH] = value
        best = np.full((count, states), -np.inf)
        for j in range(2 * WALK_REACH + 1):
            trial = padded[:, j : j + states] + log_kernel[j]
            better = trial > best
            best = np.where(better, trial, best)
            back[i][better] = j - WALK_REACH
        value = best + scores[:, i]
        value[start < -1e8] = -1e15
    paths = np.empty((count, frames), dtype=np.intp)
    state = np.argmax(value, axis=1)
    rows = np.arange(count)
    for i in range(frames - 1, -1, -1):
        paths[:, i] = state
        state = np.clip(state + back[i, rows, state], 0, states - 1)
    return paths
