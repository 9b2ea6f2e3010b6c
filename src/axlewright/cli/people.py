"""Commands about people: who works here, with which role and PIN.

They ask for no PIN of an admin: whoever can write to the folder of the records can change everything in it
anyway. So they are the way back in when a PIN is forgotten.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from axlewright.cli.options import plain_errors, print_json
from axlewright.language import eager as _

people = typer.Typer(
    no_args_is_help=True,
    help=(
        "Enter people, and give them another PIN or role. No PIN is asked for: access to the folder of the "
        "records is the authority, so whoever may write there may do this."
    ),
)

HOME = Annotated[Path | None, typer.Option(help="Folder of the records.")]
JSON = Annotated[bool, typer.Option("--json", help="Print JSON.")]
NAME = Annotated[str, typer.Argument(help="Name of the person.")]
ROLE = Annotated[str, typer.Argument(help="technician, lead, instructor or admin.")]
PIN = Annotated[
    str,
    typer.Option(
        prompt="PIN", hide_input=True, confirmation_prompt=True, help="4 to 12 digits; else asked for."
    ),
]


@people.command("list")
@plain_errors
def list_people(home: HOME = None, as_json: JSON = False) -> None:
    """Show the people with their roles."""
    from axlewright.records import open_store

    with open_store(home) as store:
        found = store.people.list(active_only=False)
    if as_json:
        print_json([{"name": one.name, "role": one.role, "active": one.active} for one in found])
        return
    for one in found:
        typer.echo(f"{one.name}  {one.role}{'' if one.active else '  (no longer active)'}")
    if not found:
        typer.echo(_("nobody is entered yet; the first person becomes admin"))


@people.command()
@plain_errors
def add(name: NAME, role: ROLE, pin: PIN, home: HOME = None) -> None:
    """Enter a person; the first one becomes admin."""
    from axlewright.records import open_store

    with open_store(home) as store:
        person = store.people.add(name, _role(role), pin)
    typer.echo(person.note or _("{name} entered as {role}").format(name=person.name, role=person.role))


@people.command("set-pin")
@plain_errors
def set_pin(name: NAME, pin: PIN, home: HOME = None) -> None:
    """Give a person another PIN and unlock them."""
    from axlewright.records import open_store

    with open_store(home) as store:
        store.people.set_pin(name, pin)
    typer.echo(_("{name} has another PIN").format(name=name))


@people.command("set-role")
@plain_errors
def set_role(name: NAME, role: ROLE, home: HOME = None) -> None:
    """Give a person another role; the last admin stays one."""
    from axlewright.records import open_store

    with open_store(home) as store:
        person = store.people.set_role(name, _role(role))
    typer.echo(f"{person.name} is {person.role} now")


def _role(text: str) -> Any:
    return text.strip().lower()  # the records know the roles and say so
