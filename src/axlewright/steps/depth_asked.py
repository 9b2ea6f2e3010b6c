"""What every way of finding pinion depth is asked for, and how its readings are written down."""

from __future__ import annotations

from dataclasses import dataclass, field

from axlewright.language import eager as _
from axlewright.setup import DepthMark, Instrument, RepeatedReadings, ShimPlace
from axlewright.steps.answers import Typed
from axlewright.steps.result import Result
from axlewright.units import Length

CARRIER_BAND_MM = (25.0, 1000.0)
BEARING_BAND_MM = (8.0, 150.0)
SPACER_BAND_MM = (0.1, 15.0)
"""Plausible sizes, wider than any axle known to the author (common practice, no source); outside them a
number is asked about, not refused."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What every way needs: the fields, the instrument, the place and the set's mark.

    Attributes
    ----------
    letters : dict of str to float
        What was read [mm], by its letter in the drawing of the way.
    """

    typed: Typed
    found: Result
    instrument: Instrument
    place: ShimPlace
    mark: DepthMark | None
    letters: dict[str, float] = field(default_factory=dict)

    def repeated(
        self, name: str, label: str, band: tuple[float, float], required: str, letter: str = ""
    ) -> RepeatedReadings:
        """Return readings taken several times and write them down."""
        values = self.typed.lengths(name, low=band[0], high=band[1], required=required)
        readings = RepeatedReadings(
            label, values, self.instrument, last_digit_mm=self.typed.last_digit_mm(name)
        )
        if letter:
            self.letters[letter] = readings.mean_mm
        for index, value in enumerate(readings.readings_mm, start=1):
            shown = (
                _("{what}, reading {index}").format(what=label, index=index) if readings.count > 1 else label
            )
            self.found.read_length(shown, value, self.typed.system, place=letter)
        return readings

    def length(
        self, name: str, label: str, band: tuple[float, float], required: str, letter: str = ""
    ) -> Length:
        """Return a length read once, with what the instrument alone contributes to its uncertainty."""
        value = self.typed.length(name, low=band[0], high=band[1], required=required)
        assert value is not None  # required
        self.found.read_length(label, value, self.typed.system, place=letter)
        if letter:
            self.letters[letter] = value
        return RepeatedReadings(label, (value,), self.instrument).quantity
