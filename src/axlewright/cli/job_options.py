"""What the commands about jobs share: the store, their options, entries as plain data."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from axlewright.errors import InputError
from axlewright.language import eager as _

if TYPE_CHECKING:
    from axlewright.records import Entry, JobStore

HOME = Annotated[Path | None, typer.Option(help="Folder of the records.")]
JSON = Annotated[bool, typer.Option("--json", help="Print JSON.")]
WHO = Annotated[str, typer.Option(help="Who does it.")]
NUMBER = Annotated[int, typer.Argument(help="Number of the job.")]
SYSTEM = Annotated[str, typer.Option(help="inch or metric: for bare numbers and for what is shown.")]
OUT = Annotated[Path, typer.Option(help="PDF file to write.")]
OVERWRITE = Annotated[bool, typer.Option(help="Overwrite it.")]
PAPER = Annotated[str, typer.Option(help="a4 or us-letter.")]


@contextmanager
def opened_store(home: Path | None) -> Iterator[JobStore]:
    """Open the records and close them again."""
    from axlewright.records import open_store

    with open_store(home) as store:
        yield store


def check_system(text: str) -> Any:
    """Return the unit system, or say what would be right."""
    if text not in ("inch", "metric"):
        raise InputError(
            _("unknown system '{text}'").format(text=text), where="--system", fix=_("use inch or metric")
        )
    return text


def check_paper(text: str) -> Any:
    """Return the size of paper, or say what would be right."""
    if text not in ("a4", "us-letter"):
        raise InputError(
            _("unknown paper '{text}'").format(text=text), where="--paper", fix=_("use a4 or us-letter")
        )
    return text


def entry_data(one: Entry) -> dict[str, Any]:
    """Return an entry as plain data."""
    return {
        "seq": one.seq,
        "kind": one.kind,
        "step": one.step,
        "who": one.who,
        "at": one.at.isoformat(),
        "instrument": one.instrument,
        "calibrated_on": None if one.calibrated_on is None else one.calibrated_on.isoformat(),
        "supersedes": one.supersedes,
        "payload": dict(one.payload),
        "files": list(one.files),
        "hash": one.hash,
    }
