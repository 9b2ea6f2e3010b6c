"""What a sheet or label is made from: frozen models, texts and pictures ready to print.

Numbers come as text, rounded by whoever knows how many digits they deserve; units stand beside them.
All models can be read from and written to JSON; picture bytes are base64 there.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

Paper = Literal["a4", "us-letter"]
VerdictWord = Literal["ok", "not ok", "ask", "waived", "open", "again"]
Flank = Literal["drive", "coast"]
Mask = tuple[tuple[bool, ...], ...]
"""Marked cells of a flank: rows are profile, root first; columns lengthwise, toe first."""

ShortText = Annotated[str, Field(max_length=400)]
LongText = Annotated[str, Field(max_length=8000)]


class SheetModel(BaseModel):
    """Base: frozen, unknown fields refused, bytes as base64 in JSON."""

    model_config = ConfigDict(frozen=True, extra="forbid", ser_json_bytes="base64", val_json_bytes="base64")


class Reading(SheetModel):
    """One reading, typed as it was read.

    Attributes
    ----------
    name, value, unit : str
        What was read, its value and unit.
    place : str
        Where on the axle, such as "tooth 1, heel".
    instrument : str
        With the date of its last calibration where known.
    who, when : str
        Person and time.
    note : str
        A remark.
    entry : int or None
        Number of its entry in the record; readings of one entry are printed together.
    """

    name: ShortText
    value: ShortText
    unit: ShortText = ""
    place: ShortText = ""
    instrument: ShortText = ""
    who: ShortText = ""
    when: ShortText = ""
    note: ShortText = ""
    entry: int | None = None


class Sum(SheetModel):
    """A sum written out: ``4.3125 − 3.0000 − 1.2490 − 0.0020 = 0.0615``.

    Attributes
    ----------
    name : str
        What the result is.
    text : str
        The sum with its numbers.
    result, unit, uncertainty : str
        Result with unit, and its uncertainty such as "± 0.0006 in (k = 2)".
    note : str
        Where the rule comes from, or what the other convention would give.
    """

    name: ShortText
    text: LongText
    result: ShortText = ""
    unit: ShortText = ""
    uncertainty: ShortText = ""
    note: LongText = ""


class Limit(SheetModel):
    """A limit beside what was read.

    Attributes
    ----------
    name, value, unit : str
        Such as "backlash", "0.15 to 0.20", "mm".
    source : str
        Where the limit comes from.
    origin : str
        Whether it is a default of this program, was typed in, or stands in the design file.
    read : str
        What was read, in the same unit.
    verdict : str
    """

    name: ShortText
    value: ShortText
    unit: ShortText = ""
    source: ShortText
    origin: Literal["default", "typed in", "design file"]
    read: ShortText = ""
    verdict: VerdictWord = "open"


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
    begun : bool
        Whether anything was entered; a step that was not begun is only named in the overview.
    """

    title: ShortText
    verdict: VerdictWord = "open"
    why: LongText = ""
    readings: tuple[Reading, ...] = ()
    struck: tuple[Struck, ...] = ()
    begun: bool = True
    sums: tuple[Sum, ...] = ()
    limits: tuple[Limit, ...] = ()
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
