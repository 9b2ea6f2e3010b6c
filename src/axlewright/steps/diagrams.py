"""Drawings of where each number sits on the axle, as SVG that takes the page's own colours."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final

from axlewright.language import Shown
from axlewright.language import eager as _
from axlewright.steps.drawn import box, dimension, drawing, line, shape, text
from axlewright.units import MM_PER_INCH, System

_AXIS_X: Final = 54.0
_BACK_X: Final = 262.0
_SHAFT_Y: Final = 118.0
SECTION_BOX: Final = "30 -8 462 334"
"""What is shown of the depth step's drawings: narrow, so that a phone shows all of it without pushing."""


def depth_diagram(place: str, values: Mapping[str, str]) -> str:
    """Draw pinion, bearing and shim with the letters of the depth step.

    Parameters
    ----------
    place : {"under_head", "behind_cup", "cage_flange"}
        Where the shim sits; anything else draws the first.
    values : mapping of letter to str
        What to write beside A, D, T, S, c and M; missing ones show the letter alone.
    """
    under, cage = place not in ("behind_cup", "cage_flange"), place == "cage_flange"
    spacer = 16.0
    bearing_left = _BACK_X + (spacer if under else 0.0)
    bearing_right = bearing_left + 62.0
    shoulder = bearing_right + (spacer if place == "behind_cup" else 0.0)
    y = _SHAFT_Y
    parts = [line(_AXIS_X, 4, _AXIS_X, 318, "d-axis"), line(34, y, 488, y, "d-axis")]
    parts.append(text(_AXIS_X + 6, 12, _("ring gear axis"), "d-text", "start"))
    # housing above and below the bearing, with the shoulder that carries the cup
    if cage:
        face = 430.0
        flange = face + spacer
        for way in (-1.0, 1.0):
            parts.append(box(bearing_left - 30, y + way * 66, face, y + way * 84, "d-house"))
            parts.append(
                shape(
                    (
                        (bearing_left, y + way * 50),
                        (bearing_left, y + way * 62),
                        (flange, y + way * 62),
                        (flange, y + way * 92),
                        (flange + 22, y + way * 92),
                        (flange + 22, y + way * 40),
                        (bearing_right, y + way * 40),
                        (bearing_right, y + way * 50),
                    ),
                    "d-cage",
                )
            )
            parts.append(box(face, y + way * 66, flange, y + way * 90, "d-shim"))
    else:
        for way in (-1.0, 1.0):
            parts.append(
                shape(
                    (
                        (bearing_left - 6, y + way * 50),
                        (shoulder, y + way * 50),
                        (shoulder, y + way * 34),
                        (shoulder + 110, y + way * 34),
                        (shoulder + 110, y + way * 80),
                        (bearing_left - 6, y + way * 80),
                    ),
                    "d-house",
                )
            )
    # pinion: head small toward the ring gear's axis, shaft to the right
    parts.append(shape(((150, y - 30), (_BACK_X, y - 48), (_BACK_X, y + 48), (150, y + 30)), "d-gear"))
    parts.append(box(_BACK_X, y - 18, 486, y + 18, "d-shaft"))
    for k in range(5):
        top = -30 + k * 15
        parts.append(
            f'<path class="d-thin" d="M156 {y + top:g}Q210 {y + top * 1.3 - 8:g} 256 {y + top * 1.55:g}"/>'
        )
    for way in (-1.0, 1.0):
        if under:
            parts.append(box(_BACK_X, y + way * 18, bearing_left, y + way * 36, "d-shim"))
        parts.append(
            shape(
                (
                    (bearing_left, y + way * 18),
                    (bearing_right - 4, y + way * 18),
                    (bearing_right - 4, y + way * 24),
                    (bearing_left, y + way * 36),
                ),
                "d-cone",
            )
        )
        parts.append(
            shape(
                (
                    (bearing_left + 10, y + way * 50),
                    (bearing_right, y + way * 50),
                    (bearing_right, y + way * 32),
                    (bearing_left + 10, y + way * 43),
                ),
                "d-cone",
            )
        )
        if place == "behind_cup":
            parts.append(box(bearing_right, y + way * 34, shoulder, y + way * 50, "d-shim"))
    parts.append(text(206, y + 5, _("pinion"), "d-onGear"))
    if values.get("M"):
        parts.append(text(206, y + 24, _("mark {mark}").format(mark=values["M"]), "d-onGear"))
    # One row for each dimension, so that no two values can meet however large the letters are.
    rows = [y + 106 + 30 * k for k in range(4)]
    parts.append(dimension(_AXIS_X, _BACK_X, rows[0], y + 50, "D", values.get("D", "")))
    if cage:
        parts.append(dimension(bearing_left, bearing_right, rows[1], y + 64, "T", values.get("T", "")))
        parts.append(dimension(bearing_right, flange, rows[2], y + 64, "c", values.get("c", "")))
        parts.append(dimension(face, flange, 12, y - 92, "S", values.get("S", ""), words="end"))
        parts.append(dimension(_AXIS_X, face, rows[3], y + 86, "A", values.get("A", "")))
    else:
        left = _BACK_X if under else bearing_right
        parts.append(dimension(left, left + spacer, rows[1], y + 52, "S", values.get("S", ""), words="end"))
        parts.append(dimension(bearing_left, bearing_right, rows[2], y + 52, "T", values.get("T", "")))
        parts.append(dimension(_AXIS_X, shoulder, rows[3], y + 52, "A", values.get("A", "")))
    words = "; ".join(f"{k} {v}" for k, v in values.items() if v) or _("no numbers yet")
    title = _("Section through the pinion: {words}.").format(words=words)
    return drawing(parts, title, box=SECTION_BOX, kind="diagram section")


def backlash_diagram(values_mm: Sequence[float], system: System) -> str:
    """Draw the readings at their places round the ring gear, the tightest one ringed and named."""
    cx, cy, radius = 320.0, 156.0, 92.0
    parts = [
        f'<circle class="d-gearline" cx="{cx:g}" cy="{cy:g}" r="{radius:g}"/>',
        f'<circle class="d-thin" cx="{cx:g}" cy="{cy:g}" r="{radius - 30:g}"/>',
    ]
    low = min(values_mm)
    tightest = list(values_mm).index(low)
    per, places = (MM_PER_INCH, 4) if system == "inch" else (1.0, 3)
    for index, value in enumerate(values_mm):
        angle = 2.0 * math.pi * index / len(values_mm) - math.pi / 2.0
        x, y = cx + radius * math.cos(angle), cy + radius * math.sin(angle)
        tx, ty = cx + (radius + 18) * math.cos(angle), cy + (radius + 20) * math.sin(angle) + 5
        if index == tightest:
            parts.append(f'<circle class="d-ring" cx="{x:.1f}" cy="{y:.1f}" r="11"/>')
        parts.append(f'<circle class="d-dot" cx="{x:.1f}" cy="{y:.1f}" r="5"/>')
        side = math.cos(angle)
        anchor = "middle" if abs(side) < 0.2 else ("start" if side > 0 else "end")
        word = f"{Shown(value / per):.{places}f}"
        if index == tightest:
            word = _("{value} tightest").format(value=word)
        parts.append(text(tx, ty, word, "d-value", anchor))
    parts.append(text(cx, cy + 5, "in" if system == "inch" else "mm", "d-text"))
    shown = ", ".join(f"{Shown(v / per):.{places}f}" for v in values_mm)
    title = _("Backlash round the ring gear: {shown} {unit}.").format(
        shown=shown, unit="in" if system == "inch" else "mm"
    )
    return drawing(parts, title, box="90 14 460 284", kind="diagram round")
