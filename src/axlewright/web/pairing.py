"""Phones and tablets of the shop: invited on the page's own machine, known by a cookie, taken off a list.

A device is let in by a code that only somebody at the page's own machine can make and see. The code holds for
some minutes and for one device; wrong ones are counted. Afterwards the device carries a random key in a
cookie; the file keeps its digest alone, so that a copy of the file lets nobody in.
"""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import json
import os
import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Final

from axlewright.errors import AxlewrightError
from axlewright.language import eager as _

DEVICE_COOKIE: Final = "axlewright-device"
DEVICES_FILE: Final = "page.devices.json"
PIN_DIGITS: Final = 6
INVITATION_S: Final = 300.0
TRIES_EACH: Final = 5
"""Wrong codes one address may send for one invitation."""
TRIES_ALL: Final = 20
"""Wrong codes after which an invitation ends; of a million PINs a guesser has seen twenty."""
UNUSED_S: Final = 180 * 24 * 3600.0
"""A device that did not ask for so long has to be paired anew."""
NOTE_EVERY_S: Final = 60.0
LARGEST_NAME: Final = 40


class PairingError(AxlewrightError):
    """A code that lets no device in."""


@dataclass(frozen=True, slots=True)
class Device:
    """A paired device.

    Attributes
    ----------
    uid : str
        Names the device on the list.
    name : str
        As typed when it was paired.
    digest : str
        SHA-256 of the key in its cookie.
    paired_at, seen_at : float
        Seconds since 1970, UTC.
    """

    uid: str
    name: str
    digest: str
    paired_at: float
    seen_at: float


@dataclass(slots=True)
class Invitation:
    """What lets one device in.

    Attributes
    ----------
    pin : str
        To be typed.
    key : str
        In the link behind the square code.
    until : float
        Seconds since 1970.
    wrong : dict of str to int
        Wrong codes by address.
    """

    pin: str
    key: str
    until: float
    wrong: dict[str, int] = field(default_factory=dict)


def is_own_machine(client: str, server: str = "") -> bool:
    """Whether a connection comes from the machine the page runs on.

    Parameters
    ----------
    client, server : str
        Addresses of both ends, as the connection has them; what a request claims does not count.
    """
    try:
        address = ipaddress.ip_address(client.partition("%")[0])
    except ValueError:
        return False
    mapped = getattr(address, "ipv4_mapped", None)
    return (mapped or address).is_loopback or client == server


class Pairing:
    """Paired devices of one store.

    Parameters
    ----------
    folder : Path
        The list is kept in it, readable by its owner alone.
    clock : callable, optional
        Seconds since 1970.
    """

    def __init__(self, folder: Path, clock: Callable[[], float] = time.time) -> None:
        self._path = folder / DEVICES_FILE
        self._clock = clock
        self._lock = threading.Lock()
        self._invitation: Invitation | None = None
        self._devices = self._read()

    def _read(self) -> tuple[Device, ...]:
        try:
            told = json.loads(self._path.read_text(encoding="utf-8"))
            return tuple(Device(**one) for one in told)
        except FileNotFoundError:
            return ()
        except (ValueError, TypeError, OSError):
            return ()  # an unreadable list lets nobody in

    def _write(self) -> None:
        fresh = self._path.with_suffix(".new")
        handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            json.dump([asdict(one) for one in self._devices], file)
            file.flush()
            os.fsync(file.fileno())
        os.replace(fresh, self._path)

    def devices(self) -> tuple[Device, ...]:
        """Return the paired devices, the last seen first."""
        now = self._clock()
        with self._lock:
            live = [one for one in self._devices if now - one.seen_at < UNUSED_S]
        return tuple(sorted(live, key=lambda one: -one.seen_at))

    def invite(self) -> Invitation:
        """Make a code for one more device; an earlier one ends."""
        with self._lock:
            self._invitation = Invitation(
                f"{secrets.randbelow(10**PIN_DIGITS):0{PIN_DIGITS}d}",
                secrets.token_urlsafe(18),
                self._clock() + INVITATION_S,
            )
            return self._invitation

    def invitation(self) -> Invitation | None:
        """Return the code that holds now."""
        with self._lock:
            return self._held()

    def end_invitation(self) -> None:
        """Let the code hold no longer."""
        with self._lock:
            self._invitation = None

    def _held(self) -> Invitation | None:
        if self._invitation is not None and self._clock() >= self._invitation.until:
            self._invitation = None
        return self._invitation

    def pair(self, code: str, name: str, address: str) -> str:
        """Let a device in.

        Parameters
        ----------
        code : str
            The PIN, spaces allowed, or the key of the link.
        name : str
            What the device is called on the list.
        address : str
            Where the request came from.

        Returns
        -------
        str
            The key for the device's cookie.

        Raises
        ------
        PairingError
        """
        where, fix = _("code"), _("make a new code on the page's own machine, under Settings")
        given = "".join(code.split()).encode("utf-8", "replace")
        with self._lock:
            held = self._held()
            if held is None:
                raise PairingError(_("no code holds at the moment"), where=where, fix=fix)
            if held.wrong.get(address, 0) >= TRIES_EACH:
                raise PairingError(_("too many wrong codes came from this device"), where=where, fix=fix)
            by_pin = hmac.compare_digest(given, held.pin.encode())
            by_key = hmac.compare_digest(given, held.key.encode())
            if not (by_pin or by_key):
                held.wrong[address] = held.wrong.get(address, 0) + 1
                if sum(held.wrong.values()) >= TRIES_ALL:
                    self._invitation = None
                raise PairingError(
                    _("this code is not right"), where=where, fix=_("read it again from the screen")
                )
            self._invitation = None
            key = secrets.token_urlsafe(32)
            now = self._clock()
            title = " ".join(name.split())[:LARGEST_NAME] or _("a device without a name")
            fresh = Device(secrets.token_hex(8), title, _digest(key), now, now)
            live = tuple(one for one in self._devices if now - one.seen_at < UNUSED_S)
            self._devices = (*live, fresh)
            self._write()
            return key

    def known(self, key: str) -> Device | None:
        """Return the device a key belongs to and note that it was seen."""
        if not key:
            return None
        digest = _digest(key)
        now = self._clock()
        with self._lock:
            for index, one in enumerate(self._devices):
                if hmac.compare_digest(one.digest, digest):
                    if now - one.seen_at >= UNUSED_S:
                        return None
                    if now - one.seen_at >= NOTE_EVERY_S:
                        seen = replace(one, seen_at=now)
                        self._devices = (*self._devices[:index], seen, *self._devices[index + 1 :])
                        self._write()
                        return seen
                    return one
        return None

    def forget(self, uid: str) -> bool:
        """Take a device off the list; whether it was on it."""
        with self._lock:
            left = tuple(one for one in self._devices if one.uid != uid)
            gone = len(left) < len(self._devices)
            if gone:
                self._devices = left
                self._write()
            return gone


def _digest(key: str) -> str:
    return hashlib.sha256(key.encode("utf-8", "replace")).hexdigest()
