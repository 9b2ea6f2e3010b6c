"""Patterns by hand: a sketch on the screen, plain words, and the outline of a photo corrected by finger."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from axlewright.contact import measure_mask
from axlewright.contact.rolling import check_flank
from axlewright.errors import InputError
from axlewright.pattern.areas import check_polygon, combine, fill_polygon
from axlewright.pattern.readings import PatternReading, PhotoReading
from axlewright.pattern.unroll import COLS, ROWS

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Spreads of hand-made readings: our estimate of how people draw and speak, no source.
SKETCH_SD = (0.07, 0.12)
SKETCH_LENGTH_SD = 0.08
SPOKEN_SD = (0.15, 0.20)
UNSPOKEN_SD = (0.35, 0.35)
CORRECTED_SD = (0.012, 0.025)

_HOW_FAR = {"slightly": 0.18, "a little": 0.18, "somewhat": 0.25, "": 0.35, "very": 0.60, "far": 0.60}
_SIZES = {
    "a quarter": 0.25, "quarter": 0.25, "a third": 0.33, "third": 0.33, "half": 0.50, "two thirds": 0.67,
    "three quarters": 0.75, "most": 0.80, "full": 0.95, "whole": 0.95, "short": 0.30, "long": 0.80,
}  # fmt: skip
_SILENT = {
    "about", "of", "the", "tooth", "length", "flank", "pattern", "contact", "mark", "marked", "and", "in",
    "is", "on", "it", "at", "to", "with", "side", "drive", "coast", "profile", "lengthwise", "a", "bit",
    "lies", "end", "roughly", "edge", "long",
}  # fmt: skip


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
        raise InputError("the drawn area is too small", where="sketch", fix="draw around the whole mark")
    return PatternReading(
        pattern=measure_mask(mask, name),
        center_sd=SKETCH_SD,
        length_sd=SKETCH_LENGTH_SD,
        source="sketch",
        quality=("Drawn by hand: good for the direction of a change, not for its last thousandth.",),
    )


def pattern_from_words(text: str, flank: str) -> PatternReading:
    """Take plain words for the pattern.

    Parameters
    ----------
    text : str
        For example ``"high, toward heel, about half"`` or ``"slightly low, centred lengthwise, 40 %"``.
        Profile words: high, low, top, root; lengthwise words: heel, toe; "very", "slightly"; "centred" for
        what has no other word; length as a share, per cent or "short" and "long".
    flank : {"drive", "coast"}

    Returns
    -------
    PatternReading
        With a wide uncertainty, wider still in a direction of which nothing was said.

    Raises
    ------
    InputError
        For words that contradict each other or that are not known.
    """
    name = check_flank(flank)
    t = " " + re.sub(r"[,;.()\-–]+", " ", text.lower()) + " "
    t = t.replace("centered", "centred").replace("central", "centred").replace("middle", "centred")
    t = t.replace("towards", "toward").replace("whole tooth", "whole")
    if not t.strip():
        raise InputError("no words", where="pattern", fix='write for example "high, toward heel, about half"')
    length: float | None = None
    percent = re.search(r"(\d{1,3})\s*(%|per ?cent)", t)
    if percent:
        length = int(percent.group(1)) / 100.0
        t = t.replace(percent.group(0), " ")
    y, t = _direction(t, {"high": 1, "top": 1, "low": -1, "root": -1}, "profile")
    x, t = _direction(t, {"heel": 1, "toe": -1}, "lengthwise")
    for words in sorted(_SIZES, key=len, reverse=True):
        if length is None and re.search(rf"\b{words}\b", t):
            length = _SIZES[words]
            t = re.sub(rf"\b{words}\b", " ", t)
    if length is not None and not 0.05 <= length <= 1.0:
        raise InputError(
            f"a length of {length:.0%} of the tooth cannot be", where="pattern", fix="give 5 to 100 %"
        )
    centred = re.search(r"\bcentred\b", t) is not None
    t = re.sub(r"\bcentred\b", " ", t)
    rest = [w for w in t.split() if w not in _SILENT and w != "toward"]
    if rest:
        raise InputError(
            f"'{rest[0]}' is not understood",
            where="pattern",
            fix="use high, low, toward heel, toward toe, centred, slightly, very, and a length such as half",
        )
    if x is None and y is None and length is None and not centred:
        raise InputError("the words say nothing of the pattern", where="pattern", fix="say high or low first")
    said_x, said_y = x is not None or centred, y is not None or centred
    x, y = x or 0.0, y or 0.0
    size = 0.5 if length is None else length
    mask = _oval(x, y, size)
    notes = ["Told in words: good for the direction of a change, not for its amount."]
    if not said_y:
        notes.append("Nothing was said of high or low; that decides the depth.")
    if not said_x:
        notes.append("Nothing was said of toe or heel.")
    return PatternReading(
        pattern=measure_mask(mask, name),
        center_sd=(
            SPOKEN_SD[0] if said_x else UNSPOKEN_SD[0],
            SPOKEN_SD[1] if said_y else UNSPOKEN_SD[1],
        ),
        length_sd=0.12 if length is not None else 0.25,
        source="words",
        quality=tuple(notes),
    )


def _direction(text: str, words: dict[str, int], what: str) -> tuple[float | None, str]:
    how = "|".join(h for h in _HOW_FAR if h)
    pattern = re.compile(rf"\b(?:({how})\s+)?(?:(?:toward|at|to|the)\s+)*({'|'.join(words)})\b")
    found = list(pattern.finditer(text))
    values = {words[m.group(2)] * _HOW_FAR[m.group(1) or ""] for m in found}
    if any(v > 0 for v in values) and any(v < 0 for v in values):
        raise InputError(
            f"the words contradict each other in {what}", where="pattern", fix="say one direction only"
        )
    for m in found:
        text = text.replace(m.group(0), " ", 1)
    if not values:
        return None, text
    return max(values, key=abs), text


def _oval(x: float, y: float, length: float) -> Mask:
    """Return an oval whose centroid on the tooth lies near (x, y), pushed in from the edges as marks are."""
    half = length
    tall = 0.55
    X, Y = np.meshgrid(np.linspace(-1, 1, COLS), np.linspace(-1, 1, ROWS))
    cx, cy = x, y
    mask = np.zeros((ROWS, COLS), bool)
    for _ in range(12):
        mask = ((X - cx) / half) ** 2 + ((Y - cy) / tall) ** 2 < 1.0
        pattern = measure_mask(mask, "drive")
        # What lies beyond an edge is not there: move on until the visible centroid is right.
        cx = float(np.clip(cx + x - pattern.center[0], -1.0, 1.0))
        cy = float(np.clip(cy + y - pattern.center[1], -1.0, 1.0))
    return np.asarray(mask)


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
        Areas put in and taken out.
    mask : array-like of bool, shape (48, 96), optional
        Replaces the marked area, root row first, toe column first.

    Returns
    -------
    PhotoReading
        Measured anew; its uncertainty is that of a finger on the unrolled picture and of the camera.

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
                f"the mask has shape {given.shape}", where="mask", fix=f"give {ROWS} rows of {COLS} columns"
            )
        start = ndimage.zoom(given.astype(float), (rows / ROWS, cols / COLS), order=1)[:rows, :cols] > 0.5
    if outline is not None:
        start = fill_polygon(check_polygon(outline, "outline"), rows, cols)
    changed = combine(start, add, remove)
    pattern = measure_mask(changed[::2, ::2], reading.pattern.flank)
    if pattern.empty:
        raise InputError("nothing is left of the mark", where="correction", fix="draw around the mark")
    note = "The outline was corrected by hand."
    return replace(
        reading,
        pattern=pattern,
        level=changed.astype(float),
        center_sd=(
            float(np.hypot(CORRECTED_SD[0], reading.place_sd[0])),
            float(np.hypot(CORRECTED_SD[1], reading.place_sd[1])),
        ),
        quality=(*(q for q in reading.quality if not q.startswith("Another outline")), note),
    )
