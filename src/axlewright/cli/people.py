"""Commands about people: who works here, with which role and PIN.

They ask for no PIN of an admin: whoever can write to the folder of the records can change everything in it
anyway. So they are the way back in when a PIN is forgotten.
"""

from __future__ import annotations

from typing import Annotated, Any

import typer

from axlewright.cli.command import Commands, picked, print_rows
from axlewright.cli.options import HERE, JSON, STORE
from axlewright.language import eager as _

people = Commands(
    help=(
        "Enter people, and give them another PIN or role. No PIN is asked for: access to the folder of the "
        "records is the authority, so whoever may write there may do this."
    )
)

NAME = Annotated[str, typer.Argument(help="Name of the person.")]
ROLE = Annotated[str, typer.Argument(help="technician, lead, instructor or admin.")]
PIN = Annotated[
    str,
    typer.Option(
        prompt="PIN", hide_input=True, confirmation_prompt=True, help="4 to 12 digits; else asked for."
    ),
]


@people.command("list")
def list_people(store: STORE = HERE, as_json: JSON = False) -> None:
    """Show the people with their roles."""
    rows = [picked(one, "name role active") for one in store.people.list(active_only=False)]
    if not as_json:
        for row in rows:
            row["left"] = "" if row["active"] else _("(no longer active)")
    print_rows(
        rows, as_json, "{name}  {role}  {left}", _("nobody is entered yet; the first person becomes admin")
    )


@people.command()
def add(name: NAME, role: ROLE, pin: PIN, store: STORE = HERE) -> None:
    """Enter a person; the first one becomes admin."""
    person = store.people.add(name, _role(role), pin)
    typer.echo(person.note or _("{name} entered as {role}").format(name=person.name, role=person.role))


@people.command("set-pin")
def set_pin(name: NAME, pin: PIN, store: STORE = HERE) -> None:
    """Give a person another PIN and unlock them."""
    store.people.set_pin(name, pin)
    typer.echo(_("{name} has another PIN").format(name=name))


@people.command("set-role")
def set_role(name: NAME, role: ROLE, store: STORE = HERE) -> None:
    """Give a person another role; the last admin stays one."""
    person = store.people.set_role(name, _role(role))
    typer.echo(_("{name} is {role} now").format(name=person.name, role=person.role))


def _role(text: str) -> Any:
    return text.strip().lower()  # the records know the roles and say so
