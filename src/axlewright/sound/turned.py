"""Spectra over wheel turns: of the sound itself, and of how its bands swell and fade.

In a spectrum over wheel turns everything that keeps step with the wheel stands still. From the sound
come the lines and how audible each is above what masks it; from the envelopes of its bands come the
rates at which a bearing strikes or a tread rubs.

References
----------
Fyfe and Munck, Analysis of computed order tracking, Mechanical Systems and Signal Processing 11 (1997).
ISO/TS 20065:2022 for the audibility of a tone in its critical band.
Randall and Antoni, Rolling element bearing diagnostics, Mechanical Systems and Signal Processing 25 (2011).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, signal, special

from axlewright.sound.figures import critical_bandwidth_hz
from axlewright.sound.lines import CAP, line_score, noise_floor

FloatArray = NDArray[np.float64]

TURNS: Final = 32
"""Wheel turns per spectrum: two to three seconds, as long as a tone takes to annoy."""
HOP_TURNS: Final = 8
PER_TURN: Final = 1024
STEP: Final = 1.0 / (2 * TURNS)
HIGHEST: Final = 280.0
FLOOR_ORDERS: Final = 2.5
LOWEST_HZ: Final = 20.0
TEMPER: Final = 0.2
SHARES: Final = (0.15, 0.4, 0.8)
ENVELOPE_BANDS_HZ: Final = (
    (60.0, 250.0),
    (350.0, 800.0),
    (800.0, 1600.0),
    (1600.0, 3200.0),
    (3200.0, 6500.0),
)
ENVELOPE_PER_TURN: Final = 256
ENVELOPE_HIGHEST: Final = 100.0
SHORTEST_TURNS: Final = 40.0


@dataclass(frozen=True)
class TurnSpectra:
    """Spectra over wheel turns.

    Parameters
    ----------
    times_s, wheel_hz : ndarray, shape (segments,)
        Middle of each and the mean turn rate in it.
    power : ndarray, shape (segments, bins)
        Power per bin of `STEP` orders.
    floor : ndarray, shape (segments, bins)
        Power of the noise per bin.
    """

    times_s: FloatArray
    wheel_hz: FloatArray
    power: FloatArray
    floor: FloatArray

    @property
    def ratio(self) -> FloatArray:
        """Power over the noise."""
        return self.power / self.floor

    def persistent(self, temper: float = TEMPER, mask: NDArray[np.bool_] | None = None) -> FloatArray:
        """Return how much each bin speaks for a line, over all segments [nats], shape (bins,).

        Where `mask` is set something else may be heard: there a bin says nothing for a line.
        """
        odds = np.expm1(np.minimum(line_score(self.ratio), CAP)).astype(np.float32)
        if mask is not None:
            odds[mask] = np.minimum(odds[mask], 0.0)
        sums = np.stack([temper * np.log1p(a * odds).sum(axis=0) for a in SHARES])
        result: FloatArray = special.logsumexp(sums, axis=0) - np.log(len(SHARES))
        return result

    def audibility_db(self, orders: NDArray[np.floating[Any]]) -> FloatArray:
        """Return the audibility of lines, shape (lines, segments).

        Parameters
        ----------
        orders : ndarray, shape (lines,) or (lines, segments)
            Orders as followed.

        Returns
        -------
        ndarray
            Tone over everything else in its critical band, less the masking index; −40 where there is
            no tone, and below `LOWEST_HZ`.
        """
        segments, bins = self.power.shape
        order = np.broadcast_to(orders if orders.ndim == 2 else orders[:, None], (len(orders), segments))
        rows = np.broadcast_to(np.arange(segments), order.shape)
        f = order * self.wheel_hz
        reach = 0.035 + 0.002 * order
        a = np.clip(np.rint((order - reach) / STEP), 1, bins - 2).astype(int)
        b = np.clip(np.rint((order + reach) / STEP) + 1, 2, bins - 1).astype(int)
        half = critical_bandwidth_hz(f) / 2
        low = np.clip(np.maximum(f - half, LOWEST_HZ) / self.wheel_hz / STEP, 1, bins - 2).astype(int)
        high = np.clip((f + half) / self.wheel_hz / STEP, 2, bins - 1).astype(int)
        total, noise = self._sums
        tone = total[rows, b] - total[rows, a] - (noise[rows, b] - noise[rows, a])
        band = total[rows, high] - total[rows, low]
        rest = np.maximum(band - np.maximum(tone, 0.0), 0.02 * np.abs(band) + 1e-30)
        heard = 10 * np.log10(np.maximum(tone, 1e-4 * rest) / rest)
        index = -2.0 - np.log10(1.0 + (f / 502.0) ** 2.5)
        outside = (f < LOWEST_HZ) | (order - reach < STEP) | (order + reach > (bins - 3) * STEP)
        return np.where(outside, -40.0, heard - index)

    @cached_property
    def _sums(self) -> tuple[FloatArray, FloatArray]:
        zero = np.zeros((len(self.power), 1))
        return (
            np.concatenate([zero, np.cumsum(self.power, axis=1)], axis=1),
            np.concatenate([zero, np.cumsum(self.floor, axis=1)], axis=1),
        )


def turn_positions(turns: FloatArray, per_turn: int) -> FloatArray:
    """Return where in the samples each of the even wheel angles lies."""
    count = int((turns[-1] - turns[0]) * per_turn)
    grid = turns[0] + np.arange(count) / per_turn
    return np.asarray(np.interp(grid, turns, np.arange(len(turns), dtype=np.float64)))


def turn_spectra(
    samples: FloatArray,
    rate_hz: float,
    turns: FloatArray,
    keep: NDArray[np.bool_] | None = None,
    *,
    per_turn: int = PER_TURN,
    highest: float = HIGHEST,
    hop_turns: int = HOP_TURNS,
    oversample: bool = True,
) -> TurnSpectra:
    """Resample to even wheel turns and transform.

    Parameters
    ----------
    samples : ndarray, shape (n,)
    rate_hz : float
    turns : ndarray, shape (n,)
        Rising wheel turns at each sample.
    keep : ndarray of bool, shape (n,), optional
        What is left out is set to zero; segments more than half left out are dropped.

    Returns
    -------
    TurnSpectra
        The segments are shorter than `TURNS` when the recording holds fewer turns.
    """
    position = turn_positions(turns, per_turn)
    used = samples if keep is None else np.where(keep, samples, 0.0)
    if oversample:  # twice the rate makes linear interpolation good to 0.3 % at 1 kHz
        double = signal.resample_poly(used.astype(np.float32), 2, 1)
        whole = position * 2
    else:
        double, whole = used.astype(np.float32), position
    index = np.minimum(whole.astype(np.intp), len(double) - 2)
    share = (whole - index).astype(np.float32)
    even = double[index] * (1 - share) + double[index + 1] * share
    full = TURNS * per_turn
    size, hop = min(full, len(even)), hop_turns * per_turn
    window = np.hanning(size + 1)[:-1].astype(np.float32)
    bins = int(highest / STEP)
    starts = np.arange(0, len(even) - size + 1, hop)
    ends = np.minimum(starts + size, len(position) - 1)
    if keep is not None:
        kept = np.concatenate([[0], np.cumsum(keep)])
        span = np.maximum(position[ends].astype(int) - position[starts].astype(int), 1)
        share_kept = (kept[position[ends].astype(int)] - kept[position[starts].astype(int)]) / span
        if (share_kept >= 0.5).any():
            starts, ends = starts[share_kept >= 0.5], ends[share_kept >= 0.5]
    power = np.empty((len(starts), bins))
    scale = 2.0 / (float((window.astype(np.float64) ** 2).sum()) * 2 * full)
    for row, start in enumerate(starts.tolist()):
        part = np.fft.rfft(even[start : start + size] * window, 2 * full)[:bins]
        power[row] = (part.real.astype(np.float64) ** 2 + part.imag.astype(np.float64) ** 2) * scale
    floor = noise_floor(power + 1e-30, int(2 * FLOOR_ORDERS / STEP) + 1, int(FLOOR_ORDERS / STEP))
    a, b = position[starts], position[ends]
    seconds = (b - a) / rate_hz
    return TurnSpectra((a + b) / 2 / rate_hz, (ends - starts) / per_turn / seconds, power, floor)


def envelope_spectra(
    samples: FloatArray, rate_hz: int, turns: FloatArray, keep: NDArray[np.bool_] | None = None
) -> list[TurnSpectra]:
    """Return the spectra over wheel turns of how each band's level swells and fades.

    Every envelope is divided by its own slow course, so that what counts is the depth of the swelling.
    """
    n = len(samples)
    size = 1 << (n - 1).bit_length() if n > 1 else 2
    spectrum = np.fft.rfft(samples.astype(np.float32), size)
    frequency = np.fft.rfftfreq(size, 1 / rate_hz)
    result = []
    for low, high in ENVELOPE_BANDS_HZ:
        # An analytic signal of the band alone, brought down by whole decimation: shift, keep, invert.
        first, last = np.searchsorted(frequency, [low, high])
        width = last - first
        short = 1 << int(width * 1.3).bit_length()
        piece = np.zeros(short, dtype=np.complex64)
        piece[:width] = spectrum[first:last] * np.hanning(width + 2)[1:-1] ** 0.25
        band = np.fft.ifft(piece)
        rate = rate_hz * short / size
        count = int(n * short / size)
        envelope = np.abs(band[:count]) ** 2
        slow = ndimage.uniform_filter1d(envelope, int(rate * 0.6)) + 1e-30
        depth = np.sqrt(np.minimum(envelope / slow, 12.0))
        depth -= depth.mean()
        at = np.arange(count) / rate * rate_hz
        own_turns = np.interp(at, np.arange(n), turns)
        own_keep = None if keep is None else keep[np.minimum(at.astype(int), n - 1)]
        result.append(
            turn_spectra(
                depth,
                rate,
                own_turns,
                own_keep,
                per_turn=ENVELOPE_PER_TURN,
                highest=ENVELOPE_HIGHEST,
                oversample=False,
            )
        )
    return result
