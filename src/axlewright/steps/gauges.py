"""What readings were taken with: as typed at the step, else as entered among the instruments."""

from __future__ import annotations

from typing import Final

from axlewright.errors import AxlewrightError
from axlewright.language import eager as _
from axlewright.language import n_
from axlewright.setup import Instrument
from axlewright.steps.answers import Typed
from axlewright.steps.step import Context
from axlewright.units import parse_length

UNNAMED: Final = n_("instrument (not named)")


def instrument_of(typed: Typed, known: Context) -> Instrument:
    """Return what the readings were taken with, as far as it was said.

    Step and calibration uncertainty typed at the step win over those of the list.
    """
    tool = known.instrument
    listed = {"resolution": "", "calibration": ""}
    if tool is not None:
        listed = {"resolution": tool.resolution, "calibration": tool.uncertainty}
    values = {}
    for name, text in listed.items():
        value = typed.length(name, low=0.0, high=1.0)
        values[name] = _listed(text) if value is None else value
    return Instrument(
        typed.text("instrument") or _(UNNAMED),
        resolution_mm=values["resolution"],
        calibration_expanded_mm=values["calibration"],
        calibrated_on="" if tool is None or tool.calibrated_on is None else tool.calibrated_on.isoformat(),
    )


def _listed(text: str) -> float:
    """Return a length from the list of instruments [mm]; 0 where none stands there with a unit."""
    try:
        value = parse_length(text.partition(",")[0]) if text.strip() else 0.0
    except AxlewrightError:
        return 0.0
    return value if 0.0 <= value <= 1.0 else 0.0
