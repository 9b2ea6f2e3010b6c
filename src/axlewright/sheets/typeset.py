"""Set a page with Typst: data in as JSON, PDF bytes out; the same bytes for the same data.

No data reaches the template as markup: texts come in through JSON and stay texts.
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
from axlewright.language import chosen
from axlewright.language import eager as _
from axlewright.sheets.words import SHEET_WORDS

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
    """Leave out control characters, which no font can show."""
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
    said = {"words": {message: _(message) for message in SHEET_WORDS}, "language": chosen()}
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
