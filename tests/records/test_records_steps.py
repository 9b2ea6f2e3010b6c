"""The order of the job: what stands, what is next, why, and what it costs."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from axlewright.records import STEP_KEYS, STEPS, Entry, steps
from axlewright.setup import cautions_for


class Journal:
    """Entries written by hand, without a database."""

    def __init__(self) -> None:
        self.entries: list[Entry] = []

    def add(self, kind: Any, step: str, supersedes: int | None = None, **payload: Any) -> int:
        seq = len(self.entries) + 1
        at = datetime(2026, 3, 2, tzinfo=UTC)
        self.entries.append(Entry("0" * 32, seq, kind, step, payload, "bench one", at, supersedes=supersedes))
        return seq

    def ok(self, *names: str) -> Journal:
        for name in names:
            self.add("result", name, verdict="ok")
        return self

    def states(self) -> dict[str, str]:
        return {one.step.key: one.state for one in steps.step_statuses(self.entries)}

    def next(self) -> steps.NextStep:
        return steps.next_step(self.entries)


@pytest.fixture
def journal() -> Journal:
    return Journal()


def test_steps_are_in_the_order_of_the_job() -> None:
    assert " ".join(STEP_KEYS) == (
        "complaint as-found identity fits depth preload backlash pattern final close"
    )
    for place, one in enumerate(STEPS):
        assert set(one.follows_from) <= set(STEP_KEYS[:place]), "a step follows from earlier ones only"
        assert cautions_for(one.cautions)
        assert all((one.title, one.reads, one.why, one.cost, one.when_it_fails, one.redo_cost))


def test_new_job_begins_with_the_complaint(journal: Journal) -> None:
    after = journal.next()
    assert (after.key, after.left) == ("complaint", 10)
    assert "tyres" in str(after.why)
    assert "gears stay in" in str(after.cost)


def test_readings_begin_a_step_and_a_verdict_closes_it(journal: Journal) -> None:
    journal.add("reading", "complaint", value=1)
    assert journal.states()["complaint"] == "begun"
    assert journal.next().key == "complaint"
    journal.ok("complaint")
    assert journal.states()["complaint"] == "ok"
    assert journal.next().key == "as-found"
    journal.add("reading", "complaint", value=2)
    assert journal.next().key == "complaint"
    assert "newer than the last verdict" in str(journal.next().why)


def test_steps_may_be_done_in_any_order(journal: Journal) -> None:
    journal.ok("pattern")
    assert journal.next().key == "complaint"
    assert journal.states()["pattern"] == "ok"


def test_open_question_comes_before_the_steps_after_it(journal: Journal) -> None:
    journal.ok("complaint", "as-found")
    journal.add("result", "pattern", verdict="not ok")
    journal.add("result", "identity", verdict="ask", why="pair numbers 4417 and 4471: which is right?")
    after = journal.next()
    assert after.key == "identity"
    assert "answer" in str(after.title)
    assert "4471" in str(after.why)


def test_open_question_waits_for_the_steps_before_it(journal: Journal) -> None:
    journal.ok(
        "complaint", "as-found", "identity", "fits", "depth", "preload", "backlash", "pattern", "final"
    )
    journal.add("result", "close", verdict="ask", why="oil: not ticked yet.")
    assert journal.next().key == "close"
    journal.ok("depth")
    states = journal.states()
    assert [states[key] for key in ("preload", "backlash", "pattern", "final")] == ["again"] * 4
    assert states["close"] == "ask"
    assert (journal.next().key, journal.next().left) == ("preload", 5)
    journal.add("result", "pattern", verdict="not ok")
    assert journal.next().key == "preload", "a pattern is judged on preload and backlash that hold"
    journal.ok("preload", "backlash")
    assert journal.next().key == "pattern"


def test_failed_step_says_what_is_redone_and_what_that_costs(journal: Journal) -> None:
    journal.ok("complaint", "as-found", "identity", "fits", "depth", "preload", "backlash")
    journal.add("result", "pattern", verdict="not ok", why="both flanks at the top")
    after = journal.next()
    assert after.key == "pattern"
    assert "depth first, then backlash" in str(after.title)
    assert str(after.why) == "both flanks at the top"
    assert "bearing pressed off" in str(after.cost)


def test_what_depends_on_a_changed_step_is_due_again(journal: Journal) -> None:
    journal.ok("complaint", "as-found", "identity", "fits", "depth", "preload", "backlash", "pattern")
    journal.ok("depth")
    states = journal.states()
    assert [states[key] for key in ("preload", "backlash", "pattern")] == ["again"] * 3
    assert states["fits"] == "ok"
    assert journal.next().key == "preload"
    assert "depth and spacer changed since" in str(journal.next().why)
    journal.ok("preload", "backlash", "pattern", "final", "close")
    assert journal.next().key == ""
    assert journal.next().left == 0


def test_advice_of_before_a_change_is_not_given_again(journal: Journal) -> None:
    journal.ok("complaint", "as-found", "identity", "fits", "depth", "preload", "backlash")
    journal.add("result", "pattern", verdict="not ok", why="make the spacer thicker")
    journal.ok("depth", "preload", "backlash")  # the thicker spacer is in
    after = journal.next()
    assert (after.key, journal.states()["pattern"]) == ("pattern", "again")
    assert "thicker" not in f"{after.title} {after.why}"
    assert "backlash changed since" in str(after.why)
    journal.add("result", "pattern", verdict="ask", why="look at the marks")
    assert journal.states()["pattern"] == "ask"
    journal.ok("backlash")
    assert journal.states()["pattern"] == "again"


def test_what_is_outside_stays_so_when_only_a_reading_of_before_it_comes_later(journal: Journal) -> None:
    journal.ok("complaint", "as-found", "identity")
    journal.add("result", "depth", verdict="not ok", why="the wrong spacer is in")
    journal.ok("fits")
    assert journal.states()["depth"] == "not ok"
    assert str(journal.next().why) == "the wrong spacer is in"


def test_waived_step_is_closed_with_its_reason(journal: Journal) -> None:
    journal.ok("depth")
    journal.add("waiver", "fits", reason="new case")
    statuses = {one.step.key: one for one in steps.step_statuses(journal.entries)}
    assert (statuses["fits"].state, str(statuses["fits"].why)) == ("waived", "waived by bench one: new case")
    assert statuses["depth"].state == "ok", "a waiver changes nothing on the axle"


def test_superseded_verdict_does_not_count(journal: Journal) -> None:
    wrong = journal.add("result", "complaint", verdict="ok")
    journal.add("result", "complaint", supersedes=wrong, verdict="not ok", why="tyres")
    assert journal.states()["complaint"] == "not ok"


def test_sign_off_or_decision_closes_a_step(journal: Journal) -> None:
    journal.add("decision", "complaint", done=True, why="customer withdrew it")
    journal.add("sign-off", "close", statement="built as written")
    journal.add("decision", "as-found", text="look again tomorrow")
    states = journal.states()
    assert [states[key] for key in ("complaint", "close", "as-found")] == ["ok", "ok", "begun"]


def test_a_mismatched_set_stops_the_job_until_it_is_answered(journal: Journal) -> None:
    journal.ok("complaint", "as-found")
    journal.add("result", "fits", verdict="ask", why="which bearing?")
    assert steps.stopped_by(journal.entries) is None
    wrong = journal.add("result", "identity", verdict="not ok", why="not a pair")
    stopping = steps.stopped_by(journal.entries)
    assert stopping is not None
    assert str(stopping.why) == "not a pair"
    assert journal.next().key == "identity", "it stops the job"
    assert not steps.waits_behind("as-found", stopping)
    assert steps.waits_behind("depth", stopping)
    journal.add("waiver", "identity", reason="numbers worn off, teeth compared")
    assert steps.stopped_by(journal.entries) is None
    journal.add("result", "identity", verdict="not ok", why="still not a pair")
    assert steps.stopped_by(journal.entries) is not None
    journal.add("note", "identity", supersedes=wrong, text="taken back")
    assert steps.stopped_by(journal.entries) is not None, "the later one stands"
    journal.ok("identity")
    assert steps.stopped_by(journal.entries) is None
