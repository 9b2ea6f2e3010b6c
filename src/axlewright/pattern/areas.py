"""Areas on the unrolled tooth given by hand: polygons in (lengthwise, profile)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from axlewright.errors import InputError

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

ROOM = 1.25  # a finger may leave the tooth by a quarter of its half width; what lies outside is cut off


def check_polygon(polygon: ArrayLike, where: str) -> Array:
    """Return a polygon as an array, or say what is wrong with it.

    Parameters
    ----------
    polygon : array-like, shape (n, 2)
        (lengthwise, profile) points, −1 … +1 on the tooth.
    where : str
        For the message.

    Raises
    ------
    InputError
        Fewer than three points, no numbers, far off the tooth, or lines that cross.
    """
    try:
        p = np.asarray(polygon, dtype=float)
    except (TypeError, ValueError):
        raise InputError("the points are no numbers", where=where, fix="give (x, y) pairs") from None
    if p.ndim != 2 or p.shape[1] != 2 or len(p) < 3:
        raise InputError("an area needs at least three points", where=where, fix="draw around the mark")
    if len(p) > 5000:
        raise InputError(f"{len(p)} points are too many", where=where, fix="draw with fewer points")
    if not np.all(np.isfinite(p)) or np.abs(p).max() > 5.0:
        raise InputError(
            "a point lies far off the tooth", where=where, fix="toe −1 … heel +1, root −1 … top +1"
        )
    if len(p) <= 400 and _crosses_itself(p):
        raise InputError("the drawn line crosses itself", where=where, fix="draw once around the mark")
    return np.asarray(np.clip(p, -ROOM, ROOM))


def _crosses_itself(p: Array) -> bool:
    a, b = p, np.roll(p, -1, 0)
    d = b - a
    n = len(p)

    def side(k: int, q: Array) -> Array:
        return np.asarray(d[k, 0] * (q[:, 1] - a[k, 1]) - d[k, 1] * (q[:, 0] - a[k, 0]))

    for k in range(n - 2):
        others = np.arange(k + 2, n if k > 0 else n - 1)
        if len(others) == 0:
            continue
        s1, s2 = side(k, a[others]), side(k, b[others])
        e = d[others]
        t1 = e[:, 0] * (a[k, 1] - a[others, 1]) - e[:, 1] * (a[k, 0] - a[others, 0])
        t2 = e[:, 0] * (b[k, 1] - a[others, 1]) - e[:, 1] * (b[k, 0] - a[others, 0])
        if np.any((s1 * s2 < -1e-12) & (t1 * t2 < -1e-12)):
            return True
    return False


def fill_polygon(polygon: Array, rows: int, cols: int) -> Mask:
    """Return the nodes inside a polygon (even-odd rule), shape (rows, cols), root row first."""
    x, y = np.meshgrid(np.linspace(-1, 1, cols), np.linspace(-1, 1, rows))
    inside = np.zeros((rows, cols), bool)
    for (x0, y0), (x1, y1) in zip(polygon, np.roll(polygon, -1, 0), strict=True):
        if y0 == y1:
            continue
        between = (y0 > y) != (y1 > y)
        inside ^= between & (x < (x1 - x0) * (y - y0) / (y1 - y0) + x0)
    return inside


def combine(start: Mask, add: Sequence[ArrayLike], remove: Sequence[ArrayLike]) -> Mask:
    """Return a mask with polygons added and then removed."""
    out = start.copy()
    for polygon in add:
        out |= fill_polygon(check_polygon(polygon, "add"), *out.shape)
    for polygon in remove:
        out &= ~fill_polygon(check_polygon(polygon, "remove"), *out.shape)
    return out
