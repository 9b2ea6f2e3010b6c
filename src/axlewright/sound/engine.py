"""The engine, which is always there: its firing lines keep step with the wheel only within a gear.

Over the wheel's orders a firing line stands still in one gear and jumps at a change. It is followed as
such: constant pieces with jumps anywhere, each line of the comb counting, with any number of cylinders.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from axlewright.sound.following import Course
from axlewright.sound.lines import CAP

FloatArray = NDArray[np.float64]

FIRING_HZ: Final = (18.0, 280.0)
"""From idle with three cylinders to eight at high speed."""
ORDERS: Final = (1.6, 45.0)
JUMP_NATS: Final = 12.0
CREEP: Final = 0.7
"""Cost of one step of the grid from frame to frame, as a converter slips [nats]."""
REACH: Final = 2
WHOLE: Final = (1.0, 2.0, 3.0, 4.0)
HALF: Final = (0.5, 1.5, 2.5)
TEMPER: Final = 0.3
SHORTEST_FRAMES: Final = 12
CLEAR_NATS: Final = 40.0
LINE_NATS: Final = 6.0
FEWEST_LINES: Final = 3


@dataclass(frozen=True, slots=True)
class Engine:
    """The engine as followed.

    Parameters
    ----------
    order : ndarray, shape (coarse frames,)
        Firings per followed wheel turn.
    nats : float
        How much its lines speak for it.
    constant_nats : float
        The same for the best constant order: what keeps step with the wheel all along does as well.
    pieces : tuple of (int, int)
        Stretches of coarse frames between jumps, the short ones left out.
    lines : int
        Lines of the comb that are there.
    low : bool
        Whether one of the two lowest is.
    """

    order: FloatArray
    nats: float
    constant_nats: float
    pieces: tuple[tuple[int, int], ...]
    lines: int
    low: bool

    @property
    def clear(self) -> bool:
        """Whether it is an engine: three lines of the comb or more, one of the two lowest among them.

        A mesh tone and its overtones alone would pass for the upper lines of some comb.
        """
        return self.nats > CLEAR_NATS and self.lines >= FEWEST_LINES and self.low

    @property
    def steps(self) -> int:
        """Changes of gear that were followed."""
        return max(len(self.pieces) - 1, 0)


def follow_engine(course: Course, wheel_hz: FloatArray) -> Engine:
    """Follow the firing line.

    Parameters
    ----------
    course : Course
    wheel_hz : ndarray, shape (coarse frames,)
        As followed.

    Returns
    -------
    Engine
    """
    odds = np.expm1(np.minimum(course.scores, CAP))
    step = float(course.log_orders[1] - course.log_orders[0])
    states = np.flatnonzero(
        (course.log_orders >= np.log(ORDERS[0])) & (course.log_orders <= np.log(ORDERS[1]))
    )
    score = np.zeros((len(odds), len(states)), dtype=np.float32)
    for multiples, share in ((WHOLE, 0.5), (HALF, 0.25)):
        for k in multiples:
            at = states + round(float(np.log(k)) / step)
            inside = (at >= 0) & (at < odds.shape[1])
            score[:, inside] += np.log1p(share * odds[:, at[inside]])
    f = np.exp(course.log_orders[states])[None, :] * wheel_hz[:, None]
    score[(f < FIRING_HZ[0]) | (f > FIRING_HZ[1])] = -1.0
    constant = float(score.sum(axis=0).max()) * TEMPER
    value = score[0].astype(np.float64)
    back = np.zeros(score.shape, dtype=np.int32)
    here = np.arange(len(states))
    for i in range(1, len(score)):
        best, source = value.copy(), here.copy()
        for move in range(1, REACH + 1):
            for sign in (-1, 1):
                shifted = np.full(len(states), -1e18)
                if sign > 0:
                    shifted[move:] = value[:-move] - CREEP * move
                else:
                    shifted[:-move] = value[move:] - CREEP * move
                better = shifted > best
                best[better] = shifted[better]
                source[better] = here[better] - sign * move
        top = int(value.argmax())
        jump = value[top] - JUMP_NATS > best
        best[jump] = value[top] - JUMP_NATS
        source[jump] = top
        back[i] = source
        value = best + score[i]
    state = int(value.argmax())
    nats = float(value[state]) * TEMPER
    path = np.empty(len(score), dtype=int)
    for i in range(len(score) - 1, -1, -1):
        path[i] = state
        state = int(back[i, state])
    edges = [0, *(np.flatnonzero(np.abs(np.diff(path)) > REACH) + 1).tolist(), len(path)]
    pieces = tuple((a, b) for a, b in pairwise(edges) if b - a >= SHORTEST_FRAMES)
    there = [_there(odds, states[path], k, step) > LINE_NATS for k in sorted((*WHOLE, *HALF))]
    return Engine(
        np.exp(course.log_orders[states[path]]), nats, constant, pieces, sum(there), there[0] or there[1]
    )


def _there(odds: NDArray[np.float32], path: NDArray[np.intp], multiple: float, step: float) -> float:
    """How much one line of the comb speaks for itself along the path [nats]."""
    at = path + round(float(np.log(multiple)) / step)
    inside = (at >= 0) & (at < odds.shape[1])
    taken = odds[np.arange(len(at))[inside], at[inside]]
    return TEMPER * float(np.log1p(0.4 * taken).sum())
