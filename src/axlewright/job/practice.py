"""Practice at the bench: attempts kept beside the records, played through, told in words and numbers."""

from __future__ import annotations

import json
import math
import re
import secrets
import threading
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from statistics import fmean
from typing import TYPE_CHECKING, Any, Final

from axlewright import training
from axlewright.errors import AxlewrightError, InputError, RecordError
from axlewright.job.designs import find_design
from axlewright.language import Message, Number, Text, _
from axlewright.records.files import write_atomically
from axlewright.units import Length, Lengths

if TYPE_CHECKING:
    from axlewright.contact import ContactPattern
    from axlewright.records import JobStore
    from axlewright.training import Action, Attempt, ExerciseName, HiddenAxle, Outcome, Played, Review

_ID: Final = re.compile(r"[0-9a-f]{16}")
_WRITING: Final = threading.Lock()


@dataclass(frozen=True, slots=True)
class KeptAttempt:
    """An attempt with the name it is kept under and when it was begun and last changed."""

    key: str
    attempt: Attempt
    begun: datetime
    changed: datetime


def _folder(store: JobStore) -> Path:
    return store.folder / "practice"


def _path(store: JobStore, key: str) -> Path:
    if not _ID.fullmatch(key):
        raise RecordError(
            _("there is no such exercise"), where=_("practice"), fix=_("choose one from the list")
        )
    return _folder(store) / f"{key}.json"


def _write(store: JobStore, kept: KeptAttempt) -> None:
    path = _path(store, kept.key)
    path.parent.mkdir(parents=True, exist_ok=True)
    data = {
        "form": "axlewright practice 1",
        "begun": kept.begun.isoformat(),
        "changed": kept.changed.isoformat(),
        **kept.attempt.to_json(),
    }
    write_atomically(path, json.dumps(data, indent=1, sort_keys=True).encode())


def start_practice(store: JobStore, name: ExerciseName, who: str) -> KeptAttempt:
    """Begin an exercise.

    Parameters
    ----------
    store : JobStore
    name : ExerciseName
        Its design must be known to the store or shipped.
    who : str
        Who practises.
    """
    training.play(
        training.Attempt(name), find_design(store, name.design)
    )  # says now when this axle cannot be made
    now = datetime.now(UTC)
    kept = KeptAttempt(secrets.token_hex(8), training.Attempt(name, who), now, now)
    _write(store, kept)
    return kept


def practice_attempt(store: JobStore, key: str) -> KeptAttempt:
    """Return one kept attempt.

    Raises
    ------
    RecordError
        When there is none, or its file is damaged.
    """
    path = _path(store, key)
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
        return KeptAttempt(
            key,
            training.Attempt.from_json(data),
            datetime.fromisoformat(data["begun"]),
            datetime.fromisoformat(data["changed"]),
        )
    except FileNotFoundError:
        raise RecordError(
            _("there is no such exercise"), where=_("practice"), fix=_("choose one from the list")
        ) from None
    except (OSError, ValueError, KeyError, TypeError) as problem:
        raise RecordError(
            _("the kept exercise cannot be read ({problem})").format(problem=str(problem)),
            where=path.name,
            fix=_("start it again"),
        ) from None


def practice_attempts(store: JobStore, limit: int = 200) -> list[KeptAttempt]:
    """List kept attempts, the last changed first; damaged files are left out."""
    folder = _folder(store)
    if not folder.is_dir():
        return []
    out = []
    for path in folder.glob("*.json"):
        try:
            out.append(practice_attempt(store, path.stem))
        except RecordError:
            continue
    out.sort(key=lambda k: k.changed, reverse=True)
    return out[:limit]


def practise(store: JobStore, key: str, action: Action, seen: int | None = None) -> KeptAttempt:
    """Do one thing in a kept attempt.

    Parameters
    ----------
    seen : int, optional
        How many actions there were when the choice was made; the same choice sent twice then counts once.

    Raises
    ------
    InputError
        When something else was done in the meantime, or the attempt is over.
    """
    with _WRITING:
        kept = practice_attempt(store, key)
        count = len(kept.attempt.actions)
        if seen is not None and seen != count:
            if seen == count - 1 and kept.attempt.actions[-1] == action:
                return kept
            raise InputError(
                _("something else was done to this axle in the meantime"),
                where=_("action"),
                fix=_("look at what it shows now and choose again"),
            )
        kept = KeptAttempt(key, kept.attempt.then(action), kept.begun, datetime.now(UTC))
        _write(store, kept)
        return kept


def played_attempt(store: JobStore, attempt: Attempt) -> Played:
    """Play an attempt with the store's designs."""
    return training.play(attempt, find_design(store, attempt.name.design))


@dataclass(frozen=True, slots=True)
class ClassLine:
    """One attempt in an instructor's list.

    Attributes
    ----------
    kept : KeptAttempt
    hours : float
        Its own, without a comeback.
    review : Review or None
        None while it is not over.
    press_offs : int
    asked : int
        How often the program was asked.
    """

    kept: KeptAttempt
    hours: float
    review: Review | None
    press_offs: int
    asked: int


def class_list(store: JobStore, name: ExerciseName | None = None, limit: int = 60) -> list[ClassLine]:
    """List attempts with what came of them.

    Parameters
    ----------
    name : ExerciseName, optional
        Only attempts at this exercise.
    """
    out = []
    for kept in practice_attempts(store):
        if name is not None and kept.attempt.name != name:
            continue
        try:
            played = played_attempt(store, kept.attempt)
        except (InputError, RecordError):
            continue  # its design was taken away
        came = training.review(played) if kept.attempt.over else None
        out.append(ClassLine(kept, played.hours, came, played.count("press"), played.count("ask")))
        if len(out) >= limit:
            break
    return out


def review_json(played: Played) -> dict[str, Any]:
    """Return the end of an exercise as plain data."""
    came = training.review(played)
    return {
        "fault": played.axle.kind,
        "settings_as_found": {
            "pinion_out_mm": round(played.axle.settings.pinion_out_mm, 4),
            "ring_away_mm": round(played.axle.settings.ring_away_mm, 4),
            "offset_error_mm": round(played.axle.settings.offset_error_mm, 4),
            "shaft_angle_error_deg": round(played.axle.settings.shaft_angle_error_deg, 4),
        },
        "right": came.right,
        "hours": round(came.hours, 2),
        "comeback_hours": came.comeback_hours,
        "best_hours": round(came.best_hours, 2),
        "share_of_best": round(came.share, 3),
        "best_course": [a.to_json() for a in came.best],
        "left": {"pinion_mm": round(came.pinion_left_mm, 4), "ring_mm": round(came.ring_left_mm, 4)},
        "outside": [str(fault) for fault in came.judged.faults],
    }


# --- as it is shown ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ShownOutcome:
    """One thing done, in words.

    Attributes
    ----------
    number : int
        From 1.
    label : Text
    hours : Text
        On the clock after it.
    lines : tuple of Text
        What it showed.
    patterns : dict of str to ContactPattern
        What the paint showed, by flank.
    """

    number: int
    label: Text
    hours: Text
    lines: tuple[Text, ...]
    patterns: dict[str, ContactPattern]


def show_hours(hours: float) -> Text:
    """Show a time on the clock as hours and minutes."""
    minutes = round(hours * 60.0)
    return _("{hours} h {minutes} min").format(hours=minutes // 60, minutes=minutes % 60)


def action_words(action: Action) -> Text:
    """Say an action with its amount."""
    label = _(training.ACTIONS[action.kind].label)
    if not action.amount_mm:
        return label
    length = Length(abs(action.amount_mm))
    if action.kind == "press":
        text = _("{label}: {length} thicker") if action.amount_mm > 0 else _("{label}: {length} thinner")
    elif action.amount_mm > 0:
        text = _("{label}: {length} away from the pinion")
    else:
        text = _("{label}: {length} toward the pinion")
    return text.format(label=label, length=length)


def complaint(played: Played) -> Text:
    """Say what the driver said: from what the axle really does, or from elsewhere."""
    kind = played.axle.kind
    if kind == "not the gears":
        return _("It hums from 40 mph up, on drive and on coast alike.")
    if kind == "runout":
        return _("It whines, and the whine swells and fades as the wheels turn.")
    heard = training.show_axle(played.axle, played.axle.settings).whine_db
    drive, coast = heard.get("drive", 0.0), heard.get("coast", 0.0)
    if max(drive, coast) < 1.0:
        return _("It was rebuilt elsewhere and never ran quite right.")
    if abs(drive - coast) < 1.5:
        return _("It whines on drive and on coast.")
    return _("It whines on drive.") if drive > coast else _("It whines on coast.")


def show_outcome(played: Played, index: int) -> ShownOutcome:
    """Tell what one action showed.

    Parameters
    ----------
    index : int
        Its place, from 0.
    """
    outcome = played.outcomes[index]
    lines, patterns = _lines(played, index, outcome)
    return ShownOutcome(
        index + 1,
        action_words(outcome.action),
        show_hours(outcome.hours_after),
        tuple(lines),
        patterns,
    )


def _lines(played: Played, index: int, outcome: Outcome) -> tuple[list[Text], dict[str, ContactPattern]]:
    numbers: dict[str, Any] = outcome.numbers
    kind = outcome.action.kind
    if kind == "identity":
        same = numbers["ring_pair"] == numbers["pinion_pair"]
        pair = (
            _("Ring gear {ring}, pinion {pinion}: a pair.")
            if same
            else _("Ring gear {ring}, pinion {pinion}: not the same number.")
        )
        return [
            pair.format(ring=numbers["ring_pair"], pinion=numbers["pinion_pair"]),
            _("The depth mark asks for {length} on the mounting distance.").format(
                length=Length(numbers["mark_mm"], signed=True)
            ),
        ], {}
    if kind == "backlash":
        readings = numbers["readings_mm"]
        return [
            _("Readings: {readings}.").format(readings=Lengths(tuple(readings))),
            _("Mean {mean}, spread {spread}; the design asks for {nominal}.").format(
                mean=Length(fmean(readings)),
                spread=Length(max(readings) - min(readings)),
                nominal=Length(played.axle.design.backlash_nominal_mm),
            ),
        ], {}
    if kind == "runout":
        return [_("The ring gear runs out by {length}.").format(length=Length(numbers["runout_mm"]))], {}
    if kind == "housing":
        return [
            _("Offset {offset} from nominal, ± {sd}.").format(
                offset=Length(numbers["offset_error_mm"], signed=True),
                sd=Length(0.01),
            ),
            _("Shaft angle {angle} minutes of arc from nominal, ± 0.2.").format(
                angle=Number(numbers["shaft_angle_error_deg"] * 60, "+.1f")
            ),
        ], {}
    if kind == "roll" and outcome.shown is not None:
        seen = outcome.shown.patterns
        missing = [f for f in ("drive", "coast") if f not in seen]
        lines: list[Text] = [
            (_("Drive side: {words}.") if f == "drive" else _("Coast side: {words}.")).format(
                words=p.describe()
            )
            for f, p in seen.items()
        ]
        if missing:
            lines.append(_("One flank leaves contact: nothing can be read there."))
        return lines, dict(seen)
    if kind == "listen" and outcome.shown is not None:
        words = {
            "drive": _("Whine on drive: {db} dB against the same set where it runs best."),
            "coast": _("Whine on coast: {db} dB against the same set where it runs best."),
        }
        return [words[f].format(db=Number(v, "+.0f")) for f, v in outcome.shown.whine_db.items()], {}
    if kind == "ask":
        return _asked(played, index), {}
    if kind == "seat":
        return [_("Clean, dry, bolted up evenly again.")], {}
    if kind == "press":
        return [
            _("The spacer is now {length} thick.").format(
                length=Length(
                    played.axle.spacer_mm
                    + sum(a.amount_mm for a in played.attempt.actions[: index + 1] if a.kind == "press")
                )
            )
        ], {}
    return [], {}


def _asked(played: Played, index: int) -> list[Text]:
    """Say what the program makes of all that was seen before."""
    try:
        found = training.ask(played, index)
    except AxlewrightError as error:
        return [error.text]
    best = found.advice[0]
    lines: list[Text] = [best.text]
    if best.pinion_move_mm or best.shim_move_mm:
        lines.append(
            _("Chance that this is the last teardown: {chance} %.").format(
                chance=round(100 * best.chance_last_teardown)
            )
        )
    return [*lines, *found.notes]


# --- the end told plainly ----------------------------------------------------------------------------

COUNTS_AS_RIGHT: Final = (0.7, 1.3)
"""A move of this share of what was needed is called about right."""
TOLD_MM: Final = 0.0127
"""Less than this off is not told (0.0005 in, the step of spacers)."""


@dataclass(frozen=True, slots=True)
class ShownReview:
    """The end of an attempt in words.

    Attributes
    ----------
    right : bool
    headline : Text
    truth : tuple of Text
        What was wrong and by how much.
    end : tuple of Text
        How the axle stands now.
    moves : tuple of (Text, Text)
        Each change and what there is to say of it.
    best : tuple of Text
        The best course, step by step.
    best_why : tuple of Text
        Why the best course leaves something where it is that sits off, in sentences.
    best_hours, hours : Text
    share : str
    """

    right: bool
    headline: Text
    truth: tuple[Text, ...]
    end: tuple[Text, ...]
    moves: tuple[tuple[Text, Text], ...]
    best: tuple[Text, ...]
    best_why: tuple[Text, ...]
    best_hours: Text
    hours: Text
    share: str


def _off(mm: float, plus: Message, minus: Message) -> Text:
    return (plus if mm > 0 else minus).format(length=Length(abs(mm)))


def show_review(played: Played) -> ShownReview:
    """Tell the truth, the best course, and why, after an attempt is over."""
    came = training.review(played)
    found = played.axle.settings
    truth: list[Text] = [_(training.FAULT_WORDS[played.axle.kind])]
    if abs(found.pinion_out_mm) > TOLD_MM:
        truth.append(
            _off(
                found.pinion_out_mm,
                _("The pinion sat {length} too far out."),
                _("The pinion sat {length} too far in."),
            )
        )
    if abs(found.ring_away_mm) > TOLD_MM:
        truth.append(
            _off(
                found.ring_away_mm,
                _("The ring gear sat {length} too far away."),
                _("The ring gear sat {length} too close."),
            )
        )
    if found.offset_error_mm:
        truth.append(
            _("Offset {length}, shaft angle {angle} minutes of arc off.").format(
                length=Length(found.offset_error_mm, signed=True),
                angle=Number(found.shaft_angle_error_deg * 60, "+.1f"),
            )
        )
    if played.axle.kind == "runout":
        truth.append(_("The ring gear ran out by {length}.").format(length=Length(played.axle.runout_mm)))
    if training.needs_setting(played.axle.kind):
        truth += _own_place(played.axle) + _where_backlash_came_from(played.axle)
    moves: list[tuple[Text, Text]] = []
    for k, action in enumerate(played.attempt.actions):
        way = training.way_of(played, k)
        if way is not None:
            moves.append((action_words(action), _way_words(way)))
    end: list[Text] = []
    if came.judged.good:
        end.append(_("Patterns and backlash lie as they belong."))
    elif came.judged.passes:
        end += _only_passes(played)
    end.extend(came.judged.faults)
    if came.right:
        headline = _("Right. The clock stands at {hours}; the best there was is {best}.").format(
            hours=show_hours(came.hours), best=show_hours(came.best_hours)
        )
    elif came.comeback_hours:
        headline = _("Not right: this one comes back and costs another {hours}.").format(
            hours=show_hours(came.comeback_hours)
        )
    else:
        headline = _("Not right.")
    return ShownReview(
        came.right,
        headline,
        tuple(truth),
        tuple(end),
        tuple(moves),
        tuple(action_words(a) for a in came.best),
        _why_it_stays(played.axle, came.best) if training.needs_setting(played.axle.kind) else (),
        show_hours(came.best_hours),
        show_hours(came.hours + came.comeback_hours),
        f"{100 * came.share:.0f} %",
    )


def _own_place(axle: HiddenAxle) -> list[Text]:
    """Say how far the members sat from where this set itself lies best, where that is another place."""
    found, best = axle.settings, training.best_settings(axle, axle.settings)
    if max(abs(best.pinion_out_mm), abs(best.ring_away_mm)) <= TOLD_MM:
        return []
    return [
        _(
            "These are distances from where the set was developed. Its own lie and backlash put its best "
            "place elsewhere: from there the pinion sat {pinion} (out plus), the ring gear {ring} (away "
            "plus)."
        ).format(
            pinion=Length(found.pinion_out_mm - best.pinion_out_mm, signed=True),
            ring=Length(found.ring_away_mm - best.ring_away_mm, signed=True),
        )
    ]


def _where_backlash_came_from(axle: HiddenAxle) -> list[Text]:
    """Say what the set's own backlash was and what ring gear and pinion made of it."""
    found = axle.settings
    came = training.show_axle(axle, found).backlash_mm
    by_ring = training.show_axle(axle, replace(found, pinion_out_mm=0.0)).backlash_mm - axle.backlash_zero_mm
    if not math.isfinite(came + by_ring):
        return []
    return [
        _(
            "Its backlash came in at {came}: {zero} where this set was developed, {ring} from the ring "
            "gear's place and {pinion} from the pinion's."
        ).format(
            came=Length(came),
            zero=Length(axle.backlash_zero_mm),
            ring=Length(by_ring, signed=True),
            pinion=Length(came - by_ring - axle.backlash_zero_mm, signed=True),
        )
    ]


def _only_passes(played: Played) -> list[Text]:
    """Say why an axle that no acceptance criterion calls outside is not right all the same."""
    from axlewright.diagnosis import Goal

    goal, shown = Goal(), training.show_axle(played.axle, played.settings)
    unsure = training.not_sure_at_the_bench(played.axle, shown)
    out: list[Text] = [
        _("No limit of a pattern check is crossed, but it does not lie where it runs quietly.")
        if unsure
        else _("A pattern check would pass it, but it does not lie where it runs quietly.")
    ]
    for k, flank in enumerate(("drive", "coast")):
        value, wanted = shown.patterns[flank].center[1], goal.center[2 * k + 1]
        if abs(value - wanted) <= goal.accept[2 * k + 1]:
            continue
        words = (
            _("Drive side: centre in profile {value}; it belongs at {wanted} ± {accept}.")
            if flank == "drive"
            else _("Coast side: centre in profile {value}; it belongs at {wanted} ± {accept}.")
        )
        out.append(
            words.format(
                value=Number(value, "+.2f"),
                wanted=Number(wanted, ".2f"),
                accept=Number(goal.accept[2 * k + 1], ".2f"),
            )
        )
    if unsure:
        out.append(_("Read at the bench, the check leaves this open and asks to measure again:"))
        out += unsure
    return out


def _why_it_stays(axle: HiddenAxle, course: tuple[Action, ...]) -> tuple[Text, ...]:
    """Say why a course leaves ring gear or pinion where it is though it sits off."""
    from axlewright.diagnosis import Goal

    goal, found, kinds = Goal(), axle.settings, {a.kind for a in course}
    shown = training.show_axle(axle, training.after_course(axle, course))
    if not training.judge_axle(axle, shown).good:
        return ()
    nominal = axle.design.backlash_nominal_mm
    low, high = nominal - goal.backlash_accept_mm, nominal + goal.backlash_accept_mm
    words: list[Text] = []
    if "shim" not in kinds and abs(found.ring_away_mm) > TOLD_MM:
        words.append(
            _("The ring gear may stay where it sits, {off} (away plus).").format(
                off=Length(found.ring_away_mm, signed=True)
            )
        )
    if "press" not in kinds and abs(found.pinion_out_mm) > TOLD_MM:
        words.append(
            _("The pinion may stay where it sits, {off} (out plus).").format(
                off=Length(found.pinion_out_mm, signed=True)
            )
        )
    if not words:
        return ()
    return (
        *words,
        _(
            "After this course both patterns lie as they belong, and the backlash comes to {backlash}, "
            "within {low} to {high}: to move more costs hours and makes nothing better that counts."
        ).format(
            backlash=Length(shown.backlash_mm),
            low=Length(low),
            high=Length(high),
        ),
    )


def _way_words(way: float) -> Text:
    low, high = COUNTS_AS_RIGHT
    if abs(way) < 0.05:
        return _("nothing was needed there")
    if way < 0:
        return _("the wrong way")
    if way < low:
        return _("the right way, {share} % of what was needed").format(share=round(100 * way))
    if way > high:
        return _("the right way, too far: {share} % of what was needed").format(share=round(100 * way))
    return _("about right")
