"""Designs a job can use: those that come with the program, and those the shop has put in its folder."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from axlewright.errors import DesignError, InputError
from axlewright.language import _, joined, n_
from axlewright.steps.answers import Answers, FieldError
from axlewright.steps.field import Choice, Field
from axlewright.units import System

if TYPE_CHECKING:
    from axlewright.gearset import GearSetDesign
    from axlewright.records import Job, JobStore

FOLDER: Final = "designs"
LARGEST_FILE: Final = 64 * 1024
NAME: Final = re.compile(r"[A-Za-z0-9._-]{1,60}")
START_FIELDS: Final = (
    Field(
        "vehicle",
        n_("Vehicle"),
        "text",
        n_("What stands on the lift."),
        missing=n_("say what stands on the lift"),
    ),
    Field("complaint", n_("Complaint"), "text", n_("In the customer's words, with the speed.")),
    Field(
        "design",
        n_("Gear set design"),
        "choice",
        missing=n_("choose the one that stands on the bench"),
    ),
    Field("set_number", n_("Set number"), "text", n_("If it is known yet.")),
    Field("reference", n_("Your order number"), "text"),
)
"""What a job is started with."""
UNKNOWN_FORM: Final = "unknown"
DESIGN_FIELDS: Final = (
    Field(
        "name",
        n_("Its name"),
        "text",
        n_("Letters, digits, hyphen and underscore, such as my-axle."),
        missing=n_("give it one, such as my-axle"),
    ),
    Field(
        "pinion_teeth",
        n_("Pinion teeth"),
        "count",
        usual=(1, 999),
        missing=n_("count them and type the number"),
    ),
    Field(
        "ring_teeth",
        n_("Ring gear teeth"),
        "count",
        usual=(1, 999),
        missing=n_("count them and type the number"),
    ),
    Field(
        "diameter",
        n_("Ring gear diameter"),
        "length",
        n_("Over the teeth, at the heel; such as 8.74 in or 222 mm."),
        missing=n_("measure it over the teeth, at the heel"),
    ),
    Field(
        "offset",
        n_("Offset between the axes"),
        "length",
        n_(
            "How far the pinion's axis passes the ring gear's; such as 1.5 in or 38 mm. Empty: none, a "
            "spiral-bevel set."
        ),
    ),
    Field(
        "tooth_form",
        n_("Tooth depth from toe to heel"),
        "choice",
        choices=(
            Choice(UNKNOWN_FORM, n_("not known yet")),
            Choice("face-milled", n_("deeper at the heel (face-milled)")),
            Choice("face-hobbed", n_("the same all along (face-hobbed)")),
        ),
        default=UNKNOWN_FORM,
    ),
)
"""What is known of a set when it lies on the bench."""


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


def put_typed_design(store: JobStore, typed: Mapping[str, str], system: System) -> GearSetDesign:
    """Keep a design of the few numbers that are known; all else is estimated and says so.

    Parameters
    ----------
    typed : mapping of str to str
        What was typed into `DESIGN_FIELDS`.

    Raises
    ------
    FieldError
        Something is missing or cannot be read.
    InputError
        When there is a design of this name: a typed one replaces nothing.
    DesignError
        See `put_design`.
    """
    answers = Answers(DESIGN_FIELDS, typed, system)
    answers.need("name", "pinion_teeth", "ring_teeth", "diameter")
    name, offset, form = answers.text("name"), answers.length("offset"), answers.choice("tooth_form")
    if name.casefold() in {known.casefold() for known in design_names(store)}:
        raise InputError(_("'{stem}' is there already").format(stem=name), fix=_("give yours another name"))
    fields = {
        "name": name,
        "pinion_teeth": answers.count("pinion_teeth"),
        "ring_teeth": answers.count("ring_teeth"),
        "ring_outer_diameter_mm": round(answers.length("diameter") or 0.0, 4),
        "offset_mm": None if offset is None else round(offset, 4),
        "tooth_form": None if form == UNKNOWN_FORM else form,
    }
    known = {key: value for key, value in fields.items() if value is not None}
    lines = (f"{key} = {json.dumps(value, ensure_ascii=False)}\n" for key, value in known.items())
    return put_design(store, "".join(lines).encode())


def start_typed_job(store: JobStore, typed: Mapping[str, str], system: System, *, who: str, uid: str) -> Job:
    """Start a job with what was typed into `START_FIELDS`.

    Raises
    ------
    FieldError
        Names every needed field that is empty.
    """
    known = tuple(Choice(name, name) for name in design_names(store))
    fields = [replace(one, choices=known) if one.name == "design" else one for one in START_FIELDS]
    answers = Answers(fields, typed, system)
    empty = [one for one in fields if one.needed and not answers.given(one.name)]
    if len(empty) > 1:
        raise FieldError(
            empty[0].name,
            joined(*(_(one.label) for one in empty), between=", "),
            _("nothing typed or chosen"),
            joined(*(_(one.missing) for one in empty), between="; "),
        )
    answers.need("vehicle", "design")
    return start_job(
        store,
        design_name=answers.text("design"),
        vehicle=answers.text("vehicle"),
        complaint=answers.text("complaint"),
        set_number=answers.text("set_number"),
        reference=answers.text("reference"),
        who=who,
        uid=uid,
    )


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
