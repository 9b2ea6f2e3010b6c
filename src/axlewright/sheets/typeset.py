"""Set a page with Typst: data in as JSON, PDF bytes out; the same bytes for the same data.

No data reaches the template as markup: texts come in through JSON and stay texts. The words of the template
itself stand here for the catalogues; a template shows them with its function `w`, a test keeps both alike.
"""

from __future__ import annotations

import importlib.util
import json
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import typst

from axlewright.errors import AxlewrightError
from axlewright.language import Drawn, _, chosen, n_

SHEET_WORDS: Final = (
    n_("done"),
    n_("not ok"),
    n_("No longer counts"),
    n_("entry {number}"),
    n_("within"),
    n_("outside"),
    n_("to be answered"),
    n_("waived"),
    n_("open"),
    n_("due again"),
    n_("Caution"),
    n_("page {page} of {pages}"),
    n_("Job sheet {number}"),
    n_("Job {number}"),
    n_("set {number}"),
    n_("record {mark}"),
    n_("Design"),
    n_("Set number"),
    n_("Shop order"),
    n_("Worked on by"),
    n_("Opened"),
    n_("State"),
    n_("Vehicle"),
    n_("Complaint"),
    n_("QR code: {link}"),
    n_("Most likely cause"),
    n_("Chance"),
    n_("Cause"),
    n_("Size"),
    n_("Uncertainty"),
    n_("Remark"),
    n_("Advice"),
    n_("taken"),
    n_("not taken"),
    n_("Followed"),
    n_("Decided by"),
    n_("Reason"),
    n_("Contact pattern"),
    n_(
        "Ring gear tooth unrolled, seen on the flank. Hatched, full outline: measured. Dotted, dashed "
        "outline: computed. Thin dotted line: the measured one again, to compare."
    ),
    n_("Steps"),
    n_("Reading"),
    n_("Value"),
    n_("Unit"),
    n_("Limit"),
    n_("Read"),
    n_("Allowed"),
    n_("Verdict"),
    n_("Source of the limit"),
    n_("Kind"),
    n_("Round the ring gear"),
    n_("Photographs"),
    n_("Signatures"),
    n_(
        "Record when this sheet was printed: {mark}. It changes with every later entry; if the record's "
        "check fails, entries were altered."
    ),
    n_("Bench sheet"),
    n_("Job"),
    n_("Date"),
    n_("Technician"),
    n_("Instruments, calibrated on"),
    n_("Complaint and road test"),
    n_("drive"),
    n_("coast"),
    n_("float"),
    n_("turning"),
    n_("all"),
    n_("Speed band, with unit"),
    n_("Pitch or tone"),
    n_("As found"),
    n_("Backlash at"),
    n_("unit"),
    n_("tooth"),
    n_("reading"),
    n_("Turning torque, unit"),
    n_("End play, unit"),
    n_("Depth spacer, 3 places, unit"),
    n_("Shim left, 3 places, unit"),
    n_("Shim right, 3 places, unit"),
    n_("caps marked left and right, and way up"),
    n_("shims tagged by side"),
    n_("photographed"),
    n_("Set identity"),
    n_("Number on pinion"),
    n_("Number on ring gear"),
    n_("Teeth, pinion / ring gear"),
    n_("Ring gear thickness, unit"),
    n_("face-milled (deeper at heel)"),
    n_("face-hobbed (even depth)"),
    n_("timing marks"),
    n_("hand of pinion: left"),
    n_("right"),
    n_("Pinion depth and spacer"),
    n_("mean"),
    n_("spread"),
    n_("carrier depth"),
    n_("bearing width"),
    n_("Depth mark as etched"),
    n_("The shim sits"),
    n_("under the head"),
    n_("behind the cup"),
    n_("at the cage flange"),
    n_("How the depth was measured, gauge and its sizes"),
    n_("Cage: flange face to cup shoulder, unit"),
    n_("One unit of the mark is"),
    n_("Mounting distance, unit"),
    n_("Temperature of part and gauge"),
    n_("A plus on the mark moves the pinion"),
    n_("out, away from the ring gear's axis"),
    n_("in"),
    n_("not known: ask before pressing"),
    n_("Sum"),
    n_("Spacer needed, unit"),
    n_("Spacer fitted, unit"),
    n_("Pinion preload"),
    n_("Limit and its source"),
    n_("Read, unit"),
    n_("new"),
    n_("used bearings"),
    n_("with"),
    n_("without seal"),
    n_("Runout and backlash"),
    n_("at"),
    n_("flange runout"),
    n_("back face runout"),
    n_("backlash, at heel"),
    n_("Shim left, unit"),
    n_("Shim right, unit"),
    n_("Side preload, unit"),
    n_("The indicator's stem stood"),
    n_("in line with rotation"),
    n_("square to the tooth"),
    n_("Contact pattern: draw what the compound shows"),
    n_("Drive side"),
    n_("Coast side"),
    n_("Drive side, after the change"),
    n_("Coast side, after the change"),
    n_("{side}: empty unrolled ring gear tooth to draw the contact pattern on"),
    n_("Decided to change, and why"),
    n_("Notes"),
    n_("Final build and close"),
    n_("Preload with seal, unit"),
    n_("Backlash, unit"),
    n_("Left out, and why"),
    n_("pattern again"),
    n_("locks and caps to the maker's data"),
    n_("oil"),
    n_("leaks"),
    n_("road test"),
    n_("Technician, date"),
    n_("Lead, date"),
    n_("Data Matrix code with the facts of this label"),
    n_("default"),
    n_("typed in"),
    n_("design file"),
)


_CONTROL: Final = {code: None for code in (*range(32), *range(127, 160)) if code not in (9, 10)}


@cache
def fonts() -> typst.Fonts:
    """Return the DejaVu fonts that come with matplotlib, so that every shop gets the same page."""
    found = importlib.util.find_spec("matplotlib")
    if found is None or not found.submodule_search_locations:
        raise AxlewrightError(
            _("the fonts of matplotlib are missing"), where=_("sheet"), fix=_("reinstall matplotlib")
        )
    folder = Path(found.submodule_search_locations[0]) / "mpl-data" / "fonts" / "ttf"
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(folder)])


@cache
def _template(name: str) -> bytes:
    return files("axlewright.sheets").joinpath("templates", name).read_bytes()


def _printable(value: Any) -> Any:
    """Draw every text, without control characters, which no font can show."""
    if isinstance(value, Drawn):
        value = str(value)
    if isinstance(value, str):
        return value.translate(_CONTROL)
    if isinstance(value, Mapping):
        return {key: _printable(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [_printable(one) for one in value]
    return value


def set_pdf(template: str, data: Mapping[str, Any]) -> bytes:
    """Set one document.

    Parameters
    ----------
    template : str
        File name among the templates.
    data : mapping
        JSON values; the template reads them as text of ``sys.inputs.data``.

    Returns
    -------
    bytes
        A tagged PDF after PDF/UA-1.
    """
    said = {"words": {message: str(_(message)) for message in SHEET_WORDS}, "language": chosen()}
    text = json.dumps(_printable(dict(data) | said), ensure_ascii=False, sort_keys=True, allow_nan=False)
    try:
        return typst.compile(
            _template("common.typ") + _template(template),
            font_paths=fonts(),
            ignore_system_fonts=True,
            pdf_standards=["ua-1"],
            sys_inputs={"data": text},
        )
    except typst.TypstError as problem:
        raise AxlewrightError(
            _("the sheet cannot be set ({message})").format(message=problem.message),
            where=_("sheet"),
            fix=_("report the job's data"),
        ) from problem
