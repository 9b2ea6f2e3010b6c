"""The drawings of a step with its newest numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from axlewright.job.sheet import runout_plots
from axlewright.language import Shown, Text, _, joined
from axlewright.steps.drawings import (
    backlash_diagram,
    depth_diagram,
    gauge_diagram,
    sides_diagram,
    sleeve_diagram,
)
from axlewright.units import NM_PER_LBF_IN, Length, System

if TYPE_CHECKING:
    from axlewright.job.view import StepView


@dataclass(frozen=True, slots=True)
class Drawing:
    """One drawing.

    Attributes
    ----------
    svg : str
    caption : Text
        What it shows, as a sentence.
    on_paper : bool
        Drawn in the colours of paper; else it takes the page's own.
    """

    svg: str
    caption: Text
    on_paper: bool = False


def step_drawings(step: StepView, typed: Mapping[str, str], system: System) -> list[Drawing]:
    """Return the drawings of a step.

    Parameters
    ----------
    step : StepView
    typed : mapping of str to str
        What stands in the form now; decides on constructions where nothing was entered yet.
    system : {"inch", "metric"}
    """
    latest = step.latest
    values: Mapping[str, Any] = latest.result.values if latest is not None and latest.result else {}
    if step.key == "depth":
        return _depth(values, typed, system)
    if step.key == "backlash":
        return _backlash(values, typed, system)
    if step.key == "preload":
        return _preload(step, system)
    if step.key == "fits":
        return _runout(step, system)
    return []


def _letters(values: Mapping[str, Any], system: System) -> dict[str, str]:
    """Return what to write beside the letters; records from before they were kept hold them by name."""
    letters: dict[str, Any] = dict(values.get("letters_mm", {}))
    for letter, name in (
        ("A", "carrier_mean_mm"),
        ("D", "mounting_distance_mm"),
        ("T", "bearing_mean_mm"),
        ("S", "spacer_mm"),
        ("S", "wanted_mm"),
    ):
        if values.get(name) is not None:
            letters[letter] = values[name]
    return {letter: Length(float(value)).shown_in(system) for letter, value in letters.items()}


def _depth(values: Mapping[str, Any], typed: Mapping[str, str], system: System) -> list[Drawing]:
    letters = _letters(values, system)
    if "mark" in values:
        letters["M"] = f"{Shown(float(values['mark'])):+g}"
    place = str(typed.get("place") or values.get("place") or "under_head")
    out = [Drawing(depth_diagram(place, letters), _("Where each number sits. S is the spacer to fit."))]
    method = str(typed.get("method") or values.get("method") or "carrier")
    how = gauge_diagram(method, letters, rests=str(typed.get("rests", "")))
    if how:
        out.append(Drawing(how, _("How it is measured.")))
    return out


def _backlash(values: Mapping[str, Any], typed: Mapping[str, str], system: System) -> list[Drawing]:
    out = []
    if values.get("readings_mm"):
        out.append(
            Drawing(
                backlash_diagram(values["readings_mm"], system),
                _("Backlash round the ring gear, from the first reading clockwise."),
            )
        )
    shims = {
        letter: Length(float(values[name])).shown_in(system)
        for letter, name in (("R", "ring_side_new_mm"), ("O", "other_side_new_mm"))
        if values.get(name) is not None
    }
    words = (
        _("Side bearings. R and O are the shims to fit.") if shims else _("Side bearings: where R and O sit.")
    )
    return [*out, Drawing(sides_diagram(str(typed.get("sides", "")), shims), words)]


def _preload(step: StepView, system: System) -> list[Drawing]:
    steps: list[tuple[float, float]] = []
    last: Mapping[str, Any] = {}
    per, unit = (NM_PER_LBF_IN, "lb-in") if system == "inch" else (1.0, "N·m")
    for one in reversed(step.rounds):
        values = one.result.values if one.result else {}
        if values.get("nut_deg") is None or values.get("stop_line_nm") is None:
            continue
        steps.append((float(values["nut_deg"]), float(values["torque_nm"]) / per))
        last = values
    if not steps:
        return []
    low, high = (float(v) / per for v in last["limit_nm"])
    following = None
    if last.get("expected_nm") is not None and last.get("next_step_deg"):
        following = (steps[-1][0] + float(last["next_step_deg"]), float(last["expected_nm"]) / per)
    svg = sleeve_diagram(steps, low, high, float(last["stop_line_nm"]) / per, following, unit)
    return [Drawing(svg, _("Toward the crushed sleeve's preload. Past the stop line it is a new sleeve."))]


def _runout(step: StepView, system: System) -> list[Drawing]:
    plots = runout_plots(step, system)
    if not plots:
        return []
    from axlewright.sheets import round_plot_svg

    return [
        Drawing(
            round_plot_svg(plot, wide=260.0, high=160.0),
            joined(plot.title, plot.caption, between=". "),
            on_paper=True,
        )
        for plot in plots
    ]
