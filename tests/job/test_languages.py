"""A job entered in one language and unit system reads well in another; and working out draws no words."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from pdf_reading import text_of
from typer.testing import CliRunner
from web_visitor import Visitor, served

import axlewright.language as language
from axlewright.cli.app import app
from axlewright.demo import scenario
from axlewright.job import FORMS, enter, job_sheet_pdf, start_job
from axlewright.job.entering import known_of
from axlewright.language import Drawn, languages, using_language
from axlewright.records import JobStore, open_store
from axlewright.steps.answers import Answers
from axlewright.units import Quantity, using_system
from axlewright.web import create_app

MORE_STEPS: Mapping[str, Mapping[str, str]] = {
    "as-found": {"backlash": "0.010 0.012", "spacer": "0.060", "turning": "12", "tagged": "yes"},
    "fits": {
        "bearings": "good",
        "flange_runout": "0.001",
        "face_readings": "-0.0005 -0.0002 0.0001 0.0005 0.0005 0.0002 -0.0001 -0.0005",
    },
    "preload": {"bearings": "new", "kind": "sleeve", "torque": "20"},
    "pattern": {"accepted": "yes", "reason": "4711"},
    "final": {"backlash": "0.007 0.008 0.007 0.008", "torque": "24", "pattern": "same"},
    "close": {"locks": "yes", "oil": "yes", "road": "4711", "gone": "less"},
}
TYPED_WORDS = {"complaint": {"speed": "4711", "note": "4711"}, "depth": {"instrument": "4711"}}
"""Texts a person would type, as numbers: what is typed is shown as it is in every language."""


def fields_of(step: str) -> dict[str, str]:
    """Return what is typed at a step, every quantity with its unit."""
    typed = {**dict(scenario.STEPS).get(step, {}), **MORE_STEPS.get(step, {}), **TYPED_WORDS.get(step, {})}
    out = {}
    for name, text in typed.items():
        kind = FORMS[step].field(name).kind
        unit = {"length": " in", "lengths": " in", "torque": " lb-in"}.get(kind, "")
        out[name] = text if " in" in text else " ".join(f"{one}{unit}" for one in text.split(" "))
        if kind not in ("length", "lengths", "torque"):
            out[name] = text
    return out


def entered(store: JobStore, code: str, system: Any) -> int:
    """Enter a whole job in one language and unit system; return its number."""
    with using_language(code), using_system(system):
        job = start_job(store, design_name="TY-222", vehicle="4711", complaint="4711", who="4711")
        for step in FORMS:
            enter(store, job.number, step, fields_of(step), who="4711", system=system)
        store.waive(job.number, "identity", "4711", who="4711")
    return job.number


@cache
def fragments(code: str) -> frozenset[str]:
    """Return what only one language says: the parts of its messages between the values.

    Short words, and what another language writes the same way, are left out.
    """
    by_language: dict[str, set[str]] = {"en": set(), "de": set()}
    for message in language._kept("de"):
        for key, words in (("en", message.id), ("de", message.string)):
            for text in (words,) if isinstance(words, str) else words or ():
                by_language[key].add(text)
    own = {
        part
        for text in by_language.pop(code)
        for piece in re.split(r"\{[^{}]*\}|<[^<>]*>|\[|\]", text)
        if len(part := piece.strip(" .,;:?!()“”„")) >= 5
    }
    others = " | ".join(text for texts in by_language.values() for text in texts)
    return frozenset(part for part in own if not _stands_in(part, others))


def _stands_in(part: str, text: str) -> bool:
    """Whether whole words of a text are this part."""
    return part in text and re.search(rf"(?<!\w){re.escape(part)}(?!\w)", text) is not None


def left_of(code: str, text: str) -> list[str]:
    """Return what a text still says in a language."""
    flat = " ".join(text.split())
    return sorted(part for part in fragments(code) if _stands_in(part, flat))


def page_text(page: str) -> str:
    """Return the words of a page's main part."""
    main = page.partition("<main")[2].partition("</main>")[0]
    spoken = " ".join(re.findall(r'(?:alt|title|aria-label)="([^"]*)"', main))
    return unescape(re.sub(r"<[^<>]*>", " ", main) + spoken)


def read_everywhere(folder: Path, number: int, code: str, system: Any) -> dict[str, str]:
    """Return a job as page, sheet and command line show it."""
    texts = {}
    with open_store(folder) as store, using_language(code), using_system(system):
        texts["sheet"] = text_of(job_sheet_pdf(store, number, system=system))
    with using_language(code):
        told = CliRunner().invoke(
            app, ["job", "show", str(number), "--home", str(folder), "--system", system]
        )
    assert told.exit_code == 0, told.output
    texts["job show"] = re.sub(r"(?m)^  \[[a-z ]+\] [a-z-]+$", "", told.output)  # keys, as typed at `job add`
    import httpx

    with served(create_app(folder)) as base, httpx.Client(base_url=base, timeout=600) as client:
        client.cookies.set("axlewright-language", code)
        client.cookies.set("axlewright-system", system)
        for step in FORMS:
            texts[f"page {step}"] = page_text(Visitor(client).get(f"/jobs/{number}?step={step}"))
    return texts


@pytest.fixture(scope="module", params=[("de", "metric", "en", "inch"), ("en", "inch", "de", "metric")])
def told(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """A job entered by one person and read by another."""
    written, their_system, read, system = request.param
    folder = tmp_path_factory.mktemp("records")
    with open_store(folder) as store:
        number = entered(store, written, their_system)
        entries = store.entries(number)
    return {
        "written": written,
        "read": read,
        "entries": entries,
        "texts": read_everywhere(folder, number, read, system),
    }


def test_both_languages_are_told_apart() -> None:
    assert set(languages()) == {"en", "de"}
    assert left_of("de", "Schraube 3 mm, das Ritzel sitzt zu weit außen. Wenden!")
    assert left_of("en", "Schraube 3 mm, das Ritzel sitzt zu weit außen. Wenden!") == []
    assert left_of("de", "Screw 3 mm, the pinion sits too far out. Turn it!") == []
    assert len(fragments("de")) > 2_000
    assert len(fragments("en")) > 2_000


def test_a_job_reads_in_the_readers_language_on_page_sheet_and_command_line(told: dict[str, Any]) -> None:
    left = {
        place: words for place, text in told["texts"].items() if (words := left_of(told["written"], text))
    }
    assert left == {}
    assert any(left_of(told["read"], text) for text in told["texts"].values()), "it does say something"


def test_the_words_as_first_shown_are_kept(told: dict[str, Any]) -> None:
    payloads = json.dumps([dict(entry.payload) for entry in told["entries"]], ensure_ascii=False)
    shown = " ".join(re.findall(r'"shown": "([^"]*)"', payloads))
    assert left_of(told["written"], shown)
    assert left_of(told["read"], shown) == []


@contextmanager
def no_drawing(patch: pytest.MonkeyPatch) -> Iterator[None]:
    """Let nothing become words inside the block."""

    def kinds(one: type) -> Iterator[type]:
        yield one
        for below in one.__subclasses__():
            yield from kinds(below)

    def drawn(*_arguments: object, **_more: object) -> str:
        raise AssertionError("drawn while it is worked out")

    with patch.context() as inside:
        for kind in kinds(Drawn):
            inside.setattr(kind, "__str__", drawn)
            inside.setattr(kind, "__format__", drawn)
        for name in ("show", "shown_in"):
            inside.setattr(Quantity, name, drawn)
        for name in ("eager", "eager_plural"):
            inside.setattr(language, name, drawn)
        yield


@pytest.mark.parametrize("step", FORMS)
def test_a_rule_draws_no_words(step: str, store: JobStore, monkeypatch: pytest.MonkeyPatch) -> None:
    job = start_job(store, design_name="TY-222", who="one")
    for before in FORMS:
        if before == step:
            break
        if before in FORMS:
            enter(store, job.number, before, fields_of(before), who="one")
    form = FORMS[step]
    answers = Answers(form.fields, fields_of(step), "inch")
    known = known_of(store, job.number, who="one", system="inch", step=step)
    rule = form.rule
    assert rule is not None
    with no_drawing(monkeypatch):
        found = rule(answers, known)
        kept = found.verdict
    assert kept in ("ok", "not ok", "ask")
    assert found.readings or found.notes or found.why
