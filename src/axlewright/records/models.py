"""Database tables as SQLAlchemy models; the same on SQLite and PostgreSQL.

Times are text in the form of `axlewright.records.chain.write_time` and payloads are canonical JSON text,
so that both databases give back exactly what was hashed.
"""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import Dialect, ForeignKey, Index, Integer, MetaData, String, Text, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column
from sqlalchemy.types import TypeDecorator

from axlewright.records.chain import read_time, write_time

CONVENTION = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


class Moment(TypeDecorator[datetime]):
    """A moment in UTC with microseconds, kept as sortable text."""

    impl = String(27)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> str | None:
        """Write the moment as text."""
        return None if value is None else write_time(value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> datetime | None:
        """Read the text as a moment."""
        return None if value is None else read_time(value)


class Base(DeclarativeBase):
    """Base of all tables."""

    metadata = MetaData(naming_convention=CONVENTION)
    type_annotation_map = {datetime: Moment, str: Text}  # noqa: RUF012  (SQLAlchemy's own protocol)


class DesignTextRow(Base):
    """The full text of a design file, kept once per content."""

    __tablename__ = "design_texts"
    sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    text: Mapped[str]


class JobRow(Base):
    """The present state of a job; everything in it can be rebuilt from the entries."""

    __tablename__ = "jobs"
    __table_args__ = (Index(None, "state", "changed_at"), {"sqlite_autoincrement": True})
    number: Mapped[int] = mapped_column(Integer, primary_key=True)
    uid: Mapped[str] = mapped_column(String(32), unique=True)
    design_name: Mapped[str]
    design_sha256: Mapped[str] = mapped_column(ForeignKey("design_texts.sha256"))
    vehicle: Mapped[str]
    complaint: Mapped[str]
    set_number: Mapped[str] = mapped_column(index=True)
    reference: Mapped[str]
    state: Mapped[str] = mapped_column(String(16))
    head: Mapped[str] = mapped_column(String(64))
    entry_count: Mapped[int]
    search_text: Mapped[str]
    created_at: Mapped[datetime]
    changed_at: Mapped[datetime] = mapped_column(index=True)


class EntryRow(Base):
    """One line of a job."""

    __tablename__ = "entries"
    __table_args__ = (
        UniqueConstraint("job_number", "seq"),
        UniqueConstraint("job_number", "idempotency_key"),
    )
    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    job_number: Mapped[int] = mapped_column(ForeignKey("jobs.number"))
    seq: Mapped[int]
    kind: Mapped[str] = mapped_column(String(16))
    step: Mapped[str] = mapped_column(String(32))
    payload: Mapped[str]
    who: Mapped[str]
    at: Mapped[datetime]
    instrument: Mapped[str]
    calibrated_on: Mapped[date | None]
    files: Mapped[str]
    idempotency_key: Mapped[str | None]
    supersedes: Mapped[int | None]
    previous: Mapped[str] = mapped_column(String(64))
    hash: Mapped[str] = mapped_column(String(64))


class PersonRow(Base):
    """A person with role and hashed PIN."""

    __tablename__ = "people"
    name: Mapped[str] = mapped_column(String(80), primary_key=True)
    role: Mapped[str] = mapped_column(String(16))
    pin_hash: Mapped[str]
    active: Mapped[bool]
    wrong_tries: Mapped[int]
    locked_until: Mapped[datetime | None]


class InstrumentRow(Base):
    """A measuring instrument."""

    __tablename__ = "instruments"
    name: Mapped[str] = mapped_column(String(80), primary_key=True)
    kind: Mapped[str]
    resolution: Mapped[str]
    calibrated_on: Mapped[date | None]
    due_on: Mapped[date | None]
    uncertainty: Mapped[str]


class StockRow(Base):
    """Spacers or shims of one thickness on the shelf."""

    __tablename__ = "stock"
    __table_args__ = ({"sqlite_autoincrement": True},)
    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    kind: Mapped[str] = mapped_column(String(40), index=True)
    thickness_mm: Mapped[float]
    nominal_mm: Mapped[float | None]
    count: Mapped[int]
    part: Mapped[str]
    place: Mapped[str]
    design_name: Mapped[str]


class StockMoveRow(Base):
    """What went onto the shelf or off it, when, by whom and for which job."""

    __tablename__ = "stock_moves"
    __table_args__ = (UniqueConstraint("idempotency_key"),)
    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    stock_id: Mapped[int] = mapped_column(ForeignKey("stock.id"), index=True)
    change: Mapped[int]
    who: Mapped[str]
    at: Mapped[datetime]
    job_number: Mapped[int | None] = mapped_column(ForeignKey("jobs.number"))
    idempotency_key: Mapped[str | None]


class FileRow(Base):
    """A file beside the database, by its content hash."""

    __tablename__ = "files"
    sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    suffix: Mapped[str] = mapped_column(String(16))
    size: Mapped[int]
    added_at: Mapped[datetime]
