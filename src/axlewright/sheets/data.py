"""What a sheet or label is made from: frozen models, texts and pictures ready to print.

This is where paper draws: a message or quantity given to a model becomes words there, in the language and
unit system chosen, and a text longer than paper has room for is cut with "…". All models can be read from
and written to JSON; picture bytes are base64 there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from functools import partial
from typing import Annotated, Any, Final, Literal, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from axlewright.language import Drawn

Paper = Literal["a4", "us-letter"]
VerdictWord = Literal["ok", "not ok", "ask", "waived", "open", "again"]
Flank = Literal["drive", "coast"]
Mask = tuple[tuple[bool, ...], ...]
"""Marked cells of a flank: rows are profile, root first; columns lengthwise, toe first."""

SHORT: Final = 1_000
LONG: Final = 9_000
"""Most letters of a cell and of a paragraph; what can be typed fits with what is said around it."""
CUT: Final = "…"


def drawn(value: Any, longest: int) -> Any:
    """Return words for a message or quantity, cut where they are longer than there is room for."""
    text = str(value) if isinstance(value, Drawn) else value
    if isinstance(text, str) and len(text) > longest:
        return text[: longest - len(CUT)] + CUT
    return text


def _row(one: Any) -> Any:
    """Return a line of a table by the names of its columns, from a dataclass or mapping."""
    if is_dataclass(one):
        one = {column.name: getattr(one, column.name) for column in fields(one)}
    if not isinstance(one, Mapping):
        return one
    return {name: drawn(value, LONG if name in ("text", "note") else SHORT) for name, value in one.items()}


ShortText = Annotated[str, BeforeValidator(partial(drawn, longest=SHORT))]
LongText = Annotated[str, BeforeValidator(partial(drawn, longest=LONG))]
Row = Annotated[Mapping[str, str], BeforeValidator(_row)]


class SheetModel(BaseModel):
    """Base: frozen, unknown fields refused, bytes as base64 in JSON."""

    model_config = ConfigDict(frozen=True, extra="forbid", ser_json_bytes="base64", val_json_bytes="base64")


class ReadingBlock(SheetModel):
    """What was read at one time.

    Attributes
    ----------
    readings : tuple of Row
        Each with ``name, value, unit, note``.
    who, when, instrument : str
        Said once over them; the instrument with the date of its calibration where known.
    entry : int or None
        Number of its entry in the record.
    """

    readings: tuple[Row, ...]
    who: ShortText = ""
    when: ShortText = ""
    instrument: ShortText = ""
    entry: int | None = None


class Struck(SheetModel):
    """Readings that no longer count, printed struck out.

    Attributes
    ----------
    values : str
        What was read.
    fate : str
        Who replaced it or took it back, when and why.
    """

    values: LongText
    fate: LongText


class StepBlock(SheetModel):
    """One step of the job with all that was read, summed and judged in it.

    Attributes
    ----------
    struck : tuple of Struck
        Readings that were superseded; they stand in the record and on paper.
    sums : tuple of Row
        Each with ``label, text, result, sure, note``.
    limits : tuple of Row
        Each with ``name, read, allowed, verdict, source, origin``.
    begun : bool
        Whether anything was entered; a step that was not begun is only named in the overview.
    """

    title: ShortText
    verdict: VerdictWord = "open"
    why: LongText = ""
    rounds: tuple[ReadingBlock, ...] = ()
    struck: tuple[Struck, ...] = ()
    begun: bool = True
    sums: tuple[Row, ...] = ()
    limits: tuple[Row, ...] = ()
    notes: tuple[LongText, ...] = ()
    cautions: tuple[LongText, ...] = ()


class PatternPicture(SheetModel):
    """The contact pattern of one flank: measured, and as computed after the change.

    Attributes
    ----------
    flank : str
        "drive" or "coast".
    measured, computed : mask or None
        Rows are profile, root first; columns lengthwise, toe first.
    measured_caption, computed_caption : str
        Where the measured one comes from; what change the computed one belongs to.
    tapered : bool
        Whether the tooth is deeper at the heel (face-milled) or of even depth (face-hobbed).
    note : str
    """

    flank: Flank
    measured: Mask | None = None
    computed: Mask | None = None
    measured_caption: ShortText = ""
    computed_caption: ShortText = ""
    tapered: bool = True
    note: LongText = ""

    @model_validator(mode="after")
    def _check_masks(self) -> Self:
        for name, mask in (("measured", self.measured), ("computed", self.computed)):
            if mask is None:
                continue
            widths = {len(row) for row in mask}
            if len(mask) < 2 or len(widths) != 1 or widths.pop() < 2:
                raise ValueError(f"the {name} mask must be a rectangle of at least 2 by 2 cells")
        if self.measured is None and self.computed is None:
            raise ValueError("a pattern picture needs a measured or a computed mask")
        return self


class RoundPlot(SheetModel):
    """Readings once round the ring gear: runout or backlash, with the fitted curve where there is one.

    Attributes
    ----------
    angles_deg, values : tuple of float
        The readings.
    fit_angles_deg, fit_values : tuple of float
        Points of the fitted curve, empty for none.
    limit, lower_limit : float or None
        Drawn as lines.
    ringed : int or None
        Place of the reading that is ringed, such as the tightest.
    """

    title: ShortText
    unit: ShortText
    angles_deg: Annotated[tuple[float, ...], Field(min_length=2, max_length=720)]
    values: tuple[float, ...]
    fit_angles_deg: Annotated[tuple[float, ...], Field(max_length=1440)] = ()
    fit_values: tuple[float, ...] = ()
    limit: float | None = None
    lower_limit: float | None = None
    ringed: Annotated[int, Field(ge=0)] | None = None
    caption: LongText = ""

    @model_validator(mode="after")
    def _check_lengths(self) -> Self:
        if len(self.angles_deg) != len(self.values) or len(self.fit_angles_deg) != len(self.fit_values):
            raise ValueError("angles and values must be of equal number")
        return self


class Photo(SheetModel):
    """A JPEG picture with what it shows."""

    jpeg: bytes
    caption: ShortText
    alt: ShortText = ""


class Cause(SheetModel):
    """One possible cause with how likely it is.

    Attributes
    ----------
    probability : float or None
        0 to 1.
    value, uncertainty : str
        Size of the error with unit, and its uncertainty.
    """

    name: ShortText
    probability: Annotated[float, Field(ge=0, le=1)] | None = None
    value: ShortText = ""
    uncertainty: ShortText = ""
    note: LongText = ""


class Advice(SheetModel):
    """What was advised and what came of it."""

    text: LongText
    taken: Literal["taken", "not taken", "open"]
    who: ShortText = ""
    reason: LongText = ""


class Signature(SheetModel):
    """A sign-off made in the record, or an empty line to sign on paper when `name` is empty.

    Attributes
    ----------
    note : str
        Printed under the signature: which steps were open, and why it was signed all the same.
    """

    role: ShortText
    name: ShortText = ""
    when: ShortText = ""
    statement: LongText = ""
    note: LongText = ""


class JobSheetData(SheetModel):
    """Everything on a job sheet.

    Attributes
    ----------
    link : str
        Address of the job, printed as QR code and text; empty for none.
    fingerprint : str
        Last hash of the record, so that paper and record can be compared.
    people : tuple of str
        Who worked on it.
    cause_note : str
        What the readings cannot tell apart, and the cheap check that would.
    """

    shop: ShortText = ""
    number: ShortText
    reference: ShortText = ""
    set_number: ShortText = ""
    design: ShortText = ""
    vehicle: LongText = ""
    complaint: LongText = ""
    opened: ShortText = ""
    state: ShortText = ""
    people: tuple[ShortText, ...] = ()
    steps: tuple[StepBlock, ...] = ()
    patterns: tuple[PatternPicture, ...] = ()
    plots: tuple[RoundPlot, ...] = ()
    causes: tuple[Cause, ...] = ()
    cause_note: LongText = ""
    advice: tuple[Advice, ...] = ()
    photos: tuple[Photo, ...] = ()
    cautions: tuple[LongText, ...] = ()
    signatures: tuple[Signature, ...] = ()
    link: Annotated[str, Field(max_length=1000)] = ""
    fingerprint: ShortText = ""
    paper: Paper = "a4"
