"""The page on the fields says what the steps declare."""

from __future__ import annotations

from pathlib import Path

from axlewright.language import using_language
from axlewright.steps.documenting import fields_page

PAGE = Path(__file__).parents[2] / "docs" / "fields.md"


def test_the_page_is_as_the_steps_make_it() -> None:
    """`python tasks.py fields` writes it anew."""
    with using_language("de"):
        assert PAGE.read_text(encoding="utf-8") == fields_page()
