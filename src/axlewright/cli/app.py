"""The list of commands."""

from __future__ import annotations

import logging
from typing import Annotated

import typer

from axlewright import __version__
from axlewright.cli.batch import batch
from axlewright.cli.command import Commands
from axlewright.cli.job import job
from axlewright.cli.options import HOME
from axlewright.cli.people import people
from axlewright.cli.read import read
from axlewright.cli.records import backup, restore
from axlewright.cli.rolling import designs, roll
from axlewright.cli.sound import listen, sound
from axlewright.cli.steps import DepthCommand, fields, spacer

app = Commands(
    name="axlewright",
    help="Set up drive axles with hypoid and spiral-bevel gears.",
    context_settings={"help_option_names": ["-h", "--help"]},
)
app.command()(designs)
app.command()(roll)
app.command(cls=DepthCommand)(spacer)
app.command()(read)
app.command()(listen)
app.command()(sound)
app.command()(fields)
app.add_typer(job, name="job")
app.add_typer(people, name="people")
app.add_typer(batch, name="batch")
app.command()(backup)
app.command()(restore)


@app.command()
def serve(
    host: Annotated[
        str, typer.Option(help="Address to listen on; this machine only by default.")
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option(help="Port; 0 takes a free one.")] = 8420,
    home: HOME = None,
) -> None:
    """Open the page for this machine."""
    from axlewright.web import serve as serve_page

    serve_page(host=host, port=port, store_folder=home)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(__version__)
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
    verbose: Annotated[
        bool,
        typer.Option("--verbose", "-v", help="Say on standard error what is done and where errors arise."),
    ] = False,
) -> None:
    """Set up drive axles with hypoid and spiral-bevel gears."""
    if verbose:
        logging.basicConfig(format="%(name)s: %(message)s")
        logging.getLogger("axlewright").setLevel(logging.DEBUG)
