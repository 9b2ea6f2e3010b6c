"""What the hidden axle shows when it is measured, rolled and listened to."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from axlewright.contact import ContactPattern, Rolling, Settings, roll
from axlewright.contact.atlas import backlash_change_mm
from axlewright.diagnosis import Goal
from axlewright.errors import AxlewrightError
from axlewright.gearset import FlankName
from axlewright.language import Text, _
from axlewright.pattern import PatternReading
from axlewright.pattern.acceptance import judge
from axlewright.training.exercise import HiddenAxle

Array = NDArray[np.float64]
FLANKS: tuple[FlankName, FlankName] = ("drive", "coast")
MESH_HARMONICS = 4
READ_SD = 0.03
"""How well a pattern is read at the bench: centre, and length over face width."""


@dataclass(frozen=True, slots=True)
class Shown:
    """What one place of an axle does when rolled.

    Attributes
    ----------
    patterns : dict of str to ContactPattern
        A flank that does not touch over a whole pitch is missing.
    motion_error_urad : dict of str to float
        Peak to peak [µrad].
    whine_db : dict of str to float
        Mesh harmonics of the motion error against the same set where it was developed [dB]; the linear law
        of the sound room: a comparison, not a level in a car.
    backlash_mm : float
        At the heel [mm]; not a number when a flank does not touch.
    """

    patterns: dict[str, ContactPattern]
    motion_error_urad: dict[str, float]
    whine_db: dict[str, float]
    backlash_mm: float


def _rolled(axle: HiddenAxle, flank: FlankName, settings: Settings, moved: tuple[float, float]) -> Rolling:
    return roll(
        axle.design,
        flank,
        settings.pinion_out_mm,
        settings.ring_away_mm,
        settings.offset_error_mm,
        settings.shaft_angle_error_deg,
        ease_off=axle.ease_off(flank).moved(*moved),
    )


def _strength(rolling: Rolling) -> float:
    return float(np.sqrt(np.sum(rolling.harmonics_urad(MESH_HARMONICS) ** 2)))


@lru_cache(maxsize=64)
def _developed(axle: HiddenAxle) -> tuple[dict[str, float], dict[str, float]]:
    """Return strength of the harmonics and mean gap [µrad] where the set was developed."""
    rolled = {flank: _rolled(axle, flank, Settings(), (0.0, 0.0)) for flank in FLANKS}
    return {f: _strength(r) for f, r in rolled.items()}, {f: r.shift_urad for f, r in rolled.items()}


@lru_cache(maxsize=512)
def show_axle(
    axle: HiddenAxle, settings: Settings, scatter: tuple[float, float, float, float] = (0.0,) * 4
) -> Shown:
    """Roll both flanks of the axle.

    Parameters
    ----------
    axle : HiddenAxle
    settings : Settings
        Where the members sit now.
    scatter : tuple of four float
        How far this one rolling's paint lies beside the truth, drive (lengthwise, profile) then coast, in
        half face widths and half working depths.

    Returns
    -------
    Shown
    """
    patterns: dict[str, ContactPattern] = {}
    error: dict[str, float] = {}
    whine: dict[str, float] = {}
    strength, gap = _developed(axle)
    turned = 0.0
    for k, flank in enumerate(FLANKS):
        try:
            one = _rolled(axle, flank, settings, (scatter[2 * k], 3.5 * scatter[2 * k + 1]))
        except AxlewrightError:
            turned = math.nan
            continue
        patterns[flank] = one.pattern
        error[flank] = one.motion_error_pp_urad
        whine[flank] = 20.0 * math.log10(max(_strength(one), 1e-3) / max(strength[flank], 1e-3))
        turned += one.shift_urad - gap[flank]
    backlash = axle.backlash_zero_mm + backlash_change_mm(axle.design, turned, 0.0)
    return Shown(patterns, error, whine, backlash)


@dataclass(frozen=True, slots=True)
class Judged:
    """How the axle stands at the end.

    Attributes
    ----------
    good : bool
        Patterns and backlash lie as they belong: within `diagnosis.Goal` of it.
    passes : bool
        They would be accepted (`pattern.acceptance`); an axle that does not comes back.
    faults : tuple of Text
        What stands outside, in words.
    """

    good: bool
    passes: bool
    faults: tuple[Text, ...]


def judge_axle(axle: HiddenAxle, shown: Shown, goal: Goal | None = None) -> Judged:
    """Judge the true patterns and backlash."""
    goal = Goal() if goal is None else goal
    if len(shown.patterns) < len(FLANKS) or any(p.empty for p in shown.patterns.values()):
        return Judged(False, False, (_("a flank does not carry"),))
    centers = np.array([v for f in FLANKS for v in shown.patterns[f].center])
    off = shown.backlash_mm - axle.design.backlash_nominal_mm
    near = bool(np.all(np.abs(centers - np.array(goal.center)) <= np.array(goal.accept)))
    sides = {"drive": _("Drive side: {text}"), "coast": _("Coast side: {text}")}
    faults: list[Text] = [
        sides[f].format(text=v.text)
        for f in FLANKS
        for v in judge(shown.patterns[f], tooth_form=axle.design.tooth_form)
        if v.kind == "outside" and v.criterion.key != "length"
    ]
    if abs(off) > goal.backlash_accept_mm or not math.isfinite(off):
        faults.append(_("The backlash is outside."))
    return Judged(near and not faults, not faults, tuple(faults))


def not_sure_at_the_bench(axle: HiddenAxle, shown: Shown) -> tuple[Text, ...]:
    """Return what the acceptance criteria could not decide on patterns read as well as at the bench.

    `judge_axle` holds the true patterns against the criteria; a reading of them is held against the same
    criteria with its uncertainty, and near a limit it says neither inside nor outside.
    """
    sides = {"drive": _("Drive side: {text}"), "coast": _("Coast side: {text}")}
    out: list[Text] = []
    for flank, pattern in shown.patterns.items():
        reading = PatternReading(
            pattern=pattern, center_sd=(READ_SD, READ_SD), length_sd=READ_SD, source="photo"
        )
        out += [
            sides[flank].format(text=one.says)
            for one in judge(reading, tooth_form=axle.design.tooth_form)
            if one.kind == "near the edge: measure again" and one.criterion.key != "length"
        ]
    return tuple(out)
