"""Roll a set without load: marks, motion error, backlash shift."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import Akima1DInterpolator

from axlewright.contact import compiled, reference
from axlewright.contact.loaded import LoadedResult, roll_loaded
from axlewright.contact.marks import ContactPattern, measure_mask, onto_ring
from axlewright.contact.measured import MeasuredSet
from axlewright.contact.mesh import (
    LENGTHWISE_POINTS,
    PROFILE_POINTS,
    ROLL_ANGLES,
    FlankMesh,
    Kernel,
    Mesh,
    Settings,
    build_mesh,
    relieved_points,
    roll_transforms,
    y_floor,
)
from axlewright.errors import ContactError, InputError
from axlewright.gearset import EaseOff, FlankName, GearSetDesign
from axlewright.language import Number, Text, _

Array = NDArray[np.float64]
FINER = 4  # the motion error is given at this many times the roll angles
# How far beyond its own share of the envelope a pair's curve is followed [rad]. Only a set without ease-off
# needs it, whose envelope is level; elsewhere anything from 0 to 1e-3 gives the same motion error.
CHANGEOVER_MARGIN_RAD = 2e-4


@dataclass(frozen=True, slots=True, repr=False)
class Rolling:
    """What one flank pair does when rolled at a setting.

    Attributes
    ----------
    design : GearSetDesign
    flank : {"drive", "coast"}
    settings : Settings
    torque_nm : float
        Torque at the ring gear [N·m]; 0 without load.
    pattern : ContactPattern
    motion_error_urad : array, shape (n,)
        Ring-gear angle less the nominal one over one pitch, forward in time, mean removed [µrad].
    shift_urad : float
        Mean gap the ring gear turns before touching [µrad]; changes with the setting as backlash does.
    contact_path : array, shape (m, 2)
        (lengthwise, profile) of the touching point over one pair's path where that pair carries; empty
        under load, where lines touch.
    loaded : LoadedResult or None
        Load shares, pressures, forces and mount movements when rolled under load.
    measured : tuple of Text
        What was measured, a sentence for each flank; empty for a set as designed.
    """

    design: GearSetDesign
    flank: FlankName
    settings: Settings
    torque_nm: float
    pattern: ContactPattern
    motion_error_urad: Array
    shift_urad: float
    contact_path: Array
    loaded: LoadedResult | None = None
    measured: tuple[Text, ...] = ()

    def __repr__(self) -> str:
        s = self.settings
        return (
            f"<Rolling {self.design.name} {self.flank}: pinion {s.pinion_out_mm:+.4f} mm out, ring gear "
            f"{s.ring_away_mm:+.4f} mm away, {self.torque_nm:g} N·m; {self.pattern.describe()}; "
            f"motion error {self.motion_error_pp_urad:.1f} µrad>"
        )

    @property
    def motion_error_pp_urad(self) -> float:
        """Peak-to-peak motion error over one pitch [µrad]."""
        return float(np.ptp(self.motion_error_urad))

    def harmonics_urad(self, count: int = 6) -> Array:
        """Return the amplitudes of the first mesh harmonics of the motion error, shape (count,) [µrad].

        Parameters
        ----------
        count : int
            Harmonics of the tooth mesh, from the first.
        """
        n = len(self.motion_error_urad)
        spectrum = np.abs(np.fft.rfft(self.motion_error_urad)) * 2.0 / n
        out = np.zeros(count)
        take = min(count, len(spectrum) - 1)
        out[:take] = spectrum[1 : take + 1]
        return out

    def summary(self) -> dict[str, Any]:
        """Return the results as plain data for JSON."""
        return {
            "design": self.design.name,
            "flank": self.flank,
            "settings": {
                "pinion_out_mm": self.settings.pinion_out_mm,
                "ring_away_mm": self.settings.ring_away_mm,
                "offset_error_mm": self.settings.offset_error_mm,
                "shaft_angle_error_deg": self.settings.shaft_angle_error_deg,
            },
            "torque_nm": self.torque_nm,
            "pattern": self.pattern.summary(),
            "motion_error_pp_urad": round(self.motion_error_pp_urad, 3),
            "harmonics_urad": [round(float(v), 3) for v in self.harmonics_urad()],
            "load": None if self.loaded is None else self.loaded.summary(),
            "estimated_fields": [e.field for e in self.design.estimates],
            "measured": [str(one) for one in self.measured],
        }


def check_flank(flank: str) -> FlankName:
    """Return the flank's name or say what would be right.

    Parameters
    ----------
    flank : str
    """
    if flank == "drive":
        return "drive"
    if flank == "coast":
        return "coast"
    raise InputError(
        _("unknown flank '{flank}'").format(flank=flank), where=_("flank"), fix=_("use drive or coast")
    )


def roll_unloaded(
    mesh: Mesh,
    flank: FlankName,
    settings: Settings,
    ease_off: EaseOff,
    film_mm: float,
    *,
    kernel: Kernel = "auto",
) -> tuple[ContactPattern, Array, Array, Array]:
    """Roll one flank pair without load.

    Parameters
    ----------
    mesh : Mesh
    flank : {"drive", "coast"}
    settings : Settings
    ease_off : EaseOff
    film_mm : float
        Compound film [mm].
    kernel : {"auto", "compiled", "reference"}
        "auto" takes the compiled kernel where numba is installed.

    Returns
    -------
    pattern : ContactPattern
    curve : array, shape (nroll,)
        Least gap of one pair along its path [rad].
    lowest : array, shape (nroll,)
        Envelope over neighbouring pairs [rad].
    path : array, shape (m, 2)
        Contact path on the ring-gear tooth.

    Raises
    ------
    ContactError
        When the teeth do not touch over a whole pitch.
    """
    pair = mesh.flank(flank)
    points = relieved_points(pair, ease_off)
    matrices, shifts = roll_transforms(mesh.geometry, settings, pair.roll)
    if kernel != "reference" and compiled.AVAILABLE:
        curve, lowest, nearest, at_x, at_y, path = compiled.roll_pair(
            pair, points, matrices, shifts, y_floor(mesh)
        )
    else:
        curve, lowest, nearest, at_x, at_y, path = reference.roll_pair(
            pair, points, matrices, shifts, y_floor(mesh)
        )
    lost = float(np.mean(~np.isfinite(lowest[: pair.per_pitch])))
    if lost > 0.0:
        raise ContactError(
            _("the teeth leave contact for {share} of each pitch").format(share=Number(lost, ".0%")),
            where=_("{flank} flank").format(flank=_(flank)),
            fix=_("bring the settings errors nearer to zero"),
        )
    pattern = _mark(mesh, pair, nearest, at_x, at_y, film_mm)
    return pattern, curve, lowest, path


def _mark(
    mesh: Mesh, pair: FlankMesh, nearest: Array, at_x: Array, at_y: Array, film_mm: float
) -> ContactPattern:
    on_ring = onto_ring(pair.x, pair.y, at_x, at_y, nearest, mesh.lengthwise, mesh.profile)
    return measure_mask(on_ring < film_mm, pair.name, on_ring)


def roll(
    design: GearSetDesign,
    flank: str = "drive",
    pinion_out_mm: float = 0.0,
    ring_away_mm: float = 0.0,
    offset_error_mm: float = 0.0,
    shaft_angle_error_deg: float = 0.0,
    torque_nm: float = 0.0,
    *,
    ease_off: EaseOff | None = None,
    measured: MeasuredSet | None = None,
    lengthwise: int = LENGTHWISE_POINTS,
    profile: int = PROFILE_POINTS,
    roll_angles: int = ROLL_ANGLES,
    kernel: Kernel = "auto",
) -> Rolling:
    """Roll one flank pair of a set at a setting and load.

    Parameters
    ----------
    design : GearSetDesign
    flank : {"drive", "coast"}
    pinion_out_mm, ring_away_mm, offset_error_mm : float
        Settings errors [mm]; see `Settings` for signs.
    shaft_angle_error_deg : float
        [deg].
    torque_nm : float
        Torque at the ring gear ≥ 0 [N·m]; 0 rolls without load.
    ease_off : EaseOff, optional
        In place of the design's own, or of a measured pinion's.
    measured : MeasuredSet, optional
        Measured flanks of this design, from `read_measured`; the rest is as designed.
    lengthwise, profile, roll_angles : int
        Resolution.
    kernel : {"auto", "compiled", "reference"}

    Returns
    -------
    Rolling

    Raises
    ------
    InputError, DesignError, ContactError
        With the number that causes it.
    """
    name = check_flank(flank)
    for field, value, limit in (
        ("pinion_out_mm", pinion_out_mm, 0.006 * design.ring_outer_diameter_mm),
        ("ring_away_mm", ring_away_mm, 0.006 * design.ring_outer_diameter_mm),
        ("offset_error_mm", offset_error_mm, 0.006 * design.ring_outer_diameter_mm),
        ("shaft_angle_error_deg", shaft_angle_error_deg, 2.0),
    ):
        if not isinstance(value, (int, float, np.floating, np.integer)):
            raise ValueError(f"{field} = {value!r} is not a number")
        if not np.isfinite(value) or abs(value) > limit:
            raise InputError(
                _("{value} is beyond what this set could be rolled at").format(value=Number(value, "g")),
                where=field,
                fix=_("stay within ±{limit}").format(limit=Number(limit, ".3g")),
            )
    if not np.isfinite(torque_nm) or torque_nm < 0.0:
        raise InputError(
            _("{torque_nm} N·m is no load").format(torque_nm=Number(torque_nm, "g")),
            where="torque_nm",
            fix=_("give a torque of 0 or more"),
        )
    settings = Settings(
        float(pinion_out_mm), float(ring_away_mm), float(offset_error_mm), float(shaft_angle_error_deg)
    )
    notes: tuple[Text, ...] = ()
    if measured is None:
        mesh, ease = build_mesh(design, lengthwise, profile, roll_angles), design.ease_off(name)
    else:
        if measured.design != design:
            raise ValueError(
                f"the flanks were measured against {measured.design.name}: "
                "read them against the design that is rolled"
            )
        mesh, ease = measured.mesh(lengthwise, profile, roll_angles), measured.ease_off(name)
        notes = tuple(measured.sentences())
    pair = mesh.flank(name)
    ease = ease if ease_off is None else ease_off
    if torque_nm > 0.0:
        loaded = roll_loaded(
            mesh, name, settings, ease, design.compound_film_mm, float(torque_nm), kernel=kernel
        )
        return Rolling(
            design,
            name,
            settings,
            float(torque_nm),
            loaded.pattern,
            loaded.motion_error_urad,
            loaded.mean_twist_urad,
            np.zeros((0, 2)),
            loaded,
            notes,
        )
    pattern, curve, lowest, path = roll_unloaded(
        mesh, name, settings, ease, design.compound_film_mm, kernel=kernel
    )
    error, shift = motion_error(pair, curve, lowest)
    carries = curve <= lowest + 1e-12
    return Rolling(design, name, settings, 0.0, pattern, error, shift, path[carries], None, notes)


def motion_error(pair: FlankMesh, curve: Array, lowest: Array) -> tuple[Array, float]:
    """Return the motion error over one pitch, forward in time [µrad], and the mean gap [µrad].

    On drive a gap lets the ring gear lag, on coast it lets it lead. The curve of one pair is smooth, the
    change-over between pairs is a corner: so the pair's curve is interpolated to a finer roll before the
    pairs are laid over each other.

    Parameters
    ----------
    pair : FlankMesh
    curve, lowest : array, shape (nroll,)
        Least gap of one pair and of all pairs [rad].

    Returns
    -------
    error : array, shape (FINER · per_pitch,)
    shift : float
    """
    reach = float(lowest.max() - lowest.min()) + CHANGEOVER_MARGIN_RAD
    near = np.flatnonzero(np.isfinite(curve) & (curve <= lowest + reach))
    run = np.arange(near[0], near[-1] + 1)
    run = run[np.isfinite(curve[run])]
    fine_count = FINER * pair.per_pitch
    fine = np.arange(run[0] * FINER, run[-1] * FINER + 1)
    values = Akima1DInterpolator(run * FINER, curve[run])(fine)
    one = np.full(fine_count, np.inf)
    np.minimum.at(one, fine % fine_count, values)
    one = one * 1e6
    if pair.forward < 0:
        one = one[::-1]
    sign = -1.0 if pair.name == "drive" else 1.0
    return sign * (one - one.mean()), float(one.mean())
