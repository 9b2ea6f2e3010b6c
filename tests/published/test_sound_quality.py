"""The optional sound-quality library against ISO 532-1, DIN 45692 and the unit of roughness.

Grade of the standards' figures: read in open test suites that transcribe them, not in the standards
themselves. Units (one sone, acum, asper) are definitions, from memory.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

pytest.importorskip("mosqito")

from axlewright.sound.quality import RATE_HZ, loudness_sone, roughness_asper, sharpness_acum

FloatArray = NDArray[np.float64]
T = np.arange(int(1.2 * RATE_HZ)) / RATE_HZ


def tone(frequency: float) -> FloatArray:
    return np.asarray(np.sin(2 * np.pi * frequency * T))


def band_noise(low: float, high: float) -> FloatArray:
    rng = np.random.default_rng(1)
    spectrum = np.fft.rfft(rng.standard_normal(4 * RATE_HZ))
    frequency = np.fft.rfftfreq(4 * RATE_HZ, 1 / RATE_HZ)
    spectrum[(frequency < low) | (frequency > high)] = 0
    return np.asarray(np.fft.irfft(spectrum))


# ISO 532-1:2017 Annex B.3: test tones with ±5 %. 1 kHz at 40 dB is one sone by definition.
@pytest.mark.parametrize(
    ("frequency", "level", "sone"),
    [(250, 80, 14.6545), (1000, 60, 4.0192), (4000, 40, 1.5494), (1000, 40, 1.0)],
)
def test_loudness_of_test_tones(frequency: float, level: float, sone: float) -> None:
    assert loudness_sone(tone(frequency), RATE_HZ, level) == pytest.approx(sone, rel=0.05)


def test_sharpness_unit() -> None:
    # DIN 45692: noise 920 Hz to 1080 Hz at 60 dB is one acum.
    assert sharpness_acum(band_noise(920, 1080), RATE_HZ, 60.0) == pytest.approx(1.0, abs=0.05)


# DIN 45692:2009 Table A.2: critical-band noise at 4 sone, ±5 % or 0.05 acum.
@pytest.mark.parametrize(
    ("low", "high", "acum"),
    [(200, 300, 0.38), (920, 1080, 1.00), (2320, 2700, 1.78), (3700, 4400, 2.82)],
)
def test_sharpness_of_critical_band_noise(low: float, high: float, acum: float) -> None:
    noise = band_noise(low, high)
    down, up = 30.0, 80.0
    for _ in range(7):
        level = (down + up) / 2
        down, up = (level, up) if loudness_sone(noise, RATE_HZ, level) < 4.0 else (down, level)
    assert sharpness_acum(noise, RATE_HZ, level) == pytest.approx(acum, abs=max(0.05, 0.05 * acum))


def test_roughness_unit() -> None:
    # One asper by definition: 1 kHz fully modulated at 70 Hz at 60 dB (Fastl and Zwicker; ECMA-418-2).
    x = (1 + np.cos(2 * np.pi * 70 * T)) * tone(1000)
    assert roughness_asper(x, RATE_HZ, 60.0) == pytest.approx(1.0, abs=0.1)


def test_roughness_grows_with_runout() -> None:
    # A mesh tone swelling at the pinion's rate is rough, a steady one is not (derived; no figure of any
    # source).
    steady = tone(500)
    swelling = (1 + 0.4 * np.cos(2 * np.pi * 47 * T)) * tone(500)
    assert roughness_asper(swelling, RATE_HZ) > 3 * roughness_asper(steady, RATE_HZ)
