"""An outline corrected by hand: strokes drawn on the unrolled tooth, or its four edges nudged."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from axlewright.errors import InputError
from axlewright.job.kept_masks import COLUMNS, mask_rows
from axlewright.language import eager as _
from axlewright.units import parse_number

if TYPE_CHECKING:
    from axlewright.pattern import PhotoReading

ROWS: Final = 48
"""Profile cells of every pattern in the house."""
EDGES: Final = ("toe", "heel", "root", "top")
LEAST_WIDTH: Final = 0.08
"""Narrower than this, in half widths of the flank, nothing is left of a mark (two cells)."""
FARTHEST: Final = 2.0
"""An edge cannot be nudged farther than across the whole flank."""


@dataclass(frozen=True, slots=True)
class Correction:
    """What a hand changed on the outline found in a photo.

    Attributes
    ----------
    mask : tuple of str
        The marked area as drawn, in kept lines (root row first); empty when nothing was drawn.
    toe, heel, root, top : float
        How far that edge of the mark is moved outward, in half widths of the flank; inward negative.
    """

    mask: tuple[str, ...] = ()
    toe: float = 0.0
    heel: float = 0.0
    root: float = 0.0
    top: float = 0.0

    @property
    def empty(self) -> bool:
        """Whether nothing was changed."""
        return not self.mask and not any((self.toe, self.heel, self.root, self.top))


def check_mask(text: str, where: str) -> tuple[str, ...]:
    """Read a drawn area: 48 lines of 24 hexadecimal digits, root row first.

    Raises
    ------
    InputError
    """
    lines = tuple(text.split())
    good = len(lines) == ROWS and all(
        len(line) == COLUMNS // 4 and all(c in "0123456789abcdef" for c in line) for line in lines
    )
    if not good:
        raise InputError(
            _("the drawn outline is damaged"), where=where, fix=_("load the page again and draw once more")
        )
    return lines


def nudged(mask: Any, *, toe: float = 0.0, heel: float = 0.0, root: float = 0.0, top: float = 0.0) -> Any:
    """Move the edges of a marked area; what lies between them is stretched evenly.

    Parameters
    ----------
    mask : array of bool, shape (rows, columns)
        Root row first, toe column first.
    toe, heel, root, top : float
        How far each edge is moved outward, in half widths of the flank; inward negative.

    Returns
    -------
    array of bool, shape (rows, columns)

    Raises
    ------
    InputError
        When an edge is moved past the other one.
    """
    import numpy as np

    places = []
    for axis, low, high in ((0, root, top), (1, toe, heel)):
        cells = mask.shape[axis]
        used = np.flatnonzero(mask.any(axis=1 - axis))
        if not len(used):
            raise InputError(_("nothing is marked"), where=_("outline"), fix=_("draw around the mark"))
        # Edges of cells in −1 … +1.
        a, b = 2.0 * used[0] / cells - 1.0, 2.0 * (used[-1] + 1) / cells - 1.0
        new_a, new_b = max(-1.0, a - low), min(1.0, b + high)
        if new_b - new_a < LEAST_WIDTH:
            raise InputError(
                _("the edges of the mark would cross"), where=_("outline"), fix=_("nudge them in less")
            )
        at = (2.0 * np.arange(cells) + 1.0) / cells - 1.0
        source = a + (at - new_a) * (b - a) / (new_b - new_a)
        index = np.floor((source + 1.0) * cells / 2.0).astype(int)
        index = np.where((at > new_a) & (at < new_b), np.clip(index, used[0], used[-1]), -1)
        places.append(index)
    rows, columns = places
    out = mask[np.ix_(np.maximum(rows, 0), np.maximum(columns, 0))]
    return out & (rows >= 0)[:, None] & (columns >= 0)[None, :]


def corrected(reading: PhotoReading, correction: Correction) -> PhotoReading:
    """Return the reading of a photo with its outline corrected.

    Raises
    ------
    InputError
        When nothing is left of the mark.
    """
    import numpy as np

    from axlewright.pattern import apply_correction

    if correction.empty:
        return reading
    mask = np.array(mask_rows(correction.mask), dtype=bool) if correction.mask else reading.pattern.mask
    edges = {name: float(getattr(correction, name)) for name in EDGES}
    if any(edges.values()):
        mask = nudged(mask, **edges)
    return apply_correction(reading, mask=mask)


def edges_of(texts: Sequence[str], where: str) -> tuple[float, float, float, float]:
    """Read how far toe, heel, root and top edge are nudged, in hundredths of the half width.

    Raises
    ------
    InputError
    """
    out = []
    for name, text in zip(EDGES, texts, strict=True):
        try:
            value = parse_number(text or "0") / 100.0
        except InputError:
            value = math.nan
        if not abs(value) <= FARTHEST:
            raise InputError(
                _("'{text}' is no nudge of the {edge} edge").format(text=text, edge=name),
                where=where,
                fix=_("give a number such as 5 or −5"),
            )
        out.append(value)
    return out[0], out[1], out[2], out[3]
