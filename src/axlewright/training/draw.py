"""Draw the hidden fault of an exercise.

The spreads are orders of size (common practice, no source).
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache
from typing import Final

import numpy as np

from axlewright.contact import Settings
from axlewright.gearset import GearSetDesign
from axlewright.gearset.design import REFERENCE_DIAMETER_MM
from axlewright.training.axle import judge_axle, show_axle
from axlewright.training.exercise import ExerciseName, FaultKind, HiddenAxle

_KINDS: Final[dict[int, tuple[tuple[FaultKind, float], ...]]] = {
    1: (("depth", 0.7), ("ring", 0.3)),
    2: (("depth", 0.3), ("ring", 0.15), ("both", 0.35), ("mark left out", 0.1), ("mark turned round", 0.1)),
    3: (
        ("depth", 0.16),
        ("both", 0.16),
        ("mark left out", 0.1),
        ("mark turned round", 0.14),
        ("runout", 0.12),
        ("housing", 0.12),
        ("mismatch", 0.1),
        ("not the gears", 0.1),
    ),
}
LIE_SD: Final = 0.065
"""How far a set's own patterns lie from the design's, in half lengths and half depths."""
SET_TO_BACKLASH: Final = 0.6
"""How often whoever built the axle had set the backlash after getting the depth wrong."""
BACKLASH_SET_SD_MM: Final = 0.02
MOST_DRAWS: Final = 8
"""An axle whose fault happens to cancel the set's own lie is drawn again, so often at most."""
LEAST_BACKLASH_MM: Final = 0.03
"""An axle without backlash would not have come in driving [mm]."""
BACKLASH_PER_RING: Final = 0.75
"""Backlash per ring-gear move, near enough to come there in three steps."""


def _signed(luck: np.random.Generator, low: float, high: float) -> float:
    return float(luck.uniform(low, high) * luck.choice([-1.0, 1.0]))


@lru_cache(maxsize=64)
def hidden_axle(name: ExerciseName, design: GearSetDesign) -> HiddenAxle:
    """Return the axle of an exercise, the same for the same name.

    Parameters
    ----------
    name : ExerciseName
    design : GearSetDesign
        The design of that name; errors grow with its size.

    Returns
    -------
    HiddenAxle
    """
    for again in range(MOST_DRAWS):
        axle = _draw(name, design, again)
        shown = show_axle(axle, axle.settings)
        judged = judge_axle(axle, shown)
        if needs_setting(axle.kind):
            if not judged.good:
                break
        elif judged.passes or axle.kind in ("housing", "mismatch"):
            break
    return axle


def _draw(name: ExerciseName, design: GearSetDesign, again: int) -> HiddenAxle:
    luck = np.random.default_rng([name.level, name.number, again, *name.design.encode()])
    size = design.ring_outer_diameter_mm / REFERENCE_DIAMETER_MM
    kinds = _KINDS[name.level]
    kind = kinds[int(luck.choice(len(kinds), p=[share for _, share in kinds]))][0]
    thou = 0.0254 * size
    mark = float(luck.choice([-4, -3, -2, 2, 3, 4])) * thou
    depth = float(luck.normal(0.0, 0.3)) * thou if name.level > 1 else 0.0
    ring = 0.0
    offset = angle = 0.0
    runout = float(luck.uniform(0.005, 0.02))
    if kind == "depth":
        depth = _signed(luck, 2.5, 7.0) * thou
    elif kind == "ring":
        ring = float(luck.choice([luck.uniform(-0.16, -0.09), luck.uniform(0.11, 0.30)])) * size
    elif kind == "both":
        depth = _signed(luck, 2.5, 6.0) * thou
        ring = float(luck.choice([luck.uniform(-0.12, -0.07), luck.uniform(0.10, 0.22)])) * size
    elif kind == "mark left out":
        depth = -mark
    elif kind == "mark turned round":
        depth = -2.0 * mark
    elif kind == "runout":
        runout = float(luck.uniform(0.12, 0.22)) * size
    elif kind == "housing":
        offset, angle = _signed(luck, 0.11, 0.16) * size, _signed(luck, 0.02, 0.05)
    scatter = 0.0 if name.level == 1 else 0.7
    lie = luck.standard_normal(4) * scatter * LIE_SD
    if kind == "mismatch":
        lie += np.array([_signed(luck, 0.35, 0.5), 0.45, _signed(luck, 0.35, 0.5), -0.45])
    # The parabola of the profile is flatter than the relief beside it, so that its centre moves further than
    # the pattern; the gain is that of the lie used by `diagnosis.expected_patterns`.
    gain = np.array([1.0, 3.5, 1.0, 3.5])
    moved = np.clip(lie * gain, -1.6, 1.6)
    axle = HiddenAxle(
        name,
        design,
        kind,
        Settings(depth, ring, offset, angle),
        design.ease_off("drive").moved(float(moved[0]), float(moved[1])),
        design.ease_off("coast").moved(float(moved[2]), float(moved[3])),
        design.backlash_nominal_mm + float(luck.normal(0.0, 0.02)),
        runout,
        mark,
        kind != "mismatch",
        float(np.round(luck.uniform(1.2, 1.8), 2)) * (1.0 if size < 1.2 else 1.4),
    )
    wanted = design.backlash_nominal_mm + float(luck.normal(0.0, BACKLASH_SET_SD_MM))
    if _pinion_wrong(kind) and luck.random() < SET_TO_BACKLASH:
        return _shimmed_to(axle, wanted)
    came = show_axle(axle, axle.settings).backlash_mm
    return _shimmed_to(axle, LEAST_BACKLASH_MM) if came < LEAST_BACKLASH_MM else axle


def _pinion_wrong(kind: FaultKind) -> bool:
    return kind in ("depth", "both", "mark left out", "mark turned round")


def needs_setting(kind: FaultKind) -> bool:
    """Tell whether a fault is one that spacer or shims cure."""
    return kind == "ring" or _pinion_wrong(kind)


def _shimmed_to(axle: HiddenAxle, backlash_mm: float) -> HiddenAxle:
    """Move the ring gear until the axle has this backlash, as whoever built it did."""
    for _ in range(3):
        off = backlash_mm - show_axle(axle, axle.settings).backlash_mm
        if not math.isfinite(off):
            off = 0.1
        axle = replace(axle, settings=axle.settings.plus(Settings(ring_away_mm=off / BACKLASH_PER_RING)))
    return axle
