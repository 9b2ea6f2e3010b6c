"""People with roles and PINs.

A PIN is short, so two things guard it: it is kept only as a salted scrypt hash, and wrong tries lock the
person for a while. Whoever can copy the database can still try all PINs of four digits; the PIN says who
signed, it is no lock for secrets.

References
----------
RFC 7914 (2016), The scrypt Password-Based Key Derivation Function.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import os
from datetime import timedelta
from typing import Final, cast

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from axlewright.errors import RecordError
from axlewright.records.chain import utc_now
from axlewright.records.models import PersonRow
from axlewright.records.session import Sessions, plain_text
from axlewright.records.types import ROLES, Person, Role

RIGHTS: Final[dict[Role, frozenset[str]]] = {
    "technician": frozenset({"sign"}),
    "lead": frozenset({"sign", "waive"}),
    "instructor": frozenset({"sign", "waive"}),
    "admin": frozenset({"sign", "waive", "people"}),
}
"""What each role may do beyond entering readings, which everybody may."""

WRONG_TRIES: Final = 5
LOCK_TIME: Final = timedelta(minutes=5)
_COST, _BLOCK, _PARALLEL, _LENGTH = 2**14, 8, 1, 32


def hash_pin(pin: str, salt: bytes | None = None) -> str:
    """Return the salted scrypt hash of a PIN as text, with its parameters."""
    salt = os.urandom(16) if salt is None else salt
    digest = hashlib.scrypt(pin.encode("utf-8"), salt=salt, n=_COST, r=_BLOCK, p=_PARALLEL, dklen=_LENGTH)
    parts = ("scrypt", str(_COST), str(_BLOCK), str(_PARALLEL), _write(salt), _write(digest))
    return "$".join(parts)


def pin_fits(pin: str, kept: str) -> bool:
    """Return whether the PIN belongs to the kept hash."""
    _, cost, block, parallel, salt, digest = kept.split("$")
    wanted = base64.b64decode(digest)
    found = hashlib.scrypt(
        pin.encode("utf-8"),
        salt=base64.b64decode(salt),
        n=int(cost),
        r=int(block),
        p=int(parallel),
        dklen=len(wanted),
    )
    return hmac.compare_digest(found, wanted)


def _write(data: bytes) -> str:
    return base64.b64encode(data).decode("ascii")


def _person(row: PersonRow) -> Person:
    return Person(row.name, cast(Role, row.role), row.active)


def _checked_pin(pin: str) -> str:
    if not (pin.isascii() and pin.isdigit() and 4 <= len(pin) <= 12):
        raise RecordError("a PIN is 4 to 12 digits", where="PIN", fix="type digits only")
    return pin


class People:
    """The people who work here; reached as ``store.people``."""

    def __init__(self, sessions: Sessions) -> None:
        self._sessions = sessions

    def add(self, name: str, role: Role, pin: str) -> Person:
        """Add a person; the name must be new."""
        name = plain_text(name, "name", required=True, longest=80)
        if role not in ROLES:
            raise RecordError(f"'{role}' is no role", where="role", fix=f"use {', '.join(ROLES)}")
        kept = hash_pin(_checked_pin(pin))
        with self._sessions.writing() as session:
            if session.get(PersonRow, name) is not None:
                raise RecordError(f"'{name}' is here already", where="name", fix="choose another name")
            row = PersonRow(
                name=name, role=role, pin_hash=kept, active=True, wrong_tries=0, locked_until=None
            )
            session.add(row)
            return _person(row)

    def list(self, *, active_only: bool = True) -> list[Person]:
        """Return the people by name."""
        query = select(PersonRow).order_by(PersonRow.name)
        with self._sessions.reading() as session:
            return [_person(row) for row in session.scalars(query) if row.active or not active_only]

    def set_pin(self, name: str, pin: str) -> None:
        """Give a person another PIN and unlock them."""
        kept = hash_pin(_checked_pin(pin))
        with self._sessions.writing() as session:
            row = _known(session, name)
            row.pin_hash, row.wrong_tries, row.locked_until = kept, 0, None

    def set_role(self, name: str, role: Role) -> Person:
        """Give a person another role."""
        if role not in ROLES:
            raise RecordError(f"'{role}' is no role", where="role", fix=f"use {', '.join(ROLES)}")
        with self._sessions.writing() as session:
            row = _known(session, name)
            row.role = role
            return _person(row)

    def set_active(self, name: str, active: bool) -> Person:
        """Let a person sign or not; what they signed stays."""
        with self._sessions.writing() as session:
            row = _known(session, name)
            row.active = active
            return _person(row)

    def any_known(self) -> bool:
        """Return whether anybody is entered at all."""
        with self._sessions.reading() as session:
            return bool(session.scalar(select(func.count()).select_from(PersonRow)))

    def check_pin(self, name: str, pin: str) -> Person:
        """Return the person if the PIN is right.

        Raises
        ------
        RecordError
            Unknown or inactive person, wrong PIN, or locked after five wrong tries for five minutes.
        """
        with self._sessions.writing() as session:
            row = _known(session, name)
            now = utc_now()
            if row.locked_until is not None and row.locked_until > now:
                minutes = -(-(row.locked_until - now).total_seconds() // 60)
                raise RecordError(
                    f"too many wrong PINs for {row.name}", where="PIN", fix=f"wait {minutes:.0f} min"
                )
            right = row.active and pin_fits(pin, row.pin_hash)
            if right:
                row.wrong_tries, row.locked_until = 0, None
            else:
                row.wrong_tries += 1
                if row.wrong_tries >= WRONG_TRIES:
                    row.wrong_tries, row.locked_until = 0, now + LOCK_TIME
            person = _person(row)
        if not right:
            raise RecordError("the PIN is wrong", where="PIN", fix="type it again")
        return person

    def require(self, name: str, pin: str, right: str) -> Person:
        """Return the person if the PIN is right and the role has the right "sign", "waive" or "people"."""
        person = self.check_pin(name, pin)
        if right not in RIGHTS[person.role]:
            able = ", ".join(role for role, rights in RIGHTS.items() if right in rights)
            raise RecordError(f"a {person.role} may not {right}", where=person.name, fix=f"ask: {able}")
        return person


def _known(session: Session, name: str) -> PersonRow:
    row = session.scalar(select(PersonRow).where(PersonRow.name == name.strip()).with_for_update())
    if row is None:
        raise RecordError(f"nobody is called '{name.strip()}'", where="name", fix="choose from the list")
    return row
