"""How far the real pinion flank stands back from the perfectly conjugate one.

A set's true ease-off is unknown to a workshop; typical values by size are the prior (see `design`), a fit to
a known good pattern or a measured grid replaces it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class EaseOff:
    """Ease-off of one flank over (lengthwise x, profile y), each −1 … +1.

    Attributes
    ----------
    lengthwise_crown_mm, profile_crown_mm, twist_mm : float
        Coefficients of x², y² and x y [mm].
    top_root_relief_mm : float
        Relief at |y| = 1 [mm].
    relief_start : float
        |y| at which the relief begins, 0 … 1; it grows quadratically from there.
    center_lengthwise, center_profile : float
        Where the surface touches first when set where it was developed; the parabolas are centred there.
    """

    lengthwise_crown_mm: float
    profile_crown_mm: float
    twist_mm: float = 0.0
    top_root_relief_mm: float = 0.0
    relief_start: float = 1.0
    center_lengthwise: float = 0.0
    center_profile: float = 0.0

    def __call__(self, x: Array, y: Array) -> Array:
        """Return the normal set-back [mm] at (x, y); any common shape."""
        u = np.asarray(x) - self.center_lengthwise
        v = np.asarray(y) - self.center_profile
        relief = np.zeros(np.broadcast(u, v).shape)
        if self.top_root_relief_mm and self.relief_start < 1.0:
            beyond = np.maximum(np.abs(np.asarray(y)) - self.relief_start, 0.0) / (1.0 - self.relief_start)
            relief = relief + self.top_root_relief_mm * beyond**2
        return (
            self.lengthwise_crown_mm * u * u + self.profile_crown_mm * v * v + self.twist_mm * u * v + relief
        )

    def moved(self, lengthwise: float, profile: float) -> EaseOff:
        """Return the same surface with its centre moved by (lengthwise, profile).

        Parameters
        ----------
        lengthwise, profile : float
            In half face widths and half working depths; toward heel and top positive.
        """
        return replace(
            self,
            center_lengthwise=self.center_lengthwise + lengthwise,
            center_profile=self.center_profile + profile,
        )
