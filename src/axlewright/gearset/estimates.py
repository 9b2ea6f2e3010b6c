"""What stands in for the fields a design file leaves out, each by a rule that is named with it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from axlewright.language import eager as _

if TYPE_CHECKING:
    from axlewright.gearset.design import DesignFields

REFERENCE_DIAMETER_MM = 222.0  # size at which the prior of the ease-off was chosen


@dataclass(frozen=True, slots=True)
class Estimate:
    """A field the design file left out, what was put there and by which rule."""

    field: str
    value: float | int | str
    rule: str


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

    def put(field: str, value: float | int | str, rule: str) -> None:
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
