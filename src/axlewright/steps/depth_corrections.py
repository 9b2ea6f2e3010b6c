"""What goes into the carrier's sum besides the carrier: the head bearing's width and the temperature."""

from __future__ import annotations

from typing import TYPE_CHECKING

from axlewright.errors import AxlewrightError
from axlewright.language import Shown
from axlewright.language import eager as _
from axlewright.setup import (
    EXPANSIONS,
    RepeatedReadings,
    WidthClass,
    temperature_correction,
    unmeasured_bearing_width,
)
from axlewright.steps.depth_asked import BEARING_BAND_MM, Asked
from axlewright.steps.result import Reading
from axlewright.units import Length, show_length

if TYPE_CHECKING:
    from axlewright.setup import Expansion


def bearing_width(asked: Asked) -> tuple[Length, RepeatedReadings | None]:
    typed = asked.typed
    readings = asked.repeated(
        "bearing", _("head bearing width"), BEARING_BAND_MM, _("measure the bearing"), "T"
    )
    how = typed.choice("bearing_how", ("measured", "catalogue")) or "measured"
    if how == "measured":
        return readings.quantity, readings
    if readings.count != 1:
        raise typed.error(
            "bearing", _("the catalogue gives one width"), _("type that one, or say that it was measured")
        )
    bore = typed.length("bearing_bore", low=5.0, high=400.0, required=_("it decides the tolerance"))
    assert bore is not None  # required
    classes: dict[str, WidthClass] = {
        "metric_normal": "metric_normal",
        "metric_6X": "metric_6X",
        "inch_4_2": "inch_4_2",
        "inch_3_0": "inch_3_0",
    }
    chosen = typed.choice("bearing_class", tuple(classes), required=_("it decides the tolerance"))
    try:
        width = unmeasured_bearing_width(readings.mean_mm, bore, classes[chosen])
    except AxlewrightError as error:
        raise typed.error("bearing_class", error.what, error.fix) from error
    asked.found.questions.append(
        _(
            "The bearing's width is the catalogue's: from least to largest that is {width}, more than any "
            "spacer step. Measure it before anything is pressed."
        ).format(width=show_length(2.0 * 3.0**0.5 * width.standard_uncertainty, typed.system))
    )
    return width, None


def _expansion(asked: Asked) -> Expansion:
    chosen = asked.typed.choice("part_material", tuple(EXPANSIONS)) or "cast_iron"
    return EXPANSIONS[chosen]


def temperature_terms(asked: Asked, reading: Length) -> list[Length]:
    """Return the correction to 20 °C, or nothing where no temperature was typed."""
    typed, found = asked.typed, asked.found
    part, gauge = typed.temperature("part_temperature"), typed.temperature("gauge_temperature")
    if part is None and gauge is None:
        return []
    if part is None or gauge is None:
        missing = "part_temperature" if part is None else "gauge_temperature"
        raise typed.error(
            missing, _("nothing typed"), _("give both temperatures, or neither: their difference counts")
        )
    expansion, steel = _expansion(asked), EXPANSIONS["steel"]
    try:
        correction = temperature_correction(
            reading, part_temperature_c=part, gauge_temperature_c=gauge, part=expansion, gauge=steel
        )
    except AxlewrightError as error:
        raise typed.error("part_temperature", error.what, error.fix) from error
    for name, value in ((_("carrier's temperature"), part), (_("gauge's temperature"), gauge)):
        shown = f"{Shown(value):.1f} °C ({Shown(value * 1.8 + 32.0):.0f} °F)"
        found.readings.append(Reading(name, shown))
    found.notes.append(
        _(
            "Temperature: {length} × ({gauge:.1f}e-6 × ({gauge_c:.1f} − 20) − {part:.1f}e-6 × "
            "({part_c:.1f} − 20)) = {correction}. Expansion per °C: part {part_source}; "
            "gauge, steel, {gauge_source}."
        ).format(
            length=show_length(reading.mm, typed.system),
            gauge=Shown(steel.per_kelvin * 1e6),
            gauge_c=Shown(gauge),
            part=Shown(expansion.per_kelvin * 1e6),
            part_c=Shown(part),
            correction=show_length(correction.mm, typed.system, signed=True),
            part_source=expansion.source,
            gauge_source=steel.source,
        )
    )
    return [correction]
