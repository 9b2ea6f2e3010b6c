"""What holds for every command: help, errors, files, pipes, completion; and the steps without a job."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import typer.main
from typer.testing import CliRunner

from axlewright.cli.app import app
from axlewright.language import using_language
from axlewright.steps.field import Field
from axlewright.steps.forms import FORMS

runner = CliRunner()


def run(*arguments: str | Path, typed: str | bytes | None = None) -> Any:
    return runner.invoke(app, [str(one) for one in arguments], input=typed)


def every(command: Any, *names: str) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Give each command and group with its name."""
    yield names, command
    for name, inner in getattr(command, "commands", {}).items():
        yield from every(inner, *names, name)


COMMANDS = [names for names, _ in every(typer.main.get_command(app))]


@pytest.mark.parametrize("names", COMMANDS, ids=" ".join)
def test_help_is_asked_for_in_both_ways(names: tuple[str, ...]) -> None:
    short, long = run(*names, "-h"), run(*names, "--help")
    assert short.exit_code == 0
    assert short.output == long.output
    assert "--help" in short.output


def helps() -> dict[tuple[str, ...], str]:
    """Return every text of the help by its place, in the language chosen."""
    out = {}
    for names, command in every(typer.main.get_command(app)):
        out[names] = command.help
        for one in command.get_params(typer.Context(command, info_name="axlewright")):
            if getattr(one, "hidden", False):
                continue
            out[(*names, one.name)] = one.help
            out[(*names, one.name, "panel")] = one.rich_help_panel
    return out


def test_help_is_in_the_readers_language() -> None:
    english = helps()
    with using_language("de"):
        german = helps()
    assert english.keys() == german.keys()
    assert len(english) > 300
    same = {text for place, text in english.items() if text == german[place]}
    keys = {text for text in same if text.partition(",")[0] in ("complaint", "pinion spacer")}
    assert same - {""} == keys, "only keys are the same in both"
    assert not [place for place, text in english.items() if not text], "every option says what it is"


@pytest.mark.parametrize(
    ("arguments", "what", "where"),
    [
        (("roll", "TY-222", "--pinion-out", "0.05"), "unit", "--pinion-out"),
        (("roll", "TY-222", "--flank", "left"), "unknown answer 'left'", "--flank"),
        (("roll", "TY-222", "--sideways", "1mm"), "--sideways", ""),
        (("job", "new"), "--design", ""),
        (("job", "show", "77", "--home", "HOME"), "there is no job 77", "job"),
        (("job", "import", "HOME/none.zip", "--home", "HOME"), "", "none.zip"),
        (("batch", "import", "HOME/none.csv", "--home", "HOME"), "cannot be read", "none.csv"),
        (("spacer", "--place", "above"), "unknown choice 'above'", "--place"),
    ],
)
def test_an_error_is_json_where_json_is_asked_for(
    arguments: tuple[str, ...], what: str, where: str, tmp_path: Path
) -> None:
    done = run(*(part.replace("HOME", str(tmp_path)) for part in arguments), "--json")
    assert done.exit_code == 2
    error = json.loads(done.stdout)["error"]
    assert set(error) == {"what", "where", "fix"}
    assert what in error["what"]
    assert where in error["where"]
    assert not done.stderr


def command(*arguments: str, **more: Any) -> subprocess.Popen[str]:
    """Start the program as a person does."""
    return subprocess.Popen(
        [sys.executable, "-m", "axlewright.cli", *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        **more,
    )


def test_a_reader_who_goes_away_hears_nothing_more() -> None:
    with command("fields", "--json") as program:
        assert program.stdout is not None
        assert program.stderr is not None
        program.stdout.readline()
        program.stdout.close()
        assert program.stderr.read() == ""


def test_verbose_says_what_is_done_and_where_an_error_arises(tmp_path: Path) -> None:
    asked = ("job", "show", "77", "--home", str(tmp_path))
    with command(*asked) as plain, command("--verbose", *asked) as verbose:
        said, told = plain.communicate()[1], verbose.communicate()[1]
    assert len(said.splitlines()) == 1
    assert said in told
    assert f"records in {tmp_path}" in told
    assert "Traceback" in told


def test_the_shell_completes_commands_and_answers() -> None:
    for words, place, found in (
        ("axlewright ro", "1", "roll"),
        ("axlewright roll TY-222 --flank ", "4", "coast"),
        ("axlewright spacer --place ", "3", "behind_cup"),
    ):
        asked = {"_AXLEWRIGHT_COMPLETE": "complete_bash", "COMP_WORDS": words, "COMP_CWORD": place}
        code = "import sys; sys.argv = ['axlewright']; from axlewright.cli import main; main()"
        done = subprocess.run(
            [sys.executable, "-c", code], env=os.environ | asked, capture_output=True, text=True, check=False
        )
        assert found in done.stdout.split(), done.stderr


def test_standard_input_is_read_where_a_file_may_be(tmp_path: Path) -> None:
    log = "set;design;pinion out [mm];drive motion error [µrad]\n1;TY-222;0,05;31\n"
    done = run("batch", "import", "-", "--home", tmp_path, "--json", typed=log.encode())
    assert json.loads(done.stdout)["taken"] == 1
    assert "no log is named" in run("batch", "import", "--home", tmp_path).output
    match = ("batch", "match", "--design", "TY-222", "--place", "under_head", "--home", tmp_path)
    assert "Carriers, line 1" in run(*match, "--carriers", "-", typed="C-1 thick\n").output


def test_the_fields_of_a_step_are_listed_from_their_declaration(monkeypatch: pytest.MonkeyPatch) -> None:
    listed = run("fields", "depth").output
    assert "carrier  " in listed
    assert "several lengths, in or mm" in listed
    assert "under_head, behind_cup, cage_flange" in listed
    assert "[only with method=old]" in listed
    told = json.loads(run("fields", "--json").output)
    assert list(told) == list(FORMS)
    assert {one["name"] for one in told["preload"]} == {*(f.name for f in FORMS["preload"].fields), "really"}
    assert "unknown step" in run("fields", "polish").output
    condition = Field("nut_thread", "Condition of the pinion nut's thread", "text")
    preload = replace(FORMS["preload"], fields=(*FORMS["preload"].fields, condition))
    monkeypatch.setattr("axlewright.steps.forms.FORMS", {**FORMS, "preload": preload})
    assert "nut_thread               Condition of the pinion nut's thread" in run("fields", "preload").output


FIVE_READINGS = {
    "place": "under_head",
    "carrier": "5.6255 5.6250 5.6254 5,6256 5.6255",
    "bearing": "1.2500 1.2500",
    "mounting_distance": "109.5375 mm",
    "mark": "+2",
    "mark_unit": "0.001 in",
    "mark_meaning": "plus_means_larger_mounting_distance",
}


@pytest.mark.parametrize(
    "typed",
    [
        FIVE_READINGS,
        {**FIVE_READINGS, "place": "cage_flange", "cage_height": "0.5", "bearing": "1.25"},
        {
            "place": "behind_cup",
            "method": "gauge",
            "dial": "4",
            "mark": "0",
            "mark_unit": "0.01 mm",
            "mark_meaning": "plus_means_thicker_spacer",
        },
    ],
)
def test_spacer_is_the_depth_step_without_a_job(typed: dict[str, str], tmp_path: Path) -> None:
    """The same fields give the same sums, readings' doubts and questions in both."""
    options = [part for name, text in typed.items() for part in (f"--{name.replace('_', '-')}", text)]
    alone = json.loads(run("spacer", *options, "--resolution", "0.0001 in", "--json").output)
    run("job", "new", "--design", "TY-222", "--who", "b", "--home", tmp_path)
    fields = [f"{name}={text}" for name, text in typed.items()]
    kept = json.loads(
        run("job", "add", "1", "depth", *fields, "resolution=0.0001 in", "--who", "b", "--try", "--json",
            "--home", tmp_path).output
    )  # fmt: skip
    assert alone["spacer_mm"] == round(kept["values"]["spacer_mm"], 5)
    assert alone["standard_uncertainty_mm"] == round(kept["values"]["spacer_standard_uncertainty_mm"], 5)
    assert alone["sum"] == kept["sums"][0]["shown"]
    asked = [one["shown"] for one in kept["questions"]]
    assert alone["questions"] == [one for one in asked if "which one went in" not in one], "nothing goes in"
    assert not any("Settings" in note for note in alone["notes"])


def test_every_field_of_the_depth_step_is_an_option_of_spacer() -> None:
    command: Any = typer.main.get_command(app)
    inside = {one.name for one in command.commands["spacer"].get_params(typer.Context(command))}
    assert {f.name for f in FORMS["depth"].fields} - inside == {"note", "instrument"}
    assert "--thin-outside" in run("spacer", "-h").output
    asked = run(
        "spacer",
        "--place",
        "under_head",
        "--carrier",
        "56",
        *("--bearing", "1.2", "--mounting-distance", "4.3"),
    ).output
    assert asked.startswith("--carrier: '56' is unusual here")
