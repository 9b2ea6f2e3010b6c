"""People on the command line: the way back in when a PIN is forgotten."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import Result
from typer.testing import CliRunner

from axlewright.cli.people import people
from axlewright.errors import RecordError
from axlewright.records import open_store


def run(home: Path, *args: str, typed: str | None = None) -> Result:
    return CliRunner().invoke(people, [*args, "--home", str(home)], input=typed)


def test_people_are_entered_and_listed(tmp_path: Path) -> None:
    assert "the first person becomes admin" in run(tmp_path, "list").output
    first = run(tmp_path, "add", "bench one", "technician", typed="2580\n2580\n")
    assert first.exit_code == 0
    assert "the role is admin, not technician" in first.output
    assert "2580" not in first.output, "a PIN is not shown while it is typed"
    assert run(tmp_path, "add", "tester", "lead", "--pin", "1470").output == "tester entered as lead\n"
    assert json.loads(run(tmp_path, "list", "--json").output) == [
        {"name": "bench one", "role": "admin", "active": True},
        {"name": "tester", "role": "lead", "active": True},
    ]


def test_forgotten_pin_and_lost_role_are_given_again(tmp_path: Path) -> None:
    run(tmp_path, "add", "bench one", "admin", "--pin", "2580")
    run(tmp_path, "add", "tester", "technician", "--pin", "1470")
    with open_store(tmp_path) as store:
        for _ in range(5):
            with pytest.raises(RecordError):
                store.people.check_pin("tester", "0000")
    assert run(tmp_path, "set-pin", "tester", typed="3690\n3690\n").exit_code == 0
    assert run(tmp_path, "set-role", "tester", "Admin").output == "tester is admin now\n"
    with open_store(tmp_path) as store:
        assert store.people.require("tester", "3690", "people").role == "admin"


@pytest.mark.parametrize(
    ("args", "message"),
    [
        (("set-role", "bench one", "lead"), "is the only admin"),
        (("set-role", "bench one", "boss"), "is no role"),
        (("set-role", "nobody", "lead"), "nobody is called"),
        (("set-pin", "bench one", "--pin", "12"), "4 to 12 digits"),
        (("add", "bench one", "lead", "--pin", "2580"), "here already"),
    ],
)
def test_what_is_wrong_is_said_in_one_sentence(tmp_path: Path, args: tuple[str, ...], message: str) -> None:
    run(tmp_path, "add", "bench one", "admin", "--pin", "2580")
    done = run(tmp_path, *args)
    assert done.exit_code == 2
    assert message in done.output
    assert done.output.count("\n") == 1


def test_help_names_the_authority(tmp_path: Path) -> None:
    text = " ".join(CliRunner().invoke(people, ["--help"]).output.replace("│", " ").split())
    assert "access to the folder of the records is the authority" in text
