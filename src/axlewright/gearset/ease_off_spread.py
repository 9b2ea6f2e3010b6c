"""How the ease-off of single sets strays about that of their design."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace

import numpy as np

from axlewright.errors import InputError
from axlewright.gearset.easeoff import EaseOff
from axlewright.language import eager as _


@dataclass(frozen=True, slots=True)
class EaseOffSpread:
    """Standard deviations of a set's ease-off about that of its design.

    Attributes
    ----------
    lengthwise_crown, profile_crown, top_root_relief : float
        As shares (of the logarithm).
    twist_mm : float
        For a ring gear of 222 mm, growing with it [mm].
    relief_start : float
        In half working depths.
    center_lengthwise, center_profile : float
        Where the ease-off touches deepest, in half face widths and half working depths; 0.27 in profile is a
        pressure angle about one minute of arc off.
    """

    lengthwise_crown: float = 0.15
    profile_crown: float = 0.25
    twist_mm: float = 0.003
    top_root_relief: float = 0.20
    relief_start: float = 0.03
    center_lengthwise: float = 0.065
    center_profile: float = 0.27

    def __post_init__(self) -> None:
        for key in fields(self):
            value = getattr(self, key.name)
            if not 0.0 < value < 1.0:
                raise InputError(
                    _("{value} is no spread").format(value=value),
                    where=key.name,
                    fix=_("give a number above 0 and below 1"),
                )

    def draw(self, rng: np.random.Generator, base: EaseOff, size: float) -> EaseOff:
        """Return the ease-off of one set; `size` is the ring gear's over 222 mm."""
        z = rng.standard_normal(7)
        return replace(
            base,
            lengthwise_crown_mm=base.lengthwise_crown_mm * math.exp(self.lengthwise_crown * z[0]),
            profile_crown_mm=base.profile_crown_mm * math.exp(self.profile_crown * z[1]),
            twist_mm=base.twist_mm + self.twist_mm * size * z[2],
            top_root_relief_mm=base.top_root_relief_mm * math.exp(self.top_root_relief * z[3]),
            relief_start=float(np.clip(base.relief_start + self.relief_start * z[4], 0.3, 0.8)),
            center_lengthwise=base.center_lengthwise + self.center_lengthwise * z[5],
            center_profile=base.center_profile + self.center_profile * z[6],
        )
