"""What readings were taken with: as typed at the step, else as entered among the instruments."""

from __future__ import annotations

from axlewright.errors import AxlewrightError
from axlewright.language import _
from axlewright.setup import Instrument
from axlewright.steps.answers import Answers
from axlewright.steps.step import Context
from axlewright.units import parse_length


def instrument_of(answers: Answers, context: Context) -> Instrument:
    """Return what the readings were taken with, as far as it was said.

    The smallest step typed at the step wins over that of the list.
    """
    tool, resolution = context.instrument, answers.length("resolution")
    if resolution is None:
        resolution = 0.0 if tool is None else _listed(tool.resolution)
    return Instrument(
        answers.text("instrument") or _("instrument (not named)"),
        resolution_mm=resolution,
        calibration_expanded_mm=0.0 if tool is None else _listed(tool.uncertainty),
        calibrated_on="" if tool is None or tool.calibrated_on is None else tool.calibrated_on.isoformat(),
    )


def _listed(text: str) -> float:
    """Return a length from the list of instruments [mm]; 0 where none stands there with a unit."""
    try:
        value = parse_length(text.partition(",")[0]) if text.strip() else 0.0
    except AxlewrightError:
        return 0.0
    return value if 0.0 <= value <= 1.0 else 0.0
