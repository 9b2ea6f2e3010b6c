"""The flank unrolled: the picture sampled on a grid of the design's real 3-D flank."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage

from axlewright.gearset import FlankName, GearSetDesign
from axlewright.pattern.camera import FittedCamera, flank_surface
from axlewright.pattern.colour import linear_light
from axlewright.pattern.picture import Picture

Array = NDArray[np.float64]

ROWS, COLS = 48, 96  # nodes of the pattern's grid
FINE = 4  # fine cells per cell of it
FINE_ROWS, FINE_COLS = FINE * (ROWS - 1) + 1, FINE * (COLS - 1) + 1
WORKING_LENGTH_PX = 900.0  # a tooth longer than this in the picture is reduced to about it


@dataclass(frozen=True, slots=True)
class Part:
    """The part of a picture around one tooth, reduced.

    Attributes
    ----------
    pixels : array of uint8, shape (h, w, 3)
    origin : array, shape (2,)
        Picture pixel of the first pixel's centre.
    scale : float
        Part pixels per picture pixel.
    """

    pixels: NDArray[np.uint8]
    origin: Array
    scale: float


def cut_part(picture: Picture, corners: Array) -> Part:
    """Cut out the tooth with a margin and reduce it by a whole factor."""
    length = float(np.linalg.norm(corners[1] - corners[0]))
    factor = max(1, int(length / WORKING_LENGTH_PX))
    margin = 0.12 * length + 8
    low = np.maximum(np.floor(corners.min(0) - margin), 0).astype(int)
    high = np.minimum(np.ceil(corners.max(0) + margin), [picture.width, picture.height]).astype(int)
    block = picture.pixels[low[1] : high[1], low[0] : high[0]]
    if factor > 1:
        block = np.asarray(Image.fromarray(np.ascontiguousarray(block)).reduce(factor))
    return Part(block, low + (factor - 1) / 2.0, 1.0 / factor)


def unroll(part: Part, camera: FittedCamera, design: GearSetDesign, flank: FlankName) -> Array:
    """Sample the flank on its fine grid.

    Parameters
    ----------
    part : Part
    camera : FittedCamera
    design : GearSetDesign
    flank : {"drive", "coast"}

    Returns
    -------
    array, shape (189, 381, 3)
        Linear RGB, root row first, toe column first; nodes from −1 to +1 both ways.
    """
    X, Y = np.meshgrid(np.linspace(-1, 1, FINE_COLS), np.linspace(-1, 1, FINE_ROWS))
    at = (camera.project(flank_surface(design, flank, X, Y)[0]) - part.origin) * part.scale
    light = linear_light(part.pixels)
    # Where a cell of the fine grid spans more than a pixel of the part, average before sampling.
    step = np.median(np.linalg.norm(np.diff(at, axis=1), axis=-1))
    spread = 0.4 * float(step) if step > 1.2 else 0.0
    out = np.empty((FINE_ROWS, FINE_COLS, 3))
    for k in range(3):
        plane = light[..., k] if spread == 0.0 else ndimage.gaussian_filter(light[..., k], spread)
        out[..., k] = ndimage.map_coordinates(plane, [at[..., 1], at[..., 0]], order=1, mode="nearest")
    return out
