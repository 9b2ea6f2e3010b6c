"""Drawings of the side bearings with shims or adjusters, and of the way to a crushed sleeve's preload."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Final

from axlewright.language import Shown
from axlewright.language import eager as _
from axlewright.steps.drawn import box, drawing, line, shape, text

_Y: Final = 110.0


def _bearing(x: float, way: float) -> list[str]:
    """Return one side bearing: cone toward the case, cup outside; `way` points outward."""
    parts = []
    for up in (-1.0, 1.0):
        parts.append(
            shape(
                (
                    (x, _Y + up * 22),
                    (x + way * 34, _Y + up * 22),
                    (x + way * 34, _Y + up * 28),
                    (x, _Y + up * 40),
                ),
                "d-cone",
            )
        )
        parts.append(
            shape(
                (
                    (x + way * 6, _Y + up * 54),
                    (x + way * 40, _Y + up * 54),
                    (x + way * 40, _Y + up * 36),
                    (x + way * 6, _Y + up * 46),
                ),
                "d-cone",
            )
        )
    return parts


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
    left, right = 190.0, 450.0
    parts = [line(110, _Y, 530, _Y, "d-axis")]
    parts.append(box(left, _Y - 50, right, _Y + 50, "d-gear"))
    parts.append(box(left - 6, _Y - 22, left, _Y + 22, "d-shaft"))
    # The ring gear: back to the left, teeth to the right where the pinion lies.
    parts.append(shape(((232, _Y + 50), (262, _Y + 50), (276, _Y + 96), (232, _Y + 96)), "d-gear"))
    parts.append(shape(((232, _Y - 50), (262, _Y - 50), (272, _Y - 84), (232, _Y - 84)), "d-gear"))
    parts.append(text(226, _Y - 74, _("ring gear"), "d-text", "end"))
    parts.append(shape(((290, _Y + 64), (346, _Y + 56), (346, _Y + 128), (290, _Y + 116)), "d-gear"))
    parts.append(text(352, _Y + 96, _("pinion"), "d-text", "start"))
    cone_shim = 12.0 if sides == "cones" else 0.0
    parts += _bearing(left - cone_shim, -1.0)
    parts += _bearing(right + cone_shim, 1.0)
    places = {"R": (left - cone_shim - 40.0, -1.0), "O": (right + cone_shim + 40.0, 1.0)}
    for letter, (x, way) in places.items():
        if sides == "cones":
            inner = x - way * 40.0
            for up in (-1.0, 1.0):
                parts.append(
                    box(
                        min(inner, inner - way * 12),
                        _Y + up * 22,
                        max(inner, inner - way * 12),
                        _Y + up * 40,
                        "d-shim",
                    )
                )
            mark_x = inner - way * 6.0
        else:
            wide = 22.0 if sides == "adjusters" else 12.0
            for up in (-1.0, 1.0):
                kind = "d-cage" if sides == "adjusters" else "d-shim"
                parts.append(
                    box(min(x, x + way * wide), _Y + up * 32, max(x, x + way * wide), _Y + up * 58, kind)
                )
            mark_x = x + way * wide / 2.0
        value = values.get(letter, "")
        parts.append(line(mark_x, _Y + 58, mark_x, _Y + 146, "d-thin"))
        words = f"{letter}  {value}" if value else letter
        parts.append(text(mark_x, _Y + 162, words, "d-value"))
    parts.append(line(250, 12, 190, 12, "d-dim"))
    parts.append(shape(((190, 12), (200, 8), (200, 16)), "d-arrow"))
    parts.append(text(256, 16, _("away from the pinion: more backlash"), "d-text", "start"))
    shown = "; ".join(f"{k} {v}" for k, v in values.items() if v) or _("no numbers yet")
    title = _("Differential between its side bearings, R on the ring gear's side, O on the other: {words}.")
    return drawing(parts, title.format(words=shown), box="95 0 450 290", kind="diagram round")


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

    def at(deg: float, torque: float) -> tuple[float, float]:
        return (
            left + (deg - first) / (last - first) * (right - left),
            bottom - torque / most * (bottom - top),
        )

    (x1, y1), (x2, y2) = at(first, high), at(last, low)
    parts = [box(x1, y1, x2, y2, "d-band")]
    parts.append(line(left, bottom, right, bottom, "d-thin") + line(left, top, left, bottom, "d-thin"))
    _x, stop_y = at(first, stop)
    parts.append(line(left, stop_y, right, stop_y, "d-stop"))
    parts.append(
        text(
            right,
            stop_y - 6,
            _("stop line {torque} {unit}").format(torque=f"{Shown(stop):.3g}", unit=unit),
            "d-value",
            "end",
        )
    )
    parts.append(text(left - 8, y2 + 5, f"{Shown(low):.3g}", "d-text", "end"))
    parts.append(text(left - 8, y1 + 5, f"{Shown(high):.3g}", "d-text", "end"))
    for a, b in pairwise(steps):
        parts.append(line(*at(*a), *at(*b), "d-dim"))
    for deg, torque in steps:
        x, y = at(deg, torque)
        parts.append(f'<circle class="d-dot" cx="{x:.1f}" cy="{y:.1f}" r="6"/>')
        parts.append(text(x, y - 12, f"{Shown(torque):.3g}", "d-value"))
        parts.append(text(x, bottom + 18, f"{Shown(deg):g}°", "d-text"))
    if following is not None:
        x, y = at(*following)
        parts.append(line(*at(*steps[-1]), x, y, "d-next"))
        parts.append(f'<circle class="d-ring" cx="{x:.1f}" cy="{y:.1f}" r="8"/>')
        parts.append(text(x, y + 24, _("next"), "d-value"))
    parts.append(text((left + right) / 2, bottom + 40, _("nut turned"), "d-text"))
    parts.append(text(left, top - 6, unit, "d-text"))
    shown = ", ".join(f"{Shown(deg):g}° {Shown(torque):.3g} {unit}" for deg, torque in steps)
    title = _("Running torque over the nut's turn: {words}; band {low} to {high} {unit}.")
    return drawing(
        parts,
        title.format(words=shown, low=f"{Shown(low):.3g}", high=f"{Shown(high):.3g}", unit=unit),
        box="0 0 370 244",
        kind="diagram round",
    )
