"""The words on screen and paper, in the person's language.

English is the language the program is written in; the other languages are gettext catalogues in
`catalogs/` (`<language>.po`). A message is translated where it is made, in the language chosen for the
request or command at hand, so that a room says `_("Needs {length} more.").format(length=shown)` and never
puts parts of sentences together.
"""

from __future__ import annotations

import gettext
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import lru_cache
from importlib import resources
from io import BytesIO
from typing import Final

from babel import Locale
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po

__all__ = ["SOURCE_LANGUAGE", "_", "chosen", "languages", "n_", "own_name", "plural", "using_language"]

SOURCE_LANGUAGE: Final = "en"
"""The language of the messages in the program itself."""

_chosen: ContextVar[str] = ContextVar("axlewright_language", default=SOURCE_LANGUAGE)


@lru_cache(maxsize=1)
def languages() -> tuple[str, ...]:
    """Name the languages there are, the program's own first.

    Returns
    -------
    tuple of str
        ISO 639-1 codes.
    """
    kept = resources.files(__name__).joinpath("catalogs").iterdir()
    return (SOURCE_LANGUAGE, *sorted(entry.name[:-3] for entry in kept if entry.name.endswith(".po")))


def own_name(language: str) -> str:
    """Give a language's name in that language, as a person who reads no other would look for it."""
    name = Locale.parse(language).get_display_name(language) or language
    return name[:1].upper() + name[1:]


def chosen() -> str:
    """Tell the language messages are made in now."""
    return _chosen.get()


@contextmanager
def using_language(language: str) -> Iterator[None]:
    """Make messages in one language inside the block; an unknown language means the program's own."""
    token = _chosen.set(language if language in languages() else SOURCE_LANGUAGE)
    try:
        yield
    finally:
        _chosen.reset(token)


@lru_cache(maxsize=8)
def _catalogue(language: str) -> gettext.NullTranslations:
    if language == SOURCE_LANGUAGE:
        return gettext.NullTranslations()
    text = resources.files(__name__).joinpath("catalogs", f"{language}.po").read_bytes()
    compiled = BytesIO()
    write_mo(compiled, read_po(BytesIO(text), locale=language))
    compiled.seek(0)
    return gettext.GNUTranslations(compiled)


def _(message: str) -> str:
    """Translate a message into the chosen language; without a translation it stays as it is."""
    return _catalogue(_chosen.get()).gettext(message) if message else ""


def plural(one: str, many: str, count: int) -> str:
    """Translate a message whose wording depends on a number."""
    return _catalogue(_chosen.get()).ngettext(one, many, count)


def n_(message: str) -> str:
    """Mark a message that stands in a table and is translated with `_` where it is shown."""
    return message
