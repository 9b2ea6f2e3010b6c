"""How sure a photo's pattern is: errors of taps and camera, and of the outline.

The outline's error is taken as a random shift along its normal that stays alike over a stretch of it; the
shift of the centre is then a sum over the outline. The constants below were set on drawn photos whose truth
is known (benchmarks/reading_masks.py prints the coverage they reach on other drawn photos).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from axlewright.gearset import FlankName, GearSetDesign
from axlewright.pattern.camera import FittedCamera, flank_surface
from axlewright.pattern.segment import Segmentation

Array = NDArray[np.float64]

ALIKE_CELLS = 40.0  # fine cells of outline over which its error stays alike
SHIFT_CELLS = 1.0  # least standard deviation of the outline across itself [fine cells]
COMMON_CELLS = (
    1.0  # part of it that the whole outline shares: where a coat's edge is taken to be [fine cells]
)
BRIDGED_CELLS = 6.0  # the same where glare or darkness was bridged
ANY_DIRECTION_DEG = 180.0 / 12.0**0.5  # standard deviation of an axis that may lie any way
ROOT_LINE = 0.012  # where the foot of the working flank lies under a tap, in profile units


@dataclass(frozen=True, slots=True)
class OutlineSpread:
    """Standard deviations that the outline's error causes.

    Attributes
    ----------
    center : (float, float)
        Lengthwise and profile.
    length, height, area : float
        Of `length_fraction`, `height_fraction` and `area_fraction`.
    slant : float
        Of `slant_deg` [deg]; that of any direction at all for a mark nearly as long as high.
    confidence : array, shape (48, 96)
        0 … 1.
    """

    center: tuple[float, float]
    length: float
    height: float
    area: float
    slant: float
    confidence: Array


def outline_sd_cells(marked: Segmentation) -> Array:
    """Return the standard deviation of the outline across itself [fine cells], shape of the level."""
    faint = 1.0 + 4.0 / max(marked.step, 0.5) ** 2
    sd = np.full(marked.level.shape, SHIFT_CELLS * faint + 0.25 * marked.edge_cells)
    hidden = ndimage.gaussian_filter((~marked.known).astype(float), 1.5)
    return np.asarray(sd + BRIDGED_CELLS * np.clip(hidden * 1.5, 0.0, 1.0))


def outline_spread(marked: Segmentation) -> OutlineSpread:
    """Return what the outline's error does to the measures."""
    level = marked.level
    rows, cols = level.shape
    x, y = np.meshgrid(np.linspace(-1, 1, cols), np.linspace(-1, 1, rows))
    sd = outline_sd_cells(marked)
    mask = level >= 0.5
    area = float(mask.sum())
    gy, gx = np.gradient(ndimage.gaussian_filter(mask.astype(float), 1.0))
    weight = np.hypot(gx, gy)  # integrates to the outline's length in cells
    cx, cy = float(x[mask].mean()), float(y[mask].mean())
    alike = ALIKE_CELLS
    var_x = float((weight * (x - cx) ** 2 * sd**2).sum()) * alike / area**2
    var_y = float((weight * (y - cy) ** 2 * sd**2).sum()) * alike / area**2
    var_a = float((weight * sd**2).sum()) * alike / (rows * cols) ** 2
    var_a += (COMMON_CELLS * float(weight.sum()) / (rows * cols)) ** 2
    span, up = np.flatnonzero(mask.any(0)), np.flatnonzero(mask.any(1))
    tips = [float(sd[mask[:, c], c].mean()) for c in (span[0], span[-1])]
    # Tips of an oval are flatter than its flanks: the same error of level moves them further.
    length = 2.0 * float(np.hypot(tips[0], tips[1])) / cols
    tips = [float(sd[r, mask[r]].mean()) for r in (up[0], up[-1])]
    height = 2.0 * float(np.hypot(tips[0], tips[1])) / rows
    # How much a bit of area put in at each place turns the long axis: θ = atan2(2 sxy, sxx − syy) / 2.
    dx, dy = x - cx, y - cy
    sxy, apart = float((dx * dy)[mask].mean()), float((dx**2 - dy**2)[mask].mean())
    turn = (apart * (dx * dy - sxy) - sxy * (dx**2 - dy**2 - apart)) / max(apart**2 + 4.0 * sxy**2, 1e-12)
    slant = np.degrees(np.sqrt(float((weight * turn**2 * sd**2).sum()) * alike / area**2))
    away = ndimage.distance_transform_edt(mask) + ndimage.distance_transform_edt(~mask) - 1.0
    confidence = 1.0 - np.exp(-0.5 * (away / sd) ** 2)
    return OutlineSpread(
        (float(np.sqrt(var_x)), float(np.sqrt(var_y))),
        length,
        height,
        float(np.sqrt(var_a)),
        min(float(slant), ANY_DIRECTION_DEG),
        confidence[::2, ::2],
    )


def place_spread(
    camera: FittedCamera, design: GearSetDesign, flank: FlankName, mask: NDArray[np.bool_]
) -> tuple[float, float]:
    """Return the standard deviation of the centre that the camera's error causes, lengthwise and profile."""
    rows, cols = np.nonzero(mask)
    pick = np.linspace(0, len(rows) - 1, min(60, len(rows))).astype(int)
    x = -1.0 + 2.0 * cols[pick] / (mask.shape[1] - 1)
    y = -1.0 + 2.0 * rows[pick] / (mask.shape[0] - 1)
    h = 1e-3

    def at(a: Array, b: Array) -> Array:
        return camera.project(flank_surface(design, flank, a, b)[0])

    G = np.stack([(at(x + h, y) - at(x - h, y)) / (2 * h), (at(x, y + h) - at(x, y - h)) / (2 * h)], -1)
    J = camera.jacobian(flank_surface(design, flank, x, y)[0])
    M = -np.linalg.solve(G, J).mean(0)
    cov = M @ camera.covariance @ M.T
    return float(np.sqrt(cov[0, 0])), float(np.hypot(np.sqrt(cov[1, 1]), ROOT_LINE))
