"""Every message of the program is in the catalogues, and translations keep its places for values."""

from __future__ import annotations

import string
from io import BytesIO
from pathlib import Path

import pytest
from babel.messages import Catalog, Message
from babel.messages.pofile import read_po

from axlewright.language import (
    SOURCE_LANGUAGE,
    _,
    accepted,
    chosen,
    from_environment,
    languages,
    own_name,
    plural,
    script_words,
    using_language,
)
from axlewright.language.collecting import (
    CATALOGS,
    TEMPLATE,
    as_text,
    brought_up_to_date,
    collect,
    translated,
)

OTHERS = [language for language in languages() if language != SOURCE_LANGUAGE]


def kept(path: Path) -> Catalog:
    return read_po(BytesIO(path.read_bytes()), locale=path.stem if path.suffix == ".po" else None)


def forms(text: str | tuple[str, ...] | list[str] | None) -> tuple[str, ...]:
    return (text,) if isinstance(text, str) else tuple(text or ())


def places(text: str) -> list[str]:
    return sorted(
        name for _before, name, _spec, _conversion in string.Formatter().parse(text) if name is not None
    )


def names(catalogue: Catalog) -> set[tuple[str, ...]]:
    return {forms(message.id) for message in catalogue if message.id}


def messages(language: str) -> list[Message]:
    return [m for m in kept(CATALOGS / f"{language}.po") if m.id]


def test_there_is_a_second_language() -> None:
    assert "de" in OTHERS
    assert own_name("de") == "Deutsch"


def test_the_template_holds_every_message_of_the_program() -> None:
    missing = names(collect()) - names(kept(TEMPLATE))
    left_over = names(kept(TEMPLATE)) - names(collect())
    assert (missing, left_over) == (set(), set()), "run: python tasks.py words"


@pytest.mark.parametrize("language", OTHERS)
def test_a_catalogue_holds_every_message_of_the_template(language: str) -> None:
    assert names(kept(CATALOGS / f"{language}.po")) == names(kept(TEMPLATE)), "run: python tasks.py words"


@pytest.mark.parametrize("language", OTHERS)
def test_a_translation_keeps_the_places_for_values_and_links(language: str) -> None:
    for message in messages(language):
        source = forms(message.id)
        for form in filter(None, forms(message.string)):
            # The form for one may leave the number out.
            allowed = [places(text) for text in source]
            assert places(form) in allowed, (source, form)
            assert form.count("[") == source[0].count("["), (source, form)


@pytest.mark.parametrize("language", OTHERS)
def test_every_message_is_translated(language: str) -> None:
    left = [forms(m.id)[0] for m in messages(language) if not translated(m)]
    assert left == [], f"{len(left)} messages wait for a translation"


def test_collecting_finds_python_templates_and_scripts(tmp_path: Path) -> None:
    for name, text in (
        ("room.py", 'a = _("in Python {n}")\nb = plural("{count} tooth", "{count} teeth", 2)\n'),
        (
            "web/templates/a.html",
            '<p>{{ _("in a page") }}</p>{% if x %}{{ _("[a link] in it")|linked("/") }}{% endif %}',
        ),
        ("web/static/js/a.js", 'import { _ } from "./words.js";\nsay(_("in a script"));\n'),
        ("web/static/js/vendor/b.js", '_("not ours");\n'),
    ):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    found = names(collect(tmp_path))
    assert found == {
        ("in Python {n}",),
        ("{count} tooth", "{count} teeth"),
        ("in a page",),
        ("[a link] in it",),
        ("in a script",),
    }


def test_a_new_message_comes_in_untranslated_and_an_old_one_falls_out(tmp_path: Path) -> None:
    before = Catalog(locale="de", charset="utf-8")
    before.add("kept", "behalten")
    before.add("gone", "weg")
    path = tmp_path / "de.po"
    path.write_bytes(as_text(before))
    template = Catalog(charset="utf-8")
    template.add("kept")
    template.add("gone now")
    path.write_bytes(brought_up_to_date(path, template))
    after = {m.id: m.string for m in kept(path) if m.id}
    assert after == {"kept": "behalten", "gone now": ""}
    assert b'gone"' not in path.read_bytes()


@pytest.mark.parametrize(
    ("header", "language"),
    [
        ("", "en"),
        ("de", "de"),
        ("de-CH, en;q=0.7", "de"),
        ("en-GB,en;q=0.9,de;q=0.8", "en"),
        ("fr, de;q=0.5, en;q=0.4", "de"),
        ("de;q=0, en", "en"),
        ("de;q=abc", "en"),
        ("fr", "en"),
        ("*", "en"),
    ],
)
def test_the_browsers_wish_is_followed(header: str, language: str) -> None:
    assert accepted(header) == language


@pytest.mark.parametrize(
    ("environment", "language"),
    [
        ({}, "en"),
        ({"LANG": "de_DE.UTF-8"}, "de"),
        ({"LANG": "C.UTF-8"}, "en"),
        ({"LANG": "en_GB.UTF-8", "LC_ALL": "de_AT@euro"}, "de"),
        ({"LANG": "de_DE.UTF-8", "AXLEWRIGHT_LANGUAGE": "en"}, "en"),
        ({"AXLEWRIGHT_LANGUAGE": "de"}, "de"),
        ({"AXLEWRIGHT_LANGUAGE": "xx"}, "en"),
    ],
)
def test_a_command_follows_the_environment(environment: dict[str, str], language: str) -> None:
    assert from_environment(environment) == language


def test_the_language_holds_inside_the_block_only() -> None:
    assert chosen() == "en"
    with using_language("de"):
        assert chosen() == "de"
        assert str(_("Settings")) == "Einstellungen"
        with using_language("xx"):
            assert str(_("Settings")) == "Settings"
    assert str(_("Settings")) == "Settings"
    assert str(_("")) == ""
    assert str(plural("{count} tooth", "{count} teeth", 2)) == "{count} teeth"


def test_the_scripts_get_their_own_messages_and_no_others() -> None:
    assert script_words("en") == {}
    words = script_words("de")
    assert words["Throw it away"] == "Wegwerfen"
    assert "Settings" not in words
    assert all(isinstance(forms_, str) or len(forms_) == 2 for forms_ in words.values())
