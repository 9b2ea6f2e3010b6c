"""Snapping: the tooth's top, toe and heel edges looked for in the picture near where the taps put them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from axlewright.gearset import FlankName, GearSetDesign
from axlewright.pattern.camera import FittedCamera, flank_surface
from axlewright.pattern.colour import lab, linear_light

Array = NDArray[np.float64]

SEARCH_SHARE = 0.018  # of the tooth's length in the picture, how far an edge is looked for
EDGES = {
    # name: (places along the edge, inward neighbour), the foot is left out: it hides behind the next tooth
    "top": (np.stack([np.linspace(-0.94, 0.94, 41), np.full(41, 1.0)], 1), np.array([0.0, -0.1])),
    "toe": (np.stack([np.full(13, -1.0), np.linspace(-0.85, 0.9, 13)], 1), np.array([0.05, 0.0])),
    "heel": (np.stack([np.full(13, 1.0), np.linspace(-0.85, 0.9, 13)], 1), np.array([-0.05, 0.0])),
}


def softened(pixels: NDArray[np.uint8]) -> Array:
    """Return a part of a picture in perceptual units (CIE Lab), its noise smoothed, shape (h, w, 3)."""
    image = lab(linear_light(pixels).astype(np.float32))
    return np.stack([ndimage.gaussian_filter(image[..., k], 1.0) for k in range(3)], -1)


def find_edges(
    soft: Array,
    camera: FittedCamera,
    design: GearSetDesign,
    flank: FlankName,
    scale: float,
    origin: Array,
    length_px: float,
) -> tuple[tuple[Array, Array, Array, Array] | None, dict[str, float]]:
    """Look for the tooth's edges.

    Parameters
    ----------
    soft : array, shape (h, w, 3)
        Part of the picture, reduced, as `softened` gives it.
    camera : FittedCamera
        From the taps, in full-picture pixels.
    design : GearSetDesign
    flank : {"drive", "coast"}
    scale : float
        Reduced pixels per picture pixel.
    origin : array, shape (2,)
        Picture pixel of the part's first pixel centre.
    length_px : float
        Length of the tooth in the picture [px].

    Returns
    -------
    edges : tuple or None
        As `fit_camera` takes them; None when no edge is clear.
    support : dict
        Edge name to the share of its length at which the found edge is clear.
    """
    reach = max(4.0, SEARCH_SHARE * length_px)
    steps = np.arange(-reach, reach + 1e-9, 1.0 / scale)
    found: list[tuple[Array, Array, Array, Array]] = []
    support: dict[str, float] = {}
    for name, (places, inward) in EDGES.items():
        at = camera.project(flank_surface(design, flank, places[:, 0], places[:, 1])[0])
        near = places + inward
        inside = camera.project(flank_surface(design, flank, near[:, 0], near[:, 1])[0])
        tangent = np.gradient(at, axis=0)
        tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
        normal = np.stack([-tangent[:, 1], tangent[:, 0]], 1)
        normal *= np.sign(np.sum(normal * (at - inside), 1))[:, None]
        where = (at[:, None, :] + steps[None, :, None] * normal[:, None, :] - origin) * scale
        profile = np.stack(
            [ndimage.map_coordinates(soft[..., k], [where[..., 1], where[..., 0]], order=1, mode="nearest")
             for k in range(3)], -1
        )  # fmt: skip
        jump = np.linalg.norm(profile[:, 2:] - profile[:, :-2], axis=-1)
        jump = np.pad(jump, ((0, 0), (1, 1)))
        offset, clear = _smooth_track(jump, steps)
        support[name] = float(clear.mean())
        if clear.mean() < 0.6:
            continue
        keep = clear
        count = int(keep.sum())
        # Neighbouring points share their errors: all of an edge together count as a few.
        sd = np.full(count, 1.2 / scale * np.sqrt(count / 4.0))
        found.append((places[keep], (at + offset[:, None] * normal)[keep], normal[keep], sd))
    if not found:
        return None, support
    a, b, c, d = (np.concatenate(parts) for parts in zip(*found, strict=True))
    return (a, b, c, d), support


def _smooth_track(jump: Array, steps: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Follow the strongest jump along an edge by dynamic programming.

    Parameters
    ----------
    jump : array, shape (n, m)
        Strength at n points along the edge and m offsets.
    steps : array, shape (m,)
        Offsets [px].

    Returns
    -------
    offset : array, shape (n,)
        Offset of the followed edge, a straight line plus bow through it [px].
    clear : array of bool, shape (n,)
        Where the jump stands out and lies on that line.
    """
    n, m = jump.shape
    strength = jump / (np.median(jump.max(1)) + 1e-9)
    # A weak pull toward the taps keeps a flat profile from wandering off.
    score = np.minimum(strength, 1.5) - 0.25 * (steps / steps[-1])[None, :] ** 2
    total = score.copy()
    back = np.zeros((n, m), np.intp)
    shifts = np.arange(-2, 3)
    for i in range(1, n):
        options = np.stack([_shifted(total[i - 1], int(s)) - 0.08 * abs(s) for s in shifts])
        pick = np.argmax(options, 0)
        back[i] = np.clip(np.arange(m) - shifts[pick], 0, m - 1)
        total[i] += options[pick, np.arange(m)]
    track = np.zeros(n, np.intp)
    track[-1] = int(np.argmax(total[-1]))
    for i in range(n - 1, 0, -1):
        track[i - 1] = back[i, track[i]]
    offset = steps[track]
    t = np.linspace(-1, 1, n)
    weight, coef = np.ones(n), np.zeros(3)
    A = np.stack([np.ones(n), t, t * t], 1)
    pitch = steps[1] - steps[0]
    for _ in range(6):
        coef = np.asarray(np.linalg.lstsq(A * weight[:, None], offset * weight, rcond=None)[0])
        miss = np.abs(offset - A @ coef) / (1.5 * pitch)
        weight = 1.0 / (1.0 + miss**2)
    level = strength[np.arange(n), track]
    floor = np.median(strength, axis=1)
    clear = (np.abs(offset - A @ coef) < 2.5 * pitch) & (level > 2.5 * floor)
    clear &= np.abs(offset) < steps[-1] - 1.5 * pitch
    return np.asarray(A @ coef), clear


def _shifted(row: Array, by: int) -> Array:
    out = np.full_like(row, -1e9)
    if by == 0:
        return row.copy()
    if by > 0:
        out[by:] = row[:-by]
    else:
        out[:by] = row[-by:]
    return out
