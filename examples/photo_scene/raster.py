"""Which triangle each pixel sees: a depth buffer, compiled."""

from __future__ import annotations

import numpy as np
from numba import njit


def rasterize(
    screen: np.ndarray, inverse_depth: np.ndarray, faces: np.ndarray, width: int, height: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Find the nearest triangle of each pixel.

    Parameters
    ----------
    screen : array, shape (n, 2)
        Pixel places of the vertices.
    inverse_depth : array, shape (n,)
        1/distance; ≤ 0 behind the eye.
    faces : array of int, shape (m, 3)
    width, height : int

    Returns
    -------
    face : array of int32, shape (height * width,)
        −1 where nothing is seen.
    weights : array of float32, shape (height * width, 3)
        Perspective-correct barycentric weights.
    nearest : array of float32, shape (height * width,)
        1/distance, 0 where nothing is seen.
    """
    nearest = np.zeros(width * height, np.float32)
    face = np.full(width * height, -1, np.int32)
    weights = np.zeros((width * height, 3), np.float32)
    _fill(screen[faces], inverse_depth[faces], width, height, nearest, face, weights)
    return face, weights, nearest


@njit(cache=True)  # type: ignore[untyped-decorator]
def _fill(
    tri: np.ndarray,
    w: np.ndarray,
    width: int,
    height: int,
    nearest: np.ndarray,
    face: np.ndarray,
    weights: np.ndarray,
) -> None:
    slack = -1e-6
    for k in range(len(tri)):
        if w[k, 0] <= 0.0 or w[k, 1] <= 0.0 or w[k, 2] <= 0.0:
            continue
        ax, ay = tri[k, 0, 0], tri[k, 0, 1]
        ux, uy = tri[k, 1, 0] - ax, tri[k, 1, 1] - ay
        vx, vy = tri[k, 2, 0] - ax, tri[k, 2, 1] - ay
        area = ux * vy - uy * vx
        if abs(area) <= 1e-9:
            continue
        x0, x1 = ax + min(0.0, ux, vx), ax + max(0.0, ux, vx)
        y0, y1 = ay + min(0.0, uy, vy), ay + max(0.0, uy, vy)
        if not (x1 >= 0.0 and y1 >= 0.0 and x0 <= width - 1.0 and y0 <= height - 1.0):
            continue
        for py in range(max(0, int(np.ceil(y0))), min(height - 1, int(np.floor(y1))) + 1):
            for px in range(max(0, int(np.ceil(x0))), min(width - 1, int(np.floor(x1))) + 1):
                qx, qy = px - ax, py - ay
                b1 = (qx * vy - qy * vx) / area
                b2 = (ux * qy - uy * qx) / area
                if b1 < slack or b2 < slack or b1 + b2 > 1.0 - slack:
                    continue
                w0, w1, w2 = (1.0 - b1 - b2) * w[k, 0], b1 * w[k, 1], b2 * w[k, 2]
                depth = w0 + w1 + w2
                at = py * width + px
                if depth > nearest[at]:
                    nearest[at], face[at] = depth, k
                    weights[at, 0], weights[at, 1], weights[at, 2] = w0 / depth, w1 / depth, w2 / depth
