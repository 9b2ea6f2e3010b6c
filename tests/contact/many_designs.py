"""Designs of both tooth forms to test on: offsets, hands, shaft angles and tapers the shop lacks."""

from __future__ import annotations

from axlewright.gearset import GearSetDesign, design_from_fields


def _make(name: str, **fields: object) -> GearSetDesign:
    base: dict[str, object] = {"name": name, "mean_pressure_angle_deg": 20.0}
    return design_from_fields({**base, **fields})


MANY = {
    d.name: d
    for d in (
        _make("hypoid-duplex", pinion_teeth=10, ring_teeth=41, offset_mm=38.1, ring_outer_diameter_mm=234.95,
              face_width_mm=36.5, pinion_spiral_angle_deg=50, cutter_radius_mm=95.25, depth_taper="duplex"),
        _make("hypoid-standard", pinion_teeth=13, ring_teeth=42, offset_mm=15, ring_outer_diameter_mm=170,
              face_width_mm=30, pinion_spiral_angle_deg=50, cutter_radius_mm=63.5, depth_taper="standard"),
        _make("hypoid-constant", pinion_teeth=11, ring_teeth=41, offset_mm=30, ring_outer_diameter_mm=205,
              face_width_mm=33, pinion_spiral_angle_deg=50, cutter_radius_mm=76.2, depth_taper="constant"),
        _make("spiral-bevel-right", pinion_teeth=14, ring_teeth=39, offset_mm=0, ring_outer_diameter_mm=176.9,
              face_width_mm=25.4, pinion_spiral_angle_deg=35, cutter_radius_mm=114.3, hand="right"),
        _make("hobbed", pinion_teeth=11, ring_teeth=41, offset_mm=38, ring_outer_diameter_mm=222,
              face_width_mm=33, pinion_spiral_angle_deg=50, cutter_radius_mm=88, blade_groups=17),
        _make("hobbed-spiral-bevel", pinion_teeth=13, ring_teeth=38, offset_mm=0, ring_outer_diameter_mm=190,
              face_width_mm=28, pinion_spiral_angle_deg=36, cutter_radius_mm=76, blade_groups=13),
        _make("shaft-80", pinion_teeth=12, ring_teeth=41, offset_mm=25, ring_outer_diameter_mm=210,
              face_width_mm=30, pinion_spiral_angle_deg=47, cutter_radius_mm=95.25, shaft_angle_deg=80),
        _make("shaft-100", pinion_teeth=14, ring_teeth=39, offset_mm=0, ring_outer_diameter_mm=180,
              face_width_mm=25, pinion_spiral_angle_deg=35, cutter_radius_mm=114.3, shaft_angle_deg=100),
    )
}  # fmt: skip
