"""The document on records says what the program does."""

from __future__ import annotations

import re
from pathlib import Path

from axlewright.records import STEPS
from axlewright.records.people import RIGHTS
from axlewright.records.types import ENTRY_KINDS

TEXT = (Path(__file__).parents[2] / "docs" / "records.md").read_text(encoding="utf-8")


def test_steps_of_the_document_are_those_of_the_program() -> None:
    rows = re.findall(r"^\| `([a-z-]+)` \| (.+?) \| (.*?) ?\|$", TEXT, re.MULTILINE)
    assert rows == [(one.key, one.title, ", ".join(one.follows_from)) for one in STEPS]


def test_kinds_and_rights_of_the_document_are_those_of_the_program() -> None:
    for kind in ENTRY_KINDS:
        assert f"`{kind}`" in TEXT
    rows = re.findall(r"^\| ([a-z, ]+) \| yes \| (yes)? ?\| ?(yes)? ?\| ?(yes)? ?\|$", TEXT, re.MULTILINE)
    found = {
        role: {right for right, yes in zip(("sign", "waive", "people"), rights, strict=True) if yes}
        for roles, *rights in rows
        for role in roles.split(", ")
    }
    assert found == {role: set(rights) for role, rights in RIGHTS.items()}
