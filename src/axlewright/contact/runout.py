"""What runout does when rolled: pattern, motion error and backlash around the ring gear.

A mounted gear that runs out is the same gear set slightly beside its axis and slightly aslant. That
displacement stands still in the turning gear, so each tooth meets its own constant displacement: turned back
by the tooth's place around the gear. Nothing is linearised and no settings error is averaged.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from axlewright.contact import reference
from axlewright.contact.backlash import FLANKS
from axlewright.contact.marks import ContactPattern, measure_mask, onto_ring
from axlewright.contact.mesh import Mesh, Settings, build_mesh, relieved_points, roll_transforms, y_floor
from axlewright.errors import ContactError, InputError
from axlewright.gearset import FlankName, GearSetDesign, rotation_about
from axlewright.language import Number, _

Array = NDArray[np.float64]

LENGTHWISE, PROFILE, ROLL_ANGLES = 48, 24, 80
LARGEST_TIR_MM = 1.0


@dataclass(frozen=True, slots=True)
class Runout:
    """First harmonic of runout as a dial reads it: total indicator readings and where they are highest.

    Attributes
    ----------
    ring_face_tir_mm : float
        On the ring gear's back face at its outer pitch diameter [mm]: the gear stands aslant.
    ring_radial_tir_mm : float
        On the ring gear's outer diameter [mm]: the gear sits beside its axis.
    pinion_radial_tir_mm : float
        Of the pinion's teeth at the mean point [mm].
    ring_face_high_deg, ring_radial_high_deg, pinion_radial_high_deg : float
        Where the reading is highest, in the gear's own turn from the tooth rolled first [deg]; highest on
        the face means nearest to the pinion's side.
    """

    ring_face_tir_mm: float = 0.0
    ring_radial_tir_mm: float = 0.0
    pinion_radial_tir_mm: float = 0.0
    ring_face_high_deg: float = 0.0
    ring_radial_high_deg: float = 0.0
    pinion_radial_high_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class RunoutFlank:
    """One flank over a turn of the ring gear.

    Attributes
    ----------
    flank : {"drive", "coast"}
    patterns : tuple of ContactPattern
        One for each ring-gear tooth, in the order they mesh.
    motion_error_urad : array, shape (teeth · per_pitch,)
        Over the turn, forward in time, mean removed [µrad].
    gap_urad : array, shape (teeth,)
        Mean gap in each pitch [µrad], in the order the teeth mesh.
    """

    flank: FlankName
    patterns: tuple[ContactPattern, ...]
    motion_error_urad: Array
    gap_urad: Array

    @property
    def wander(self) -> tuple[float, float]:
        """How far the pattern's centre wanders around the gear, largest less least, both ways."""
        centers = np.array([p.center for p in self.patterns if not p.empty])
        if not len(centers):
            return 0.0, 0.0
        spread = np.ptp(centers, axis=0)
        return float(spread[0]), float(spread[1])

    def order_urad(self, order: float) -> float:
        """Return the amplitude at an order, in events per turn of the ring gear [µrad].

        The turn is one period only for whole orders; others are taken by a plain Fourier sum with a Hann
        window, which resolves two orders.

        Parameters
        ----------
        order : float
            Events per turn of the ring gear.
        """
        n = len(self.motion_error_urad)
        turn = np.arange(n) / n
        whole = abs(order - round(order)) < 1e-9
        window = np.ones(n) if whole else 1.0 - np.cos(2.0 * np.pi * turn)
        return float(2.0 * abs(np.mean(self.motion_error_urad * window * np.exp(-2j * np.pi * order * turn))))


@dataclass(frozen=True, slots=True)
class RunoutRolling:
    """Both flanks over a turn of the ring gear.

    Attributes
    ----------
    design : GearSetDesign
    settings : Settings
    runout : Runout
    drive, coast : RunoutFlank
    backlash_mm : array, shape (teeth,)
        Backlash in rotation at the outer pitch diameter, in the order the teeth mesh [mm].
    """

    design: GearSetDesign
    settings: Settings
    runout: Runout
    drive: RunoutFlank
    coast: RunoutFlank
    backlash_mm: Array

    def flank(self, name: FlankName) -> RunoutFlank:
        """Return the named flank.

        Parameters
        ----------
        name : {"drive", "coast"}
        """
        return self.drive if name == "drive" else self.coast

    @property
    def backlash_variation_mm(self) -> float:
        """Largest less least backlash around the ring gear [mm]."""
        return float(np.ptp(self.backlash_mm))

    def sidebands_urad(self, name: FlankName, harmonic: int = 1) -> dict[str, float]:
        """Return the mesh order and the orders one turn beside it [µrad].

        Keys: ``mesh``, ``ring_below``, ``ring_above``, ``pinion_below``, ``pinion_above``, ``ring_once``.

        Parameters
        ----------
        name : {"drive", "coast"}
        harmonic : int
            Of the tooth mesh.
        """
        mesh = harmonic * self.design.ring_teeth
        u = self.design.ratio
        side = self.flank(name)
        return {
            "mesh": side.order_urad(mesh),
            "ring_below": side.order_urad(mesh - 1),
            "ring_above": side.order_urad(mesh + 1),
            "pinion_below": side.order_urad(mesh - u),
            "pinion_above": side.order_urad(mesh + u),
            "ring_once": side.order_urad(1),
        }


def _ring_error(design: GearSetDesign, runout: Runout, height: float, start: float) -> tuple[Array, Array]:
    """Return the displacement of the ring gear's body: point → matrix @ point + shift, in the turning frame.

    The gear tilts about the point of its axis level with the mean point, so that face runout moves the
    teeth along the axis and radial runout square to it.
    """
    tilt = runout.ring_face_tir_mm / design.ring_outer_diameter_mm
    at = start + math.radians(runout.ring_face_high_deg)
    # The face is highest toward the pinion, −z, where the angle is `at`.
    axis = np.array([math.sin(at), -math.cos(at), 0.0])
    matrix = rotation_about(axis, np.array(-tilt))
    centre = np.array([0.0, 0.0, height])
    side = start + math.radians(runout.ring_radial_high_deg)
    radial = 0.5 * runout.ring_radial_tir_mm * np.array([math.cos(side), math.sin(side), 0.0])
    return matrix, centre - matrix @ centre + radial


def _flank(mesh: Mesh, name: FlankName, settings: Settings, runout: Runout) -> RunoutFlank:
    design, geometry = mesh.geometry.design, mesh.geometry
    pair = mesh.flank(name)
    teeth = design.ring_teeth
    points = relieved_points(pair, design.ease_off(name))
    cones = geometry.cones
    u1, origin = cones.pinion_axis, np.array([0.0, cones.offset, 0.0])
    start = math.atan2(cones.mean_point[1], cones.mean_point[0])
    matrices, shifts = roll_transforms(geometry, settings, pair.roll)
    tilt, move = _ring_error(design, runout, float(cones.mean_point[2]), start)
    radial = cones.mean_point - origin
    radial = radial - (radial @ u1) * u1
    radial /= np.linalg.norm(radial)
    n, per = len(pair.roll), pair.per_pitch
    whole = np.full(teeth * per, np.inf)
    stored = []
    ez = np.array([0.0, 0.0, 1.0])
    for k in range(teeth):
        back = rotation_about(ez, np.array(-k * pair.pitch))
        # Ideal ring-gear coordinates of a point: the body's displacement undone, in this tooth's frame.
        undo = back @ tilt.T @ back.T
        offset = -back @ tilt.T @ move
        # Tooth k of the ring gear meets the pinion turned on by k pinion pitches.
        turned = rotation_about(
            u1,
            np.array(math.radians(runout.pinion_radial_high_deg) + k * 2.0 * math.pi / design.pinion_teeth),
        )
        eccentric = 0.5 * runout.pinion_radial_tir_mm * (turned @ radial)
        m = undo @ matrices
        s = shifts @ undo.T + offset
        gap, x, y = reference.gaps(pair, points + eccentric, m, s, y_floor(mesh))
        curve = reference.pair_curve(gap)
        # Tooth k stands k pitches further on, so it meshes k pitches earlier in the ring gear's roll.
        index = (np.arange(n) - k * per) % (teeth * per)
        np.minimum.at(whole, index, curve)
        stored.append((gap.astype(np.float32), x.astype(np.float32), y.astype(np.float32), index))
    lost = float(np.mean(~np.isfinite(whole)))
    if lost > 0.0:
        raise ContactError(
            _("the teeth leave contact for {share} of the turn").format(share=Number(lost, ".0%")),
            where=_("{flank} flank").format(flank=_(name)),
            fix=_("bring the settings errors or the runout nearer to zero"),
        )
    patterns = []
    for small_gap, small_x, small_y, index in stored:
        nearest, at_x, at_y = reference.marks(
            pair, small_gap.astype(float), whole[index], small_x.astype(float), small_y.astype(float)
        )
        on_ring = onto_ring(pair.x, pair.y, at_x, at_y, nearest, mesh.lengthwise, mesh.profile)
        patterns.append(measure_mask(on_ring < design.compound_film_mm, name, on_ring))
    curve_urad = whole * 1e6
    # In time: tooth 0, then the tooth whose path follows in the forward sense of the roll.
    forward = pair.forward
    ordered = curve_urad if forward > 0 else curve_urad[::-1]
    gap_of_pitch = np.array(
        [
            curve_urad[(np.arange(per) + n // 2 - per // 2 - k * per) % (teeth * per)].mean()
            for k in range(teeth)
        ]
    )
    teeth_in_time = np.arange(teeth) if forward < 0 else (-np.arange(teeth)) % teeth
    sign = -1.0 if name == "drive" else 1.0
    return RunoutFlank(
        name,
        tuple(patterns[k] for k in teeth_in_time),
        sign * (ordered - ordered.mean()),
        gap_of_pitch[teeth_in_time],
    )


def roll_runout(
    design: GearSetDesign,
    runout: Runout,
    settings: Settings | None = None,
    *,
    lengthwise: int = LENGTHWISE,
    profile: int = PROFILE,
    roll_angles: int = ROLL_ANGLES,
) -> RunoutRolling:
    """Roll both flanks over a whole turn of the ring gear with runout, without load.

    Load is left out: it would take a load sharing at every roll angle of every tooth, some 40 times a rolling
    under load.

    Parameters
    ----------
    design : GearSetDesign
    runout : Runout
    settings : Settings, optional
    lengthwise, profile, roll_angles : int
        Resolution.

    Returns
    -------
    RunoutRolling

    Raises
    ------
    InputError
        For a reading no gear could run with.
    ContactError
        When the teeth leave contact.
    """
    for field in ("ring_face_tir_mm", "ring_radial_tir_mm", "pinion_radial_tir_mm"):
        value = getattr(runout, field)
        if not 0.0 <= value <= LARGEST_TIR_MM:
            raise InputError(
                _("a runout of {value} mm").format(value=Number(value, "g")),
                where=field,
                fix=_("give a total reading of 0 to {largest_tir_mm} mm").format(
                    largest_tir_mm=Number(LARGEST_TIR_MM, "g")
                ),
            )
    mesh = build_mesh(design, lengthwise, profile, roll_angles)
    here = settings or Settings()
    drive, coast = (_flank(mesh, name, here, runout) for name in FLANKS)
    true = Settings()
    radius = design.ring_outer_diameter_mm / 2.0
    nominal = sum(_mean_gap(mesh, name, true) for name in FLANKS)
    backlash = design.backlash_nominal_mm + (drive.gap_urad + coast.gap_urad - nominal) * 1e-6 * radius
    return RunoutRolling(design, here, runout, drive, coast, backlash)


def _mean_gap(mesh: Mesh, name: FlankName, settings: Settings) -> float:
    """Return the mean gap without runout at the same resolution [µrad]."""
    pair = mesh.flank(name)
    points = relieved_points(pair, mesh.geometry.design.ease_off(name))
    matrices, shifts = roll_transforms(mesh.geometry, settings, pair.roll)
    gap, _rest, _rest2 = reference.gaps(pair, points, matrices, shifts, y_floor(mesh))
    lowest = reference.envelope(reference.pair_curve(gap), pair.per_pitch)
    return float(lowest[: pair.per_pitch].mean() * 1e6)
