"""What rolling needs and what a design fixes: the pinion grid of each flank, prepared once."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from axlewright.contact.once import OncePerKey
from axlewright.errors import DesignError
from axlewright.gearset import (
    ConjugatePinion,
    EaseOff,
    FlankName,
    GearSetDesign,
    Geometry,
    RingFlank,
    build_geometry,
    conjugate_pinion,
    rotation_about,
)
from axlewright.language import Number, _

Array = NDArray[np.float64]
Kernel = Literal["auto", "compiled", "reference"]

LENGTHWISE_POINTS = 96
PROFILE_POINTS = 48
ROLL_ANGLES = 128
LENGTH_MARGIN = 0.14  # the pinion's face is wider than the ring gear's by this share of it at each end
UNDERCUT_SHARE = 0.03  # pinion area per ring-gear area below which the flank is taken as undercut
UNDERCUT_LIMIT = 0.03  # share of the working flank that may be lost before the design is refused
MARK_MARGIN = 0.05  # marks are followed this far beyond toe, heel and top, so that they are right on the edge
ROOT_MARGIN = 0.14  # the pinion flank goes on into its clearance by this share of the working depth


@dataclass(frozen=True, slots=True)
class Settings:
    """Where the members sit against where the set was developed; all zero is nominal.

    Attributes
    ----------
    pinion_out_mm : float
        Pinion away from the ring gear's axis, along its own [mm].
    ring_away_mm : float
        Ring gear away from the pinion, more backlash [mm].
    offset_error_mm : float
        Larger offset [mm].
    shaft_angle_error_deg : float
        Shaft angle opened [deg].
    """

    pinion_out_mm: float = 0.0
    ring_away_mm: float = 0.0
    offset_error_mm: float = 0.0
    shaft_angle_error_deg: float = 0.0

    def plus(self, other: Settings) -> Settings:
        """Return the sum of two settings.

        Parameters
        ----------
        other : Settings
        """
        return Settings(
            self.pinion_out_mm + other.pinion_out_mm,
            self.ring_away_mm + other.ring_away_mm,
            self.offset_error_mm + other.offset_error_mm,
            self.shaft_angle_error_deg + other.shaft_angle_error_deg,
        )


@dataclass(frozen=True, slots=True)
class FlankMesh:
    """One flank pair ready to roll.

    The pinion grid is laid over the ring-gear tooth: ``ny`` profile rows (root first) by ``nx`` lengthwise
    columns (toe first), a margin beyond the ring gear's toe, heel and top included.

    Attributes
    ----------
    name : {"drive", "coast"}
    ring : RingFlank
    x, y : array, shape (nx,), (ny,)
    points, normals : array, shape (ny, nx, 3)
        Pinion flank without ease-off in the mesh frame at roll angle 0, and its normals into the pinion's
        metal [mm].
    contact_roll, lever : array, shape (ny, nx)
        Roll angle at which each point would touch [rad]; normal gap per radian [mm].
    valid : array of bool, shape (ny, nx)
        False where the pinion flank does not exist because it is undercut there.
    roll : array, shape (nroll,)
        Roll angles of one pair's whole path, uniform [rad].
    per_pitch : int
        Roll angles per pitch.
    pitch : float
        2π/z2 [rad].
    forward : int
        Sense of the roll angle when the axle drives forward, ±1.
    """

    name: FlankName
    ring: RingFlank
    x: Array
    y: Array
    points: Array
    normals: Array
    contact_roll: Array
    lever: Array
    valid: NDArray[np.bool_]
    roll: Array
    per_pitch: int
    pitch: float
    forward: int


@dataclass(frozen=True, slots=True)
class Mesh:
    """Both flank pairs of a design at one resolution."""

    geometry: Geometry
    drive: FlankMesh
    coast: FlankMesh
    lengthwise: int
    profile: int

    def flank(self, name: FlankName) -> FlankMesh:
        """Return the named flank pair.

        Parameters
        ----------
        name : {"drive", "coast"}
        """
        return self.drive if name == "drive" else self.coast


def _nodes(count: int, below: float, above: float) -> Array:
    """Return uniform nodes of −1 … 1 continued by the given shares of the whole width."""
    step = 2.0 / (count - 1)
    low, high = math.ceil(2 * below / step - 1e-9), math.ceil(2 * above / step - 1e-9)
    return np.asarray(-1.0 + step * np.arange(-low, count + high), dtype=np.float64)


_KEPT: OncePerKey[tuple[GearSetDesign, int, int, int], Mesh] = OncePerKey(24)


def build_mesh(
    design: GearSetDesign,
    lengthwise: int = LENGTHWISE_POINTS,
    profile: int = PROFILE_POINTS,
    roll_angles: int = ROLL_ANGLES,
) -> Mesh:
    """Prepare a design for rolling; once for each design and resolution, whatever thread asks.

    Parameters
    ----------
    design : GearSetDesign
        Its ease-off does not matter here.
    lengthwise, profile : int
        Grid points over the ring-gear tooth.
    roll_angles : int
        Roll angles over one pair's whole path of contact.

    Returns
    -------
    Mesh

    Raises
    ------
    DesignError
        When the set cannot exist.
    """
    key = (design, lengthwise, profile, roll_angles)
    return _KEPT.get(key, lambda: prepare_mesh(design, lengthwise, profile, roll_angles))


def prepare_mesh(design: GearSetDesign, lengthwise: int, profile: int, roll_angles: int) -> Mesh:
    """Return what `build_mesh` keeps, made anew; arguments as there."""
    geometry = build_geometry(design)
    forward = -geometry.drive.outward
    both = []
    names: tuple[FlankName, ...] = ("drive", "coast")
    for name in names:
        ring = geometry.flank(name)
        x = _nodes(lengthwise, LENGTH_MARGIN, LENGTH_MARGIN)
        y = _nodes(profile, 0.0, ROOT_MARGIN)
        pinion = conjugate_pinion(geometry.cones, ring, design.ratio, x, y)
        valid = _existing(ring, pinion)
        pitch = 2.0 * math.pi / design.ring_teeth
        inside = np.abs(x) <= 1.0 + 1e-9
        rows = y <= 1.0 + 1e-9
        path = pinion.contact_roll[np.ix_(rows, inside)]
        low, high = float(path.min()) - 0.25 * pitch, float(path.max()) + 0.25 * pitch
        per_pitch = max(16, int(roll_angles * pitch / (high - low)))
        step = pitch / per_pitch
        count = math.ceil((high - low) / step) + 1
        roll = np.asarray(low + step * np.arange(count), dtype=np.float64)
        both.append(
            FlankMesh(
                ring.name,
                ring,
                x,
                y,
                np.ascontiguousarray(pinion.points),
                np.ascontiguousarray(pinion.normals),
                pinion.contact_roll,
                pinion.lever,
                valid,
                roll,
                per_pitch,
                pitch,
                forward,
            )
        )
    return Mesh(geometry, both[0], both[1], lengthwise, profile)


def _existing(ring: RingFlank, pinion: ConjugatePinion) -> NDArray[np.bool_]:
    """Return where the generated pinion flank exists: its area has not shrunk to nothing or folded back."""

    def area(points: Array, normals: Array) -> Array:
        along = np.gradient(points, pinion.x, axis=1)
        across = np.gradient(points, pinion.y, axis=0)
        return np.asarray(np.einsum("abi,abi->ab", np.cross(along, across), normals))

    X, Y = np.meshgrid(pinion.x, pinion.y)
    kept = area(pinion.points, pinion.normals) / area(*ring.points(X, Y)) > UNDERCUT_SHARE
    working = kept[np.ix_(pinion.y <= 1.0 + 1e-9, np.abs(pinion.x) <= 1.0 + 1e-9)]
    lost = 1.0 - float(working.mean())
    if lost > UNDERCUT_LIMIT:
        raise DesignError(
            _("the pinion is undercut over {lost} of its working {name} flank").format(
                lost=Number(lost, ".0%"), name=ring.name
            ),
            where="pinion_teeth",
            fix=_("use more pinion teeth, a larger pressure angle or a smaller working depth"),
        )
    return kept


def relieved_points(flank: FlankMesh, ease_off: EaseOff) -> Array:
    """Return the real pinion flank: the conjugate one set back by the ease-off, shape (ny, nx, 3) [mm].

    Parameters
    ----------
    flank : FlankMesh
    ease_off : EaseOff
    """
    back = ease_off(flank.x[None, :], flank.y[:, None])
    return flank.points + back[..., None] * flank.normals


def y_floor(mesh: Mesh) -> float:
    """Return the lowest profile place where the ring gear still has a flank, below −1 by its clearance.

    Parameters
    ----------
    mesh : Mesh
    """
    blank = mesh.geometry.blank
    return -1.0 - 2.0 * 0.8 * blank.clearance / blank.working_depth


def roll_transforms(geometry: Geometry, settings: Settings, roll: Array) -> tuple[Array, Array]:
    """Return the motion that carries pinion points into the turning ring gear's frame.

    Parameters
    ----------
    geometry : Geometry
    settings : Settings
    roll : array, shape (n,)
        Ring-gear roll angles [rad].

    Returns
    -------
    matrices, shifts : array, shape (n, 3, 3), (n, 3)
        ``q = matrices @ p + shifts``.
    """
    cones = geometry.cones
    origin = np.array([0.0, cones.offset, 0.0])
    u1 = cones.pinion_axis
    turn = rotation_about(u1, -geometry.design.ratio * roll)
    opened = rotation_about(np.array([0.0, 1.0, 0.0]), np.array(math.radians(settings.shaft_angle_error_deg)))
    moved = (
        settings.pinion_out_mm * (opened @ u1)
        + np.array([0.0, settings.offset_error_mm, -settings.ring_away_mm])
        + opened @ origin
    )
    back = rotation_about(np.array([0.0, 0.0, 1.0]), -roll)
    matrices = back @ (opened @ turn)
    shifts = back @ moved - matrices @ origin
    return matrices, shifts
