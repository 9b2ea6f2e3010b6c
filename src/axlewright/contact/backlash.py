"""Backlash as a computed quantity: at any setting, from both flanks, and its change per move of either gear.

With the pinion held the ring gear turns freely by the gap of the drive flank plus the gap of the coast
flank. Both gaps come from the same rolling that gives pattern and motion error; where the set is developed
the design's own nominal backlash is added, which the tooth thickness decides and no rolling can know.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from axlewright.contact.mesh import Mesh, Settings, build_mesh
from axlewright.contact.once import OncePerKey
from axlewright.contact.rolling import motion_error, roll_unloaded
from axlewright.gearset import (
    FlankName,
    GearSetDesign,
    Geometry,
    build_geometry,
    conjugate_pinion,
    rotation_about,
)
from axlewright.setup import backlash_per_pinion_move, backlash_per_ring_move

Array = NDArray[np.float64]
FLANKS: tuple[FlankName, ...] = ("drive", "coast")
LENGTHWISE, PROFILE, ROLL_ANGLES = 64, 32, 96


@dataclass(frozen=True, slots=True)
class Backlash:
    """Backlash at a setting.

    Attributes
    ----------
    in_rotation_mm : float
        At the ring gear's outer pitch diameter along the circumference [mm]; below 0 the teeth bind.
    square_to_tooth_mm : float
        The same with the dial's stem square to the tooth at the heel [mm].
    change_mm : float
        Against the set as developed, in rotation [mm].
    within_pitch_mm : float
        Variation over one pitch, largest less least, in rotation [mm].
    """

    in_rotation_mm: float
    square_to_tooth_mm: float
    change_mm: float
    within_pitch_mm: float


@dataclass(frozen=True, slots=True)
class BacklashPerMove:
    """Change of backlash per axial move, without unit.

    Attributes
    ----------
    computed : float
        From rolling both flanks, in rotation at the outer pitch diameter.
    at_contact : float
        From the normals of both flanks where they touch when set as developed (exact to first order).
    closed_form : float
        From pitch angle, spiral angle and both pressure angles at the mean point, times outer over mean
        radius. It holds where both flanks touch at the mean point and stand at the same spiral angle
        there, which is so for constant depth; with tapered depth the two flanks' spiral angles differ.
    square_to_tooth : float
        `computed` with the stem square to the tooth at the heel.
    """

    computed: float
    at_contact: float
    closed_form: float
    square_to_tooth: float


def pressure_angles(geometry: Geometry) -> tuple[float, float]:
    """Return the normal pressure angles of drive and coast flank at the mean point [rad].

    Measured on the flanks: the lean of each normal against the pitch plane.

    Parameters
    ----------
    geometry : Geometry
    """
    blank = geometry.blank
    x, y = blank.to_tooth(np.array(blank.pitch_radius), np.array(blank.pitch_height))
    n = geometry.cones.normal
    drive = math.asin(float(geometry.drive.points(x, y)[1] @ n))
    coast = math.asin(float(geometry.coast.points(x, y)[1] @ n))
    return drive, coast


def first_order_per_move(
    geometry: Geometry, direction: Array, places: tuple[tuple[float, float], tuple[float, float]]
) -> float:
    """Return the backlash in rotation at the outer pitch diameter per unit move of the pinion.

    Parameters
    ----------
    geometry : Geometry
    direction : array, shape (3,)
        Unit vector of the pinion's move in the mesh frame.
    places : ((float, float), (float, float))
        Where drive and coast flank touch, (lengthwise, profile).

    Notes
    -----
    A gap of n·d opens square to the flank, n the normal out of the ring gear's metal turned to the roll
    angle at which the place touches; it is worth n·d / |e_z·(p × n)| of ring-gear turn. Both flanks add.
    """
    total = 0.0
    for name, (x, y) in zip(FLANKS, places, strict=True):
        flank = geometry.flank(name)
        made = conjugate_pinion(
            geometry.cones, flank, geometry.design.ratio, np.array([float(x)]), np.array([float(y)])
        )
        _, normal = flank.points(np.array(float(x)), np.array(float(y)))
        turned = rotation_about(np.array([0.0, 0.0, 1.0]), made.contact_roll[0, 0]) @ normal
        total += float(turned @ direction) / float(made.lever[0, 0])
    return total * geometry.design.ring_outer_diameter_mm / 2.0


def heel_reading_factor(geometry: Geometry) -> float:
    """Return what a dial square to the tooth at the heel reads per unit along the circumference.

    The stem stands on the drive flank at the heel, on the pitch line: the part of the motion along the
    flank's normal there.

    Parameters
    ----------
    geometry : Geometry
    """
    blank = geometry.blank
    s = blank.face_width / 2.0
    r = blank.pitch_radius + s * math.sin(blank.delta2)
    z = blank.pitch_height + s * math.cos(blank.delta2)
    x, y = blank.to_tooth(np.array(r), np.array(z))
    p, normal = geometry.drive.points(x, y)
    around = np.array([-p[1], p[0], 0.0]) / r
    return abs(float(normal @ around))


def free_turn(mesh: Mesh, settings: Settings) -> tuple[float, float]:
    """Return mean and variation over a pitch of the free turn beyond the nominal backlash [rad].

    Parameters
    ----------
    mesh : Mesh
    settings : Settings

    Raises
    ------
    ContactError
        When the teeth leave contact.
    """
    design = mesh.geometry.design
    mean = 0.0
    curves = []
    for name in FLANKS:
        _, curve, lowest, _ = roll_unloaded(
            mesh, name, settings, design.ease_off(name), design.compound_film_mm
        )
        error, shift = motion_error(mesh.flank(name), curve, lowest)
        mean += shift * 1e-6
        pair = mesh.flank(name)
        # The same roll angle on both flanks: from the start of each path to whole pitches.
        phase = (pair.roll[0] / pair.pitch) % 1.0
        sign = -1.0 if name == "drive" else 1.0
        forward = np.asarray(sign * error if pair.forward > 0 else (sign * error)[::-1])
        places = (phase + np.arange(len(forward)) / len(forward)) % 1.0
        order = np.argsort(places)
        curves.append(np.interp(np.linspace(0, 1, 128), places[order], forward[order], period=1.0) * 1e-6)
    return mean, float(np.ptp(curves[0] + curves[1]))


_NOMINAL: OncePerKey[tuple[GearSetDesign, int, int, int], float] = OncePerKey(64)


def backlash_at(
    design: GearSetDesign,
    settings: Settings | None = None,
    *,
    lengthwise: int = LENGTHWISE,
    profile: int = PROFILE,
    roll_angles: int = ROLL_ANGLES,
) -> Backlash:
    """Compute the backlash of a set at a setting.

    Parameters
    ----------
    design : GearSetDesign
        Its `backlash_nominal_mm` is taken as the backlash, in rotation at the outer pitch diameter, where
        all settings errors are zero.
    settings : Settings, optional
    lengthwise, profile, roll_angles : int
        Resolution.

    Returns
    -------
    Backlash

    Raises
    ------
    ContactError
        When the teeth leave contact.
    """
    mesh = build_mesh(design, lengthwise, profile, roll_angles)
    here, spread = free_turn(mesh, settings or Settings())
    key = (design, lengthwise, profile, roll_angles)
    nominal = _NOMINAL.get(key, lambda: free_turn(mesh, Settings())[0])
    radius = design.ring_outer_diameter_mm / 2.0
    change = (here - nominal) * radius
    total = design.backlash_nominal_mm + change
    factor = heel_reading_factor(mesh.geometry)
    return Backlash(total, total * factor, change, spread * radius)


_KEPT: OncePerKey[tuple[GearSetDesign, float], tuple[BacklashPerMove, BacklashPerMove]] = OncePerKey(64)


def backlash_per_move(
    design: GearSetDesign, step_mm: float = 0.05
) -> tuple[BacklashPerMove, BacklashPerMove]:
    """Return the change of backlash per ring-gear move away and per pinion move out.

    Rolled once for each design and kept: the first call takes some tenths of a second (and the compiling of
    the kernels in a fresh installation), later ones nothing.

    Parameters
    ----------
    design : GearSetDesign
    step_mm : float
        The set is rolled this far to both sides of nominal [mm].

    Returns
    -------
    ring, pinion : BacklashPerMove
        The closed forms are those of `axlewright.setup`: Δj = Δx sin δ (tan α_D + tan α_C) / cos β2.

    Raises
    ------
    DesignError, ContactError
        When the set cannot exist or leaves contact within the step.

    Examples
    --------
    >>> from axlewright.contact import backlash_per_move
    >>> from axlewright.gearset import load_design
    >>> ring, pinion = backlash_per_move(load_design("TY-222"))
    >>> round(ring.computed, 2), round(ring.square_to_tooth, 2), round(pinion.computed, 2)
    (0.9, 0.73, 0.48)
    """
    return _KEPT.get((design, step_mm), lambda: _per_move(design, step_mm))


def _per_move(design: GearSetDesign, step_mm: float) -> tuple[BacklashPerMove, BacklashPerMove]:
    geometry = build_geometry(design)
    mesh = build_mesh(design, LENGTHWISE, PROFILE, ROLL_ANGLES)
    radius = design.ring_outer_diameter_mm / 2.0
    drive, coast = (math.degrees(a) for a in pressure_angles(geometry))
    beta = math.degrees(geometry.cones.spiral2)
    ratio = radius / geometry.cones.radius2
    factor = heel_reading_factor(geometry)
    closed = (
        backlash_per_ring_move(
            math.degrees(geometry.cones.delta2), beta, drive, coast, heel_radius_ratio=ratio
        ),
        backlash_per_pinion_move(
            math.degrees(geometry.cones.delta1), beta, drive, coast, heel_radius_ratio=ratio
        ),
    )
    centres = (
        (design.drive_center_lengthwise, design.drive_center_profile),
        (design.coast_center_lengthwise, design.coast_center_profile),
    )
    moves = (np.array([0.0, 0.0, -1.0]), geometry.cones.pinion_axis)
    out = []
    for k, sums in enumerate(closed):
        up, down = (
            free_turn(mesh, Settings(*((v, 0.0) if k else (0.0, v))))[0] * radius for v in (step_mm, -step_mm)
        )
        computed = (up - down) / (2.0 * step_mm)
        exact = first_order_per_move(geometry, moves[k], centres)
        out.append(BacklashPerMove(computed, exact, sums, computed * factor))
    return out[0], out[1]
