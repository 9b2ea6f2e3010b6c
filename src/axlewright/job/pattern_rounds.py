"""Rounds of pattern readings: how the axle stood, what was moved since, and what finished jobs taught."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

from axlewright.job.setting_looks import Look, gathered, look_of, looked_again, together
from axlewright.language import chosen
from axlewright.records.deciding import deciding
from axlewright.steps.step import Context, pinion_out_of_spacers
from axlewright.units import chosen_system

if TYPE_CHECKING:
    from axlewright.diagnosis import Earlier, Evidence, ExpectedVsCame, LearnedDesign
    from axlewright.gearset import GearSetDesign
    from axlewright.records import Entry, JobStore

MOST_JOBS: Final = 12
"""Finished jobs of a design that are looked at, the last ones: more add little and cost 0.1 s each, once."""
STILL_MM: Final = 1e-9
SAME_BACKLASH_MM: Final = 0.05
"""A mean backlash that differs by more was changed: readings scatter by about 0.02 mm each, a ring gear moved
by 0.003 in changes it by about 0.07 mm (common practice, no source)."""


def context(known: Context) -> dict[str, Any]:
    """Return how the axle stands while the pattern is read, so that later rounds can be compared."""
    depth, backlash, identity = (known.last_values(s) for s in ("depth", "backlash", "identity"))
    moved = sum(float(v.get("moved_mm") or 0.0) for v in known.all_values("backlash"))
    return {
        "place": depth.get("place", "under_head"),
        "place_known": "place" in depth,
        "spacer_now_mm": depth.get("spacer_now_mm") if depth.get("fitted") else None,
        "depth_sum_mm": depth.get("spacer_mm"),
        "decided_by": deciding(known.entries).pinion,
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


def _moved(
    entries: Sequence[Entry], entry: Entry, now: Mapping[str, Any], before: int | None
) -> tuple[float, float] | None:
    """Return what was moved since a round; None where it cannot be told.

    With nothing told as moved, a backlash that changed by more than readings scatter tells otherwise.
    """
    moved = moved_since(entries, entry, now, before)
    then = entry.payload.get("context", {}).get("backlash_mm")
    still = moved is not None and max(abs(m) for m in moved) < STILL_MM
    if still and then is not None and now["backlash_mm"] is not None:
        return moved if abs(float(then) - float(now["backlash_mm"])) <= SAME_BACKLASH_MM else None
    return moved


def _by_setting(
    entries: Sequence[Entry], now: Mapping[str, Any], before: int | None
) -> dict[tuple[float, float], list[Entry]]:
    """Return earlier rounds by what was moved since (pinion, ring gear) [mm], oldest first each."""
    out: dict[tuple[float, float], list[Entry]] = {}
    for entry in read_rounds(entries):
        if before is not None and entry.seq >= before:
            break
        moved = _moved(entries, entry, now, before)
        if moved is not None:
            pinion, ring = (round(m / STILL_MM) * STILL_MM for m in moved)
            out.setdefault((pinion, ring), []).append(entry)
    return out


def _kept_looks(rounds: Sequence[Entry]) -> list[dict[Any, Look]]:
    """Return kept rounds as looks, the newest first."""
    return [
        {flank: look_of(kept, flank) for flank, kept in entry.payload["flanks"].items()}
        for entry in reversed(rounds)
    ]


def earlier_rounds(
    entries: Sequence[Entry], now: Mapping[str, Any], before: int | None = None
) -> tuple[Earlier, ...]:
    """Return earlier settings of this job, oldest first, with what was moved since."""
    from axlewright.diagnosis import Earlier

    out = []
    for moved, rounds in _by_setting(entries, now, before).items():
        if max(abs(m) for m in moved) < STILL_MM:
            continue  # the same setting: `looks_here` has it
        read = together(gathered(_kept_looks(rounds)))
        backlash = rounds[-1].payload.get("context", {}).get("backlash_mm")
        out.append(Earlier(read.get("drive"), read.get("coast"), *moved, backlash))
    return tuple(out)


def looks_here(
    entries: Sequence[Entry],
    newest: Mapping[Any, Look],
    now: Mapping[str, Any],
    before: int | None = None,
) -> dict[Any, tuple[Look, ...]]:
    """Return the looks of each flank that count now, with those of earlier rounds at the same setting.

    Parameters
    ----------
    entries : sequence of Entry
        Those of the job that count.
    newest : mapping of "drive", "coast" to Look
        As they were read in this round.
    now : mapping
        As `context` gives it.
    before : int, optional
        `seq` of this round when it is kept already; only older ones count with it.
    """
    here = _by_setting(entries, now, before).get((0.0, 0.0), [])
    return gathered([newest, *_kept_looks(here)])


def evidence_of(
    design: GearSetDesign,
    entries: Sequence[Entry],
    looks: Mapping[Any, Sequence[Look]],
    now: Mapping[str, Any],
    before: int | None = None,
) -> Evidence:
    """Return all that is known of a set at one round.

    Parameters
    ----------
    entries : sequence of Entry
        Those of the job that count.
    looks : mapping of "drive", "coast" to sequence of Look
        As `looks_here` gives them.
    now : mapping
        As `context` gives it.
    before : int, optional
        `seq` of this round when it is kept already; only older ones are its history.
    """
    from axlewright.diagnosis import Evidence

    readings = together(looks)
    decides = "coast" if now.get("drives_on") == "coast" else "drive"
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
        looked_again=looked_again(looks.get(decides, ())),
    )


def evidence_of_round(design: GearSetDesign, entries: Sequence[Entry], entry: Entry) -> Evidence:
    """Return what was known of a set at a round that is kept."""
    newest = {flank: look_of(one, flank) for flank, one in entry.payload["flanks"].items()}
    now = entry.payload["context"]
    return evidence_of(design, entries, looks_here(entries, newest, now, entry.seq), now, entry.seq)


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


def learned_of(store: JobStore, known: Context) -> LearnedDesign | None:
    """Return what the finished (closed) jobs of this design taught; None when there is none yet.

    The patterns count as they were read, with all earlier rounds of their job; words and sketches say too
    little and are left out.
    """
    from axlewright.job.designs import design_of_job
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
