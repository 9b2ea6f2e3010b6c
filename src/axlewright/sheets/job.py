"""The job sheet, and the blank one for days with paper only."""

from __future__ import annotations

import base64
import io
from typing import Any, Final

from PIL import Image, ImageOps

from axlewright.drawing import drawn
from axlewright.errors import PhotoError
from axlewright.language import Number, _
from axlewright.sheets.codes import qr_svg
from axlewright.sheets.data import (
    CUT,
    LONG,
    SHORT,
    JobSheetData,
    LongText,
    Paper,
    PatternPicture,
    RoundPlot,
    SheetModel,
    ShortText,
)
from axlewright.sheets.drawing import round_plot_svg, tooth_alt, tooth_svg
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


MAX_PIXELS: Final = 1800
"""Longest side of a printed photo: about 500 dots per inch in its place on the sheet."""


def job_sheet(data: JobSheetData) -> bytes:
    """Set the job sheet as a PDF.

    Parameters
    ----------
    data : JobSheetData
        Texts are printed as they are; markup in them means nothing.

    Returns
    -------
    bytes
        PDF after PDF/UA-1, the same bytes for the same data.

    Raises
    ------
    PhotoError
        A photo is no JPEG.
    """
    values = data.model_dump(mode="json", exclude={"photos", "patterns", "plots", "causes"})
    photos = [
        {
            "svg": _jpeg_svg(photo.jpeg, f"photo {place}"),
            "caption": photo.caption,
            "alt": photo.alt or photo.caption,
        }
        for place, photo in enumerate(data.photos, start=1)
    ]
    values |= {
        "photos": photos,
        "patterns": [_pattern(picture) for picture in data.patterns],
        "plots": [_plot(plot) for plot in data.plots],
        "causes": [
            {
                **cause.model_dump(),
                "chance": "" if cause.probability is None else f"{100 * cause.probability:.0f} %",
            }
            for cause in data.causes
        ],
        "qr": qr_svg(data.link) if data.link else None,
        "cut": _("A text that ends in “…” is longer in the record than there is room for here.")
        if _any_cut(values)
        else "",
    }
    return set_pdf("job_sheet.typ", values)


def _any_cut(value: Any) -> bool:
    if isinstance(value, str):
        return len(value) in (SHORT, LONG) and value.endswith(CUT)
    if isinstance(value, dict):
        return any(map(_any_cut, value.values()))
    return isinstance(value, list) and any(map(_any_cut, value))


def _print_ready(jpeg: bytes, where: str) -> tuple[bytes, int, int]:
    """Return a JPEG as it is printed and its size: upright, no larger than paper shows."""
    try:
        with Image.open(io.BytesIO(jpeg), formats=("JPEG",)) as picture:
            picture.load()
            plain = picture.mode in ("RGB", "L") and max(picture.size) <= MAX_PIXELS
            if plain and not picture.getexif():
                return jpeg, *picture.size
            upright = ImageOps.exif_transpose(picture).convert("L" if picture.mode == "L" else "RGB")
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        raise PhotoError(_("this is no JPEG picture"), where=where, fix=_("save it as JPEG first")) from None
    upright.thumbnail((MAX_PIXELS, MAX_PIXELS))
    out = io.BytesIO()
    upright.save(out, "JPEG", quality=85)
    return out.getvalue(), *upright.size


def _jpeg_svg(jpeg: bytes, where: str) -> str:
    ready, wide, high = _print_ready(jpeg, where)
    data = base64.b64encode(ready).decode("ascii")
    return drawn("sheets/jpeg", wide=wide, high=high, data=data)


def _pattern(picture: PatternPicture) -> dict[str, Any]:
    shown = []
    if picture.measured is not None:
        shown.append(
            {
                "svg": tooth_svg(measured=picture.measured, tapered=picture.tapered),
                "alt": tooth_alt(picture.flank, "measured", picture.measured),
                "kind": _("Measured:"),
                "caption": picture.measured_caption,
            }
        )
    if picture.computed is not None:
        shown.append(
            {
                "svg": tooth_svg(computed=picture.computed, tapered=picture.tapered, ghost=picture.measured),
                "alt": tooth_alt(picture.flank, "computed", picture.computed),
                "kind": _("Computed:"),
                "caption": picture.computed_caption,
            }
        )
    return {
        "title": _("Drive side") if picture.flank == "drive" else _("Coast side"),
        "pictures": shown,
        "note": picture.note,
    }


def _plot(plot: RoundPlot) -> dict[str, Any]:
    low, high = min(plot.values), max(plot.values)
    alt = _("{title}: {count} readings round the ring gear, {low} to {high} {unit}.").format(
        title=plot.title,
        count=len(plot.values),
        low=Number(low),
        high=Number(high),
        unit=plot.unit,
    )
    return {"title": plot.title, "svg": round_plot_svg(plot), "alt": alt, "caption": plot.caption}
