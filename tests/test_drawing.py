"""The templates of the drawings: words in the reader's language, escaped; numbers short; nothing left out."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from jinja2 import UndefinedError

import axlewright
from axlewright.drawing import drawn, path
from axlewright.language import using_language
from axlewright.steps.drawings import depth_diagram, sides_diagram

ROOM = Path(axlewright.__file__).parent


def test_words_are_drawn_in_the_language_of_the_moment() -> None:
    assert ">ring gear axis<" in depth_diagram("", {})
    with using_language("de"):
        german = depth_diagram("", {})
    assert ">ring gear axis<" not in german


def test_what_was_typed_cannot_become_markup() -> None:
    svg = sides_diagram("cups", {"R": '<b>&"', "O": "0.2211 in"})
    assert "<b>" not in svg
    assert any(text.endswith('<b>&"') for text in ET.fromstring(svg).itertext())


def test_places_come_out_short() -> None:
    code = drawn("sheets/datamatrix", size=2.0 / 3.0, dark=path([(0.0, 1.0 / 3.0), (1.0, 2.0)]))
    assert 'viewBox="0 0 0.67 0.67"' in code
    assert 'd="M0.00 0.33L1.00 2.00"' in code
    assert 'width="0"' in drawn("sheets/datamatrix", size=-0.001, dark="")


def test_a_name_asked_for_in_vain_is_an_error() -> None:
    with pytest.raises(UndefinedError):
        drawn("sheets/datamatrix", size=1)


def test_no_drawing_is_put_together_in_python() -> None:
    """An SVG element in Python source would be neither escaped nor in a template's care."""
    found = [p.relative_to(ROOM).as_posix() for p in ROOM.rglob("*.py") if "<path" in p.read_text("utf-8")]
    assert found == []
