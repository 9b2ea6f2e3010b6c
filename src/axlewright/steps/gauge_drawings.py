"""Drawings of the ways in which pinion depth is measured, with the letters of the depth step's fields."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Final

from axlewright.language import eager as _
from axlewright.steps.diagrams import SECTION_BOX
from axlewright.steps.drawn import box, dimension, drawing, line, shape, text

_AXIS_X: Final = 150.0
_Y: Final = 118.0
_SHOULDER_X: Final = 432.0


def _circle(radius: float, x: float, kind: str, y: float = _Y) -> str:
    return f'<circle class="{kind}" cx="{x:g}" cy="{y:g}" r="{radius:g}"/>'


def _axis() -> list[str]:
    return [
        line(_AXIS_X, -2, _AXIS_X, 316, "d-axis"),
        line(34, _Y, 488, _Y, "d-axis"),
        text(_AXIS_X + 6, 7, _("ring gear axis"), "d-text", "start"),
    ]


def _shoulder() -> list[str]:
    return [
        box(_SHOULDER_X, _Y - 66, _SHOULDER_X + 46, _Y - 26, "d-house"),
        box(_SHOULDER_X, _Y + 26, _SHOULDER_X + 46, _Y + 66, "d-house"),
        text(_SHOULDER_X + 23, _Y - 72, _("shoulder"), "d-text"),
    ]


def _arbor(values: Mapping[str, str], rests: str) -> list[str]:
    resting = rests in ("toward_pinion", "away_from_pinion")
    bore, arbor = 84.0, 64.0 if resting else 84.0
    shift = (bore - arbor) * (1.0 if rests == "toward_pinion" else -1.0) if resting else 0.0
    centre = _AXIS_X + shift
    face = centre + arbor + 70.0
    parts = [*_axis(), *_shoulder(), _circle(bore, _AXIS_X, "d-thin"), _circle(arbor, centre, "d-gear")]
    parts.append(box(face, _Y - 20, _SHOULDER_X, _Y + 20, "d-cage"))
    parts.append(text((face + _SHOULDER_X) / 2, _Y + 5, _("gauge block"), "d-text"))
    parts.append(text(centre, _Y - 30, _("arbor"), "d-text"))
    low = _Y + 106
    parts.append(dimension(centre + arbor, face, low, _Y + 8, "G", values.get("G", "")))
    parts.append(dimension(face, _SHOULDER_X, low + 30, _Y + 22, "B", values.get("B", "")))
    parts.append(dimension(centre - arbor, centre + arbor, low + 30, _Y + 50, "d", values.get("d", "")))
    if resting:
        parts.append(dimension(_AXIS_X - bore, _AXIS_X + bore, low + 60, _Y + 50, "b", values.get("b", "")))
    else:
        parts.append(dimension(_AXIS_X, _SHOULDER_X, low + 62, _Y + 60, "A", values.get("A", "")))
    return parts


def _half(radius: float, way: float) -> str:
    """Return the half of the bore that lies in the casting (way 1) or in the cap (way −1)."""
    points = [
        (_AXIS_X + way * radius * math.sin(a), _Y - radius * math.cos(a))
        for a in (math.pi * k / 24 for k in range(25))
    ]
    edge = _AXIS_X + way * 112.0
    return shape(
        [*points, (_AXIS_X, _Y + 104), (edge, _Y + 104), (edge, _Y - 104), (_AXIS_X, _Y - 104)], "d-house"
    )


def _parting(values: Mapping[str, str], _rests: str) -> list[str]:
    radius = 76.0
    parts = [_half(radius, 1.0), _half(radius, -1.0), *_axis(), *_shoulder()]
    parts.append(text(_AXIS_X + 100, _Y - 84, _("casting"), "d-text"))
    parts.append(text(_AXIS_X - 98, _Y - 84, _("cap"), "d-text"))
    parts.append(line(_AXIS_X, _Y - 112, _AXIS_X, _Y + 112, "d-gearline"))
    parts.append(text(_AXIS_X - 8, _Y + 126, _("parting face"), "d-text", "end"))
    parts.append(
        dimension(_AXIS_X, _AXIS_X + radius, _Y - 12, _Y - 2, "R1", values.get("R1", ""), words="start")
    )
    parts.append(
        dimension(_AXIS_X - radius, _AXIS_X, _Y + 46, _Y + 2, "R2", values.get("R2", ""), words="start")
    )
    parts.append(dimension(_AXIS_X, _SHOULDER_X, _Y + 156, _Y + 66, "P", values.get("P", "")))
    return parts


def _over_case(values: Mapping[str, str], _rests: str) -> list[str]:
    radius, nose, back = 92.0, _AXIS_X + 92.0 + 56.0, _AXIS_X + 92.0 + 56.0 + 150.0
    parts = [_circle(radius, _AXIS_X, "d-gear"), *_axis()]
    parts.append(text(_AXIS_X, _Y - 40, _("differential case"), "d-text"))
    parts.append(shape(((nose, _Y - 34), (back, _Y - 56), (back, _Y + 56), (nose, _Y + 34)), "d-gear"))
    parts.append(box(back, _Y - 18, 486, _Y + 18, "d-shaft"))
    parts.append(text((nose + back) / 2, _Y + 5, _("pinion"), "d-onGear"))
    low = _Y + 106
    parts.append(dimension(_AXIS_X + radius, nose, low, _Y + 8, "G", values.get("G", "")))
    parts.append(dimension(nose, back, low + 32, _Y + 58, "H", values.get("H", "")))
    parts.append(dimension(_AXIS_X - radius, _AXIS_X + radius, low + 32, _Y + 60, "C", values.get("C", "")))
    parts.append(dimension(_AXIS_X, back, low + 66, _Y + 60, "D", values.get("D", "")))
    return parts


_DRAW: Final[Mapping[str, Callable[[Mapping[str, str], str], list[str]]]] = {
    "centred": _arbor,
    "resting": _arbor,
    "parting": _parting,
    "over_case": _over_case,
}


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
    draw = _DRAW.get(method)
    if draw is None:
        return ""
    side = (rests or "toward_pinion") if method == "resting" else ""
    words = "; ".join(f"{k} {v}" for k, v in values.items() if v) or _("no numbers yet")
    return drawing(
        draw(values, side),
        _("How it is measured: {words}.").format(words=words),
        box=SECTION_BOX,
        kind="diagram section",
    )
