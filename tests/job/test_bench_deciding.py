"""The job does not contradict itself: what patterns decided is not asked for the other way round."""

from __future__ import annotations

import pytest
from rolled_jobs import INCH, depth, read_of
from simulated_axles import Axle, axle_of, quick_diagnosis, summary

import axlewright.diagnosis
from axlewright.contact import Settings
from axlewright.diagnosis import cause
from axlewright.job import enter, job_view, sheet_data
from axlewright.job.pattern import answer_advice, enter_readings
from axlewright.job.signing import steps_not_done
from axlewright.language import eager as _
from axlewright.language import using_language
from axlewright.records import Job, JobStore
from axlewright.units import System, show_length, using_system

SUM = depth(0.0595, carrier_in=5.6220) | {
    "mark": "0",
    "mark_unit": "0.001 in",
    "mark_meaning": "plus_means_larger_mounting_distance",
}
"""5.6220 − 4.3125 − 1.2500 = 0.0595 in (plain geometry)."""
SOME_JOBS, MANY_JOBS = 8, 150


def holds(axle: Axle, limits: bool = True) -> None:
    """What must hold for every job that follows every advice.

    Parameters
    ----------
    limits : bool
        Whether a backlash outside its limit may not reverse the patterns' advice either.
    """
    said = summary(axle)
    assert [two for two in axle.reversed_asks() if limits or not two[1].limit] == [], said
    assert axle.stuck == "", said
    assert axle.accepted_at is not None, said
    assert set(axle.after_accepted) <= {"final", "close"}, said
    left = [step.key for step in steps_not_done(job_view(axle.store, axle.number))]
    assert left == ["close"], (said, left)
    axle.enter("close", road="quiet at all speeds", gone="gone", locks="yes", oil="yes")
    assert steps_not_done(job_view(axle.store, axle.number)) == ()


def test_no_step_asks_for_the_reverse_of_what_the_patterns_asked(
    store: JobStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Axles with the diagnosis as it is, with fewer samples: how sharp it is does not matter here."""
    monkeypatch.setattr(cause, "SAMPLES", 1024)
    for seed in range(SOME_JOBS):
        axle = axle_of(store, seed)
        axle.work()
        holds(axle)


def test_hundreds_of_jobs_that_follow_every_advice_can_be_signed(
    store: JobStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(axlewright.diagnosis, "diagnose", quick_diagnosis)
    monkeypatch.setattr(axlewright.diagnosis, "compare_expected", lambda *_a, **_k: None)
    moved = 0
    for seed in range(1000, 1000 + MANY_JOBS):
        axle = axle_of(store, seed)
        axle.work()
        holds(axle, limits=False)  # the stand-in foresees backlash too roughly to stay inside every limit
        moved += any(ask.step == "pattern" and ask.member == "pinion" for ask in axle.asks)
    assert moved > MANY_JOBS // 3, "the patterns move a pinion that the sum was content with"


def follow(store: JobStore, number: int) -> float:
    """Read the patterns of a pinion 0.127 mm out, follow the advice; return the spacer that went in [mm]."""
    first = enter_readings(store, number, read_of(Settings(0.127)), who="b")
    assert first.verdict == "not ok"
    fit = float(first.values["spacer_to_fit_mm"])
    advice = next(e for e in first.entries if e.kind == "advice")
    answer_advice(store, number, advice.seq, True, "", who="b")
    return fit


def test_a_spacer_fitted_on_the_patterns_evidence_is_right(store: JobStore, job: Job) -> None:
    assert enter(store, job.number, "depth", SUM, who="b").verdict == "ok"
    fit = follow(store, job.number)
    assert fit > (0.0595 + 0.0035) * INCH, "0.127 mm is 0.0050 in"
    second = enter(store, job.number, "depth", SUM | {"fitted": f"{fit:.4f} mm"}, who="b")
    assert second.verdict == "ok", second.why
    assert "as the contact pattern decided" in second.why
    assert second.values["spacer_mm"] == pytest.approx(0.0595 * INCH), "the sum stands as it was"
    assert second.values["decided_by"] == "advice"
    after = read_of(Settings(0.127 - (fit - 0.0595 * INCH)))
    third = enter_readings(store, job.number, after, who="b")
    assert third.values["expected_came"]["as_expected"]
    assert not any("do not agree" in q for q in third.questions), "the sum is not held against it again"
    assert enter(store, job.number, "pattern", {"accepted": "yes"}, who="b").verdict == "ok"
    view = job_view(store, job.number)
    assert view.step("depth").status.state == "ok"
    assert view.step("pattern").status.state == "ok"
    left = [step.key for step in steps_not_done(view)]
    assert "depth" not in left
    again = enter(store, job.number, "depth", SUM | {"fitted": f"{fit:.4f} mm"}, who="b")
    assert again.verdict == "ok"
    assert again.values["decided_by"] == "accepted"


def test_the_spacer_of_the_sum_put_back_is_too_thin_now(store: JobStore, job: Job) -> None:
    enter(store, job.number, "depth", SUM, who="b")
    fit = follow(store, job.number)
    back = enter(store, job.number, "depth", SUM, who="b")
    assert back.verdict == "not ok"
    assert "too far out" in back.why
    assert back.values["pinion_left_out_mm"] == pytest.approx(fit - 0.0595 * INCH)


def test_an_accepted_pattern_settles_a_depth_that_the_sum_does_not_like(store: JobStore, job: Job) -> None:
    red = enter(store, job.number, "depth", SUM | {"fitted": "0.0620"}, who="b")
    assert red.verdict == "not ok"
    enter_readings(store, job.number, read_of(Settings()), who="b")
    assert job_view(store, job.number).step("depth").status.state == "not ok", "not accepted yet"
    enter(store, job.number, "pattern", {"accepted": "yes", "reason": "looked at all round"}, who="b")
    status = job_view(store, job.number).step("depth").status
    assert status.state == "ok"
    assert "accepted with this spacer in" in status.why
    other = enter(store, job.number, "depth", SUM, who="b")
    assert other.verdict == "not ok", "the sum's own spacer is not the one the pattern was accepted with"
    assert "the contact pattern decided 0.0620 in" in other.why


def test_a_pattern_not_right_after_all_gives_the_word_back_to_the_sum(store: JobStore, job: Job) -> None:
    enter(store, job.number, "depth", SUM | {"fitted": "0.0620"}, who="b")
    enter(store, job.number, "pattern", {"accepted": "yes", "reason": "looked at all round"}, who="b")
    enter(store, job.number, "pattern", {"accepted": "no"}, who="b")
    assert job_view(store, job.number).step("depth").status.state == "not ok"


@pytest.mark.parametrize(
    ("place", "wider_in"), [("under_head", -0.0060), ("behind_cup", -0.0060), ("cage_flange", 0.0060)]
)
def test_with_another_bearing_the_pinion_is_to_stay_where_patterns_put_it(
    store: JobStore, job: Job, place: str, wider_in: float
) -> None:
    """A bearing 0.0060 in wider takes that much spacer, or asks for it under a cage (plain geometry)."""
    fields = SUM | {"place": place, "fitted": "0.0620"}
    if place == "cage_flange":
        fields |= {"carrier": "6.5030", "cage_height": "1.0000"}
    enter(store, job.number, "depth", fields, who="b")
    enter(store, job.number, "pattern", {"accepted": "yes", "reason": "looked at all round"}, who="b")
    wider = enter(store, job.number, "depth", fields | {"bearing": "1.2560"}, who="b")
    assert wider.values["wanted_mm"] == pytest.approx((0.0620 + wider_in) * INCH)


def test_patterns_of_another_set_decide_nothing(store: JobStore, job: Job) -> None:
    enter(store, job.number, "identity", {"pinion_number": "A 12", "ring_number": "A 12"}, who="b")
    enter(store, job.number, "depth", SUM | {"fitted": "0.0620"}, who="b")
    enter(store, job.number, "pattern", {"accepted": "yes", "reason": "looked at all round"}, who="b")
    enter(store, job.number, "identity", {"pinion_number": "B 7", "ring_number": "B 7"}, who="b")
    new = enter(store, job.number, "depth", SUM | {"fitted": "0.0620"}, who="b")
    assert new.verdict == "not ok"
    assert new.values["decided_by"] == "sum"


def test_an_advice_not_followed_decides_nothing(store: JobStore, job: Job) -> None:
    enter(store, job.number, "depth", SUM, who="b")
    first = enter_readings(store, job.number, read_of(Settings(0.127)), who="b")
    advice = next(e for e in first.entries if e.kind == "advice")
    answer_advice(store, job.number, advice.seq, False, "the photo was of the wrong tooth", who="b")
    assert enter(store, job.number, "depth", SUM, who="b").values["decided_by"] == "sum"


def test_measuring_again_is_not_asked_for_twice(store: JobStore, job: Job) -> None:
    asked = "Sum and patterns do not agree: measure the depth again before a bearing is pressed."
    enter(store, job.number, "depth", SUM, who="b")
    questions = enter_readings(store, job.number, read_of(Settings(0.127)), who="b").questions
    assert asked in map(str, questions)
    enter(store, job.number, "depth", SUM, who="b")
    second = enter_readings(store, job.number, read_of(Settings(0.127)), who="b")
    assert asked not in map(str, second.questions)
    assert "measured again as well" in second.values["sum_and_patterns"]


@pytest.mark.parametrize(
    ("language", "system", "line"),
    [
        (
            "en",
            "inch",
            "Spacer {fit}: decided by the accepted contact pattern; the sum gave 0.0595 in (1.511 mm).",
        ),
        (
            "de",
            "metric",
            "Scheibe {fit}: entschieden durch das angenommene Tragbild; die Rechnung ergab "
            "1,511 mm (0,0595 in).",
        ),
    ],
)
def test_the_sheet_says_which_evidence_decided(
    store: JobStore, job: Job, language: str, system: System, line: str
) -> None:
    def notes() -> tuple[str, ...]:
        with using_language(language), using_system(system):
            return sheet_data(store, job.number, system=system).steps[4].notes

    enter(store, job.number, "depth", SUM, who="b")
    with using_language(language), using_system(system):
        by_sum = _("Spacer {spacer}: decided by the depth sum.").format(spacer=show_length(1.5113, system))
    assert notes()[0] == by_sum
    fit = follow(store, job.number)
    enter(store, job.number, "depth", SUM | {"fitted": f"{fit:.4f} mm"}, who="b")
    enter_readings(store, job.number, read_of(Settings(0.127 - (fit - 0.0595 * INCH))), who="b")
    enter(store, job.number, "pattern", {"accepted": "yes"}, who="b")
    with using_language(language):
        shown = show_length(fit, system)
    assert notes()[0] == line.format(fit=shown)
