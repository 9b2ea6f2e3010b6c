"""Labels from the record: of a job's set, and of a piece on the shelf; and the blank sheet for paper days."""

from __future__ import annotations

from typing import TYPE_CHECKING

from axlewright.errors import InputError
from axlewright.job.entering import cautions_of
from axlewright.language import Text, _, joined, local_time
from axlewright.units import Length, System, using_system

if TYPE_CHECKING:
    from axlewright.records import JobStore
    from axlewright.sheets import SetLabelData, SpacerLabelData
    from axlewright.sheets.data import Paper


def set_label_data(store: JobStore, number: int, system: System = "inch") -> SetLabelData:
    """Return what stands on the label of a job's set: only what the record knows.

    Raises
    ------
    InputError
        No set number is known yet.
    """
    from axlewright.job.designs import design_of_job
    from axlewright.job.view import job_view
    from axlewright.sheets import SetLabelData

    view = job_view(store, number, system)
    identity, backlash = (
        dict(latest.result.values)
        if (latest := view.step(key).latest) is not None and latest.result is not None
        else {}
        for key in ("identity", "backlash")
    )
    pair = str(identity.get("ring_number") or view.job.set_number)
    if not pair:
        raise InputError(
            _("no set number is known"),
            where=_("set label"),
            fix=_("enter the set's identity, or give the number with the job"),
        )
    design = design_of_job(store, view.job)
    meaning: Text = ""
    if "mark_mm" in identity:
        away = float(identity["mark_mm"])
        shown = Length(abs(away))
        if away > 0.0:
            meaning = _("pinion farther out by {length}").format(length=shown)
        elif away < 0.0:
            meaning = _("pinion farther in by {length}").format(length=shown)
        else:
            meaning = _("pinion at the design's distance")
    tightest = backlash.get("tightest_mm")
    when = view.step("backlash").latest
    with using_system(system):
        return SetLabelData(
            set_number=pair,
            design=view.job.design_name,
            ratio="" if design is None else f"{design.pinion_teeth}/{design.ring_teeth}",
            tooth_form="" if design is None else _(design.tooth_form),
            hand="" if design is None else _("{hand}-hand pinion").format(hand=_(design.hand)),
            depth_mark=str(identity.get("mark_text", "")),
            mark_meaning=meaning,
            backlash="" if tightest is None else Length(float(tightest)),
            tested=""
            if tightest is None or when is None
            else joined(local_time(when.at), when.who, between=", "),
        )


def spacer_label_data(store: JobStore, item_id: int) -> SpacerLabelData:
    """Return what stands on the label of a piece on the shelf.

    Raises
    ------
    InputError
        There is no such piece.
    """
    from axlewright.sheets import SpacerLabelData

    for item in store.stock.list():
        if item.id == item_id:
            return SpacerLabelData(
                kind=item.kind,
                thickness_mm=item.thickness_mm,
                inch=Length(item.thickness_mm).shown_in("inch"),
                part=item.part,
                place=item.place,
                design=item.design_name,
                stock_id=str(item.id),
            )
    raise InputError(
        _("there is no piece {number} on the shelf").format(number=item_id),
        where=_("spacer label"),
        fix=_("look it up in the list of the shelf"),
    )


def blank_sheet_pdf(
    store: JobStore | None = None, number: int | None = None, *, shop: str = "", paper: Paper = "a4"
) -> bytes:
    """Return the blank bench sheet; for a job with what is known of it printed already."""
    from axlewright.job.designs import design_of_job
    from axlewright.sheets import BlankSheetData, blank_bench_sheet

    cautions = tuple(
        dict.fromkeys(str(c) for key in ("as-found", "depth", "pattern") for c in cautions_of(key)[:2])
    )
    if store is None or number is None:
        return blank_bench_sheet(BlankSheetData(shop=shop, paper=paper, cautions=cautions))
    job = store.get_job(number)
    design = design_of_job(store, job)
    return blank_bench_sheet(
        BlankSheetData(
            shop=shop,
            number=str(job.number),
            design=job.design_name,
            set_number=job.set_number,
            vehicle=job.vehicle,
            complaint=job.complaint,
            cautions=cautions,
            tapered=design is None or design.tooth_form == "face-milled",
            paper=paper,
        )
    )
