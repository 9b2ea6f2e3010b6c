"""Options that several commands have, each said once."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from axlewright.cli.command import new_file, print_json
from axlewright.errors import InputError
from axlewright.language import eager as _
from axlewright.units import parse_length

__all__ = ["choice", "lengths_of", "new_file", "print_json"]

if TYPE_CHECKING:
    from axlewright.records import JobStore
    from axlewright.units import System


def choice(*answers: str, names: tuple[str, ...] = (), help: str = "") -> Any:
    """Return an option with fixed answers; another one is refused in a sentence."""

    def check(param: typer.CallbackParam, value: Any) -> Any:
        if value and value not in answers:
            raise InputError(
                _("unknown answer '{value}'").format(value=value),
                where=param.opts[0],
                fix=_("use one of {allowed}").format(allowed=", ".join(answers)),
            )
        return value

    return typer.Option(
        *names, help=help, metavar="|".join(answers), callback=check, autocompletion=lambda: list(answers)
    )


HOME = Annotated[Path | None, typer.Option("--home", help="Folder of the records.")]
if TYPE_CHECKING:
    STORE = JobStore
    SYSTEM = System
else:
    STORE = HOME
    SYSTEM = Annotated[
        str,
        choice(
            "inch",
            "metric",
            names=("--system", "--units"),
            help="Unit system of bare numbers and of what is shown.",
        ),
    ]
HERE: Any = None
"""Records where no folder is named: those of the user."""

JSON = Annotated[bool, typer.Option("--json", help="Print JSON.")]
WHO = Annotated[str, typer.Option(help="Who does it.")]
KEY = Annotated[str, typer.Option(help="Resending with the same key changes nothing.")]
NAMED_PIN = Annotated[str, typer.Option("--pin", help="Their PIN, where people are entered.")]
HEAD = Annotated[str, typer.Option(help="The record's state you have seen, as 'job show' prints it.")]
NUMBER = Annotated[int, typer.Argument(help="Number of the job.")]
SEQ = Annotated[int, typer.Argument(help="Number of the entry, as 'job show' prints it.")]
STEP = Annotated[str, typer.Argument(help="complaint, as-found, identity, fits, depth, preload, …")]
DESIGN = Annotated[str, typer.Option(help="Name of a design or path of a design file.")]
OUT = Annotated[Path, typer.Option(help="File to write.")]
PNG = Annotated[Path | None, typer.Option(help="Draw it into this PNG file.")]
OVERWRITE = Annotated[bool, typer.Option(help="Overwrite it.")]
FLANK = Annotated[str, choice("drive", "coast", help="The flank that carries.")]
COMPOUND = Annotated[str, choice("auto", "rubbed", "print", help="How the compound was used.")]


def lengths_of(text: str, unit: str, where: str) -> tuple[float, ...]:
    """Read one or several lengths, as the fields of the page understand them."""
    from axlewright.steps.answers import split_readings

    try:
        parts = split_readings(text)
    except InputError as error:
        raise InputError(error.what, where=where, fix=error.fix) from error
    out = [parse_length(f"{number} {own}".strip(), default_unit=unit, where=where) for number, own in parts]
    if not out:
        raise InputError(_("nothing was typed"), where=where, fix=_("give at least one length"))
    return tuple(out)
