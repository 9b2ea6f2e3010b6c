"""Find the course of the wheel's speed from everything that keeps step with it, whatever it is.

No source is assumed. Single lines at any order are followed first; the best of them say which lines
keep step with each other, and all of those together give the course. What is found is a course up
to a constant factor: the factor is weighed later, together with the sources.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from axlewright.sound.line_map import STEP, OrderMap
from axlewright.sound.lines import CAP

FloatArray = NDArray[np.float64]

COARSE: Final = 2
"""Steps of the map and frames joined while following."""
WALK: Final = 0.004
"""Standard deviation of the change of the error over one coarse frame (relative)."""
WALK_REACH: Final = 6
SPACING: Final = 0.07
"""Between the free lines that are tried [ln order]."""
ORDERS: Final = (1.8, 120.0)
TEMPER: Final = 0.3
STARTS: Final = 2
ROUNDS: Final = 2
CLEAR: Final = 8.0
"""Nats over the drive from which a line is taken to keep step."""
MOST_LINES: Final = 24
SHARES: Final = (0.15, 0.4, 0.8)


POLISH: Final = 0.02
FRAME_SHARE: Final = 0.12
"""A coarse frame over the time in which an error of the stated speed renews itself."""


@dataclass(frozen=True, slots=True)
class ShapeDoubt:
    """How far the course of the stated speed may be wrong, apart from a constant factor.

    Parameters
    ----------
    sigma, window : float
        Standard deviation and furthest (relative).
    late_s : tuple of float
        Delays to be tried: a thumb on the marks and a satellite are both late.
    """

    sigma: float
    window: float
    late_s: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Course:
    """The course of the speed.

    Parameters
    ----------
    error : ndarray, shape (frames,)
        ln(followed wheel rate / stated wheel rate), a constant undetermined.
    nats : float
        How much the lines speak for it.
    lines : int
        How many lines keep step.
    scores : ndarray of float32, shape (coarse frames, orders)
        Line scores over the orders as followed.
    log_orders : ndarray, shape (orders,)
    """

    error: FloatArray
    nats: float
    lines: int
    late_s: float
    scores: NDArray[np.float32]
    log_orders: FloatArray


def stated_course(map_: OrderMap) -> Course:
    """Return the course as stated, nothing followed."""
    grid = _coarse(map_)
    return Course(np.zeros(len(map_.times_s)), 0.0, 0, 0.0, grid, _log_orders(map_, grid))


def _log_orders(map_: OrderMap, grid: NDArray[np.float32]) -> FloatArray:
    result: FloatArray = map_.log_orders[: grid.shape[1] * COARSE : COARSE] + STEP * (COARSE - 1) / 2
    return result


def coarse_wheel_hz(map_: OrderMap, error: FloatArray) -> FloatArray:
    """Return the wheel rate in the coarse frames."""
    frames = len(map_.times_s) // COARSE
    wheel = (map_.wheel_hz * np.exp(error))[: frames * COARSE]
    result: FloatArray = wheel.reshape(-1, COARSE).mean(axis=1)
    return result


def follow_road(map_: OrderMap, doubt: ShapeDoubt, engine_hz: FloatArray | None = None) -> Course:
    """Follow what keeps step with the road.

    Parameters
    ----------
    map_ : OrderMap
    doubt : ShapeDoubt
        How far the course may stray from what was stated.
    engine_hz : ndarray, shape (coarse frames,), optional
        The engine's line: what lies on its multiples does not lead.

    Returns
    -------
    Course
    """
    grid = _coarse(map_)
    log_orders = _log_orders(map_, grid)
    led = grid if engine_hz is None else np.where(_on_engine(map_, log_orders, engine_hz), 0.0, grid)
    middle = map_.times_s[: len(grid) * COARSE].reshape(-1, COARSE).mean(axis=1)
    stated = np.interp(middle, map_.times_s, np.log(np.maximum(map_.wheel_hz, 1e-3)))
    best: tuple[float, NDArray[np.intp], int] = (-1.0, np.zeros(len(grid), dtype=np.intp), 0)
    late = doubt.late_s[len(doubt.late_s) // 2]
    for late_s in doubt.late_s:
        shift = np.rint((np.interp(middle + late_s, middle, stated) - stated) / (STEP * COARSE)).astype(
            np.intp
        )
        nats, path, count = _follow(aligned(led, shift) if late_s else led, log_orders, doubt)
        if nats > best[0]:
            best, late = (nats, path + shift, count), late_s
    # Then everything polishes it, the engine too, but within a reach that no change of gear can slip through.
    nats, path, count = best
    half = round(POLISH / (STEP * COARSE))
    pull = (-0.5 * FRAME_SHARE * (np.arange(-half, half + 1) / (0.4 * half)) ** 2).astype(np.float32)
    still = np.expm1(np.minimum(aligned(grid, path), CAP))
    polished = _all_in_step(still, np.zeros(len(path), dtype=np.intp), half, log_orders, pull)
    if polished[2] > 0:
        path = path + polished[1]
    error = np.interp(map_.times_s, middle, path * STEP * COARSE)
    return Course(
        error, max(nats, polished[0]), max(count, polished[2]), late, aligned(grid, path), log_orders
    )


def _on_engine(map_: OrderMap, log_orders: FloatArray, engine_hz: FloatArray) -> NDArray[np.bool_]:
    wheel = coarse_wheel_hz(map_, np.zeros(len(map_.times_s)))
    halves = 2 * np.exp(log_orders)[None, :] * (wheel / engine_hz)[:, None]
    away = np.abs(halves - np.rint(halves))
    # A line of the spectrum is some 5 Hz wide on either side.
    reach = np.minimum((2 * 5.0 / engine_hz)[:, None] + 0.003 * halves, 0.35)
    result: NDArray[np.bool_] = (away < reach) & (halves > 0.6) & (halves < 16)
    return result


def _follow(
    grid: NDArray[np.float32], log_orders: FloatArray, doubt: ShapeDoubt
) -> tuple[float, NDArray[np.intp], int]:
    step = STEP * COARSE
    half = max(round(doubt.window / step), 3)
    odds = np.expm1(np.minimum(grid, CAP))
    pull = (-0.5 * FRAME_SHARE * (np.arange(-half, half + 1) * step / doubt.sigma) ** 2).astype(np.float32)
    # Single lines: each start looks at one order and whatever lies within the window round it.
    centres = np.arange(np.log(ORDERS[0]), np.log(ORDERS[1]), SPACING)
    single = np.stack([_mixed(_window(odds, (c - log_orders[0]) / step, half), 0.5) for c in centres])
    paths, gains = _viterbi(single + pull)
    best: tuple[float, NDArray[np.intp], int] = (0.0, np.zeros(len(grid), dtype=np.intp), 0)
    tried: list[NDArray[np.intp]] = [best[1]]
    for at in np.argsort(-gains):
        path = paths[at] - half
        path = path - round(float(np.median(path)))
        if any(np.abs((path - path.mean()) - (other - other.mean())).mean() < 2.0 for other in tried):
            continue
        tried.append(path)
        if len(tried) > STARTS:
            break
    for path in tried:
        found = _all_in_step(odds, path, half, log_orders, pull)
        if found[0] > best[0]:
            best = found
    return best


def _coarse(map_: OrderMap) -> NDArray[np.float32]:
    frames = len(map_.times_s) // COARSE
    columns = map_.scores.shape[1] // COARSE
    block = map_.scores[: frames * COARSE, : columns * COARSE].reshape(frames, COARSE, columns, COARSE)
    result: NDArray[np.float32] = block.mean(axis=(1, 3))
    return result


def _window(odds: NDArray[np.float32], centre: float, half: int) -> NDArray[np.float32]:
    first = round(centre) - half
    columns = first + np.arange(2 * half + 1)
    inside = (columns >= 0) & (columns < odds.shape[1])
    block = np.zeros((odds.shape[0], len(columns)), dtype=np.float32)
    block[:, inside] = odds[:, columns[inside]]
    return block


def _mixed(odds: NDArray[np.float32], share: float) -> NDArray[np.float32]:
    result: NDArray[np.float32] = np.log1p(share * odds)
    return result


def _viterbi(scores: NDArray[np.float32]) -> tuple[NDArray[np.intp], FloatArray]:
    """Return the best paths and their scores; `scores` has the shape (families, frames, states)."""
    count, frames, states = scores.shape
    reach = WALK_REACH
    moves = np.arange(-reach, reach + 1)
    cost = -0.5 * (moves * STEP * COARSE / WALK) ** 2
    value = scores[:, 0].astype(np.float64)
    back = np.zeros((frames, count, states), dtype=np.int8)
    padded = np.full((count, states + 2 * reach), -1e18)
    for i in range(1, frames):
        padded[:, reach:-reach] = value
        trial = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1, axis=1) + cost
        choice = trial.argmax(axis=2)
        back[i] = choice - reach
        value = np.take_along_axis(trial, choice[..., None], axis=2)[..., 0] + scores[:, i]
    gains = value.max(axis=1)
    paths = np.empty((count, frames), dtype=np.intp)
    state, rows = value.argmax(axis=1), np.arange(count)
    for i in range(frames - 1, -1, -1):
        paths[:, i] = state
        state = np.clip(state + back[i, rows, state], 0, states - 1)
    return paths, gains


def aligned(grid: NDArray[np.float32], path: NDArray[np.intp]) -> NDArray[np.float32]:
    """Shift every frame so that what keeps step with `path` stands still."""
    columns = np.arange(grid.shape[1])[None, :] + path[:, None]
    inside = (columns >= 0) & (columns < grid.shape[1])
    result: NDArray[np.float32] = np.where(
        inside, np.take_along_axis(grid, np.clip(columns, 0, grid.shape[1] - 1), axis=1), 0
    )
    return result


def _all_in_step(
    odds: NDArray[np.float32],
    path: NDArray[np.intp],
    half: int,
    log_orders: FloatArray,
    pull: NDArray[np.float32],
) -> tuple[float, NDArray[np.intp], int]:
    """Find which lines keep step with a path, and the path that suits them all; twice."""
    nats, count = 0.0, 0
    for _ in range(ROUNDS):
        still = aligned(odds, path)
        scores = np.stack([TEMPER * np.log1p(a * still).sum(axis=0) for a in SHARES])
        which = scores.argmax(axis=0)
        score = scores.max(axis=0)
        score[log_orders < np.log(ORDERS[0])] = 0.0
        order = np.argsort(-score)[:400]
        chosen: list[int] = []
        for at in order:
            if score[at] < CLEAR or len(chosen) == MOST_LINES:
                break
            if all(abs(at - other) > 4 for other in chosen):
                chosen.append(int(at))
        if not chosen:
            return 0.0, np.zeros_like(path), 0
        total = np.zeros((odds.shape[0], 2 * half + 1), dtype=np.float32)
        for at in chosen:
            total += _mixed(_window(odds, at, half), SHARES[which[at]])
        paths, gains = _viterbi((total + pull)[None])
        path = paths[0] - half
        nats, count = float(gains[0]) * TEMPER, len(chosen)
    return nats, path, count
