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
from axlewright.language import eager as _
from axlewright.pattern.areas import check_polygon, combine, fill_polygon
from axlewright.pattern.readings import PatternReading, PhotoReading
from axlewright.pattern.unroll import COLS, ROWS

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

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
                _("the mask has shape {shape}").format(shape=given.shape),
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
