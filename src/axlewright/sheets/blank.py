"""The blank bench sheet, for days with paper only."""

from __future__ import annotations

from axlewright.sheets.data import LongText, Paper, SheetModel, ShortText
from axlewright.sheets.drawing import tooth_svg
from axlewright.sheets.typeset import set_pdf


class BlankSheetData(SheetModel):
    """What is known before the work begins; all of it may be left empty.

    Attributes
    ----------
    cautions : tuple of str
        Printed at the head.
    tapered : bool
        Form of the teeth to draw the pattern on.
    """

    shop: ShortText = ""
    number: ShortText = ""
    design: ShortText = ""
    set_number: ShortText = ""
    vehicle: ShortText = ""
    complaint: LongText = ""
    cautions: tuple[LongText, ...] = ()
    tapered: bool = True
    paper: Paper = "a4"


def blank_bench_sheet(data: BlankSheetData | None = None) -> bytes:
    """Set the blank bench sheet: lines to write on for every step, teeth to draw the patterns on.

    Parameters
    ----------
    data : BlankSheetData, optional
        What is printed already.
    """
    data = data or BlankSheetData()
    values = data.model_dump(mode="json") | {"tooth": tooth_svg(tapered=data.tapered)}
    return set_pdf("bench_sheet.typ", values)
