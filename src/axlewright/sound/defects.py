"""Find what makes a recording doubtful: clipping, gain control, speech, a narrow band, silent stretches.

The thresholds are our own judgement, tried on made signals; each flag says in a sentence what it
means for the listener. They are not from a standard.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from axlewright.language import Shown
from axlewright.language import eager as _

FloatArray = NDArray[np.float64]

FRAME_S = 0.02
"""Frames in which the level is looked at [s]."""
STEP_S = FRAME_S / 2
"""From frame to frame [s]: a tone that swells with the pinion, up to 60 times a second, must not pass for
one that swells as slowly as syllables do."""


@dataclass(frozen=True, slots=True)
class Flag:
    """One thing wrong with a recording.

    Parameters
    ----------
    kind : str
        ``clipping``, ``gain_pumping``, ``speech``, ``narrow_band``, ``silent_stretch``,
        ``out_of_phase``, ``too_long``, ``truncated``.
    text : str
        One sentence for the person.
    weight : int
        1 note, 2 warning.
    spans_s : tuple of (float, float)
        Stretches concerned [s]; empty means all of it.
    """

    kind: str
    text: str
    weight: int = 1
    spans_s: tuple[tuple[float, float], ...] = ()


def inspect_samples(mono: FloatArray, rate_hz: int, speech_codec: bool = False) -> list[Flag]:
    """Look for everything this module knows.

    Parameters
    ----------
    mono : ndarray, shape (n,)
        The signal, full scale 1.
    rate_hz : int
        Its rate [Hz].
    speech_codec : bool
        Whether the file was coded by a speech codec.

    Returns
    -------
    list of Flag
    """
    flags: list[Flag] = []
    share = clipped_share(mono)
    if share > 2e-5:
        flags.append(
            Flag(
                "clipping",
                _(
                    "the recorder was overdriven ({share} % of the samples are cut off): "
                    "overtones may come from the recorder, not from the axle"
                ).format(share=f"{Shown(share * 100):.2g}"),
                2,
            )
        )
    if speech_codec or rate_hz <= 8000 or _stops_at_telephone_band(mono, rate_hz):
        flags.append(
            Flag(
                "narrow_band",
                _(
                    "the recording was made for speech and ends near 3.4 kHz: tones can be "
                    "followed, but no figure for harshness or sharpness is given"
                ),
                2,
            )
        )
    levels = _band_levels_db(mono, rate_hz)
    silent = _silent_spans(mono, rate_hz)
    if silent:
        total = sum(b - a for a, b in silent)
        flags.append(
            Flag(
                "silent_stretch",
                _("{total} s of the recording are silent").format(total=f"{Shown(total):.1f}"),
                1,
                silent,
            )
        )
    talk = speech_spans(levels)
    if sum(b - a for a, b in talk) >= 2.0:
        total = sum(b - a for a, b in talk)
        flags.append(
            Flag(
                "speech",
                _("speech or knocks in {total} s of the recording; these are left out").format(
                    total=f"{total:.0f}"
                ),
                1,
                talk,
            )
        )
    jumps = gain_jumps(levels, talk + silent)
    if jumps >= 2:
        flags.append(
            Flag(
                "gain_pumping",
                _(
                    "the recorder changed its gain by itself (at least {jumps} times): only "
                    "ratios within one moment are used, no levels over time"
                ).format(jumps=jumps),
                1,
            )
        )
    return flags


def clipped_share(mono: FloatArray) -> float:
    """Return the share of samples that lie in flat tops at the largest value.

    A flat top is three or more neighbouring samples within 0.2 % of the extreme of that sign.
    """
    total = 0
    for highest in (True, False):
        top = float(mono.max() if highest else -mono.min())
        if top < 0.05:
            continue
        flat = mono >= 0.998 * top if highest else mono <= -0.998 * top
        below = mono >= 0.99 * top if highest else mono <= -0.99 * top
        # A loud pure tone has flat crests too, but about as many samples just below them.
        if flat.sum() > 2 * (below.sum() - flat.sum()):
            total += int((flat[1:-1] & flat[:-2] & flat[2:]).sum())
    return total / len(mono)


def _band_levels_db(mono: FloatArray, rate_hz: int) -> FloatArray:
    """Return levels [dB] of four bands in 20 ms frames every 10 ms, shape (frames, 4)."""
    size, step = int(FRAME_S * rate_hz), int(STEP_S * rate_hz)
    frames = (len(mono) - size) // step + 1
    every = np.lib.stride_tricks.sliding_window_view(mono, size)[::step]
    window = np.hanning(size)
    frequency = np.fft.rfftfreq(size, 1 / rate_hz)
    edges = [(150, 400), (400, 1000), (1000, 2000), (2000, 3400)]
    bands = np.stack([(frequency >= low) & (frequency < high) for low, high in edges]).astype(np.float64).T
    result = np.empty((frames, len(edges)))
    for first in range(0, frames, 500):
        part = every[first : first + 500]
        power = np.abs(np.fft.rfft(part * window, axis=1)) ** 2
        result[first : first + len(part)] = 10 * np.log10(power @ bands + 1e-20)
    return result


def _spans(mask: NDArray[np.bool_], step_s: float) -> tuple[tuple[float, float], ...]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(np.int8), [0]])))
    return tuple((float(a * step_s), float(b * step_s)) for a, b in zip(edges[::2], edges[1::2], strict=True))


def speech_spans(levels_db: FloatArray) -> tuple[tuple[float, float], ...]:
    """Return stretches in which both middle bands swing at 2 to 8 Hz as speech does.

    Road noise swings by well under 2 dB in 20 ms frames; syllables by 10 dB and more, in both bands. A
    strong tone that swells or passes from one band to the other swings in one of them, or against it.
    """
    rate = 1 / STEP_S
    if len(levels_db) < 80:
        return ()
    sos = signal.butter(2, [2.0, 8.0], "bandpass", fs=rate, output="sos")
    swing = signal.sosfiltfilt(sos, levels_db[:, 1:3], axis=0)
    block = int(rate)
    count = len(swing) // block
    one, other = swing[: count * block].reshape(count, block, 2).transpose(2, 0, 1)
    together = np.sqrt(np.maximum((one * other).mean(axis=1), 0.0))
    return _spans(np.minimum(together, np.minimum(one.std(axis=1), other.std(axis=1))) > 3.0, 1.0)


def gain_jumps(levels_db: FloatArray, leave_out_s: tuple[tuple[float, float], ...] = ()) -> int:
    """Count moments at which all bands move together by more than 2.5 dB within a second."""
    rate = int(1 / STEP_S)
    count = len(levels_db) // (rate // 2)
    if count < 6:
        return 0
    half = np.median(levels_db[: count * (rate // 2)].reshape(count, rate // 2, 4), axis=1)
    change = half[2:] - half[:-2]
    together = np.where(
        np.all(change > 0, axis=1) | np.all(change < 0, axis=1), np.abs(change).min(axis=1), 0.0
    )
    for start, stop in leave_out_s:
        a, b = int(start * 2) - 4, int(stop * 2) + 3
        together[max(a, 0) : max(b, 0)] = 0.0
    return len(_spans(together > 2.5, 0.5))


def _silent_spans(mono: FloatArray, rate_hz: int) -> tuple[tuple[float, float], ...]:
    size = rate_hz // 4
    count = len(mono) // size
    power = np.array([mono[first : first + size].var() for first in range(0, count * size, size)])
    return tuple(
        span for span in _spans(power < 1e-6 * np.median(power[power > 0]), 0.25) if span[1] - span[0] >= 0.5
    )


def _stops_at_telephone_band(mono: FloatArray, rate_hz: int) -> bool:
    """Say whether the spectrum falls off a cliff at 3.4 to 4 kHz."""
    if rate_hz < 9600:
        return True
    pieces = [mono[first : first + 30 * rate_hz] for first in range(0, len(mono), 30 * rate_hz)]
    frequency = np.fft.rfftfreq(2048, 1 / rate_hz)
    power = np.mean(
        [signal.welch(p, rate_hz, nperseg=2048)[1] for p in pieces if len(p) >= 2048 or len(pieces) == 1],
        axis=0,
    )
    below = power[(frequency > 2700) & (frequency < 3300)].mean()
    above = power[(frequency > 4150) & (frequency < 4700)].mean()
    if below <= 0:
        return False
    # Rounding to 16 bits leaves a floor; a cliff of 25 dB in a third of an octave is no road noise.
    return bool(10 * np.log10((above + 1e-18) / below) < -25.0)
