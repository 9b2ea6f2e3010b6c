"""Every field of every form that is no step: what is not text takes no word that is none of its kind."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from axlewright.errors import InputError
from axlewright.job import FieldError, batch, listening, made_sounds, matching
from axlewright.records import JobStore
from axlewright.steps.answers import answered
from axlewright.steps.field import Field

FORMS: dict[str, Sequence[Field]] = {
    "set": batch.SET_FIELDS,
    "position, motion error": batch.row_fields("error"),
    "position, sound": batch.row_fields("sound"),
    "ways": batch.WAYS_FIELDS,
    "chart of a length": batch.chart_fields("best"),
    "chart of a motion error": batch.chart_fields("drive"),
    "match": matching.MATCH_FIELDS,
    "study": batch.STUDY_FIELDS,
    "listen": listening.LISTEN_FIELDS,
    "compare": listening.COMPARE_FIELDS,
    "made": made_sounds.MADE_FIELDS,
    "learn": made_sounds.LEARN_FIELDS,
}
TEXTS = ("text", "long text")


@pytest.mark.parametrize(
    ("form", "field"),
    [(form, one) for form, fields in FORMS.items() for one in fields if one.kind not in TEXTS],
    ids=lambda value: value.name if isinstance(value, Field) else value,
)
@pytest.mark.parametrize("system", ["inch", "metric"])
def test_no_field_that_is_not_text_accepts_banana(form: str, field: Field, system: str) -> None:
    with pytest.raises(FieldError) as caught:
        answered(FORMS[form], {field.name: "banana"}, system)  # type: ignore[arg-type]
    assert caught.value.field == field.name
    if field.name != "path":  # nobody types it: the page does
        assert "banana" in str(caught.value)


def test_texts_are_few_and_known() -> None:
    """Names of designs and sets are looked up; a note and a source are for people."""
    texts = {one.name for fields in FORMS.values() for one in fields if one.kind in TEXTS}
    assert texts == {"number", "design", "note", "sets", "source"}


@pytest.mark.parametrize("form", FORMS)
def test_an_empty_form_reads_as_empty_and_what_it_does_not_declare_is_passed_over(form: str) -> None:
    answers = answered(FORMS[form], {"token": "x", "key": "y"}, "inch")
    assert not any(answers.given(one.name) for one in FORMS[form])


def test_a_number_that_cannot_be_meant_is_refused_where_it_stands() -> None:
    for name, text in (("drive", "99999"), ("coast", "-1")):
        with pytest.raises(FieldError, match="out of range"):
            answered(batch.row_fields("error"), {name: text}, "inch")
    with pytest.raises(FieldError, match="no share"):
        answered(matching.MATCH_FIELDS, {"service": "195"}, "inch")


@pytest.fixture
def some_store(tmp_path_factory: pytest.TempPathFactory) -> JobStore:
    from axlewright.records import open_store

    return open_store(tmp_path_factory.mktemp("forms"))


@pytest.mark.parametrize("name", ["position", "drive", "coast", "backlash"])
def test_a_banana_in_any_position_is_said_there(some_store: JobStore, name: str) -> None:
    typed = {"number": "7", "design": "TY-222", "position-0": "0", "drive-0": "30", f"{name}-3": "banana"}
    with pytest.raises(FieldError) as caught:
        batch.rolls_of(typed, some_store, "inch", who="tester")
    assert caught.value.field == f"{name}-3"
    assert "Position 4" in str(caught.value)


@pytest.mark.parametrize("name", ["number", "design", "sets"])
def test_names_that_are_not_known_are_refused(some_store: JobStore, name: str) -> None:
    if name == "number":
        typed = {"number": "x" * 41, "design": "TY-222", "position-0": "0", "drive-0": "30"}
        with pytest.raises(InputError, match="40 characters"):
            batch.rolls_of(typed, some_store, "inch", who="tester")
        return
    typed = {"design": "TY-222", "place": "under_head", "carriers": "C-1 1.5 mm", name: "banana"}
    with pytest.raises(FieldError, match="banana"):
        matching.match_answer(some_store, typed, "inch")
