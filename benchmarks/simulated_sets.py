"""Gear sets and axles drawn at random, rolled at full physics: the ground the diagnosis is tried on.

Each set has an ease-off of its own (centre, both crowns, twist, relief and where it starts), each axle a
settings error drawn from the spreads of `Priors`. Nothing here uses the atlas: patterns come from rolling, so
that the atlas' own error and the diagnosis' additive view of a set's habits are part of the trial.
Spreads of the ease-off: common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

import axlewright as aw
from axlewright.contact import ContactPattern, Settings, build_mesh
from axlewright.contact.atlas import backlash_change_mm
from axlewright.contact.rolling import motion_error, roll_unloaded
from axlewright.diagnosis import Goal, Priors
from axlewright.gearset import EaseOff, FlankName, GearSetDesign

Array = NDArray[np.float64]
DESIGNS = ("TY-222", "TY-310", "TY-205H", "TY-176B")
COARSE = (64, 32, 96)
FLANKS: tuple[FlankName, ...] = ("drive", "coast")


def own_ease_off(rng: np.random.Generator, design: GearSetDesign, flank: str) -> EaseOff:
    """Return the ease-off of one real set: the design's, varied in every term."""
    base = design.ease_off(flank)
    size = design.ring_outer_diameter_mm / 222.0
    return replace(
        base,
        lengthwise_crown_mm=base.lengthwise_crown_mm * math.exp(rng.normal(0.0, 0.15)),
        profile_crown_mm=base.profile_crown_mm * math.exp(rng.normal(0.0, 0.25)),
        twist_mm=base.twist_mm + 0.003 * size * rng.normal(),
        top_root_relief_mm=base.top_root_relief_mm * math.exp(rng.normal(0.0, 0.20)),
        relief_start=float(np.clip(base.relief_start + rng.normal(0.0, 0.03), 0.3, 0.8)),
        center_lengthwise=base.center_lengthwise + rng.normal(0.0, 0.065),
        # The flat middle answers weakly: this is a pressure angle error of about one minute of arc.
        center_profile=base.center_profile + rng.normal(0.0, 0.27),
    )


def draw_settings(rng: np.random.Generator, priors: Priors) -> tuple[Settings, bool]:
    """Return settings errors as the priors have them, and whether the depth was drawn as a blunder."""
    wide = rng.random() < priors.wide_share
    depth = priors.pinion_out_wide_mm if wide else priors.pinion_out_mm
    z = rng.standard_normal(4)
    settings = Settings(
        float(depth * z[0]),
        float(priors.ring_away_mm * z[1]),
        float(priors.offset_error_mm * z[2]),
        float(priors.shaft_angle_error_deg * z[3]),
    )
    return settings, bool(wide)


@dataclass(frozen=True)
class RealSet:
    """One set of gears in one housing.

    Attributes
    ----------
    design : GearSetDesign
    ease_off : dict
        Of this set, by flank.
    backlash_zero_mm : float
        Backlash at its developed place [mm].
    """

    design: GearSetDesign
    ease_off: dict[str, EaseOff]
    backlash_zero_mm: float
    zeros: dict[tuple[str, tuple[int, int, int]], float] = field(default_factory=dict)

    def look(
        self, settings: Settings, resolution: tuple[int, int, int] = (96, 48, 128)
    ) -> tuple[dict[str, ContactPattern], float]:
        """Roll both flanks; return the patterns and the backlash [mm]."""
        mesh = build_mesh(self.design, *resolution)
        patterns, shifts = {}, []
        for name in FLANKS:
            pattern, curve, lowest, _ = roll_unloaded(
                mesh, name, settings, self.ease_off[name], self.design.compound_film_mm
            )
            patterns[name] = pattern
            shifts.append(motion_error(mesh.flank(name), curve, lowest)[1] - self._zero(name, resolution))
        return patterns, self.backlash_zero_mm + backlash_change_mm(self.design, shifts[0], shifts[1])

    def _zero(self, name: FlankName, resolution: tuple[int, int, int]) -> float:
        """Return the shift at the developed place, taken as the zero of backlash [µrad]."""
        key = (name, resolution)
        if key not in self.zeros:
            mesh = build_mesh(self.design, *resolution)
            ease = self.ease_off[name]
            _, curve, lowest, _ = roll_unloaded(mesh, name, Settings(), ease, self.design.compound_film_mm)
            self.zeros[key] = motion_error(mesh.flank(name), curve, lowest)[1]
        return self.zeros[key]

    def numbers(self, settings: Settings, resolution: tuple[int, int, int] = COARSE) -> Array:
        """Return the four centre coordinates and the backlash, shape (5,)."""
        patterns, backlash = self.look(settings, resolution)
        return np.array([*patterns["drive"].center, *patterns["coast"].center, backlash])

    def needed_moves(self, settings: Settings, goal: Goal, target_mm: float) -> Array:
        """Return the pinion and ring-gear move that bring this very set right, by rolling it [mm]."""
        aim = np.array([*goal.center, target_mm])
        scale = np.array([*goal.scale, goal.backlash_scale_mm])
        moves, step = np.zeros(2), 0.01
        for _ in range(4):
            at = moved(settings, *moves)
            base = (self.numbers(at) - aim) / scale
            jac = np.stack(
                [
                    ((self.numbers(moved(at, *d)) - aim) / scale - base) / step
                    for d in ((step, 0.0), (0.0, step))
                ],
                axis=1,
            )
            moves = moves - np.clip(np.linalg.lstsq(jac, base, rcond=None)[0], -0.15, 0.15)
        return moves


def moved(settings: Settings, pinion_mm: float, ring_mm: float) -> Settings:
    """Return the settings after a move of pinion (out) and ring gear (away) [mm]."""
    return settings.plus(Settings(float(pinion_mm), float(ring_mm)))


def draw_set(rng: np.random.Generator, design: GearSetDesign, priors: Priors) -> RealSet:
    """Return a set of this design with habits of its own."""
    ease = {name: own_ease_off(rng, design, name) for name in FLANKS}
    return RealSet(design, ease, design.backlash_nominal_mm + priors.backlash_mm * rng.normal())


def lies(design: GearSetDesign, count: int = 200, seed: int = 5) -> Array:
    """Return how far patterns of sets lie from the design's where both are set right, shape (count, 4)."""
    rng = np.random.default_rng(seed)
    plain = RealSet(design, {n: design.ease_off(n) for n in FLANKS}, 0.0).numbers(Settings())
    out = [draw_set(rng, design, Priors()).numbers(Settings())[:4] - plain[:4] for _ in range(count)]
    return np.array(out)


def load(names: tuple[str, ...] = DESIGNS) -> list[GearSetDesign]:
    """Return the named designs."""
    return [aw.load_design(n) for n in names]
