"""Readings once round the ring gear as plots, for the page and for paper."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from axlewright.language import eager as _
from axlewright.language import n_
from axlewright.steps.clock import zoned_time
from axlewright.units import MM_PER_INCH, System, show_length

if TYPE_CHECKING:
    from axlewright.job.view import StepView
    from axlewright.sheets import RoundPlot

FIT_POINTS: Final = 73
_RUNOUT: Final = (
    ("face_readings", n_("Runout of the ring gear's back face")),
    ("flange_readings", n_("Runout of the case flange")),
    ("turned_readings", n_("Runout of the back face, ring gear turned on its flange")),
)


def _per(system: System) -> tuple[float, str]:
    return (MM_PER_INCH, "in") if system == "inch" else (1.0, "mm")


def _angles(count: int) -> tuple[float, ...]:
    return tuple(360.0 * i / count for i in range(count))


def _values(step: StepView) -> Mapping[str, Any]:
    values: Mapping[str, Any] = {}
    if step.latest is not None and step.latest.result:
        values = step.latest.result.values
    return values


def backlash_plot(step: StepView, system: System) -> RoundPlot | None:
    """Return the newest backlash readings as a plot round the ring gear, or None when there are too few.

    The limits they were held against are drawn, the tightest place is ringed.
    """
    from axlewright.sheets import RoundPlot

    found = _values(step)
    values = found.get("readings_mm", ())
    if len(values) < 3 or step.latest is None:
        return None
    per, unit = _per(system)
    tightest = min(range(len(values)), key=lambda i: values[i])
    low, high = found.get("limit_mm") or (None, None)
    words = (
        _(
            "Read by {who}, {when}, at {count} even places. Ringed: the tightest, {least} at {angle}°; "
            "spread {spread}."
        )
        if low is None and high is None
        else _(
            "Read by {who}, {when}, at {count} even places. Ringed: the tightest, {least} at {angle}°; "
            "spread {spread}. Dashed: the limits for the tightest place."
        )
    )
    return RoundPlot(
        title=_("Backlash round the ring gear"),
        unit=unit,
        angles_deg=_angles(len(values)),
        values=tuple(round(v / per, 5) for v in values),
        limit=None if high is None else round(high / per, 5),
        lower_limit=None if low is None else round(low / per, 5),
        ringed=tightest,
        caption=words.format(
            who=step.latest.who,
            when=zoned_time(step.latest.at),
            count=len(values),
            least=show_length(values[tightest], system),
            angle=f"{360.0 * tightest / len(values):.0f}",
            spread=show_length(max(values) - min(values), system),
        ),
    )


def runout_plots(step: StepView, system: System) -> tuple[RoundPlot, ...]:
    """Return the newest runout readings as plots, each with its first and second harmonic."""
    from axlewright.setup import fit_runout
    from axlewright.sheets import RoundPlot

    per, unit = _per(system)
    plots = []
    for name, title in _RUNOUT:
        readings: Sequence[float] = _values(step).get(f"{name}_mm", ())
        if len(readings) < 4:
            continue
        fit = fit_runout(readings)
        angles = tuple(360.0 * i / (FIT_POINTS - 1) for i in range(FIT_POINTS))
        plots.append(
            RoundPlot(
                title=_(title),
                unit=unit,
                angles_deg=_angles(len(readings)),
                values=tuple(round(v / per, 5) for v in readings),
                fit_angles_deg=angles,
                fit_values=tuple(round(fit.value_mm(a) / per, 6) for a in angles),
                caption=_("Line: tilt and saddle fitted to the readings. {words}").format(words=fit.text()),
            )
        )
    return tuple(plots)
