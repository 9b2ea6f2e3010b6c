"""The notes point at things that exist: links, pictures, commands and their options."""

from __future__ import annotations

import re
import shlex
import subprocess
from pathlib import Path
from typing import Any

import pytest
import typer
import typer.main

from axlewright.cli.app import app

ROOT = Path(__file__).parents[1]
LINK = re.compile(r"!?\[[^\]\n]*\]\(\s*<?([^)\s>]+)>?(?:\s+\"[^\"]*\")?\s*\)")
FENCE = re.compile(r"^```[^\n]*\n(.*?)^```", re.MULTILINE | re.DOTALL)


def notes() -> list[Path]:
    """Return the Markdown files that belong to the project."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "*.md"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if listed.returncode == 0 and listed.stdout:
        found = [ROOT / name for name in listed.stdout.split("\0") if name]
    else:  # an unpacked archive without a repository
        found = [*ROOT.glob("*.md"), *(ROOT / "docs").rglob("*.md")]
    return [path for path in found if path.exists()]


def links(text: str) -> list[str]:
    """Return the targets of links and pictures outside fenced blocks that point into the project."""
    prose = FENCE.sub("", text)
    return [t for t in LINK.findall(prose) if not re.match(r"[a-z][a-z0-9+.-]*:|#", t)]


def anchors(text: str) -> set[str]:
    """Return the anchors of a file's headings as repository pages make them."""
    heads = re.findall(r"^#{1,6} +(.+?)\s*$", FENCE.sub("", text), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", h.lower()).replace(" ", "-") for h in heads}


def commands(text: str) -> list[str]:
    """Return the command lines of the fenced blocks, continued lines joined."""
    blocks = [re.sub(r"\\\n\s*", " ", block) for block in FENCE.findall(text)]
    return [line.strip() for block in blocks for line in block.splitlines() if line.startswith("axlewright ")]


@pytest.mark.parametrize("path", notes(), ids=lambda p: str(p.relative_to(ROOT)))
def test_links_and_pictures_exist(path: Path) -> None:
    """Every relative target is a file or directory; an anchor is a heading of the Markdown file it names."""
    for target in links(path.read_text(encoding="utf-8")):
        name, _, anchor = target.partition("#")
        there = path.parent / name
        assert there.exists(), f"{path.name} points at {target}"
        assert there.resolve().is_relative_to(ROOT), f"{path.name} points out of the project: {target}"
        if anchor and there.suffix == ".md":
            assert anchor in anchors(there.read_text(encoding="utf-8")), f"{path.name} points at {target}"


def unknown(line: str) -> list[str]:
    """Return what a command line names that the program does not have; nothing is run."""
    words = shlex.split(line, comments=True)[1:]
    command: Any = typer.main.get_command(app)
    while hasattr(command, "commands"):  # a group of commands
        if not words:
            return ["no command"]
        name = words.pop(0)
        inner = command.commands.get(name)
        if inner is None:
            return [f"command {name}"]
        command = inner
    takes_value: dict[str, bool] = {"--help": False}
    places = 0
    for parameter in command.get_params(typer.Context(command)):
        if parameter.param_type_name == "argument":
            places = 99 if parameter.nargs < 0 else places + parameter.nargs
            continue
        for option in (*parameter.opts, *parameter.secondary_opts):
            takes_value[option] = not getattr(parameter, "is_flag", False)
    wrong: list[str] = []
    while words:
        word = words.pop(0)
        if word.startswith("-") and len(word) > 1 and not word[1].isdigit():
            name, equals, _ = word.partition("=")
            if name not in takes_value:
                return [*wrong, f"option {name}"]  # what follows may be its value
            if takes_value[name] and not equals:
                if not words:
                    wrong.append(f"{name} without a value")
                else:
                    words.pop(0)
        else:
            places -= 1
    if places < 0:
        wrong.append("too many arguments")
    return wrong


README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_readme_shows_commands() -> None:
    """Otherwise the next test would look at nothing."""
    assert len(commands(README)) >= 5


@pytest.mark.parametrize("line", commands(README))
def test_commands_of_the_readme_exist(line: str) -> None:
    assert unknown(line) == []


@pytest.mark.parametrize(
    ("line", "wrong"),
    [
        ("axlewright rol TY-222", ["command rol"]),
        ("axlewright roll TY-222 --pinion 0.1mm", ["option --pinion"]),
        ("axlewright job nwe", ["command nwe"]),
        ("axlewright roll TY-222 --pinion-out", ["--pinion-out without a value"]),
        ("axlewright designs TY-222 TY-310", ["too many arguments"]),
    ],
)
def test_a_wrong_command_would_be_noticed(line: str, wrong: list[str]) -> None:
    assert unknown(line) == wrong


def test_a_missing_target_would_be_noticed() -> None:
    assert links("[a](no/such.md) ![b](c.png) [d](https://example.org) [e](#f)") == ["no/such.md", "c.png"]
