"""The ways in which pinion depth is found: what was typed becomes a spacer with its sum."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

from axlewright.errors import AxlewrightError
from axlewright.language import Shown
from axlewright.language import eager as _
from axlewright.setup import (
    EXAMPLE_DIRECT_GAUGE,
    RepeatedReadings,
    SpacerResult,
    WrittenSum,
    axis_to_nose_over_case,
    carrier_from_centred_arbor,
    carrier_from_parting_face,
    carrier_from_resting_arbor,
    mounting_distance_from_nose,
    spacer_from_carrier,
    spacer_from_fitted,
    spacer_from_nominal,
    spacer_from_old,
    spacer_from_zero_mark,
)
from axlewright.steps.depth_asked import BEARING_BAND_MM, CARRIER_BAND_MM, SPACER_BAND_MM, Asked
from axlewright.steps.depth_corrections import bearing_width, temperature_terms
from axlewright.steps.identity import mark_of
from axlewright.steps.result import Reading
from axlewright.units import Length, Quantity, show_length

DIRECT: Final = ("carrier", "centred", "resting", "parting")
"""Ways that give the carrier reading, into which bearing, mounting distance and mark go."""
WAYS: Final = (*DIRECT, "gauge", "old", "outright", "over_case")


@dataclass(slots=True)
class Way:
    """What one way of finding the depth gave.

    Attributes
    ----------
    result : SpacerResult
    repeated : list of RepeatedReadings
        Readings taken several times, each by the label of its term.
    letters : dict of str to float
        Numbers for the drawing of the axle [mm], by their letter.
    values : dict
        Numbers to keep.
    """

    result: SpacerResult
    repeated: list[RepeatedReadings] = field(default_factory=list)
    letters: dict[str, float] = field(default_factory=dict)
    values: dict[str, float | list[float]] = field(default_factory=dict)


def find_way(asked: Asked, distance: Length | None, stamped: bool) -> Way:
    """Work out the spacer the way it was measured.

    Parameters
    ----------
    asked : Asked
    distance : Length or None
        Mounting distance; None for the ways that do without.
    stamped : bool
        Whether it is stamped on this very set.
    """
    way = asked.typed.choice("method", WAYS) or "carrier"
    if way == "gauge":
        return _gauge(asked)
    if way == "old":
        return _old(asked)
    assert distance is not None  # required for all other ways
    if way == "outright":
        return _outright(asked, distance)
    if way == "over_case":
        return _over_case(asked, distance, stamped)
    return _direct(asked, way, distance, stamped)


def _merged(total: WrittenSum) -> list[Length]:
    """Return the terms of a sum as lengths that are simply added, the same quantity taken together."""
    factors: dict[Quantity, float] = {}
    for term in total.terms:
        factors[term.quantity] = factors.get(term.quantity, 0.0) + term.factor
    halves = {0.5: _("half of {what}"), -0.5: _("less half of {what}")}
    out = []
    for quantity, factor in factors.items():
        if factor == 0.0:
            continue
        label = halves.get(factor, "{what}").format(what=quantity.label)
        out.append(
            Length(
                factor * quantity.value,
                abs(factor) * quantity.standard_uncertainty,
                quantity.degrees_of_freedom,
                label=quantity.label if factor == 1.0 else label,
                source=quantity.source,
            )
        )
    return out


def _carrier_parts(asked: Asked, way: str) -> tuple[list[Length], RepeatedReadings]:
    """Return what adds up to the carrier reading, and the readings taken several times among it."""
    block_band = (1.0, 500.0)
    if way == "carrier":
        readings = asked.repeated("carrier", _("carrier"), CARRIER_BAND_MM, _("read it five times"), "A")
        return [readings.quantity], readings
    if way == "parting":
        readings = asked.repeated(
            "parting", _("parting face to shoulder"), CARRIER_BAND_MM, _("read it five times"), "P"
        )
        casting = asked.length(
            "casting_depth", _("bore depth in the casting"), (5.0, 300.0), _("measure it"), "R1"
        )
        cap = asked.length("cap_depth", _("bore depth in the cap"), (5.0, 300.0), _("measure it"), "R2")
        return _merged(carrier_from_parting_face(readings.quantity, casting, cap)), readings
    readings = asked.repeated("gap", _("gap"), (0.0, 300.0), _("read it five times"), "G")
    arbor = asked.length("arbor", _("arbor diameter"), (5.0, 300.0), _("measure the arbor"), "d")
    block = asked.length("block", _("gauge block"), block_band, _("measure the block"), "B")
    if way == "centred":
        return _merged(carrier_from_centred_arbor(readings.quantity, arbor, block)), readings
    bore = asked.length("bore", _("side bearing bore"), (5.0, 400.0), _("measure the bore"), "b")
    chosen = asked.typed.choice(
        "rests",
        ("toward_pinion", "away_from_pinion"),
        required=_("say on which side of the bore the arbor lies; it decides the sign"),
    )
    rests: Literal["toward_pinion", "away_from_pinion"] = (
        "toward_pinion" if chosen == "toward_pinion" else "away_from_pinion"
    )
    try:
        total = carrier_from_resting_arbor(readings.quantity, arbor, bore, block, arbor_rests=rests)
    except AxlewrightError as error:
        raise asked.typed.error("arbor", error.what, error.fix) from error
    return _merged(total), readings


def _direct(asked: Asked, way: str, distance: Length, stamped: bool) -> Way:
    parts, readings = _carrier_parts(asked, way)
    bearing, bearing_readings = bearing_width(asked)
    carrier_mm = sum(part.mm for part in parts)
    low, high = CARRIER_BAND_MM
    if way != "carrier" and not low <= carrier_mm <= high:
        asked.found.questions.append(
            _("Axis to shoulder comes to {length}, which is unusual. Check what was typed.").format(
                length=show_length(carrier_mm, asked.typed.system)
            )
        )
    whole = Length(carrier_mm, label="carrier")
    cage = asked.typed.length("cage_height", low=-300.0, high=300.0)
    asked.found.read_length(_("cage height"), cage, asked.typed.system, place="c")
    result = spacer_from_carrier(
        parts[0],
        bearing,
        distance,
        asked.mark,
        place=asked.place,
        cage_height=None
        if cage is None
        else Length(cage, label=_("cage height"), source=asked.instrument.name),
        mounting_distance_is_this_sets=stamped,
        carrier_corrections=(*parts[1:], *temperature_terms(asked, whole)),
    )
    repeated = [readings, *([bearing_readings] if bearing_readings is not None else [])]
    letters = {"A": carrier_mm, "D": distance.mm, "T": bearing.mm}
    if cage is not None:
        letters["c"] = cage
    values: dict[str, float | list[float]] = {
        "carrier_mean_mm": carrier_mm,
        "bearing_mean_mm": bearing.mm,
        "mounting_distance_mm": distance.mm,
    }
    if way == "carrier":
        values["carrier_mm"] = [round(v, 6) for v in readings.readings_mm]
    return Way(result, repeated, letters, values)


def _gauge(asked: Asked) -> Way:
    typed = asked.typed
    dial = typed.number("dial")
    if (dial is None) == (not typed.given("zero_spacer")):
        raise typed.error(
            "dial",
            _("nothing typed") if dial is None else _("dial and spacer are both typed"),
            _("type the dial, or the spacer your gauge's own table gives for a mark of 0"),
        )
    if asked.mark is None:
        raise typed.error(
            "mark",
            _("the gauge gives the spacer for a mark of 0"),
            _("type the set's mark, 0 where it says 0"),
        )
    repeated: list[RepeatedReadings] = []
    if dial is not None:
        try:
            zero = EXAMPLE_DIRECT_GAUGE.zero_mark_spacer(dial)
        except AxlewrightError as error:
            raise typed.error("dial", error.what, error.fix) from error
        asked.found.readings.append(Reading(_("dial"), f"{Shown(dial):g}"))
        asked.found.notes.append(
            _("Dial {dial:g} means {spacer} for a mark of 0 ({source}).").format(
                dial=Shown(dial),
                spacer=show_length(zero.mm, typed.system),
                source=EXAMPLE_DIRECT_GAUGE.source,
            )
        )
    else:
        readings = asked.repeated("zero_spacer", _("spacer for a mark of 0"), SPACER_BAND_MM, "", "S")
        zero, repeated = readings.quantity, [readings]
    return Way(spacer_from_zero_mark(zero, asked.mark, place=asked.place), repeated)


def _old(asked: Asked) -> Way:
    typed = asked.typed
    old = asked.repeated("old_spacer", _("spacer that came out"), SPACER_BAND_MM, _("measure it"), "S")
    old_mark = mark_of(typed, name="old_mark")
    if (old_mark is None) != (asked.mark is None):
        raise typed.error(
            "old_mark" if old_mark is None else "mark",
            _("nothing typed"),
            _("give both marks, 0 where the gear says 0, or neither and let the pattern decide"),
        )
    repeated = [old]
    widths: list[Length | None] = []
    for name, label in (
        ("old_bearing", _("head bearing that came out")),
        ("bearing", _("head bearing that goes in")),
    ):
        if typed.given(name):
            readings = asked.repeated(name, label, BEARING_BAND_MM, "", "T")
            repeated.append(readings)
            widths.append(readings.quantity)
        else:
            widths.append(None)
    if (widths[0] is None) != (widths[1] is None):
        raise typed.error(
            "old_bearing" if widths[0] is None else "bearing",
            _("nothing typed"),
            _("measure both bearings, or leave both out when the same one goes in again"),
        )
    result = spacer_from_old(
        old.quantity,
        old_mark,
        asked.mark,
        place=asked.place,
        old_bearing_width=widths[0],
        new_bearing_width=widths[1],
    )
    return Way(result, repeated, {} if widths[1] is None else {"T": widths[1].mm})


def _outright(asked: Asked, distance: Length) -> Way:
    if asked.mark is not None and asked.mark.value != 0.0:
        raise asked.typed.error(
            "mark", _("a stamped distance and a mark would count it twice"), _("empty the mark")
        )
    nominal = asked.length("nominal_pack", _("nominal pack"), SPACER_BAND_MM, _("take it from the data"), "S")
    deviation_mm = asked.typed.length("case_deviation", low=-2.0, high=2.0) or 0.0
    asked.found.read_length(_("case deviation"), deviation_mm, asked.typed.system)
    plain = asked.length(
        "nominal_distance", _("nominal mounting distance"), CARRIER_BAND_MM, _("take it from the data")
    )
    exact = Length(plain.mm, label=plain.label, source="data")
    result = spacer_from_nominal(
        Length(nominal.mm, label=nominal.label, source="data"),
        Length(deviation_mm, label=_("case deviation"), source=_("stamped on the case")),
        distance,
        exact,
        place=asked.place,
    )
    return Way(result, [], {"D": distance.mm}, {"mounting_distance_mm": distance.mm})


def _over_case(asked: Asked, distance: Length, stamped: bool) -> Way:
    typed = asked.typed
    gap = asked.repeated("gap", _("gap"), (0.0, 300.0), _("read it five times"), "G")
    case = asked.length("case_diameter", _("differential case"), (20.0, 800.0), _("measure the case"), "C")
    head = asked.length("head_length", _("pinion head"), (5.0, 300.0), _("measure the head"), "H")
    fitted_mm = typed.length(
        "fitted",
        low=SPACER_BAND_MM[0],
        high=SPACER_BAND_MM[1],
        required=_("measure the spacer that was in while this was read"),
    )
    assert fitted_mm is not None  # required
    nose = axis_to_nose_over_case(gap.quantity, case)
    seen = mounting_distance_from_nose(nose.as_quantity(), head)
    asked.found.notes.append(
        _("The pinion stands at {now}: gap {gap} + half the case {half} + head {head}.").format(
            now=show_length(seen.value, typed.system),
            gap=show_length(gap.mean_mm, typed.system),
            half=show_length(case.mm / 2.0, typed.system),
            head=show_length(head.mm, typed.system),
        )
    )
    parts: Mapping[str, float] = {"D": seen.value, "S": fitted_mm}
    result = spacer_from_fitted(
        Length(fitted_mm, label=_("spacer that was in"), source=asked.instrument.name),
        _merged(WrittenSum(seen.label, (*nose.terms, *seen.terms[1:]))),
        distance,
        None if stamped else asked.mark,
        place=asked.place,
    )
    return Way(result, [gap], dict(parts), {"mounting_distance_mm": distance.mm})
