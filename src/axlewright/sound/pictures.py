"""Draw what was heard: order map, evidence of each source, mesh level, before and after.

Pictures are 390 px wide at one pixel per point and meant to be read on a phone; drawn at twice that
for sharp screens. Nothing is told by colour alone.
"""

from __future__ import annotations

from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from axlewright.language import Shown
from axlewright.language import eager as _
from axlewright.sound.comparison import BeforeAfter
from axlewright.sound.findings import SourceFinding
from axlewright.sound.listening import Listening
from axlewright.sound.sources import BY_KEY, source_name
from axlewright.sound.turned import STEP
from axlewright.units import MPS_PER_MPH, chosen_system, show_number

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH_IN: Final = 3.9
DPI: Final = 200
INK: Final = "#16202a"
QUIET: Final = "#5b6875"
STRONG: Final = "#0b5cad"
WARM: Final = "#b3470f"
SIZE: Final = 8
LINE_LETTERS: Final = 54
"""Letters of `SIZE` that fit beside each other."""
EXTRA_LINE: Final = 0.42
"""Height of a further line of words, in rows."""


def _figure(height_in: float, rows: int = 1, ratios: list[float] | None = None) -> tuple[Figure, list[Axes]]:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure as MakeFigure

    figure = MakeFigure(figsize=(WIDTH_IN, height_in), dpi=DPI, layout="constrained")
    FigureCanvasAgg(figure)
    grid: Any = figure.subplots(rows, 1, squeeze=False, gridspec_kw={"height_ratios": ratios or [1.0] * rows})
    axes = [grid[i, 0] for i in range(rows)]
    for axis in axes:
        axis.tick_params(labelsize=SIZE, colors=INK)
        for side in ("top", "right"):
            axis.spines[side].set_visible(False)
    return figure, axes


def _save(figure: Figure, path: str | Path) -> None:
    """Write a picture, the numbers along its axes as the chosen language has them."""
    from matplotlib.ticker import FuncFormatter, ScalarFormatter

    for axis in figure.axes:
        for one in (axis.xaxis, axis.yaxis):
            if isinstance(one.get_major_formatter(), ScalarFormatter):
                one.set_major_formatter(FuncFormatter(lambda value, _place: f"{Shown(value):g}"))
    figure.savefig(str(path))


def _speeds() -> tuple[float, str]:
    """Return the unit of speed that is drawn [m/s] and its name."""
    return (MPS_PER_MPH, "mph") if chosen_system() == "inch" else (1 / 3.6, "km/h")


def _harmonic(number: int) -> str:
    return _("mesh ×{number}").format(number=number)


def _order_map(axis: Axes, result: Listening) -> None:
    """Order over time; the colour is the level over the noise floor."""
    map_ = result.order_map
    top = min(3.4 * result.axle.ring_teeth, 145.0)
    orders = np.linspace(1.0, top, 420)
    df = float(map_.frequency_hz[1])
    wheel = result.speed_mps / result.tyre.circumference_m
    grid = np.empty((len(orders), len(map_.times_s)))
    bins = np.arange(len(map_.frequency_hz))
    for i, rate in enumerate(wheel):
        grid[:, i] = np.interp(orders * rate / df, bins, map_.ratio_db[i])
    extent = (float(map_.times_s[0]), float(map_.times_s[-1]), float(orders[0]), float(orders[-1]))
    axis.imshow(
        grid,
        aspect="auto",
        origin="lower",
        extent=extent,
        cmap="Greys",
        vmin=0,
        vmax=22,
        interpolation="nearest",
    )
    axis.set_ylabel(_("turns of the sound per wheel turn"), fontsize=SIZE, color=INK)
    axis.set_xlabel(_("time [s]"), fontsize=SIZE, color=INK)
    for harmonic in (1, 2, 3):
        order = harmonic * result.axle.ring_teeth
        if order < top:
            axis.annotate(
                f"{_harmonic(harmonic)} ({order})",
                (extent[1], order),
                xytext=(-3, 3),
                textcoords="offset points",
                ha="right",
                fontsize=SIZE,
                color=STRONG,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.85},
            )
            axis.plot([extent[0], extent[1]], [order, order], color=STRONG, lw=0.6, ls=(0, (1, 4)))
    axis.set_ylim(1.0, top)


def _segments(axis: Axes, result: Listening) -> None:
    """Speed over time with drive, coast and float named."""
    unit, unit_name = _speeds()
    speed = result.speed_mps / unit
    axis.plot(result.times_s, speed, color=INK, lw=1.2)
    low, high = float(speed.min()), float(speed.max())
    room = max(high - low, 5.0)
    axis.set_ylim(low - 0.15 * room, high + 0.45 * room)
    axis.set_xlim(float(result.times_s[0]), float(result.times_s[-1]))
    hatch = {"drive": "", "coast": "///", "float": "..."}
    for segment in result.segments:
        axis.axvspan(
            segment.start_s, segment.end_s, ymin=0.86, ymax=1.0, facecolor="#e3e8ee", edgecolor=QUIET,
            hatch=hatch[segment.kind], lw=0.4,
        )  # fmt: skip
        if segment.end_s - segment.start_s > 0.12 * result.recording.duration_s:
            axis.text(
                (segment.start_s + segment.end_s) / 2,
                high + 0.36 * room,
                _(segment.kind) + ("" if segment.sure else "?"),
                ha="center",
                va="center",
                fontsize=SIZE,
                color=INK,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6, "alpha": 0.85},
            )
    axis.set_ylabel(unit_name, fontsize=SIZE, color=INK)


def _shown_sources(result: Listening) -> list[tuple[SourceFinding, list[str]]]:
    """Return the sources worth showing, each with its words in lines that fit the width."""
    shown = [s for s in result.sources if s.probability >= 0.02][:7]
    return [
        (s, wrap(f"{source_name(s.name)}: {_(s.word)}, {100 * s.probability:.0f} %", LINE_LETTERS))
        for s in shown
    ]


def _rows(shown: list[tuple[SourceFinding, list[str]]]) -> float:
    """Return how many rows of one line the sources take."""
    return max(sum(1.0 + EXTRA_LINE * (len(lines) - 1) for _source, lines in shown), 1.0)


def _sources(axis: Axes, result: Listening) -> None:
    """Probabilities as bars, each with its word."""
    shown = _shown_sources(result)
    at = 0.0
    for source, lines in shown:
        at -= EXTRA_LINE * (len(lines) - 1)
        hatch = {"likely": "", "possible": "///", "unlikely": "..."}[source.word]
        share = 100 * source.probability
        axis.barh(at, share, height=0.34, color="#c9dcef", edgecolor=STRONG, hatch=hatch, lw=0.6)
        words = axis.text(0.0, at + 0.22, "\n".join(lines), fontsize=SIZE, color=INK, va="bottom")
        words.set_in_layout(False)
        at -= 1.0
    axis.set_xlim(0, 100)
    axis.set_ylim(at + 0.6, 0.75)
    axis.set_yticks([])
    axis.spines["left"].set_visible(False)
    axis.set_xlabel(_("probability [%]"), fontsize=SIZE, color=INK)


def draw_listening(result: Listening, path: str | Path) -> None:
    """Draw order map, speed with segments, and sources in one picture.

    Parameters
    ----------
    result : Listening
    path : str or Path
        PNG to write.
    """
    rows = _rows(_shown_sources(result))
    figure, axes = _figure(5.0 + 0.34 * rows, 3, [3.2, 1.1, 0.36 * rows + 0.25])
    _order_map(axes[0], result)
    _segments(axes[1], result)
    _sources(axes[2], result)
    _save(figure, path)


def draw_evidence(result: Listening, path: str | Path) -> None:
    """Draw how well each candidate fits over the error of the stated speed.

    Parameters
    ----------
    result : Listening
    path : str or Path
    """
    heard = result.heard
    names = sorted(
        (name for name in heard.families if name in BY_KEY), key=lambda name: -result.chances.get(name, 0.0)
    )[:4]
    figure, axes = _figure(3.6 + 0.18 * len(names))
    axis = axes[0]
    stated = float(heard.scales[int(np.argmax(heard.log_prior))])
    percent = (heard.scales - stated) * 100
    styles = ("-", "--", "-.", ":", (0, (5, 1, 1, 1)))
    colours = (STRONG, WARM, INK, QUIET, "#3a7d44")
    for index, name in enumerate(names):
        axis.plot(
            percent,
            heard.families[name],
            ls=styles[index],
            color=colours[index],
            lw=1.3,
            label=source_name(BY_KEY[name].name),
        )
    sigma = heard.sigma * 100
    axis.axvspan(-sigma, sigma, color="#eef2f6", zorder=0)
    across = axis.get_xaxis_transform()
    axis.text(0, 0.01, _("stated speed ±1 sd"), transform=across, ha="center", fontsize=SIZE - 1, color=QUIET)
    axis.set_xlabel(_("error of the stated speed that it would need [%]"), fontsize=SIZE, color=INK)
    axis.set_ylabel(_("evidence of its lines [nats]"), fontsize=SIZE, color=INK)
    figure.legend(loc="outside upper left", fontsize=SIZE, frameon=False, labelcolor=INK)
    _save(figure, path)


def _mark(axis: Axes, height: float, text: str, colour: str) -> None:
    """Name a level at the left edge, readable over points."""
    axis.text(
        0.01,
        height,
        text,
        transform=axis.get_yaxis_transform(),
        fontsize=SIZE,
        color=colour,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6, "alpha": 0.9},
    )


def draw_mesh_level(result: Listening, path: str | Path) -> None:
    """Draw each mesh harmonic's tone-to-noise ratio over speed, with the prominence limit.

    Parameters
    ----------
    result : Listening
    path : str or Path
    """
    figure, axes = _figure(3.4)
    axis = axes[0]
    unit, unit_name = _speeds()
    marks = ("o", "s", "^")
    colours = (STRONG, WARM, INK)
    for index, track in enumerate(result.tracks):
        good = np.isfinite(track.tone_to_noise_db)
        if good.sum() < 10:
            continue
        speed, ratio = track.speed_mps[good] / unit, track.tone_to_noise_db[good]
        name = _harmonic(track.harmonic)
        axis.plot(speed, ratio, marks[index], ms=1.6, color=colours[index], label=name)
    figure_limits = [h.limit_db for h in result.harmonics]
    if figure_limits:
        axis.axhline(figure_limits[0], color=STRONG, lw=0.8, ls="--")
        _mark(axis, figure_limits[0] + 0.5, _("×1 prominent"), STRONG)
    axis.axhline(-2.3, color=QUIET, lw=0.8, ls=":")
    axis.text(
        0.01, -2.0, _("about audible"), transform=axis.get_yaxis_transform(), fontsize=SIZE - 1, color=QUIET
    )
    axis.set_ylim(-15, max(20.0, max([*figure_limits, 0.0]) + 3))
    axis.set_xlabel(_("speed [{unit}]").format(unit=unit_name), fontsize=SIZE, color=INK)
    axis.set_ylabel(_("tone over band noise [dB]"), fontsize=SIZE, color=INK)
    if result.tracks:
        axis.legend(loc="upper right", fontsize=SIZE, frameon=False, markerscale=3, labelcolor=INK)
    _save(figure, path)


def draw_order_spectra(before: Listening, after: Listening, path: str | Path) -> None:
    """Draw the order spectra round the mesh harmonics, before and after.

    Parameters
    ----------
    before, after : Listening
        Both of the same axle, levels over each recording's own noise floor.
    path : str or Path
    """
    figure, axes = _figure(5.4, 3)
    ring = before.axle.ring_teeth
    for harmonic, axis in enumerate(axes, start=1):
        for result, style, colour, name in (
            (before, "-", QUIET, _("before")),
            (after, "-", STRONG, _("after")),
        ):
            spectra = result.heard.spectra
            place = np.arange(spectra.power.shape[1]) * STEP / np.exp(result.heard.family_scale("mesh"))
            inside = np.abs(place - harmonic * ring) < 7
            db = 10 * np.log10(spectra.ratio.mean(axis=0)[inside] + 1e-9)
            axis.plot(
                place[inside], db, ls=style, color=colour, lw=1.6 if result is before else 1.0, label=name
            )
        axis.set_ylim(-3, None)
        axis.set_title(_harmonic(harmonic), fontsize=SIZE, color=INK, loc="left")
    axes[0].legend(loc="upper right", fontsize=SIZE, frameon=False, labelcolor=INK)
    axes[1].set_ylabel(_("level over the noise [dB]"), fontsize=SIZE, color=INK)
    axes[2].set_xlabel(_("order per wheel turn"), fontsize=SIZE, color=INK)
    _save(figure, path)


def draw_before_after(result: BeforeAfter, path: str | Path) -> None:
    """Draw the change of each harmonic with its 90 % interval and verdict.

    Parameters
    ----------
    result : BeforeAfter
    path : str or Path
    """
    figure, axes = _figure(1.3 + 0.55 * len(result.changes))
    axis = axes[0]
    for row, change in enumerate(result.changes):
        axis.plot([change.low_db, change.high_db], [-row, -row], color=STRONG, lw=2)
        axis.plot([change.change_db], [-row], "o", color=STRONG, ms=5)
        text = f"{_harmonic(change.harmonic)}: {show_number(change.change_db, 1, signed=True)} dB, " + _(
            change.verdict
        )
        axis.text(0.0, -row + 0.32, text, transform=axis.get_yaxis_transform(), fontsize=SIZE, color=INK)
    axis.axvline(0, color=INK, lw=0.8)
    axis.set_yticks([])
    axis.set_ylim(-len(result.changes) + 0.5, 0.75)
    axis.spines["left"].set_visible(False)
    axis.set_xlabel(_("change of tone over noise [dB], 90 % interval"), fontsize=SIZE, color=INK)
    _save(figure, path)
