"""The words on screen and paper, in the person's language.

English is the language the program is written in; the other languages are gettext catalogues in
`catalogs/` (`<language>.po`). A computation says `_("Needs {length} more.").format(length=Length(0.5))` and
never puts parts of sentences together: that is a `Message` with its values, and it becomes words only where
it is drawn, by `str` or a template, in the language and unit system chosen there. The record keeps a message
with its values (`keep`, `read_kept`), so that what was entered in one language is read in another.
"""

from __future__ import annotations

import gettext
import re
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from importlib import resources
from io import BytesIO
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from babel.messages import Catalog

__all__ = [
    "SOURCE_LANGUAGE",
    "Drawn",
    "Joined",
    "Message",
    "Number",
    "Shown",
    "Text",
    "_",
    "accepted",
    "chosen",
    "decimal_sign",
    "decode",
    "eager",
    "eager_plural",
    "encode",
    "from_environment",
    "joined",
    "keep",
    "keeps_as",
    "languages",
    "local_time",
    "n_",
    "own_name",
    "plural",
    "read_kept",
    "script_words",
    "sentence",
    "using_language",
    "whole_sentence",
    "with_decimal_sign",
    "zoned_time",
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


class Drawn(ABC):
    """What becomes words only where it is drawn: a message, a number, a quantity.

    ``str(it)`` and ``f"{it}"`` draw it in the language and unit system chosen at that moment. Computations
    hand it on undrawn.
    """

    __slots__ = ()

    @abstractmethod
    def __str__(self) -> str: ...

    @abstractmethod
    def to_json(self) -> dict[str, Any]:
        """Return it as plain data; `read_kept` makes it of that again."""

    def __format__(self, spec: str) -> str:
        return format(str(self), spec)

    def __contains__(self, part: str) -> bool:
        return part in str(self)


Text = str | Drawn
"""What stands for words: a text as somebody wrote it, or what becomes one where it is drawn."""

Value = str | int | float | date | Drawn
"""What may stand in a message; a moment is shown in local time, a bare float with the spec in the message."""

_readers: dict[str, Callable[[Mapping[str, Any]], Drawn]] = {}


def keeps_as(key: str, read: Callable[[Mapping[str, Any]], Drawn]) -> None:
    """Say how what is kept as a mapping with this key is read again."""
    _readers[key] = read


def local_time(at: datetime) -> str:
    """Return a moment (with time zone) as local date and time to the minute."""
    return f"{at.astimezone():%Y-%m-%d %H:%M}"


def zoned_time(at: datetime) -> str:
    """Return a moment as `local_time` with the zone's offset from UTC, for paper that travels."""
    offset = at.astimezone().strftime("%z")
    return f"{local_time(at)} UTC" + ("" if offset in ("+0000", "-0000") else f"{offset[:3]}:{offset[3:]}")


def sentence(text: Text) -> str:
    """Draw a text with its first letter large, the rest as it is (German nouns keep theirs).

    A text that begins with a number or a sign is left alone.
    """
    words = str(text)
    return words[:1].upper() + words[1:] if words[:1].islower() and len(words[:1].upper()) == 1 else words


def whole_sentence(text: Text) -> str:
    """Draw a text as `sentence` does, with a full stop where it ends without a sign of its own."""
    words = sentence(text)
    return words if not words or words[-1] in ".?!" else f"{words}."


_PLACE: Final = re.compile(r"\{\{|\}\}|\{([A-Za-z_][A-Za-z0-9_]{0,40})(?::([^{}]{0,8}))?\}")
_SPEC: Final = re.compile(r"[+]?(?:\.\d)?[dfgeE%]?")


def _fill(text: str, values: Mapping[str, Value]) -> str:
    """Put values into a text; a kept message may come from elsewhere, so only plain names are filled."""

    def one(found: re.Match[str]) -> str:
        if found[1] is None:
            return found[0][0]
        if found[1] not in values:
            return found[0]
        value, spec = values[found[1]], found[2] or ""
        if isinstance(value, datetime):
            return local_time(value)
        if isinstance(value, date):
            return value.isoformat()
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            if not _SPEC.fullmatch(spec):
                return str(value)
            return format(Shown(value) if isinstance(value, float) or spec else value, spec)
        return str(value)

    return _PLACE.sub(one, text)


@dataclass(frozen=True, slots=True, eq=False)
class Message(Drawn):
    """A message of the catalogue with its values.

    Attributes
    ----------
    message : str
        The wording in the program's own language, with ``{name}`` where a value stands.
    values : mapping of str to Value
    many : str
        The wording for more than one, empty where the number does not matter.
    count : int
        The number that chooses between `message` and `many`.
    """

    message: str
    values: Mapping[str, Value]
    many: str = ""
    count: int = 1

    def format(self, **values: Value) -> Message:
        """Return the message with these values besides those it has."""
        return Message(self.message, {**self.values, **values}, self.many, self.count)

    def __str__(self) -> str:
        if not self.message:
            return ""
        catalogue = _catalogue(_chosen.get())
        if self.many:
            text = catalogue.ngettext(self.message, self.many, self.count)
        else:
            text = catalogue.gettext(self.message)
        return _fill(text, self.values)

    def __bool__(self) -> bool:
        return bool(self.message)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Message) and self._key() == other._key()

    def __hash__(self) -> int:
        return hash((self.message, self.many, self.count))

    def _key(self) -> tuple[object, ...]:
        return self.message, dict(self.values), self.many, self.count

    def to_json(self) -> dict[str, Any]:
        """Return message and values as plain data."""
        out: dict[str, Any] = {"message": self.message}
        if self.values:
            out["values"] = {name: _plain(value) for name, value in self.values.items()}
        if self.many:
            out |= {"many": self.many, "count": self.count}
        return out


def _read_message(kept: Mapping[str, Any]) -> Message:
    values = kept.get("values", {})
    return Message(
        str(kept["message"]),
        {str(name): _value(value) for name, value in values.items()} if isinstance(values, Mapping) else {},
        str(kept.get("many", "")),
        int(kept.get("count", 1)),
    )


@dataclass(frozen=True, slots=True)
class Number(Drawn):
    """A plain number that is shown to so many places: ``Number(0.127, ".3f")``."""

    value: float
    spec: str = "g"

    def __str__(self) -> str:
        return format(Shown(self.value), self.spec if _SPEC.fullmatch(self.spec) else "g")

    def to_json(self) -> dict[str, Any]:
        """Return value and spec as plain data."""
        return {"number": self.value, "spec": self.spec}


@dataclass(frozen=True, slots=True)
class Joined(Drawn):
    """Several texts one after the other, such as the sentences of a paragraph or the items of a list."""

    parts: tuple[Text, ...]
    between: str = " "

    def __str__(self) -> str:
        return self.between.join(words for words in map(str, self.parts) if words)

    def __bool__(self) -> bool:
        return any(bool(part) for part in self.parts)

    def to_json(self) -> dict[str, Any]:
        """Return the parts as plain data."""
        return {"joined": [_plain(part) for part in self.parts], "between": self.between}


def joined(*parts: Text, between: str = " ") -> Text:
    """Return texts one after the other; empty ones are left out, a single one stays as it is."""
    kept = tuple(part for part in parts if part)
    return kept[0] if len(kept) == 1 else Joined(kept, between) if kept else ""


keeps_as("message", _read_message)
keeps_as("number", lambda kept: Number(float(kept["number"]), str(kept.get("spec", "g"))))
keeps_as(
    "joined",
    lambda kept: Joined(tuple(_text(part) for part in kept["joined"]), str(kept.get("between", " "))),
)


def _plain(value: Value) -> Any:
    if isinstance(value, Drawn):
        return value.to_json()
    if isinstance(value, datetime):
        return {"time": value.isoformat()}
    if isinstance(value, date):
        return {"date": value.isoformat()}
    return value


def _value(kept: Any) -> Value:
    if isinstance(kept, Mapping):
        if "time" in kept:
            return datetime.fromisoformat(str(kept["time"]))
        if "date" in kept:
            return date.fromisoformat(str(kept["date"]))
        return read_kept(kept)
    return kept if isinstance(kept, (str, int, float)) else str(kept)


def _text(kept: Any) -> Text:
    return read_kept(kept)


def keep(text: Text) -> Any:
    """Return a text as the record keeps it: with its values, and beside them the words as shown now.

    Returns
    -------
    str or dict
        A text that somebody typed stays as it is.
    """
    if not isinstance(text, Drawn):
        return text
    return {**text.to_json(), "shown": str(text)}


def read_kept(kept: Any) -> Text:
    """Return what `keep` kept; a plain string, as in older records, stays one.

    What cannot be read again is shown in the words it was kept with.
    """
    if not isinstance(kept, Mapping):
        return str(kept)
    for key, read in _readers.items():
        if key in kept:
            try:
                return read(kept)
            except (KeyError, TypeError, ValueError, OverflowError):
                break
    return str(kept.get("shown", ""))


def eager(message: str) -> str:
    """Translate a message into the chosen language at once; for pages and commands, which draw."""
    return _catalogue(_chosen.get()).gettext(message) if message else ""


def eager_plural(one: str, many: str, count: int) -> str:
    """Translate at once a message whose wording depends on a number."""
    return _catalogue(_chosen.get()).ngettext(one, many, count)


def _(message: str) -> Message:
    """Make a message; its words are chosen where it is drawn."""
    return Message(message, {})


def plural(one: str, many: str, count: int) -> Message:
    """Make a message whose wording depends on a number."""
    return Message(one, {}, many, count)


def n_(message: str) -> str:
    """Mark a message that stands in a table and is made with `_` where it is used."""
    return message


def encode(data: Any) -> Any:
    """Return data for the record: every text in it as `keep` gives it, mappings and lists all through."""
    if isinstance(data, Drawn):
        return keep(data)
    if isinstance(data, Mapping):
        return {str(key): encode(value) for key, value in data.items()}
    if isinstance(data, (list, tuple)):
        return [encode(value) for value in data]
    return data


def decode(data: Any) -> Any:
    """Return what `encode` made of data: texts can be drawn again, the rest is as it was."""
    if isinstance(data, Mapping):
        if "shown" in data and any(key in data for key in _readers):
            return read_kept(data)
        return {key: decode(value) for key, value in data.items()}
    if isinstance(data, (list, tuple)):
        return [decode(value) for value in data]
    return data
