"""Pages in the language of their reader."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime
from html import unescape

import pytest
from markupsafe import Markup
from web_visitor import Visitor

from axlewright.gearset import load_design, shipped_designs
from axlewright.job.shelf import KINDS
from axlewright.records.types import ROLES
from axlewright.web.texts import TABLE_WORDS, linked, when


def test_a_browser_that_asks_for_german_gets_german(visitor: Visitor) -> None:
    page = visitor.client.get("/settings", headers={"accept-language": "de-DE,de;q=0.9,en;q=0.5"}).text
    assert '<html lang="de">' in page
    assert "<h1>Einstellungen</h1>" in page
    words = json.loads(unescape(re.search(r'name="axlewright-words" content="([^"]*)"', page)[1]))
    assert words["Throw it away"] == "Wegwerfen"


def test_english_pages_carry_no_translations(visitor: Visitor) -> None:
    page = visitor.get("/settings")
    assert '<html lang="en">' in page
    assert "axlewright-words" not in page


def test_the_choice_in_settings_is_kept_and_comes_before_the_browsers_wish(visitor: Visitor) -> None:
    page = visitor.post("/settings/me", {"who": "", "system": "inch", "language": "de"})
    assert "In diesem Browser behalten" in page
    assert '<html lang="de">' in visitor.get("/designs")
    assert "Diese Seite gibt es nicht" in visitor.get("/nowhere", status=404)
    visitor.post("/settings/me", {"who": "", "system": "inch", "language": "en"})
    page = visitor.client.get("/designs", headers={"accept-language": "de"}).text
    assert '<html lang="en">' in page
    visitor.post("/settings/me", {"who": "", "system": "inch", "language": "xx"})
    assert '<html lang="en">' in visitor.get("/designs")


def test_two_readers_have_their_own_language_at_the_same_time(visitor: Visitor) -> None:
    for language, title in (("de", "Einstellungen"), ("en", "Settings")) * 3:
        page = visitor.client.get("/settings", headers={"accept-language": language}).text
        assert f"<h1>{title}</h1>" in page


def test_words_the_records_keep_are_marked_for_translation() -> None:
    forms = {load_design(name).tooth_form for name in shipped_designs()}
    assert {*ROLES, *KINDS, *forms} <= set(TABLE_WORDS)


def test_a_sentence_with_links_is_translated_whole() -> None:
    assert linked("[Start] a <job>, [then] roll.", "/a?b=1&c=2", "/r") == Markup(
        '<a href="/a?b=1&amp;c=2">Start</a> a &lt;job&gt;, <a href="/r">then</a> roll.'
    )
    assert linked("No link.") == "No link."
    with pytest.raises(ValueError, match="zip"):
        linked("[one] only", "/a", "/b")


def test_times_are_shown_as_the_wall_clock_has_them() -> None:
    at = datetime(2026, 3, 1, 12, 30, tzinfo=UTC)
    assert when(at) == f'<time datetime="2026-03-01T12:30:00Z">{at.astimezone():%Y-%m-%d %H:%M}</time>'
    assert when(at.replace(tzinfo=None)) == when(at)
