"""Charts as SVG, readable at the width of a phone; colours come from the page's style sheet.

Every chart has a sentence or table beside it that says the same; a meaning never hangs on colour alone: the
drive flank is a full line with round points, the coast flank a broken line with square ones, and a point that
calls for a look has a ring.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from html import escape
from typing import Final

import numpy as np
from numpy.typing import NDArray

from axlewright.language import Shown, Text, _, with_decimal_sign
from axlewright.plant.control import Panel
from axlewright.plant.positions import BestPosition
from axlewright.units import MM_PER_INCH, chosen_system, show_number

Array = NDArray[np.float64]
WIDTH: Final = 360
HEIGHT: Final = 230
LEFT, RIGHT, TOP, BOTTOM = 44, 10, 26, 38


def _nice(low: float, high: float, wanted: int = 5) -> list[float]:
    """Return round numbers between two values."""
    span = max(high - low, 1e-9)
    raw = span / wanted
    size = 10.0 ** math.floor(math.log10(raw))
    step = next(size * k for k in (1, 2, 5, 10) if size * k >= raw)
    first = math.ceil(low / step - 1e-9)
    return [k * step for k in range(first, math.floor(high / step + 1e-9) + 1)]


def _number(value: float) -> str:
    return f"{Shown(value):.10g}"


class _Frame:
    """The axes of a chart: from values to places in the picture."""

    def __init__(self, x: tuple[float, float], y: tuple[float, float]) -> None:
        self.x0, self.x1 = x
        pad = 0.06 * (y[1] - y[0] or 1.0)
        self.y0, self.y1 = y[0] - pad, y[1] + pad

    def x(self, value: float) -> float:
        """Return the place across."""
        return LEFT + (value - self.x0) / (self.x1 - self.x0 or 1.0) * (WIDTH - LEFT - RIGHT)

    def y(self, value: float) -> float:
        """Return the place down."""
        return HEIGHT - BOTTOM - (value - self.y0) / (self.y1 - self.y0) * (HEIGHT - TOP - BOTTOM)

    def line(self, xs: Sequence[float] | Array, ys: Sequence[float] | Array) -> str:
        """Return the points of a line, pen lifted where a value is missing."""
        out, down = [], False
        for a, b in zip(xs, ys, strict=True):
            if not math.isfinite(b):
                down = False
                continue
            out.append(f"{'L' if down else 'M'}{self.x(a):.1f} {self.y(b):.1f}")
            down = True
        return "".join(out)

    def axes(self, x_text: Text, y_text: Text, x_ticks: Sequence[tuple[float, str]]) -> list[str]:
        """Return ticks and titles."""
        out = []
        for value in _nice(self.y0, self.y1):
            place = self.y(value)
            out.append(f'<path class="p-grid" d="M{LEFT} {place:.1f}H{WIDTH - RIGHT}"/>')
            out.append(f'<text x="{LEFT - 4}" y="{place + 4:.1f}" text-anchor="end">{_number(value)}</text>')
        for value, text in x_ticks:
            place = self.x(value)
            out.append(f'<path class="p-grid" d="M{place:.1f} {TOP}V{HEIGHT - BOTTOM}"/>')
            shown = escape(text)
            out.append(
                f'<text x="{place:.1f}" y="{HEIGHT - BOTTOM + 14}" text-anchor="middle">{shown}</text>'
            )
        out.append(
            f'<text x="{WIDTH - RIGHT}" y="{HEIGHT - 6}" text-anchor="end">{escape(str(x_text))}</text>'
        )
        out.append(f'<text x="2" y="{TOP - 14}">{escape(str(y_text))}</text>')
        return out


def _svg(parts: Sequence[str], about: Text) -> str:
    said = escape(str(about))
    return (
        f'<svg class="plot batchplot" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{said}">'
        + "".join(parts)
        + "</svg>"
    )


def position_svg(best: BestPosition) -> str:
    """Draw what was read at each position, the curves that fit, and the best position with its interval."""
    scale, unit = (1000.0 / MM_PER_INCH, "0.001 in") if chosen_system() == "inch" else (1.0, "mm")
    sound = best.method == "sound"
    to: Callable[[Array], Array] = (lambda y: 20.0 * np.log10(np.maximum(y, 1e-9))) if sound else np.asarray
    read = np.concatenate([fit.pinion_out_mm for fit in best.fits.values()])
    low, high = best.interval_95_mm
    reach = 0.03
    first = max(min(read.min(), low) - reach, best.grid_mm[0])
    last = min(max(read.max(), high) + reach, best.grid_mm[-1])
    inside = (best.grid_mm >= first) & (best.grid_mm <= last)
    x = best.grid_mm[inside] * scale
    tops = [to(fit.figure).max() for fit in best.fits.values()]
    tops += [to(fit.middle[inside]).max() for fit in best.fits.values()]
    least = [to(fit.figure).min() for fit in best.fits.values()]
    least += [to(fit.low[inside]).min() for fit in best.fits.values()]
    frame = _Frame((first * scale, last * scale), (min(least) if sound else 0.0, max(tops)))
    left, right = (frame.x(min(max(v, first), last) * scale) for v in (low, high))
    parts = [
        f'<rect class="b-interval" x="{left:.1f}" y="{TOP}" width="{right - left:.1f}" '
        f'height="{HEIGHT - TOP - BOTTOM}"/>'
    ]
    ticks = [(v, _number(v)) for v in _nice(first * scale, last * scale)]
    y_text = _("sound, dB") if sound else _("motion error, µrad")
    parts += frame.axes(_("pinion out, {unit}").format(unit=with_decimal_sign(unit)), y_text, ticks)
    for flank, fit in best.fits.items():
        under, over = to(fit.low[inside]), np.minimum(to(fit.high[inside]), frame.y1)
        edge = frame.line([*x, *x[::-1]], [*np.maximum(under, frame.y0), *over[::-1]])
        parts.append(f'<path class="b-band b-{flank}" d="{edge}Z"/>')
        parts.append(f'<path class="b-line b-{flank}" d="{frame.line(x, to(fit.middle[inside]))}"/>')
    for flank, fit in best.fits.items():
        for a, b in zip(fit.pinion_out_mm * scale, to(fit.figure), strict=True):
            parts.append(_point(frame.x(float(a)), frame.y(float(b)), flank))
    if first <= best.best_mm <= last:
        at = frame.x(best.best_mm * scale)
        parts.append(f'<path class="b-best" d="M{at:.1f} {TOP}V{HEIGHT - BOTTOM}"/>')
    about = _("Figures at {count} positions with the curves that fit; {answer}").format(
        count=best.positions, answer=best.text()
    )
    return _svg(parts, about)


def _point(x: float, y: float, flank: str) -> str:
    if flank == "coast":
        return f'<rect class="b-point b-coast" x="{x - 4:.1f}" y="{y - 4:.1f}" width="8" height="8"/>'
    return f'<circle class="b-point b-drive" cx="{x:.1f}" cy="{y:.1f}" r="4.5"/>'


def panel_svg(panel: Panel, labels: Sequence[str], unit: str, scale: float = 1.0) -> str:
    """Draw one control chart: points in order, centre line, limits, rings round what calls for a look.

    Parameters
    ----------
    unit : str
        Of the numbers shown; values are multiplied by `scale`.
    """
    values = np.asarray(panel.values) * scale
    low, center, high = panel.low * scale, panel.center * scale, panel.high * scale
    inside = values[np.isfinite(values)]
    frame = _Frame((-0.5, len(values) - 0.5), (min(low, float(inside.min())), max(high, float(inside.max()))))
    step = max(1, math.ceil(len(values) / 4))
    ticks = [(float(k), labels[k].split("–")[0]) for k in range(0, len(values), step)]
    parts = frame.axes(_("set"), f"{panel.name}, {with_decimal_sign(unit)}", ticks)
    parts.append(f'<path class="b-center" d="M{LEFT} {frame.y(center):.1f}H{WIDTH - RIGHT}"/>')
    for limit in (low, high):
        parts.append(f'<path class="b-limit" d="M{LEFT} {frame.y(limit):.1f}H{WIDTH - RIGHT}"/>')
    parts.append(f'<path class="b-thin" d="{frame.line(np.arange(len(values), dtype=float), values)}"/>')
    radius = 3.0 if len(values) <= 60 else 2.0
    for k, value in enumerate(values):
        if math.isfinite(value):
            x, y = frame.x(k), frame.y(float(value))
            parts.append(f'<circle class="b-dot" cx="{x:.1f}" cy="{y:.1f}" r="{radius}"/>')
            if k in panel.flagged:
                parts.append(f'<circle class="b-ring" cx="{x:.1f}" cy="{y:.1f}" r="7"/>')
    return _svg(parts, panel_text(panel, labels, unit, scale))


def panel_text(panel: Panel, labels: Sequence[str], unit: str, scale: float = 1.0) -> str:
    """Say in a sentence what the chart shows."""
    places = places_of(unit)
    unit = with_decimal_sign(f"× {unit}" if unit[:1].isdigit() else unit)
    text = _("{name}: {count} points, centre {center} {unit}, limits {low} to {high} {unit}.").format(
        name=_begun(panel.name),
        count=int(np.isfinite(panel.values).sum()),
        center=show_number(panel.center * scale, places),
        unit=unit,
        low=show_number(panel.low * scale, places),
        high=show_number(panel.high * scale, places),
    )
    said = [text]
    for signal in panel.signals:
        names = [labels[k] for k in signal.points]
        shown = ", ".join(names[:6]) + (" …" if len(names) > 6 else "")
        said.append(_("{rule}: {sets}.").format(rule=_begun(signal.rule), sets=shown))
    return " ".join(map(str, said if panel.signals else [text, _("No signal.")]))


def _begun(text: Text) -> str:
    """Draw a text with a capital letter, to begin a sentence."""
    words = str(text)
    return words[:1].upper() + words[1:]


def places_of(unit: str) -> int:
    """Return the decimal places figures of a chart are shown to: 0.001 mm, 0.0001 in, 0.1 µrad."""
    return 3 if unit == "mm" else 1


def histogram_svg(
    values: Sequence[float],
    unit: str,
    scale: float = 1.0,
    *,
    low: float | None = None,
    high: float | None = None,
) -> str:
    """Draw how often each size came, with the limits."""
    x = np.asarray(values) * scale
    bins = int(np.clip(np.ceil(1.0 + np.log2(len(x))), 5, 20))  # Sturges (1926)
    count, edges = np.histogram(x, bins=bins)
    limits = [v * scale for v in (low, high) if v is not None]
    first, last = min(edges[0], *limits, edges[0]), max(edges[-1], *limits, edges[-1])
    pad = 0.04 * (last - first)
    frame = _Frame((first - pad, last + pad), (0.0, float(count.max())))
    frame.y0 = 0.0
    parts = frame.axes(with_decimal_sign(unit), _("sets"), [(v, _number(v)) for v in _nice(first, last)])
    for n, a, b in zip(count, edges[:-1], edges[1:], strict=True):
        left, right, top = frame.x(float(a)), frame.x(float(b)), frame.y(float(n))
        parts.append(
            f'<rect class="p-bar" x="{left + 0.5:.1f}" y="{top:.1f}" '
            f'width="{max(right - left - 1, 0.5):.1f}" height="{HEIGHT - BOTTOM - top:.1f}"/>'
        )
    for limit in limits:
        parts.append(f'<path class="b-limit" d="M{frame.x(limit):.1f} {TOP}V{HEIGHT - BOTTOM}"/>')
    about = _("{count} values from {low} to {high} {unit}").format(
        count=len(x),
        low=show_number(float(x.min()), places_of(unit)),
        high=show_number(float(x.max()), places_of(unit)),
        unit=with_decimal_sign(unit),
    )
    return _svg(parts, about)
