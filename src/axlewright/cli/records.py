"""Commands about what the records hold besides jobs: shelf, instruments, files that carry them elsewhere."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from axlewright.cli.command import Commands, picked, print_json, print_rows
from axlewright.cli.options import HERE, JSON, KEY, NUMBER, OUT, OVERWRITE, STORE, SYSTEM, WHO
from axlewright.errors import InputError
from axlewright.language import eager as _
from axlewright.language import eager_plural as plural
from axlewright.units import Length, parse_length

if TYPE_CHECKING:
    from axlewright.records import Entry, Job

shelf = Commands(help="Spacers and shims on the shelf.")
instruments = Commands(help="Measuring instruments with their calibration.")


def job_data(one: Job) -> dict[str, Any]:
    """Return a job's header as plain data."""
    return picked(
        one,
        "number uid design=design_name vehicle complaint set_number reference state entries=entry_count "
        "head created_at changed_at",
    )


def entry_data(one: Entry) -> dict[str, Any]:
    """Return an entry as plain data."""
    return picked(one, "seq kind step who at instrument calibrated_on supersedes payload files hash")


@shelf.command("list")
def list_shelf(store: STORE = HERE, as_json: JSON = False, system: SYSTEM = "inch") -> None:
    """Show what is on the shelf."""
    names = "id kind thickness_mm count part place design=design_name"
    rows = [picked(item, names) for item in store.stock.list()]
    if not as_json:
        rows = [{**row, "size": Length(row["thickness_mm"])} for row in rows]
    print_rows(rows, as_json, "{id:5} {count:4} × {kind:18} {size}  {part} {design}", _("the shelf is empty"))


@shelf.command("add")
def add_to_shelf(
    kind: Annotated[str, typer.Argument(help="pinion spacer, pinion shim leaf, side shim, preload spacer.")],
    thickness: Annotated[str, typer.Argument(help="Measured, several at once: '0.0600 0.0605 in'.")],
    count: Annotated[int, typer.Option(help="How many of each.", min=1, max=9999)] = 1,
    part: Annotated[str, typer.Option(help="Written on it or its bin.")] = "",
    design: Annotated[str, typer.Option(help="Design it fits; any when left out.")] = "",
    really: Annotated[bool, typer.Option("--really", help="Unusual numbers are really so.")] = False,
    who: WHO = "",
    system: SYSTEM = "inch",
    store: STORE = HERE,
) -> None:
    """Put measured pieces on the shelf."""
    from axlewright.job.shelf import put_on_shelf, shelf_sizes

    understood = shelf_sizes(kind, thickness, system=system, really=really)
    sizes = put_on_shelf(
        store,
        kind,
        thickness,
        count=count,
        part=part,
        design_name=design,
        who=who,
        system=system,
        really=really,
    )
    typer.echo(_("{count} sizes put on the shelf").format(count=sizes))
    typer.echo("; ".join(str(Length(size)) for size in understood))


@shelf.command("move")
def move_on_shelf(
    item: Annotated[int, typer.Argument(help="Number of the piece.")],
    change: Annotated[int, typer.Option(help="Pieces put back, or below 0 taken.")],
    who: WHO = "",
    job: Annotated[int | None, typer.Option(help="For which job.")] = None,
    key: KEY = "",
    store: STORE = HERE,
) -> None:
    """Take pieces from the shelf or put some back."""
    left = store.stock.move(item, change, who=who, job=job, idempotency_key=key)
    typer.echo(_("{count} there now").format(count=left.count))


@shelf.command("take")
def take_for_step(
    number: NUMBER,
    seq: Annotated[int, typer.Argument(help="Number of the reading whose answer named the pieces.")],
    who: WHO = "",
    store: STORE = HERE,
) -> None:
    """Take from the shelf what the answer to a reading named."""
    from axlewright.job.shelf import take_for_job

    typer.echo(str(take_for_job(store, number, seq, who=who).said("text")))


@instruments.command("list")
def list_instruments(store: STORE = HERE, as_json: JSON = False) -> None:
    """Show the instruments; overdue calibrations are said."""
    late = {tool.name for tool in store.instruments.overdue(date.today())}
    names = "name kind resolution uncertainty calibrated_on due_on"
    rows = [picked(tool, names) | {"overdue": tool.name in late} for tool in store.instruments.list()]
    if not as_json:
        for row in rows:
            words = [row["name"], row["kind"], row["resolution"], row["calibrated_on"]]
            words.append(_("calibration overdue") if row["overdue"] else "")
            row["said"] = "  ".join(str(word) for word in words if word)
    print_rows(rows, as_json, "{said}", _("no instrument is entered yet"))


@instruments.command("put")
def put_instrument(
    name: Annotated[str, typer.Argument(help="As it is named at a step.")],
    kind: Annotated[str, typer.Option(help="Such as: depth micrometer.")] = "",
    resolution: Annotated[str, typer.Option(help="Smallest step with unit: '0.0005 in'.")] = "",
    uncertainty: Annotated[str, typer.Option(help="Of its certificate, k = 2, with unit.")] = "",
    calibrated_on: Annotated[str, typer.Option(help="As 2026-03-31.")] = "",
    due_on: Annotated[str, typer.Option(help="As 2027-03-31.")] = "",
    store: STORE = HERE,
) -> None:
    """Enter an instrument, or bring it up to date after a calibration."""
    from axlewright.records import Instrument

    for text, where in ((resolution, "--resolution"), (uncertainty, "--uncertainty")):
        if text.strip():
            parse_length(text, where=where)
    calibrated, due = _day(calibrated_on, "--calibrated-on"), _day(due_on, "--due-on")
    store.instruments.put(Instrument(name, kind, resolution, calibrated, due, uncertainty))
    typer.echo(_("{name} kept").format(name=name))


def _day(text: str, where: str) -> date | None:
    if not text.strip():
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise InputError(
            _("'{text}' is no date").format(text=text), where=where, fix=_("write it as 2026-03-31")
        ) from None


def export(number: NUMBER, out: OUT, overwrite: OVERWRITE = False, store: STORE = HERE) -> None:
    """Write a job with its files into one file."""
    from axlewright.records import export_job

    typer.echo(str(export_job(store, number, out, overwrite=overwrite)))


def import_(
    file: Annotated[Path, typer.Argument(help="File written by 'job export'.")],
    store: STORE = HERE,
    as_json: JSON = False,
) -> None:
    """Take in a job that was exported elsewhere."""
    from axlewright.records import import_job

    one = import_job(store, file)
    if as_json:
        print_json(job_data(one))
    else:
        typer.echo(_("Job {number} taken in").format(number=one.number))


def backup(
    out: Annotated[Path, typer.Argument(help="File to write.")],
    overwrite: OVERWRITE = False,
    store: STORE = HERE,
) -> None:
    """Write all records into one file."""
    from axlewright.records import backup as back_up

    typer.echo(str(back_up(store, out, overwrite=overwrite)))


def restore(
    file: Annotated[Path, typer.Argument(help="File written by 'backup'.")],
    overwrite: Annotated[bool, typer.Option(help="Replace records that are there.")] = False,
    store: STORE = HERE,
) -> None:
    """Bring back records from a backup."""
    from axlewright.records import restore as bring_back

    count = bring_back(store, file, overwrite=overwrite)
    typer.echo(plural("{count} job restored", "{count} jobs restored", count).format(count=count))
