"""What was entered in one language and unit system reads in another as if it had been entered there."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import pytest
from test_every_field import GOOD

from axlewright.job import FORMS, enter, job_view, start_job
from axlewright.language import read_kept, using_language
from axlewright.records import JobStore
from axlewright.steps.result import Result
from axlewright.units import System, using_system

ROUND = "0 0.0005 0.0010 0.0005 0 -0.0005 -0.0010 -0.0005"
MORE: tuple[tuple[str, Mapping[str, str]], ...] = (
    ("complaint", {"heard": "whine", "when": "coast", "oil": "low", "others_out": "no", "speed": "40 mph"}),
    ("as-found", {"turning": "20 lb-in", "spacer": "0.0600 in"}),
    (
        "fits",
        {"bearings": "good", "face_readings": f"{ROUND} in", "flange_readings": f"{ROUND} in", "bolts": "10"},
    ),
    ("fits", {"bearings": "good", "flange_runout": "0.004 in", "limit_flange": "0.003 in"}),
    ("preload", {"bearings": "used", "kind": "spacer", "torque": "3 lb-in", "between": "cups"}),
    (
        "backlash",
        {
            "readings": "0.010 0.012 0.011 0.010 in",
            "axle": "truck",
            "limit_high": "0.008 in",
            "sides": "cones",
            "ring_side": "0.250 in",
            "other_side": "0.265 in",
            "caps_free": "15.315 in",
            "caps_loaded": "15.324 in",
            "rise": "9 lb-in",
            "end_play": "0.002 in",
        },
    ),
    (
        "backlash",
        {"stage": "zero", "axle": "light", "sides": "adjusters", "thread_pitch": "2 mm", "notches": "24"},
    ),
    ("pattern", {"accepted": "no"}),
    (
        "final",
        {"backlash": "0.006 0.009 in", "torque": "70 lb-in", "pattern": "changed", "limit_low": "15 lb-in"},
    ),
    ("close", {"road": "40 mph", "gone": "less"}),
)
ENTRIES = [*GOOD.items(), *MORE]


def words(result: Result) -> Iterator[str]:
    """Return everything that is said, one text at a time."""
    yield str(result.why)
    yield from (f"{one.name}: {one.value} {one.note}" for one in result.readings)
    yield from (f"{one.name}: {one.read}, {one.allowed} ({one.source})" for one in result.limits)
    for one in result.sums:
        yield f"{one.label}: {one} {one.note}"
    yield from map(str, result.notes)
    yield from map(str, result.questions)


def entered(store: JobStore, step: str, fields: Mapping[str, str], language: str, system: System) -> int:
    with using_language(language), using_system(system):
        number = start_job(store, design_name="TY-222", vehicle="milk lorry", who="b").number
        enter(store, number, step, fields, who="b", system=system)
    return number


def kept(store: JobStore, number: int, step: str, language: str, system: System) -> list[str]:
    with using_language(language), using_system(system):
        latest = job_view(store, number).step(step).latest
        assert latest is not None
        assert latest.result is not None
        return list(words(latest.result)) + [f"{one.name}: {one.value}" for one in latest.readings]


@pytest.mark.parametrize(
    ("step", "fields"), ENTRIES, ids=[f"{step}-{index}" for index, (step, _fields) in enumerate(ENTRIES)]
)
def test_an_entry_reads_in_the_readers_language_and_units(
    store: JobStore, step: str, fields: Mapping[str, str]
) -> None:
    fields = {**fields, "really": "yes"}
    german = entered(store, step, fields, "de", "inch")
    english = entered(store, step, fields, "en", "inch")
    in_english = kept(store, german, step, "en", "metric")
    assert in_english == kept(store, english, step, "en", "metric")
    in_german = kept(store, german, step, "de", "metric")
    assert in_german == kept(store, english, step, "de", "metric")
    assert in_german != in_english


def texts_kept(data: object) -> Iterator[Mapping[str, object]]:
    """Return every text in kept data that has the words it was first shown with."""
    if isinstance(data, Mapping):
        if "shown" in data:
            yield data
        for one in data.values():
            yield from texts_kept(one)
    elif isinstance(data, (list, tuple)):
        for one in data:
            yield from texts_kept(one)


@pytest.mark.parametrize("step", FORMS)
def test_the_words_as_first_shown_are_kept(store: JobStore, step: str) -> None:
    number = entered(store, step, GOOD[step], "de", "inch")
    texts = [one for entry in store.entries(number, step=step) for one in texts_kept(entry.payload)]
    assert texts
    with using_language("de"), using_system("inch"):
        assert [one["shown"] for one in texts] == [str(read_kept(one)) for one in texts]
