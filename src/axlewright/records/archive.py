"""Zip files that can be trusted: written as a whole, read with limits and checked hashes.

Used by backups and by jobs that are carried from one shop to another. The first member,
``manifest.json``, says what the file is and lists every other member with size and SHA-256.
"""

from __future__ import annotations

import io
import json
import os
import struct
import tempfile
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from axlewright.errors import RecordError
from axlewright.language import _
from axlewright.records.chain import canonical_json, sha256_hex
from axlewright.records.files import MAX_FILE_BYTES, sync_folder

MANIFEST: Final = "manifest.json"
MAX_MEMBERS: Final = 2_000_000
MAX_MANIFEST_BYTES: Final = 64 * 1024 * 1024
_PACKED: Final = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_DAMAGE: Final = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    KeyError,
    OSError,
    EOFError,
    RuntimeError,
    ValueError,
)
"""What zipfile throws at a damaged or hostile file packed in one of these two ways."""
_TIME: Final = (1980, 1, 1, 0, 0, 0)  # the same content gives the same bytes


def write_archive(
    path: Path,
    kind: str,
    version: int,
    facts: dict[str, Any],
    members: Iterable[tuple[str, bytes]],
    *,
    overwrite: bool = False,
) -> None:
    """Write a zip file so that it is there as a whole or not at all.

    Parameters
    ----------
    path : Path
        Where to.
    kind, version : str, int
        What the file is and in which form.
    facts : dict
        Further values for the manifest.
    members : iterable of (name, bytes)
        Taken one at a time, so that a large backup need not fit into memory.
    overwrite : bool
        Replace a file that is there; otherwise that is an error.
    """
    if path.exists() and not overwrite:
        raise RecordError(
            _("the file is there already"), where=str(path), fix=_("choose another name or overwrite it")
        )
    part: str | None = None
    try:
        handle, part = tempfile.mkstemp(dir=path.parent, prefix=".part-")
        with os.fdopen(handle, "wb") as out:
            listed = []
            with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as archive:
                for name, data in members:
                    archive.writestr(_info(name), data)
                    listed.append({"name": name, "size": len(data), "sha256": sha256_hex(data)})
                manifest = {"kind": kind, "version": version, **facts, "members": listed}
                archive.writestr(_info(MANIFEST), canonical_json(manifest))
            out.flush()
            os.fsync(out.fileno())
        Path(part).replace(path)
        sync_folder(path.parent)
    except OSError as problem:
        raise RecordError(
            _("the file cannot be written ({value})").format(value=problem.strerror or str(problem)),
            where=str(path),
            fix=_("choose another folder or free some space"),
        ) from None
    finally:
        if part is not None:
            Path(part).unlink(missing_ok=True)


def _info(name: str) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, _TIME)
    info.compress_type = zipfile.ZIP_DEFLATED
    info.external_attr = 0o644 << 16
    return info


class Archive:
    """An opened archive whose members are read with their size and hash checked."""

    def __init__(self, archive: zipfile.ZipFile, manifest: dict[str, Any], where: str) -> None:
        self.manifest = manifest
        self.where = where
        self._archive = archive
        self._listed = {one["name"]: one for one in manifest["members"]}

    def names(self, prefix: str = "") -> list[str]:
        """Return the names of the members that begin so."""
        return [name for name in self._listed if name.startswith(prefix)]

    def read(self, name: str) -> bytes:
        """Return one member, never more than the manifest says it has."""
        if name not in self._listed:
            raise RecordError(
                _("'{name}' is missing").format(name=name), where=self.where, fix=_("make the file again")
            )
        size = self._listed[name]["size"]
        try:
            with self._archive.open(name) as member:
                data = member.read(size + 1)
        except _DAMAGE:
            data = b""
        if len(data) != size or sha256_hex(data) != self._listed[name]["sha256"]:
            raise RecordError(
                _("'{name}' is damaged or was changed").format(name=name),
                where=self.where,
                fix=_("make the file again"),
            )
        return data


@contextmanager
def open_archive(source: Path | bytes, kind: str, newest: int) -> Iterator[Archive]:
    """Open an archive of the kind, or say in one sentence why not."""
    where = str(source) if isinstance(source, Path) else kind
    try:
        stream = io.BytesIO(source) if isinstance(source, bytes) else source.open("rb")
    except OSError as problem:
        raise RecordError(
            _("the file cannot be read ({value})").format(value=problem.strerror or str(problem)),
            where=where,
            fix=_("choose another file"),
        ) from None
    with stream:
        try:
            archive = zipfile.ZipFile(stream)
        except _DAMAGE:
            raise RecordError(
                _("this is no {kind}").format(kind=kind), where=where, fix=_("choose the right file")
            ) from None
        with archive:
            yield Archive(archive, _manifest(archive, kind, newest, where), where)


def _manifest(archive: zipfile.ZipFile, kind: str, newest: int, where: str) -> dict[str, Any]:
    wrong = RecordError(_("this is no {kind}").format(kind=kind), where=where, fix=_("choose the right file"))
    inside = archive.namelist()
    if len(inside) > MAX_MEMBERS or MANIFEST not in inside:
        raise wrong
    if any(one.compress_type not in _PACKED for one in archive.infolist()):
        raise RecordError(
            _("the file is packed in a way that is not taken here"),
            where=where,
            fix=_("make it with axlewright, or pack it as a plain zip (stored or deflated)"),
        )
    try:
        with archive.open(MANIFEST) as member:
            text = member.read(MAX_MANIFEST_BYTES + 1)
        if len(text) > MAX_MANIFEST_BYTES:
            raise wrong
        manifest = json.loads(text)
        if not isinstance(manifest, dict) or manifest.get("kind") != kind:
            raise wrong
        version = manifest["version"]
        listed = manifest["members"]
        fits = isinstance(version, int) and all(
            isinstance(one["name"], str)
            and isinstance(one["sha256"], str)
            and isinstance(one["size"], int)
            and 0 <= one["size"] <= MAX_FILE_BYTES
            for one in listed
        )
    except RecordError:
        raise
    except (*_DAMAGE, TypeError, AttributeError):  # also lists where objects should be
        raise wrong from None
    if not fits:
        raise wrong
    if version > newest:
        raise RecordError(
            _("a newer axlewright wrote this {kind} (form {version}, this one knows {newest})").format(
                kind=kind, version=version, newest=newest
            ),
            where=where,
            fix=_("update axlewright on this machine"),
        )
    names = [one["name"] for one in listed]
    if sorted([*names, MANIFEST]) != sorted(inside):
        raise RecordError(
            _("the file holds more or less than it says"), where=where, fix=_("make the file again")
        )
    return manifest
