"""Drawings of where each number sits on the axle, as SVG that takes the page's own colours.

What they look like stands in the templates beside this file; here are the places of what is computed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final

from axlewright.drawing import Place, drawn, path
from axlewright.language import Number, Text, _, joined
from axlewright.units import MM_PER_INCH, System

PLACES: Final = ("under_head", "behind_cup", "cage_flange")
MEASURED: Final = ("centred", "resting", "parting", "over_case")
SIDES: Final = ("cups", "cones", "adjusters")


def _shown(values: Mapping[str, str]) -> Text:
    return joined(*(f"{k} {v}" for k, v in values.items() if v), between="; ") or _("no numbers yet")


def depth_diagram(place: str, values: Mapping[str, str]) -> str:
    """Draw pinion, bearing and shim with the letters of the depth step.

    Parameters
    ----------
    place : {"under_head", "behind_cup", "cage_flange"}
        Where the shim sits; anything else draws the first.
    values : mapping of letter to str
        What to write beside A, D, T, S, c and M; missing ones show the letter alone.
    """
    place = place if place in PLACES else PLACES[0]
    return drawn("steps/depth", place=place, values=values, shown=_shown(values))


def gauge_diagram(method: str, values: Mapping[str, str], *, rests: str = "") -> str:
    """Draw how the carrier is measured; empty for the ways that need no drawing of their own.

    Parameters
    ----------
    method : str
        Key of the field ``method``.
    values : mapping of letter to str
        What to write beside the letters.
    rests : {"toward_pinion", "away_from_pinion", ""}
        On which side of the bore a thinner arbor lies; the first where it is not known yet.
    """
    if method not in MEASURED:
        return ""
    return drawn("steps/carrier", method=method, rests=rests, values=values, shown=_shown(values))


def sides_diagram(sides: str, values: Mapping[str, str]) -> str:
    """Draw the differential between its side bearings.

    Parameters
    ----------
    sides : {"cups", "cones", "adjusters"}
        Shims outboard of the cups, shims behind the cones, or threaded adjusters; anything else draws the
        first.
    values : mapping of letter to str
        What to write beside R (ring gear side) and O (other side).
    """
    sides = sides if sides in SIDES else SIDES[0]
    return drawn("steps/side_bearings", sides=sides, values=values, shown=_shown(values))


def backlash_diagram(values_mm: Sequence[float], system: System) -> str:
    """Draw the readings at their places round the ring gear, the tightest one ringed and named."""
    radius = 92.0
    per, spec = (MM_PER_INCH, ".4f") if system == "inch" else (1.0, ".3f")
    values = [Number(value / per, spec) for value in values_mm]
    tightest = list(values_mm).index(min(values_mm))
    spots = []
    for index, value in enumerate(values):
        angle = 2.0 * math.pi * index / len(values) - math.pi / 2.0
        across, down = math.cos(angle), math.sin(angle)
        spots.append(
            {
                "x": radius * across,
                "y": radius * down,
                "words_x": (radius + 18.0) * across,
                "words_y": (radius + 20.0) * down + 5.0,
                "anchor": "middle" if abs(across) < 0.2 else "start" if across > 0.0 else "end",
                "value": value,
                "tightest": index == tightest,
            }
        )
    shown = joined(*values, between=", ")
    unit = "in" if system == "inch" else "mm"
    return drawn("steps/backlash", radius=radius, spots=spots, shown=shown, unit=unit)


def sleeve_diagram(
    steps: Sequence[tuple[float, float]],
    low: float,
    high: float,
    stop: float,
    following: tuple[float, float] | None,
    unit: str,
) -> str:
    """Draw running torque over the nut's turn toward a crushed sleeve, with the band and the stop line.

    Parameters
    ----------
    steps : sequence of (degrees, torque)
        What was read, in the order of the nut's turn; at least one.
    low, high, stop : float
        Edges of the band and the torque not to be passed, in `unit`.
    following : (degrees, torque) or None
        Where the next step is expected to end.
    unit : str
        Unit of all torques here.
    """
    points = [*steps, *([following] if following is not None else [])]
    left, right, top, bottom = 44.0, 352.0, 24.0, 190.0
    first = min(0.0, *(deg for deg, _torque in points))
    last = max(10.0, *(deg for deg, _torque in points)) * 1.05
    most = 1.15 * max(high, *(torque for _deg, torque in points))

    def at(deg: float, torque: float) -> Place:
        across = (deg - first) / (last - first) * (right - left)
        return left + across, bottom - torque / most * (bottom - top)

    each = (
        joined(joined(Number(deg, "g"), "°", between=""), Number(torque, ".3g"), unit)
        for deg, torque in steps
    )
    return drawn(
        "steps/sleeve",
        steps=[(*at(*one), *one) for one in steps],
        way=path([at(*one) for one in steps]),
        next=None if following is None else at(*following),
        low=low,
        high=high,
        stop=stop,
        low_y=at(first, low)[1],
        high_y=at(first, high)[1],
        stop_y=at(first, stop)[1],
        left=left,
        right=right,
        top=top,
        bottom=bottom,
        unit=unit,
        shown=joined(*each, between=", "),
    )
