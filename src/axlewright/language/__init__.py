"""The words on screen and paper, in the person's language.

English is the language the program is written in; the other languages are gettext catalogues in
`catalogs/` (`<language>.po`). A message is translated where it is made, in the language chosen for the
request or command at hand, so that a room says `_("Needs {length} more.").format(length=shown)` and never
puts parts of sentences together.
"""

from __future__ import annotations

import gettext
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from functools import lru_cache
from importlib import resources
from io import BytesIO
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from babel.messages import Catalog

__all__ = [
    "SOURCE_LANGUAGE",
    "Shown",
    "_",
    "accepted",
    "chosen",
    "decimal_sign",
    "from_environment",
    "languages",
    "n_",
    "own_name",
    "plural",
    "script_words",
    "using_language",
    "with_decimal_sign",
]

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
    from babel import Locale

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
def _decimal_sign(language: str) -> str:
    from babel.numbers import get_decimal_symbol

    return get_decimal_symbol(language)


def decimal_sign() -> str:
    """Give the decimal sign of the chosen language: a point or a comma."""
    return "." if _chosen.get() == SOURCE_LANGUAGE else _decimal_sign(_chosen.get())


class Shown(float):
    """A number that is shown to a person: ``f"{Shown(0.127):.3f} mm"`` is "0,127 mm" in German.

    It formats itself as a float does, with the decimal sign of the language chosen at that moment and the
    minus sign "−"; what rounds to zero has no sign. Not for what a program reads again: JSON, addresses,
    drawings, values of number fields.
    """

    def __format__(self, spec: str) -> str:
        text = super().__format__(spec)
        if text.strip("+-0.% ") == "":
            text = re.sub("[+-]", "", text)
        return re.sub(r"(?<![eE])-", "−", text).replace(".", decimal_sign())


def with_decimal_sign(text: str) -> str:
    """Give a kept text such as "0.001 in" the decimal sign of the chosen language."""
    return re.sub(r"(?<=\d)\.(?=\d)", decimal_sign(), text)


def from_environment(environment: Mapping[str, str]) -> str:
    """Choose the language of a command from the environment.

    Parameters
    ----------
    environment : mapping of str to str
        ``AXLEWRIGHT_LANGUAGE`` comes first, then ``LC_ALL``, ``LC_MESSAGES`` and ``LANG`` in POSIX's order
        of precedence (POSIX.1-2017, Base Definitions, 8.2), such as ``de_DE.UTF-8``.

    Returns
    -------
    str
        One of `languages`; the program's own where nothing fits.
    """
    for name in ("AXLEWRIGHT_LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG"):
        text = environment.get(name, "").strip()
        if text:
            wanted = text.partition(".")[0].partition("@")[0].replace("_", "-").partition("-")[0].lower()
            return wanted if wanted in languages() else SOURCE_LANGUAGE
    return SOURCE_LANGUAGE


def accepted(header: str) -> str:
    """Choose the language of a page from what a browser says its reader reads.

    Parameters
    ----------
    header : str
        The ``Accept-Language`` field of a request (RFC 9110, 12.5.4), such as ``de-CH, en;q=0.7``.

    Returns
    -------
    str
        One of `languages`; the program's own where nothing fits.
    """
    best, weight = SOURCE_LANGUAGE, 0.0
    for item in header[:2_000].split(",")[:40]:
        tag, _sep, parameters = item.partition(";")
        language = tag.strip().partition("-")[0].lower()
        quality = 1.0
        for parameter in parameters.split(";"):
            name, _sep, value = parameter.partition("=")
            if name.strip().lower() == "q":
                try:
                    quality = float(value)
                except ValueError:
                    quality = 0.0
        if language in languages() and weight < quality <= 1.0:
            best, weight = language, quality
    return best


@lru_cache(maxsize=8)
def _kept(language: str) -> Catalog:
    from babel.messages.pofile import read_po

    text = resources.files(__name__).joinpath("catalogs", f"{language}.po").read_bytes()
    return read_po(BytesIO(text), locale=language)


@lru_cache(maxsize=8)
def _catalogue(language: str) -> gettext.NullTranslations:
    if language == SOURCE_LANGUAGE:
        return gettext.NullTranslations()
    from babel.messages.mofile import write_mo

    compiled = BytesIO()
    write_mo(compiled, _kept(language))
    compiled.seek(0)
    return gettext.GNUTranslations(compiled)


@lru_cache(maxsize=8)
def script_words(language: str) -> Mapping[str, str | list[str]]:
    """Give the translations of the messages that stand in the page's own scripts.

    Returns
    -------
    mapping
        From the message to its translation; where the wording depends on a number, from the message for
        one to the list of forms. Empty for the program's own language.
    """
    if language == SOURCE_LANGUAGE:
        return {}
    out: dict[str, str | list[str]] = {}
    for message in _kept(language):
        in_script = any(str(place).endswith(".js") for place, _line in message.locations)
        if not in_script or message.fuzzy or not message.id:
            continue
        if isinstance(message.id, str):
            if message.string:
                out[message.id] = str(message.string)
        elif message.string and all(message.string):
            out[str(message.id[0])] = [str(form) for form in message.string]
    return out


def _(message: str) -> str:
    """Translate a message into the chosen language; without a translation it stays as it is."""
    return _catalogue(_chosen.get()).gettext(message) if message else ""


def plural(one: str, many: str, count: int) -> str:
    """Translate a message whose wording depends on a number."""
    return _catalogue(_chosen.get()).ngettext(one, many, count)


def n_(message: str) -> str:
    """Mark a message that stands in a table and is translated with `_` where it is shown."""
    return message
