"""Transactions: reading and writing sessions on one database."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import Engine
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session, sessionmaker

from axlewright.errors import RecordError
from axlewright.language import eager as _
from axlewright.records.database import plain_errors
from axlewright.records.models import Base

MAX_TEXT = 20_000


class Sessions:
    """Give out sessions and turn what the database throws into one sentence.

    Parameters
    ----------
    engine : Engine
    place : str
        Folder or server, without password, for messages.
    """

    def __init__(self, engine: Engine, place: str) -> None:
        self.engine = engine
        self.place = place
        self._make = sessionmaker(engine, expire_on_commit=False)

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Open a session that sees one state of the database and writes nothing."""
        with plain_errors(self.place), self._make() as session:
            yield session

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """Open a session that is committed as a whole at the end, or not at all.

        On SQLite it holds the one writing place from its beginning; others wait.
        """
        with plain_errors(self.place), self._make() as session:
            session.connection(execution_options={"writing": True})
            yield session
            session.commit()


def insert_once(session: Session, row: Base) -> None:
    """Insert a row whose key is its content, unless somebody else has just done so."""
    try:
        with session.begin_nested():
            session.add(row)
    except IntegrityError:
        pass  # it is there, which is what was wanted


def plain_text(value: str, where: str, *, required: bool = False, longest: int = MAX_TEXT) -> str:
    """Return the text without surrounding space, or say what is wrong with it.

    Raises
    ------
    RecordError
        Empty where it may not be, too long, or with characters no database takes.
    """
    text = value.strip()
    if required and not text:
        raise RecordError(_("this is empty"), where=where, fix=_("type something"))
    if len(text) > longest:
        raise RecordError(
            _("this is {count} characters long").format(count=len(text)),
            where=where,
            fix=_("at most {longest} fit; shorten it").format(longest=longest),
        )
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        text = "\0"
    if "\0" in text:
        raise RecordError(_("this holds characters that are no text"), where=where, fix=_("type it again"))
    return text
