"""What a step's form is made of: fields, choices, and the fields that several steps share."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from axlewright.language import _, n_

Kind = Literal[
    "text",
    "long text",
    "number",
    "count",
    "length",
    "lengths",
    "temperature",
    "torque",
    "force",
    "choice",
    "yes",
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
    only : str
        "field:key,key": the field belongs to these answers of an earlier choice; empty for all.
    default : str
        Answer that counts when none is chosen.
    signed : bool
        Whether a number in it may be below zero: number pads of some phones have no minus.
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
    only: str = ""
    default: str = ""
    signed: bool = False

    def belongs(self, answers: Mapping[str, str]) -> bool:
        """Whether the field belongs to the answers chosen; without an answer it may."""
        name, _, keys = self.only.partition(":")
        chosen = answers.get(name, "").strip()
        return not name or not chosen or chosen in keys.split(",")


@dataclass(frozen=True, slots=True)
class StepForm:
    """All fields of one step.

    Attributes
    ----------
    lead : str
        What to do, one or two sentences.
    button : str
        What the button says.
    folded : tuple of str
        Headings whose fields are folded away as long as nothing stands in them; none is needed.
    """

    step: str
    lead: str
    fields: tuple[Field, ...]
    button: str = n_("Work it out and keep it")
    folded: tuple[str, ...] = ()

    def labels(self) -> dict[str, str]:
        """Return the label of each field in the language chosen."""
        return {f.name: _(f.label) for f in self.fields}

    def groups(self) -> list[tuple[str, list[Field]]]:
        """Return the fields by heading, in order."""
        out: list[tuple[str, list[Field]]] = []
        for one in self.fields:
            if not out or out[-1][0] != one.group:
                out.append((one.group, []))
            out[-1][1].append(one)
        return out


MARK_UNIT_CHOICES: Final = (
    Choice("0.001 in", n_("thousandths of an inch (0.001 in)")),
    Choice("0.01 mm", n_("hundredths of a millimetre (0.01 mm)")),
    Choice("0.001 mm", n_("thousandths of a millimetre (0.001 mm)")),
)
MARK_MEANING_CHOICES: Final = (
    Choice(
        "plus_means_larger_mounting_distance",
        n_("plus: pinion sits farther out, thinner spacer under the head"),
    ),
    Choice("plus_means_thicker_spacer", n_("plus: thicker spacer under the head, pinion farther in")),
)
PLACE_CHOICES: Final = (
    Choice("under_head", n_("spacer under the pinion head")),
    Choice("behind_cup", n_("shim behind the head bearing's cup")),
    Choice("cage_flange", n_("shims between pinion cage and carrier")),
)
UNKNOWN: Final = Choice("unknown", n_("not known yet"))

NOTE: Final = Field("note", n_("Note"), "long text", n_("Anything the next person should know."))
WITH: Final = Field(
    "instrument",
    n_("Measured with"),
    "text",
    n_("Such as: depth micrometer 2. One entered in Settings brings its step and calibration with it."),
    sticky=True,
    group=n_("Instrument"),
)
RESOLUTION: Final = Field(
    "resolution",
    n_("Smallest step it shows"),
    "length",
    n_("Goes into the uncertainty. Leave empty when not known or when it stands in Settings."),
    sticky=True,
    group=n_("Instrument"),
)
LIMIT_FIELDS: Final = (
    Field(
        "limit_source",
        n_("Where your limit comes from"),
        "text",
        n_("Such as: service data of this axle. Empty uses the default, which says that it is one."),
        sticky=True,
        group=n_("Limits from the axle's service data"),
    ),
)
UNUSUAL: Final = Field(
    "really", n_("The numbers are really so"), "yes", n_("Tick when asked about an unusual value.")
)

SHELF_FIELDS: Final = (
    Field(
        "rule",
        n_("Where no size fits exactly, take"),
        "choice",
        n_("Both rules are printed. Nothing chosen means the nearest."),
        choices=(
            Choice("nearest", n_("the nearest")),
            Choice("nearest_but_not_thicker", n_("the nearest that is not thicker")),
        ),
        sticky=True,
        group=n_("From the shelf"),
    ),
    Field(
        "most_leaves",
        n_("Most leaves in a pack"),
        "count",
        n_("1 for one solid spacer. Empty: 1, or 6 at a cage flange."),
        sticky=True,
        group=n_("From the shelf"),
    ),
    Field(
        "least_leaves",
        n_("Fewest leaves"),
        "count",
        n_("Empty: 1, or 3 at a cage flange."),
        sticky=True,
        group=n_("From the shelf"),
    ),
    Field(
        "thin_outside",
        n_("Thinnest leaves on the outer faces"),
        "yes",
        n_("Always so at a cage flange."),
        sticky=True,
        group=n_("From the shelf"),
    ),
)
"""How a pack is put together from the shelf: rule and number of leaves are data, not habits."""
