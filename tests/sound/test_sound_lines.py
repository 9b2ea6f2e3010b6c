"""Line scores, floors, tracked amplitudes and sidebands on signals whose answer is known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from axlewright.sound.angle import (
    BASE_RATE_HZ,
    mix_down,
    refine,
    vold_kalman,
    vold_kalman_weight,
)
from axlewright.sound.figures import critical_bandwidth_hz
from axlewright.sound.lines import line_score, noise_floor
from axlewright.sound.mesh_figures import NOISE_BANDWIDTH, noise_bandwidth_ratio
from axlewright.sound.sidebands import measure_sidebands
from axlewright.sound.turned import STEP, TurnSpectra, envelope_spectra, turn_spectra

RATE = 16000


def test_the_mean_likelihood_ratio_of_noise_is_one() -> None:
    # E[likelihood ratio] = 1 under noise, by definition of a likelihood ratio.
    root = np.linspace(0.0, 40.0, 400_001)
    integrand = np.exp(line_score(root**2) - root**2) * 2 * root
    assert np.sum(integrand) * (root[1] - root[0]) == pytest.approx(1.0, abs=1e-3)


def test_floor_of_exponential_noise() -> None:
    power = np.random.default_rng(1).exponential(2.5, size=(60, 800))
    assert noise_floor(power, 101).mean() == pytest.approx(2.5, rel=0.03)


def test_a_strong_line_does_not_lift_the_floor() -> None:
    power = np.random.default_rng(2).exponential(size=(60, 800))
    power[:, 398:403] = 1e4
    assert noise_floor(power, 101)[:, 400].mean() == pytest.approx(1.0, rel=0.2)


def flat(ratio: np.ndarray) -> TurnSpectra:
    return TurnSpectra(np.arange(len(ratio)) * 1.0, np.full(len(ratio), 10.0), ratio, np.ones_like(ratio))


def test_a_passing_line_counts_and_noise_counts_against() -> None:
    noise = np.random.default_rng(3).exponential(size=(100, 200))
    assert np.mean(flat(noise).persistent()) < 0
    noise[:20, 100] = 12.0
    score = flat(noise).persistent()
    assert score[100] > 10
    assert score[100] == score.max()


def test_where_something_else_may_be_heard_a_line_says_nothing() -> None:
    ratio = np.full((60, 10), 12.0)
    mask = np.zeros(ratio.shape, dtype=bool)
    mask[:, 4] = True
    score = flat(ratio).persistent(mask=mask)
    assert score[4] < 1e-6
    assert score[5] > 50


def test_vold_kalman_weight() -> None:
    # B 1 Hz at 200 Hz with two poles: r = 2608, derived from H = 1/(1 + r² (2 − 2 cos ω)²).
    assert vold_kalman_weight(1.0, 200.0) == pytest.approx(2608, abs=1)
    assert noise_bandwidth_ratio() == pytest.approx(NOISE_BANDWIDTH, abs=0.005)


def test_vold_kalman_amplitude_of_a_swept_tone() -> None:
    t = np.arange(20 * RATE) / RATE
    turns = 6.0 * t + 0.1 * t**2
    rng = np.random.default_rng(4)
    x = 0.664 * np.cos(2 * np.pi * 41 * turns + 0.3) + 0.3 * rng.standard_normal(len(t))
    amplitude = np.abs(vold_kalman(mix_down(x, RATE, turns, 41.0), 1.5))
    assert np.median(amplitude[BASE_RATE_HZ:-BASE_RATE_HZ]) == pytest.approx(0.664, abs=0.01)


def test_refining_mends_a_wrong_speed() -> None:
    t = np.arange(30 * RATE) / RATE
    true = 8.0 * t + 0.05 * t**2
    x = np.cos(2 * np.pi * 41 * true) + 0.7 * np.random.default_rng(5).standard_normal(len(t))
    wrong = true * 1.0015 + 0.0004 * np.sin(t)
    mended, last = refine(x, RATE, wrong, (41.0,))
    middle = slice(2 * RATE, -2 * RATE)
    before = np.abs(np.diff(wrong)[middle] / np.diff(true)[middle] - 1).mean()
    after = np.abs(np.diff(mended)[middle] / np.diff(true)[middle] - 1).mean()
    assert before > 1e-3
    assert after < 1e-4
    assert last < 1e-4


@pytest.mark.parametrize("modulation", [0.15, 0.3])
def test_sidebands_of_amplitude_modulation(modulation: float) -> None:
    # Each sideband stands 20 lg(m/2) from the tone: −16.5 dB at 0.3, −22.5 dB at 0.15.
    t = np.arange(40 * RATE) / RATE
    turns = 7.0 * t + 0.05 * t**2
    swell = 1 + modulation * np.cos(2 * np.pi * 41 / 11 * turns)
    x = swell * np.cos(2 * np.pi * 41 * turns) + 0.02 * np.random.default_rng(6).standard_normal(len(t))
    spectra = turn_spectra(x, RATE, turns)
    level = spectra.power.mean(axis=0)
    bands = measure_sidebands(spectra.persistent(), level, 41.0, 41 / 11, "pinion")
    assert bands.level_db == pytest.approx(20 * np.log10(modulation / 2), abs=0.3)
    assert bands.modulation == pytest.approx(modulation, rel=0.05)
    assert bands.ratio == pytest.approx(11.0, abs=0.02)
    assert bands.evidence > 20


@pytest.mark.parametrize(("order", "ratio_db"), [(41.0, 6.0), (20.5, 0.0), (41.0, -3.0)])
def test_audibility_of_a_tone_in_white_noise(order: float, ratio_db: float) -> None:
    # ISO/TS 20065: tone over noise in the critical band, less the masking index -2 - lg(1 + (f/502)^2.5).
    t = np.arange(60 * RATE) / RATE
    wheel_hz = 10.0
    f = order * wheel_hz
    density = 0.1**2 / (RATE / 2)
    x = 0.1 * np.random.default_rng(7).standard_normal(len(t))
    x += np.sqrt(2 * 10 ** (ratio_db / 10) * density * critical_bandwidth_hz(f)) * np.sin(2 * np.pi * f * t)
    heard = turn_spectra(x, RATE, wheel_hz * t).audibility_db(np.array([order, order + 2.3]))
    index = -2 - np.log10(1 + (f / 502) ** 2.5)
    assert np.median(heard[0]) == pytest.approx(ratio_db - index, abs=0.6)
    assert np.median(heard[1]) < -8


def test_the_rate_of_impacts_shows_in_an_envelope() -> None:
    # A bearing's knocks: ringing at 2 kHz, 7.49 a wheel turn, no line at that order in the sound itself.
    rng = np.random.default_rng(8)
    t = np.arange(40 * RATE) / RATE
    turns = 9.0 * t + 0.05 * t**2
    swell = 1 + 0.8 * np.cos(2 * np.pi * 7.49 * turns)
    noise = signal.sosfilt(
        signal.butter(2, [1700, 2600], "bandpass", fs=RATE, output="sos"), rng.standard_normal(len(t))
    )
    x = noise * swell + 0.3 * rng.standard_normal(len(t))
    score = np.max([e.persistent() for e in envelope_spectra(x, RATE, turns)], axis=0)
    assert score[round(7.49 / STEP)] == score[64:].max() > 30
    assert turn_spectra(x, RATE, turns).persistent()[round(7.49 / STEP)] < 3
