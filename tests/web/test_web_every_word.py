"""Every word of the pages goes through the catalogues.

The pages are drawn in a made-up language whose every message is its English in guillemets. What is left
outside of them is no message: numbers, units, names, what was typed, and where numbers come from.
"""

from __future__ import annotations

import gettext
import re
from collections.abc import Iterator
from html import unescape
from html.parser import HTMLParser
from pathlib import Path

import pytest
from fastapi import FastAPI
from web_visitor import Caller

from axlewright import language
from axlewright.demo import scenario
from axlewright.web import create_app, help_pages

TYPED = (
    "axlewright",
    "TY-222",
    "bench one",
    "bench",
    "whine on drive",
    "whine",
    "lorry",
    "micrometer",
    "tyres round",
    "dial",
    "quick",
    "tester",
)
"""What was typed here, and names."""
ALLOWED = frozenset({"arcmin", "csv", "deutsch", "english", "host", "lbf", "mph", "rad", "serve", "toml"})
"""Units, languages in their own words, names of files and of commands."""
FILE_WORDS = re.compile(r"[a-z0-9]+(_[a-z0-9]+)+|name|title|hand|left|below|duplex|face-milled")
"""Keys of a design file and its values, which a page of a design shows as they stand in the file."""
TEXT_BLOCKS = "p li td th dt dd h1 h2 h3 h4 figcaption label legend button summary option caption title div"
BLOCKS = frozenset(TEXT_BLOCKS.split())
"""Where a message cannot go on from one to the next."""
SHOWN = ("aria-label", "alt", "title", "placeholder", "data-busy")


KEPT_BY_LANGUAGE = (help_pages.glossary_pictures,)
"""Answers that are kept with their words."""


class Guillemets(gettext.NullTranslations):
    """A language made of the English in guillemets."""

    def gettext(self, message: str) -> str:
        return f"«{message}»"

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return f"«{msgid1 if n == 1 else msgid2}»"


class Outside(HTMLParser):
    """Collects what a page shows outside of guillemets."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.found: list[str] = []
        self.depth = 0
        self.hidden = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("script", "style", "textarea"):
            self.hidden += 1
        if tag in BLOCKS:
            self.depth = 0
        for name, value in attrs:
            if name in SHOWN and value:
                kept, self.depth = self.depth, 0
                self.take(value)
                self.depth = kept

    def handle_endtag(self, tag: str) -> None:
        if tag in ("script", "style", "textarea"):
            self.hidden -= 1
        if tag in BLOCKS:
            self.depth = 0

    def handle_data(self, data: str) -> None:
        if not self.hidden:
            self.take(data)

    def take(self, text: str) -> None:
        out = []
        for letter in text:
            self.depth += letter == "«"
            if self.depth == 0:
                out.append(letter)
            self.depth -= letter == "»" and self.depth > 0
        rest = "".join(out).strip()
        if rest:
            self.found.append(rest)


def words_outside(page: str) -> list[str]:
    reader = Outside()
    reader.feed(page)
    left = []
    for text in reader.found:
        bare = text
        for typed in TYPED:
            bare = bare.replace(typed, " ")
        bare = FILE_WORDS.sub(" ", bare) if FILE_WORDS.fullmatch(bare) else bare
        words = [w for w in re.findall(r"[A-Za-z]{3,}", bare) if w.lower() not in ALLOWED]
        if words:
            left.append(text)
    return left


@pytest.fixture
def app(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[FastAPI]:
    monkeypatch.setattr(language, "_catalogue", lambda _chosen: Guillemets())
    for kept in KEPT_BY_LANGUAGE:  # this language goes by the name of English
        kept.cache_clear()
    made = create_app(tmp_path / "records")
    made.state.site.warmth.ready = True
    yield made
    for kept in KEPT_BY_LANGUAGE:
        kept.cache_clear()


@pytest.fixture
def visitor(app: FastAPI) -> Caller:
    return Caller(app, "http://127.0.0.1:8420", "127.0.0.1")


def page_of(visitor: Caller, path: str) -> str:
    answer = visitor.get(path)
    assert answer.status_code == 200, (path, answer.text[:1000])
    return answer.text


def post(visitor: Caller, path: str, fields: dict[str, str], status: int = 200) -> str:
    found = re.search(r'name="token" value="([0-9a-f]{64})"', page_of(visitor, "/settings"))
    assert found
    answer = visitor.post(path, data={"token": found[1], **fields})
    assert answer.status_code == status, (path, answer.text[:1000])
    return answer.text


def fill(visitor: Caller, unit: str = "") -> None:
    """Put a job through the steps of the demonstration, and something on every list.

    A `unit` stands behind every number with decimals, lb-in then behind the torques.
    """

    def typed(fields: dict[str, str]) -> dict[str, str]:
        out = dict(fields)
        for name, text in fields.items():
            if unit and name in ("torque", "turning"):
                out[name] = f"{text} lb-in"
            elif name != "mark_unit":
                out[name] = re.sub(r"(?<!\S)(\d+\.\d+)(?!\S)", rf"\1{unit}", text)
        return out

    sizes = typed({"thickness": "0.0545 0.0600"})
    post(visitor, "/settings/stock", {"kind": "pinion spacer", "count": "1"} | sizes)
    post(visitor, "/settings/people", {"name": "bench one", "role": "admin", "pin": "471108"})
    post(visitor, "/settings/instruments", {"name": "dial micrometer", "due_on": "2020-01-31"})
    post(visitor, "/jobs/new", {"vehicle": "lorry", "design": "TY-222", "complaint": "whine on drive"})
    for step, fields in (*scenario.STEPS, *MORE_STEPS):
        post(visitor, f"/jobs/1/steps/{step}", typed({**fields, "head": ""}) | TYPED_FIELDS.get(step, {}))
    words = {"drive_words": "high, toward heel", "coast_words": "high", "compound": "auto"}
    post(visitor, "/jobs/1/pattern/read", words)


def practised(visitor: Caller) -> dict[str, str]:
    """Go through an exercise to its end."""
    found = re.search(r'name="token" value="([0-9a-f]{64})"', page_of(visitor, "/settings"))
    assert found
    typed = {"token": found[1], "design": "TY-222", "level": "1", "number": "3"}
    here = visitor.post("/practice", data=typed).url.path
    deeds = ("identity", "backlash", "roll", "listen", "runout", "housing", "sign")
    pages = {k: post(visitor, here, {"kind": k, "seen": str(n)}) for n, k in enumerate(deeds)}
    return pages | {"attempts": page_of(visitor, "/practice")}


def batch_shown(visitor: Caller) -> dict[str, str]:
    """Fill the batch with the demonstration log and look at it."""
    post(visitor, "/batch/demo", {})
    sets = page_of(visitor, "/batch")
    one = re.search(r'href="(/batch/set[^"]*)"', sets)
    assert one
    return {"sets": sets, "set": page_of(visitor, unescape(one[1]))} | {
        path: page_of(visitor, path)
        for path in ("/batch/charts?design=TY-222", "/batch/study?design=TY-222&count=2000")
    }


MORE_STEPS: tuple[tuple[str, dict[str, str]], ...] = (
    ("as-found", {"backlash": "0.010 0.012", "spacer": "0.060", "turning": "12"}),
    ("fits", {"bearings": "quick", "flange_runout": "0.001", "ring_face_runout": "0.009"}),
    ("preload", {"bearings": "new", "kind": "sleeve", "torque": "20", "nut": "10"}),
    ("final", {"backlash": "0.007 0.008 0.007 0.008", "torque": "24", "pattern": "changed"}),
    ("close", {"road": "whine on drive", "gone": "less"}),
)
TYPED_FIELDS = {"complaint": {"speed": "40", "note": "tyres round"}, "depth": {"instrument": "micrometer"}}
STEP_KEYS = (
    "complaint", "as-found", "identity", "fits", "depth", "preload", "backlash", "pattern", "final", "close",
)  # fmt: skip
PAGES = (
    "/", "/?q=nothing", "/jobs/new", "/designs", "/designs/TY-222", "/help", "/listen", "/listen/compare",
    "/listen/made", "/pair", "/settings", "/settings/devices", "/practice", "/rolling", "/batch",
    "/batch/charts", "/batch/match", "/batch/study",
)  # fmt: skip


def left_on(pages: dict[str, str]) -> dict[str, list[str]]:
    return {path: words for path, page in pages.items() if (words := words_outside(page))}


def test_what_stands_outside_is_found() -> None:
    page = "<p>«In it, «nested» too» 3 mm <b title='Left out'>«one</b> two» and three</p><p>four»</p>"
    assert words_outside(page) == ["Left out", "and three", "four»"]


def test_every_page_and_every_step_of_a_job_is_made_of_messages(visitor: Caller) -> None:
    pages = {path: page_of(visitor, path) for path in PAGES}
    fill(visitor)
    pages |= {step: page_of(visitor, f"/jobs/1?step={step}") for step in STEP_KEYS}
    pages |= {f"full {path}": page_of(visitor, path) for path in ("/", "/settings", "/jobs/1/pattern")}
    assert left_on(pages) == {}


def test_practice_and_the_batch_are_made_of_messages(visitor: Caller) -> None:
    assert left_on(practised(visitor) | batch_shown(visitor)) == {}


def test_what_cannot_be_taken_is_said_in_messages(visitor: Caller) -> None:
    post(visitor, "/jobs/new", {"vehicle": "lorry", "design": "TY-222", "complaint": "whine on drive"})
    wrong = {
        "/jobs/1/steps/depth": {"place": "under_head", "carrier": "tyres round"},
        "/jobs/1/steps/preload": {"bearings": "new", "kind": "sleeve", "torque": "900"},
        "/jobs/1/pattern/read": {"drive_words": "dial"},
        "/jobs/1/waive": {"step": "depth", "reason": ""},
        "/settings/stock": {"kind": "side shim", "thickness": "quick"},
        "/batch/readings": {"number": "", "design": "TY-222"},
        "/practice": {"design": "TY-222", "level": "9"},
    }
    pages = {path: post(visitor, path, fields, status=422) for path, fields in wrong.items()}
    pages["no job"] = visitor.get("/jobs/99").text
    pages["no page"] = visitor.get("/nowhere").text
    assert left_on(pages) == {}


def test_a_missing_job_is_not_found_in_any_language(visitor: Caller) -> None:
    assert visitor.get("/jobs/99").status_code == 404
