"""Split a drive into drive, coast and float by what the speed does.

The torque on the axle has the sign of acceleration plus road load. Without a map a slope of 1 %
counts as much as 0.098 m/s², so a stretch near the border is marked as not sure.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

FloatArray = NDArray[np.float64]
SegmentKind = Literal["drive", "coast", "float"]

GRAVITY: Final = 9.80665
AIR_DENSITY: Final = 1.2
LIMIT_MPS2: Final = 0.15
"""Border between drive, float and coast; our judgement."""
GRADE_DOUBT_MPS2: Final = 0.1
"""One per cent of slope."""
SHORTEST_S: Final = 1.5


@dataclass(frozen=True, slots=True)
class Vehicle:
    """What slows the vehicle down; the defaults are a car's, our judgement.

    Parameters
    ----------
    mass_kg : float
    drag_area_m2 : float
        Drag coefficient times frontal area.
    rolling : float
        Rolling resistance coefficient.
    """

    mass_kg: float = 1600.0
    drag_area_m2: float = 0.7
    rolling: float = 0.012

    def road_load_mps2(self, speed_mps: FloatArray) -> FloatArray:
        """Deceleration when rolling free on the level [m/s²]."""
        drag: FloatArray = AIR_DENSITY * self.drag_area_m2 * speed_mps**2 / (2 * self.mass_kg)
        return GRAVITY * self.rolling + drag


@dataclass(frozen=True, slots=True)
class Segment:
    """A stretch of one kind.

    Parameters
    ----------
    start_s, end_s : float
    kind : str
        ``drive``, ``coast`` or ``float``.
    sure : bool
        False when a slope of 1 % could change the kind.
    speed_mps : tuple of float
        Lowest and highest speed in it.
    """

    start_s: float
    end_s: float
    kind: SegmentKind
    sure: bool
    speed_mps: tuple[float, float]


def torque_sign_mps2(times_s: FloatArray, speed_mps: FloatArray, vehicle: Vehicle) -> FloatArray:
    """Return acceleration plus road load [m/s²]: above 0 the axle drives, below it is driven."""
    step = float(np.median(np.diff(times_s)))
    smooth = ndimage.gaussian_filter1d(speed_mps, 0.8 / step, mode="nearest")
    result: FloatArray = np.gradient(smooth, times_s) + vehicle.road_load_mps2(smooth)
    return result


def find_segments(
    times_s: FloatArray,
    speed_mps: FloatArray,
    vehicle: Vehicle | None = None,
    marked: tuple[tuple[float, float, SegmentKind], ...] = (),
) -> tuple[Segment, ...]:
    """Split the drive.

    Parameters
    ----------
    times_s, speed_mps : ndarray, shape (n,)
        Tracked speed, evenly spaced.
    vehicle : Vehicle, optional
    marked : tuple of (start_s, end_s, kind)
        What the driver noted; it goes before what is computed.

    Returns
    -------
    tuple of Segment
    """
    if len(times_s) < 3:
        return ()
    step = float(np.median(np.diff(times_s)))
    sign = ndimage.gaussian_filter1d(torque_sign_mps2(times_s, speed_mps, vehicle or Vehicle()), 0.4 / step)
    label = np.where(sign > LIMIT_MPS2, 1, np.where(sign < -LIMIT_MPS2, -1, 0))
    known = np.zeros(len(times_s), dtype=bool)
    for start, stop, kind in marked:
        inside = (times_s >= start) & (times_s <= stop)
        label[inside] = {"drive": 1, "coast": -1, "float": 0}[kind]
        known |= inside
    label = _merge_short(label, int(SHORTEST_S / step))
    edges = np.concatenate([[0], np.flatnonzero(np.diff(label)) + 1, [len(label)]])
    result = []
    for a, b in pairwise(edges):
        names: dict[int, SegmentKind] = {1: "drive", 0: "float", -1: "coast"}
        margin = np.median(np.abs(np.abs(sign[a:b]) - LIMIT_MPS2))
        sure = bool(known[a:b].mean() > 0.5 or margin > GRADE_DOUBT_MPS2)
        result.append(
            Segment(
                float(times_s[a]),
                float(times_s[b - 1]),
                names[int(label[a])],
                sure,
                (float(speed_mps[a:b].min()), float(speed_mps[a:b].max())),
            )
        )
    return tuple(result)


def _merge_short(label: NDArray[np.int_], shortest: int) -> NDArray[np.int_]:
    """Give stretches shorter than `shortest` to the longer neighbour."""
    label = label.copy()
    while True:
        edges = np.concatenate([[0], np.flatnonzero(np.diff(label)) + 1, [len(label)]])
        lengths = np.diff(edges)
        if len(lengths) < 2 or lengths.min() >= shortest:
            return label
        at = int(np.argmin(lengths))
        left = lengths[at - 1] if at > 0 else -1
        right = lengths[at + 1] if at + 1 < len(lengths) else -1
        donor = edges[at] - 1 if left >= right else edges[at + 1]
        label[edges[at] : edges[at + 1]] = label[donor]
