"""Draw the unrolled tooth and plots round the ring gear as SVG.

Measured areas are hatched with a full outline, computed ones dotted with a dashed outline; both stay
apart in black and white and for any colour vision.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, Literal
from xml.sax.saxutils import escape

import numpy as np
from contourpy import contour_generator
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, gaussian_filter, label

from axlewright.language import Shown, _
from axlewright.sheets.data import Flank, Mask, RoundPlot

Kind = Literal["measured", "computed"]
INK: Final = "#1b2a33"
PALE: Final = "#c3ccd1"
MEASURED: Final = "#0b5563"
COMPUTED: Final = "#8a3b12"

TOOTH_WIDTH: Final = 240.0
TOOTH_HEIGHT: Final = 84.0
TOE_HEIGHT: Final = 0.76
"""Height of a tapered tooth at the toe, as a fraction of that at the heel; for the picture only."""
SMALL_SPOT_CELLS: Final = 30
_LEFT: Final = 34.0
_TOP: Final = 17.0
_WIDE: Final = TOOTH_WIDTH + 2 * _LEFT
_HIGH: Final = TOOTH_HEIGHT + 2 * _TOP


def _place(u: float, v: float, tapered: bool) -> tuple[float, float]:
    """Return picture coordinates of (u, v): u from 0 toe to 1 heel, v from 0 root to 1 top."""
    short = (1.0 - TOE_HEIGHT) * TOOTH_HEIGHT * (1.0 - u) if tapered else 0.0
    bottom = _TOP + TOOTH_HEIGHT - 0.45 * short
    top = _TOP + 0.55 * short
    return _LEFT + u * TOOTH_WIDTH, bottom + v * (top - bottom)


def _path(points: Sequence[tuple[float, float]], *, close: bool = True) -> str:
    return "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in points) + ("Z" if close else "")


def _softened(cells: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Blur the edge of large spots and holes by about a cell, so that their outline has no stairs."""
    soft: NDArray[np.float64] = gaussian_filter(cells.astype(np.float64), 1.0, mode="nearest")
    for side in (cells, ~cells):
        spots, _rest = label(side)
        sizes = np.bincount(spots.ravel())
        small = side & (sizes[spots] < SMALL_SPOT_CELLS)
        near = binary_dilation(small, iterations=2)
        soft[near] = cells[near]
    return soft


def mask_outlines(mask: Mask) -> list[NDArray[np.float64]]:
    """Return the closed outlines of the marked area.

    Parameters
    ----------
    mask : rows of bool
        Root row first, toe column first; each cell stands for its own share of the flank.

    Returns
    -------
    list of array (n, 2)
        Points (u, v), u from 0 toe to 1 heel, v from 0 root to 1 top. Holes are outlines of their own; fill
        with the even-odd rule. The line runs half-way between a marked and an unmarked cell's centres, with
        the stair steps of the cells smoothed; spots of a few cells are drawn as they are.
    """
    cells = _softened(np.asarray(mask, dtype=bool))
    rows, columns = cells.shape
    padded = np.pad(np.pad(cells, 1, mode="edge"), 1)
    x = np.concatenate(([-1e-6, 0.0], (np.arange(columns) + 0.5) / columns, [1.0, 1.0 + 1e-6]))
    y = np.concatenate(([-1e-6, 0.0], (np.arange(rows) + 0.5) / rows, [1.0, 1.0 + 1e-6]))
    outlines = contour_generator(x, y, padded).lines(0.5)
    return [np.clip(np.asarray(line, dtype=np.float64), 0.0, 1.0) for line in outlines]


def _rounded(line: NDArray[np.float64]) -> NDArray[np.float64]:
    """Cut the corners of a closed outline by a quarter of each side (Chaikin 1974)."""
    points = line[:-1]
    after = np.roll(points, -1, axis=0)
    return np.stack((0.75 * points + 0.25 * after, 0.25 * points + 0.75 * after), axis=1).reshape(-1, 2)


def _mask_path(mask: Mask, tapered: bool) -> str:
    outlines = [_rounded(line) for line in mask_outlines(mask)]
    return "".join(_path([_place(float(u), float(v), tapered) for u, v in line]) for line in outlines)


def _hatch(gap: float) -> str:
    lines = []
    start = -_HIGH
    while start < _WIDE:
        lines.append(f"M{start:.1f} {_HIGH:.1f}L{start + _HIGH:.1f} 0")
        start += gap
    return "".join(lines)


def _dots(gap: float, mask: Mask, tapered: bool) -> str:
    """Return dots on a staggered grid, those of the marked cells only: nothing is left to be clipped."""
    cells = np.asarray(mask, dtype=bool)
    high, wide = cells.shape
    marks = []
    for row in range(math.ceil(_HIGH / gap)):
        for column in range(math.ceil(_WIDE / gap)):
            x, y = column * gap + (gap / 2 if row % 2 else 0.0), row * gap
            u = (x - _LEFT) / TOOTH_WIDTH
            bottom, top = _place(u, 0.0, tapered)[1], _place(u, 1.0, tapered)[1]
            v = (bottom - y) / (bottom - top)
            if 0.0 <= u < 1.0 and 0.0 <= v < 1.0 and cells[int(v * high), int(u * wide)]:
                marks.append(f"M{x:.1f} {y:.1f}h.01")
    return "".join(marks)


def tooth_svg(
    *,
    measured: Mask | None = None,
    computed: Mask | None = None,
    tapered: bool = True,
    ghost: Mask | None = None,
) -> str:
    """Draw one unrolled ring-gear tooth, toe at the left, top above.

    Parameters
    ----------
    measured : mask or None
        Hatched with a full outline.
    computed : mask or None
        Dotted with a dashed outline.
    tapered : bool
        Deeper at the heel.
    ghost : mask or None
        Drawn as a thin dotted line only, to compare with.
    """
    corners = [_place(u, v, tapered) for u, v in ((0, 0), (1, 0), (1, 1), (0, 1))]
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDE:g} {_HIGH:g}" '
        f'width="{_WIDE:g}" height="{_HIGH:g}" fill="none">',
        f'<path d="{_path(corners)}" fill="#fbfcfc"/>',
    ]
    grid = "".join(
        _path([_place(u, 0, tapered), _place(u, 1, tapered)], close=False) for u in (0.25, 0.5, 0.75)
    )
    grid += _path([_place(0, 0.5, tapered), _place(1, 0.5, tapered)], close=False)
    parts.append(f'<path d="{grid}" stroke="{PALE}" stroke-width=".6" stroke-dasharray="2 2"/>')
    if measured is not None and any(map(any, measured)):
        path = _mask_path(measured, tapered)
        parts.append(f'<clipPath id="m"><path d="{path}" clip-rule="evenodd"/></clipPath>')
        parts.append(
            f'<path d="{_hatch(5.0)}" stroke="{MEASURED}" stroke-width="1.3" clip-path="url(#m)"/>'
            f'<path d="{path}" stroke="{MEASURED}" stroke-width="1.6" stroke-linejoin="round"/>'
        )
    if ghost is not None and any(map(any, ghost)):
        parts.append(
            f'<path d="{_mask_path(ghost, tapered)}" stroke="{MEASURED}" stroke-width=".8" '
            'stroke-dasharray=".8 2" stroke-linecap="round"/>'
        )
    if computed is not None and any(map(any, computed)):
        path = _mask_path(computed, tapered)
        parts.append(
            f'<path d="{_dots(5.5, computed, tapered)}" stroke="{COMPUTED}" stroke-width="1.5" '
            'stroke-linecap="round"/>'
            f'<path d="{path}" stroke="{COMPUTED}" stroke-width="1.8" stroke-dasharray="6 3" '
            'stroke-linejoin="round"/>'
        )
    parts.append(f'<path d="{_path(corners)}" stroke="{INK}" stroke-width="1.4" stroke-linejoin="round"/>')
    for text, x, y, anchor in (
        (_("toe"), _LEFT - 6, _TOP + TOOTH_HEIGHT / 2 + 3.5, "end"),
        (_("heel"), _LEFT + TOOTH_WIDTH + 6, _TOP + TOOTH_HEIGHT / 2 + 3.5, "start"),
        (_("top"), _WIDE / 2, _place(0.5, 1, tapered)[1] - 4, "middle"),
        (_("root"), _WIDE / 2, _place(0.5, 0, tapered)[1] + 11.5, "middle"),
    ):
        parts.append(
            f'<text x="{x:.1f}" y="{y:.1f}" font-family="DejaVu Sans" font-size="10.5" fill="{INK}" '
            f'text-anchor="{anchor}">{text}</text>'
        )
    parts.append("</svg>")
    return "".join(parts)


def describe_mask(mask: Mask) -> str:
    """Say in words where the marked area lies, for readers who do not see the picture.

    Examples
    --------
    >>> describe_mask(((False, True, True, False), (False, False, False, False)))
    'from 25 to 75 % of the face width from the toe, from 0 to 50 % of the depth from the root'
    """
    cells = np.asarray(mask, dtype=bool)
    if not cells.any():
        return str(_("no marked area"))
    rows = np.flatnonzero(cells.any(axis=1))
    columns = np.flatnonzero(cells.any(axis=0))
    high, wide = cells.shape
    said = _(
        "from {value} to {value2} % of the face width from the toe, from {value3} to "
        "{value4} % of the depth from the root"
    ).format(
        value=round(100 * columns[0] / wide),
        value2=round(100 * (columns[-1] + 1) / wide),
        value3=round(100 * rows[0] / high),
        value4=round(100 * (rows[-1] + 1) / high),
    )
    return str(said)


def tooth_alt(flank: Flank, kind: Kind, mask: Mask) -> str:
    """Return the alternative text of a tooth picture."""
    words = {
        ("drive", "measured"): _("Unrolled ring gear tooth, drive side, measured contact pattern: {where}."),
        ("drive", "computed"): _("Unrolled ring gear tooth, drive side, computed contact pattern: {where}."),
        ("coast", "measured"): _("Unrolled ring gear tooth, coast side, measured contact pattern: {where}."),
        ("coast", "computed"): _("Unrolled ring gear tooth, coast side, computed contact pattern: {where}."),
    }
    return str(words[flank, kind].format(where=describe_mask(mask)))


def _ticks(low: float, up: float) -> list[tuple[float, str]]:
    """Return three to six round values between the ends, with their texts."""
    rough = (up - low) / 4
    power = math.floor(math.log10(rough))
    step = next(one * 10.0**power for one in (1, 2, 5, 10) if one * 10.0**power >= rough)
    digits = max(0, -math.floor(math.log10(step)))
    first = math.ceil(low / step)
    marks = [k * step for k in range(first, math.floor(up / step) + 1)]
    return [(mark, f"{Shown(mark + 0.0):.{digits}f}") for mark in marks]


def round_plot_svg(plot: RoundPlot, *, wide: float = 560.0, high: float = 130.0) -> str:
    """Draw readings over the angle round the ring gear, with fit and limit.

    Parameters
    ----------
    plot : RoundPlot
    wide, high : float
        Size in the units in which the letters are 8 high: narrower makes larger letters on a screen.
    """
    left, right, top, bottom = 46.0, 12.0, 18.0, 26.0
    limits = [one for one in (plot.limit, plot.lower_limit) if one is not None]
    levels = [*plot.values, *plot.fit_values, *limits]
    low, up = min(levels), max(levels)
    span = (up - low) or max(abs(up), 1e-3)
    low, up = low - 0.08 * span, up + 0.08 * span

    def at(angle: float, value: float) -> tuple[float, float]:
        x = left + (angle / 360.0) * (wide - left - right)
        return x, top + (up - value) / (up - low) * (high - top - bottom)

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:g} {high:g}" '
        f'width="{wide:g}" height="{high:g}" fill="none" font-family="DejaVu Sans" font-size="8" '
        f'role="img" aria-label="{escape(plot.title)}">'
    ]

    def write(x: float, y: float, text: str, anchor: str) -> None:
        parts.append(
            f'<text x="{x:.1f}" y="{y:.1f}" fill="{INK}" text-anchor="{anchor}">{escape(text)}</text>'
        )

    for mark in range(0, 361, 60):
        x, _rest = at(mark, low)
        parts.append(f'<path d="M{x:.1f} {top}V{high - bottom}" stroke="{PALE}" stroke-width=".5"/>')
        write(x, high - bottom + 11, f"{mark}°", "middle")
    for value, text in _ticks(low, up):
        _rest, y = at(0, value)
        parts.append(f'<path d="M{left} {y:.1f}H{wide - right}" stroke="{PALE}" stroke-width=".5"/>')
        write(left - 5, y + 3, text, "end")
    for limit in limits:
        _rest, y = at(0, limit)
        parts.append(
            f'<path d="M{left} {y:.1f}H{wide - right}" stroke="{COMPUTED}" stroke-width="1.2" '
            'stroke-dasharray="7 3"/>'
        )
        write(wide - right - 2, y - 3, str(_("limit")), "end")
    if plot.fit_values:
        line = _path(
            [at(a, v) for a, v in zip(plot.fit_angles_deg, plot.fit_values, strict=True)], close=False
        )
        parts.append(f'<path d="{line}" stroke="{MEASURED}" stroke-width="1.2"/>')
    for place, (angle, value) in enumerate(zip(plot.angles_deg, plot.values, strict=True)):
        x, y = at(angle, value)
        if place == plot.ringed:
            parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="6" stroke="{COMPUTED}" stroke-width="1.3"/>')
        parts.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="2.6" fill="#fff" stroke="{INK}" stroke-width="1.3"/>'
        )
    write(left - 5, 9, plot.unit, "end")
    write(left, high - 2, str(_("angle round the ring gear, from the first reading")), "start")
    parts.append("</svg>")
    return "".join(parts)
