"""Everything that follows from a design before it is rolled: cones, blank and both ring-gear flanks."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from axlewright.gearset.blank import Blank, make_blank
from axlewright.gearset.design import GearSetDesign
from axlewright.gearset.flank import FlankName, RingFlank, form_cut_flank, indexed_flank
from axlewright.gearset.pitch import PitchCones, solve_pitch_cones


@dataclass(frozen=True, slots=True)
class Geometry:
    """Geometry of a set.

    Attributes
    ----------
    design : GearSetDesign
    cones : PitchCones
    blank : Blank
    drive, coast : RingFlank
        Convex and concave flank of the ring gear.
    """

    design: GearSetDesign
    cones: PitchCones
    blank: Blank
    drive: RingFlank
    coast: RingFlank

    def flank(self, name: FlankName) -> RingFlank:
        """Return the named flank.

        Parameters
        ----------
        name : {"drive", "coast"}
        """
        return self.drive if name == "drive" else self.coast


@lru_cache(maxsize=32)
def build_geometry(design: GearSetDesign) -> Geometry:
    """Solve cones and blank and cut both flanks.

    Parameters
    ----------
    design : GearSetDesign

    Raises
    ------
    DesignError
        When the set cannot exist, with the number that causes it.
    """
    d = design
    cones = solve_pitch_cones(
        pinion_teeth=d.pinion_teeth,
        ring_teeth=d.ring_teeth,
        offset_mm=d.offset_mm,
        ring_outer_diameter_mm=d.ring_outer_diameter_mm,
        face_width_mm=d.face_width_mm,
        pinion_spiral_angle_deg=d.pinion_spiral_angle_deg,
        cutter_radius_mm=d.cutter_radius_mm,
        shaft_angle_deg=d.shaft_angle_deg,
        blade_groups=d.blade_groups,
    )
    blank = make_blank(
        cones,
        ratio=d.ratio,
        ring_teeth=d.ring_teeth,
        face_width_mm=d.face_width_mm,
        cutter_radius_mm=d.cutter_radius_mm,
        mean_pressure_angle_deg=d.mean_pressure_angle_deg,
        depth_taper=d.depth_taper,
    )

    def cut(name: FlankName) -> RingFlank:
        if d.blade_groups:
            return indexed_flank(
                cones,
                blank,
                name,
                ring_teeth=d.ring_teeth,
                blade_groups=d.blade_groups,
                cutter_radius_mm=d.cutter_radius_mm,
                mean_pressure_angle_deg=d.mean_pressure_angle_deg,
            )
        return form_cut_flank(
            cones,
            blank,
            name,
            cutter_radius_mm=d.cutter_radius_mm,
            mean_pressure_angle_deg=d.mean_pressure_angle_deg,
        )

    return Geometry(d, cones, blank, cut("drive"), cut("coast"))
