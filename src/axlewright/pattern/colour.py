"""From camera pixels to light and colour: sRGB, linear light, CIE Lab.

References
----------
IEC 61966-2-1 (sRGB), CIE 15 (L*a*b*, D65 white); constants from memory.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
_WHITE = np.array([0.95047, 1.0, 1.08883])


def _linear_table() -> Array:
    c = np.arange(256) / 255.0
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


LINEAR = _linear_table()


def linear_light(coded: NDArray[np.uint8]) -> Array:
    """Return linear RGB, 0 … 1, from 8-bit sRGB."""
    return np.asarray(LINEAR[coded])


def coded_light(linear: Array) -> NDArray[np.uint8]:
    """Return 8-bit sRGB from linear RGB."""
    c = np.clip(linear, 0.0, 1.0)
    c = np.where(c <= 0.0031308, 12.92 * c, 1.055 * np.power(c, 1 / 2.4) - 0.055)
    return np.asarray(np.rint(c * 255.0), dtype=np.uint8)


def lab(linear: Array) -> Array:
    """Return L*, a*, b* of linear RGB, shape (..., 3)."""
    t = np.clip(linear @ (_TO_XYZ.T / _WHITE).astype(linear.dtype), 0.0, None)
    f = np.where(t > 0.008856, np.cbrt(t), 7.787 * t + 16.0 / 116.0)
    return np.stack(
        [116.0 * f[..., 1] - 16.0, 500.0 * (f[..., 0] - f[..., 1]), 200.0 * (f[..., 1] - f[..., 2])], -1
    )


def luminance(linear: Array) -> Array:
    """Return Y of linear RGB."""
    return np.asarray(linear @ _TO_XYZ[1])
