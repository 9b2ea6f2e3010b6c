"""Commands about what a job draws on: spacers and shims on the shelf, measuring instruments."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any

import typer

from axlewright.cli.job_options import HOME, JSON, SYSTEM, WHO, check_system, opened_store
from axlewright.cli.options import plain_errors, print_json
from axlewright.errors import InputError
from axlewright.language import eager as _
from axlewright.units import show_length

shelf = typer.Typer(no_args_is_help=True, help="Spacers and shims on the shelf.")
instruments = typer.Typer(no_args_is_help=True, help="Measuring instruments with their calibration.")


@shelf.command("list")
@plain_errors
def list_shelf(home: HOME = None, as_json: JSON = False, system: SYSTEM = "inch") -> None:
    """Show what is on the shelf."""
    chosen = check_system(system)
    with opened_store(home) as store:
        items = store.stock.list()
    if as_json:
        print_json(
            [
                {
                    "id": i.id,
                    "kind": i.kind,
                    "thickness_mm": i.thickness_mm,
                    "count": i.count,
                    "part": i.part,
                    "place": i.place,
                    "design": i.design_name,
                }
                for i in items
            ]
        )
        return
    for i in items:
        size = show_length(i.thickness_mm, chosen)
        typer.echo(f"{i.id:5} {i.count:4} × {i.kind:18} {size}  {i.part} {i.design_name}")
    if not items:
        typer.echo(_("the shelf is empty"))


@shelf.command("add")
@plain_errors
def add_to_shelf(
    kind: Annotated[str, typer.Argument(help="pinion spacer, pinion shim leaf, side shim, preload spacer.")],
    thickness: Annotated[str, typer.Argument(help="Measured, several at once: '0.0600 0.0605 in'.")],
    count: Annotated[int, typer.Option(help="How many of each.", min=1, max=9999)] = 1,
    part: Annotated[str, typer.Option(help="Written on it or its bin.")] = "",
    design: Annotated[str, typer.Option(help="Design it fits; any when left out.")] = "",
    really: Annotated[bool, typer.Option("--really", help="Unusual numbers are really so.")] = False,
    who: WHO = "",
    system: SYSTEM = "inch",
    home: HOME = None,
) -> None:
    """Put measured pieces on the shelf."""
    from axlewright.job.shelf import put_on_shelf, shelf_sizes
    from axlewright.units import show_length

    chosen = check_system(system)
    understood = shelf_sizes(kind, thickness, system=chosen, really=really)
    with opened_store(home) as store:
        sizes = put_on_shelf(
            store,
            kind,
            thickness,
            count=count,
            part=part,
            design_name=design,
            who=who,
            system=chosen,
            really=really,
        )
    typer.echo(_("{count} sizes put on the shelf").format(count=sizes))
    typer.echo("; ".join(show_length(size, chosen) for size in understood))


@shelf.command("move")
@plain_errors
def move_on_shelf(
    item: Annotated[int, typer.Argument(help="Number of the piece.")],
    change: Annotated[int, typer.Option(help="Pieces put back, or below 0 taken.")],
    who: WHO = "",
    job: Annotated[int | None, typer.Option(help="For which job.")] = None,
    key: Annotated[str, typer.Option(help="Resending with the same key changes nothing.")] = "",
    home: HOME = None,
) -> None:
    """Take pieces from the shelf or put some back."""
    with opened_store(home) as store:
        left = store.stock.move(item, change, who=who, job=job, idempotency_key=key)
    typer.echo(_("{count} there now").format(count=left.count))


@shelf.command("take")
@plain_errors
def take_for_step(
    number: Annotated[int, typer.Argument(help="Number of the job.")],
    seq: Annotated[int, typer.Argument(help="Number of the reading whose answer named the pieces.")],
    who: WHO = "",
    home: HOME = None,
) -> None:
    """Take from the shelf what the answer to a reading named."""
    from axlewright.job.shelf import take_for_job

    with opened_store(home) as store:
        entry = take_for_job(store, number, seq, who=who)
    typer.echo(str(entry.said("text")))


@instruments.command("list")
@plain_errors
def list_instruments(home: HOME = None, as_json: JSON = False) -> None:
    """Show the instruments; overdue calibrations are said."""
    with opened_store(home) as store:
        tools = store.instruments.list()
        late = {tool.name for tool in store.instruments.overdue(date.today())}
    rows: list[dict[str, Any]] = [
        {
            "name": t.name,
            "kind": t.kind,
            "resolution": t.resolution,
            "uncertainty": t.uncertainty,
            "calibrated_on": None if t.calibrated_on is None else t.calibrated_on.isoformat(),
            "due_on": None if t.due_on is None else t.due_on.isoformat(),
            "overdue": t.name in late,
        }
        for t in tools
    ]
    if as_json:
        print_json(rows)
        return
    for row in rows:
        words = [row["kind"], row["resolution"], row["calibrated_on"] or ""]
        if row["overdue"]:
            words.append(_("calibration overdue"))
        typer.echo("  ".join([str(row["name"]), *(str(w) for w in words if w)]))
    if not rows:
        typer.echo(_("no instrument is entered yet"))


@instruments.command("put")
@plain_errors
def put_instrument(
    name: Annotated[str, typer.Argument(help="As it is named at a step.")],
    kind: Annotated[str, typer.Option(help="Such as: depth micrometer.")] = "",
    resolution: Annotated[str, typer.Option(help="Smallest step with unit: '0.0005 in'.")] = "",
    uncertainty: Annotated[str, typer.Option(help="Of its certificate, k = 2, with unit.")] = "",
    calibrated_on: Annotated[str, typer.Option(help="As 2026-03-31.")] = "",
    due_on: Annotated[str, typer.Option(help="As 2027-03-31.")] = "",
    home: HOME = None,
) -> None:
    """Enter an instrument, or bring it up to date after a calibration."""
    from axlewright.records import Instrument
    from axlewright.units import parse_length

    for text, where in ((resolution, "--resolution"), (uncertainty, "--uncertainty")):
        if text.strip():
            parse_length(text, where=where)
    with opened_store(home) as store:
        store.instruments.put(
            Instrument(
                name,
                kind,
                resolution,
                _day(calibrated_on, "--calibrated-on"),
                _day(due_on, "--due-on"),
                uncertainty,
            )
        )
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
