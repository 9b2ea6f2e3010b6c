"""Pinion depth: what was measured in the carrier, the set's distance and mark give the spacer."""

from __future__ import annotations

from dataclasses import replace

from axlewright.language import eager as _
from axlewright.language import local_time
from axlewright.records.deciding import deciding
from axlewright.setup import (
    PLACE_WORDS,
    SHIM_PLACES,
    DepthMark,
    NextReading,
    RepeatedReadings,
    ShimPlace,
    SpacerResult,
    choose_limit,
    judge,
    most_useful_reading,
    outlier_question,
    pinion_out_of_shim_change_mm,
)
from axlewright.steps.answers import Typed
from axlewright.steps.depth_asked import CARRIER_BAND_MM, SPACER_BAND_MM, Asked
from axlewright.steps.depth_stock import from_shelf
from axlewright.steps.depth_ways import DIRECT, WAYS, find_way
from axlewright.steps.fitted import SAME_MM
from axlewright.steps.gauges import instrument_of
from axlewright.steps.identity import mark_of, mark_values, shown_mark
from axlewright.steps.result import Reading, Result
from axlewright.steps.step import Context
from axlewright.units import Length, show_length, shows_as_zero


def place_of(typed: Typed) -> ShimPlace:
    """Return where the shim sits; it is always asked."""
    chosen = typed.choice(
        "place", SHIM_PLACES, required=_("say where the shim sits; it decides which way the pinion moves")
    )
    for place in SHIM_PLACES:
        if place == chosen:
            return place
    raise AssertionError(chosen)  # the choice was checked


def _mark(typed: Typed, known: Context, found: Result) -> DepthMark | None:
    """Return the mark typed here, else the one settled at the set's identity."""
    identity = known.last_values("identity")
    if not typed.given("mark") and "mark" in identity:
        return DepthMark(float(identity["mark"]), identity["mark_unit"], identity["mark_meaning"])
    mark = mark_of(typed)
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


def _distance(typed: Typed, mark: DepthMark | None) -> tuple[Length | None, bool]:
    """Return the mounting distance and whether it is stamped on this very set."""
    way = typed.choice("method", WAYS) or "carrier"
    if way in ("gauge", "old"):
        return None, False
    stamped = way == "outright" or typed.choice("mounting_distance_of", ("design", "stamped")) == "stamped"
    distance_mm = typed.length(
        "mounting_distance",
        low=CARRIER_BAND_MM[0],
        high=CARRIER_BAND_MM[1],
        required=_("take it from the set's data or from the stamp"),
    )
    assert distance_mm is not None  # required above
    if stamped and way != "outright" and mark is not None and mark.value != 0.0:
        raise typed.error(
            "mounting_distance_of",
            _("a distance stamped on this set and a mark would count it twice"),
            _("say that it is the design's, or empty the mark"),
        )
    source = _("stamped on this set") if stamped else _("design data")
    return Length(distance_mm, label=_("mounting distance"), source=source), stamped


def find_depth(typed: Typed, known: Context) -> Result:
    """Work out the spacer, what is nearest on the shelf, and what the spacer fitted does."""
    found = Result()
    place = place_of(typed)
    instrument = instrument_of(typed, known)
    mark = _mark(typed, known, found)
    cage = typed.length("cage_height", low=-300.0, high=300.0)
    direct = (typed.choice("method", WAYS) or "carrier") in DIRECT
    if place == "cage_flange" and cage is None and direct:
        raise typed.error(
            "cage_height", _("nothing typed"), _("measure from the cage's flange face to its cup shoulder")
        )
    if cage is not None and not direct:
        raise typed.error(
            "cage_height", _("this way does without the cage's height"), _("empty it, or choose another way")
        )
    found.readings.append(Reading(_("where the shim sits"), _(PLACE_WORDS[place])))
    distance, stamped = _distance(typed, mark)
    asked = Asked(typed, found, instrument, place, mark)
    way = find_way(asked, distance, stamped)
    result = way.result
    if distance is not None:
        found.readings.append(
            Reading(
                _("mounting distance"),
                show_length(distance.mm, typed.system),
                place="D",
                note=str(distance.source),
            )
        )
    if mark is not None:
        found.readings.append(shown_mark(mark, place="M"))
    found.sums.append(
        replace(
            result.total,
            label=_("{place_words}, to fit").format(place_words=_(PLACE_WORDS[place])),
            note=_("Terms: {terms}").format(terms=", ".join(str(t.label) for t in result.terms)),
        )
    )
    if result.other_convention is not None and result.other_convention_difference_mm:
        found.sums.append(
            replace(
                result.other_convention,
                label=_("if plus meant the opposite"),
                note=_("{other_convention_difference_mm} from the one above").format(
                    other_convention_difference_mm=show_length(
                        result.other_convention_difference_mm, typed.system, signed=True
                    )
                ),
            )
        )
    found.questions += list(result.questions)
    if result.value_mm > SPACER_BAND_MM[1] or 0.0 < result.value_mm < SPACER_BAND_MM[0]:
        found.questions.append(
            _(
                "The sum gives {value_mm}, no usual spacer. Check the readings, the mounting "
                "distance and the design before anything is pressed."
            ).format(value_mm=show_length(result.value_mm, typed.system))
        )
    for readings in way.repeated:
        _say_readings(found, typed, readings)
    _say_what_helps(found, typed, most_useful_reading(result.total, way.repeated))
    found.values |= {
        "place": place,
        "method": typed.text("method") or "carrier",
        "spacer_mm": result.value_mm,
        "spacer_standard_uncertainty_mm": result.standard_uncertainty_mm,
        "spacer_95_mm": list(result.interval_95_mm),
        "other_convention_mm": None if result.other_convention is None else result.other_convention.value,
        "letters_mm": {letter: round(value, 6) for letter, value in (asked.letters | way.letters).items()},
        **way.values,
        **({} if mark is None else mark_values(mark)),
    }
    _say_carried_over(found, typed, known)
    _fit(found, typed, known, result)
    return found


def _say_readings(found: Result, typed: Typed, readings: RepeatedReadings) -> None:
    """Say what a careful person would of these readings; one that stands out is asked about."""
    doubt = outlier_question(readings)
    asked = None if doubt is None else doubt.text()
    found.notes += [note for note in readings.notes if note != asked]
    if doubt is None:
        return
    if typed.ticked("stands_out"):
        found.notes.append(
            _("{what}: reading {number} stands out and is said to be right.").format(
                what=readings.label, number=doubt.index + 1
            )
        )
        return
    found.questions.append(doubt.text(typed.system))


def _say_what_helps(found: Result, typed: Typed, helps: NextReading | None) -> None:
    """Name the reading to repeat, where that narrows the result by more than is shown of it."""
    if helps is None:
        return
    before, after = (
        show_length(half, typed.system) for half in (helps.expanded_before_mm, helps.expanded_after_mm)
    )
    if helps.gain_mm > 0.0002 and before != after:
        found.notes.append(
            _(
                "One more reading of the {label} would help most: ± {expanded_after_mm} "
                "instead of ± {expanded_before_mm}."
            ).format(label=helps.label, expanded_after_mm=after, expanded_before_mm=before)
        )


def _say_carried_over(found: Result, typed: Typed, known: Context) -> None:
    """Say when readings were filled in from an earlier entry, so that nobody takes them for new ones."""
    for entry in reversed(known.entries):
        if entry.step != "depth" or entry.kind != "reading":
            continue
        before = entry.payload.get("typed", {})
        same = [name for name in ("carrier", "bearing") if before.get(name, "").strip() == typed.text(name)]
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


def _fitted(found: Result, typed: Typed, known: Context, place: ShimPlace) -> float | None:
    """Return the spacer that is in [mm]: the one typed, else the last one said to be fitted in this job.

    None when none is known, or when it is not sure which one is in; that is then asked.
    """
    fitted = typed.length("fitted", low=SPACER_BAND_MM[0], high=SPACER_BAND_MM[1])
    last = known.fitted
    if last is None:
        found.read_length(_("spacer fitted"), fitted, typed.system, place="S")
        return fitted
    last_shown = show_length(last.mm, typed.system)
    same_place = last.counts and last.place == place
    if fitted is None and not same_place:
        found.questions.append(
            (
                _("Entry {seq} put {spacer} in another place: measure and type the spacer that is in here.")
                if last.counts
                else _(
                    "Entry {seq}, {spacer} fitted, was taken back: measure and type the spacer that is in."
                )
            ).format(seq=last.seq, spacer=last_shown)
        )
        return None
    carried = same_place and (fitted is None or abs(fitted - last.mm) < SAME_MM)
    if not carried:
        found.read_length(_("spacer fitted"), fitted, typed.system, place="S")
        return fitted
    found.readings.append(
        Reading(
            _("spacer fitted"),
            last_shown,
            place="S",
            note=_("from entry {seq} by {who}").format(seq=last.seq, who=last.who),
        )
    )
    found.notes.append(
        _(
            "Spacer fitted: {spacer}, from entry {seq} by {who}, {when}; taken to be in still. "
            "Measure and type another as soon as it goes in."
        ).format(spacer=last_shown, seq=last.seq, who=last.who, when=local_time(last.at))
    )
    found.values["fitted_from"] = last.seq
    return last.mm


def _fit(found: Result, typed: Typed, known: Context, result: SpacerResult) -> None:
    """Compare what is on the shelf and what was fitted with what is wanted."""
    of_sum = list(found.questions)
    fitted = _fitted(found, typed, known, result.place)
    is_in = {} if fitted is None else {"spacer_now_mm": fitted, "fitted": True}
    decides = deciding(known.entries, "depth", found.values | is_in)
    by_pattern = decides.pinion != "sum"
    wanted = result.value_mm if decides.spacer_mm is None else decides.spacer_mm
    found.values |= {"wanted_mm": wanted, "decided_by": decides.pinion, "decided_at": decides.seq}
    if by_pattern:  # what is asked about the sum does not hold up what no longer stands on it
        found.questions = found.questions[len(of_sum) :]
        found.notes += [
            _("Asked about the sum, which no longer decides: {question}").format(question=one)
            for one in of_sum
        ]
    choice = from_shelf(found, typed, known, wanted, result.place)
    limit = choose_limit("depth_remainder")
    want = show_length(wanted, typed.system)
    if fitted is not None:
        out = pinion_out_of_shim_change_mm(fitted - wanted, result.place)
        found.values |= {"spacer_now_mm": fitted, "pinion_left_out_mm": out, "fitted": True}
        found.judged(judge(out, limit))
        found.settle("")
        if shows_as_zero(out, typed.system) and by_pattern:
            words = _("Fitted {fitted}, as the contact pattern decided")
        elif by_pattern and out > 0:
            words = _(
                "Fitted {fitted}, the contact pattern decided {want}: the pinion sits {out} too far out"
            )
        elif by_pattern:
            words = _("Fitted {fitted}, the contact pattern decided {want}: the pinion sits {out} too far in")
        elif shows_as_zero(out, typed.system):
            words = _("Fitted {fitted}, wanted {want}: the pinion sits as computed")
        elif out > 0:
            words = _("Fitted {fitted}, wanted {want}: the pinion sits {out} too far out")
        else:
            words = _("Fitted {fitted}, wanted {want}: the pinion sits {out} too far in")
        words = words.format(
            fitted=show_length(fitted, typed.system), want=want, out=show_length(abs(out), typed.system)
        )
        if found.verdict == "ask":
            found.notes.append(f"{words}.")
        else:
            found.why = words
        return
    if choice is None:
        found.questions.append(
            _("Fit {want}, measure it and type it in: which one went in?").format(want=want)
        )
        found.settle("")
        return
    found.values |= {
        "spacer_now_mm": choice.thickness_mm,
        "pinion_left_out_mm": choice.pinion_out_mm,
        "fitted": False,
    }
    found.judged(judge(choice.pinion_out_mm, limit))
    found.settle(f"{choice.text(typed.system)} Wanted {want}")
