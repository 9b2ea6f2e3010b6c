"""Drawings of the pages that the sheet does not have: teeth with their own names, outlines, curves, bars."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import Any, Final

from axlewright.drawing import Place, drawn, path
from axlewright.language import Number, Text

_COUNTER: Final = itertools.count(1)
SMOOTHED: Final = 3
"""How often neighbouring points of an edge are averaged: takes the steps of the cells away."""

Mask = tuple[tuple[bool, ...], ...]


def rows(mask: Any) -> Mask:
    """Return an array of bool as rows."""
    return tuple(map(tuple, mask.tolist()))


def tooth(
    *,
    measured: Mask | None = None,
    computed: Mask | None = None,
    ghost: Mask | None = None,
    tapered: bool = True,
    label: str,
) -> str:
    """Draw an unrolled tooth, several of which may stand on one page.

    Parameters
    ----------
    label : str
        What the picture shows, for readers who do not see it.
    """
    from axlewright.sheets import tooth_svg

    return tooth_svg(
        measured=measured,
        computed=computed,
        ghost=ghost,
        tapered=tapered,
        label=label,
        name=f"t{next(_COUNTER)}m",
    )


def curve(values: Sequence[float], *, label: Text, unit: str = "µrad") -> str:
    """Draw one pitch of a motion error curve, twice over, with its zero line and its size.

    Parameters
    ----------
    values : sequence of float
        Over one pitch, forward in time.
    """
    left, wide, top, high = 52.0, 360.0, 12.0, 120.0
    shown = [*values, *values]
    reach = max(1e-9, max(abs(v) for v in shown)) * 1.1
    points = [
        (left + wide * i / (len(shown) - 1), top + high / 2 * (1 - v / reach)) for i, v in enumerate(shown)
    ]
    return drawn(
        "web/curve",
        label=label,
        unit=unit,
        left=left,
        right=left + wide,
        middle=left + wide / 2,
        top=top,
        zero=top + high / 2,
        bottom=top + high,
        line=path(points),
        reach=reach,
        size=max(values) - min(values),
    )


def bars(values: Sequence[float], *, label: Text, largest: float) -> str:
    """Draw the amplitudes of the mesh harmonics.

    Parameters
    ----------
    largest : float
        Amplitude at full height, so that two pictures can be compared.
    """
    high = 104.0
    return drawn(
        "web/bars",
        label=label,
        bars=[(Number(v, ".1f"), high * min(1.0, v / max(largest, 1e-9))) for v in values],
        bottom=20.0 + high,
    )


def outlines(*, measured: Mask | None, computed: Mask | None, label: Text) -> str:
    """Draw measured (full line) and computed (dashed) outlines to lie over an unrolled photo."""
    return drawn(
        "web/outlines",
        label=label,
        lines=[
            (kind, edge_path(mask))
            for kind, mask in (("o-measured", measured), ("o-computed", computed))
            if mask is not None and any(map(any, mask))
        ],
    )


def edge_path(mask: Mask) -> str:
    """Return the edge of a marked area as an SVG path, its steps smoothed."""
    parts = []
    for points in edge_loops(mask):
        for _round in range(SMOOTHED):
            points = [
                ((a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0)
                for a, b in zip(points, [*points[1:], points[0]], strict=True)
            ]
        parts.append(path(points, close=True))
    return "".join(parts)


def edge_loops(mask: Mask) -> list[list[Place]]:
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
