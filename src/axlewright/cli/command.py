"""How every command runs: its help, unit system, records and files, how an error leaves it, how it prints.

A command is a plain function. Help texts stand in English at its options and in its docstring and are shown
in the reader's language. An error a user can mend is one sentence and exit code 2, with ``--json`` as JSON.
"""

from __future__ import annotations

import json
import logging
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import asdict, is_dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import typer
from typer.core import TyperCommand, TyperGroup

from axlewright.errors import AxlewrightError, InputError
from axlewright.language import Drawn, eager, n_
from axlewright.language import eager as _
from axlewright.units import using_system

if TYPE_CHECKING:
    from axlewright.setup import WrittenSum
    from axlewright.steps.result import OldSum

logger = logging.getLogger(__name__)

WRITTEN: Final = ("out", "png", "evidence_png")
"""Parameters that name a file to be written; whether it may be is said before anything is computed."""

_UsageError: Final[Any] = typer.BadParameter.__mro__[1]
"""An unknown option, a missing one, a value of the wrong kind."""

OF_THE_LIBRARY: Final = (
    n_("Install completion for the current shell."),
    n_("Show completion for the current shell, to copy it or customize the installation."),
    n_("Show this message and exit."),
)
"""What the library says of its own options."""


def in_readers_language(parameters: list[Any]) -> list[Any]:
    """Return options and arguments with their help in the language chosen."""
    for one in parameters:
        usual = _("Arguments") if one.param_type_name == "argument" else _("Options")
        one.rich_help_panel = eager(getattr(one, "rich_help_panel", None) or "") or usual
        one.help = eager(getattr(one, "help", None) or "")
    return parameters


class _Translated:
    """A command whose help is in the language chosen when it is built."""

    def __init__(self, **settings: Any) -> None:
        super().__init__(
            **settings | {"help": eager(settings["help"] or ""), "rich_help_panel": _("Commands")}
        )

    def get_params(self, ctx: Any) -> list[Any]:
        return in_readers_language(super().get_params(ctx))  # type: ignore[misc]

    def format_usage(self, ctx: Any, formatter: Any) -> None:
        pieces = " ".join(self.collect_usage_pieces(ctx))  # type: ignore[attr-defined]
        formatter.write_usage(ctx.command_path, pieces, _("Usage:") + " ")


class Command(_Translated, TyperCommand):
    """A command of the program."""

    def make_context(self, info_name: str | None, args: list[str], parent: Any = None, **extra: Any) -> Any:
        """Read the arguments."""
        with said_plainly("--json" in args):
            return super().make_context(info_name, args, parent, **extra)

    def invoke(self, ctx: Any) -> Any:
        """Run it in its unit system, with its records open."""
        given, began = ctx.params, time.perf_counter()
        with said_plainly(bool(given.get("as_json"))), ExitStack() as stack:
            stack.enter_context(using_system(given.get("system") or "inch"))
            for name in WRITTEN:
                if given.get(name) is not None:
                    new_file(given[name], given.get("overwrite", False))
            if "store" in given:
                from axlewright.records import open_store

                store = stack.enter_context(open_store(given["store"]))
                logger.debug("records in %s", store.folder)
                given["store"] = store
            done = super().invoke(ctx)
            logger.debug("%s took %.2f s", ctx.command_path, time.perf_counter() - began)
            return done


class Group(_Translated, TyperGroup):
    """A group of commands."""


class Commands(typer.Typer):
    """Commands as functions; see `Command`."""

    def __init__(self, *, help: str, **settings: Any) -> None:
        super().__init__(
            cls=Group, help=help, no_args_is_help=True, pretty_exceptions_enable=False, **settings
        )

    def command(self, name: str | None = None, **settings: Any) -> Callable[[Any], Any]:
        """Make a function a command; its docstring is its help."""
        return super().command(name, **{"cls": Command, **settings})


@contextmanager
def said_plainly(as_json: bool = False) -> Iterator[None]:
    """Say an error that a user can mend in one sentence, or as JSON, and leave with code 2."""
    try:
        yield
        return
    except BrokenPipeError:
        raise  # nobody reads on: the program ends without a word
    except AxlewrightError as error:
        said = error
    except OSError as error:
        why = (error.strerror or error.__class__.__name__).lower()
        said = InputError(
            _("cannot be read or written ({why})").format(why=why),
            where=str(error.filename or _("file")),
            fix=_("give a place you may use"),
        )
    except _UsageError as error:
        if not as_json:
            raise
        said = InputError(error.format_message())
    logger.debug("the error came from here", exc_info=True)
    if as_json:
        print_json({"error": {"what": said.what, "where": said.where, "fix": said.fix}})
    else:
        typer.echo(str(said), err=True)
    raise typer.Exit(2)


def print_json(data: Any) -> None:
    """Print data as JSON: texts as they are shown now, days and moments after ISO 8601."""

    def plain(value: Any) -> Any:
        if isinstance(value, Mapping):
            return dict(value)
        if isinstance(value, Drawn):
            return str(value)
        if isinstance(value, date):
            return value.isoformat()
        if is_dataclass(value) and not isinstance(value, type):
            return asdict(value)
        raise TypeError(f"{type(value).__name__} is not plain data")

    typer.echo(json.dumps(data, ensure_ascii=False, indent=2, default=plain))


def picked(one: Any, names: str) -> dict[str, Any]:
    """Return attributes by name; "design=design_name" gives one another name."""
    pairs = [name.partition("=") for name in names.split()]
    return {name: getattr(one, own or name) for name, _sign, own in pairs}


def print_rows(rows: Sequence[Mapping[str, Any]], as_json: bool, line: str, none: str) -> None:
    """Print rows as JSON or each as a line; with none at all, say so."""
    if as_json:
        print_json(rows)
        return
    for row in rows:
        typer.echo(line.format(**row).rstrip())
    if not rows:
        typer.echo(none)


def sum_text(line: WrittenSum | OldSum) -> str:
    """Return a written sum with its result in both systems: "4.3125 − 3.0000 = 1.3125 in (33.338 mm)"."""
    text = str(line)
    return f"{text.rpartition(' = ')[0] or text} = {line.result}"


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


def write(path: Path, data: bytes) -> None:
    """Write a file as a whole or not at all."""
    from axlewright.contact.once import write_atomically

    write_atomically(path, data)


def read_bytes(path: Path) -> bytes:
    """Read a file whole; "-" is standard input."""
    return typer.get_binary_stream("stdin").read() if str(path) == "-" else path.read_bytes()
