"""The four taps: read, checked, snapped to the edges of the tooth, or guessed."""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import NDArray

from axlewright.errors import PhotoError
from axlewright.gearset import FlankName, GearSetDesign
from axlewright.language import eager as _
from axlewright.pattern.camera import CORNER_NAMES, winding

Array = NDArray[np.float64]

ORDER = "toe-top, heel-top, heel-root, toe-root"
SMALLEST_LENGTH_PX = 120.0  # of the tooth in the picture; below it the pattern has too few pixels
SMALLEST_HEIGHT_PX = 24.0


def parse_corners(text: str) -> Array:
    """Read four taps.

    Parameters
    ----------
    text : str
        ``"x,y x,y x,y x,y"`` in pixels of the upright picture, toe-top, heel-top, heel-root, toe-root.

    Returns
    -------
    array, shape (4, 2)

    Raises
    ------
    PhotoError
        When there are not four pairs of numbers.
    """
    pairs = [p for p in re.split(r"[\s;]+", text.strip()) if p]
    values = []
    for pair in pairs:
        parts = pair.split(",")
        try:
            x, y = (float(v) for v in parts)
        except ValueError:
            raise PhotoError(
                _("'{pair}' is not a place in the picture").format(pair=pair),
                where=_("corners"),
                fix=_("write four pairs like 310,220 in the order {order}").format(order=ORDER),
            ) from None
        values.append((x, y))
    if len(values) != 4:
        raise PhotoError(
            _("{count} corners are given where four are needed").format(count=len(values)),
            where=_("corners"),
            fix=_("tap {order}").format(order=ORDER),
        )
    return np.array(values, dtype=float)


def _crosses(a: Array, b: Array, c: Array, d: Array) -> bool:
    def side(p: Array, q: Array, r: Array) -> float:
        return float((q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]))

    return side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0


def check_corners(corners: Array, size: tuple[int, int], design: GearSetDesign, flank: FlankName) -> Array:
    """Check four taps against the picture and against how the named flank must look.

    Parameters
    ----------
    corners : array-like, shape (4, 2)
        Toe-top, heel-top, heel-root, toe-root [px].
    size : (int, int)
        Width and height of the picture [px].
    design : GearSetDesign
    flank : {"drive", "coast"}

    Returns
    -------
    array, shape (4, 2)

    Raises
    ------
    PhotoError
        Off the picture, crossing, too small, not convex, or in the order of a mirrored tooth.
    """
    c = np.asarray(corners, dtype=float)
    if c.shape != (4, 2) or not np.all(np.isfinite(c)):
        raise PhotoError(
            _("four corners are needed"), where=_("corners"), fix=_("tap {order}").format(order=ORDER)
        )
    width, height = size
    for name, (x, y) in zip(CORNER_NAMES, c, strict=True):
        if not (-0.5 <= x <= width - 0.5 and -0.5 <= y <= height - 0.5):
            raise PhotoError(
                _(
                    "the {name} corner ({x}, {y}) lies outside the picture of {width} × {height} pixels"
                ).format(name=name, x=f"{x:.0f}", y=f"{y:.0f}", width=width, height=height),
                where=_("corners"),
                fix=_("tap inside the picture, or take one that shows the whole tooth"),
            )
    if _crosses(c[0], c[1], c[2], c[3]) or _crosses(c[1], c[2], c[3], c[0]):
        raise PhotoError(
            _("the corners cross"),
            where=_("corners"),
            fix=_("tap them in the order {order}").format(order=ORDER),
        )
    length = 0.5 * (np.linalg.norm(c[1] - c[0]) + np.linalg.norm(c[2] - c[3]))
    tall = 0.5 * (np.linalg.norm(c[3] - c[0]) + np.linalg.norm(c[2] - c[1]))
    if length < SMALLEST_LENGTH_PX or tall < SMALLEST_HEIGHT_PX:
        raise PhotoError(
            _("the tooth is only {length} × {tall} pixels in the picture").format(
                length=f"{length:.0f}", tall=f"{tall:.0f}"
            ),
            where=_("corners"),
            fix=_("go nearer, so that one tooth fills half of the picture's width"),
        )
    following, before = np.roll(c, -1, 0) - c, c - np.roll(c, 1, 0)
    turn = before[:, 0] * following[:, 1] - before[:, 1] * following[:, 0]
    if not (np.all(turn > 0) or np.all(turn < 0)):
        raise PhotoError(
            _("the corners do not go around a tooth"),
            where=_("corners"),
            fix=_("tap them in the order {order}").format(order=ORDER),
        )
    if (1 if turn[0] > 0 else -1) != winding(design, flank):
        other = _("coast") if flank == "drive" else _("drive")
        raise PhotoError(
            _("seen from outside, a {flank} flank of {name} has its corners the other way round").format(
                flank=flank, name=design.name
            ),
            where=_("corners"),
            fix=_(
                "check toe against heel, whether this is the {other} flank, and that no photo is mirrored"
            ).format(other=other),
        )
    if tall > 1.1 * length:
        raise PhotoError(
            _("the tooth would be taller ({tall} px) than long ({length} px)").format(
                tall=f"{tall:.0f}", length=f"{length:.0f}"
            ),
            where=_("corners"),
            fix=_("tap them in the order {order}").format(order=ORDER),
        )
    return c
