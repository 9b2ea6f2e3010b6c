"""Draw flank, pattern, contact path, motion error and harmonics for paper (matplotlib)."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from axlewright.contact.once import write_atomically
from axlewright.contact.rolling import Rolling
from axlewright.language import Number, Shown, _

INK, MARK, PATH = "#1d2b33", "#d9a404", "#8c2f1b"


def rolling_figure(rollings: Sequence[Rolling]) -> bytes:
    """Return a PNG with one row for each flank: pattern and contact path, motion error, harmonics.

    Parameters
    ----------
    rollings : sequence of Rolling

    Returns
    -------
    bytes
        PNG, the same for the same input.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(11, 3.1 * len(rollings)), dpi=110, layout="constrained")
    FigureCanvasAgg(figure)
    grid = figure.add_gridspec(len(rollings), 3, width_ratios=(2.2, 2.0, 1.0))
    for row, rolling in enumerate(rollings):
        tooth = figure.add_subplot(grid[row, 0])
        mask = rolling.pattern.mask
        ny, nx = mask.shape
        x, y = np.linspace(-1, 1, nx), np.linspace(-1, 1, ny)
        near = rolling.pattern.nearness
        if near is not None:
            film = rolling.design.compound_film_mm
            shown = np.where(np.isfinite(near), near, 1.0)
            tooth.contourf(x, y, shown, levels=[-1.0, film], colors=[MARK], alpha=0.9)
            lines = tooth.contour(
                x, y, np.clip(shown * 1000, 0, 80), levels=[1000 * film, 20, 40], colors=INK, linewidths=0.7
            )
            tooth.clabel(lines, fmt=lambda v: f"{v:.0f} µm" if v > 10 else f"{Shown(v):.1f} µm", fontsize=7)
        else:
            tooth.contourf(x, y, mask.astype(float), levels=[0.5, 1.5], colors=[MARK])
        if len(rolling.contact_path):
            tooth.plot(rolling.contact_path[:, 0], rolling.contact_path[:, 1], ".", color=PATH, ms=3.5)
        if not rolling.pattern.empty:
            tooth.plot(*rolling.pattern.center, "+", color=INK, ms=11, mew=1.6)
        tooth.set(xlim=(-1, 1), ylim=(-1, 1), xticks=[-1, 0, 1], yticks=[-1, 0, 1])
        tooth.set_xticklabels([str(_("toe")), "", str(_("heel"))])
        tooth.set_yticklabels([str(_("root")), "", str(_("top"))])
        title = {
            ("drive", True): _("drive flank, {torque} N·m at the ring gear"),
            ("coast", True): _("coast flank, {torque} N·m at the ring gear"),
            ("drive", False): _("drive flank, no load"),
            ("coast", False): _("coast flank, no load"),
        }[rolling.flank, bool(rolling.torque_nm)].format(torque=Number(rolling.torque_nm, "g"))
        tooth.set_title(str(title), fontsize=10, loc="left")
        tooth.set_aspect(0.42)
        curve = figure.add_subplot(grid[row, 1])
        error = rolling.motion_error_urad
        turn = np.linspace(0, 2, 2 * len(error), endpoint=False)
        curve.plot(turn, np.tile(error, 2), color=INK, lw=1.4)
        curve.set_title(
            str(
                _("motion error, {motion_error_pp_urad} µrad peak to peak").format(
                    motion_error_pp_urad=Number(rolling.motion_error_pp_urad, ".0f")
                )
            ),
            fontsize=10,
            loc="left",
        )
        curve.set_xlabel("pitches of the ring gear", fontsize=8)
        curve.set_ylabel("µrad", fontsize=8)
        curve.grid(alpha=0.25)
        bars = figure.add_subplot(grid[row, 2])
        harmonics = rolling.harmonics_urad(6)
        bars.bar(np.arange(1, 7), harmonics, color=INK, width=0.6)
        bars.set_title(str(_("mesh harmonics, µrad")), fontsize=10, loc="left")
        bars.set_xticks(range(1, 7))
        bars.tick_params(labelsize=8)
        curve.tick_params(labelsize=8)
    first = rollings[0]
    s = first.settings
    title = _(
        "{name}: pinion {pinion_out_mm} mm out, ring gear {ring_away_mm} mm away, "
        "offset {offset_error_mm} mm, shaft angle {shaft_angle_error_deg}°"
    ).format(
        name=first.design.name,
        pinion_out_mm=Number(s.pinion_out_mm, "+.3f"),
        ring_away_mm=Number(s.ring_away_mm, "+.3f"),
        offset_error_mm=Number(s.offset_error_mm, "+.3f"),
        shaft_angle_error_deg=Number(s.shaft_angle_error_deg, "+.3f"),
    )
    figure.suptitle(str(title), fontsize=11, x=0.01, ha="left")
    out = io.BytesIO()
    figure.savefig(out, format="png", metadata={"Software": None})
    return out.getvalue()


def draw_rolling(rollings: Sequence[Rolling], path: Path) -> None:
    """Write `rolling_figure` to a file, all of it or nothing.

    Parameters
    ----------
    rollings : sequence of Rolling
    path : Path
    """
    write_atomically(Path(path), rolling_figure(rollings))
