"""Rounds of pattern readings: how the axle stood, what was moved since, and what finished jobs taught."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

from axlewright.bench.found import Known, pinion_out_of_spacers
from axlewright.bench.pattern_looks import kept_reading
from axlewright.language import chosen
from axlewright.units import chosen_system

if TYPE_CHECKING:
    from axlewright.diagnosis import Earlier, Evidence, ExpectedVsCame, LearnedDesign
    from axlewright.gearset import GearSetDesign
    from axlewright.pattern import PatternReading
    from axlewright.records import Entry, JobStore

MOST_JOBS: Final = 12
"""Finished jobs of a design that are looked at, the last ones: more add little and cost 0.1 s each, once."""
STILL_MM: Final = 1e-9
LOOKS: Final = ("photo", "teeth")
"""Ways of reading that count together when there are several at one setting."""


def context(known: Known) -> dict[str, Any]:
    """Return how the axle stands while the pattern is read, so that later rounds can be compared."""
    depth, backlash, identity = (known.last_values(s) for s in ("depth", "backlash", "identity"))
    moved = sum(float(v.get("moved_mm") or 0.0) for v in known.all_values("backlash"))
    return {
        "place": depth.get("place", "under_head"),
        "place_known": "place" in depth,
        "spacer_now_mm": depth.get("spacer_now_mm") if depth.get("fitted") else None,
        "depth_sum_mm": depth.get("spacer_mm"),
        "depth_shelf_mm": depth.get("shelf_mm"),
        "mark_mm": depth.get("mark_mm", identity.get("mark_mm")),
        "mark_unit": depth.get("mark_unit", identity.get("mark_unit")),
        "backlash_mm": backlash.get("mean_mm"),
        "backlash_tightest_mm": backlash.get("tightest_mm"),
        "backlash_target_mm": backlash.get("target_mm"),
        "ring_moved_total_mm": moved,
        "condition": identity.get("condition", "new"),
        "drives_on": identity.get("drives_on", "drive"),
        "side_shims_mm": _side_shims(known.entries),
    }


def _side_shims(entries: Sequence[Entry]) -> list[float] | None:
    """Return the side shims fitted now, ring gear's side first; None where a move since leaves that open."""
    for entry in reversed(entries):
        if entry.kind == "decision" and entry.step == "pattern" and entry.payload.get("taken"):
            return None  # an advice was followed since they were read
        if entry.kind == "result" and entry.step == "backlash":
            values = entry.payload.get("values", {})
            if "ring_side_mm" not in values or "ring_side_new_mm" in values:
                return None  # not read, or told to be changed
            return [float(values["ring_side_mm"]), float(values["other_side_mm"])]
    return None


def read_rounds(entries: Sequence[Entry]) -> list[Entry]:
    """Return the entries in which patterns were read, oldest first."""
    return [e for e in entries if e.step == "pattern" and e.kind == "reading" and "flanks" in e.payload]


def taken_advice(entries: Sequence[Entry], reading: int) -> Mapping[str, Any] | None:
    """Return the advice given on a reading when it was answered as followed.

    A look that was asked for moves nothing: it counts as followed unless it was answered with no.
    """
    advice = {e.seq: e for e in entries if e.kind == "advice" and e.payload.get("of") == reading}
    answered = {
        int(e.payload["advice"]): bool(e.payload.get("taken"))
        for e in entries
        if e.kind == "decision" and e.payload.get("advice") in advice
    }
    for seq, entry in advice.items():
        if answered.get(seq, bool(entry.payload.get("look_again"))):
            return entry.payload
    return None


def moved_since(
    entries: Sequence[Entry], reading: Entry, now: Mapping[str, Any], before: int | None = None
) -> tuple[float, float] | None:
    """Return how far pinion (out) and ring gear (away) were moved since a round of patterns [mm].

    From the spacers typed in with each round where both are known, else from the advice that was answered as
    followed, round by round.

    Parameters
    ----------
    now : mapping
        The context of the later round.
    before : int, optional
        `seq` of the later round when it is kept already.

    Returns
    -------
    (float, float) or None
        None when it cannot be told.
    """
    then = reading.payload.get("context", {})
    followed = [
        taken_advice(entries, e.seq)
        for e in read_rounds(entries)
        if e.seq >= reading.seq and (before is None or e.seq < before)
    ]
    if then.get("spacer_now_mm") is not None and now["spacer_now_mm"] is not None:
        pinion = pinion_out_of_spacers(
            float(then["spacer_now_mm"]), float(now["spacer_now_mm"]), now["place"]
        )
    elif all(a is not None for a in followed):
        pinion = sum(float(a["pinion_move_mm"]) for a in followed if a is not None)
    else:
        return None
    ring = float(now["ring_moved_total_mm"]) - float(then.get("ring_moved_total_mm") or 0.0)
    if abs(ring) < STILL_MM:
        ring = sum(float(a["shim_move_mm"]) for a in followed if a is not None)
    return pinion, ring


def earlier_rounds(
    entries: Sequence[Entry], now: Mapping[str, Any], before: int | None = None
) -> tuple[Earlier, ...]:
    """Return earlier rounds of this job, oldest first, with what was moved since."""
    from axlewright.diagnosis import Earlier

    out = []
    for entry in read_rounds(entries):
        if before is not None and entry.seq >= before:
            break
        moved = moved_since(entries, entry, now, before)
        if moved is None or max(abs(m) for m in moved) < STILL_MM:
            continue  # the same setting: `_with_looks_here` has it
        read = {flank: kept_reading(one, flank) for flank, one in entry.payload["flanks"].items()}
        backlash = entry.payload.get("context", {}).get("backlash_mm")
        out.append(Earlier(read.get("drive"), read.get("coast"), *moved, backlash))
    return tuple(out)


def _rounds_here(entries: Sequence[Entry], now: Mapping[str, Any], before: int | None) -> list[Entry]:
    """Return the earlier rounds since which nothing was moved, oldest first."""
    out = []
    for entry in read_rounds(entries):
        if before is not None and entry.seq >= before:
            break
        moved = moved_since(entries, entry, now, before)
        if moved is not None and max(abs(m) for m in moved) < STILL_MM:
            out.append(entry)
    return out


def photos_of(kept: Mapping[str, Any]) -> set[str]:
    """Return the hashes of the photos a kept flank was read from."""
    return {str(one["photo"]) for one in (kept, *kept.get("teeth", ())) if one.get("photo")}


def _with_looks_here(
    entries: Sequence[Entry],
    readings: Mapping[Any, PatternReading],
    photos: Collection[str],
    now: Mapping[str, Any],
    before: int | None,
) -> dict[Any, PatternReading]:
    """Return the readings together with those of earlier rounds at the same setting.

    A flank that was not read this time counts as it was read then. Photos count together; the same photo read
    anew stands in place of its older reading, and so do words and sketches.
    """
    from axlewright.pattern import combine_looks

    looks: dict[Any, list[PatternReading]] = {flank: [reading] for flank, reading in readings.items()}
    counted = set(photos)
    for entry in reversed(_rounds_here(entries, now, before)):
        for flank, kept in entry.payload["flanks"].items():
            reading, newer = kept_reading(kept, flank), looks.setdefault(flank, [])
            independent = reading.source in LOOKS and all(r.source in LOOKS for r in newer)
            if not newer or (independent and not photos_of(kept) & counted):
                newer.insert(0, reading)
            counted |= photos_of(kept)
    return {flank: combine_looks(several) for flank, several in looks.items()}


def evidence_of(
    design: GearSetDesign,
    entries: Sequence[Entry],
    readings: Mapping[Any, PatternReading],
    now: Mapping[str, Any],
    before: int | None = None,
    photos: Collection[str] = (),
) -> Evidence:
    """Return all that is known of a set at one round.

    Parameters
    ----------
    entries : sequence of Entry
        Those of the job that count.
    readings : mapping of "drive", "coast" to PatternReading
    now : mapping
        As `context` gives it.
    before : int, optional
        `seq` of this round when it is kept already; only older ones are its history.
    photos : collection of str
        Hashes of the photos that `readings` come from.
    """
    from axlewright.diagnosis import Evidence

    decides = "coast" if now.get("drives_on") == "coast" else "drive"
    looked_again = any(decides in e.payload["flanks"] for e in _rounds_here(entries, now, before))
    readings = _with_looks_here(entries, readings, photos, now, before)

    shims = now.get("side_shims_mm")
    return Evidence(
        design,
        readings.get("drive"),
        readings.get("coast"),
        backlash_mm=now["backlash_mm"],
        backlash_tightest_mm=now.get("backlash_tightest_mm"),
        backlash_target_mm=now["backlash_target_mm"],
        mark_mm=now["mark_mm"],
        mark_unit=now.get("mark_unit"),
        spacer_now_mm=now["spacer_now_mm"],
        place=now["place"],
        history=earlier_rounds(entries, now, before),
        side_shims_mm=None if shims is None else (float(shims[0]), float(shims[1])),
        looked_again=looked_again,
    )


def evidence_of_round(design: GearSetDesign, entries: Sequence[Entry], entry: Entry) -> Evidence:
    """Return what was known of a set at a round that is kept."""
    flanks = entry.payload["flanks"]
    read = {flank: kept_reading(one, flank) for flank, one in flanks.items()}
    photos = {sha for one in flanks.values() for sha in photos_of(one)}
    return evidence_of(design, entries, read, entry.payload["context"], entry.seq, photos)


def expected_and_came(
    design: GearSetDesign, entries: Sequence[Entry], evidence: Evidence, now: Mapping[str, Any]
) -> ExpectedVsCame | None:
    """Hold what came after the last change beside what was expected of it.

    Parameters
    ----------
    entries : sequence of Entry
        Those that count, without the round of `evidence`.

    Returns
    -------
    ExpectedVsCame or None
        None for the first round, when nothing was moved, or when what was moved is not known.
    """
    from axlewright.diagnosis import Goal, compare_expected, diagnose

    rounds = [e for e in read_rounds(entries) if "context" in e.payload]
    if not rounds:
        return None
    moved = moved_since(entries, rounds[-1], now)
    if moved is None or max(abs(m) for m in moved) < STILL_MM:
        return None
    goal = Goal.for_axle(now.get("drives_on", "drive"))
    before = diagnose(evidence_of_round(design, entries, rounds[-1]), goal=goal)
    return compare_expected(before, evidence, pinion_moved_mm=moved[0], ring_moved_mm=moved[1], goal=goal)


@dataclass(frozen=True, slots=True)
class _Finished:
    """Finished jobs of one design, told apart by their last pattern reading."""

    key: tuple[tuple[str, int], ...]
    evidence: tuple[Evidence, ...] = field(compare=False)


@lru_cache(maxsize=16)
def _learned(jobs: _Finished, kept: tuple[str, str]) -> LearnedDesign:
    assert kept == (chosen(), chosen_system())  # its words are kept for each language and system
    from axlewright.diagnosis import learn_design

    return learn_design(jobs.evidence)


def learned_of(store: JobStore, known: Known) -> LearnedDesign | None:
    """Return what the finished (closed) jobs of this design taught; None when there is none yet.

    The patterns count as they were read, with all earlier rounds of their job; words and sketches say too
    little and are left out.
    """
    from axlewright.bench.designs import design_of_job
    from axlewright.records import standing

    if known.design is None:
        return None
    keys, told = [], []
    for job in store.search(design=known.job.design_name, state="closed", limit=4 * MOST_JOBS):
        if job.uid == known.job.uid or job.design_name != known.job.design_name:
            continue
        entries = standing(store.entries(job.number))
        rounds = [e for e in read_rounds(entries) if "context" in e.payload]
        if not rounds or design_of_job(store, job) != known.design:
            continue
        sources = {one["summary"].get("source") for one in rounds[-1].payload["flanks"].values()}
        if not sources <= {"photo", "teeth"}:
            continue
        told.append(evidence_of_round(known.design, entries, rounds[-1]))
        keys.append((job.uid, rounds[-1].seq))
        if len(told) == MOST_JOBS:
            break
    return _learned(_Finished(tuple(keys), tuple(told)), (chosen(), chosen_system())) if told else None
