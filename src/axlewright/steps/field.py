"""What a field of a step is: said once for page, command line, record, sheet and docs."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Literal

from axlewright.language import n_

if TYPE_CHECKING:
    from axlewright.units import System

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
    "other",
]


UNITS: Final[Mapping[str, tuple[str, str]]] = {
    "length": ("in", "mm"),
    "lengths": ("in", "mm"),
    "torque": ("lb-in", "N·m"),
    "force": ("lbf", "N"),
    "temperature": ("°F", "°C"),
}
"""Unit of a bare number in inches and in metric, by kind."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer of a choice; `short` is how the record says it, the label where empty."""

    key: str
    label: str
    short: str = ""


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a step, said once for page, command line, record, sheet and docs.

    Attributes
    ----------
    name, label, kind : str
    help : str
        One sentence under the field.
    choices : tuple of Choice
        For kind "choice".
    missing : str
        What to do where it is empty; a field with it is needed.
    needed : bool
        Whether the page marks it as needed; true wherever `missing` is given.
    usual : (float, float) or None
        Usual band in the kind's base unit (mm, N·m, N); a value outside is asked about and let through when
        it is confirmed. For a count these are firm limits.
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
        Whether a number in it may be below zero (number pads of some phones have no minus); a length is then
        shown with its sign.
    around : bool
        Whether its several readings stand evenly round a gear: each is then named by its angle.
    short : str
        Its name among the readings on record and sheet; the label where empty.
    listed : bool
        Whether it stands among the readings; not for what is shown elsewhere (the note, the instrument).
    read : callable or None
        For kind "other", such as a tyre or a list of carriers: reads the text, given the unit system of bare
        numbers, and raises an error of the project when it is of another kind.
    lines : int
        Lines of its box on the page, where it takes more than one.
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
    around: bool = False
    missing: str = ""
    usual: tuple[float, float] | None = None
    short: str = ""
    listed: bool = True
    read: Callable[[str, System], Any] | None = None
    lines: int = 1

    def __post_init__(self) -> None:
        if self.missing and not self.needed:
            object.__setattr__(self, "needed", True)

    def unit(self, system: System) -> str:
        """Return the unit of a bare number typed into it; empty where it has none."""
        inch, metric = UNITS.get(self.kind, ("", ""))
        return inch if system == "inch" else metric

    def belongs(self, answers: Mapping[str, str]) -> bool:
        """Whether the field belongs to the answers chosen; without an answer it may."""
        name, _colon, keys = self.only.partition(":")
        chosen = answers.get(name, "").strip()
        return not name or not chosen or chosen in keys.split(",")


UNKNOWN: Final = Choice("unknown", n_("not known yet"))
"""The answer of somebody who has still to look."""

NOTE: Final = Field(
    "note", n_("Note"), "long text", n_("Anything the next person should know."), listed=False
)
WITH: Final = Field(
    "instrument",
    n_("Measured with"),
    "text",
    n_("Such as: depth micrometer 2. One entered in Settings brings its step and calibration with it."),
    sticky=True,
    group=n_("Instrument"),
    listed=False,
)
RESOLUTION: Final = Field(
    "resolution",
    n_("Smallest step it shows"),
    "length",
    n_("Goes into the uncertainty. Leave empty when not known or when it stands in Settings."),
    sticky=True,
    group=n_("Instrument"),
    usual=(0.0, 1.0),
    listed=False,
)
RING_SIDE: Final = Field(
    "ring_side",
    n_("Side shim, ring gear side"),
    "length",
    place="R",
    short=n_("side shim, ring gear side"),
)
OTHER_SIDE: Final = Field(
    "other_side", n_("Side shim, other side"), "length", place="O", short=n_("side shim, other side")
)
LIMITS: Final = n_("Limits from the axle's service data")
LIMIT_FIELDS: Final = (
    Field(
        "limit_source",
        n_("Where your limit comes from"),
        "text",
        n_("Such as: service data of this axle. Empty uses the default, which says that it is one."),
        sticky=True,
        group=LIMITS,
        listed=False,
    ),
)
UNUSUAL: Final = Field(
    "really",
    n_("The numbers are really so"),
    "yes",
    n_("Tick when asked about an unusual value."),
    listed=False,
)
"""Belongs to every step: confirms that unusual values were meant."""
