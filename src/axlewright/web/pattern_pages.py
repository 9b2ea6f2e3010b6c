"""The pattern of a job: photos with corners, or words; what was read, why, and what to change."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from axlewright.errors import InputError, PhotoError
from axlewright.job import FieldError, JobView, Round, design_of_job, job_view
from axlewright.job.pattern import answer_advice, correct_outline, enter_patterns
from axlewright.job.pattern_shown import State as Believed
from axlewright.job.pattern_shown import (
    advice_shown,
    cause_bars,
    compared_shown,
    cure_bars,
    measures_shown,
    newest_read,
    ways_shown,
)
from axlewright.job.photos import (
    EDGES,
    FLANKS,
    Correction,
    FlankLook,
    FlankName,
    ToothLook,
    add_photo,
    check_mask,
    compound_of,
    edges_of,
    mask_rows,
    newest_photos,
    tooth_photos,
)
from axlewright.job.rolling import State
from axlewright.language import Text, decode, n_
from axlewright.language import eager as _
from axlewright.units import parse_number
from axlewright.web.page import (
    NOT_REFUSED,
    Form,
    Posted,
    Refused,
    Upload,
    go,
    person_of,
    shown_again,
    site_of,
)
from axlewright.web.pictures import outlines, tooth

if TYPE_CHECKING:
    from axlewright.records import JobStore

router = APIRouter()

SIDES: Final = {"drive": n_("Drive side"), "coast": n_("Coast side")}
LONGEST_FILE_NAME: Final = 60

CORNERS: Final = (
    (n_("toe, top"), n_("where the top edge meets the toe end")),
    (n_("heel, top"), n_("where the top edge meets the heel end")),
    (n_("heel, root"), n_("where the root meets the heel end")),
    (n_("toe, root"), n_("where the root meets the toe end")),
)


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


def flanks_shown(store: JobStore, view: JobView, typed: Mapping[str, str] | None) -> list[FlankShown]:
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
            newest = newest_photos(view.entries).get(name)
            if newest is not None and newest.seq > last.seq:
                shown.words = ""  # they were said of the marks before this photo
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


def _link(view: JobView, before: Believed, after: Believed) -> str:
    def state(s: Believed) -> State:
        return State(view.job.design_name, pinion=s.pinion, ring=s.ring, offset=s.offset, angle=s.angle)

    return "/rolling?" + state(after).query(beside=state(before).query(), of="advice")


def _page(request: Request, number: int, refused: Refused = NOT_REFUSED) -> Response:
    site = site_of(request)
    view = job_view(site.store, number)
    last = newest_read(view)
    answers = {
        e.payload.get("advice"): e for e in view.entries if e.kind == "decision" and "advice" in e.payload
    }
    newest_advice = None
    for entry in view.entries:
        if entry.kind == "advice" and last is not None and entry.payload.get("of") == last.seq:
            newest_advice = entry
    told = {} if last is None else dict(last.told)
    shown = advice_shown(told)
    questions = [] if last is None or last.result is None else list(last.result.questions)
    offered = bool(told.get("values", {}).get("offered")) and len(shown) > 1
    if offered:  # the advice itself says it
        questions = [q for q in questions if q != told.get("why")]
    came_words, came = compared_shown(told)
    standing = view.step("pattern").status
    values = {
        "view": view,
        "job": view.job,
        "flanks": flanks_shown(site.store, view, refused.typed if refused.section == "read" else None),
        "closed": view.job.state == "closed",
        "kept": refused.error.outcome
        if isinstance(refused.error, PhotosRefusedError)
        else _("Nothing was kept; what you marked is still here."),
        "corners": CORNERS,
        "edges": EDGES,
        "compound": refused.typed.get("compound", "auto"),
        "last": last,
        "told": told,
        "stale": standing.why if last is not None and standing.state == "again" else "",
        "causes": cause_bars(told),
        "cures": cure_bars(told),
        "ways": ways_shown(told),
        "came": came,
        "came_words": came_words,
        "advice": [(a, _link(view, a.before, a.after)) for a in shown],
        "questions": questions,
        "offered": offered,
        "newest_advice": newest_advice,
        "answer": answers.get(newest_advice.seq) if newest_advice is not None else None,
    }
    return site.show(request, "pattern.html", values, refused=refused)


@router.get("/jobs/{number}/pattern", response_class=HTMLResponse)
def pattern(request: Request, number: int) -> Response:
    """Show photos, readings, causes and advice."""
    return _page(request, number)


@router.post("/jobs/{number}/pattern/photos")
@shown_again(_page, "photos")
def photos(request: Request, number: int, form: Form) -> Response:
    """Keep photos of one or both flanks, or of several teeth of a flank; one that is none stops no other."""
    store, who = site_of(request).store, person_of(request).who
    chosen: list[tuple[FlankName, int | None, Upload]] = []
    for flank in FLANKS:
        chosen += [(flank, None, upload) for upload in form.files.get(flank, ())[-1:]]
        uploads = form.files.get(f"{flank}_teeth", ())
        teeth = _tooth_numbers(form.text(f"{flank}_numbers"), len(uploads), flank) if uploads else []
        chosen += [(flank, tooth_number, upload) for tooth_number, upload in zip(teeth, uploads, strict=True)]
    if not chosen:
        raise FieldError("drive", _("photos"), _("no photo chosen"), _("choose or take one for each flank"))
    kept, refused = [], []
    for flank, tooth_number, upload in chosen:
        named = f"{_(SIDES[flank])}, {upload.name[:LONGEST_FILE_NAME]}"
        key = f"{form.key}:{flank}" + (f":{tooth_number}" if tooth_number is not None else "")
        try:
            add_photo(store, number, flank, upload.data, who=who, tooth=tooth_number, idempotency_key=key)
        except PhotoError as error:
            refused.append((named, error))
        else:
            kept.append(named)
    if refused:
        raise PhotosRefusedError(refused, kept)
    return go(f"/jobs/{number}/pattern", "photos", "mark")


class PhotosRefusedError(PhotoError):
    """Some of the files sent are no photos; the others were kept."""

    def __init__(self, refused: Sequence[tuple[str, PhotoError]], kept: Sequence[str]) -> None:
        named, first = refused[0]
        super().__init__(first.what, where=named, fix=first.fix)
        self.outcome = _("Not kept: {files}.").format(files="; ".join(name for name, _error in refused))
        if kept:
            self.outcome = _("Kept: {kept}. Not kept: {files}.").format(
                kept="; ".join(kept), files="; ".join(name for name, _error in refused)
            )


def _tooth_numbers(text: str, count: int, flank: str) -> list[int]:
    """Read the numbers of the teeth photographed, in the order of the photos."""
    words = text.replace(",", " ").replace(";", " ").split()
    good = all(w.isascii() and w.isdecimal() and len(w) < 4 for w in words)
    if not good or len(words) != count or len(set(words)) != count:
        raise FieldError(
            f"{flank}_numbers",
            _("{flank} side, tooth numbers").format(flank=flank),
            _("{given} different numbers are needed for {count} photos").format(given=count, count=count),
            _("count the teeth from any one, such as 1 11 21 31"),
        )
    return [int(w) for w in words]


def _corners(form: Posted, start: str, flank: str) -> str:
    """Return the four corners of a photo as typed; empty when none was given.

    Raises
    ------
    FieldError
        When only some are given.
    """
    corners = [form.text(f"{start}_corner{i}") for i in range(4)]
    if not any(corners):
        return ""
    names = ", ".join(_(name) for (name, _where), c in zip(CORNERS, corners, strict=True) if not c)
    if names:
        raise FieldError(
            f"{flank}_corners",
            _("{flank} photo").format(flank=flank),
            _("not tapped yet: {corners}").format(corners=names),
            _("tap all four corners"),
        )
    return " ".join(c.replace(" ", "") for c in corners)


def _look(form: Posted, flank: FlankName) -> FlankLook:
    teeth = []
    for text in form.text(f"{flank}_teeth").split():
        start = f"{flank}_t{text}"
        corners = _corners(form, start, flank)
        if corners and text.isdecimal() and len(text) < 4:
            teeth.append(ToothLook(int(text), form.text(f"{start}_photo"), corners))
    if teeth:
        return FlankLook(teeth=tuple(teeth))
    corners = _corners(form, flank, flank)
    photo = form.text(f"{flank}_photo")
    words = form.text(f"{flank}_words")
    sketch = _sketch(form.text(f"{flank}_sketch"), flank)
    if sketch and not corners and not words:
        return FlankLook(sketch=sketch)
    if photo and corners and not words:
        return FlankLook(photo_file=photo, corners=corners)
    return FlankLook(words=words)  # typed, they are newer than a photo whose corners stay marked


def _sketch(text: str, flank: str) -> tuple[tuple[float, float], ...]:
    """Read a drawn outline: pairs "lengthwise,profile" from −1 to +1."""
    points = []
    for pair in text.split()[:2000]:
        x, _comma, y = pair.partition(",")
        try:
            points.append((parse_number(x), parse_number(y)))
        except InputError:
            raise FieldError(
                f"{flank}_sketch",
                _("{flank} sketch").format(flank=flank),
                _("'{pair}' is no place on the tooth").format(pair=pair),
                _("draw it once more"),
            ) from None
    return tuple(points)


@router.post("/jobs/{number}/pattern/read")
@shown_again(_page, "read")
def read(request: Request, number: int, form: Form) -> Response:
    """Read the marks and find what to change."""
    person = person_of(request)
    outcome = enter_patterns(
        site_of(request).store,
        number,
        {flank: _look(form, flank) for flank in FLANKS},
        compound=compound_of(form.text("compound")),
        who=person.who,
        idempotency_key=form.key,
        system=person.system,
    )
    return go(f"/jobs/{number}/pattern", f"read-{outcome.verdict.replace(' ', '-')}", "answer")


@router.post("/jobs/{number}/pattern/outline")
@shown_again(_page, "outline")
def outline(request: Request, number: int, form: Form) -> Response:
    """Correct the outline of a flank: as drawn, and with its edges nudged."""
    person = person_of(request)
    flank: FlankName = "coast" if form.text("flank") == "coast" else "drive"
    where = _("{flank} outline").format(flank=_(flank))
    drawn = form.text("mask")
    mask = check_mask(drawn, where) if drawn else ()
    toe, heel, root, top = edges_of([form.text(f"{e}_edge") for e in EDGES], where)
    outcome = correct_outline(
        site_of(request).store,
        number,
        form.whole("seq", 1) or 0,
        {flank: Correction(mask, toe, heel, root, top)},
        who=person.who,
        idempotency_key=form.key,
        system=person.system,
    )
    return go(f"/jobs/{number}/pattern", f"read-{outcome.verdict.replace(' ', '-')}", "answer")


@router.post("/jobs/{number}/pattern/advice")
@shown_again(_page, "advice")
def advice(request: Request, number: int, form: Form) -> Response:
    """Write down whether the advice was followed."""
    answer_advice(
        site_of(request).store,
        number,
        form.whole("seq", 1) or 0,
        form.text("taken") == "yes",
        form.text("reason"),
        who=person_of(request).who,
        idempotency_key=form.key,
    )
    return go(f"/jobs/{number}/pattern", "written", "answer")
