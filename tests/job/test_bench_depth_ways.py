"""Every way of finding pinion depth, as typed at the step; packs from the shelf; temperature."""

from __future__ import annotations

import pytest

from axlewright.job import FieldError, enter, put_on_shelf, work_out
from axlewright.language import using_language
from axlewright.records import Job, JobStore
from axlewright.steps.result import Result
from axlewright.units import using_system

INCH = 25.4
MARK = {"mark": "+2", "mark_unit": "0.001 in", "mark_meaning": "plus_means_larger_mounting_distance"}
SET = {"place": "under_head", "bearing": "1.2500 1.2500", "mounting_distance": "4.3125", **MARK}


def spacer_in(store: JobStore, job: Job, fields: dict[str, str]) -> float:
    return float(enter(store, job.number, "depth", fields, who="bench one").values["spacer_mm"]) / INCH


# The same axle measured in four ways: axis to shoulder 5.6254 in;
# 5.6254 - 4.3125 - 1.2500 - 0.002 = 0.0609.
@pytest.mark.parametrize(
    "way",
    [
        {"method": "carrier", "carrier": "5.6254"},
        {"method": "centred", "gap": "1.0006", "arbor": "2.5000", "block": "3.3748"},
        # Toward the pinion the arbor's own diameter cancels; away from it all of it counts.
        {
            "method": "resting",
            "gap": "1.0006",
            "arbor": "1.5000",
            "bore": "2.5000",
            "block": "3.3748",
            "rests": "toward_pinion",
        },
        {
            "method": "resting",
            "gap": "2.0006",
            "arbor": "1.5000",
            "bore": "2.5000",
            "block": "3.3748",
            "rests": "away_from_pinion",
        },
        {"method": "parting", "parting": "5.6244", "casting_depth": "1.2490", "cap_depth": "1.2510"},
    ],
)
def test_every_way_of_measuring_the_carrier_finds_the_same_spacer(
    store: JobStore, job: Job, way: dict[str, str]
) -> None:
    assert spacer_in(store, job, {**SET, **way}) == pytest.approx(0.0609, abs=1e-9)


def test_the_sum_shows_every_part_and_adds_up(store: JobStore, job: Job) -> None:
    fields = {**SET, "method": "centred", "gap": "1.0006", "arbor": "2.5000", "block": "3.3748"}
    outcome = enter(store, job.number, "depth", fields, who="b")
    assert outcome.sums[0].value == pytest.approx(0.0609 * INCH, abs=1e-9)
    assert outcome.sums[0].text("inch").startswith("1.0006 + 1.2500 + 3.3748 − ")


@pytest.mark.parametrize(
    ("old", "new", "place", "change"),
    [
        # TM 9-2320-280-34 p 19-12, table: -3 -> +2 is 0.005 in thinner; +4 -> -4 is 0.008 in thicker.
        ("-3", "+2", "under_head", -0.005),
        ("+4", "-4", "under_head", 0.008),
        # TM 5-3895-369-14 p 5-409, table new minus old: +2 -> -1 is 0.003 in thinner at the cage flange.
        ("+2", "-1", "cage_flange", -0.003),
    ],
)
def test_old_spacer_and_both_marks(
    store: JobStore, job: Job, old: str, new: str, place: str, change: float
) -> None:
    meaning = MARK["mark_meaning"]
    fields = {
        "place": place,
        "method": "old",
        "old_spacer": "0.0900 0.0900",
        "old_mark": old,
        "old_mark_unit": "0.001 in",
        "old_mark_meaning": meaning,
        "mark": new,
        "mark_unit": "0.001 in",
        "mark_meaning": meaning,
    }
    assert spacer_in(store, job, fields) == pytest.approx(0.0900 + change, abs=1e-9)
    # A wider new bearing takes the spacer's place under the head, and adds at the cage flange.
    wider = {**fields, "old_bearing": "1.2500", "bearing": "1.2530"}
    way = 1.0 if place == "cage_flange" else -1.0
    assert spacer_in(store, job, wider) == pytest.approx(0.0900 + change + way * 0.003, abs=1e-9)


def test_outright_distances_after_the_manual(store: JobStore, job: Job) -> None:
    # TM 10-3930-671-24: E = 0.034 + C - (B - 5.900) in; with B 5.904 and C +0.002 (worked here) 0.032 in.
    fields = {
        "place": "behind_cup",
        "method": "outright",
        "nominal_pack": "0.034",
        "nominal_distance": "5.900",
        "mounting_distance": "5.904",
        "case_deviation": "0.002",
    }
    assert spacer_in(store, job, fields) == pytest.approx(0.032, abs=1e-9)
    with pytest.raises(FieldError, match="count it twice"):
        enter(store, job.number, "depth", {**fields, **MARK}, who="b")


def test_the_gauge_that_reads_the_spacer(store: JobStore, job: Job) -> None:
    # TM 9-2320-280-34 ch 19: dial 3 means 0.103 in for a mark of 0; +2 then takes 0.002 in away.
    fields = {"place": "under_head", "method": "gauge", "dial": "3", **MARK}
    assert spacer_in(store, job, fields) == pytest.approx(0.101, abs=1e-9)
    own = {k: v for k, v in fields.items() if k != "dial"} | {"zero_spacer": "0.0905 0.0905"}
    assert spacer_in(store, job, own) == pytest.approx(0.0885, abs=1e-9)
    with pytest.raises(FieldError) as both:
        enter(store, job.number, "depth", {**own, "dial": "3"}, who="b")
    assert both.value.field == "dial"


def test_over_the_case_to_the_nose(store: JobStore, job: Job) -> None:
    # The pinion is seen at 1.000 + 4.000 / 2 + 1.3175 = 4.3175 in, 0.003 in beyond 4.3125 + 0.002.
    fields = {
        **{k: v for k, v in SET.items() if k != "bearing"},
        "method": "over_case",
        "gap": "1.0000",
        "case_diameter": "4.0000",
        "head_length": "1.3175",
        "fitted": "0.0600",
    }
    assert spacer_in(store, job, fields) == pytest.approx(0.0630, abs=1e-9)


def test_temperature_is_a_term_of_the_sum(store: JobStore, job: Job) -> None:
    warm = {**SET, "carrier": "5.6254", "part_temperature": "30 C", "gauge_temperature": "20 C"}
    plain = spacer_in(store, job, {**SET, "carrier": "5.6254"})
    outcome = enter(store, job.number, "depth", warm, who="b")
    # 5.6254 in of cast iron, 10.5e-6 per °C (textbook value, from memory), 10 °C warmer than the gauge.
    by = 5.6254 * -10.5e-6 * 10.0
    assert outcome.values["spacer_mm"] / INCH == pytest.approx(plain + by, abs=1e-8)
    assert any("from memory" in note for note in outcome.notes), "the coefficient's source is told"
    light = enter(store, job.number, "depth", {**warm, "part_material": "aluminium"}, who="b")
    assert light.values["spacer_mm"] < outcome.values["spacer_mm"]
    fahrenheit = {**warm, "part_temperature": "86", "gauge_temperature": "68 °F"}
    assert spacer_in(store, job, fahrenheit) == pytest.approx(plain + by, abs=1e-8)
    for bad in ({"gauge_temperature": ""}, {"part_temperature": "warm"}, {"part_temperature": "900 C"}):
        with pytest.raises(FieldError):
            enter(store, job.number, "depth", {**warm, **bad}, who="b")


def test_a_catalogue_width_is_told_to_be_too_coarse(store: JobStore, job: Job) -> None:
    measured = {**SET, "carrier": "5.6254", "bearing": "1.2500"}
    fields = {
        **measured,
        "bearing_how": "catalogue",
        "bearing_bore": "1.75",
        "bearing_class": "metric_normal",
    }
    outcome = enter(store, job.number, "depth", fields, who="b")
    assert outcome.verdict == "ask"
    assert any("catalogue" in question for question in outcome.questions)
    low, high = outcome.values["spacer_95_mm"]
    # ISO 492 as quoted in the notes: 0 to +0.20 mm, uniform, so 2 · 1.96 · 0.2/√12 wide.
    assert high - low == pytest.approx(2 * 1.96 * 0.2 / 12**0.5, rel=0.02)


def test_what_belongs_to_another_way_is_not_silently_left_out(store: JobStore, job: Job) -> None:
    with pytest.raises(FieldError, match="does not belong") as caught:
        enter(store, job.number, "depth", {**SET, "carrier": "5.6254", "gap": "1.0"}, who="b")
    assert caught.value.field == "gap"
    with pytest.raises(FieldError) as caught:
        enter(store, job.number, "depth", {**SET, "carrier": "5.6254", "cage_height": "1.0"}, who="b")
    assert caught.value.field == "cage_height"
    gauge = {"method": "gauge", "dial": "3", **MARK}
    for more, field in (
        ({"place": "cage_flange", "cage_height": "1.0"}, "cage_height"),
        (
            {"place": "under_head", "part_temperature": "30 C", "gauge_temperature": "20 C"},
            "part_temperature",
        ),
    ):
        with pytest.raises(FieldError) as caught:
            enter(store, job.number, "depth", {**gauge, **more}, who="b")
        assert caught.value.field == field


def test_a_cage_pack_has_three_leaves_thin_ones_outside(store: JobStore, job: Job) -> None:
    put_on_shelf(store, "pinion shim leaf", "0.003 0.005 0.010", count=4, who="b")
    fields = {**SET, "place": "cage_flange", "carrier": "5.5", "cage_height": "-0.0365"}
    outcome = enter(store, job.number, "depth", fields, who="b")
    # 4.3125 + 1.2500 - 0.0365 - 5.5000 + 0.002 = 0.0280 in; TM 10-3930-660-34 p 9-20: three leaves or more,
    # the thinnest on both outer faces.
    assert outcome.values["spacer_mm"] == pytest.approx(0.0280 * INCH)
    leaves = [round(v / INCH, 4) for v in outcome.values["shelf_leaves_mm"]]
    assert leaves == [0.003, 0.010, 0.010, 0.005]
    assert outcome.values["shelf_mm"] == pytest.approx(0.0280 * INCH)


def test_the_rounding_rule_is_chosen(store: JobStore, job: Job) -> None:
    put_on_shelf(store, "pinion spacer", "0.0600 0.0610", who="b")
    fields = {**SET, "carrier": "5.6254"}
    nearest = enter(store, job.number, "depth", fields, who="b")
    assert nearest.values["shelf_mm"] == pytest.approx(0.0610 * INCH)
    thinner = enter(store, job.number, "depth", {**fields, "rule": "nearest_but_not_thicker"}, who="b")
    assert thinner.values["shelf_mm"] == pytest.approx(0.0600 * INCH)


def test_what_to_order_when_the_shelf_does_not_reach(store: JobStore, job: Job) -> None:
    put_on_shelf(store, "pinion spacer", "0.0880", who="b")
    fields = {**SET, "carrier": "5.6557"}
    outcome = enter(store, job.number, "depth", fields, who="b")
    # 0.0912 in wanted; series 0.084 to 0.111 in by 0.0005 (TM 9-2320-280-34): 0.0910 in.
    assert outcome.values["order_mm"] == pytest.approx(0.0910 * INCH)
    assert any(str(note).startswith("To order: 0.0910 in") for note in outcome.notes)
    with pytest.raises(FieldError) as caught:
        enter(store, job.number, "depth", {**fields, "least_leaves": "3", "most_leaves": "2"}, who="b")
    assert caught.value.field == "least_leaves"


def test_a_pack_of_leaves_under_the_head_where_asked(store: JobStore, job: Job) -> None:
    put_on_shelf(store, "pinion spacer", "0.0550", who="b")
    put_on_shelf(store, "pinion shim leaf", "0.003", count=2, who="b")
    one = enter(store, job.number, "depth", {**SET, "carrier": "5.6254"}, who="b")
    assert one.values["shelf_leaves_mm"] == [pytest.approx(0.0550 * INCH)]
    pack = enter(store, job.number, "depth", {**SET, "carrier": "5.6254", "most_leaves": "3"}, who="b")
    assert pack.values["shelf_mm"] == pytest.approx(0.0610 * INCH)


def test_a_reading_that_stands_out_is_asked_about_before_anything_is_pressed(
    store: JobStore, job: Job
) -> None:
    put_on_shelf(store, "pinion spacer", "0.0610", who="b")
    fields = {**SET, "carrier": "5.6255 5.6254 5.6255 5.6254 5.6300", "resolution": "0.0001"}
    outcome = enter(store, job.number, "depth", fields, who="b")
    assert outcome.verdict == "ask"
    assert any("reading 5 lies" in question for question in outcome.questions)
    again = enter(store, job.number, "depth", {**fields, "stands_out": "yes"}, who="b")
    assert not any("reading 5" in question for question in again.questions)
    assert again.values["spacer_mm"] == outcome.values["spacer_mm"], "it counts until somebody says otherwise"


def test_a_torque_or_pull_far_off_is_asked_about(store: JobStore, job: Job) -> None:
    base = {"bearings": "new", "kind": "spacer"}
    for fields, field in (
        ({"torque": "20000"}, "torque"),
        ({"torque": "-3"}, "torque"),
        ({"force": "2 kN", "radius": "2"}, "force"),
    ):
        with pytest.raises(FieldError, match="unusual") as caught:
            enter(store, job.number, "preload", {**base, **fields}, who="b")
        assert caught.value.field == field
        assert caught.value.confirmable


def test_one_unit_of_the_last_place_is_not_asked_about(store: JobStore, job: Job) -> None:
    fields = {**SET, "carrier": "5.6254 5.6255 5.6254", "bearing": "1.2490 1.249 1.2491"}
    outcome = enter(store, job.number, "depth", fields, who="b")
    assert not any("lies" in question for question in outcome.questions)
    far = enter(store, job.number, "depth", {**fields, "bearing": "1.2490 1.249 1.2510"}, who="b")
    assert any("reading 3 lies" in question for question in far.questions)


def test_a_reading_that_gains_nothing_to_be_seen_is_not_asked_for(store: JobStore, job: Job) -> None:
    rough = {**SET, "carrier": "5.6230 5.6260", "bearing": "1.2500 1.2500"}
    notes = enter(store, job.number, "depth", rough, who="b").notes
    said = [note for note in notes if "would help most" in note]
    assert len(said) == 1
    assert "carrier" in said[0]
    many = " ".join(["5.6230", "5.6231"] * 20)
    notes = enter(
        store, job.number, "depth", {**rough, "carrier": many, "calibration": "0.001"}, who="b"
    ).notes
    assert not [note for note in notes if "would help most" in note]


def drawn(found: Result, language: str, system: str) -> list[str]:
    said = [
        found.why,
        *found.notes,
        *found.questions,
        *(text for one in found.sums for text in (one.label, one, one.note)),
        *(text for one in found.readings for text in (one.name, one.value, one.note)),
        *(text for one in found.limits for text in (one.name, one.allowed, one.read, one.source)),
        found.values["shelf_label"],
    ]
    with using_language(language), using_system(system):
        return [str(text) for text in said]


def test_what_is_entered_in_german_reads_in_english_and_the_words_first_shown_are_kept(
    store: JobStore, job: Job
) -> None:
    put_on_shelf(store, "pinion spacer", "0.0605", who="b")
    fields = {
        **SET,
        "method": "centred",
        "gap": "25.415 25.416 mm",
        "arbor": "63.500 mm",
        "block": "85.720 mm",
        "part_temperature": "30 C",
        "gauge_temperature": "20 C",
        "bearing_how": "catalogue",
        "bearing": "1.2500",
        "bearing_bore": "1.75",
        "bearing_class": "metric_normal",
    }
    direct = drawn(work_out(store, job.number, "depth", fields, who="b"), "en", "inch")
    with using_language("de"), using_system("metric"):
        first = enter(store, job.number, "depth", fields, who="b", system="inch")
    result = next(e for e in store.entries(job.number, kind="result") if e.step == "depth")
    kept = Result.of_payload(result.payload, first.readings)
    assert drawn(kept, "en", "inch") == direct
    german = drawn(kept, "de", "metric")
    assert result.payload["notes"][-1]["shown"] in drawn(kept, "de", "inch"), "kept as it was shown"
    assert any("half of arbor diameter" in text for text in direct)
    assert any("halbe" in text or "Hälfte" in text for text in german)
    assert "the spacer 0.0605 in (1.537 mm)" in direct
    assert "die Distanzscheibe 1,537 mm (0,0605 in)" in german
