"""Outlines laid over the unrolled photo of a flank."""

from __future__ import annotations

from typing import Final
from xml.sax.saxutils import quoteattr

from axlewright.web.pictures import Mask

WIDE: Final = 96
HIGH: Final = 48
SMOOTHED: Final = 3
"""How often neighbouring points of an edge are averaged: takes the steps of the cells away."""


def edge_loops(mask: Mask) -> list[list[tuple[float, float]]]:
    """Return the edges of a marked area as closed lines, one unit for each cell, top row first.

    Parameters
    ----------
    mask : rows of bool
        Root row first, toe column first.
    """
    rows, columns = len(mask), len(mask[0])

    def marked(i: int, j: int) -> bool:
        return 0 <= i < rows and 0 <= j < columns and mask[i][j]

    # Each side of a cell toward an unmarked one, run so that the mark lies on one and the same hand.
    following: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for i in range(rows):
        for j in range(columns):
            if not mask[i][j]:
                continue
            y = rows - 1 - i
            sides = (
                (marked(i + 1, j), (j, y), (j + 1, y)),
                (marked(i, j + 1), (j + 1, y), (j + 1, y + 1)),
                (marked(i - 1, j), (j + 1, y + 1), (j, y + 1)),
                (marked(i, j - 1), (j, y + 1), (j, y)),
            )
            for inner, start, end in sides:
                if not inner:
                    following.setdefault(start, []).append(end)
    loops = []
    while following:
        start = next(iter(following))
        loop, at = [start], start
        while True:
            ends = following[at]
            to = ends.pop()
            if not ends:
                del following[at]
            if to == start:
                break
            loop.append(to)
            at = to
        loops.append([(float(x), float(y)) for x, y in loop])
    return loops


def edge_path(mask: Mask) -> str:
    """Return the edge of a marked area as an SVG path, its steps smoothed."""
    parts = []
    for loop in edge_loops(mask):
        points = loop
        for _round in range(SMOOTHED):
            points = [
                ((a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0)
                for a, b in zip(points, [*points[1:], points[0]], strict=True)
            ]
        parts.append("M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in points) + "Z")
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
