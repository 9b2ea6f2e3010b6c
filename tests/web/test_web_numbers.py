"""Numbers have the decimal sign of the reader's language, lengths begin with the reader's system."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from html.parser import HTMLParser
from pathlib import Path

import pytest
from fastapi import FastAPI
from test_web_every_word import PAGES, STEP_KEYS, batch_shown, fill, page_of, practised
from web_visitor import Caller

from axlewright import __version__
from axlewright.web import create_app

POINT = re.compile(r"(?<![\w.])[+−-]?\d+\.\d+(?![\w.]*[\w/])")
"""A number with a decimal point; an address or a date of three parts is none."""
LENGTHS = re.compile(r"\d (in|mm) \([+−]?[\d.,]+ (in|mm)\)")
"""A length in both systems."""
AS_STORED = frozenset({"/designs/TY-222"})
"""Shows the fields of a design file as they stand in it."""


class Texts(HTMLParser):
    """Collects the text of a page, drawings and their descriptions included, without what was typed."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.texts: list[str] = []
        self.hidden = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.hidden += tag in ("script", "style", "textarea", "code", "q")
        self.texts += [value for name, value in attrs if name in ("aria-label", "alt", "title") and value]

    def handle_endtag(self, tag: str) -> None:
        self.hidden -= tag in ("script", "style", "textarea", "code", "q")

    def handle_data(self, data: str) -> None:
        if not self.hidden and data.strip():
            self.texts.append(data.strip())


def texts_of(page: str) -> list[str]:
    reader = Texts()
    reader.feed(page)
    return reader.texts


def with_point(page: str) -> list[str]:
    return [text for text in texts_of(page) if POINT.search(text.replace(__version__, ""))]


@pytest.fixture
def app(tmp_path: Path) -> FastAPI:
    made = create_app(tmp_path / "records")
    made.state.site.warmth.ready = True
    return made


@pytest.fixture
def visitor(app: FastAPI) -> Caller:
    one = Caller(app, "http://127.0.0.1:8420", "127.0.0.1")
    one.cookies.set("axlewright-language", "de")
    one.cookies.set("axlewright-system", "metric")
    return one


def test_numbers_with_a_point_are_found() -> None:
    assert with_point(
        "<p>0.5 mm</p><p title='−1.25'>0,5</p><p>127.0.0.1</p><p>31.12.2026</p><code>1.5</code>"
    ) == [
        "0.5 mm",
        "−1.25",
    ]


def job_pages(visitor: Caller) -> dict[str, str]:
    pages = {path: page_of(visitor, path) for path in PAGES if path not in AS_STORED}
    fill(visitor, unit="in")
    pages |= {step: page_of(visitor, f"/jobs/1?step={step}") for step in STEP_KEYS}
    return pages | {f"full {path}": page_of(visitor, path) for path in ("/", "/settings", "/jobs/1/pattern")}


def test_every_page_of_a_german_reader_has_decimal_commas_and_millimetres_first(visitor: Caller) -> None:
    pages = job_pages(visitor)
    assert "0,127 mm" in "".join(pages.values())
    assert {path: found for path, page in pages.items() if (found := with_point(page))} == {}
    inch_first = {
        path: [t for t in texts_of(page) if any(m[1] == "in" for m in LENGTHS.finditer(t))]
        for path, page in pages.items()
    }
    assert {path: found for path, found in inch_first.items() if found} == {}


def test_practice_and_the_batch_of_a_german_reader_have_decimal_commas(visitor: Caller) -> None:
    pages = practised(visitor) | batch_shown(visitor)
    assert {path: found for path, page in pages.items() if (found := with_point(page))} == {}
    inch_first = {
        path: [t for t in texts_of(page) if any(m[1] == "in" for m in LENGTHS.finditer(t))]
        for path, page in pages.items()
    }
    assert {path: found for path, found in inch_first.items() if found} == {}


@pytest.mark.skipif(
    shutil.which("pdftotext") is None and not os.environ.get("AXLEWRIGHT_TESTS_MUST_NOT_SKIP"),
    reason="pdftotext of poppler is not installed",
)
def test_the_sheet_of_a_german_reader_has_decimal_commas_and_millimetres_first(visitor: Caller) -> None:
    fill(visitor, unit="in")
    answer = visitor.get("/jobs/1/sheet.pdf")
    assert answer.status_code == 200
    told = subprocess.run(
        ["pdftotext", "-raw", "-", "-"], input=answer.content, capture_output=True, check=True
    )
    text = " ".join(told.stdout.decode().split())
    assert "142,824 − 109,537 − 31,725 − 0,051 = 1,511 mm" in text
    assert POINT.findall(text) == []
    assert [m[0] for m in LENGTHS.finditer(text) if m[1] == "in"] == []
