"""Tooth depths, face and root angles of both members, and the map between (r, z) and the unrolled tooth.

References
----------
ISO 23509:2006: depth factor, addendum factor, clearance factor, sum of dedendum angles for standard,
duplex and constant depth (from memory; checked against ISO 23509 sample 1 in tests/published).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from axlewright.errors import DesignError
from axlewright.gearset.pitch import PitchCones
from axlewright.language import Number, _

Array = NDArray[np.float64]
DepthTaper = Literal["standard", "duplex", "constant"]

DEPTH_FACTOR = 2.0  # working depth over mean normal module, ISO 23509 default for z1 >= 12
CLEARANCE_FACTOR = 0.125  # clearance over working depth, ISO 23509 default


@dataclass(frozen=True, slots=True)
class Blank:
    """Blank of the ring gear and the matching pinion depths, at the mean point; mm and radians.

    Attributes
    ----------
    face_width : float
        Ring-gear face width b [mm].
    mean_addendum1, mean_dedendum1, mean_addendum2, mean_dedendum2 : float
        Pinion and ring-gear depths at the mean point [mm], measured square to the pitch cone.
    addendum_angle1, dedendum_angle1, addendum_angle2, dedendum_angle2 : float
        [rad].
    mean_normal_module : float
        m_mn [mm].
    clearance : float
        [mm].
    pitch_radius, pitch_height : float
        r and z of the mean point in the ring gear's cylindrical coordinates [mm].
    delta2 : float
        Ring-gear pitch angle [rad].
    cone_distance1, cone_distance2, delta1 : float
        Mean cone distances [mm] and pinion pitch angle [rad].
    """

    face_width: float
    mean_addendum1: float
    mean_dedendum1: float
    mean_addendum2: float
    mean_dedendum2: float
    addendum_angle1: float
    dedendum_angle1: float
    addendum_angle2: float
    dedendum_angle2: float
    mean_normal_module: float
    clearance: float
    pitch_radius: float
    pitch_height: float
    delta1: float
    delta2: float
    cone_distance1: float
    cone_distance2: float

    @property
    def working_depth(self) -> float:
        """Mean working depth [mm]."""
        return self.mean_addendum1 + self.mean_addendum2

    @property
    def face_angle1(self) -> float:
        """Pinion face angle [rad], without the offset correction of hypoid blanks."""
        return self.delta1 + self.addendum_angle1

    @property
    def face_angle2(self) -> float:
        """Ring-gear face angle [rad]."""
        return self.delta2 + self.addendum_angle2

    @property
    def root_angle1(self) -> float:
        """Pinion root angle [rad], without the offset correction of hypoid blanks."""
        return self.delta1 - self.dedendum_angle1

    @property
    def root_angle2(self) -> float:
        """Ring-gear root angle [rad]."""
        return self.delta2 - self.dedendum_angle2

    def depth_limits(self, s: Array | float) -> tuple[Array, Array]:
        """Return top and working-root heights over the pitch line at distance `s` from the mean point.

        Parameters
        ----------
        s : array or float
            Distance along the pitch line, toward the heel positive [mm].

        Returns
        -------
        top, bottom : array
            Heights square to the pitch line [mm]; ``bottom`` is where the pinion's tip reaches.
        """
        top = self.mean_addendum2 + np.asarray(s) * math.tan(self.addendum_angle2)
        bottom = -(self.mean_addendum1 + np.asarray(s) * math.tan(self.addendum_angle1))
        return top, bottom

    def to_tooth(self, r: Array, z: Array) -> tuple[Array, Array]:
        """Map (r, z) [mm] to (lengthwise, profile), each −1 … +1 on the working flank; any shape.

        Parameters
        ----------
        r, z : array
            Radius and height in the ring gear's frame, any common shape [mm].
        """
        s2, c2 = math.sin(self.delta2), math.cos(self.delta2)
        dr, dz = r - self.pitch_radius, z - self.pitch_height
        s = dr * s2 + dz * c2
        h = dr * c2 - dz * s2
        top, bottom = self.depth_limits(s)
        return 2.0 * s / self.face_width, (2.0 * h - top - bottom) / (top - bottom)

    def from_tooth(self, x: Array, y: Array) -> tuple[Array, Array]:
        """Map (lengthwise, profile) to (r, z) [mm]; the inverse of `to_tooth`.

        Parameters
        ----------
        x, y : array
            (lengthwise, profile), any common shape.
        """
        s2, c2 = math.sin(self.delta2), math.cos(self.delta2)
        s = np.asarray(x) * self.face_width / 2.0
        top, bottom = self.depth_limits(s)
        h = (np.asarray(y) * (top - bottom) + top + bottom) / 2.0
        return self.pitch_radius + s * s2 + h * c2, self.pitch_height + s * c2 - h * s2


def addendum_factor(ratio: float) -> float:
    """Return the ring gear's share of the working depth, 0.21 + 0.29/u² (ISO 23509, from memory).

    Parameters
    ----------
    ratio : float
        z2/z1 [-].
    """
    return 0.21 + 0.29 / (ratio * ratio)


def make_blank(
    cones: PitchCones,
    *,
    ratio: float,
    ring_teeth: int,
    face_width_mm: float,
    cutter_radius_mm: float,
    mean_pressure_angle_deg: float,
    depth_taper: DepthTaper,
    depth_factor: float = DEPTH_FACTOR,
    clearance_factor: float = CLEARANCE_FACTOR,
    ring_addendum_factor: float | None = None,
) -> Blank:
    """Lay out the blank from the pitch cones.

    Parameters
    ----------
    cones : PitchCones
    ratio : float
        z2/z1 [-].
    ring_teeth : int
    face_width_mm, cutter_radius_mm : float
        [mm].
    mean_pressure_angle_deg : float
        Mean design pressure angle [deg].
    depth_taper : {"standard", "duplex", "constant"}
    depth_factor, clearance_factor : float
        Working depth over mean normal module; clearance over working depth [-].
    ring_addendum_factor : float, optional
        Ring gear's share of the working depth; `addendum_factor` when None.

    Returns
    -------
    Blank

    Raises
    ------
    DesignError
        When a root or a tip would run through the apex or the face is too wide.
    """
    b = face_width_mm
    module = 2.0 * cones.radius2 * math.cos(cones.spiral2) / ring_teeth
    depth = depth_factor * module
    share = addendum_factor(ratio) if ring_addendum_factor is None else ring_addendum_factor
    clearance = clearance_factor * depth
    ha2, ha1 = share * depth, (1.0 - share) * depth
    hf2, hf1 = ha1 + clearance, ha2 + clearance
    R2 = cones.cone_distance2
    outer = R2 + b / 2.0
    standard = math.atan(hf1 / R2) + math.atan(hf2 / R2)
    if depth_taper == "constant":
        total = 0.0
    elif depth_taper == "standard":
        total = standard
    else:
        outer_module = 2.0 * outer * math.sin(cones.delta2) / ring_teeth
        duplex = math.radians(
            90.0
            * outer_module
            / (outer * math.tan(math.radians(mean_pressure_angle_deg)) * math.cos(cones.spiral2))
            * (1.0 - R2 * math.sin(cones.spiral2) / cutter_radius_mm)
        )
        total = max(duplex, 0.0)
    if depth_taper == "standard":
        root1, root2 = math.atan(hf1 / R2), math.atan(hf2 / R2)
        tip1, tip2 = root2, root1
    else:
        tip2 = total * share
        root2 = total - tip2
        tip1, root1 = root2, tip2
    blank = Blank(
        b, ha1, hf1, ha2, hf2, tip1, root1, tip2, root2, module, clearance,
        cones.radius2, float(cones.mean_point[2]), cones.delta1, cones.delta2,
        cones.cone_distance1, R2,
    )  # fmt: skip
    if R2 - b / 2.0 <= 0.3 * R2:
        raise DesignError(
            _("a face width of {b} mm reaches too near the cone apex (mean cone distance {r2} mm)").format(
                b=Number(b, "g"), r2=Number(R2, ".1f")
            ),
            where="face_width_mm",
            fix=_("use at most {value} mm").format(value=Number(0.6 * R2, ".0f")),
        )
    top, bottom = blank.depth_limits(np.array([-b / 2.0, b / 2.0]))
    if np.any(top - bottom < 0.3 * depth):
        raise DesignError(
            _("the tooth depth shrinks to {top} mm at one end").format(
                top=Number(float(np.min(top - bottom)), ".2f")
            ),
            where="depth_taper",
            fix=_("use constant or standard depth, or a narrower face"),
        )
    return blank
