"""Tonal audibility against Annex E of ISO/PAS 20065:2016.

Grade of every figure called "printed" below: read in open test suites that transcribe the standard, not in
the standard itself, then recomputed here; "recomputed" in the sense of the notes, not "published".
"""

from __future__ import annotations

import numpy as np
import pytest

from axlewright.sound.audibility import (
    audibility_db,
    combined_audibility_db,
    energy_sum_db,
    masking_index_db,
    masking_noise_db,
    mean_audibility_db,
    tonal_adjustment_db,
    tone_audibility,
    tone_level_db,
)

# ISO/PAS 20065:2016, Table E.1, through a transcription: the 38 narrow-band levels from 96.9 Hz to 196.5 Hz
# of spectrum 1. The line spacing is printed as 2.7 Hz; 2.6917 Hz is the real one. The peak, 65.87 dB, is
# 137.3 Hz.
LEVELS = np.array(
    [
        49.40, 50.68, 50.09, 53.37, 44.47, 50.91, 51.41, 59.40, 64.54, 57.57, 51.02, 50.76, 59.93,
        62.94, 58.49, 65.87, 62.66, 50.25, 51.32, 52.30, 52.58, 53.15, 67.04, 67.27, 57.40, 57.17,
        52.56, 51.39, 52.49, 47.68, 51.26, 49.03, 61.42, 59.52, 48.43, 50.84, 48.20, 55.95,
    ]
)  # fmt: skip
SPACING = 2.6917
FIRST = 137.3 - 15 * SPACING

# ISO/PAS 20065:2016, Annex E, through a transcription: fT [Hz], LS, LT, ΔL [dB] of all tones of spectrum 1.
TONES = [
    (118.4, 48.91, 64.56, 1.92),
    (137.3, 49.22, 67.96, 4.99),
    (158.8, 50.50, 68.63, 4.37),
    (314.9, 52.85, 68.50, 1.78),
    (433.4, 58.29, 73.17, 0.87),
    (592.2, 59.53, 78.31, 4.55),
    (629.8, 59.71, 75.00, 1.01),
    (643.3, 61.98, 79.75, 3.47),
    (1582.7, 54.16, 71.07, 0.73),
]


def test_tone_at_137_hz_from_its_38_lines() -> None:
    # Printed: LS 49.22, LT 67.96, LG 64.98, av −2.02, ΔL 4.99 dB, extended uncertainty ±2.79 dB.
    tone = tone_audibility(LEVELS, FIRST, SPACING, 137.3)
    assert tone.frequency_hz == pytest.approx(137.3, abs=0.01)
    assert tone.noise_db == pytest.approx(49.22, abs=0.006)
    assert tone.tone_db == pytest.approx(67.96, abs=0.006)
    assert tone.band_noise_db == pytest.approx(64.98, abs=0.006)
    assert tone.masking_index_db == pytest.approx(-2.02, abs=0.006)
    assert tone.audibility_db == pytest.approx(4.99, abs=0.006)
    assert tone.uncertainty_db == pytest.approx(2.79, abs=0.006)


def test_printed_spacing_gives_the_same_within_its_rounding() -> None:
    tone = tone_audibility(LEVELS, 137.3 - 15 * 2.7, 2.7, 137.3)
    assert tone.audibility_db == pytest.approx(4.99, abs=0.025)


@pytest.mark.parametrize(("frequency", "noise", "tone", "audibility"), TONES)
def test_audibility_of_every_printed_tone(
    frequency: float, noise: float, tone: float, audibility: float
) -> None:
    assert audibility_db(tone, noise, frequency, SPACING) == pytest.approx(audibility, abs=0.0125)


# Lines 8 and 23 are the peaks at 118.4 Hz and 158.8 Hz; LS as printed: their bands leave the table.
@pytest.mark.parametrize(("line", "noise", "level"), [(8, 48.91, 64.56), (23, 50.50, 68.63)])
def test_tone_levels_of_the_neighbours(line: int, noise: float, level: float) -> None:
    assert tone_level_db(LEVELS, line, noise)[0] == pytest.approx(level, abs=0.006)


def test_three_tones_in_one_band_together() -> None:
    # Printed: LT 72.15 dB, ΔL 9.18 dB.
    levels = np.array([64.56, 67.96, 68.63])
    assert energy_sum_db(levels) == pytest.approx(72.15, abs=0.006)
    assert combined_audibility_db(levels, 49.22, 137.3, SPACING) == pytest.approx(9.18, abs=0.015)


def test_mean_of_five_spectra() -> None:
    # Printed: 9.18, 6.04, 7.46, 2.67, 7.17 give 6.96 dB ± 1.38 dB. The inputs are rounded; only the
    # uncertainty of one tone (2.79 dB) is at hand and is taken for all five.
    mean, spread = mean_audibility_db(np.array([9.18, 6.04, 7.46, 2.67, 7.17]), np.full(5, 2.79))
    assert mean == pytest.approx(6.96, abs=0.03)
    assert spread == pytest.approx(1.38, abs=0.05)


# ISO 1996-2:2017 Table J.1 and DIN 45681 example I.3 (6.38 dB gives 4 dB), both through open transcriptions.
@pytest.mark.parametrize(
    ("mean", "adjustment"),
    [(-1.0, 0), (0.0, 0), (0.1, 1), (2.0, 1), (4.0, 2), (6.0, 3), (6.38, 4), (9.0, 4), (12.0, 5), (12.1, 6)],
)
def test_adjustment(mean: float, adjustment: int) -> None:
    assert tonal_adjustment_db(mean) == adjustment


def test_a_tone_is_heard_about_2_db_below_its_bands_noise() -> None:
    # By the formula av = −2 − lg(1 + (f/502)^2.5): −2.0 to −2.4 dB from 150 Hz to 600 Hz.
    assert masking_index_db(150.0) == pytest.approx(-2.02, abs=0.01)
    assert masking_index_db(600.0) == pytest.approx(-2.40, abs=0.01)


def test_masking_noise_of_even_lines_is_their_level_less_the_window() -> None:
    level, used = masking_noise_db(np.full(41, 50.0), 20)
    assert level == pytest.approx(50.0 - 10 * np.log10(1.5), abs=1e-9)
    assert used.sum() == 40
