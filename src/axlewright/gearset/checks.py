"""Check a design before it is cut on paper: teeth that run to a point, thin tops, customary proportions."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CloughTocher2DInterpolator

from axlewright.errors import DesignError
from axlewright.gearset.conjugate import conjugate_pinion
from axlewright.gearset.design import GearSetDesign
from axlewright.gearset.flank import FlankName, blade_angle
from axlewright.gearset.geometry import Geometry, build_geometry
from axlewright.language import Number, Text, _

Array = NDArray[np.float64]

THIN_TOP = 0.25  # top land over module below which a case-hardened tip is thought brittle; common practice
WIDE_FACE = 0.30  # face width over outer cone distance; ANSI/AGMA 2005, from memory
LARGE_OFFSET = 0.25  # offset over ring diameter for light axles; ANSI/AGMA 2005, from memory


@dataclass(frozen=True, slots=True)
class DesignFinding:
    """One thing found about a design.

    Attributes
    ----------
    what : Text
        A sentence without full stop.
    field : str
        The field that causes it.
    value, limit : float
    unit : str
    source : Text
        Where the limit comes from.
    """

    what: Text
    field: str
    value: float
    limit: float
    unit: str
    source: Text


def ring_thickness_mm(geometry: Geometry) -> float:
    """Return the ring gear's mean thickness along the circumference at the pitch cone [mm].

    m_n (π/2 − x_h (tan α_D + tan α_C)) / cos β2 with x_h half the difference of the addenda over the module
    (ISO 23509 without extra thickness change, from memory).

    Parameters
    ----------
    geometry : Geometry
    """
    blank, cones = geometry.blank, geometry.cones
    module = blank.mean_normal_module
    shift = (blank.mean_addendum1 - blank.mean_addendum2) / (2.0 * module)
    names: tuple[FlankName, ...] = ("drive", "coast")
    tangents = sum(math.tan(blade_angle(cones, f, geometry.design.mean_pressure_angle_deg)) for f in names)
    return module * (math.pi / 2.0 - shift * tangents) / math.cos(cones.spiral2)


def top_lands_mm(
    design: GearSetDesign, member: Literal["ring", "pinion"], places: tuple[float, ...] = (-1.0, 0.0, 1.0)
) -> Array:
    """Return the width of the top land square to the tooth at places from toe to heel [mm].

    Measured on the flanks themselves: the ring gear's as cut, the pinion's as the conjugate of both, each
    at its own tip. Negative where the flanks cross below the tip.

    Parameters
    ----------
    design : GearSetDesign
    member : {"ring", "pinion"}
    places : tuple of float
        Places along the member's own pitch line, −1 … +1 in half face widths.

    Returns
    -------
    array, shape (len(places),)
    """
    geometry = build_geometry(design)
    blank, cones = geometry.blank, geometry.cones
    thick = ring_thickness_mm(geometry) / cones.radius2
    at = np.array(places, dtype=np.float64)
    outward = geometry.drive.outward
    if member == "ring":
        top = np.ones_like(at)
        r, _rest = blank.from_tooth(at, top)
        angle = outward * (geometry.drive.patches(at, top)[0] - geometry.coast.patches(at, top)[0]) + thick
        points, normal = geometry.drive.points(at, top)
        around = np.stack([-points[:, 1], points[:, 0], np.zeros_like(r)], axis=1) / r[:, None]
        inward = _in_cone(points, normal, np.array([0.0, 0.0, 1.0]), blank.delta2)
        return np.asarray(angle * r * np.abs(np.sum(inward * around, axis=1)))
    # Unroll the pinion's pitch cone: s along the pitch line, h toward the pinion's own tip.
    u1, origin = cones.pinion_axis, np.array([0.0, cones.offset, 0.0])
    e1 = cones.mean_point - origin
    z0 = float(e1 @ u1)
    e1 = e1 - z0 * u1
    e1 /= np.linalg.norm(e1)
    e2 = np.cross(u1, e1)
    sd, cd = math.sin(cones.delta1), math.cos(cones.delta1)
    s = at * blank.face_width / 2.0
    h = blank.mean_addendum1 + s * math.tan(blank.addendum_angle1)
    step = 0.02 * blank.face_width
    angles, slopes = [], []
    names: tuple[FlankName, ...] = ("drive", "coast")
    for name in names:
        made = conjugate_pinion(
            cones, geometry.flank(name), design.ratio, np.linspace(-1.3, 1.3, 40), np.linspace(-1.3, 0.8, 36)
        )
        q = made.points - origin
        z, r = q @ u1 - z0, np.hypot(q @ e1, q @ e2) - cones.radius1
        places_sh = np.column_stack([(r * sd + z * cd).ravel(), (r * cd - z * sd).ravel()])
        trace = CloughTocher2DInterpolator(places_sh, np.unwrap(np.arctan2(q @ e2, q @ e1)).ravel())
        angles.append(trace(s, h))
        slopes.append((trace(s + step, h) - trace(s - step, h)) / (2.0 * step))
    # The ring gear's tooth fills the pinion's slot; what is left of the pinion's pitch is its tooth. At the
    # pinion's tip the slot is wider than at the pitch cone by the angle between its two walls.
    radius = cones.radius1 + s * sd + h * cd
    tooth = 2.0 * math.pi / design.pinion_teeth - design.ratio * thick - np.abs(angles[0] - angles[1])
    spiral = np.arctan(radius * (slopes[0] + slopes[1]) / 2.0)
    return np.asarray(tooth * radius * np.cos(spiral), dtype=np.float64)


def _in_cone(points: Array, normal: Array, axis: Array, cone: float) -> Array:
    """Return unit vectors square to the tooth's length within the cone through each point, shape (n, 3)."""
    radial = points - (points @ axis)[:, None] * axis
    radial /= np.linalg.norm(radial, axis=1, keepdims=True)
    outward = math.cos(cone) * radial - math.sin(cone) * axis
    flat = normal - np.sum(normal * outward, axis=1, keepdims=True) * outward
    return np.asarray(flat / np.linalg.norm(flat, axis=1, keepdims=True))


def check_design(design: GearSetDesign) -> list[DesignFinding]:
    """Look a design over.

    Parameters
    ----------
    design : GearSetDesign

    Returns
    -------
    list of DesignFinding
        What is unusual; empty when nothing is.

    Raises
    ------
    DesignError
        When the set cannot exist: no pitch cones, a flank without a pinion, or teeth that run to a point.
        Undercut is refused when the set is prepared for rolling.
    """
    geometry = build_geometry(design)
    module = geometry.blank.mean_normal_module
    found: list[DesignFinding] = []
    members: tuple[Literal["ring", "pinion"], ...] = ("ring", "pinion")
    for member in members:
        widths = top_lands_mm(design, member)
        k = int(np.argmin(widths))
        word = (_("toe"), _("middle"), _("heel"))[k]
        least = float(widths[k])
        title = _("ring gear") if member == "ring" else _("pinion")
        if least <= 0.0:
            raise DesignError(
                _("the {title}'s teeth run to a point at the {word} (top land {least} mm)").format(
                    title=title, word=word, least=Number(least, ".2f")
                ),
                where="mean_pressure_angle_deg",
                fix=_("use less than {mean_pressure_angle_deg}°, more teeth or a narrower face").format(
                    mean_pressure_angle_deg=Number(design.mean_pressure_angle_deg, "g")
                ),
            )
        if least < THIN_TOP * module:
            found.append(
                DesignFinding(
                    _("the {title}'s top land is thin at the {word}").format(title=title, word=word),
                    "mean_pressure_angle_deg",
                    least,
                    THIN_TOP * module,
                    "mm",
                    _("a quarter of the module; common practice, no source"),
                )
            )
    outer = geometry.cones.cone_distance2 + design.face_width_mm / 2.0
    for what, field, value, limit, unit, source in (
        (
            _("the face is wide for its cone distance"),
            "face_width_mm",
            design.face_width_mm,
            WIDE_FACE * outer,
            "mm",
            _("0.30 of the outer cone distance; ANSI/AGMA 2005, from memory"),
        ),
        (
            _("the offset is large for the ring gear"),
            "offset_mm",
            design.offset_mm,
            LARGE_OFFSET * design.ring_outer_diameter_mm,
            "mm",
            _("0.25 of the diameter; ANSI/AGMA 2005, from memory"),
        ),
    ):
        if value > limit:
            found.append(DesignFinding(what, field, value, limit, unit, source))
    return found
