"""Patterns of a job: photos or words read, causes and advice worked out, all of it kept."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Literal

from axlewright.bench.entering import Outcome, kept_outcome, known_of, outcome_of
from axlewright.bench.found import Found, Known, ShownReading, ShownSum, pinion_out_of_spacers, plain_sum
from axlewright.bench.kept_masks import mask_lines, pattern_of_lines
from axlewright.bench.typed import FieldError
from axlewright.errors import AxlewrightError, InputError
from axlewright.units import System, show_length

if TYPE_CHECKING:
    from axlewright.contact import ContactPattern
    from axlewright.diagnosis import Advice, Diagnosis, Earlier
    from axlewright.gearset import GearSetDesign
    from axlewright.pattern import PatternReading
    from axlewright.records import Entry, JobStore

FlankName = Literal["drive", "coast"]
Compound = Literal["auto", "rubbed", "print"]
UNKNOWN_SPACER: Final = (
    "Type the spacer that was in when these patterns were rolled (depth step, 'Spacer that was fitted'): "
    "until then the change is only relative to that spacer."
)
PREFER_WITHIN_MM: Final = 0.005
"""A spacer change smaller than this is none (common practice, no source)."""
FLANKS: Final[tuple[FlankName, FlankName]] = ("drive", "coast")


@dataclass(frozen=True, slots=True)
class FlankLook:
    """What is known of the mark on one flank: a photo with its four corners, or words.

    Attributes
    ----------
    photo : bytes or None
        Picture file.
    corners : str
        ``"x,y x,y x,y x,y"``: toe-top, heel-top, heel-root, toe-root, in pixels of the upright picture.
    words : str
        Such as "high, toward heel"; used where there is no photo.
    photo_file : str
        Hash of a photo already stored, in place of `photo`.
    sketch : tuple of (lengthwise, profile)
        Outline drawn by finger, each −1 to +1; used where there is neither photo nor words.
    """

    photo: bytes | None = None
    corners: str = ""
    words: str = ""
    photo_file: str = ""
    sketch: tuple[tuple[float, float], ...] = ()

    @property
    def empty(self) -> bool:
        """Whether nothing was given."""
        return self.photo is None and not self.photo_file and not self.words.strip() and not self.sketch


def add_photo(
    store: JobStore, number: int, flank: FlankName, data: bytes, *, who: str, idempotency_key: str = ""
) -> Entry:
    """Keep a photo of one flank, its private data stripped; the corners come later.

    Raises
    ------
    PhotoError
        When it is no picture.
    """
    from axlewright.pattern import load_picture, strip_private_data

    clean = strip_private_data(data)
    picture = load_picture(clean)
    sha = store.store_file(clean, ".jpg")
    return store.add_entry(
        number,
        "photo",
        "pattern",
        {"flank": flank, "width": picture.width, "height": picture.height},
        who=who,
        files=(sha,),
        idempotency_key=idempotency_key,
    )


def newest_photos(entries: Sequence[Entry]) -> dict[str, Entry]:
    """Return the newest photo entry of each flank."""
    return {
        str(e.payload.get("flank")): e
        for e in entries
        if e.kind == "photo" and e.step == "pattern" and e.files
    }


def _unrolled_png(pixels: Any) -> bytes:
    from PIL import Image

    out = io.BytesIO()
    # Root row first in the reading, top of the tooth first in a picture.
    Image.fromarray(pixels[::-1]).save(out, "PNG", optimize=True)
    return out.getvalue()


def _read_flank(
    store: JobStore, design: GearSetDesign, flank: FlankName, look: FlankLook, compound: Compound
) -> tuple[PatternReading, dict[str, str]]:
    """Read one flank; return the reading and the hashes of photo and unrolled picture."""
    label = f"{flank} flank"
    try:
        if look.photo is not None or look.photo_file:
            from axlewright.pattern import read_photo, strip_private_data

            if not look.corners.strip():
                raise InputError(
                    "the four corners are missing", fix="tap toe-top, heel-top, heel-root, toe-root"
                )
            if look.photo is None:
                data, sha = store.read_file(look.photo_file), look.photo_file
            else:
                data = strip_private_data(look.photo)
                sha = store.store_file(data, ".jpg")
            photo = read_photo(data, look.corners, design, flank, compound)
            unrolled = store.store_file(_unrolled_png(photo.unrolled), ".png")
            return photo, {"photo": sha, "unrolled": unrolled}
        import axlewright.pattern as room

        if look.words.strip():
            from_words = getattr(room, "pattern_from_words", None)
            if from_words is None:
                raise InputError("patterns cannot be read from words yet", fix="take a photo")
            read: PatternReading = from_words(look.words, flank)
            return read, {}
        from_sketch = getattr(room, "pattern_from_sketch", None)
        if from_sketch is None:
            raise InputError("patterns cannot be read from a sketch yet", fix="take a photo")
        drawn: PatternReading = from_sketch(look.sketch, flank)
        return drawn, {}
    except FieldError:
        raise
    except AxlewrightError as error:
        field = "sketch" if look.sketch else "words"
        if look.photo is not None or look.photo_file:
            field = "corners"
        raise FieldError.of(
            f"{flank}_{field}", f"{label}, {error.where}" if error.where else label, error
        ) from error


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
            "drive_words", "pattern", "neither flank was read", "photograph the drive flank at least"
        )
    known = known_of(store, number, who=who, system=system)
    if known.design is None:
        raise InputError(
            f"design {known.job.design_name} is not known here",
            where="pattern",
            fix="add its file under Designs",
        )
    readings: dict[FlankName, PatternReading] = {}
    files: dict[FlankName, dict[str, str]] = {}
    for flank, look in given.items():
        readings[flank], files[flank] = _read_flank(store, known.design, flank, look, compound)
    now = _context(known)
    found, diagnosis = _judge(known, readings, now)
    flanks = {
        flank: {"summary": read.summary(), "mask": mask_lines(read.pattern.mask), **files[flank]}
        for flank, read in readings.items()
    }
    typed: dict[str, str] = {"compound": compound}
    for flank, look in given.items():
        drawn = " ".join(f"{x:.3f},{y:.3f}" for x, y in look.sketch)
        typed |= {f"{flank}_corners": look.corners, f"{flank}_words": look.words, f"{flank}_sketch": drawn}
    entry = store.add_entry(
        number,
        "reading",
        "pattern",
        {
            "typed": {k: v for k, v in typed.items() if v},
            "system": system,
            "readings": [
                {"name": r.name, "value": r.value, "unit": "", "place": "", "note": r.note}
                for r in found.readings
            ],
            "flanks": flanks,
            "context": now,
            "note": "",
        },
        who=who,
        files=tuple(dict.fromkeys(sha for one in files.values() for sha in one.values())),
        idempotency_key=idempotency_key,
    )
    best = diagnosis.advice[0] if diagnosis.advice else None
    expected = {} if best is None else {k: mask_lines(v.mask) for k, v in best.expected.items()}
    result = store.add_entry(
        number,
        "result",
        "pattern",
        {**found.payload(), "of": entry.seq, "diagnosis": diagnosis.to_json(), "expected": expected},
        who=who,
        idempotency_key=f"{idempotency_key}:result" if idempotency_key else "",
    )
    written = [entry, result]
    if best is not None:
        written.append(
            store.add_entry(
                number,
                "advice",
                "pattern",
                {**best.to_json(), "text": str(found.values.get("first_step", best.text)), "of": entry.seq},
                who=who,
                idempotency_key=f"{idempotency_key}:advice" if idempotency_key else "",
            )
        )
    return outcome_of("pattern", result.payload, tuple(written))


def _context(known: Known) -> dict[str, Any]:
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
        "backlash_mm": backlash.get("mean_mm"),
        "backlash_target_mm": backlash.get("target_mm"),
        "ring_moved_total_mm": moved,
    }


@dataclass(frozen=True, slots=True)
class _KeptReading:
    pattern: ContactPattern
    center_sd: tuple[float, float]


def _earlier(known: Known, now: Mapping[str, Any]) -> tuple[Earlier, ...]:
    """Return earlier rounds of this job, with what was moved since."""
    from axlewright.diagnosis import Earlier

    out = []
    for entry in known.entries:
        if entry.step != "pattern" or entry.kind != "reading" or "flanks" not in entry.payload:
            continue
        then = entry.payload.get("context", {})
        if then.get("spacer_now_mm") is None or now["spacer_now_mm"] is None:
            continue
        kept = {}
        for flank, one in entry.payload["flanks"].items():
            sd = one["summary"].get("center_sd") or (0.06, 0.06)
            kept[flank] = _KeptReading(pattern_of_lines(one["mask"], flank), (float(sd[0]), float(sd[1])))
        pinion = pinion_out_of_spacers(
            float(then["spacer_now_mm"]), float(now["spacer_now_mm"]), now["place"]
        )
        ring = float(now["ring_moved_total_mm"]) - float(then.get("ring_moved_total_mm") or 0.0)
        if abs(pinion) < 1e-9 and abs(ring) < 1e-9:
            continue  # the same setting read twice: the newer reading stands for both
        out.append(Earlier(kept.get("drive"), kept.get("coast"), pinion, ring, then.get("backlash_mm")))
    return tuple(out)


def _judge(
    known: Known, readings: Mapping[FlankName, PatternReading], now: Mapping[str, Any]
) -> tuple[Found, Diagnosis]:
    from axlewright.diagnosis import Evidence, diagnose, show_chance

    assert known.design is not None  # asked by the only caller
    evidence = Evidence(
        known.design,
        readings.get("drive"),
        readings.get("coast"),
        backlash_mm=now["backlash_mm"],
        backlash_target_mm=now["backlash_target_mm"],
        mark_mm=now["mark_mm"],
        spacer_now_mm=now["spacer_now_mm"],
        place=now["place"],
        history=_earlier(known, now),
    )
    shelf = [item.thickness_mm for item in known.shelf if item.count > 0]
    diagnosis = diagnose(evidence, spacer_stock=shelf or None)
    found = Found()
    for flank, read in readings.items():
        x, y = read.pattern.center
        sx, sy = read.center_sd
        found.readings.append(
            ShownReading(
                f"{flank} pattern",
                read.pattern.describe(),
                note=(
                    f"centre {x:+.2f} ± {sx:.2f} lengthwise, {y:+.2f} ± {sy:.2f} in profile; "
                    f"from {read.source}"
                ).replace("-", "−"),
            )
        )
        found.notes += [f"{flank}: {sentence}" for sentence in read.quality]
    depth = diagnosis.cause["pinion_out_mm"]
    found.notes.insert(0, diagnosis.words)
    if not now["place_known"]:
        found.notes.append(
            "Where the depth shim sits has not been entered: the advice takes a spacer under the pinion head."
        )
    found.values |= {
        "cause_pinion_out_mm": depth.mean,
        "cause_pinion_out_sd_mm": depth.sd,
        "explained": diagnosis.explained,
        "fixable_by_shims": diagnosis.fixable_by_shims,
    }
    best = diagnosis.advice[0] if diagnosis.advice else None
    if best is None or not diagnosis.explained:
        found.verdict = "ask"
        found.why = "no setting of this design explains these patterns: check design, flanks and pictures"
        found.questions.append("Do design, flank and picture belong together?")
        return found, diagnosis
    found.values |= {
        "spacer_to_fit_mm": best.spacer_to_fit_mm,
        "spacer_change_mm": best.spacer_change_mm,
        "shim_move_mm": best.shim_move_mm,
        "pinion_move_mm": best.pinion_move_mm,
        "first_step": best.text,
        "chance_last_teardown": best.chance_last_teardown,
    }
    found.notes.append(
        f"Chance that this is the last teardown: {show_chance(best.chance_last_teardown)}. "
        f"Costs: {best.cost_words}."
    )
    if now["spacer_now_mm"] is None and best.spacer_change_mm:
        found.questions.insert(0, UNKNOWN_SPACER)
    wanted = _compare_with_sum(found, known, diagnosis, now)
    if best.pinion_move_mm == 0.0 and best.shim_move_mm == 0.0 and best.cost_class == "L0":
        found.verdict = "ask"
        found.why = "nothing better than leaving it: look at the marks and say whether they are right"
    else:
        found.verdict = "not ok"
        if wanted is not None and best.spacer_change_mm:
            _prefer_sum(found, known, best, now, wanted)
        found.why = str(found.values["first_step"]).rstrip(".")
        if best.spacer_to_fit_mm is not None and now["spacer_now_mm"] is not None:
            found.sums.append(
                _spacer_sum(
                    float(now["spacer_now_mm"]),
                    float(found.values["spacer_change_mm"]),
                    float(found.values["spacer_to_fit_mm"]),
                    "spacer_of_sum_mm" in found.values,
                )
            )
    return found, diagnosis


def _compare_with_sum(
    found: Found, known: Known, diagnosis: Diagnosis, now: Mapping[str, Any]
) -> float | None:
    """Hold the measured depth sum beside the patterns; return its spacer [mm] when they agree.

    They agree when the sum's spacer lies inside the 90 % interval of the patterns.
    """
    if now["depth_sum_mm"] is None or now["spacer_now_mm"] is None:
        return None
    depth = diagnosis.cause["pinion_out_mm"]
    out_per_spacer = pinion_out_of_spacers(0.0, 1.0, now["place"])
    present, by_sum = float(now["spacer_now_mm"]), float(now["depth_sum_mm"])
    by_patterns = present - depth.mean / out_per_spacer
    low, high = sorted(present - p / out_per_spacer for p in (depth.p05, depth.p95))
    agree = low <= by_sum <= high
    found.notes.insert(
        1,
        f"The sum says {show_length(by_sum, known.system)}, the patterns say "
        f"{show_length(by_patterns, known.system)} ± {show_length(depth.sd, known.system)}: they "
        + (
            "agree (the sum lies inside the patterns' 90 % interval)."
            if agree
            else "do not agree. Measure again, and check mark, mounting distance and photos, "
            "before anything is pressed."
        ),
    )
    found.values |= {"spacer_by_patterns_mm": by_patterns, "sum_agrees": agree}
    if not agree:
        return None
    return float(now["depth_shelf_mm"] or by_sum)


def _prefer_sum(found: Found, known: Known, best: Advice, now: Mapping[str, Any], wanted: float) -> None:
    """Take the measured sum's spacer in the first step: the patterns agree with it and are less sure."""
    present = float(now["spacer_now_mm"])
    move = pinion_out_of_spacers(present, wanted, now["place"])
    shown = show_length(wanted, known.system)
    if abs(wanted - present) < PREFER_WITHIN_MM or (move > 0) != (best.pinion_move_mm > 0):
        return  # the sum would leave it, or move it the other way: the patterns' own step stands
    found.values |= {
        "spacer_of_sum_mm": wanted,
        "spacer_to_fit_mm": wanted,
        "spacer_change_mm": wanted - present,
        "pinion_move_mm": move,
        "first_step": f"Depth spacer: fit {shown}, as the depth sum asks and the patterns agree. "
        f"From the patterns alone: {best.text}",
    }


def _spacer_sum(now: float, change: float, fit: float, of_sum: bool) -> ShownSum:
    note = "Present spacer and the change that the patterns ask for."
    if of_sum:
        note = "Present spacer and the change to the depth sum's spacer; the patterns agree with it."
    return plain_sum("spacer to fit", (now, change), fit, note)


def answer_advice(
    store: JobStore, number: int, seq: int, taken: bool, reason: str, *, who: str, idempotency_key: str = ""
) -> Entry:
    """Write down whether an advice was followed."""
    if not taken and not reason.strip():
        raise InputError("no reason given", where="advice", fix="say why it is not followed")
    if not any(e.seq == seq for e in store.entries(number, kind="advice")):
        raise InputError(
            f"this job has no advice {seq}", where="advice", fix="use the buttons under the advice"
        )
    return store.add_entry(
        number,
        "decision",
        "pattern",
        {"advice": seq, "taken": taken, "text": reason.strip() or "advice followed"},
        who=who,
        idempotency_key=idempotency_key,
    )
