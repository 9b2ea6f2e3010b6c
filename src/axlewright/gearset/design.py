"""Design data of a gear set: what a workshop knows, what is estimated, and the file it is kept in.

A design file is TOML; the unit stands in each field name. What is left out is estimated by a remembered or
customary rule, and the design says so in `GearSetDesign.estimates`.
"""

from __future__ import annotations

import json
import math
import reprlib
import tomllib
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from axlewright.errors import DesignError
from axlewright.gearset.easeoff import EaseOff
from axlewright.language import Text, _

REFERENCE_DIAMETER_MM = 222.0  # size at which the prior of the ease-off was chosen


@dataclass(frozen=True, slots=True)
class Estimate:
    """A field the design file left out, what was put there and by which rule."""

    field: str
    value: float | int | str
    rule: Text


def estimate_missing(f: DesignFields) -> list[Estimate]:
    """Return what a design file left out, each with its value and the rule behind it.

    Parameters
    ----------
    f : DesignFields
        As typed; None is missing.

    Returns
    -------
    list of Estimate
        In the order in which they build on each other.
    """
    out: list[Estimate] = []
    have: dict[str, Any] = f.model_dump()

    def put(field: str, value: float | int | str, rule: Text) -> None:
        if have[field] is None:
            have[field] = value
            out.append(Estimate(field, value, rule))

    d = f.ring_outer_diameter_mm
    u = f.ring_teeth / f.pinion_teeth
    put("title", f"{f.pinion_teeth}/{f.ring_teeth}, {d:g} mm", _("from the tooth counts and the diameter"))
    put(
        "tooth_form",
        "face-hobbed" if f.blade_groups else "face-milled",
        _("face-hobbed when blade groups are given, otherwise assumed face-milled; look at the tooth depth"),
    )
    hobbed = have["tooth_form"] == "face-hobbed"
    put("offset_mm", 0.0, _("assumed a spiral bevel set without offset"))
    a = have["offset_mm"]
    put("hand", "left", _("assumed left-hand pinion, the usual one with the pinion below centre"))
    put(
        "offset_direction",
        "below" if have["hand"] == "left" else "above",
        _("left-hand pinion below, right-hand above centre: the side that makes the pinion larger"),
    )
    put("shaft_angle_deg", 90.0, _("axles have square axes"))
    if a > 0:
        put(
            "face_width_mm",
            round(0.155 * d, 1),
            _("0.155 of the diameter for hypoid sets (ISO 23509, from memory)"),
        )
        put(
            "pinion_spiral_angle_deg",
            round(min(25.0 + 5.0 * math.sqrt(u) + 90.0 * a / d, 52.0), 1),
            _("25 + 5 sqrt(z2/z1) + 90 a/d (ANSI/AGMA 2005, from memory)"),
        )
    else:
        sigma = math.radians(have["shaft_angle_deg"])
        delta2 = math.atan2(math.sin(sigma), 1.0 / u + math.cos(sigma))
        outer = d / 2.0 / math.sin(delta2)
        put(
            "face_width_mm",
            round(min(0.3 * outer, 10.0 * d / f.ring_teeth), 1),
            _("smaller of 0.3 outer cone distance and 10 modules (ANSI/AGMA 2005, from memory)"),
        )
        put("pinion_spiral_angle_deg", 35.0, _("35°, the customary spiral bevel angle"))
    put(
        "cutter_radius_mm",
        round((0.40 if hobbed else 0.43) * d, 1),
        _("0.43 (face-milled) or 0.40 (face-hobbed) of the diameter; common proportion, no source"),
    )
    if hobbed:
        put(
            "blade_groups",
            13 if f.ring_teeth % 13 else 11,
            _("13, or 11 where 13 divides the ring gear; common, no source"),
        )
    put("mean_pressure_angle_deg", 20.0, _("20°, the standard design pressure angle"))
    put(
        "depth_taper",
        "constant" if hobbed else "duplex",
        _("constant depth for face-hobbed, duplex for face-milled sets (ISO 23509)"),
    )
    size = d / REFERENCE_DIAMETER_MM
    prior = _("prior by size; a set's own ease-off is unknown until a good pattern of it is read")
    put("lengthwise_crown_mm", round(0.030 * size, 4), prior)
    put("profile_crown_mm", round(0.004 * size, 4), prior)
    put("twist_mm", 0.0, prior)
    put("coast_twist_mm", have["twist_mm"], _("the same as twist_mm"))
    put("top_root_relief_mm", round(0.020 * size, 4), prior)
    put("relief_start", 0.55, prior)
    for key in (
        "drive_center_lengthwise",
        "drive_center_profile",
        "coast_center_lengthwise",
        "coast_center_profile",
    ):
        put(key, 0.0, prior)
    put(
        "compound_film_mm",
        0.00635,
        _("0.00025 in, the film of contact simulations in the literature (from memory)"),
    )
    put(
        "backlash_nominal_mm",
        round(0.15 * size, 2),
        _("0.15 mm for a light axle, grown with size; service data first (common practice, no source)"),
    )
    stiff = _("order of size only; common practice, no source")
    put("mount_stiffness_pinion_axial_kn_mm", round(60.0 * size, 0), stiff)
    put("mount_stiffness_ring_axial_kn_mm", round(80.0 * size, 0), stiff)
    put("mount_stiffness_offset_kn_mm", round(60.0 * size, 0), stiff)
    return out


ToothForm = Literal["face-milled", "face-hobbed"]
Hand = Literal["left", "right"]


class DesignFields(BaseModel):
    """The fields of a design file, as typed; what is None is estimated.

    The JSON Schema published in docs/design.schema.json is made from this class.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    name: str = Field(min_length=1, max_length=80, description="Name of the design")
    title: str | None = Field(None, max_length=160, description="One line for people")
    tooth_form: ToothForm | None = Field(None, description="How the teeth were cut")
    pinion_teeth: int = Field(ge=3, le=60, description="Teeth of the pinion")
    ring_teeth: int = Field(ge=8, le=200, description="Teeth of the ring gear")
    offset_mm: float | None = Field(
        None, ge=0, le=300, description="Distance between the axes; 0 for spiral bevel"
    )
    offset_direction: Literal["below", "above"] | None = Field(
        None, description="Pinion axis below or above the ring gear's, seen from the front"
    )
    shaft_angle_deg: float | None = Field(None, ge=30, le=150)
    ring_outer_diameter_mm: float = Field(gt=20, le=3000, description="Outer pitch diameter of the ring gear")
    face_width_mm: float | None = Field(None, gt=2, le=500)
    pinion_spiral_angle_deg: float | None = Field(None, ge=0.5, le=62)
    cutter_radius_mm: float | None = Field(None, gt=5, le=1000)
    blade_groups: int | None = Field(
        None, ge=1, le=60, description="Blade groups of the cutter, face-hobbed only"
    )
    mean_pressure_angle_deg: float | None = Field(None, ge=10, le=30)
    hand: Hand | None = Field(None, description="Hand of the pinion's spiral")
    depth_taper: Literal["standard", "duplex", "constant"] | None = None
    lengthwise_crown_mm: float | None = Field(None, ge=0, le=1)
    profile_crown_mm: float | None = Field(None, ge=0, le=1)
    twist_mm: float | None = Field(None, ge=-1, le=1)
    coast_twist_mm: float | None = Field(None, ge=-1, le=1, description="Twist of the coast flank")
    top_root_relief_mm: float | None = Field(None, ge=0, le=1)
    relief_start: float | None = Field(None, ge=0, lt=1, description="Fraction of half the working depth")
    drive_center_lengthwise: float | None = Field(None, ge=-0.9, le=0.9)
    drive_center_profile: float | None = Field(None, ge=-0.9, le=0.9)
    coast_center_lengthwise: float | None = Field(None, ge=-0.9, le=0.9)
    coast_center_profile: float | None = Field(None, ge=-0.9, le=0.9)
    compound_film_mm: float | None = Field(
        None, gt=0, le=0.1, description="Film squeezed out where the teeth mark"
    )
    backlash_nominal_mm: float | None = Field(
        None, gt=0, le=2, description="Backlash at the heel when set right"
    )
    mounting_distance_mm: float | None = Field(
        None, gt=0, le=1000, description="Ring gear's axis to the pinion's locating face, zero mark"
    )
    mount_stiffness_pinion_axial_kn_mm: float | None = Field(None, gt=0)
    mount_stiffness_ring_axial_kn_mm: float | None = Field(None, gt=0)
    mount_stiffness_offset_kn_mm: float | None = Field(None, gt=0)

    @model_validator(mode="after")
    def _consistent(self) -> DesignFields:
        if self.pinion_teeth >= self.ring_teeth:
            raise ValueError("pinion_teeth must be fewer than ring_teeth")
        if self.tooth_form == "face-milled" and self.blade_groups:
            raise ValueError("blade_groups belongs to face-hobbed sets; leave it out of a face-milled design")
        if self.tooth_form == "face-hobbed" and self.depth_taper not in (None, "constant"):
            raise ValueError("a face-hobbed set has constant depth; leave depth_taper out")
        return self


@dataclass(frozen=True, slots=True)
class GearSetDesign:
    """A complete design; lengths mm, angles degrees. See `DesignFields` for the meaning of each field.

    Attributes
    ----------
    estimates : tuple of Estimate
        What was not given, with value and rule. Designs that differ in this alone are equal: the rules are
        written in the language of the reader.
    """

    name: str
    title: str
    tooth_form: ToothForm
    pinion_teeth: int
    ring_teeth: int
    offset_mm: float
    offset_direction: str
    shaft_angle_deg: float
    ring_outer_diameter_mm: float
    face_width_mm: float
    pinion_spiral_angle_deg: float
    cutter_radius_mm: float
    blade_groups: int | None
    mean_pressure_angle_deg: float
    hand: Hand
    depth_taper: Literal["standard", "duplex", "constant"]
    lengthwise_crown_mm: float
    profile_crown_mm: float
    twist_mm: float
    coast_twist_mm: float
    top_root_relief_mm: float
    relief_start: float
    drive_center_lengthwise: float
    drive_center_profile: float
    coast_center_lengthwise: float
    coast_center_profile: float
    compound_film_mm: float
    backlash_nominal_mm: float
    mounting_distance_mm: float | None
    mount_stiffness_pinion_axial_kn_mm: float
    mount_stiffness_ring_axial_kn_mm: float
    mount_stiffness_offset_kn_mm: float
    estimates: tuple[Estimate, ...] = field(default=(), compare=False)

    @property
    def ratio(self) -> float:
        """z2/z1 [-]."""
        return self.ring_teeth / self.pinion_teeth

    def ease_off(self, flank: str) -> EaseOff:
        """Return the ease-off of "drive" or "coast".

        Parameters
        ----------
        flank : {"drive", "coast"}
        """
        drive = flank == "drive"
        return EaseOff(
            self.lengthwise_crown_mm,
            self.profile_crown_mm,
            self.twist_mm if drive else self.coast_twist_mm,
            self.top_root_relief_mm,
            self.relief_start,
            self.drive_center_lengthwise if drive else self.coast_center_lengthwise,
            self.drive_center_profile if drive else self.coast_center_profile,
        )

    def fields(self) -> dict[str, Any]:
        """Return the fields as a design file holds them, estimates included and None left out."""
        out: dict[str, Any] = {}
        for key in DesignFields.model_fields:
            value = getattr(self, key)
            if value is not None:
                out[key] = value
        return out


def complete(fields: DesignFields) -> GearSetDesign:
    """Return the complete design, estimating what was left out and saying so.

    Parameters
    ----------
    fields : DesignFields
        As typed; None is estimated.
    """
    estimates = estimate_missing(fields)
    values = fields.model_dump()
    values.update({e.field: e.value for e in estimates})
    if values["tooth_form"] == "face-milled":
        values["blade_groups"] = None
    return GearSetDesign(**values, estimates=tuple(estimates))


def parse_design(text: str, *, where: str = "design file") -> GearSetDesign:
    """Read the text of a design file.

    Parameters
    ----------
    text : str
        TOML.
    where : str
        Named in errors.

    Raises
    ------
    DesignError
        With the field and what would be right.
    """
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # also for thousands of digits, or of brackets in brackets
        raise DesignError(
            _("is not readable as TOML ({error})").format(error=str(error)),
            where=where,
            fix=_("write lines like pinion_teeth = 11"),
        ) from error
    return design_from_fields(data, where=where)


def design_from_fields(data: dict[str, Any], *, where: str = "design") -> GearSetDesign:
    """Make a design from plain fields; see `parse_design`.

    Parameters
    ----------
    data : dict
        Field name to value, units as in the names.
    where : str
        Named in errors.
    """
    try:
        fields = DesignFields.model_validate(data)
    except ValidationError as error:
        first = error.errors()[0]
        field = ".".join(str(part) for part in first["loc"])[:80] or "fields"
        message = str(first["msg"]).removeprefix("Value error, ")
        if first["type"] == "extra_forbidden":
            near = ", ".join(sorted(DesignFields.model_fields))
            raise DesignError(
                _("unknown field '{field}'").format(field=field),
                where=where,
                fix=_("known fields are {near}").format(near=near),
            ) from error
        given = first.get("input")
        shown = f" (found {reprlib.repr(given)})" if not isinstance(given, dict) else ""
        raise DesignError(
            f"{field}: {message}{shown}", where=where, fix=_("see docs/designs.md for each field")
        ) from error
    return complete(fields)


def shipped_designs() -> tuple[str, ...]:
    """Return the names of the designs that come with the program."""
    folder = resources.files("axlewright.gearset") / "data"
    return tuple(
        sorted(item.name.removesuffix(".toml") for item in folder.iterdir() if item.name.endswith(".toml"))
    )


def load_design(name_or_path: str | Path) -> GearSetDesign:
    """Load a shipped design by name or a design file by path.

    Parameters
    ----------
    name_or_path : str or Path
        For example ``"TY-222"`` or ``"my-axle.toml"``.

    Returns
    -------
    GearSetDesign

    Raises
    ------
    DesignError
        When there is no such design or the file is wrong.
    """
    text = str(name_or_path)
    names = shipped_designs()
    match = {n.lower(): n for n in names}.get(text.lower())
    if match is not None:
        body = (resources.files("axlewright.gearset") / "data" / f"{match}.toml").read_text(encoding="utf-8")
        return parse_design(body, where=match)
    path = Path(text)
    if not path.exists():
        raise DesignError(
            _("no design '{text}'").format(text=text),
            where=_("design"),
            fix=_("name one of {names} or give the path of a design file").format(names=", ".join(names)),
        )
    try:
        body = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise DesignError(
            _("cannot be read ({name})").format(name=error.__class__.__name__),
            where=text,
            fix=_("give a readable text file"),
        ) from error
    return parse_design(body, where=text)


def design_to_toml(design: GearSetDesign) -> str:
    """Return the text of a design file holding every field, estimates marked by a comment.

    Parameters
    ----------
    design : GearSetDesign
    """
    guessed = {e.field: e.rule for e in design.estimates}
    lines = []
    for key, value in design.fields().items():
        line = f"{key} = {json.dumps(value, ensure_ascii=False)}"
        lines.append(line + (f"  # estimated: {guessed[key]}" if key in guessed else ""))
    return "\n".join(lines) + "\n"


def design_schema() -> dict[str, Any]:
    """Return the JSON Schema of a design file."""
    schema = DesignFields.model_json_schema()
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "axlewright design file"
    return schema
