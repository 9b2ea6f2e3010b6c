"""What a step's form is made of: fields, choices, and the fields that several steps share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

Kind = Literal[
    "text", "long text", "number", "count", "length", "lengths", "torque", "force", "choice", "yes"
]


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer of a choice."""

    key: str
    label: str


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a step.

    Attributes
    ----------
    name, label, kind : str
    help : str
        One sentence under the field.
    choices : tuple of Choice
        For kind "choice".
    needed : bool
        Whether the step cannot be entered without it.
    place : str
        Letter of its place in the drawing of the axle, empty for none.
    sticky : bool
        Whether the last answer of this job is filled in again next time.
    group : str
        Heading under which it stands.
    """

    name: str
    label: str
    kind: Kind
    help: str = ""
    choices: tuple[Choice, ...] = ()
    needed: bool = False
    place: str = ""
    sticky: bool = False
    group: str = ""


@dataclass(frozen=True, slots=True)
class StepForm:
    """All fields of one step.

    Attributes
    ----------
    lead : str
        What to do, one or two sentences.
    button : str
        What the button says.
    """

    step: str
    lead: str
    fields: tuple[Field, ...]
    button: str = "Work it out and keep it"

    def labels(self) -> dict[str, str]:
        """Return the label of each field."""
        return {f.name: f.label for f in self.fields}

    def groups(self) -> list[tuple[str, list[Field]]]:
        """Return the fields by heading, in order."""
        out: list[tuple[str, list[Field]]] = []
        for one in self.fields:
            if not out or out[-1][0] != one.group:
                out.append((one.group, []))
            out[-1][1].append(one)
        return out


MARK_UNIT_CHOICES: Final = (
    Choice("0.001 in", "thousandths of an inch (0.001 in)"),
    Choice("0.01 mm", "hundredths of a millimetre (0.01 mm)"),
    Choice("0.001 mm", "thousandths of a millimetre (0.001 mm)"),
)
MARK_MEANING_CHOICES: Final = (
    Choice(
        "plus_means_larger_mounting_distance",
        "plus: pinion sits farther out, thinner spacer under the head",
    ),
    Choice("plus_means_thicker_spacer", "plus: thicker spacer under the head, pinion farther in"),
)
PLACE_CHOICES: Final = (
    Choice("under_head", "spacer under the pinion head"),
    Choice("behind_cup", "shim behind the head bearing's cup"),
    Choice("cage_flange", "shims between pinion cage and carrier"),
)
UNKNOWN: Final = Choice("unknown", "not known yet")

NOTE: Final = Field("note", "Note", "long text", "Anything the next person should know.")
WITH: Final = Field(
    "instrument", "Measured with", "text", "Such as: depth micrometer 2.", sticky=True, group="Instrument"
)
RESOLUTION: Final = Field(
    "resolution",
    "Smallest step it shows",
    "length",
    "Goes into the uncertainty. Leave empty when not known.",
    sticky=True,
    group="Instrument",
)
LIMIT_FIELDS: Final = (
    Field(
        "limit_source",
        "Where your limit comes from",
        "text",
        "Such as: service data of this axle. Empty uses the default, which says that it is one.",
        sticky=True,
        group="Limits from the axle's service data",
    ),
)
UNUSUAL: Final = Field(
    "really", "The numbers are really so", "yes", "Tick when asked about an unusual value."
)
