"""How sets of one design differ from each other: where their patterns lie, and how far they move.

No set has quite the ease-off of its design. Sets with ease-offs that stray as they may are rolled at likely
settings, and each set's patterns are held beside the design's own: a place of its own (*lie*), a travel that
is a share longer or shorter (*stretch*), and what is left (*unlike*). The same straying moves one design's
pattern by a twelfth more and another's by a sixth, so that these are worked out for each design, once.

The spreads of the ease-off are common practice, no source; they are data (`EaseOffSpread`).
"""

from __future__ import annotations

from dataclasses import astuple, dataclass

import numpy as np
from numpy.typing import NDArray

from axlewright.contact.atlas import CENTER_FIGURES, Atlas, atlas_of
from axlewright.contact.mesh import Settings, build_mesh
from axlewright.contact.once import OncePerKey, kept_array
from axlewright.contact.rolling import roll_unloaded
from axlewright.errors import ContactError
from axlewright.gearset import EaseOffSpread, FlankName, GearSetDesign
from axlewright.gearset.design import REFERENCE_DIAMETER_MM

Array = NDArray[np.float64]

VERSION = 1
SETS, LOOKS = 96, 8
RESOLUTION = (48, 24, 80)
FLANKS: tuple[FlankName, FlankName] = ("drive", "coast")
# Settings at which a set is looked at: two in three near, one far off, as jobs are.
DEPTH_MM, DEPTH_FAR_MM, FAR_SHARE = 0.05, 0.15, 0.35
RING_MM, OFFSET_MM, ANGLE_DEG = 0.06, 0.025, 0.0143
LEAST_LOOKS = 5
# Without these a set seen at few settings would claim any stretch.
STRETCH_ABOUT, UNLIKE_ABOUT = 0.15, 0.015
# Toward the edge of the tooth sets differ more: the rest is twice what it is in the middle at 0.46 of travel.
# Seen alike on the four shipped designs.
EDGE_TRAVEL, EDGE_POWER = 0.35, 4
LEAST_SD = 0.02
LEAST_UNLIKE = 0.005


@dataclass(frozen=True)
class Habits:
    """How sets of a design differ, each shape (4,): drive (lengthwise, profile), then coast.

    Attributes
    ----------
    lie_sd : array
        Standard deviation of a set's own place, in half face widths and half working depths.
    stretch_sd : array
        Standard deviation of the share by which a set's pattern moves more than the design's.
    unlike : array
        What is left in the middle of the tooth, in the units of the lie.
    """

    lie_sd: Array
    stretch_sd: Array
    unlike: Array


USUAL = Habits(
    np.array([0.065] * 4), np.array([0.14, 0.08, 0.14, 0.08]), np.full(4, 0.013)
)  # about those of the shipped designs


def edge_growth(travel: Array) -> Array:
    """Return how many times larger what is left grows as a pattern travels toward the edge of the tooth."""
    return np.asarray(np.sqrt(1.0 + (np.abs(travel) / EDGE_TRAVEL) ** EDGE_POWER))


def _looks(design: GearSetDesign, spread: EaseOffSpread) -> list[tuple[Array, Array]]:
    """Return for each set the settings it was rolled at, shape (n, 4), and its centres, shape (n, 4)."""
    rng = np.random.default_rng(23)
    size = design.ring_outer_diameter_mm / REFERENCE_DIAMETER_MM
    mesh = build_mesh(design, *RESOLUTION)
    out = []
    for _set in range(SETS):
        eases = [spread.draw(rng, design.ease_off(name), size) for name in FLANKS]
        depth = np.where(rng.random(LOOKS) < FAR_SHARE, DEPTH_FAR_MM, DEPTH_MM)
        z = rng.standard_normal((LOOKS, 4))
        z *= np.column_stack([depth, np.tile([RING_MM, OFFSET_MM, ANGLE_DEG], (LOOKS, 1))])
        settings, centers = [], []
        for row in z:
            try:
                at = Settings(*(float(v) for v in row))
                seen = [
                    roll_unloaded(mesh, name, at, ease, design.compound_film_mm)[0].center
                    for name, ease in zip(FLANKS, eases, strict=True)
                ]
            except ContactError:
                continue
            if np.isfinite(seen).all():
                settings.append(row)
                centers.append([*seen[0], *seen[1]])
        out.append((np.array(settings).reshape(-1, 4), np.array(centers).reshape(-1, 4)))
    return out


def roll_habits(design: GearSetDesign, atlas: Atlas, spread: EaseOffSpread) -> Habits:
    """Roll sets of a design and return how they differ; `USUAL` for one of which too few sets make marks.

    Parameters
    ----------
    design : GearSetDesign
    atlas : Atlas
        Of the design.
    spread : EaseOffSpread
    """
    looks = [
        (settings[use], centers[use])
        for settings, centers in _looks(design, spread)
        if (use := (np.abs(settings) <= atlas.half_range).all(axis=1)).any()
    ]
    sets = [one for one in looks if len(one[0]) >= LEAST_LOOKS]
    if len(sets) < SETS // 3:
        return USUAL
    home = atlas(np.zeros((1, 4)), CENTER_FIGURES)[0]
    lie, stretch = np.zeros((len(sets), 4)), np.zeros((len(sets), 4))
    lie_var, stretch_var, left = np.zeros_like(lie), np.zeros_like(lie), np.zeros_like(lie)
    ridge = np.diag([1.0, (UNLIKE_ABOUT / STRETCH_ABOUT) ** 2]) * [1e-9, 1.0]
    for i, (settings, centers) in enumerate(sets):
        plain = atlas(settings, CENTER_FIGURES)
        for k in range(4):
            travel, residual = plain[:, k] - home[k], centers[:, k] - plain[:, k]
            grown = edge_growth(travel)
            design_matrix = np.column_stack([np.ones_like(travel), travel]) / grown[:, None]
            inverse = np.linalg.inv(design_matrix.T @ design_matrix + ridge)
            lie[i, k], stretch[i, k] = inverse @ (design_matrix.T @ (residual / grown))
            rest = residual / grown - design_matrix @ [lie[i, k], stretch[i, k]]
            left[i, k] = (rest @ rest) / max(1, len(rest) - 2)
            lie_var[i, k], stretch_var[i, k] = inverse[0, 0], inverse[1, 1]
    unlike = np.sqrt(left.mean(axis=0))
    # The scatter of the estimates is taken out of the scatter between sets.
    own_lie = lie.var(axis=0) - unlike**2 * lie_var.mean(axis=0)
    own_stretch = stretch.var(axis=0) - unlike**2 * stretch_var.mean(axis=0)
    return Habits(
        np.sqrt(np.maximum(own_lie, LEAST_SD**2)),
        np.sqrt(np.maximum(own_stretch, LEAST_SD**2)),
        np.maximum(unlike, LEAST_UNLIKE),
    )


_KEPT: OncePerKey[tuple[GearSetDesign, EaseOffSpread], Habits] = OncePerKey(16)


def habits_of(design: GearSetDesign, spread: EaseOffSpread | None = None) -> Habits:
    """Return how sets of a design differ, from the cache folder where they have been rolled before.

    Parameters
    ----------
    design : GearSetDesign
    spread : EaseOffSpread, optional
    """
    wanted = EaseOffSpread() if spread is None else spread
    return _KEPT.get((design, wanted), lambda: _read_or_roll(design, wanted))


def _read_or_roll(design: GearSetDesign, spread: EaseOffSpread) -> Habits:
    made = kept_array(
        "habits",
        design,
        f"{VERSION}|{SETS}|{LOOKS}|{RESOLUTION}|{astuple(spread)}",
        lambda found: found.shape == (3, 4),
        lambda: np.array(astuple(roll_habits(design, atlas_of(design), spread))),
    )
    return Habits(*made)
