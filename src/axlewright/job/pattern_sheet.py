"""What the patterns of a job put on its sheet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from axlewright.job.kept_masks import mask_rows
from axlewright.job.pattern_rounds import read_rounds
from axlewright.job.view import JobView, Round
from axlewright.language import Shown, n_
from axlewright.language import eager as _
from axlewright.units import System, show_length

if TYPE_CHECKING:
    from axlewright.records import JobStore
    from axlewright.sheets import Advice, Cause, PatternPicture, Photo

SOURCES: Final = (n_("photo"), n_("sketch"), n_("words"), n_("teeth"))
"""Where a pattern was read from."""
CAUSE_NAMES: Final = {
    "pinion_out_mm": n_("pinion too far out (+) or in (−)"),
    "ring_away_mm": n_("ring gear too far away (+) or close (−)"),
    "offset_error_mm": n_("offset too large (+) or small (−)"),
    "shaft_angle_error_deg": n_("shaft angle open (+) or closed (−)"),
}


@dataclass(frozen=True, slots=True)
class SheetParts:
    """What the patterns of a job put on its sheet."""

    patterns: tuple[PatternPicture, ...] = ()
    causes: tuple[Cause, ...] = ()
    cause_note: str = ""
    advice: tuple[Advice, ...] = ()
    photos: tuple[Photo, ...] = ()


def newest_read(view: JobView) -> Round | None:
    """Return the newest round in which patterns were read, passing over later decisions."""
    for one in view.step("pattern").rounds:
        if "flanks" in one.payload and one.result:
            return one
    return None


def cause_texts(result: dict[str, Any], system: System) -> list[tuple[str, str, str]]:
    """Return (name, value, uncertainty) of each cause of a kept diagnosis."""
    out = []
    kept = result.get("diagnosis", {}).get("cause", {})
    for key in CAUSE_NAMES:
        if key not in kept:
            continue
        spread = kept[key]
        if key.endswith("_deg"):
            value, sure = f"{Shown(spread['mean']):+.3f}°", f"± {Shown(spread['sd']):.3f}°"
        else:
            value = show_length(spread["mean"], system, signed=True)
            sure = f"± {show_length(spread['sd'], system)}"
        out.append((_(CAUSE_NAMES[key]), value, sure))
    return out


def _measured_caption(summary: dict[str, Any]) -> str:
    words, source = summary["words"], summary["source"]
    return _("{words}; from {source}").format(words=words, source=_(source))


def sheet_parts(store: JobStore, view: JobView, system: System) -> SheetParts:
    """Return patterns, causes, advice and photos of the newest reading that counts."""
    one = newest_read(view)
    if one is None:
        return SheetParts()
    from axlewright.job.designs import design_of_job
    from axlewright.records import standing
    from axlewright.sheets import Advice, Cause, PatternPicture, Photo

    design = design_of_job(store, view.job)
    tapered = design is None or design.tooth_form == "face-milled"
    result = dict(one.told)
    expected = result.get("expected", {})
    told = result.get("diagnosis", {})
    told_of_move = result.get("values", {}).get("figures", "")
    pictures, photos = [], []
    for flank in ("drive", "coast"):
        kept = one.payload["flanks"].get(flank)
        after = expected.get(flank)
        if kept is None and after is None:
            continue
        pictures.append(
            PatternPicture(
                flank=flank,
                measured=None if kept is None else mask_rows(kept["mask"]),
                computed=None if after is None else mask_rows(after),
                measured_caption="" if kept is None else _measured_caption(kept["summary"]),
                computed_caption="" if after is None else _("after the change advised"),
                tapered=tapered,
            )
        )
        if kept is not None and kept.get("photo"):
            photos.append(
                Photo(
                    jpeg=store.read_file(kept["photo"]),
                    caption=_("drive flank, as photographed")
                    if flank == "drive"
                    else _("coast flank, as photographed"),
                )
            )
    causes = tuple(
        Cause(name=name, value=value, uncertainty=sure) for name, value, sure in cause_texts(result, system)
    )
    answers = {
        e.payload.get("advice"): e for e in view.entries if e.kind == "decision" and "advice" in e.payload
    }
    advice = []
    readings = [e.seq for e in read_rounds(standing(view.entries))]
    for entry in view.entries:
        if entry.kind != "advice" or entry.step != "pattern" or entry.payload.get("of") not in readings:
            continue
        answer = answers.get(entry.seq)
        photographed = bool(entry.payload.get("look_again")) and entry.seq < readings[-1]
        advice.append(
            Advice(
                text=str(entry.payload["text"]),
                taken=("taken" if photographed else "open")
                if answer is None
                else ("taken" if answer.payload["taken"] else "not taken"),
                who="" if answer is None else answer.who,
                reason="" if answer is None else str(answer.payload.get("text", "")),
            )
        )
    return SheetParts(
        tuple(pictures),
        causes,
        " ".join(filter(None, (str(told.get("words", "")), str(told_of_move)))),
        tuple(advice),
        tuple(photos),
    )
