"""Instruments, and spacers and shims on the shelf."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import date

from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from axlewright.errors import ConflictError, RecordError
from axlewright.language import Number, _
from axlewright.records.chain import utc_now
from axlewright.records.database import Sessions, plain_text
from axlewright.records.models import InstrumentRow, StockMoveRow, StockRow
from axlewright.records.types import Instrument, StockItem, StockMove


class Instruments:
    """The measuring instruments; reached as ``store.instruments``."""

    def __init__(self, sessions: Sessions) -> None:
        self._sessions = sessions

    def put(self, instrument: Instrument) -> Instrument:
        """Enter an instrument, or bring the one of that name up to date, such as after a calibration.

        Readings made before keep the calibration date they were made under.
        """
        name = plain_text(instrument.name, _("instrument"), required=True, longest=80)
        values = {
            "kind": plain_text(instrument.kind, _("kind")),
            "resolution": plain_text(instrument.resolution, _("resolution")),
            "calibrated_on": instrument.calibrated_on,
            "due_on": instrument.due_on,
            "uncertainty": plain_text(instrument.uncertainty, _("uncertainty")),
        }
        with self._sessions.writing() as session:
            row = session.get(InstrumentRow, name)
            if row is None:
                session.add(InstrumentRow(name=name, **values))
            else:
                for field, value in values.items():
                    setattr(row, field, value)
        return Instrument(name, **values)  # type: ignore[arg-type]

    def overdue(self, today: date) -> list[Instrument]:
        """Return the instruments whose calibration is due."""
        return [tool for tool in self.list() if tool.due_on is not None and tool.due_on < today]

    def find(self, name: str) -> Instrument | None:
        """Return the instrument of that name, or None."""
        with self._sessions.reading() as session:
            row = session.get(InstrumentRow, name.strip())
            return None if row is None else _instrument(row)

    def list(self) -> list[Instrument]:
        """Return the instruments by name."""
        with self._sessions.reading() as session:
            return [
                _instrument(row)
                for row in session.scalars(select(InstrumentRow).order_by(InstrumentRow.name))
            ]


def _instrument(row: InstrumentRow) -> Instrument:
    return Instrument(
        row.name, row.kind, row.resolution, row.calibrated_on, row.due_on, uncertainty=row.uncertainty
    )


def _item(row: StockRow) -> StockItem:
    return StockItem(
        id=row.id,
        kind=row.kind,
        thickness_mm=row.thickness_mm,
        nominal_mm=row.nominal_mm,
        count=row.count,
        part=row.part,
        place=row.place,
        design_name=row.design_name,
    )


def _done(
    session: Session, key: str | None, same: Callable[[StockMoveRow, StockRow], bool]
) -> StockRow | None:
    """Return the item that was moved with this key before, or None; another move with it is an error."""
    if key is None:
        return None
    move = session.scalar(select(StockMoveRow).where(StockMoveRow.idempotency_key == key))
    if move is None:
        return None
    item = session.get_one(StockRow, move.stock_id)
    if not same(move, item):
        raise ConflictError(
            _("the key '{key}' was used already for something else").format(key=key),
            where=_("stock"),
            fix=_("send the new move with a key of its own"),
        )
    return item


class Stock:
    """Spacers and shims on the shelf; reached as ``store.stock``."""

    def __init__(self, sessions: Sessions) -> None:
        self._sessions = sessions

    def add(
        self,
        kind: str,
        thickness_mm: float,
        *,
        count: int = 1,
        nominal_mm: float | None = None,
        part: str = "",
        place: str = "",
        design_name: str = "",
        who: str = "",
        idempotency_key: str = "",
    ) -> StockItem:
        """Put a new kind of piece on the shelf.

        Parameters
        ----------
        kind : str
            Such as "pinion spacer", "pinion shim", "side shim", "preload spacer".
        thickness_mm : float
            As measured.
        nominal_mm : float, optional
            What the part says it is.
        design_name : str
            Design it fits, empty for any.
        idempotency_key : str
            Adding again with the same key returns the first item as it is now and writes nothing.
        """
        for value, where in ((thickness_mm, _("thickness")), (nominal_mm, _("nominal thickness"))):
            if value is not None and not (math.isfinite(value) and 0 < value < 1000):
                raise RecordError(
                    _("{value} mm is no thickness").format(value=value),
                    where=where,
                    fix=_("give millimetres above 0"),
                )
        if not 0 <= count < 1_000_000:
            raise RecordError(
                _("{count} is no count").format(count=count),
                where=_("count"),
                fix=_("give a whole number from 0"),
            )
        row = StockRow(
            kind=plain_text(kind, _("kind"), required=True, longest=40),
            thickness_mm=float(thickness_mm),
            nominal_mm=nominal_mm,
            count=count,
            part=plain_text(part, _("part"), longest=200),
            place=plain_text(place, _("place"), longest=200),
            design_name=plain_text(design_name, _("design"), longest=200),
        )
        key = plain_text(idempotency_key, _("idempotency key"), longest=200) or None
        person = plain_text(who, _("who"), longest=80)

        mine = (count, None, row.kind, row.thickness_mm)

        def same(move: StockMoveRow, item: StockRow) -> bool:
            return mine == (move.change, move.job_number, item.kind, item.thickness_mm)

        with self._sessions.writing() as session:
            if (first := _done(session, key, same)) is not None:
                return _item(first)
            try:
                with session.begin_nested():
                    session.add(row)
                    session.flush()
                    move = StockMoveRow(stock_id=row.id, change=count, who=person, at=utc_now())
                    move.idempotency_key = key
                    session.add(move)
            except IntegrityError:  # somebody sent the same key at the same time
                if (first := _done(session, key, same)) is None:
                    raise
                return _item(first)
            return _item(row)

    def move(
        self, item_id: int, change: int, *, who: str, job: int | None = None, idempotency_key: str = ""
    ) -> StockItem:
        """Take pieces (`change` below 0) or put some back, and write down who did and for which job.

        Moving again with the same key returns the item as it is now and writes nothing.
        """
        person = plain_text(who, _("who"), required=True, longest=80)
        key = plain_text(idempotency_key, _("idempotency key"), longest=200) or None

        def same(move: StockMoveRow, item: StockRow) -> bool:
            return (item_id, change, job) == (item.id, move.change, move.job_number)

        with self._sessions.writing() as session:
            row = session.scalar(select(StockRow).where(StockRow.id == item_id).with_for_update())
            if row is None:
                raise RecordError(
                    _("there is no stock item {item_id}").format(item_id=item_id),
                    where=_("stock"),
                    fix=_("look at the list"),
                )
            if (first := _done(session, key, same)) is not None:
                return _item(first)
            if row.count + change < 0:
                raise RecordError(
                    _("only {count} of the {kind} {thickness_mm} mm are there").format(
                        count=row.count, kind=_(row.kind), thickness_mm=Number(row.thickness_mm)
                    ),
                    where=_("stock"),
                    fix=_("count the shelf, or take another size"),
                )
            row.count += change
            move = StockMoveRow(stock_id=row.id, change=change, who=person, at=utc_now(), job_number=job)
            move.idempotency_key = key
            session.add(move)
            session.flush()
            return _item(row)

    def moves(self, item_id: int) -> list[StockMove]:
        """Return what went on and off the shelf of one item, oldest first."""
        query = select(StockMoveRow).where(StockMoveRow.stock_id == item_id).order_by(StockMoveRow.id)
        with self._sessions.reading() as session:
            return [StockMove(row.change, row.who, row.at, row.job_number) for row in session.scalars(query)]

    def list(self, *, kind: str = "", design_name: str = "", in_stock_only: bool = False) -> list[StockItem]:
        """Return the pieces, thin ones first; with `design_name` those that fit it or any design."""
        query = select(StockRow).order_by(StockRow.kind, StockRow.thickness_mm, StockRow.id)
        if kind:
            query = query.where(StockRow.kind == kind)
        if design_name:
            query = query.where(StockRow.design_name.in_(("", design_name)))
        if in_stock_only:
            query = query.where(StockRow.count > 0)
        with self._sessions.reading() as session:
            return [_item(row) for row in session.scalars(query)]
