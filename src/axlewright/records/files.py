"""Photos and recordings beside the database, named by what is in them."""

from __future__ import annotations

import os
import re
import tempfile
from pathlib import Path
from typing import Final

from sqlalchemy import select

from axlewright.errors import RecordError
from axlewright.language import _
from axlewright.records.chain import sha256_hex, utc_now
from axlewright.records.database import Sessions, insert_once
from axlewright.records.models import FileRow
from axlewright.records.types import StoredFile

MAX_FILE_BYTES: Final = 512 * 1024 * 1024
SUFFIX: Final = re.compile(r"\.[a-z0-9]{1,8}")
SHA256: Final = re.compile(r"[0-9a-f]{64}")


def write_atomically(path: Path, data: bytes) -> None:
    """Write a file so that it is there as a whole or not at all, even if the power fails."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".part-")
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(data)
            out.flush()
            os.fsync(out.fileno())
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Make the folder's own list of files durable, on systems where that is possible."""
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


class Files:
    """Files by content hash; reached as ``store.store_file`` and ``store.read_file``."""

    def __init__(self, sessions: Sessions, folder: Path) -> None:
        self._sessions = sessions
        self.folder = folder / "files"

    def path(self, sha256: str, suffix: str) -> Path:
        """Return where the file with this hash and suffix lies."""
        if not SHA256.fullmatch(sha256) or (suffix and not SUFFIX.fullmatch(suffix)):
            raise RecordError(
                _("this is not the name of a stored file"), where=_("file"), fix=_("use its SHA-256")
            )
        return self.folder / sha256[:2] / f"{sha256}{suffix}"

    def write(self, data: bytes, suffix: str) -> StoredFile:
        """Write the bytes unless they are there already, whole; enter nothing in the database."""
        suffix = suffix.lower()
        if suffix and not suffix.startswith("."):
            suffix = f".{suffix}"
        if suffix and not SUFFIX.fullmatch(suffix):
            raise RecordError(
                _("'{suffix}' is no file ending").format(suffix=suffix),
                where=_("file"),
                fix=_("use one like .jpg or .wav"),
            )
        if len(data) > MAX_FILE_BYTES:
            raise RecordError(
                _("the file has {count} MB").format(count=len(data) >> 20),
                where=_("file"),
                fix=_("at most {max_file_bytes} MB fit").format(max_file_bytes=MAX_FILE_BYTES >> 20),
            )
        sha256 = sha256_hex(data)
        path = self.path(sha256, suffix)
        try:
            if not (path.is_file() and path.stat().st_size == len(data) and path.read_bytes() == data):
                path.parent.mkdir(parents=True, exist_ok=True)
                write_atomically(path, data)
        except OSError as problem:
            raise RecordError(
                _("the file cannot be written ({value})").format(value=problem.strerror or str(problem)),
                where=str(path.parent),
                fix=_("check free space and permissions"),
            ) from None
        return StoredFile(sha256, suffix, len(data))

    def store(self, data: bytes, suffix: str) -> StoredFile:
        """Keep the bytes; the same content is kept once, under the ending it came with first."""
        with self._sessions.reading() as session:
            known = session.get(FileRow, sha256_hex(data))
        stored = self.write(data, known.suffix if known else suffix)
        if known is None:
            with self._sessions.writing() as session:
                insert_once(
                    session,
                    FileRow(sha256=stored.sha256, suffix=stored.suffix, size=stored.size, added_at=utc_now()),
                )
        return stored

    def find(self, sha256: str) -> StoredFile:
        """Return what is known of a file."""
        with self._sessions.reading() as session:
            row = session.get(FileRow, sha256)
            if row is None:
                raise RecordError(
                    _("there is no file {sha256}…").format(sha256=sha256[:12]),
                    where=_("file"),
                    fix=_("store it first"),
                )
            return StoredFile(row.sha256, row.suffix, row.size)

    def read(self, sha256: str) -> bytes:
        """Return the bytes of a file after checking that they still have their hash."""
        stored = self.find(sha256)
        path = self.path(stored.sha256, stored.suffix)
        try:
            data = path.read_bytes()
        except OSError:
            raise RecordError(
                _("the stored file is missing"), where=str(path), fix=_("restore a backup")
            ) from None
        if sha256_hex(data) != sha256:
            raise RecordError(_("the stored file was changed"), where=str(path), fix=_("restore a backup"))
        return data

    def list(self) -> list[StoredFile]:
        """Return all files."""
        with self._sessions.reading() as session:
            rows = session.scalars(select(FileRow).order_by(FileRow.sha256))
            return [StoredFile(row.sha256, row.suffix, row.size) for row in rows]
