"""Designs a job can use: those that come with the program, and those the shop has put in its folder."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from axlewright.errors import DesignError, InputError
from axlewright.language import _

if TYPE_CHECKING:
    from axlewright.gearset import GearSetDesign
    from axlewright.records import Job, JobStore

FOLDER: Final = "designs"
LARGEST_FILE: Final = 64 * 1024
NAME: Final = re.compile(r"[A-Za-z0-9._-]{1,60}")


@lru_cache(maxsize=64)
def _parsed(text: str, where: str) -> GearSetDesign:
    from axlewright.gearset import parse_design

    return parse_design(text, where=where)


def own_folder(store: JobStore) -> Path:
    """Return the folder of the shop's own designs."""
    return store.folder / FOLDER


def design_names(store: JobStore) -> list[str]:
    """Return all names, the shop's own first."""
    from axlewright.gearset import shipped_designs

    own = sorted(p.stem for p in own_folder(store).glob("*.toml")) if own_folder(store).is_dir() else []
    return own + [n for n in shipped_designs() if n not in own]


def find_design(store: JobStore, name: str) -> GearSetDesign:
    """Return a design by name.

    Raises
    ------
    DesignError
        When there is none; a path is never followed.
    """
    from axlewright.gearset import load_design

    for known in design_names(store):
        if known.casefold() == name.casefold():
            path = own_folder(store) / f"{known}.toml"
            if path.is_file():
                return _parsed(path.read_text(encoding="utf-8"), known)
            return load_design(known)
    raise DesignError(
        _("no design '{name}'").format(name=name),
        where=_("design"),
        fix=_("use one of {design_names}").format(design_names=", ".join(design_names(store))),
    )


def is_own(store: JobStore, name: str) -> bool:
    """Whether a design is one of the shop's own."""
    return (own_folder(store) / f"{name}.toml").is_file()


def design_of_job(store: JobStore, job: Job) -> GearSetDesign | None:
    """Return the design a job was started with: the text kept in the job, else the one of that name."""
    text = store.design_text(job.number)
    try:
        if text.strip():
            return _parsed(text, job.design_name)
        return find_design(store, job.design_name)
    except DesignError:
        return None


def put_design(store: JobStore, data: bytes) -> GearSetDesign:
    """Check a design file and keep it under its own name.

    Raises
    ------
    DesignError
        When it is no design, or its name cannot be a file name.
    """
    if len(data) > LARGEST_FILE:
        raise DesignError(
            _("the file is too large"), where=_("design file"), fix=_("a design has a few dozen lines")
        )
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise DesignError(
            _("is no text file"), where=_("design file"), fix=_("save it as UTF-8 text")
        ) from error
    design = _parsed(text, "design file")
    from axlewright.contact.once import write_atomically
    from axlewright.gearset import build_geometry, shipped_designs

    if not NAME.fullmatch(design.name) or design.name.startswith("."):
        raise DesignError(
            _("name '{name}'").format(name=design.name[:80]),
            where=_("design file"),
            fix=_("use letters, digits, hyphen and underscore, 60 at most"),
        )
    folded = design.name.casefold()
    if folded in {name.casefold() for name in shipped_designs()}:
        raise DesignError(
            _("'{name}' comes with the program").format(name=design.name),
            where=_("design file"),
            fix=_("give yours another name"),
        )
    build_geometry(design)
    folder = own_folder(store)
    for other in folder.glob("*.toml") if folder.is_dir() else ():
        if other.stem.casefold() == folded and other.stem != design.name:
            raise DesignError(
                _("'{stem}' is there already").format(stem=other.stem),
                where=_("design file"),
                fix=_("write the name the same way"),
            )
    write_atomically(folder / f"{design.name}.toml", text.encode())
    return design


def put_typed_design(store: JobStore, fields: Mapping[str, Any]) -> GearSetDesign:
    """Keep a design of the few fields that are known; all else is estimated and says so.

    Parameters
    ----------
    fields : mapping
        Of a design file, such as name, tooth counts and ring-gear diameter [mm].

    Raises
    ------
    InputError
        When there is a design of this name: a typed one replaces nothing.
    DesignError
        See `put_design`.
    """
    name = str(fields["name"])
    if name.casefold() in {known.casefold() for known in design_names(store)}:
        raise InputError(_("'{stem}' is there already").format(stem=name), fix=_("give yours another name"))
    lines = (f"{key} = {json.dumps(value, ensure_ascii=False)}\n" for key, value in fields.items())
    return put_design(store, "".join(lines).encode())


def start_job(
    store: JobStore,
    *,
    design_name: str,
    vehicle: str = "",
    complaint: str = "",
    set_number: str = "",
    reference: str = "",
    who: str = "",
    uid: str = "",
) -> Job:
    """Start a job on a design; the design's text is kept with it, so that it never changes under the job.

    The same `uid`, 32 hexadecimal digits, again returns the first job and writes nothing.
    """
    from axlewright.gearset import design_to_toml

    design = find_design(store, design_name)
    return store.new_job(
        design_name=design.name,
        design_text=design_to_toml(design),
        vehicle=vehicle.strip(),
        complaint=complaint.strip(),
        set_number=set_number.strip(),
        reference=reference.strip(),
        who=who,
        uid=uid,
    )
