"""What all commands share: how an error leaves the program, and how results are printed."""

from __future__ import annotations

import functools
import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import typer

from axlewright.errors import AxlewrightError, InputError
from axlewright.language import Drawn
from axlewright.language import eager as _
from axlewright.units import parse_length, using_system

if TYPE_CHECKING:
    from axlewright.setup import WrittenSum
    from axlewright.steps.result import OldSum

F = TypeVar("F", bound=Callable[..., Any])


def plain_errors(command: F) -> F:
    """Print a user's error as one sentence and leave with code 2; show the system that was asked for."""

    @functools.wraps(command)
    def run(*args: Any, **kwargs: Any) -> Any:
        try:
            with using_system(kwargs.get("system") or kwargs.get("units") or "inch"):
                return command(*args, **kwargs)
        except AxlewrightError as error:
            typer.echo(str(error), err=True)
            raise typer.Exit(2) from None
        except OSError as error:
            why = (error.strerror or error.__class__.__name__).lower()
            place = error.filename or "file"
            typer.echo(
                _("{place}: cannot be read or written ({why}); give a place you may use").format(
                    place=place, why=why
                ),
                err=True,
            )
            raise typer.Exit(2) from None

    return run  # type: ignore[return-value]


def print_json(data: Any) -> None:
    """Print plain data as JSON."""

    def plain(value: Any) -> Any:
        if isinstance(value, Mapping):
            return dict(value)
        if isinstance(value, Drawn):
            return str(value)
        raise TypeError(f"{type(value).__name__} is not plain data")

    typer.echo(json.dumps(data, ensure_ascii=False, indent=2, default=plain))


def sum_text(line: WrittenSum | OldSum) -> str:
    """Return a written sum with its result in both systems: "4.3125 − 3.0000 = 1.3125 in (33.338 mm)"."""
    text = str(line)
    return f"{text.rpartition(' = ')[0] or text} = {line.result}"


def check_compound(text: str) -> Any:
    """Return how the compound was used, or say what would be right."""
    if text not in ("auto", "rubbed", "print"):
        raise InputError(
            _("unknown way '{text}'").format(text=text),
            where="--compound",
            fix=_("use auto, rubbed or print"),
        )
    return text


def new_file(path: Path, overwrite: bool) -> Path:
    """Return a path that may be written: its folder is there, and so far nothing else is.

    Raises
    ------
    InputError
        When the folder is missing or the file exists and may not be overwritten.
    """
    if not path.parent.is_dir():
        raise InputError(
            _("there is no such folder"), where=str(path.parent), fix=_("make it or name another")
        )
    if path.is_dir():
        raise InputError(_("is a folder"), where=str(path), fix=_("name a file in it"))
    if path.exists() and not overwrite:
        raise InputError(_("exists already"), where=str(path), fix=_("name another file or add --overwrite"))
    return path


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
