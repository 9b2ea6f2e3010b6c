"""A start for the corner taps: the expected outline of the tooth moved to where the picture has edges."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage

from axlewright.contact.rolling import check_flank
from axlewright.gearset import GearSetDesign
from axlewright.pattern.camera import CORNER_X, CORNER_Y, PHONE_FOCAL_SHARE, flank_surface
from axlewright.pattern.colour import lab, linear_light
from axlewright.pattern.picture import Picture

Array = NDArray[np.float64]

SEARCH_WIDTH = 360  # px of the reduced picture that is searched
RAISED_DEG = (24.0, 34.0, 44.0)  # views above the flank's normal that are tried


def _view(points: Array, normal: Array, up: Array, raised: float) -> Array:
    """Return picture coordinates of points seen from a usual place, the tooth's length taken as 1."""
    along = np.cross(up, normal)
    view = math.cos(raised) * normal + math.sin(raised) * up
    down = -(up - (up @ view) * view)
    down /= np.linalg.norm(down)
    right = np.cross(down, -view)
    middle = points[:4].mean(0)
    length = float(np.ptp(points @ (along / np.linalg.norm(along))))
    distance = PHONE_FOCAL_SHARE * length / 0.55
    q = points - middle - distance * view
    depth = q @ -view
    flat = np.stack([q @ right, q @ down], 1) / depth[:, None]
    size = np.linalg.norm(flat[1] - flat[0])
    return np.asarray((flat - flat[:4].mean(0)) / size)


def guess_corners(picture: Picture, design: GearSetDesign, flank: str) -> Array:
    """Guess where the four corners are, to start tapping from.

    Parameters
    ----------
    picture : Picture
    design : GearSetDesign
    flank : {"drive", "coast"}

    Returns
    -------
    array, shape (4, 2)
        Toe-top, heel-top, heel-root, toe-root [px]. A start only: neighbouring teeth look alike and the guess
        may sit on one of them.
    """
    name = check_flank(flank)
    scale = SEARCH_WIDTH / max(picture.width, picture.height)
    size = (max(1, round(picture.width * scale)), max(1, round(picture.height * scale)))
    image = lab(linear_light(np.asarray(Image.fromarray(picture.pixels).resize(size, Image.Resampling.BOX))))
    soft = np.stack([ndimage.gaussian_filter(image[..., k], 1.2) for k in range(3)], -1)
    gy, gx = np.gradient(soft, axis=(0, 1))
    cap = float(np.percentile(np.hypot(gx, gy).sum(-1), 97)) + 1e-6
    t = np.linspace(-0.9, 0.9, 21)
    one = np.ones_like(t)
    places = np.concatenate(
        [
            np.stack([CORNER_X, CORNER_Y], 1),
            np.stack([t, one], 1),
            np.stack([-one, t], 1)[::3],
            np.stack([one, t], 1)[::3],
        ]
    )
    points, _ = flank_surface(design, name, places[:, 0], places[:, 1])
    _, normal = flank_surface(design, name, np.array(0.0), np.array(0.0))
    tips, _ = flank_surface(design, name, np.zeros(2), np.array([-1.0, 1.0]))
    up = tips[1] - tips[0]
    up -= (up @ normal) * normal
    up /= np.linalg.norm(up)
    groups = [np.arange(4, 25), np.arange(25, 32), np.arange(32, 39)]
    rng = np.random.default_rng(0)
    best: tuple[float, Array] | None = None
    w, h = size
    for raised in RAISED_DEG:
        shape = _view(points, normal, up, math.radians(raised))
        pose = np.column_stack(
            [
                rng.uniform(0.28, 0.72, 1500) * w,
                rng.uniform(0.25, 0.75, 1500) * h,
                rng.uniform(0.40, 0.72, 1500) * max(w, h),
                np.radians(rng.choice([0.0, 180.0], 1500) + rng.normal(0, 14, 1500)),
            ]
        )
        value = _fit(shape, pose, gx, gy, groups, cap, w, h)
        for spread in (0.05, 0.02, 0.01):
            top = pose[np.argsort(value)[::-1][:25]]
            pose = np.repeat(top, 24, 0)
            noise = rng.standard_normal(pose.shape) * spread
            pose = pose + noise * np.array([w, h, max(w, h), 2.5])
            value = _fit(shape, pose, gx, gy, groups, cap, w, h)
        k = int(np.argmax(value))
        if best is None or value[k] > best[0]:
            best = (float(value[k]), _place(shape, pose[k : k + 1])[0, :4])
    assert best is not None
    corners = (best[1] + 0.5) / scale - 0.5
    return np.asarray(np.clip(corners, 0.0, [picture.width - 1.0, picture.height - 1.0]))


def _place(shape: Array, pose: Array) -> Array:
    c, s = np.cos(pose[:, 3, None]), np.sin(pose[:, 3, None])
    x = pose[:, 0, None] + pose[:, 2, None] * (c * shape[:, 0] - s * shape[:, 1])
    y = pose[:, 1, None] + pose[:, 2, None] * (s * shape[:, 0] + c * shape[:, 1])
    return np.stack([x, y], -1)


def _fit(
    shape: Array,
    pose: Array,
    gx: Array,
    gy: Array,
    groups: list[NDArray[np.intp]],
    cap: float,
    w: int,
    h: int,
) -> Array:
    """Return how well the outline follows edges of the picture at each pose, shape (n,)."""
    at = _place(shape, pose)
    i, j = np.rint(at[..., 1]).astype(int), np.rint(at[..., 0]).astype(int)
    inside = (i >= 0) & (i < h) & (j >= 0) & (j < w)
    ii, jj = np.clip(i, 0, h - 1), np.clip(j, 0, w - 1)
    total = np.zeros(len(pose))
    for group, weight in zip(groups, (1.0, 0.7, 0.7), strict=True):
        tangent = np.gradient(at[:, group], axis=1)
        tangent /= np.linalg.norm(tangent, axis=-1, keepdims=True) + 1e-9
        a, b = ii[:, group], jj[:, group]
        across = np.abs(-gx[a, b] * tangent[..., 1:] + gy[a, b] * tangent[..., :1]).sum(-1)
        total += weight * np.mean(np.minimum(across / cap, 1.0) * inside[:, group], axis=1)
    # Prefer the large tooth in the middle of the picture to its neighbours.
    middle = np.hypot(pose[:, 0] / w - 0.5, pose[:, 1] / h - 0.5)
    corners_in = inside[:, :4].all(1)
    return total * (1.0 - 0.6 * middle) * np.where(corners_in, 1.0, 0.3)
