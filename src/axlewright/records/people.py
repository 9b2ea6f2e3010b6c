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
import re
from dataclasses import replace
from datetime import timedelta
from typing import Final, cast

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from axlewright.errors import RecordError
from axlewright.language import Text, _, joined, n_
from axlewright.records.chain import utc_now
from axlewright.records.database import Sessions, plain_text
from axlewright.records.models import PersonRow
from axlewright.records.types import ROLES, Person, Role

RIGHTS: Final[dict[Role, frozenset[str]]] = {
    "technician": frozenset({"sign"}),
    "lead": frozenset({"sign", "waive"}),
    "instructor": frozenset({"sign", "waive"}),
    "admin": frozenset({"sign", "waive", "people"}),
}
"""What each role may do beyond entering readings, which everybody may."""
RIGHT_WORDS: Final = {"sign": n_("sign"), "waive": n_("waive"), "people": n_("change people")}

WRONG_TRIES: Final = 5
LOCK_TIME: Final = timedelta(minutes=5)
PIN_HASH: Final = re.compile(r"scrypt\$16384\$8\$1\$[A-Za-z0-9+/]{22}==\$[A-Za-z0-9+/]{43}=")
"""What a kept hash looks like; anything else is not computed, whoever wrote it."""
_COST, _BLOCK, _PARALLEL, _LENGTH = 2**14, 8, 1, 32


def hash_pin(pin: str, salt: bytes | None = None) -> str:
    """Return the salted scrypt hash of a PIN as text, with its parameters."""
    salt = os.urandom(16) if salt is None else salt
    digest = hashlib.scrypt(pin.encode("utf-8"), salt=salt, n=_COST, r=_BLOCK, p=_PARALLEL, dklen=_LENGTH)
    parts = ("scrypt", str(_COST), str(_BLOCK), str(_PARALLEL), _write(salt), _write(digest))
    return "$".join(parts)


def pin_fits(pin: str, kept: str) -> bool:
    """Return whether the PIN belongs to the kept hash."""
    if not PIN_HASH.fullmatch(kept):
        raise RecordError(
            _("the kept PIN was changed"), where="PIN", fix=_("set it again: axlewright people set-pin")
        )
    _rest, cost, block, parallel, salt, digest = kept.split("$")
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
        raise RecordError(_("a PIN is 4 to 12 digits"), where="PIN", fix=_("type digits only"))
    return pin


class People:
    """The people who work here; reached as ``store.people``."""

    def __init__(self, sessions: Sessions) -> None:
        self._sessions = sessions

    def add(self, name: str, role: Role, pin: str) -> Person:
        """Add a person; the name must be new.

        Where nobody is an admin, the person is made one whatever `role` says, so that nobody is locked out
        of entering people; `Person.note` of the answer says so.
        """
        name = plain_text(name, _("name"), required=True, longest=80)
        if role not in ROLES:
            raise RecordError(
                _("'{role}' is no role").format(role=role),
                where=_("role"),
                fix=_("use {roles}").format(roles=", ".join(ROLES)),
            )
        kept = hash_pin(_checked_pin(pin))
        with self._sessions.writing() as session:
            if session.get(PersonRow, name) is not None:
                raise RecordError(
                    _("'{name}' is here already").format(name=name),
                    where=_("name"),
                    fix=_("choose another name"),
                )
            note: Text = ""
            if role != "admin" and not _other_admin(session, name):
                note = _(
                    "{name} is the first person who may enter people, so the role is admin, not {role}"
                ).format(name=name, role=role)
                role = "admin"
            row = PersonRow(
                name=name, role=role, pin_hash=kept, active=True, wrong_tries=0, locked_until=None
            )
            session.add(row)
            return replace(_person(row), note=note)

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
        """Give a person another role; the last admin stays one."""
        if role not in ROLES:
            raise RecordError(
                _("'{role}' is no role").format(role=role),
                where=_("role"),
                fix=_("use {roles}").format(roles=", ".join(ROLES)),
            )
        with self._sessions.writing() as session:
            row = _known(session, name)
            if role != "admin":
                _keep_an_admin(session, row)
            row.role = role
            return _person(row)

    def set_active(self, name: str, active: bool) -> Person:
        """Let a person sign or not; what they signed stays, and the last admin does."""
        with self._sessions.writing() as session:
            row = _known(session, name)
            if not active:
                _keep_an_admin(session, row)
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
        with self._sessions.reading() as session:
            row = _known(session, name, lock=False)
            _refuse_locked(row)
            kept = row.pin_hash
        fits = pin_fits(pin, kept)  # slow on purpose: nobody else waits for it
        with self._sessions.writing() as session:
            row = _known(session, name)
            _refuse_locked(row)  # tries made at the same time count as well
            now = utc_now()
            right = row.active and fits and row.pin_hash == kept
            if right:
                row.wrong_tries, row.locked_until = 0, None
            else:
                row.wrong_tries += 1
                if row.wrong_tries >= WRONG_TRIES:
                    row.wrong_tries, row.locked_until = 0, now + LOCK_TIME
            person = _person(row)
        if not right:
            raise RecordError(_("the PIN is wrong"), where="PIN", fix=_("type it again"))
        return person

    def require(self, name: str, pin: str, right: str) -> Person:
        """Return the person if the PIN is right and the role has the right "sign", "waive" or "people"."""
        person = self.check_pin(name, pin)
        if right not in RIGHTS[person.role]:
            able = joined(*(_(role) for role, rights in RIGHTS.items() if right in rights), between=", ")
            raise RecordError(
                _("a {role} may not {right}").format(role=_(person.role), right=_(RIGHT_WORDS[right])),
                where=person.name,
                fix=_("ask: {able}").format(able=able),
            )
        return person


def _refuse_locked(row: PersonRow) -> None:
    now = utc_now()
    if row.locked_until is not None and row.locked_until > now:
        minutes = -(-(row.locked_until - now).total_seconds() // 60)
        raise RecordError(
            _("too many wrong PINs for {name}").format(name=row.name),
            where="PIN",
            fix=_("wait {minutes} min").format(minutes=int(minutes)),
        )


def _other_admin(session: Session, name: str) -> bool:
    query = select(PersonRow.name).where(PersonRow.role == "admin", PersonRow.active, PersonRow.name != name)
    return session.scalars(query.with_for_update()).first() is not None


def _keep_an_admin(session: Session, row: PersonRow) -> None:
    if row.role == "admin" and row.active and not _other_admin(session, row.name):
        raise RecordError(
            _("{name} is the only admin").format(name=row.name),
            where=_("role"),
            fix=_("make somebody else an admin first"),
        )


def _known(session: Session, name: str, *, lock: bool = True) -> PersonRow:
    query = select(PersonRow).where(PersonRow.name == name.strip())
    row = session.scalar(query.with_for_update() if lock else query)
    if row is None:
        raise RecordError(
            _("nobody is called '{strip}'").format(strip=name.strip()),
            where=_("name"),
            fix=_("choose from the list"),
        )
    return row
