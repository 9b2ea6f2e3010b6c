"""Labels for matched sets and for spacers, with a DataMatrix that carries the same facts.

The code holds a short text in the form of a URL query, ``axle-set?number=4417&design=TY-222``, which any
scanner can read and `read_label_code` takes apart.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import partial
from typing import Annotated, Any
from urllib.parse import parse_qsl, urlencode

from pydantic import BeforeValidator, Field

from axlewright.errors import InputError
from axlewright.language import Number, Text, _, joined
from axlewright.sheets.codes import datamatrix_svg
from axlewright.sheets.data import SheetModel, drawn
from axlewright.sheets.typeset import set_pdf

LabelText = Annotated[str, BeforeValidator(partial(drawn, longest=80))]
Size = Annotated[float, Field(ge=20, le=210, allow_inf_nan=False)]


class LabelSize(SheetModel):
    """Size of the label stock in millimetres; common roll stock by default."""

    width_mm: Size = 62.0
    height_mm: Size = 29.0


class SetLabelData(LabelSize):
    """Label of a matched set.

    Attributes
    ----------
    set_number : str
        Pair number etched on both members.
    design, ratio, tooth_form, hand : str
        Such as "TY-222", "11/41", "face-milled", "left-hand pinion".
    depth_mark, mark_meaning : str
        Such as "+2" and "pinion further out by 0.002 in": a mark is worth nothing without its meaning.
    backlash : str
        As tested, with unit.
    tested : str
        Date and tester.
    """

    set_number: LabelText
    design: LabelText = ""
    ratio: LabelText = ""
    tooth_form: LabelText = ""
    hand: LabelText = ""
    depth_mark: LabelText = ""
    mark_meaning: LabelText = ""
    backlash: LabelText = ""
    tested: LabelText = ""


class SpacerLabelData(LabelSize):
    """Label of a spacer or shim on the shelf.

    Attributes
    ----------
    kind : str
        Such as "pinion spacer".
    thickness_mm : float
        As measured.
    inch : str
        The same in inches as text, such as "0.0615 in".
    measured : str
        Date, instrument.
    part, place, design : str
        Part number, place on the shelf, design it fits.
    stock_id : str
        Number of the stock item.
    """

    kind: LabelText
    thickness_mm: Annotated[float, Field(gt=0, lt=1000, allow_inf_nan=False)]
    inch: LabelText = ""
    measured: LabelText = ""
    part: LabelText = ""
    place: LabelText = ""
    design: LabelText = ""
    stock_id: LabelText = ""


def _code(kind: str, facts: dict[str, str]) -> str:
    return f"{kind}?{urlencode({key: value for key, value in facts.items() if value})}"


def read_label_code(text: str) -> dict[str, str]:
    """Take apart the text of a label's code.

    Returns
    -------
    dict
        The facts, and under ``label`` which label it is: ``axle-set`` or ``axle-spacer``.

    Examples
    --------
    >>> read_label_code("axle-set?number=4417&mark=%2B2")
    {'label': 'axle-set', 'number': '4417', 'mark': '+2'}
    """
    kind, _rest, query = text.strip().partition("?")
    if kind not in ("axle-set", "axle-spacer"):
        raise InputError(
            _("this is not the code of a set or spacer label"), where=_("code"), fix=_("scan the label again")
        )
    return {"label": kind, **dict(parse_qsl(query))}


def set_label_code(data: SetLabelData) -> str:
    """Return the text in the DataMatrix of a set label."""
    facts = {
        "number": data.set_number,
        "design": data.design,
        "mark": data.depth_mark,
        "meaning": data.mark_meaning,
        "backlash": data.backlash,
    }
    return _code("axle-set", facts)


def spacer_label_code(data: SpacerLabelData) -> str:
    """Return the text in the DataMatrix of a spacer label."""
    facts = {"id": data.stock_id, "kind": data.kind, "mm": f"{data.thickness_mm:.4g}", "part": data.part}
    return _code("axle-spacer", facts)


def _kept_together(lines: Sequence[Text]) -> list[str]:
    """Let a number stay with its unit on one line."""
    return [re.sub(r"(?<=\d) (?=(?:mm|in|µm)\b)", "\u00a0", str(line)) for line in lines]


def _set(values: dict[str, Any]) -> bytes:
    values["lines"] = _kept_together(values["lines"])
    return set_pdf("label.typ", values)


def _set_label_values(data: SetLabelData) -> dict[str, Any]:
    return data.model_dump() | {
        "title": _("Set label {set_number}").format(set_number=data.set_number),
        "big": _("Set {number}").format(number=data.set_number),
        "lines": [
            joined(data.design, data.ratio, data.tooth_form, data.hand, between=" · "),
            _("mark {mark}").format(mark=data.depth_mark) if data.depth_mark else "",
            data.mark_meaning,
            _("backlash {backlash}").format(backlash=data.backlash) if data.backlash else "",
            data.tested,
        ],
        "code": datamatrix_svg(set_label_code(data)),
    }


def set_label(data: SetLabelData) -> bytes:
    """Set the label of a matched set as a PDF of the size of the label."""
    return _set(_set_label_values(data))


def set_labels(labels: Sequence[SetLabelData]) -> bytes:
    """Set the labels of a batch as one PDF, a label on each page, for a label printer.

    Parameters
    ----------
    labels : sequence of SetLabelData
        At least one; all on the label stock of the first.

    Raises
    ------
    InputError
        When there is none.
    """
    if not labels:
        raise InputError(_("there is no label to print"), where=_("labels"), fix=_("choose at least one set"))
    first = labels[0]
    pages = [_set_label_values(one) for one in labels]
    values = {
        "title": _("Labels of {count} sets").format(count=len(pages)),
        "width_mm": first.width_mm,
        "height_mm": first.height_mm,
        "labels": [
            {"big": one["big"], "lines": _kept_together(one["lines"]), "code": one["code"]} for one in pages
        ],
    }
    return set_pdf("label_roll.typ", values)


def spacer_label(data: SpacerLabelData) -> bytes:
    """Set the label of a spacer or shim as a PDF of the size of the label."""
    values = data.model_dump() | {
        "title": _("Spacer label {thickness_mm} mm").format(thickness_mm=Number(data.thickness_mm, ".3f")),
        "big": joined(Number(data.thickness_mm, ".3f"), "mm"),
        "lines": [
            data.inch,
            _(data.kind),
            joined(data.design, data.part, between=" · "),
            data.measured,
            joined(
                data.place,
                _("stock {number}").format(number=data.stock_id) if data.stock_id else "",
                between=" · ",
            ),
        ],
        "code": datamatrix_svg(spacer_label_code(data)),
    }
    return _set(values)
