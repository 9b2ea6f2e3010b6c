"""The cure: how far to move pinion and ring gear so that the pattern lies where it belongs.

What the set's own lie does to the pattern before a change it does after it as well, so the cure is known far
better than the cause.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from axlewright.contact.atlas import Atlas
from axlewright.diagnosis.cause import SEEN_COLUMNS, Posterior, developed_centers
from axlewright.errors import InputError
from axlewright.language import _

Array = NDArray[np.float64]

# Gauss-Newton on the smooth atlas: four steps settle to a thousandth of a millimetre.
STEPS = 4
SLOPE_STEP_MM = 0.01
MOST_MOVE_MM = 0.15  # of one step, so that a flat slope at the edge of a tooth sends nothing far away
TINY = 1e-9


@dataclass(frozen=True, slots=True)
class Goal:
    """Where the patterns belong and how much a miss weighs.

    Attributes
    ----------
    center : (float, float, float, float)
        Wanted centre, drive (lengthwise, profile) then coast.
    scale : (float, float, float, float)
        A miss of this size weighs one; profile on drive weighs most.
    accept : (float, float, float, float)
        Largest miss at which a set is left as it is; 0.1 in profile is about 0.001 in of pinion depth.
    backlash_scale_mm, backlash_accept_mm : float
        The same for backlash about its target [mm].
    build_sd_mm : (float, float)
        How far a change of pinion depth and of ring-gear position ends from what was meant, when spacer,
        pressing and shims are measured with care [mm].
    source : str
    """

    center: tuple[float, float, float, float] = (-0.05, 0.0, 0.0, 0.0)
    scale: tuple[float, float, float, float] = (0.30, 0.08, 0.45, 0.14)
    accept: tuple[float, float, float, float] = (0.35, 0.10, 0.50, 0.25)
    backlash_scale_mm: float = 0.03
    backlash_accept_mm: float = 0.06
    build_sd_mm: tuple[float, float] = (0.010, 0.013)
    source: str = (
        "clear of top and root, slightly toward the toe on drive; drive decides, coast is a check "
        "(common practice, no source; public-domain manuals TM 9-2320-273-34 and TM 10-3930-660-34 "
        "give the words, not the figures)"
    )

    @classmethod
    def for_axle(cls, drives_on: str = "drive") -> Goal:
        """Return the goal of an axle by the flank that pulls going forward.

        Parameters
        ----------
        drives_on : {"drive", "coast"}
            "coast" for axles that pull with the ring gear's concave flank, as many front axles do: what is
            wanted of the two flanks changes places, and the coast flank decides.
        """
        if drives_on == "drive":
            return cls()
        if drives_on != "coast":
            raise InputError(
                _("unknown flank '{drives_on}'").format(drives_on=drives_on),
                where="drives_on",
                fix=_("use drive or coast"),
            )
        usual = cls()
        return replace(
            usual,
            center=(*usual.center[2:], *usual.center[:2]),
            scale=(*usual.scale[2:], *usual.scale[:2]),
            accept=(*usual.accept[2:], *usual.accept[:2]),
        )

    @property
    def deciding_flank(self) -> Literal["drive", "coast"]:
        """The flank on which a miss in profile weighs most."""
        return "drive" if self.scale[1] <= self.scale[3] else "coast"


def patterns_after(
    posterior: Posterior, atlas: Atlas, pinion_move: Array | float, ring_move: Array | float
) -> tuple[Array, Array]:
    """Return centres (n, 4) and backlash (n,) [mm] of every sample after a move [mm]."""
    settings = posterior.settings.copy()
    settings[:, 0] += pinion_move
    settings[:, 1] += ring_move
    figures = atlas(settings, SEEN_COLUMNS)
    developed = developed_centers(atlas)
    centers = developed + (1.0 + posterior.stretch) * (figures[:, :4] - developed) + posterior.lie
    return centers, posterior.backlash_zero_mm + figures[:, 4]


def misses(centers: Array, backlash: Array, target_mm: float, goal: Goal) -> Array:
    """Return scaled misses, shape (n, 5); the wanted change makes their sum of squares least."""
    return np.column_stack(
        [
            (centers - np.array(goal.center)) / np.array(goal.scale),
            (backlash - target_mm) / goal.backlash_scale_mm,
        ]
    )


def accepted(centers: Array, backlash: Array, target_mm: float, goal: Goal) -> NDArray[np.bool_]:
    """Return which samples would be signed off."""
    inside = np.abs(centers - np.array(goal.center)) <= np.array(goal.accept)
    return np.asarray(inside.all(axis=1) & (np.abs(backlash - target_mm) <= goal.backlash_accept_mm))


def best_moves(
    posterior: Posterior, atlas: Atlas, target_mm: float, goal: Goal, *, pinion_move: Array | None = None
) -> tuple[Array, Array]:
    """Return for each sample the pinion and ring-gear move [mm] with the least miss (Gauss-Newton).

    Parameters
    ----------
    pinion_move : array, optional
        Held at these values when given; only the ring gear moves then.
    """
    n = len(posterior.settings)
    # From where the set was developed: the slopes there are good, at an edge of the tooth they are not.
    a = -posterior.settings[:, 0] if pinion_move is None else np.broadcast_to(pinion_move, (n,)).astype(float)
    b = -posterior.settings[:, 1]
    step = SLOPE_STEP_MM
    for _step in range(STEPS):
        base = misses(*patterns_after(posterior, atlas, a, b), target_mm, goal)
        jb = (misses(*patterns_after(posterior, atlas, a, b + step), target_mm, goal) - base) / step
        if pinion_move is not None:
            b = b - np.clip((jb * base).sum(1) / ((jb * jb).sum(1) + TINY), -MOST_MOVE_MM, MOST_MOVE_MM)
            continue
        ja = (misses(*patterns_after(posterior, atlas, a + step, b), target_mm, goal) - base) / step
        aa, bb, ab = (ja * ja).sum(1) + TINY, (jb * jb).sum(1) + TINY, (ja * jb).sum(1)
        ra, rb = (ja * base).sum(1), (jb * base).sum(1)
        det = aa * bb - ab * ab
        a = a - np.clip((bb * ra - ab * rb) / det, -MOST_MOVE_MM, MOST_MOVE_MM)
        b = b - np.clip((aa * rb - ab * ra) / det, -MOST_MOVE_MM, MOST_MOVE_MM)
    return a, b
