"""Pinion depth: what was measured in the carrier, the set's distance and mark give the spacer.

Every way of measuring ends in one sum with its uncertainty; `shelf_choice` holds it against the shelf and the
spacer that is in the axle.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import starmap
from typing import TYPE_CHECKING, Final, cast

from axlewright.errors import AxlewrightError
from axlewright.language import Text, _, joined, n_
from axlewright.setup import (
    EXAMPLE_DIRECT_GAUGE,
    EXPANSIONS,
    MATERIAL_WORDS,
    PLACE_WORDS,
    REST_WORDS,
    WIDTH_CLASS_WORDS,
    DepthMark,
    Instrument,
    NextReading,
    RepeatedReadings,
    SpacerResult,
    WrittenSum,
    axis_to_nose_over_case,
    carrier_from_centred_arbor,
    carrier_from_parting_face,
    carrier_from_resting_arbor,
    most_useful_reading,
    mounting_distance_from_nose,
    outlier_question,
    spacer_from_carrier,
    spacer_from_fitted,
    spacer_from_nominal,
    spacer_from_old,
    spacer_from_zero_mark,
    temperature_correction,
    unmeasured_bearing_width,
)
from axlewright.steps.answers import Answers
from axlewright.steps.field import NOTE, RESOLUTION, WITH, Choice, Field
from axlewright.steps.gauges import instrument_of
from axlewright.steps.identity import (
    MARK,
    MARK_MEANING_CHOICES,
    MARK_UNIT_CHOICES,
    mark_of,
    mark_reading,
    mark_values,
)
from axlewright.steps.result import Result
from axlewright.steps.shelf_choice import SHELF, SHELF_FIELDS, SPACER_BAND_MM, choose_spacer
from axlewright.steps.step import Context, StepForm
from axlewright.units import Length, Quantity

if TYPE_CHECKING:
    from axlewright.setup import ArborRests, Material, ShimPlace, WidthClass

CARRIER_BAND_MM: Final = (25.0, 1000.0)
BEARING_BAND_MM: Final = (8.0, 150.0)
"""Plausible sizes, wider than any axle known to the author (common practice, no source); outside them a
number is asked about, not refused."""

WORTH_REPEATING_MM: Final = 0.0002
"""A reading that narrows the result by less is not asked for again (common practice, no source)."""

DIRECT: Final = ("carrier", "centred", "resting", "parting")
"""Ways that give the carrier reading, into which bearing, mounting distance and mark go."""


def judge_depth(answers: Answers, context: Context) -> Result:
    """Work out the spacer, what is nearest on the shelf, and what the spacer fitted does."""
    _need(answers)
    found = Result()
    place = cast("ShimPlace", answers.choice("place"))
    mark = _mark(answers, context, found)
    _check_cage(answers, place)
    distance, stamped = _distance(answers, mark)
    bench = Bench(answers, found, _instrument(answers, context), place, mark)
    way = _way(bench, distance, stamped)
    result = way.result
    if distance is not None:
        bench.notes["mounting_distance"] = distance.source
    found.readings += answers.readings(bench.notes)
    if mark is not None:
        found.readings.append(mark_reading(mark, place="M"))
    _add_sums(found, result)
    for readings in way.repeated:
        _say_readings(found, answers, readings)
    _say_what_helps(found, most_useful_reading(result.total, way.repeated))
    found.values |= {
        "place": place,
        "method": answers.choice("method"),
        "spacer_mm": result.value_mm,
        "spacer_standard_uncertainty_mm": result.standard_uncertainty_mm,
        "spacer_95_mm": list(result.interval_95_mm),
        "other_convention_mm": None if result.other_convention is None else result.other_convention.value,
        "letters_mm": {letter: round(value, 6) for letter, value in (bench.letters | way.letters).items()},
        **way.values,
        **({} if mark is None else mark_values(mark)),
    }
    _say_carried_over(found, answers, context)
    choose_spacer(found, answers, context, result)
    return found


def _need(answers: Answers) -> None:
    """Refuse what is empty of the fields that belong to the way chosen."""
    chosen = {name: answers.text(name) or one.default for name, one in answers.fields.items()}
    needed = [name for name, one in answers.fields.items() if one.missing and one.belongs(chosen)]
    if answers.choice("method") == "old":
        needed.remove("bearing")  # the same bearing may go in again
    answers.need(*needed)


def _instrument(answers: Answers, context: Context) -> Instrument:
    """Return what was measured with; a calibration uncertainty typed here wins over that of the list."""
    instrument, calibration = instrument_of(answers, context), answers.length("calibration")
    return instrument if calibration is None else replace(instrument, calibration_expanded_mm=calibration)


def _mark(answers: Answers, context: Context, found: Result) -> DepthMark | None:
    """Return the mark typed here, else the one settled at the set's identity."""
    identity = context.last_values("identity")
    if not answers.given("mark") and "mark" in identity:
        return DepthMark(float(identity["mark"]), identity["mark_unit"], identity["mark_meaning"])
    mark = mark_of(answers)
    if (
        mark is not None
        and "mark_mm" in identity
        and abs(float(identity["mark_mm"]) - mark.mounting_distance_deviation_mm) > 1e-9
    ):
        found.questions.append(
            _("The mark here ({text}) is not the one kept at the set's identity. Which is right?").format(
                text=mark.text()
            )
        )
    return mark


def _check_cage(answers: Answers, place: ShimPlace) -> None:
    """Refuse a cage's height where none goes in, and its lack where one does."""
    given, direct = answers.given("cage_height"), answers.choice("method") in DIRECT
    if place == "cage_flange" and direct and not given:
        raise answers.error(
            "cage_height", _("nothing typed"), _("measure from the cage's flange face to its cup shoulder")
        )
    if given and not direct:
        raise answers.error(
            "cage_height", _("this way does without the cage's height"), _("empty it, or choose another way")
        )


def _distance(answers: Answers, mark: DepthMark | None) -> tuple[Length | None, bool]:
    """Return the mounting distance and whether it is stamped on this very set."""
    distance_mm, outright = answers.length("mounting_distance"), answers.choice("method") == "outright"
    if distance_mm is None:
        return None, False
    stamped = outright or answers.choice("mounting_distance_of") == "stamped"
    if stamped and not outright and mark is not None and mark.value != 0.0:
        raise answers.error(
            "mounting_distance_of",
            _("a distance stamped on this set and a mark would count it twice"),
            _("say that it is the design's, or empty the mark"),
        )
    source = _("stamped on this set") if stamped else _("design data")
    return Length(distance_mm, label=_("mounting distance"), source=source), stamped


# The ways of measuring


@dataclass(frozen=True, slots=True)
class Bench:
    """What every way goes by: the answers, the instrument, the place of the shim and the set's mark.

    Attributes
    ----------
    letters : dict of str to float
        What was read [mm], by its letter in the drawing of the way.
    notes : dict of str to Text
        By field: what to add to its line among the readings.
    """

    answers: Answers
    found: Result
    instrument: Instrument
    place: ShimPlace
    mark: DepthMark | None
    letters: dict[str, float] = field(default_factory=dict)
    notes: dict[str, Text] = field(default_factory=dict)

    def repeated(self, name: str) -> RepeatedReadings:
        """Return readings that were taken several times."""
        return self._readings(name, self.answers.lengths(name), self.answers.last_digit_mm(name))

    def length(self, name: str) -> Length:
        """Return a length read once, with what the instrument alone contributes to its uncertainty."""
        value = self.answers.length(name)
        assert value is not None  # needed
        return self._readings(name, (value,)).quantity

    def _readings(self, name: str, values: tuple[float, ...], last_digit_mm: float = 0.0) -> RepeatedReadings:
        one = self.answers.fields[name]
        readings = RepeatedReadings(
            _(one.short or one.label), values, self.instrument, last_digit_mm=last_digit_mm
        )
        if one.place:
            self.letters[one.place] = readings.mean_mm
        return readings


@dataclass(frozen=True, slots=True)
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


def _way(bench: Bench, distance: Length | None, stamped: bool) -> Way:
    """Work out the spacer the way it was measured; `distance` is None for the ways that do without."""
    way = bench.answers.choice("method")
    if way == "gauge":
        return _gauge(bench)
    if way == "old":
        return _old(bench)
    assert distance is not None  # needed for all other ways
    if way == "outright":
        return _outright(bench, distance)
    if way == "over_case":
        return _over_case(bench, distance, stamped)
    return _direct(bench, way, distance, stamped)


def _merged(total: WrittenSum) -> list[Length]:
    """Return the terms of a sum as lengths that are simply added, the same quantity taken together."""
    factors: dict[Quantity, float] = {}
    for term in total.terms:
        factors[term.quantity] = factors.get(term.quantity, 0.0) + term.factor
    halves = {0.5: _("half of {what}"), -0.5: _("less half of {what}")}
    return [
        Length(
            factor * quantity.value,
            abs(factor) * quantity.standard_uncertainty,
            quantity.degrees_of_freedom,
            label=halves[factor].format(what=quantity.label) if factor in halves else quantity.label,
            source=quantity.source,
        )
        for quantity, factor in factors.items()
        if factor != 0.0
    ]


def _carrier_parts(bench: Bench, way: str) -> tuple[list[Length], RepeatedReadings]:
    """Return what adds up to the carrier reading, and the readings taken several times among it."""
    if way == "carrier":
        readings = bench.repeated("carrier")
        return [readings.quantity], readings
    if way == "parting":
        readings = bench.repeated("parting")
        total = carrier_from_parting_face(
            readings.quantity, bench.length("casting_depth"), bench.length("cap_depth")
        )
        return _merged(total), readings
    readings = bench.repeated("gap")
    arbor, block = bench.length("arbor"), bench.length("block")
    if way == "centred":
        return _merged(carrier_from_centred_arbor(readings.quantity, arbor, block)), readings
    rests = cast("ArborRests", bench.answers.choice("rests"))
    try:
        total = carrier_from_resting_arbor(
            readings.quantity, arbor, bench.length("bore"), block, arbor_rests=rests
        )
    except AxlewrightError as error:
        raise bench.answers.error("arbor", error.what, error.fix) from error
    return _merged(total), readings


def _direct(bench: Bench, way: str, distance: Length, stamped: bool) -> Way:
    """Work out the spacer from the carrier reading, however that was found."""
    parts, readings = _carrier_parts(bench, way)
    bearing, bearing_readings = _bearing_width(bench)
    carrier_mm = sum(part.mm for part in parts)
    low, high = CARRIER_BAND_MM
    if way != "carrier" and not low <= carrier_mm <= high:
        bench.found.questions.append(
            _("Axis to shoulder comes to {length}, which is unusual. Check what was typed.").format(
                length=Length(carrier_mm)
            )
        )
    cage = bench.answers.length("cage_height")
    result = spacer_from_carrier(
        parts[0],
        bearing,
        distance,
        bench.mark,
        place=bench.place,
        cage_height=None
        if cage is None
        else Length(cage, label=_("cage height"), source=bench.instrument.name),
        mounting_distance_is_this_sets=stamped,
        carrier_corrections=(*parts[1:], *_temperature_terms(bench, Length(carrier_mm))),
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


def _bearing_width(bench: Bench) -> tuple[Length, RepeatedReadings | None]:
    """Return the head bearing's width: measured, with its readings, or from the catalogue."""
    answers, readings = bench.answers, bench.repeated("bearing")
    if answers.choice("bearing_how") == "measured":
        return readings.quantity, readings
    if readings.count != 1:
        raise answers.error(
            "bearing", _("the catalogue gives one width"), _("type that one, or say that it was measured")
        )
    bore, width_class = answers.length("bearing_bore"), cast("WidthClass", answers.choice("bearing_class"))
    assert bore is not None  # needed
    try:
        width = unmeasured_bearing_width(readings.mean_mm, bore, width_class)
    except AxlewrightError as error:
        raise answers.error("bearing_class", error.what, error.fix) from error
    bench.found.questions.append(
        _(
            "The bearing's width is the catalogue's: from least to largest that is {width}, more than any "
            "spacer step. Measure it before anything is pressed."
        ).format(width=Length(2.0 * 3.0**0.5 * width.standard_uncertainty))
    )
    return width, None


def _temperature_terms(bench: Bench, reading: Length) -> list[Length]:
    """Return the correction to 20 °C, or nothing where no temperature was typed."""
    answers = bench.answers
    part_c, gauge_c = answers.temperature("part_temperature"), answers.temperature("gauge_temperature")
    if part_c is None and gauge_c is None:
        return []
    if part_c is None or gauge_c is None:
        raise answers.error(
            "part_temperature" if part_c is None else "gauge_temperature",
            _("nothing typed"),
            _("give both temperatures, or neither: their difference counts"),
        )
    part, gauge = (
        EXPANSIONS[cast("Material", answers.choice("part_material") or "cast_iron")],
        EXPANSIONS["steel"],
    )
    try:
        correction = temperature_correction(
            reading, part_temperature_c=part_c, gauge_temperature_c=gauge_c, part=part, gauge=gauge
        )
    except AxlewrightError as error:
        raise answers.error("part_temperature", error.what, error.fix) from error
    bench.found.notes.append(
        _(
            "Temperature: {length} × ({gauge:.1f}e-6 × ({gauge_c:.1f} − 20) − {part:.1f}e-6 × "
            "({part_c:.1f} − 20)) = {correction}. Expansion per °C: part {part_source}; "
            "gauge, steel, {gauge_source}."
        ).format(
            length=reading,
            gauge=gauge.per_kelvin * 1e6,
            gauge_c=gauge_c,
            part=part.per_kelvin * 1e6,
            part_c=part_c,
            correction=Length(correction.mm, signed=True),
            part_source=part.source,
            gauge_source=gauge.source,
        )
    )
    return [correction]


def _gauge(bench: Bench) -> Way:
    """Work out the spacer from a gauge that shows the one for a mark of 0."""
    answers, dial = bench.answers, bench.answers.number("dial")
    if (dial is None) == (not answers.given("zero_spacer")):
        raise answers.error(
            "dial",
            _("nothing typed") if dial is None else _("dial and spacer are both typed"),
            _("type the dial, or the spacer your gauge's own table gives for a mark of 0"),
        )
    if bench.mark is None:
        raise answers.error(
            "mark",
            _("the gauge gives the spacer for a mark of 0"),
            _("type the set's mark, 0 where it says 0"),
        )
    if dial is None:
        readings = bench.repeated("zero_spacer")
        return Way(spacer_from_zero_mark(readings.quantity, bench.mark, place=bench.place), [readings])
    try:
        zero = EXAMPLE_DIRECT_GAUGE.zero_mark_spacer(dial)
    except AxlewrightError as error:
        raise answers.error("dial", error.what, error.fix) from error
    bench.found.notes.append(
        _("Dial {dial:g} means {spacer} for a mark of 0 ({source}).").format(
            dial=dial, spacer=Length(zero.mm), source=EXAMPLE_DIRECT_GAUGE.source
        )
    )
    return Way(spacer_from_zero_mark(zero, bench.mark, place=bench.place))


def _old(bench: Bench) -> Way:
    """Work out the spacer from the one that came out and both marks."""
    answers, old = bench.answers, bench.repeated("old_spacer")
    old_mark = mark_of(answers, "old_mark")
    if (old_mark is None) != (bench.mark is None):
        raise answers.error(
            "old_mark" if old_mark is None else "mark",
            _("nothing typed"),
            _("give both marks, 0 where the gear says 0, or neither and let the pattern decide"),
        )
    if old_mark is not None:
        bench.notes["old_mark"] = old_mark.convention
    bearings = [bench.repeated(name) for name in ("old_bearing", "bearing") if answers.given(name)]
    if len(bearings) == 1:
        raise answers.error(
            "bearing" if answers.given("old_bearing") else "old_bearing",
            _("nothing typed"),
            _("measure both bearings, or leave both out when the same one goes in again"),
        )
    old_width, new_width = (one.quantity for one in bearings) if bearings else (None, None)
    result = spacer_from_old(
        old.quantity,
        old_mark,
        bench.mark,
        place=bench.place,
        old_bearing_width=old_width,
        new_bearing_width=new_width,
    )
    return Way(result, [old, *bearings])


def _outright(bench: Bench, distance: Length) -> Way:
    """Work out the spacer from distances stamped outright on case and set."""
    answers = bench.answers
    if bench.mark is not None and bench.mark.value != 0.0:
        raise answers.error(
            "mark", _("a stamped distance and a mark would count it twice"), _("empty the mark")
        )
    pack, nominal = bench.length("nominal_pack"), bench.length("nominal_distance")
    result = spacer_from_nominal(
        Length(pack.mm, label=pack.label, source=_("design data")),
        Length(
            answers.length("case_deviation") or 0.0,
            label=_("case deviation"),
            source=_("stamped on the case"),
        ),
        distance,
        Length(nominal.mm, label=nominal.label, source=_("design data")),
        place=bench.place,
    )
    return Way(result, [], {"D": distance.mm}, {"mounting_distance_mm": distance.mm})


def _over_case(bench: Bench, distance: Length, stamped: bool) -> Way:
    """Work out the spacer from where the pinion was seen over the differential case with one in."""
    answers, gap = bench.answers, bench.repeated("gap")
    case, head, fitted_mm = (
        bench.length("case_diameter"),
        bench.length("head_length"),
        answers.length("fitted"),
    )
    if fitted_mm is None:
        raise answers.error(
            "fitted", _("nothing typed"), _("measure the spacer that was in while this was read")
        )
    nose = axis_to_nose_over_case(gap.quantity, case)
    seen = mounting_distance_from_nose(nose.as_quantity(), head)
    bench.found.notes.append(
        _("The pinion stands at {now}: gap {gap} + half the case {half} + head {head}.").format(
            now=Length(seen.value),
            gap=Length(gap.mean_mm),
            half=Length(case.mm / 2.0),
            head=Length(head.mm),
        )
    )
    result = spacer_from_fitted(
        Length(fitted_mm, label=_("spacer that was in"), source=bench.instrument.name),
        _merged(WrittenSum(seen.label, (*nose.terms, *seen.terms[1:]))),
        distance,
        None if stamped else bench.mark,
        place=bench.place,
    )
    return Way(result, [gap], {"D": seen.value, "S": fitted_mm}, {"mounting_distance_mm": distance.mm})


# What is said about the sum


def _add_sums(found: Result, result: SpacerResult) -> None:
    """Add the sum, the same read with the other convention, and what is asked about them."""
    found.sums.append(
        replace(
            result.total,
            label=_("{place_words}, to fit").format(place_words=_(PLACE_WORDS[result.place])),
            note=_("Terms: {terms}").format(terms=joined(*(t.label for t in result.terms), between=", ")),
        )
    )
    if result.other_convention is not None and result.other_convention_difference_mm:
        found.sums.append(
            replace(
                result.other_convention,
                label=_("if plus meant the opposite"),
                note=_("{difference} from the one above").format(
                    difference=Length(result.other_convention_difference_mm, signed=True)
                ),
            )
        )
    found.questions += result.questions
    if result.value_mm > SPACER_BAND_MM[1] or 0.0 < result.value_mm < SPACER_BAND_MM[0]:
        found.questions.append(
            _(
                "The sum gives {thickness}, no usual spacer. Check the readings, the mounting "
                "distance and the design before anything is pressed."
            ).format(thickness=result.total.result)
        )


def _say_readings(found: Result, answers: Answers, readings: RepeatedReadings) -> None:
    """Say what a careful person would of these readings; one that stands out is asked about."""
    found.notes += readings.notes
    doubt = outlier_question(readings)
    if doubt is None:
        return
    if answers.ticked("stands_out"):
        found.notes.append(
            _("{what}: reading {number} stands out and is said to be right.").format(
                what=readings.label, number=doubt.index + 1
            )
        )
    else:
        found.questions.append(doubt.text())


def _say_what_helps(found: Result, helps: NextReading | None) -> None:
    """Name the reading to repeat, where that narrows the result by more than is shown of it."""
    if helps is None:
        return
    before, after = helps.expanded_before_mm, helps.expanded_after_mm
    if helps.gain_mm > WORTH_REPEATING_MM and round(before, 3) != round(after, 3):
        found.notes.append(
            _("One more reading of the {label} would help most: ± {after} instead of ± {before}.").format(
                label=helps.label, after=Length(after), before=Length(before)
            )
        )


def _say_carried_over(found: Result, answers: Answers, context: Context) -> None:
    """Say when readings were filled in from an earlier entry, so that nobody takes them for new ones."""
    for entry in reversed(context.entries):
        if entry.step != "depth" or entry.kind != "reading":
            continue
        before = entry.payload.get("typed", {})
        same = [
            name
            for name in ("carrier", "bearing")
            if answers.given(name) and before.get(name, "").strip() == answers.text(name)
        ]
        if same:
            words = {
                "carrier": _("Readings of carrier as entered before by {who}; not taken again."),
                "bearing": _("Readings of bearing width as entered before by {who}; not taken again."),
                "both": _(
                    "Readings of carrier and bearing width as entered before by {who}; not taken again."
                ),
            }["both" if len(same) == 2 else same[0]]
            found.notes.append(words.format(who=entry.who))
        return


OF_DIRECT: Final = f"method:{','.join(DIRECT)}"
TEMPERATURE: Final = n_("Temperature")

DEPTH: Final = StepForm(
    "depth",
    n_(
        "Carrier, bearing, mounting distance and mark give the spacer. "
        "Say where the shim sits and how you measured."
    ),
    (
        Field(
            "place",
            n_("Where the shim sits"),
            "choice",
            n_("It decides which way the pinion moves when the shim gets thicker."),
            choices=tuple(starmap(Choice, PLACE_WORDS.items())),
            sticky=True,
            missing=n_("say where the shim sits; it decides which way the pinion moves"),
            short=n_("where the shim sits"),
        ),
        Field(
            "method",
            n_("How the depth was found"),
            "choice",
            n_("With nothing chosen it counts as read directly."),
            choices=(
                Choice("carrier", n_("read directly, axis to the bearing's shoulder")),
                Choice("centred", n_("arbor held centred in the side bearing bores")),
                Choice("resting", n_("thinner arbor lying in the bores")),
                Choice("parting", n_("from the caps' parting face (two bore depths)")),
                Choice("gauge", n_("gauge that shows the spacer for a mark of 0")),
                Choice("old", n_("from the old spacer and both marks")),
                Choice("outright", n_("from distances stamped outright on case and set")),
                Choice("over_case", n_("over the differential case to the pinion's nose")),
            ),
            sticky=True,
            default="carrier",
            short=n_("how the depth was found"),
        ),
        Field(
            "carrier",
            n_("Carrier: ring gear axis to the bearing's shoulder"),
            "lengths",
            n_("Five readings, separated by spaces or new lines. At a cage flange: axis to the flange face."),
            place="A",
            sticky=True,
            only="method:carrier",
            missing=n_("read it five times"),
            usual=CARRIER_BAND_MM,
            short=n_("carrier"),
        ),
        Field(
            "gap",
            n_("Gap read"),
            "lengths",
            n_("Between arbor and gauge block, or between case and pinion nose. Five readings are better."),
            place="G",
            sticky=True,
            only="method:centred,resting,over_case",
            missing=n_("read it five times"),
            usual=(0.0, 300.0),
            short=n_("gap"),
        ),
        Field(
            "arbor",
            n_("Arbor diameter"),
            "length",
            place="d",
            sticky=True,
            only="method:centred,resting",
            missing=n_("measure the arbor"),
            usual=(5.0, 300.0),
            short=n_("arbor diameter"),
        ),
        Field(
            "bore",
            n_("Side bearing bore"),
            "length",
            place="b",
            sticky=True,
            only="method:resting",
            missing=n_("measure the bore"),
            usual=(5.0, 400.0),
            short=n_("side bearing bore"),
        ),
        Field(
            "block",
            n_("Gauge block, shoulder to the face read against"),
            "length",
            place="B",
            sticky=True,
            only="method:centred,resting",
            missing=n_("measure the block"),
            usual=(1.0, 500.0),
            short=n_("gauge block"),
        ),
        Field(
            "rests",
            n_("The arbor lies on the bore's side"),
            "choice",
            choices=tuple(starmap(Choice, REST_WORDS.items())),
            sticky=True,
            only="method:resting",
            missing=n_("say on which side of the bore the arbor lies; it decides the sign"),
            short=n_("the arbor lies"),
        ),
        Field(
            "parting",
            n_("Parting face to the bearing's shoulder"),
            "lengths",
            n_("Five readings are better."),
            place="P",
            sticky=True,
            only="method:parting",
            missing=n_("read it five times"),
            usual=CARRIER_BAND_MM,
            short=n_("parting face to shoulder"),
        ),
        Field(
            "casting_depth",
            n_("Half bore in the casting, depth from the parting face"),
            "length",
            sticky=True,
            only="method:parting",
            missing=n_("measure it"),
            usual=(5.0, 300.0),
            short=n_("bore depth in the casting"),
            place="R1",
        ),
        Field(
            "cap_depth",
            n_("Half bore in the cap, depth from the parting face"),
            "length",
            sticky=True,
            only="method:parting",
            missing=n_("measure it"),
            usual=(5.0, 300.0),
            short=n_("bore depth in the cap"),
            place="R2",
        ),
        Field(
            "dial",
            n_("Dial, in thousandths"),
            "number",
            n_("For a gauge that reads 0 to 11 for 0.100 to 0.111 in and 84 to 99 for 0.084 to 0.099 in."),
            only="method:gauge",
            short=n_("dial"),
        ),
        Field(
            "zero_spacer",
            n_("Or the spacer for a mark of 0 from your gauge's own table"),
            "lengths",
            only="method:gauge",
            usual=SPACER_BAND_MM,
            short=n_("spacer for a mark of 0"),
            place="S",
        ),
        Field(
            "old_spacer",
            n_("Spacer or pack that came out"),
            "lengths",
            n_("Measured at three places."),
            place="S",
            sticky=True,
            only="method:old",
            missing=n_("measure it"),
            usual=SPACER_BAND_MM,
            short=n_("spacer that came out"),
        ),
        Field(
            "old_bearing",
            n_("Head bearing that came out, or the set-up bearing"),
            "lengths",
            n_("Assembled width. Empty only when the same bearing goes in again."),
            sticky=True,
            only="method:old",
            usual=BEARING_BAND_MM,
            short=n_("head bearing that came out"),
        ),
        Field(
            "nominal_pack",
            n_("Pack of a nominal case with a nominal set"),
            "length",
            place="S",
            sticky=True,
            only="method:outright",
            missing=n_("take it from the data"),
            usual=SPACER_BAND_MM,
            short=n_("nominal pack"),
        ),
        Field(
            "case_deviation",
            n_("Stamped on the case: depth over or under nominal"),
            "length",
            n_("Plus when the shoulder lies farther from the ring gear's axis."),
            sticky=True,
            signed=True,
            only="method:outright",
            usual=(-2.0, 2.0),
            short=n_("case deviation"),
        ),
        Field(
            "nominal_distance",
            n_("Nominal mounting distance"),
            "length",
            sticky=True,
            only="method:outright",
            missing=n_("take it from the data"),
            usual=CARRIER_BAND_MM,
            short=n_("nominal mounting distance"),
        ),
        Field(
            "case_diameter",
            n_("Differential case diameter at the gap"),
            "length",
            place="C",
            sticky=True,
            only="method:over_case",
            missing=n_("measure the case"),
            usual=(20.0, 800.0),
            short=n_("differential case"),
        ),
        Field(
            "head_length",
            n_("Pinion head, back of head to nose"),
            "length",
            place="H",
            sticky=True,
            only="method:over_case",
            missing=n_("measure the head"),
            usual=(5.0, 300.0),
            short=n_("pinion head"),
        ),
        Field(
            "bearing",
            n_("Head bearing, assembled width"),
            "lengths",
            n_("Of the bearing that goes in. Cone and cup together, turned a few times under light load."),
            place="T",
            sticky=True,
            only=f"{OF_DIRECT},old",
            missing=n_("measure the bearing"),
            usual=BEARING_BAND_MM,
            short=n_("head bearing width"),
        ),
        Field(
            "bearing_how",
            n_("This width is"),
            "choice",
            choices=(Choice("measured", n_("measured")), Choice("catalogue", n_("from the catalogue only"))),
            default="measured",
            sticky=True,
            only=OF_DIRECT,
            listed=False,
        ),
        Field(
            "bearing_bore",
            n_("Bore of its cone"),
            "length",
            sticky=True,
            only="bearing_how:catalogue",
            missing=n_("it decides the tolerance"),
            usual=(5.0, 400.0),
            short=n_("bore of the head bearing's cone"),
        ),
        Field(
            "bearing_class",
            n_("Its width tolerance class"),
            "choice",
            choices=tuple(starmap(Choice, WIDTH_CLASS_WORDS.items())),
            sticky=True,
            only="bearing_how:catalogue",
            missing=n_("it decides the tolerance"),
            short=n_("width tolerance class"),
        ),
        Field(
            "mounting_distance",
            n_("Mounting distance"),
            "length",
            n_("Ring gear axis to the back of the pinion head. Filled in from the design where it is known."),
            place="D",
            sticky=True,
            only=f"{OF_DIRECT},outright,over_case",
            missing=n_("take it from the set's data or from the stamp"),
            usual=CARRIER_BAND_MM,
            short=n_("mounting distance"),
        ),
        Field(
            "mounting_distance_of",
            n_("This mounting distance is"),
            "choice",
            choices=(
                Choice("design", n_("the design's, for a mark of 0")),
                Choice("stamped", n_("stamped on this very set")),
            ),
            sticky=True,
            only=f"{OF_DIRECT},over_case",
            listed=False,
        ),
        Field(
            "cage_height",
            n_("Cage: flange face to cup shoulder"),
            "length",
            n_("Only for shims at the cage flange; positive toward the ring gear's axis."),
            place="c",
            sticky=True,
            signed=True,
            only="place:cage_flange",
            usual=(-300.0, 300.0),
            short=n_("cage height"),
        ),
        Field(
            "mark",
            n_("Depth mark as stamped"),
            "text",
            n_("Empty when there is none."),
            place="M",
            sticky=True,
            group=MARK,
            listed=False,
        ),
        Field(
            "mark_unit",
            n_("One unit of the mark is"),
            "choice",
            choices=MARK_UNIT_CHOICES,
            sticky=True,
            group=MARK,
            listed=False,
        ),
        Field(
            "mark_meaning",
            n_("Plus means"),
            "choice",
            choices=MARK_MEANING_CHOICES,
            sticky=True,
            group=MARK,
            listed=False,
        ),
        Field(
            "old_mark",
            n_("Depth mark of the old set"),
            "text",
            n_("With its sign; 0 where it says 0."),
            sticky=True,
            group=MARK,
            only="method:old",
            short=n_("depth mark of the old set"),
        ),
        Field(
            "old_mark_unit",
            n_("One unit of the old mark is"),
            "choice",
            choices=MARK_UNIT_CHOICES,
            sticky=True,
            group=MARK,
            only="method:old",
            listed=False,
        ),
        Field(
            "old_mark_meaning",
            n_("On the old set, plus means"),
            "choice",
            choices=MARK_MEANING_CHOICES,
            sticky=True,
            group=MARK,
            only="method:old",
            listed=False,
        ),
        Field(
            "part_temperature",
            n_("Carrier's temperature"),
            "temperature",
            n_("Leave both empty when gauge and carrier stood in the same room."),
            signed=True,
            group=TEMPERATURE,
            only=OF_DIRECT,
            short=n_("carrier's temperature"),
        ),
        Field(
            "gauge_temperature",
            n_("Gauge's temperature"),
            "temperature",
            signed=True,
            group=TEMPERATURE,
            only=OF_DIRECT,
            short=n_("gauge's temperature"),
        ),
        Field(
            "part_material",
            n_("The carrier is made of"),
            "choice",
            choices=tuple(starmap(Choice, MATERIAL_WORDS.items())),
            sticky=True,
            group=TEMPERATURE,
            only=OF_DIRECT,
            short=n_("the carrier is made of"),
        ),
        *SHELF_FIELDS,
        WITH,
        RESOLUTION,
        Field(
            "calibration",
            n_("Its calibration uncertainty (k = 2)"),
            "length",
            n_("From its certificate. Leave empty when not known."),
            sticky=True,
            group=n_("Instrument"),
            usual=(0.0, 1.0),
            listed=False,
        ),
        Field(
            "stands_out",
            n_("A reading that stands out was read again and is right"),
            "yes",
            n_("Only when one was asked about."),
            listed=False,
        ),
        NOTE,
    ),
    n_("Work out the spacer"),
    folded=(TEMPERATURE, SHELF),
    rule=judge_depth,
)
