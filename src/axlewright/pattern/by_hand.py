"""Patterns by hand: a sketch on the screen, and the outline of a photo corrected by finger."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from axlewright.contact import measure_mask
from axlewright.contact.rolling import check_flank
from axlewright.errors import InputError
from axlewright.language import _
from axlewright.pattern.readings import PatternReading, PhotoReading
from axlewright.pattern.unroll import COLS, ROWS

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


# Spreads of hand-made readings: our estimate of how people draw and speak, no source.
SKETCH_SD = (0.07, 0.12)
SKETCH_LENGTH_SD = SKETCH_HEIGHT_SD = 0.08
SKETCH_AREA_SD, SKETCH_SLANT_SD_DEG = 0.06, 15.0
CORRECTED_SD = (0.012, 0.025)
CORRECTED_LENGTH_SD = CORRECTED_HEIGHT_SD = 0.03
CORRECTED_AREA_SD, CORRECTED_SLANT_SD_DEG = 0.02, 4.0


def pattern_from_sketch(polygon: ArrayLike, flank: str) -> PatternReading:
    """Take a drawn outline for the pattern.

    Parameters
    ----------
    polygon : array-like, shape (n, 2)
        (lengthwise, profile): toe −1 … heel +1, root −1 … top +1.
    flank : {"drive", "coast"}

    Returns
    -------
    PatternReading
        With the wide uncertainty of a drawing.

    Raises
    ------
    InputError
        For a line that crosses itself, lies off the tooth or holds next to nothing.
    """
    name = check_flank(flank)
    p = check_polygon(polygon, "sketch")
    mask = fill_polygon(p, ROWS, COLS)
    if mask.sum() < 12:
        raise InputError(
            _("the drawn area is too small"), where=_("sketch"), fix=_("draw around the whole mark")
        )
    return PatternReading(
        pattern=measure_mask(mask, name),
        center_sd=SKETCH_SD,
        length_sd=SKETCH_LENGTH_SD,
        height_sd=SKETCH_HEIGHT_SD,
        area_sd=SKETCH_AREA_SD,
        slant_sd_deg=SKETCH_SLANT_SD_DEG,
        source="sketch",
        quality=(_("Drawn by hand: good for the direction of a change, not for its last thousandth."),),
    )


def apply_correction(
    reading: PhotoReading,
    *,
    outline: ArrayLike | None = None,
    add: Sequence[ArrayLike] = (),
    remove: Sequence[ArrayLike] = (),
    mask: ArrayLike | None = None,
) -> PhotoReading:
    """Correct the outline found in a photo by hand.

    Parameters
    ----------
    reading : PhotoReading
    outline : array-like, shape (n, 2), optional
        Polygon in (lengthwise, profile) that replaces the outline.
    add, remove : sequence of polygons, optional
        Areas a finger went around, put in and then taken out. Their lines may cross themselves; an
        `outline` may not.
    mask : array-like of bool, shape (48, 96), optional
        Replaces the marked area, root row first, toe column first.

    Returns
    -------
    PhotoReading
        Measured anew; its uncertainty is that of a finger on the unrolled picture and of the camera. Doubts
        about the outline that the reader had are dropped, those about camera and edges are kept.

    Raises
    ------
    InputError
        For a bad polygon, a mask of another shape, or when nothing is left.
    """
    rows, cols = reading.level.shape
    start = reading.level >= 0.5
    if mask is not None:
        given = np.asarray(mask)
        if given.shape != (ROWS, COLS):
            raise InputError(
                _("the mask has shape {shape}").format(shape=str(given.shape)),
                where=_("mask"),
                fix=_("give {rows} rows of {columns} columns").format(rows=ROWS, columns=COLS),
            )
        start = ndimage.zoom(given.astype(float), (rows / ROWS, cols / COLS), order=1)[:rows, :cols] > 0.5
    if outline is not None:
        start = fill_polygon(check_polygon(outline, "outline"), rows, cols)
    changed = combine(start, add, remove)
    pattern = measure_mask(changed[::2, ::2], reading.pattern.flank)
    if pattern.empty:
        raise InputError(
            _("nothing is left of the mark"), where=_("correction"), fix=_("draw around the mark")
        )
    note = _("The outline was corrected by hand.")
    kept = tuple(q for q in reading.quality if q not in reading.outline_doubts and q != note)
    return replace(
        reading,
        pattern=pattern,
        level=changed.astype(float),
        center_sd=(
            float(np.hypot(CORRECTED_SD[0], reading.place_sd[0])),
            float(np.hypot(CORRECTED_SD[1], reading.place_sd[1])),
        ),
        length_sd=CORRECTED_LENGTH_SD,
        height_sd=CORRECTED_HEIGHT_SD,
        area_sd=CORRECTED_AREA_SD,
        slant_sd_deg=CORRECTED_SLANT_SD_DEG,
        alone_edges={},
        quality=(*kept, note),
        outline_doubts=(),
        other=None,
        other_chance=0.0,
    )
