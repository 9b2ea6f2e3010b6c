"""Patterns of a job: photos or words read, causes and advice worked out, all of it kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from axlewright.errors import InputError
from axlewright.job.entering import Outcome, kept_outcome, known_of, outcome_of, result_of
from axlewright.job.guessed_corners import doubt_guesses, naming_guesses, refuse_mere_guesses
from axlewright.job.kept_masks import mask_lines
from axlewright.job.pattern_correcting import EDGES, Correction, corrected, edges_of
from axlewright.job.pattern_judging import UNKNOWN_SPACER, judge
from axlewright.job.pattern_looks import (
    FLANKS,
    Compound,
    FlankLook,
    FlankName,
    ReadFlank,
    ToothLook,
    add_photo,
    kept_reading,
    newest_photos,
    read_flank,
    settled,
    tooth_photos,
)
from axlewright.job.pattern_rounds import context, read_rounds
from axlewright.language import eager as _
from axlewright.steps.answers import FieldError
from axlewright.steps.result import keep_readings
from axlewright.units import System

if TYPE_CHECKING:
    from axlewright.pattern import PatternReading
    from axlewright.records import Entry, JobStore
    from axlewright.steps.step import Context

__all__ = [
    "EDGES",
    "FLANKS",
    "UNKNOWN_SPACER",
    "Compound",
    "Correction",
    "FlankLook",
    "FlankName",
    "ToothLook",
    "add_photo",
    "answer_advice",
    "correct_outline",
    "corrected",
    "edges_of",
    "enter_patterns",
    "enter_readings",
    "newest_photos",
    "tooth_photos",
]


def _known(store: JobStore, number: int, who: str, system: System) -> Context:
    known = known_of(store, number, who=who, system=system)
    if known.design is None:
        raise InputError(
            _("design {name} is not known here").format(name=known.job.design_name),
            where=_("pattern"),
            fix=_("add its file under Designs"),
        )
    return known


def enter_patterns(
    store: JobStore,
    number: int,
    looks: Mapping[FlankName, FlankLook],
    *,
    compound: Compound = "auto",
    who: str,
    idempotency_key: str = "",
    system: System = "inch",
) -> Outcome:
    """Read the marks of one or both flanks, find cause and cure, and keep everything.

    Parameters
    ----------
    looks : mapping of "drive", "coast" to FlankLook
        Empty ones are left out; at least one is needed.
    compound : {"auto", "rubbed", "print"}
        Whether the compound was rubbed off or printed on.
    idempotency_key : str
        The same key again writes nothing twice.

    Raises
    ------
    InputError
        Nothing is entered then; a `FieldError` names flank and field.
    """
    if idempotency_key:
        already = kept_outcome(store, number, idempotency_key)
        if already is not None:
            return already
    given: dict[FlankName, FlankLook] = {f: looks[f] for f in FLANKS if f in looks and not looks[f].empty}
    if not given:
        raise FieldError(
            "drive_words",
            "pattern",
            _("neither flank was read"),
            _("photograph the drive flank at least"),
        )
    known = _known(store, number, who, system)
    assert known.design is not None
    refuse_mere_guesses(known.entries, given)
    read: dict[FlankName, ReadFlank] = {}
    for flank, look in given.items():
        with naming_guesses(known.entries, look):
            read[flank] = read_flank(store, known.design, flank, look, compound)
    read = doubt_guesses(known.entries, given, settled(read, known.design))
    typed: dict[str, str] = {"compound": compound}
    for flank, look in given.items():
        typed |= _typed(flank, look)
    return _keep(store, known, read, typed, who=who, key=idempotency_key, system=system)


def enter_readings(
    store: JobStore,
    number: int,
    readings: Mapping[FlankName, PatternReading],
    *,
    who: str,
    idempotency_key: str = "",
    system: System = "inch",
) -> Outcome:
    """Keep patterns that were read elsewhere, find cause and cure.

    Parameters
    ----------
    readings : mapping of "drive", "coast" to PatternReading
    """
    if idempotency_key:
        already = kept_outcome(store, number, idempotency_key)
        if already is not None:
            return already
    known = _known(store, number, who, system)
    read = {
        flank: ReadFlank(r, {"summary": r.summary(), "mask": mask_lines(r.pattern.mask)})
        for flank, r in readings.items()
    }
    return _keep(store, known, read, {}, who=who, key=idempotency_key, system=system)


def correct_outline(
    store: JobStore,
    number: int,
    seq: int,
    corrections: Mapping[FlankName, Correction],
    *,
    who: str,
    idempotency_key: str = "",
    system: System = "inch",
) -> Outcome:
    """Correct outlines that were found in photos; the reading is superseded by the corrected one.

    Parameters
    ----------
    seq : int
        Of the reading.
    corrections : mapping of "drive", "coast" to Correction
        Empty ones leave that flank as it was read.

    Raises
    ------
    InputError
        When the reading is not the newest one, a flank has no photo, or nothing is left of the mark.
    """
    if idempotency_key:
        already = kept_outcome(store, number, idempotency_key)
        if already is not None:
            return already
    known = _known(store, number, who, system)
    assert known.design is not None
    rounds = read_rounds(known.entries)
    if not rounds or rounds[-1].seq != seq:
        raise InputError(
            _("this is not the newest reading of the patterns"),
            where=_("outline"),
            fix=_("load the page again and correct the newest one"),
        )
    if all(c.empty for c in corrections.values()):
        raise InputError(
            _("nothing was changed on the outline"),
            where=_("outline"),
            fix=_("draw on the tooth, or nudge an edge"),
        )
    old = rounds[-1].payload
    typed = dict(old.get("typed", {}))
    read: dict[FlankName, ReadFlank] = {}
    for flank in FLANKS:
        kept = old["flanks"].get(flank)
        change = corrections.get(flank, Correction())
        if kept is None and not change.empty:
            raise FieldError(
                f"{flank}_outline",
                _("drive flank") if flank == "drive" else _("coast flank"),
                _("it was not read"),
                _("photograph it first"),
            )
        if kept is None:
            continue
        if change.empty:
            pictures = [kept[k] for k in ("photo", "unrolled") if kept.get(k)]
            pictures += [t[k] for t in kept.get("teeth", ()) for k in ("photo", "unrolled")]
            read[flank] = ReadFlank(kept_reading(kept, flank), kept, tuple(pictures))
            continue
        if not kept.get("photo"):
            raise FieldError(
                f"{flank}_outline",
                _("drive flank") if flank == "drive" else _("coast flank"),
                _("only an outline found in one photo can be corrected"),
                _("draw a sketch or words anew"),
            )
        if not change.mask:  # nudges go on from the outline as it stands, strokes bring it along
            change = replace(change, mask=tuple(kept["mask"]))
        look = FlankLook(
            photo_file=kept["photo"], corners=typed.get(f"{flank}_corners", ""), correction=change
        )
        one = read_flank(store, known.design, flank, look, _compound(typed.get("compound", "")))
        read |= doubt_guesses(known.entries, {flank: look}, {flank: one})
        typed |= _typed(flank, look)
    # What the superseded round gave counts no more.
    gone = {seq} | {
        e.seq for e in known.entries if e.payload.get("of") == seq and e.kind in ("result", "advice")
    }
    known = replace(known, entries=tuple(e for e in known.entries if e.seq not in gone))
    return _keep(store, known, read, typed, who=who, key=idempotency_key, system=system, supersedes=seq)


def _compound(text: str) -> Compound:
    if text == "rubbed":
        return "rubbed"
    return "print" if text == "print" else "auto"


def _typed(flank: FlankName, look: FlankLook) -> dict[str, str]:
    """Return what was typed, tapped or drawn for a flank, as it is kept."""
    out = {
        f"{flank}_corners": look.corners,
        f"{flank}_words": look.words,
        f"{flank}_sketch": " ".join(f"{x:.3f},{y:.3f}" for x, y in look.sketch),
        f"{flank}_teeth": " ".join(str(t.tooth) for t in look.teeth),
    }
    for edge in EDGES:
        nudge = getattr(look.correction, edge)
        out[f"{flank}_{edge}_edge"] = f"{100.0 * nudge:+.0f}" if nudge else ""
    return {k: v for k, v in out.items() if v}


def _keep(
    store: JobStore,
    known: Context,
    read: Mapping[FlankName, ReadFlank],
    typed: Mapping[str, str],
    *,
    who: str,
    key: str,
    system: System,
    supersedes: int | None = None,
) -> Outcome:
    """Judge what was read and write reading, result and advice."""
    number = known.job.number
    now = context(known)
    found, diagnosis = judge(store, known, read, now)
    advice_gone = None
    if supersedes is not None:
        advice = [e for e in store.entries(number, kind="advice") if e.payload.get("of") == supersedes]
        advice_gone = advice[-1].seq if advice else None
    result_gone = result_of(store, number, supersedes)
    entry = store.add_entry(
        number,
        "reading",
        "pattern",
        {
            "typed": {k: v for k, v in typed.items() if v},
            "system": system,
            "readings": keep_readings(found.readings),
            "flanks": {flank: one.kept for flank, one in read.items()},
            "context": now,
            "note": "",
        },
        who=who,
        files=tuple(dict.fromkeys(sha for one in read.values() for sha in one.files)),
        idempotency_key=key,
        supersedes=supersedes,
    )
    best = diagnosis.advice[0] if diagnosis.advice else None
    change = best
    if best is not None and best.saves_hours is not None and len(diagnosis.advice) > 1:
        change = diagnosis.advice[1]  # one more photo is offered: what comes after it is what is expected
    expected = {} if change is None else {k: mask_lines(v.mask) for k, v in change.expected.items()}
    result = store.add_entry(
        number,
        "result",
        "pattern",
        {**found.payload(), "of": entry.seq, "diagnosis": diagnosis.to_json(), "expected": expected},
        who=who,
        idempotency_key=f"{key}:result" if key else "",
        supersedes=result_gone,
    )
    written = [entry, result]
    if best is not None:
        written.append(
            store.add_entry(
                number,
                "advice",
                "pattern",
                {**_as_first_step(best.to_json(), found.values), "of": entry.seq},
                who=who,
                idempotency_key=f"{key}:advice" if key else "",
                supersedes=advice_gone,
            )
        )
    return outcome_of("pattern", result.payload, tuple(written))


def answer_advice(
    store: JobStore, number: int, seq: int, taken: bool, reason: str, *, who: str, idempotency_key: str = ""
) -> Entry:
    """Write down whether an advice was followed.

    Where one more photo was offered and is not taken, the next advice stands in its place: the result is
    written anew with all that is asked and summed up before that change.

    Raises
    ------
    InputError
        Without a reason for not following, for an unknown advice, or when the offer was answered already.
    """
    if not taken and not reason.strip():
        raise InputError(_("no reason given"), where=_("advice"), fix=_("say why it is not followed"))
    entries = store.entries(number)
    advice = next((e for e in entries if e.seq == seq and e.kind == "advice"), None)
    if advice is None:
        raise InputError(
            _("this job has no advice {seq}").format(seq=seq),
            where=_("advice"),
            fix=_("use the buttons under the advice"),
        )
    offered = advice.payload.get("saves_hours") is not None
    before = next((e for e in entries if e.kind == "decision" and e.payload.get("advice") == seq), None)
    if offered and before is not None:
        return before  # answered already, in another window or by a button pressed twice
    answer = store.add_entry(
        number,
        "decision",
        "pattern",
        {"advice": seq, "taken": taken, "text": reason.strip() or "advice followed"},
        who=who,
        idempotency_key=idempotency_key,
    )
    if offered and not taken:
        _go_without(store, number, int(advice.payload["of"]), who, idempotency_key)
    return answer


def _go_without(store: JobStore, number: int, reading: int, who: str, key: str) -> None:
    """Put the next advice in place of the photo that was offered and not taken."""
    seq = result_of(store, number, reading)
    old = next((e for e in store.entries(number, kind="result") if e.seq == seq), None)
    if old is None or "without_photo" not in old.payload.get("values", {}):
        return
    told = dict(old.payload["diagnosis"])
    told["advice"] = told["advice"][1:]
    found = old.payload["values"]["without_photo"]
    store.add_entry(
        number,
        "result",
        "pattern",
        {**found, "of": reading, "diagnosis": told, "expected": old.payload.get("expected", {})},
        who=who,
        idempotency_key=f"{key}:result" if key else "",
        supersedes=old.seq,
    )
    if told["advice"]:
        store.add_entry(
            number,
            "advice",
            "pattern",
            {**_as_first_step(told["advice"][0], found["values"]), "of": reading},
            who=who,
            idempotency_key=f"{key}:advice" if key else "",
        )


def _as_first_step(advice: Mapping[str, Any], values: Mapping[str, Any]) -> dict[str, Any]:
    """Return an advice as it is kept: the first step may be the measured sum's, its numbers are turned."""
    first = {k: values[k] for k in ("pinion_move_mm", "spacer_change_mm", "spacer_to_fit_mm") if k in values}
    return {**advice, **first, "text": str(values.get("first_step", advice["text"]))}
