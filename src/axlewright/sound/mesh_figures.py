"""How loud the mesh tone is over the noise, harmonic by harmonic, along a drive.

A swept tone has no narrow line, so the tracked amplitude (Vold-Kalman) stands for the tone and the
median noise floor for the masking noise; the ratios are those of ECMA-418-1 and ISO/TS 20065.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from axlewright.sound.angle import BASE_RATE_HZ, mix_down, vold_kalman
from axlewright.sound.audibility import masking_index_db
from axlewright.sound.figures import critical_bandwidth_hz, tone_to_noise_limit_db
from axlewright.sound.line_map import OrderMap
from axlewright.sound.segments import Segment
from axlewright.units import MPS_PER_MPH

FloatArray = NDArray[np.float64]

BANDWIDTH_HZ: Final = 1.5
NOISE_BANDWIDTH: Final = 1.04
"""Noise bandwidth of the tracking filter over its half-power width (integral of H², numerically)."""
CLEAR_OF_TONE_HZ: Final = 14.0
NOISE_REACH_HZ: Final = 60.0
NOISE_FRAMES: Final = 11
BIN_MPH: Final = 5.0
FEWEST_FRAMES: Final = 10


@dataclass(frozen=True, slots=True)
class HarmonicTrack:
    """One harmonic along the drive.

    Parameters
    ----------
    harmonic : int
    order : float
    times_s, frequency_hz, speed_mps : ndarray, shape (frames,)
    tone_to_noise_db : ndarray, shape (frames,)
        Tone over critical-band noise; NaN where left out.
    amplitude : ndarray, shape (frames,)
        Tone's amplitude re full scale.
    """

    harmonic: int
    order: float
    times_s: FloatArray
    frequency_hz: FloatArray
    speed_mps: FloatArray
    tone_to_noise_db: FloatArray
    amplitude: FloatArray


@dataclass(frozen=True, slots=True)
class HarmonicFigure:
    """One harmonic in a few numbers.

    Parameters
    ----------
    harmonic : int
    order : float
    tone_to_noise_db, audibility_db : float
        Power mean over the whole drive.
    spread_db : float
        Half of the middle 68 % of the tone-to-noise ratio from moment to moment.
    loudest_mph : float
        Middle of the 5 mph bin in which the ratio is highest.
    loudest_tone_to_noise_db, loudest_audibility_db : float
        Power mean in that bin.
    limit_db : float
        Where ECMA-418-1 calls the tone prominent, at that bin's frequency.
    """

    harmonic: int
    order: float
    tone_to_noise_db: float
    audibility_db: float
    spread_db: float
    loudest_mph: float
    loudest_tone_to_noise_db: float
    loudest_audibility_db: float
    limit_db: float

    @property
    def audible(self) -> bool:
        """Whether it can be heard over the noise where it is loudest."""
        return self.loudest_audibility_db > 0

    @property
    def prominent(self) -> bool:
        """Whether it is prominent where it is loudest."""
        return self.loudest_tone_to_noise_db >= self.limit_db


def track_harmonic(
    samples: FloatArray,
    rate_hz: int,
    turns: FloatArray,
    map_: OrderMap,
    order: float,
    harmonic: int,
    circumference_m: float,
    used: NDArray[np.bool_],
) -> HarmonicTrack | None:
    """Follow one harmonic along the drive.

    Parameters
    ----------
    samples : ndarray, shape (n,)
    rate_hz : int
    turns : ndarray, shape (n,)
        True wheel turns.
    map_ : OrderMap
        For the noise floor.
    order : float
        Order of the fundamental.
    harmonic : int
    circumference_m : float
    used : ndarray, shape (frames,)
        Frames that count.

    Returns
    -------
    HarmonicTrack or None
        None when the harmonic lies above the band.
    """
    times = map_.times_s
    sample_t = np.arange(len(turns)) / rate_hz
    wheel = np.interp(times, sample_t[:: rate_hz // 20], np.gradient(turns[:: rate_hz // 20]) * 20)
    frequency = order * harmonic * wheel
    if np.median(frequency) > map_.frequency_hz[-1] * 0.95:
        return None
    base = mix_down(samples, rate_hz, turns, order * harmonic)
    amplitude = np.abs(vold_kalman(base, BANDWIDTH_HZ))
    power = np.interp(times, np.arange(len(amplitude)) / BASE_RATE_HZ, amplitude**2) / 2
    density = _density_beside(map_, frequency)
    tone = power - density * BANDWIDTH_HZ * NOISE_BANDWIDTH
    noise = density * critical_bandwidth_hz(frequency)
    ratio = 10 * np.log10(np.maximum(tone, 1e-3 * noise) / noise)
    ratio[~used | (frequency < 50.0)] = np.nan
    return HarmonicTrack(
        harmonic, order * harmonic, times, frequency, wheel * circumference_m, ratio, np.sqrt(2 * power)
    )


def _density_beside(map_: OrderMap, frequency: FloatArray) -> FloatArray:
    """Return the noise density beside the tone, its own main lobe left out, shape (frames,)."""
    df = float(map_.frequency_hz[1])
    near, far = int(CLEAR_OF_TONE_HZ / df), int(NOISE_REACH_HZ / df)
    offset = np.concatenate([np.arange(-far, -near + 1), np.arange(near, far + 1)])
    column = np.clip((frequency / df).round().astype(int), 0, len(map_.frequency_hz) - 1)
    columns = np.clip(column[:, None] + offset, 1, len(map_.frequency_hz) - 1)
    rows = np.arange(len(frequency))[:, None]
    power = 10 ** (map_.ratio_db[rows, columns] / 10) * map_.floor[rows, columns]
    # One frame's median scatters by a third; a second's mean of them keeps its reciprocal unbiased.
    result: FloatArray = ndimage.uniform_filter1d(np.median(power, axis=1), NOISE_FRAMES) / math.log(2)
    return result


def _power_mean_db(values: FloatArray) -> float:
    return float(10 * np.log10(np.mean(10 ** (values / 10))))


def harmonic_figure(track: HarmonicTrack) -> HarmonicFigure | None:
    """Sum a harmonic up; None when no frame counts."""
    good = np.isfinite(track.tone_to_noise_db)
    if good.sum() < FEWEST_FRAMES:
        return None
    ratio = track.tone_to_noise_db[good]
    frequency = track.frequency_hz[good]
    mph = track.speed_mps[good] / MPS_PER_MPH
    index = np.floor(mph / BIN_MPH).astype(int)
    best: tuple[float, float, float] | None = None
    for bin_ in np.unique(index):
        inside = index == bin_
        if inside.sum() < FEWEST_FRAMES:
            continue
        value = _power_mean_db(ratio[inside])
        if best is None or value > best[0]:
            best = (value, (float(bin_) + 0.5) * BIN_MPH, float(np.median(frequency[inside])))
    if best is None:
        best = (_power_mean_db(ratio), float(np.median(mph)), float(np.median(frequency)))
    middle = float(np.median(frequency))
    whole = _power_mean_db(ratio)
    low, high = np.percentile(ratio, [16, 84])
    return HarmonicFigure(
        track.harmonic,
        track.order,
        whole,
        whole - masking_index_db(middle),
        float(high - low) / 2,
        best[1],
        best[0],
        best[0] - masking_index_db(best[2]),
        tone_to_noise_limit_db(best[2]),
    )


def segment_level_db(track: HarmonicTrack, segment: Segment) -> float | None:
    """Return the harmonic's tone-to-noise ratio in a segment [dB], or None if nothing counts there."""
    inside = (track.times_s >= segment.start_s) & (track.times_s <= segment.end_s)
    values = track.tone_to_noise_db[inside & np.isfinite(track.tone_to_noise_db)]
    return _power_mean_db(values) if len(values) >= FEWEST_FRAMES // 2 else None


def speed_bins_db(track: HarmonicTrack, segments: tuple[Segment, ...]) -> dict[tuple[str, int], float]:
    """Return the ratio [dB] by kind of segment and 5 mph bin, for before and after."""
    kind = np.full(len(track.times_s), "", dtype=object)
    for segment in segments:
        kind[(track.times_s >= segment.start_s) & (track.times_s <= segment.end_s)] = segment.kind
    result: dict[tuple[str, int], float] = {}
    good = np.isfinite(track.tone_to_noise_db)
    bins = np.floor(track.speed_mps / MPS_PER_MPH / BIN_MPH).astype(int)
    for name in ("drive", "coast", "float"):
        for bin_ in np.unique(bins[good & (kind == name)]):
            values = track.tone_to_noise_db[good & (kind == name) & (bins == bin_)]
            if len(values) >= FEWEST_FRAMES:
                result[name, int(bin_)] = _power_mean_db(values)
    return result


def noise_bandwidth_ratio() -> float:
    """Return the tracking filter's noise bandwidth over its half-power width, by numerical integration."""
    from axlewright.sound.angle import vold_kalman_weight

    w = np.linspace(-math.pi, math.pi, 400001)
    r = vold_kalman_weight(BANDWIDTH_HZ, BASE_RATE_HZ)
    h = 1 / (1 + r**2 * (2 - 2 * np.cos(w)) ** 2)
    return float((h**2).mean() * BASE_RATE_HZ / BANDWIDTH_HZ)
