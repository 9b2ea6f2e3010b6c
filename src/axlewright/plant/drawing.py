"""Charts as SVG, readable at the width of a phone; colours come from the page's style sheet.

Every chart has a sentence or table beside it that says the same; a meaning never hangs on colour alone: the
drive flank is a full line with round points, the coast flank a broken line with square ones, and a point that
calls for a look has a ring.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from axlewright.drawing import drawn
from axlewright.language import Number, Text, _, joined, with_decimal_sign
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


def _number(value: float) -> Text:
    return Number(value, ".10g")


class _Frame:
    """The axes of a chart: from values to places in the picture, ticks and titles."""

    def __init__(
        self,
        x: tuple[float, float],
        y: tuple[float, float],
        *,
        x_title: Text,
        y_title: Text,
        x_ticks: Sequence[tuple[float, Text]] = (),
        from_zero: bool = False,
    ) -> None:
        self.x0, self.x1 = x
        pad = 0.06 * (y[1] - y[0] or 1.0)
        self.y0, self.y1 = 0.0 if from_zero else y[0] - pad, y[1] + pad
        self.x_title, self.y_title, self.x_tick_values = x_title, y_title, x_ticks
        self.wide, self.high = WIDTH, HEIGHT
        self.left, self.right, self.top, self.bottom = LEFT, WIDTH - RIGHT, TOP, HEIGHT - BOTTOM

    def x(self, value: float) -> float:
        """Return the place across."""
        return self.left + (value - self.x0) / (self.x1 - self.x0 or 1.0) * (self.right - self.left)

    def y(self, value: float) -> float:
        """Return the place down."""
        return self.bottom - (value - self.y0) / (self.y1 - self.y0) * (self.bottom - self.top)

    @property
    def x_ticks(self) -> list[tuple[float, Text]]:
        """Places and words along the foot."""
        return [(self.x(value), words) for value, words in self.x_tick_values]

    @property
    def y_ticks(self) -> list[tuple[float, Text]]:
        """Places and words along the left side."""
        return [(self.y(value), _number(value)) for value in _nice(self.y0, self.y1)]

    def line(self, xs: Sequence[float] | Array, ys: Sequence[float] | Array) -> str:
        """Return the path of a line, pen lifted where a value is missing."""
        out, down = [], False
        for a, b in zip(xs, ys, strict=True):
            if not math.isfinite(b):
                down = False
                continue
            out.append(f"{'L' if down else 'M'}{self.x(a):.1f} {self.y(b):.1f}")
            down = True
        return "".join(out)


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
    frame = _Frame(
        (first * scale, last * scale),
        (min(least) if sound else 0.0, max(tops)),
        x_title=_("pinion out, {unit}").format(unit=with_decimal_sign(unit)),
        y_title=_("sound, dB") if sound else _("motion error, µrad"),
        x_ticks=[(v, _number(v)) for v in _nice(first * scale, last * scale)],
    )
    curves, points = [], []
    for flank, fit in best.fits.items():
        under, over = to(fit.low[inside]), np.minimum(to(fit.high[inside]), frame.y1)
        edge = frame.line([*x, *x[::-1]], [*np.maximum(under, frame.y0), *over[::-1]])
        curves.append((flank, edge, frame.line(x, to(fit.middle[inside]))))
        points += [
            (flank, frame.x(float(a)), frame.y(float(b)))
            for a, b in zip(fit.pinion_out_mm * scale, to(fit.figure), strict=True)
        ]
    return drawn(
        "plant/position",
        frame=frame,
        interval=[frame.x(min(max(v, first), last) * scale) for v in (low, high)],
        curves=curves,
        points=points,
        best=frame.x(best.best_mm * scale) if first <= best.best_mm <= last else None,
        about=_("Figures at {count} positions with the curves that fit; {answer}").format(
            count=best.positions, answer=best.text()
        ),
    )


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
    step = max(1, math.ceil(len(values) / 4))
    frame = _Frame(
        (-0.5, len(values) - 0.5),
        (min(low, float(inside.min())), max(high, float(inside.max()))),
        x_title=_("set"),
        y_title=joined(panel.name, with_decimal_sign(unit), between=", "),
        x_ticks=[(float(k), labels[k].split("–")[0]) for k in range(0, len(values), step)],
    )
    return drawn(
        "plant/panel",
        frame=frame,
        center=frame.y(center),
        limits=[frame.y(limit) for limit in (low, high)],
        line=frame.line(np.arange(len(values), dtype=float), values),
        radius=3 if len(values) <= 60 else 2,
        points=[
            (frame.x(k), frame.y(float(value)), k in panel.flagged)
            for k, value in enumerate(values)
            if math.isfinite(value)
        ],
        about=panel_text(panel, labels, unit, scale),
    )


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
    frame = _Frame(
        (first - pad, last + pad),
        (0.0, float(count.max())),
        x_title=with_decimal_sign(unit),
        y_title=_("sets"),
        x_ticks=[(v, _number(v)) for v in _nice(first, last)],
        from_zero=True,
    )
    return drawn(
        "plant/histogram",
        frame=frame,
        bars=[
            (frame.x(float(a)), frame.x(float(b)), frame.y(float(n)))
            for n, a, b in zip(count, edges[:-1], edges[1:], strict=True)
        ],
        limits=[frame.x(limit) for limit in limits],
        about=_("{count} values from {low} to {high} {unit}").format(
            count=len(x),
            low=show_number(float(x.min()), places_of(unit)),
            high=show_number(float(x.max()), places_of(unit)),
            unit=with_decimal_sign(unit),
        ),
    )
