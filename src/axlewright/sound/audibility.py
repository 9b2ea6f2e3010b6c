"""Whether a tone can be heard over the noise: tonal audibility from narrow-band spectra.

References
----------
ISO/PAS 20065:2016 (its successor is ISO/TS 20065:2022), Acoustics — Objective method for assessing
the audibility of tones in noise. ISO 1996-2:2017 Annex J for the adjustment.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from axlewright.errors import SoundError
from axlewright.language import eager as _
from axlewright.sound.figures import critical_bandwidth_hz

FloatArray = NDArray[np.float64]

HANN_DB: Final = 10 * math.log10(1.5)
"""A Hann window's line is 1.5 lines wide: 1.76 dB."""
TONE_OVER_NOISE_DB: Final = 6.0
TONE_DEPTH_DB: Final = 10.0
SETTLED_DB: Final = 0.005
FEWEST_LINES: Final = 5
LINE_SIGMA_DB: Final = 3.0
"""Standard deviation taken for a single line's level in the annex's uncertainty."""
COVERAGE_90: Final = 1.645


@dataclass(frozen=True, slots=True)
class ToneAudibility:
    """One tone in one spectrum.

    Parameters
    ----------
    frequency_hz : float
        Frequency fT of the tone.
    noise_db : float
        Mean narrow-band level LS of the masking noise.
    tone_db : float
        Tone level LT.
    band_noise_db : float
        Critical band level LG of the masking noise.
    masking_index_db : float
        Masking index av.
    audibility_db : float
        ΔL = LT − LG − av; above 0 the tone can be heard.
    uncertainty_db : float
        Half width of the 90 % interval of ΔL.
    """

    frequency_hz: float
    noise_db: float
    tone_db: float
    band_noise_db: float
    masking_index_db: float
    audibility_db: float
    uncertainty_db: float


def masking_index_db(frequency_hz: float) -> float:
    """Return av = −2 − lg(1 + (f/502)^2.5) [dB]: how far below the band's noise a tone is still heard."""
    return -2.0 - math.log10(1.0 + (frequency_hz / 502.0) ** 2.5)


def geometric_band_hz(frequency_hz: float) -> tuple[float, float]:
    """Return the critical band's edges with f1 f2 = fT² [Hz]."""
    width = float(critical_bandwidth_hz(frequency_hz))
    low = -width / 2 + math.sqrt(width**2 + 4 * frequency_hz**2) / 2
    return low, low + width


def energy_mean_db(levels_db: FloatArray) -> float:
    """Return 10 lg of the mean power."""
    return float(10 * np.log10(np.mean(10 ** (0.1 * np.asarray(levels_db)))))


def energy_sum_db(levels_db: FloatArray) -> float:
    """Return 10 lg of the summed power."""
    return float(10 * np.log10(np.sum(10 ** (0.1 * np.asarray(levels_db)))))


def masking_noise_db(levels_db: FloatArray, tone_line: int) -> tuple[float, NDArray[np.bool_]]:
    """Return the mean narrow-band level LS of the masking noise in a critical band.

    Parameters
    ----------
    levels_db : ndarray, shape (n,)
        Lines of the critical band [dB].
    tone_line : int
        Index of the line under test, which never counts.

    Returns
    -------
    tuple of float and ndarray
        LS [dB] and which lines made it. Lines more than 6 dB above LS are left out and LS taken
        anew until it moves by no more than 0.005 dB or fewer than five lines are left on a side.
    """
    levels = np.asarray(levels_db, dtype=np.float64)
    used = np.ones(len(levels), dtype=bool)
    used[tone_line] = False
    value = energy_mean_db(levels[used]) - HANN_DB
    while True:
        trial = used & (levels <= value + TONE_OVER_NOISE_DB)
        if trial[:tone_line].sum() < FEWEST_LINES or trial[tone_line + 1 :].sum() < FEWEST_LINES:
            return value, used
        new = energy_mean_db(levels[trial]) - HANN_DB
        settled = abs(new - value) <= SETTLED_DB
        value, used = new, trial
        if settled:
            return value, used


def tone_level_db(levels_db: FloatArray, tone_line: int, noise_db: float) -> tuple[float, slice]:
    """Return the tone level LT and the lines that make it.

    The neighbouring lines belong to the tone as long as they are more than 6 dB above LS and within
    10 dB of the peak; the sum of several lines is lowered by 1.76 dB for the Hann window.
    """
    levels = np.asarray(levels_db, dtype=np.float64)
    peak = levels[tone_line]
    belongs = (levels > noise_db + TONE_OVER_NOISE_DB) & (levels >= peak - TONE_DEPTH_DB)
    first = last = tone_line
    while first > 0 and belongs[first - 1]:
        first -= 1
    while last + 1 < len(levels) and belongs[last + 1]:
        last += 1
    lines = slice(first, last + 1)
    level = energy_sum_db(levels[lines]) - (HANN_DB if last > first else 0.0)
    return level, lines


def audibility_db(tone_db: float, noise_db: float, frequency_hz: float, line_spacing_hz: float) -> float:
    """Return ΔL = LT − LG − av with LG = LS + 10 lg(Δfc/Δf) [dB]."""
    band = noise_db + 10 * math.log10(float(critical_bandwidth_hz(frequency_hz)) / line_spacing_hz)
    return tone_db - band - masking_index_db(frequency_hz)


def tone_audibility(
    levels_db: FloatArray, first_hz: float, line_spacing_hz: float, tone_hz: float
) -> ToneAudibility:
    """Judge one tone in a narrow-band spectrum.

    Parameters
    ----------
    levels_db : ndarray, shape (n,)
        Line levels [dB], Hann window, averaged over about 3 s.
    first_hz : float
        Frequency of the first line.
    line_spacing_hz : float
        Spacing; the method asks for 1.9 to 4 Hz.
    tone_hz : float
        The tone; the strongest line within two lines of it is tested.

    Returns
    -------
    ToneAudibility
    """
    levels = np.asarray(levels_db, dtype=np.float64)
    frequency = first_hz + np.arange(len(levels)) * line_spacing_hz
    if tone_hz < 50.0:
        raise SoundError(_("the method covers tones from 50 Hz"), where=_("tone"))
    low, high = geometric_band_hz(tone_hz)
    if frequency[0] > low + line_spacing_hz or frequency[-1] < high - line_spacing_hz:
        raise SoundError(_("the spectrum does not reach over the tone's critical band"), where=_("tone"))
    near = np.flatnonzero(np.abs(frequency - tone_hz) <= 2.01 * line_spacing_hz)
    peak = int(near[np.argmax(levels[near])])
    inside = np.flatnonzero((frequency >= low) & (frequency <= high))
    band = levels[inside]
    line = peak - int(inside[0])
    noise, used = masking_noise_db(band, line)
    tone, lines = tone_level_db(band, line, noise)
    centre = float(frequency[peak])
    band_noise = noise + 10 * math.log10(float(critical_bandwidth_hz(centre)) / line_spacing_hz)
    index = masking_index_db(centre)
    return ToneAudibility(
        centre,
        noise,
        tone,
        band_noise,
        index,
        tone - band_noise - index,
        _uncertainty_db(band[lines], band[used]),
    )


def _uncertainty_db(tone_lines_db: FloatArray, noise_lines_db: FloatArray) -> float:
    """Half width of the 90 % interval, every line's level being uncertain by `LINE_SIGMA_DB`."""
    variance = 0.0
    for lines in (tone_lines_db, noise_lines_db):
        weight = 10 ** (0.1 * lines)
        variance += LINE_SIGMA_DB**2 * float((weight**2).sum()) / float(weight.sum()) ** 2
    return COVERAGE_90 * math.sqrt(variance)


def combined_audibility_db(
    tone_levels_db: FloatArray, noise_db: float, frequency_hz: float, line_spacing_hz: float
) -> float:
    """Return ΔL of several tones in one critical band: their levels add up in power.

    Parameters
    ----------
    tone_levels_db : ndarray
        Levels LT of the tones.
    noise_db, frequency_hz
        LS and fT of the most audible one.
    line_spacing_hz : float
    """
    return audibility_db(energy_sum_db(tone_levels_db), noise_db, frequency_hz, line_spacing_hz)


def mean_audibility_db(
    audibilities_db: FloatArray, uncertainties_db: FloatArray | None = None
) -> tuple[float, float]:
    """Return the energy mean of several spectra's ΔL and its 90 % half width [dB]."""
    values = np.asarray(audibilities_db, dtype=np.float64)
    mean = energy_mean_db(values)
    if uncertainties_db is None:
        return mean, math.nan
    weight = 10 ** (0.1 * values)
    spread = math.sqrt(float(((weight * np.asarray(uncertainties_db)) ** 2).sum())) / float(weight.sum())
    return mean, spread


def tonal_adjustment_db(mean_audibility: float) -> int:
    """Return the adjustment K for a mean audibility (ISO 1996-2:2017 Table J.1) [dB]."""
    for limit, value in ((0.0, 0), (2.0, 1), (4.0, 2), (6.0, 3), (9.0, 4), (12.0, 5)):
        if mean_audibility <= limit:
            return value
    return 6
