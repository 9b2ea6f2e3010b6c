"""Areas on the unrolled tooth given by hand: polygons in (lengthwise, profile)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from axlewright.errors import InputError
from axlewright.language import eager as _

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

ROOM = 1.25  # a finger may leave the tooth by a quarter of its half width; what lies outside is cut off


def check_polygon(polygon: ArrayLike, where: str, *, may_cross: bool = False) -> Array:
    """Return a polygon as an array, or say what is wrong with it.

    Parameters
    ----------
    polygon : array-like, shape (n, 2)
        (lengthwise, profile) points, −1 … +1 on the tooth.
    where : str
        For the message.
    may_cross : bool
        True for a stroke that is drawn fast, over and over a place: it may cross itself.

    Raises
    ------
    InputError
        Fewer than three points, no numbers, far off the tooth, or lines that cross.
    """
    try:
        p = np.asarray(polygon, dtype=float)
    except (TypeError, ValueError):
        raise InputError(_("the points are no numbers"), where=where, fix=_("give (x, y) pairs")) from None
    if p.ndim != 2 or p.shape[1] != 2 or len(p) < 3:
        raise InputError(_("an area needs at least three points"), where=where, fix=_("draw around the mark"))
    if len(p) > 5000:
        raise InputError(
            _("{count} points are too many").format(count=len(p)),
            where=where,
            fix=_("draw with fewer points"),
        )
    if not np.all(np.isfinite(p)) or np.abs(p).max() > 5.0:
        raise InputError(
            _("a point lies far off the tooth"), where=where, fix=_("toe −1 … heel +1, root −1 … top +1")
        )
    if not may_cross and len(p) <= 400 and _crosses_itself(p):
        raise InputError(_("the drawn line crosses itself"), where=where, fix=_("draw once around the mark"))
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
    """Return the nodes that a line goes around, shape (rows, cols), root row first.

    Where it goes around more than once, or crosses itself, the place counts all the same (winding not zero).
    """
    x, y = np.meshgrid(np.linspace(-1, 1, cols), np.linspace(-1, 1, rows))
    turns = np.zeros((rows, cols), np.intp)
    for (x0, y0), (x1, y1) in zip(polygon, np.roll(polygon, -1, 0), strict=True):
        if y0 == y1:
            continue
        between = (y0 > y) != (y1 > y)
        right = x < (x1 - x0) * (y - y0) / (y1 - y0) + x0
        turns += np.where(between & right, 1 if y1 > y0 else -1, 0)
    return np.asarray(turns != 0)


def combine(start: Mask, add: Sequence[ArrayLike], remove: Sequence[ArrayLike]) -> Mask:
    """Return a mask with areas added and then removed.

    A finger's line may cross itself; all that it goes around counts.
    """
    out = start.copy()
    for polygon in add:
        out |= _gone_around(polygon, "add", *out.shape)
    for polygon in remove:
        out &= ~_gone_around(polygon, "remove", *out.shape)
    return out


def _gone_around(polygon: ArrayLike, where: str, rows: int, cols: int) -> Mask:
    p = check_polygon(polygon, where, may_cross=True)
    area = fill_polygon(p, rows, cols)
    # A figure of eight can still leave a hole that no turn of the line goes around.
    return np.asarray(ndimage.binary_fill_holes(np.pad(area, 1))[1:-1, 1:-1])
