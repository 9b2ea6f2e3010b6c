"""The order of the job as data, how a step stands, and what to do next.

Steps may be done in any order, repeated, or waived with a reason. Nothing is overwritten: a step is done
again by entering new readings, and what depends on it is then asked for again.

How a step stands is read from its entries alone:

* a ``waiver`` closes it,
* a ``result`` with ``verdict`` "ok", or a ``decision`` with ``done`` true, closes it,
* a ``result`` with ``verdict`` "not ok" or "ask" leaves it open and says why (``payload["why"]``),
* a ``sign-off`` closes the last step,
* a step closed before one it depends on was closed again is due again;
* a step that moves the gears and is outside its limit, or has a question, is due again as well once another
  such step was judged after it: what it says to change belongs to a setting that is no more;
* a depth that is outside its limit, or has a question, is settled once a pattern was accepted with that
  spacer in: see `axlewright.records.deciding`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from axlewright.errors import RecordError
from axlewright.language import Text, _, joined, n_
from axlewright.records.deciding import Deciding, deciding
from axlewright.records.types import Entry

StepState = Literal["open", "begun", "ask", "not ok", "again", "ok", "waived"]
"""open: nothing entered; begun: readings without a verdict; ask: a question is open; not ok: outside its
limit; again: closed before something it depends on was changed; ok; waived: left out with a reason."""


@dataclass(frozen=True)
class Step:
    """One step of the job.

    Attributes
    ----------
    key : str
        Name used in entries.
    title, reads : str
        What the step is called and what is read.
    why : str
        Why it is done, one sentence.
    cost : str
        What doing it costs, in words.
    when_it_fails : str
        What is changed or redone when it is outside its limit.
    redo_cost : str
        What that costs, in words.
    follows_from : tuple of str
        Steps whose change makes this one due again.
    cautions : str
        Key into `axlewright.setup.CAUTIONS`.
    stops_job : bool
        Whether the job stops while this step is "not ok": later steps wait until it is answered, by another
        entry or by a waiver.
    """

    key: str
    title: str
    reads: str
    why: str
    cost: str
    when_it_fails: str
    redo_cost: str
    follows_from: tuple[str, ...]
    cautions: str
    stops_job: bool = False


STEPS: Final[tuple[Step, ...]] = (
    Step(
        key="complaint",
        title=n_("Complaint and road test"),
        reads=n_("what the customer hears or feels, driving mode, speed band, pitch"),
        why=n_("before anything is opened, tyres, wheel bearings and driveline have to be ruled out"),
        cost=n_("half an hour on the road, gears stay in"),
        when_it_fails=n_("the noise is not the axle's: look at tyres, wheel bearings and driveline first"),
        redo_cost=n_("half an hour, gears stay in"),
        follows_from=(),
        cautions="complaint",
    ),
    Step(
        key="as-found",
        title=n_("As-found readings"),
        reads=n_(
            "backlash at four to eight places, turning torque, end play, ring gear "
            "runout, rolled pattern, shims and caps tagged and photographed"
        ),
        why=n_("a used set goes back to where it ran, and what was found cannot be measured again later"),
        cost=n_("minutes, gears stay in"),
        when_it_fails=n_("nothing to redo: what was found is written down as it is"),
        redo_cost=n_("nothing"),
        follows_from=(),
        cautions="as_found",
    ),
    Step(
        key="identity",
        title=n_("Set identity"),
        reads=n_(
            "pair numbers on both members, depth marks, tooth counts, hand, tooth form, "
            "timing marks, ring gear thickness"
        ),
        why=n_("a mixed pair or the wrong ring gear cannot be set up with any shim"),
        cost=n_("minutes"),
        when_it_fails=n_("stop and answer: a pair that does not match is not used"),
        redo_cost=n_("another set"),
        follows_from=(),
        cautions="identity",
        stops_job=True,
    ),
    Step(
        key="fits",
        title=n_("Fits and flange runout"),
        reads=n_(
            "pinion journals and bores, case flange runout without ring gear, ring gear back face runout"
        ),
        why=n_("what runs out here comes back as changing backlash and a wandering pattern"),
        cost=n_("an hour, gears out"),
        when_it_fails=n_("bearings first, then the case; re-index the ring gear high to low"),
        redo_cost=n_("bearings pressed off, perhaps new parts"),
        follows_from=(),
        cautions="fits",
    ),
    Step(
        key="depth",
        title=n_("Pinion depth and spacer"),
        reads=n_("carrier depth several times, bearing width, depth mark with its meaning and unit"),
        why=n_("the spacer decides the pattern, and it is the dearest thing to correct later"),
        cost=n_("half an hour, gears out"),
        when_it_fails=n_("next spacer size"),
        redo_cost=n_("gears out, pinion bearing pressed off"),
        follows_from=("identity", "fits"),
        cautions="depth",
    ),
    Step(
        key="preload",
        title=n_("Pinion preload"),
        reads=n_("running torque turned by hand, new or used bearings, with or without seal"),
        why=n_("without preload the pinion moves under load and the pattern with it"),
        cost=n_("minutes, ring gear out"),
        when_it_fails=n_("another preload spacer or a new crush sleeve; a sleeve is never backed off"),
        redo_cost=n_("pinion nut off, new sleeve"),
        follows_from=("depth",),
        cautions="pinion_preload",
    ),
    Step(
        key="backlash",
        title=n_("Side bearings and backlash"),
        reads=n_("end play, side preload, backlash at four to eight places at the heel"),
        why=n_("the ring gear has to sit at its distance with both side bearings loaded"),
        cost=n_("half an hour, gears stay in with screw adjusters"),
        when_it_fails=n_("move the ring gear and keep the total of both sides"),
        redo_cost=n_("minutes with adjusters, caps off with shims"),
        follows_from=("depth", "preload"),
        cautions="backlash",
    ),
    Step(
        key="pattern",
        title=n_("Contact pattern"),
        reads=n_("drive and coast pattern at several places round the ring gear"),
        why=n_("the pattern is the proof that pinion and ring gear sit where the set was made to run"),
        cost=n_("minutes, gears stay in"),
        when_it_fails=n_("depth first, then backlash, and read backlash again every time"),
        redo_cost=n_("gears out and the pinion bearing pressed off for depth; minutes for backlash"),
        follows_from=("depth", "backlash"),
        cautions="pattern",
    ),
    Step(
        key="final",
        title=n_("Final build re-check"),
        reads=n_(
            "new bearings pressed, seal, nut and sleeve in place: preload, backlash and pattern once more"
        ),
        why=n_(
            "pressed bearings grow and set-up bearings differ, so the trial result has to be proved again"
        ),
        cost=n_("an hour"),
        when_it_fails=n_("back to the step that moved"),
        redo_cost=n_("gears out"),
        follows_from=("depth", "preload", "backlash", "pattern"),
        cautions="final_build",
    ),
    Step(
        key="close",
        title=n_("Close and sheet"),
        reads=n_("locks, caps, cover, oil, leak check, road test, signature"),
        why=n_("the signed sheet is what the customer and the next bench get"),
        cost=n_("an hour with the road test, gears stay in"),
        when_it_fails=n_("back to the complaint with the new readings"),
        redo_cost=n_("depends on what is found"),
        follows_from=("final",),
        cautions="close",
    ),
)

_BY_KEY: Final = {step.key: step for step in STEPS}
STEP_KEYS: Final[tuple[str, ...]] = tuple(_BY_KEY)
MOVING: Final = ("depth", "preload", "backlash", "pattern")
"""Steps that move the gears or say how they run: what was advised before them no longer fits."""


def step(key: str) -> Step:
    """Return the step with this key.

    Raises
    ------
    RecordError
        When there is none.
    """
    if key not in _BY_KEY:
        raise RecordError(
            _("there is no step '{key}'").format(key=key),
            where=_("step"),
            fix=_("the steps are {step_keys}").format(step_keys=", ".join(STEP_KEYS)),
        )
    return _BY_KEY[key]


@dataclass(frozen=True)
class StepStatus:
    """How one step of one job stands.

    Attributes
    ----------
    why : Text
        One sentence, from the deciding entry where there is one.
    decided_at_seq : int or None
        The `seq` of the deciding entry.
    """

    step: Step
    state: StepState
    why: Text
    decided_at_seq: int | None = None


@dataclass(frozen=True)
class NextStep:
    """The next thing to do; `key` is empty when nothing is left.

    Attributes
    ----------
    title, why, cost : Text
        What, why, and what it costs.
    left : int
        Steps still to do, this one included.
    stops : bool
        Whether it stops the job until it is answered.
    """

    key: str
    title: Text
    why: Text
    cost: Text
    left: int
    stops: bool = False


def standing(entries: Sequence[Entry]) -> list[Entry]:
    """Return the entries that no other entry supersedes."""
    gone = {entry.supersedes for entry in entries if entry.supersedes is not None}
    return [entry for entry in entries if entry.seq not in gone]


def _own_status(one: Step, entries: Sequence[Entry]) -> StepStatus:
    if all(entry.kind == "note" for entry in entries):  # such as on what was taken back
        return StepStatus(one, "open", _(one.why))
    state: StepState = "begun"
    why: Text = _("readings without a verdict yet")
    decided: int | None = None
    for entry in entries:
        if entry.kind == "waiver":
            state, decided = "waived", entry.seq
            why = _("waived by {who}: {text}").format(who=entry.who, text=entry.said("reason", "why"))
        elif entry.kind == "result" and entry.payload.get("verdict") in ("ok", "not ok", "ask"):
            state, decided = entry.payload["verdict"], entry.seq
            fallback = {
                "ok": _("within its limit"),
                "not ok": _(one.when_it_fails),
                "ask": _("a question is open"),
            }
            why = entry.said("why", "text") or fallback[state]
        elif (entry.kind == "decision" and entry.payload.get("done") is True) or entry.kind == "sign-off":
            state, decided = "ok", entry.seq
            why = entry.said("why", "text", "statement") or _("decided by {who}").format(who=entry.who)
        elif entry.kind == "reading" and decided is not None:
            state, decided = "begun", None
            why = _("there are readings newer than the last verdict")
    return StepStatus(one, state, why, decided)


def step_statuses(entries: Sequence[Entry]) -> list[StepStatus]:
    """Say how each step of a job stands, in the order of the job.

    Parameters
    ----------
    entries : sequence of Entry
        All entries of the job, oldest first.
    """
    counted = standing(entries)
    decides = deciding(counted)
    statuses: dict[str, StepStatus] = {}
    for one in STEPS:
        own = _settled(_own_status(one, [entry for entry in counted if entry.step == one.key]), decides)
        if own.state in ("ok", "not ok", "ask") and own.decided_at_seq is not None:
            later = [
                statuses[key]
                for key in one.follows_from
                if statuses[key].state != "waived"
                and (own.state == "ok" or (one.key in MOVING and key in MOVING))
                and (
                    (statuses[key].decided_at_seq or 0) > own.decided_at_seq or statuses[key].state == "again"
                )
            ]
            if later:
                names = joined(*(_(status.step.title) for status in later), between=", ")
                own = StepStatus(
                    one, "again", _("{names} changed since").format(names=names), own.decided_at_seq
                )
        statuses[one.key] = own
    return list(statuses.values())


def _settled(own: StepStatus, decides: Deciding) -> StepStatus:
    """Return a depth that an accepted pattern settles as done: it outranks what the sum asks for."""
    if (
        own.step.key != "depth"
        or own.state not in ("not ok", "ask")
        or decides.pinion != "accepted"
        or (own.decided_at_seq or 0) > (decides.seq or 0)
    ):
        return own
    why = _("the pattern accepted with this spacer in decides (entry {seq})").format(seq=decides.seq or 0)
    return replace(own, state="ok", why=why)


def _stopping(statuses: Sequence[StepStatus]) -> StepStatus | None:
    return next((one for one in statuses if one.step.stops_job and one.state == "not ok"), None)


def not_done(entries: Sequence[Entry]) -> list[StepStatus]:
    """Return the steps a signature would cover although they are open, due again, not ok or asked about."""
    return _due(step_statuses(entries))


def _due(statuses: Sequence[StepStatus]) -> list[StepStatus]:
    return [status for status in statuses if status.state not in ("ok", "waived")]


def stopped_by(entries: Sequence[Entry]) -> StepStatus | None:
    """Return the step that stops the job, or None: while it is "not ok" the steps after it wait.

    It is answered by entering it again, by taking its reading back, or by a waiver with a reason.
    """
    return _stopping(step_statuses(entries))


def waits_behind(key: str, stopping: StepStatus) -> bool:
    """Whether a step has to wait for the step that stops the job: all that come after it do."""
    return STEP_KEYS.index(key) > STEP_KEYS.index(stopping.step.key)


def next_step(entries: Sequence[Entry]) -> NextStep:
    """Return the next thing to do, why, and what it costs.

    What stops the job comes first, then the first step in the order of the job that is open, due again,
    outside its limit or has a question: what comes later stands on it.
    """
    statuses = step_statuses(entries)
    due = _due(statuses)
    if not due:
        return NextStep("", _("Nothing left to do"), _("every step is done or waived"), _("nothing"), 0)
    stopping = _stopping(statuses)
    chosen = stopping or due[0]
    failed = chosen.state == "not ok"
    title: Text = _(chosen.step.title)
    if chosen.state == "ask":
        title = _("{title}: answer the question").format(title=title)
    elif failed:
        title = joined(title, _(chosen.step.when_it_fails), between=": ")
    elif chosen.state == "again":
        title = _("{title} again").format(title=title)
    return NextStep(
        key=chosen.step.key,
        title=title,
        why=chosen.why,
        cost=_(chosen.step.redo_cost if failed else chosen.step.cost),
        left=len(due),
        stops=stopping is not None,
    )
