"""Messages keep their values, are drawn in the reader's language and system, and come back from a record."""

from __future__ import annotations

import json
import math
from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from axlewright.language import (
    Joined,
    Message,
    Number,
    _,
    decode,
    encode,
    joined,
    keep,
    plural,
    read_kept,
    using_language,
)
from axlewright.setup import Term, WrittenSum
from axlewright.units import Angle, Force, Length, Speed, Temperature, Torque, using_system

FITTED = "Fitted {fitted}, wanted {want}: the pinion sits as computed"
"""A message of the catalogue."""


def test_a_message_is_drawn_in_the_language_and_system_of_its_reader() -> None:
    message = _(FITTED).format(fitted=Length(25.4), want=Length(12.7))
    with using_language("en"), using_system("inch"):
        assert str(message).startswith("Fitted 1.0000 in (25.400 mm), wanted 0.5000 in")
    with using_language("de"), using_system("metric"):
        assert "25,400 mm (1,0000 in)" in str(message)
        assert "Fitted" not in str(message)


def test_a_kept_message_is_read_in_another_language_and_the_words_first_shown_stay() -> None:
    with using_language("de"), using_system("metric"):
        kept = json.loads(json.dumps(keep(_(FITTED).format(fitted=Length(1.5), want=Length(1.5)))))
    assert "1,500 mm" in kept["shown"]
    with using_language("en"), using_system("inch"):
        assert str(read_kept(kept)).startswith("Fitted 0.0591 in (1.500 mm)")


def test_texts_that_somebody_typed_and_those_of_older_records_stay_as_they_are() -> None:
    assert keep("typed {by} hand") == "typed {by} hand"
    assert read_kept("typed {by} hand") == "typed {by} hand"


@pytest.mark.parametrize(
    "text",
    [
        Number(0.127, ".3f"),
        Length(1.5, 0.01, 4.0, label=_("mounting distance"), source="depth micrometer 2", signed=True),
        Torque(2.0),
        Force(30.0),
        Speed(20.0),
        Angle(0.05),
        Temperature(20.0),
        joined(_("Save"), "x", between="; "),
        plural("{count} tooth", "{count} teeth", 3).format(count=3),
        _("since {when} and {day}").format(when=datetime(2026, 1, 2, 3, 4, tzinfo=UTC), day=date(2026, 1, 2)),
        WrittenSum(_("spacer"), (Term(Length(5.0, 0.1)), Term(Length(2.0), -1.0)), _("a note")),
    ],
)
def test_whatever_is_drawn_comes_back_from_the_record_as_it_was(text: object) -> None:
    again = decode(json.loads(json.dumps(encode({"a": [text]}))))["a"][0]
    assert type(again) is type(text)
    for language in ("en", "de"):
        for system in ("inch", "metric"):
            with using_language(language), using_system(system):
                assert str(again) == str(text)


def test_what_a_record_from_elsewhere_says_is_only_filled_with_plain_names() -> None:
    odd = {
        "message": "{a.__class__} {a[0]} {a!r} {a:9999999999d} {b} {{c}}",
        "values": {"a": 3.0},
        "shown": "",
    }
    words = str(read_kept(odd))
    assert "class" not in words.replace("__class__", "")
    assert len(words) < 200
    assert "{b}" in words, "a value that is not there stays a name"


@pytest.mark.parametrize(
    "odd",
    [
        {"message": 3, "values": [1, 2], "shown": "as shown"},
        {"length_mm": "banana", "shown": "as shown"},
        {"length_mm": math.nan, "shown": "as shown"},
        {"sum": "x", "terms": [{"nothing": 1}], "shown": "as shown"},
        {"joined": 3, "shown": "as shown"},
        {"shown": "as shown"},
    ],
)
def test_what_cannot_be_read_again_is_shown_in_the_words_it_was_kept_with(odd: dict[str, object]) -> None:
    assert str(read_kept(odd)) in ("as shown", "3")


@given(st.text(max_size=60), st.dictionaries(st.sampled_from("abc"), st.floats() | st.text(max_size=9)))
def test_any_message_of_any_record_can_be_drawn(message: str, values: dict[str, float | str]) -> None:
    assert isinstance(str(Message(message, values)), str)


def test_joined_leaves_out_what_is_empty_and_keeps_a_single_text_as_it_is() -> None:
    assert joined("", "a", "") == "a"
    assert joined() == ""
    assert isinstance(joined("a", "b"), Joined)
    assert str(joined("a", "", "b", between=", ")) == "a, b"
