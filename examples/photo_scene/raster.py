"""Which triangle each pixel sees, in plain NumPy."""

from __future__ import annotations

import numpy as np


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
    count = width * height
    nearest = np.zeros(count, np.float32)
    face = np.full(count, -1, np.int32)
    weights = np.zeros((count, 3), np.float32)
    tri = screen[faces]
    w = inverse_depth[faces]
    low = np.maximum(np.ceil(tri.min(1)), 0).astype(np.int64)
    high = np.minimum(np.floor(tri.max(1)), [width - 1, height - 1]).astype(np.int64)
    span = (high - low + 1).max(1)
    d1, d2 = tri[:, 1] - tri[:, 0], tri[:, 2] - tri[:, 0]
    area = d1[:, 0] * d2[:, 1] - d1[:, 1] * d2[:, 0]
    ok = (high >= low).all(1) & (np.abs(area) > 1e-9) & (w > 0).all(1)
    for power in range(12):
        size = 2**power
        chosen = np.flatnonzero(ok & (span <= size) & (span > size // 2))
        oy, ox = np.divmod(np.arange(size * size), size)
        step = max(1, 2_000_000 // (size * size))
        for start in range(0, len(chosen), step):
            ids = chosen[start : start + step]
            px, py = low[ids, 0, None] + ox, low[ids, 1, None] + oy
            keep = (px <= high[ids, 0, None]) & (py <= high[ids, 1, None])
            qx, qy = px - tri[ids, 0, 0, None], py - tri[ids, 0, 1, None]
            inverse = 1.0 / area[ids, None]
            b1 = (qx * d2[ids, 1, None] - qy * d2[ids, 0, None]) * inverse
            b2 = (d1[ids, 0, None] * qy - d1[ids, 1, None] * qx) * inverse
            slack = -1e-6
            keep &= (b1 >= slack) & (b2 >= slack) & (b1 + b2 <= 1.0 - slack)
            row, col = np.nonzero(keep)
            if len(row) == 0:
                continue
            f = ids[row]
            p1, p2 = b1[row, col], b2[row, col]
            w0, w1, w2 = (1 - p1 - p2) * w[f, 0], p1 * w[f, 1], p2 * w[f, 2]
            depth = w0 + w1 + w2
            pixel = py[row, col] * width + px[row, col]
            better = depth > nearest[pixel]
            pixel, depth, f = pixel[better], depth[better], f[better]
            share = np.stack([w0, w1, w2], -1)[better] / depth[:, None]
            order = np.argsort(depth, kind="stable")
            pixel = pixel[order]
            nearest[pixel] = depth[order]
            face[pixel] = f[order]
            weights[pixel] = share[order]
    return face, weights, nearest
