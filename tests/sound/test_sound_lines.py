"""Line scores, floors, tracked amplitudes and sidebands on signals whose answer is known."""

from __future__ import annotations

import numpy as np
import pytest

from axlewright.sound.angle import (
    BASE_RATE_HZ,
    mix_down,
    order_spectra,
    refine,
    vold_kalman,
    vold_kalman_weight,
)
from axlewright.sound.lines import line_score, noise_floor, persistent_score
from axlewright.sound.mesh_figures import NOISE_BANDWIDTH, noise_bandwidth_ratio
from axlewright.sound.sidebands import measure_sidebands

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


def test_an_absent_overtone_costs_little_and_a_lasting_one_brings_much() -> None:
    rng = np.random.default_rng(3)
    noise = line_score(rng.exponential(size=(100, 200)))
    assert persistent_score(noise, 0.3).min() >= -np.log(5) - 1e-9
    assert np.mean(persistent_score(noise, 0.3)) < 0
    assert persistent_score(line_score(np.full((100, 1), 10.0)), 0.3)[0] > 50


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
    spectra = order_spectra(x, RATE, turns)
    assert spectra is not None
    bands = measure_sidebands(persistent_score(spectra.scores, 0.25), spectra.level, 41.0, 41 / 11, "pinion")
    assert bands.level_db == pytest.approx(20 * np.log10(modulation / 2), abs=0.3)
    assert bands.modulation == pytest.approx(modulation, rel=0.05)
    assert bands.ratio == pytest.approx(11.0, abs=0.02)
    assert bands.evidence > 20


def test_too_few_turns_give_no_spectrum() -> None:
    turns = np.arange(4 * RATE) / RATE * 5.0
    assert order_spectra(np.ones(4 * RATE), RATE, turns) is None
