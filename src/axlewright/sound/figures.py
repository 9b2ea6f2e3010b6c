"""How prominent a steady tone is: tone-to-noise ratio and prominence ratio.

Both are ratios of powers near the tone, so they survive a recorder's unknown gain. Own code,
because a general library's tone-to-noise ratio proved up to 20 dB wrong at axle frequencies.

References
----------
ECMA-418-1:2024, Psychoacoustic metrics for ITT equipment, part 1: prominent discrete tones.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from axlewright.errors import SoundError
from axlewright.language import Shown
from axlewright.language import eager as _

FloatArray = NDArray[np.float64]
_F = TypeVar("_F", float, FloatArray)

LOWEST_TONE_HZ: Final = 89.1
HIGHEST_TONE_HZ: Final = 11200.0


def critical_bandwidth_hz(frequency_hz: _F) -> _F:
    """Return the width of the critical band round `frequency_hz` [Hz] (ECMA-418-1 formula 2)."""
    width: _F = 25.0 + 75.0 * (1.0 + 1.4 * (frequency_hz / 1000.0) ** 2) ** 0.69
    return width


def critical_band_hz(frequency_hz: float) -> tuple[float, float]:
    """Return the critical band's edges [Hz]: about the middle up to 500 Hz, geometric above."""
    width = critical_bandwidth_hz(frequency_hz)
    if frequency_hz <= 500.0:
        return frequency_hz - width / 2, frequency_hz + width / 2
    low = -width / 2 + math.sqrt(width**2 + 4 * frequency_hz**2) / 2
    return low, low + width


def proximity_spacing_hz(frequency_hz: float) -> float:
    """Return the spacing [Hz] below which two tones in one band count as one, below 1 kHz."""
    return float(21.0 * 10 ** (1.2 * abs(math.log10(frequency_hz / 212.0)) ** 1.8))


def tone_to_noise_limit_db(frequency_hz: float) -> float:
    """Return the tone-to-noise ratio from which a tone is called prominent [dB]."""
    return 8.0 if frequency_hz >= 1000.0 else 8.0 + 8.33 * math.log10(1000.0 / frequency_hz)


def prominence_limit_db(frequency_hz: float) -> float:
    """Return the prominence ratio from which a tone is called prominent [dB]."""
    return 9.0 if frequency_hz >= 1000.0 else 9.0 + 10.0 * math.log10(1000.0 / frequency_hz)


@dataclass(frozen=True, slots=True)
class ToneFigure:
    """A ratio at one tone.

    Parameters
    ----------
    frequency_hz : float
        The tone [Hz].
    ratio_db : float
        The ratio [dB].
    limit_db : float
        Where it counts as prominent [dB].
    """

    frequency_hz: float
    ratio_db: float
    limit_db: float

    @property
    def prominent(self) -> bool:
        """Whether the ratio reaches the limit."""
        return self.ratio_db >= self.limit_db


def power_spectrum(
    samples: FloatArray, rate_hz: float, seconds: float = 1.0
) -> tuple[FloatArray, FloatArray]:
    """Return frequency [Hz] and mean power density [1/Hz] of Hann frames of `seconds`, half overlapped."""
    from scipy import signal

    size = min(int(seconds * rate_hz), len(samples))
    frequency, density = signal.welch(
        samples, rate_hz, "hann", size, size // 2, scaling="density", detrend=False
    )
    return np.asarray(frequency), np.asarray(density)


def _band_power(frequency: FloatArray, density: FloatArray, low: float, high: float) -> float:
    """Integrate the density over a band, taking parts of the end lines."""
    df = float(frequency[1] - frequency[0])
    share = np.clip((np.minimum(frequency + df / 2, high) - np.maximum(frequency - df / 2, low)) / df, 0, 1)
    return float((share * density).sum() * df)


def _tone_lines(frequency: FloatArray, density: FloatArray, tone_hz: float) -> tuple[int, int]:
    """Return first and last line of the tone, at most 15 % of the critical band wide."""
    width = critical_bandwidth_hz(tone_hz)
    df = float(frequency[1] - frequency[0])
    near = np.abs(frequency - tone_hz) <= max(0.05 * width, 2 * df)
    lines = np.flatnonzero(near)
    peak = int(lines[np.argmax(density[lines])])
    low, high = critical_band_hz(tone_hz)
    inside = (frequency >= low) & (frequency <= high)
    floor = float(np.median(density[inside])) / math.log(2)
    # With many frames the median is nearer the mean; either way three times it ends the tone's skirt.
    reach = max(int(0.075 * width / df), 1)
    first = last = peak
    while first - 1 >= 0 and peak - first < reach and density[first - 1] > 3 * floor:
        first -= 1
    while last + 1 < len(density) and last - peak < reach and density[last + 1] > 3 * floor:
        last += 1
    return min(first, peak - 1 if reach > 1 else peak), max(last, peak + 1 if reach > 1 else peak)


def _check(samples: FloatArray, rate_hz: float, tone_hz: float) -> None:
    if not LOWEST_TONE_HZ <= tone_hz <= min(HIGHEST_TONE_HZ, rate_hz / 2.5):
        raise SoundError(
            _("a tone at {tone_hz} Hz is outside what the method covers").format(tone_hz=f"{tone_hz:.0f}"),
            where=_("tone"),
            fix=_("choose a tone between {lowest_tone_hz} and {highest_tone_hz} Hz").format(
                lowest_tone_hz=f"{Shown(LOWEST_TONE_HZ):g}",
                highest_tone_hz=f"{min(HIGHEST_TONE_HZ, rate_hz / 2.5):.0f}",
            ),
        )
    if len(samples) < 2 * rate_hz:
        raise SoundError(_("at least two seconds are needed for a tone figure"), where=_("recording"))


def tone_to_noise_ratio(
    samples: FloatArray, rate_hz: float, tone_hz: float, *, other_tones_hz: tuple[float, ...] = ()
) -> ToneFigure:
    """Return the tone-to-noise ratio of a steady tone.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Signal; its calibration does not matter.
    rate_hz : float
        Rate [Hz].
    tone_hz : float
        The tone; the strongest line within 5 % of the critical band is taken.
    other_tones_hz : tuple of float
        Further tones, taken out of the noise; counted with the tone when nearer than the
        proximity spacing.

    Returns
    -------
    ToneFigure

    Notes
    -----
    10 lg(W_tone / W_noise), W_noise the critical band's power less the tones', scaled to the full
    band width. The noise under the tone's own lines is taken out of the tone.
    """
    _check(samples, rate_hz, tone_hz)
    frequency, density = power_spectrum(samples, rate_hz)
    return tone_to_noise_of_spectrum(frequency, density, tone_hz, other_tones_hz)


def tone_to_noise_of_spectrum(
    frequency: FloatArray, density: FloatArray, tone_hz: float, other_tones_hz: tuple[float, ...] = ()
) -> ToneFigure:
    """Return the tone-to-noise ratio from a power density spectrum; see `tone_to_noise_ratio`."""
    df = float(frequency[1] - frequency[0])
    low, high = critical_band_hz(tone_hz)
    in_band = (frequency > low) & (frequency < high)
    taken = np.zeros(len(frequency), dtype=bool)
    first, last = _tone_lines(frequency, density, tone_hz)
    own = np.zeros(len(frequency), dtype=bool)
    own[first : last + 1] = True
    taken |= own
    for other in other_tones_hz:
        if low < other < high and abs(other - tone_hz) > df:
            a, b = _tone_lines(frequency, density, other)
            taken[a : b + 1] = True
            if abs(other - tone_hz) < proximity_spacing_hz(tone_hz) or tone_hz >= 1000.0:
                own[a : b + 1] = True
    noise_density = float(density[in_band & ~taken].mean())
    tone_power = float(density[own].sum() * df - noise_density * own.sum() * df)
    noise_power = noise_density * critical_bandwidth_hz(tone_hz)
    ratio = 10 * math.log10(max(tone_power, 1e-30) / max(noise_power, 1e-30))
    return ToneFigure(tone_hz, ratio, tone_to_noise_limit_db(tone_hz))


def prominence_ratio(samples: FloatArray, rate_hz: float, tone_hz: float) -> ToneFigure:
    """Return the prominence ratio of a steady tone: its critical band over the two beside it.

    Parameters
    ----------
    samples, rate_hz, tone_hz
        As in `tone_to_noise_ratio`.

    Returns
    -------
    ToneFigure

    Notes
    -----
    Outer edges by the standard's polynomials. Below 171.4 Hz the lower band is cut at 20 Hz and its
    power scaled to 100 Hz.
    """
    _check(samples, rate_hz, tone_hz)
    frequency, density = power_spectrum(samples, rate_hz)
    low, high = critical_band_hz(tone_hz)
    outer_low, outer_high = prominence_edges_hz(tone_hz)
    middle = _band_power(frequency, density, low, high)
    lower = _band_power(frequency, density, outer_low, low)
    upper = _band_power(frequency, density, high, outer_high)
    if tone_hz <= 171.4:
        lower *= 100.0 / (low - outer_low)
    ratio = 10 * math.log10(middle / (0.5 * (lower + upper)))
    return ToneFigure(tone_hz, ratio, prominence_limit_db(tone_hz))


def prominence_edges_hz(f: float) -> tuple[float, float]:
    """Return the outer edges of the two neighbouring bands [Hz]."""
    if f <= 171.4:
        low = 20.0
    elif f <= 1600.0:
        low = -149.5 + 1.001 * f - 6.90e-5 * f**2
    else:
        low = 6.8 + 0.806 * f - 8.20e-6 * f**2
    high = 149.5 + 1.035 * f + 7.70e-5 * f**2 if f <= 1600.0 else 3.3 + 1.215 * f + 2.16e-5 * f**2
    return low, high
