"""The list of commands."""

from __future__ import annotations

from typing import Annotated

import typer

from axlewright import __version__
from axlewright.cli.batch import batch
from axlewright.cli.bench import serve, spacer
from axlewright.cli.job import backup, job, restore
from axlewright.cli.listen import listen
from axlewright.cli.people import people
from axlewright.cli.read import read
from axlewright.cli.rolling import designs, roll
from axlewright.cli.sound import sound

app = typer.Typer(
    name="axlewright",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    help="Set up drive axles with hypoid and spiral-bevel gears.",
)
app.command()(designs)
app.command()(roll)
app.command()(spacer)
app.command()(read)
app.command()(listen)
app.command()(sound)
app.add_typer(job, name="job")
app.add_typer(people, name="people")
app.add_typer(batch, name="batch")
app.command()(backup)
app.command()(restore)
app.command()(serve)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(__version__)
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Set up drive axles with hypoid and spiral-bevel gears."""
