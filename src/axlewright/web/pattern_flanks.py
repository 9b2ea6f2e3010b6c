"""What the pattern page shows of each flank: photos to mark, what was read, what is expected of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from axlewright.job import JobView, Round, design_of_job
from axlewright.job.pattern_shown import measures_shown, newest_read
from axlewright.job.photos import FLANKS, FlankName, mask_rows, newest_photos, tooth_photos
from axlewright.language import Text, decode
from axlewright.language import eager as _
from axlewright.web.pattern_pictures import outlines
from axlewright.web.pictures import tooth

if TYPE_CHECKING:
    from axlewright.records import JobStore


@dataclass(slots=True)
class PhotoShown:
    """One photo to mark.

    Attributes
    ----------
    id : str
        Start of the names of its fields: flank, or flank and tooth.
    guess : str
        Where the corners may be, four places in words; empty when nothing was guessed.
    """

    id: str
    file: str
    width: int = 0
    height: int = 0
    tooth: int | None = None
    corners: list[str] = field(default_factory=lambda: ["", "", "", ""])
    guess: str = ""


@dataclass(slots=True)
class FlankShown:
    """One flank on the page: its photos to mark, and what was read last."""

    name: str
    photos: list[PhotoShown] = field(default_factory=list)
    words: str = ""
    sketch: str = ""
    teeth_svg: str = ""
    outlines_svg: str = ""
    unrolled: str = ""
    mask: str = ""
    as_read: str = ""
    other: str = ""
    read: dict[str, Any] = field(default_factory=dict)
    expected: bool = False
    teeth: list[dict[str, Any]] = field(default_factory=list)
    measures: list[tuple[Text, Text]] = field(default_factory=list)
    acceptance: list[dict[str, Any]] = field(default_factory=list)

    @property
    def photo(self) -> str:
        """Hash of the first photo, empty when there is none."""
        return self.photos[0].file if self.photos else ""


def _photos(view: JobView, last: Round | None, name: FlankName) -> list[PhotoShown]:
    """Return the photos of a flank that wait to be marked or were marked last."""
    kept = None if last is None else last.payload["flanks"].get(name)
    fresh = tooth_photos(view.entries, 0 if last is None else last.seq).get(name, {})
    if not fresh and kept is not None and kept.get("teeth"):
        fresh = {
            t: e
            for t, e in tooth_photos(view.entries).get(name, {}).items()
            if t in {one["tooth"] for one in kept["teeth"]}
        }
    single = newest_photos(view.entries).get(name)
    if fresh and (single is None or max(e.seq for e in fresh.values()) > single.seq):
        taps = {one["tooth"]: one for one in (kept or {}).get("teeth", ())}
        out = []
        for number, entry in fresh.items():
            one = PhotoShown(
                f"{name}_t{number}",
                entry.files[0],
                int(entry.payload["width"]),
                int(entry.payload["height"]),
                number,
                guess=" ".join(entry.payload.get("guess", ())),
            )
            if number in taps and taps[number]["photo"] == one.file:
                one.corners = str(taps[number]["corners"]).split()
            out.append(one)
        return out
    shown = None
    if single is not None:
        shown = PhotoShown(
            name,
            single.files[0],
            int(single.payload["width"]),
            int(single.payload["height"]),
            guess=" ".join(single.payload.get("guess", ())),
        )
    elif kept is not None and kept.get("photo"):
        shown = PhotoShown(name, kept["photo"])
    if shown is None:
        return []
    if last is not None:
        corners = last.typed.get(f"{name}_corners", "").split()
        if len(corners) == 4 and (kept is None or kept.get("photo") == shown.file):
            shown.corners = corners
    return [shown]


def flanks_shown(store: JobStore, view: JobView, typed: dict[str, str] | None) -> list[FlankShown]:
    """Return both flanks of a job as its page shows them.

    Parameters
    ----------
    typed : dict of str, optional
        Fields of a form that was refused: they are shown again in place of what is kept.
    """
    last = newest_read(view)
    design = design_of_job(store, view.job)
    tapered = design is None or design.tooth_form == "face-milled"
    out = []
    for name in FLANKS:
        shown = FlankShown(name, _photos(view, last, name))
        if last is not None:
            _show_read(shown, last, tapered)
        if typed is not None:
            for photo in shown.photos:
                photo.corners = [typed.get(f"{photo.id}_corner{i}", "") for i in range(4)]
            shown.words = typed.get(f"{name}_words", "")
            shown.sketch = typed.get(f"{name}_sketch", "")
        out.append(shown)
    return out


def _show_read(shown: FlankShown, last: Round, tapered: bool) -> None:
    """Fill in what was read of a flank and what is expected of it after the change."""
    name = shown.name
    kept = decode(last.payload["flanks"].get(name))
    after = last.told.get("expected", {}).get(name)
    measured = None if kept is None else mask_rows(kept["mask"])
    computed = None if after is None else mask_rows(after)
    shown.words = last.typed.get(f"{name}_words", "")
    shown.expected = computed is not None
    if kept is not None:
        shown.read = kept["summary"]
        shown.unrolled = kept.get("unrolled", "")
        shown.mask = " ".join(kept["mask"])
        shown.as_read = " ".join(kept.get("as_read", ()))
        shown.teeth = list(kept.get("teeth", ()))
        shown.other = " ".join(kept.get("other", ()))
        shown.measures = measures_shown(kept["summary"])
        shown.acceptance = list(last.told.get("values", {}).get("acceptance", {}).get(name, ()))
    if measured is None and computed is None:
        return
    words = "" if kept is None else str(kept["summary"]["words"])
    label = _("{flank} side: measured {words}").format(flank=_(name), words=words)
    if computed is not None:
        label = _(
            "{flank} side: measured {words}; laid over it what is computed for after the change"
        ).format(flank=_(name), words=words)
    shown.teeth_svg = tooth(measured=measured, computed=computed, tapered=tapered, label=label)
    if shown.unrolled:
        shown.outlines_svg = outlines(measured=measured, computed=computed, label=label)
