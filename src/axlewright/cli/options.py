"""What all commands share: how an error leaves the program, and how results are printed."""

from __future__ import annotations

import functools
import json
from collections.abc import Callable, Mapping
from typing import Any, TypeVar

import typer

from axlewright.errors import AxlewrightError, InputError

F = TypeVar("F", bound=Callable[..., Any])


def plain_errors(command: F) -> F:
    """Print a user's error as one sentence and leave with code 2."""

    @functools.wraps(command)
    def run(*args: Any, **kwargs: Any) -> Any:
        try:
            return command(*args, **kwargs)
        except AxlewrightError as error:
            typer.echo(str(error), err=True)
            raise typer.Exit(2) from None
        except PermissionError as error:
            typer.echo(f"{error.filename}: cannot be written; give a folder you may write to", err=True)
            raise typer.Exit(2) from None

    return run  # type: ignore[return-value]


def print_json(data: Any) -> None:
    """Print plain data as JSON."""

    def plain(value: Any) -> Any:
        if isinstance(value, Mapping):
            return dict(value)
        raise TypeError(f"{type(value).__name__} is not plain data")

    typer.echo(json.dumps(data, ensure_ascii=False, indent=2, default=plain))


def sum_text(line: Mapping[str, Any], system: str) -> str:
    """Return a written sum with its result in both systems: "4.3125 − 3.0000 = 1.3125 in (33.338 mm)"."""
    text, result = str(line["text"][system]), str(line["result"][system])
    return f"{text.rpartition(' = ')[0] or text} = {result}"


def check_compound(text: str) -> Any:
    """Return how the compound was used, or say what would be right."""
    if text not in ("auto", "rubbed", "print"):
        raise InputError(f"unknown way '{text}'", where="--compound", fix="use auto, rubbed or print")
    return text
