"""Lightness and colour of an unrolled flank, kept apart.

Light and shade act on lightness alone, so colour is taken free of it (CIE a*, b* at equal luminance) and
lightness as a logarithm.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from axlewright.pattern.colour import lab, luminance
from axlewright.pattern.shadow import cast_shadows, edge_zone

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

COLOUR_LIGHT = 0.25  # luminance at which colours are compared
LIGHTNESS_SCALE = 25.0  # Lab-like units per unit of the natural logarithm of luminance
LIGHTNESS_SHARE = 0.35  # of its weight beside colour, where the flank has colours
LIGHTNESS_DOUBT = 1.5  # lightness is trusted less than colour by this factor


def tones(light: Array, grey: bool) -> Array:
    """Return lightness and colour features of linear RGB, shape (..., 3); lightness against white.

    Parameters
    ----------
    light : array, shape (..., 3)
    grey : bool
        True where nothing on the flank has a colour: lightness counts in full then.
    """
    y = luminance(light)
    floor = 0.003
    even = light * (COLOUR_LIGHT / np.maximum(y, floor))[..., None]
    colour = lab(np.clip(even, 0.0, 2.0))
    lightness = LIGHTNESS_SCALE * np.log(y + floor)
    if not grey:
        # Where there are colours they decide; lightness is mostly shade and shine.
        lightness = lightness * LIGHTNESS_SHARE
    return np.stack([lightness, colour[..., 1], colour[..., 2]], -1)


def features(light: Array) -> tuple[Array, Mask, Mask, bool]:
    """Return lightness and colour, shape (rows, cols, 3), where glare and darkness hide them, greyness."""
    soft = np.stack([ndimage.gaussian_filter(light[..., k], 0.8) for k in range(3)], -1)
    y = luminance(soft)
    middle = float(np.median(y)) + 1e-4
    glare = (soft.max(-1) > 0.93) & (soft.min(-1) > 0.55)
    glare |= soft.min(-1) > 0.86
    dark = y < 0.004
    out = tones(soft, grey=True)
    out[..., 0] -= LIGHTNESS_SCALE * np.log(middle)
    grey = _grey(out, glare | dark)
    if grey:
        # Without colours on the flank a white coat and glare look the same: let the outline decide.
        glare = np.zeros_like(glare)
    else:
        out[..., 0] *= LIGHTNESS_SHARE
        glare = _glare_on_paint(out, glare, dark)
    return out, ndimage.binary_dilation(glare, iterations=1), dark, grey


def _glare_on_paint(colour: Array, glare: Mask, dark: Mask) -> Mask:
    """Return the glare that hides paint; what shines amid bare metal is bare metal."""
    chroma = np.hypot(colour[..., 1], colour[..., 2])
    plain = ~(glare | dark)
    if not plain.any():
        return glare
    half = 0.5 * float(np.percentile(chroma[plain], 90))
    labels, count = ndimage.label(ndimage.binary_dilation(glare, iterations=1))
    kept = np.zeros_like(glare)
    for k in range(1, count + 1):
        spot = labels == k
        ring = ndimage.binary_dilation(spot, iterations=5) & ~spot & plain
        if not ring.any() or float(np.median(chroma[ring])) > half:
            kept |= spot & glare
    return kept


def _grey(colour: Array, hidden: Mask) -> bool:
    """Return whether nothing on the flank has a colour of its own."""
    ab = colour[~hidden][:, 1:]
    if len(ab) < 50:
        return True
    spread = np.percentile(ab, 92, axis=0) - np.percentile(ab, 8, axis=0)
    return bool(np.hypot(*spread) < 14.0 and np.hypot(*np.median(ab, axis=0)) < 25.0)


def usual_difference(f: Array, known: Mask) -> Array:
    """Return the usual difference of features between places a few cells apart, shape (3,)."""
    parts = []
    for a, b, ka, kb in (
        (f[:, 4:], f[:, :-4], known[:, 4:], known[:, :-4]),
        (f[3:], f[:-3], known[3:], known[:-3]),
    ):
        d = np.abs(a - b)[ka & kb]
        parts.append(np.percentile(d, 60, axis=0) if len(d) else np.ones(3))
    return np.asarray((np.mean(parts, axis=0) + 1.0) * np.array([LIGHTNESS_DOUBT, 1.0, 1.0]))


def views(f: Array, known: Mask) -> list[tuple[Array, Mask, Mask | None]]:
    """Return the features as they are and with a cast shadow lifted, where to trust them, and the shade."""
    out: list[tuple[Array, Mask, Mask | None]] = [(f, known, None)]
    coarse, seen = halved(f, known)
    for shadow in cast_shadows(coarse[..., 0], seen):
        dark = shadow.mask(*known.shape)
        light = f.copy()
        light[..., 0] += shadow.drop * ndimage.gaussian_filter(dark.astype(float), 1.2)
        out.append((light, known & ~edge_zone(dark, 2), shadow.mask(*seen.shape)))
    return out


def halved(f: Array, known: Mask) -> tuple[Array, Mask]:
    """Return every second node of smoothed features, and where they are known."""
    weight = known.astype(float)
    norm = ndimage.gaussian_filter(weight, 0.8)
    soft = np.stack([ndimage.gaussian_filter(f[..., k] * weight, 0.8) for k in range(3)], -1)
    soft /= np.maximum(norm, 1e-6)[..., None]
    return soft[::2, ::2], norm[::2, ::2] > 0.3
