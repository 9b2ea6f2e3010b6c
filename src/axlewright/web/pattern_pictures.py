"""Outlines laid over the unrolled photo of a flank."""

from __future__ import annotations

from typing import Final
from xml.sax.saxutils import quoteattr

from axlewright.web.pictures import Mask

WIDE: Final = 96
HIGH: Final = 48


def edge_path(mask: Mask) -> str:
    """Return the edge of a marked area as an SVG path, one unit for each cell, top row first.

    Parameters
    ----------
    mask : rows of bool
        Root row first, toe column first.
    """
    rows = len(mask)
    parts = []
    for i in range(rows + 1):
        for j in range(len(mask[0])):
            below = i < rows and mask[i][j]
            above = i > 0 and mask[i - 1][j]
            if below != above:
                parts.append(f"M{j} {rows - i}h1")
    for i in range(rows):
        for j in range(len(mask[0]) + 1):
            right = j < len(mask[0]) and mask[i][j]
            left = j > 0 and mask[i][j - 1]
            if left != right:
                parts.append(f"M{j} {rows - i - 1}v1")
    return "".join(parts)


def outlines(*, measured: Mask | None, computed: Mask | None, label: str) -> str:
    """Draw measured (full line) and computed (dashed) outlines to lie over an unrolled photo."""
    lines = "".join(
        f'<path class="{name} under" d="{path}"/><path class="{name}" d="{path}"/>'
        for name, path in (
            ("o-measured", "" if measured is None else edge_path(measured)),
            ("o-computed", "" if computed is None else edge_path(computed)),
        )
        if path
    )
    return (
        f'<svg class="outlines" viewBox="0 0 {WIDE} {HIGH}" preserveAspectRatio="none" role="img" '
        f"aria-label={quoteattr(label)}>{lines}</svg>"
    )
