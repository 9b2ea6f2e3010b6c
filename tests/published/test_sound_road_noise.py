"""Rolling noise against Directive 2002/49/EC, Annex II as amended by (EU) 2021/1226, Table F-1.

Grade: the table's coefficients A and B are taken as from memory, the directive was not read beside them; the
sums and slopes below are recomputed from them, not published.
"""

from __future__ import annotations

import numpy as np
import pytest

from axlewright.sound.figures import power_spectrum
from axlewright.sound.road_noise import noise_density, road_noise, rolling_power_dba, speed_gain_db


# A-weighted sums of the table's octaves: recomputed from A and B with IEC 61672-1 weights, printed nowhere.
@pytest.mark.parametrize(("kmh", "dba"), [(50, 97.6), (70, 102.6), (100, 107.9), (130, 111.8)])
def test_a_weighted_sum(kmh: float, dba: float) -> None:
    assert rolling_power_dba(kmh / 3.6) == pytest.approx(dba, abs=0.1)


# B lg 2 of the table (B = 38.9 and 25.7 dB; recomputed): 11.7 dB at 250 Hz and 7.7 dB at 500 Hz per doubling
# of speed.
@pytest.mark.parametrize(("frequency", "change"), [(250.0, 11.7), (500.0, 7.7)])
def test_change_per_doubling_of_speed(frequency: float, change: float) -> None:
    at = np.array([frequency])
    assert (speed_gain_db(at, 30.0) - speed_gain_db(at, 15.0))[0] == pytest.approx(change, abs=0.05)


@pytest.mark.parametrize("speed", [12.0, 70 / 3.6, 30.0])
def test_made_noise_has_the_density_it_states(speed: float) -> None:
    x = road_noise(np.full(48000 * 20, speed), 48000, seed=2)
    frequency, density = power_spectrum(x, 48000, 0.25)
    for f in (125.0, 250.0, 500.0, 1000.0):
        inside = np.abs(frequency - f) < 0.1 * f
        stated = noise_density(frequency[inside], np.full(inside.sum(), speed)).mean()
        assert 10 * np.log10(density[inside].mean() / stated) == pytest.approx(0.0, abs=0.4)
