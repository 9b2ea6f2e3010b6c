"""Road and engine are followed from lines alone, whatever makes them."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from axlewright.sound.engine import Engine, follow_engine
from axlewright.sound.following import Course, ShapeDoubt, coarse_wheel_hz, follow_road
from axlewright.sound.hearing import engine_mask
from axlewright.sound.line_map import OrderMap, frame_times, order_map
from axlewright.sound.turned import STEP, turn_spectra

RATE = 16000
SECONDS = 40
FloatArray = NDArray[np.float64]


def drive(
    orders: tuple[float, ...], ratios: tuple[float, ...] = (), seed: int = 1
) -> tuple[FloatArray, FloatArray]:
    """A sweep in noise with lines of these wheel orders, and an engine that changes gear half-way."""
    t = np.arange(SECONDS * RATE) / RATE
    wheel = 8.0 + 5.0 * np.sin(np.pi * t / SECONDS)
    turns = np.cumsum(wheel) / RATE
    rng = np.random.default_rng(seed)
    x = 0.05 * rng.standard_normal(len(t))
    for order in orders:
        x += 0.02 * np.cos(2 * np.pi * order * turns + rng.uniform(0, 6))
    if ratios:
        crank = np.cumsum(wheel * np.where(t < SECONDS / 2, *ratios)) / RATE
        for half, share in (
            (2.0, 1.0),
            (4.0, 0.7),
            (6.0, 0.5),
            (8.0, 0.4),
        ):  # four cylinders fire twice a turn
            x += 0.03 * share * np.cos(2 * np.pi * half * crank + rng.uniform(0, 6))
    return x, wheel


def mapped(x: FloatArray, wheel: FloatArray, wrong: float = 0.0) -> tuple[OrderMap, FloatArray]:
    """Return the map on a speed that is stated `wrong` off at its ends, and what is right."""
    times = frame_times(len(x), RATE)
    right = np.interp(times, np.arange(len(wheel)) / RATE, wheel)
    off = wrong * np.cos(2 * np.pi * times / SECONDS)
    return order_map(x, RATE, right * np.exp(off)), -off


@pytest.mark.parametrize("orders", [(41.0, 82.0), (26.2, 33.1), (3.73, 7.45, 64.0)])
def test_any_lines_in_step_give_the_course(orders: tuple[float, ...]) -> None:
    map_, true = mapped(*drive(orders), wrong=0.02)
    course = follow_road(map_, ShapeDoubt(0.02, 0.08, (0.0,)))
    left = course.error - true
    assert np.percentile(np.abs(left - np.median(left)), 80) < 0.006


def engine_of(x: FloatArray, wheel: FloatArray) -> tuple[Engine, Course, OrderMap]:
    map_, _ = mapped(x, wheel)
    course = follow_road(map_, ShapeDoubt(0.01, 0.03, (0.0,)))
    return follow_engine(course, coarse_wheel_hz(map_, course.error)), course, map_


def test_an_engine_is_followed_through_a_change_of_gear() -> None:
    engine, _, _ = engine_of(*drive((41.0,), (9.1, 5.7)))
    assert engine.clear
    assert engine.steps >= 1
    first, last = np.median(engine.order[20:80]), np.median(engine.order[-80:-20])
    assert first / last == pytest.approx(9.1 / 5.7, rel=0.01)
    # The firing line or its octave.
    assert first / (2 * 9.1) == pytest.approx(round(first / (2 * 9.1)), abs=0.03)


def test_a_mesh_tone_alone_is_no_engine() -> None:
    engine, _, _ = engine_of(*drive((41.0, 82.0)))
    assert not engine.clear


def test_what_stays_through_the_gears_is_left_when_the_engine_is_taken_out() -> None:
    x, wheel = drive((41.0,), (9.1, 5.7))
    engine, _, map_ = engine_of(x, wheel)
    spectra = turn_spectra(x, RATE, np.cumsum(wheel) / RATE)
    times = map_.times_s[: 2 * len(engine.order) : 2]
    score = spectra.persistent(mask=engine_mask(spectra, engine, times, 4))
    plain = spectra.persistent()
    assert score[round(41 / STEP)] > 0.3 * plain[round(41 / STEP)] > 10
    for line in (2 * 9.1, 2 * 5.7):
        assert plain[round(line / STEP)] > 10
        assert score[round(line / STEP)] < 0.3 * plain[round(line / STEP)]
