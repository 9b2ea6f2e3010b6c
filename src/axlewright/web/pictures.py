"""Drawings of the pages that the sheet does not have: teeth with their own ids, curves, bars."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import Any, Final
from xml.sax.saxutils import escape, quoteattr

from axlewright.language import Shown
from axlewright.language import eager as _

_COUNTER: Final = itertools.count(1)
Mask = tuple[tuple[bool, ...], ...]


def tooth(
    *,
    measured: Mask | None = None,
    computed: Mask | None = None,
    ghost: Mask | None = None,
    tapered: bool = True,
    label: str,
) -> str:
    """Draw an unrolled tooth with ids of its own, so that several stand on one page.

    Parameters
    ----------
    label : str
        What the picture shows, for readers who do not see it.
    """
    from axlewright.sheets import tooth_svg

    svg = tooth_svg(measured=measured, computed=computed, ghost=ghost, tapered=tapered)
    own = f"t{next(_COUNTER)}"
    svg = svg.replace('id="m"', f'id="{own}m"').replace("url(#m)", f"url(#{own}m)")
    return svg.replace("<svg ", f'<svg role="img" aria-label={quoteattr(label)} ', 1)


def rows(mask: Any) -> Mask:
    """Return an array of bool as rows."""
    return tuple(map(tuple, mask.tolist()))


def curve(values: Sequence[float], *, label: str, unit: str = "µrad") -> str:
    """Draw one pitch of a motion error curve, twice over, with its zero line and its size.

    Parameters
    ----------
    values : sequence of float
        Over one pitch, forward in time.
    """
    wide, high, left, top = 360.0, 120.0, 52.0, 12.0
    shown = [*values, *values]
    reach = max(1e-9, max(abs(v) for v in shown)) * 1.1
    points = [
        (left + wide * i / (len(shown) - 1), top + high / 2 * (1 - v / reach)) for i, v in enumerate(shown)
    ]
    path = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    middle = left + wide / 2
    pp = max(values) - min(values)
    return (
        f'<svg class="plot" viewBox="0 0 430 160" role="img" aria-label={quoteattr(label)}>'
        f'<path class="p-grid" d="M{left} {top + high / 2}H{left + wide}M{middle} {top}V{top + high}'
        f'M{left} {top}V{top + high}"/>'
        f'<path class="p-line" d="{path}"/>'
        f'<text x="{left - 6}" y="{top + 10}" text-anchor="end">{reach:+.0f}</text>'
        f'<text x="{left - 6}" y="{top + high}" text-anchor="end">−{reach:.0f}</text>'
        f'<text x="{left - 6}" y="{top + high / 2 + 4}" text-anchor="end">{unit}</text>'
        f'<text x="{left + wide / 2}" y="{top + high + 22}" text-anchor="middle">'
        + escape(_("two pitches; peak to peak {size}").format(size=f"{Shown(pp):.1f} {unit}"))
        + "</text></svg>"
    )


def bars(values: Sequence[float], *, label: str, largest: float) -> str:
    """Draw the amplitudes of the mesh harmonics.

    Parameters
    ----------
    largest : float
        Amplitude at full height, so that two pictures can be compared.
    """
    high, left, top, step = 104.0, 52.0, 20.0, 60.0
    out = []
    for i, value in enumerate(values):
        tall = high * min(1.0, value / max(largest, 1e-9))
        x = left + i * step
        out.append(
            f'<path class="p-bar" d="M{x:.1f} {top + high:.1f}v{-tall:.1f}h38v{tall:.1f}z"/>'
            f'<text x="{x + 19:.1f}" y="{top + high - tall - 5:.1f}" text-anchor="middle">'
            f"{Shown(value):.1f}</text>"
            f'<text x="{x + 19:.1f}" y="{top + high + 18:.1f}" text-anchor="middle">{i + 1}×</text>'
        )
    return (
        f'<svg class="plot" viewBox="0 0 430 160" role="img" aria-label={quoteattr(label)}>'
        f'<path class="p-grid" d="M{left - 6} {top + high}H{left + 360}"/>' + "".join(out) + "</svg>"
    )
