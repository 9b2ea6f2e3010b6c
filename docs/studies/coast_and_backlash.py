"""Which way the coast pattern goes when the ring gear moves, and what decides it.

    python docs/studies/coast_and_backlash.py

Trade manuals say of face-milled sets: less backlash moves both patterns toward the toe. Rolled here the drive
pattern does, the coast pattern stays nearly neutral. The study moves the ring gear 0.15 mm close and away and
prints half the difference of the pattern's lengthwise and profile places, toward the toe positive, per
0.15 mm close, while one thing at a time is changed.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np

from axlewright.contact.backlash import pressure_angles
from axlewright.contact.mesh import Mesh, Settings, build_mesh
from axlewright.contact.rolling import roll, roll_unloaded
from axlewright.errors import DesignError
from axlewright.gearset import (
    EaseOff,
    FlankName,
    GearSetDesign,
    build_geometry,
    conjugate_pinion,
    form_cut_flank,
    load_design,
)

STEP = 0.15
FLANKS: tuple[FlankName, ...] = ("drive", "coast")


def shift(mesh: Mesh, name: FlankName, move: Settings, ease_off: EaseOff) -> tuple[float, float]:
    """Return how far the pattern goes toward toe and root per `move`, from both senses of it."""
    film = mesh.geometry.design.compound_film_mm
    back = Settings(
        -move.pinion_out_mm, -move.ring_away_mm, -move.offset_error_mm, -move.shaft_angle_error_deg
    )
    here = roll_unloaded(mesh, name, move, ease_off, film)[0].center
    there = roll_unloaded(mesh, name, back, ease_off, film)[0].center
    return (there[0] - here[0]) / 2.0, (there[1] - here[1]) / 2.0


def table(title: str, rows: list[tuple[str, Mesh, Settings, EaseOff | None]]) -> None:
    """Print one table."""
    print(f"\n{title}\n")
    print("| case | drive to toe | drive to root | coast to toe | coast to root |")
    print("| --- | --- | --- | --- | --- |")
    for label, mesh, move, ease in rows:
        cells = []
        for name in FLANKS:
            own = mesh.geometry.design.ease_off(name) if ease is None else ease
            toe, root = shift(mesh, name, move, own)
            cells += [f"{toe:+.3f}", f"{root:+.3f}"]
        print(f"| {label} | {' | '.join(cells)} |")


@cache
def mesh_of(design: GearSetDesign) -> Mesh:
    """Return the mesh at the study's resolution."""
    return build_mesh(design, 64, 32, 96)


def with_blade_change(design: GearSetDesign, drive_deg: float, coast_deg: float) -> Mesh:
    """Return the mesh with blade angles changed by these amounts, cut anew."""
    base = mesh_of(design)
    geometry = build_geometry(design)
    pairs, cut = {}, {}
    for name, change in zip(FLANKS, (drive_deg, coast_deg), strict=True):
        ring = form_cut_flank(
            geometry.cones,
            geometry.blank,
            name,
            cutter_radius_mm=design.cutter_radius_mm,
            mean_pressure_angle_deg=design.mean_pressure_angle_deg + change,
        )
        pair = base.flank(name)
        made = conjugate_pinion(geometry.cones, ring, design.ratio, pair.x, pair.y)
        pairs[name] = replace(
            pair,
            ring=ring,
            points=made.points,
            normals=made.normals,
            contact_roll=made.contact_roll,
            lever=made.lever,
        )
        cut[name] = ring
    return Mesh(
        replace(geometry, drive=cut["drive"], coast=cut["coast"]),
        pairs["drive"],
        pairs["coast"],
        base.lengthwise,
        base.profile,
    )


def first_order(design: GearSetDesign) -> None:
    """Print the gap slopes that a ring-gear move opens at the middle of each flank."""
    geometry = build_geometry(design)
    print(f"\nGap over the tooth per 0.15 mm close, {design.name}, µm at the flank, middle taken off\n")
    print("| flank | toe | heel | root | top |")
    print("| --- | --- | --- | --- | --- |")
    for name in FLANKS:
        flank = geometry.flank(name)
        x, y = np.array([-0.5, 0.0, 0.5]), np.array([-0.5, 0.0, 0.5])
        made = conjugate_pinion(geometry.cones, flank, design.ratio, x, y)
        gx, gy = np.meshgrid(x, y)
        _, n = flank.points(gx, gy)
        # A pure ring-gear turn must give no slope: the gap is taken as a turn, then put back at the middle.
        turn = -STEP * n[..., 2] * -1.0 / made.lever
        gap = 1000.0 * (turn - turn[1, 1]) * made.lever[1, 1]
        print(f"| {name} | {gap[1, 0]:+.1f} | {gap[1, 2]:+.1f} | {gap[0, 1]:+.1f} | {gap[2, 1]:+.1f} |")


def cutter_radius(base: GearSetDesign) -> None:
    """Print how the two flanks share out with the cutter radius."""
    close = Settings(ring_away_mm=-STEP)
    print("\nCutter radius over mean cone distance: what both flanks do alike, and what they do opposite\n")
    print("| design | cutter radius | over R_m2 | drive to toe | coast to toe | both | opposite |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    cases = [(base, r) for r in (76.2, 88.9, 95.25, 107.95, 114.3, 127.0, 139.7, 152.4)]
    bevel = load_design("TY-176B")
    cases += [(bevel, r) for r in (63.5, 76.2, 95.25, 114.3, 152.4)]
    for design, radius in cases:
        # Standard depth, so that the taper does not change with the cutter.
        d = replace(design, cutter_radius_mm=radius, depth_taper="standard")
        try:
            mesh = mesh_of(d)
        except DesignError as error:
            print(f"| {design.name} | {radius:g} mm | {error.what} | | | | |")
            continue
        drive, coast = (shift(mesh, n, close, d.ease_off(n))[0] for n in FLANKS)
        ratio = radius / mesh.geometry.cones.cone_distance2
        print(
            f"| {design.name} | {radius:g} mm | {ratio:.2f} | {drive:+.3f} | {coast:+.3f} "
            f"| {(drive + coast) / 2:+.3f} | {(drive - coast) / 2:+.3f} |"
        )


def under_load() -> None:
    """Print the shift under load, mounts giving way."""
    print("\nUnder load, ring gear 0.15 mm close\n")
    print("| design | torque at the ring gear | drive to toe | coast to toe |")
    print("| --- | --- | --- | --- |")
    for design in (load_design(n) for n in ("TY-222", "TY-310", "TY-205H")):
        for torque in (50.0, 200.0, 600.0):
            toe = []
            for name in FLANKS:
                near, far = (
                    roll(design, name, ring_away_mm=v, torque_nm=torque).pattern.center[0]
                    for v in (-STEP, STEP)
                )
                toe.append((far - near) / 2.0)
            print(f"| {design.name} | {torque:g} N·m | {toe[0]:+.3f} | {toe[1]:+.3f} |")


def main() -> None:
    """Print all tables."""
    close = Settings(ring_away_mm=-STEP)
    base = load_design("TY-222")
    shop = [load_design(n) for n in ("TY-222", "TY-310", "TY-176B", "TY-205H")]
    table("Designs of the shop, ring gear 0.15 mm close", [(d.name, mesh_of(d), close, None) for d in shop])
    first_order(base)
    table(
        "Depth taper, TY-222",
        [(t, mesh_of(replace(base, depth_taper=t)), close, None) for t in ("standard", "duplex", "constant")],
    )
    rows = []
    for drive, coast in ((0.0, 0.0), (2.4, 0.0), (0.0, -2.4), (2.4, -2.4), (5.0, -5.0), (-3.0, 3.0)):
        rows.append(
            (f"drive {drive:+.1f}°, coast {coast:+.1f}°", with_blade_change(base, drive, coast), close, None)
        )
    table("Blade angles changed (2.4° is what the tilt of the root plane takes off), TY-222", rows)
    cutter_radius(base)
    table(
        "Offset, TY-222",
        [(f"{a:g} mm", mesh_of(replace(base, offset_mm=a)), close, None) for a in (15.0, 25.0, 38.0, 45.0)],
    )
    own = base.ease_off("coast")
    table(
        "Ease-off, TY-222 (the same on both flanks)",
        [
            (label, mesh_of(base), close, ease)
            for label, ease in (
                ("as shipped", own),
                ("twist +0.01 mm", replace(own, twist_mm=0.01)),
                ("twist −0.01 mm", replace(own, twist_mm=-0.01)),
                ("twist +0.02 mm", replace(own, twist_mm=0.02)),
                ("twist −0.02 mm", replace(own, twist_mm=-0.02)),
                ("half the lengthwise crown", replace(own, lengthwise_crown_mm=0.015)),
                (
                    "profile crown 0.012 mm, no relief",
                    replace(own, profile_crown_mm=0.012, top_root_relief_mm=0.0),
                ),
                (
                    "profile crown 0.030 mm, no relief",
                    replace(own, profile_crown_mm=0.030, top_root_relief_mm=0.0),
                ),
                ("developed toward the toe, −0.3", replace(own, center_lengthwise=-0.3)),
                ("developed toward the heel, +0.3", replace(own, center_lengthwise=0.3)),
                ("developed low, −0.3", replace(own, center_profile=-0.3)),
                ("developed high, +0.3", replace(own, center_profile=0.3)),
            )
        ],
    )
    table(
        "The ring gear moved close together with something else, TY-222",
        [
            (label, mesh_of(base), move, None)
            for label, move in (
                ("ring gear alone", close),
                ("pinion 0.05 mm in as well", Settings(-0.05, -STEP)),
                ("pinion 0.10 mm in as well", Settings(-0.10, -STEP)),
                ("pinion 0.05 mm out as well", Settings(0.05, -STEP)),
                ("pinion out until the drive keeps its height", Settings(0.018, -STEP)),
                ("offset 0.02 mm smaller as well", Settings(0.0, -STEP, -0.02)),
                ("offset 0.05 mm smaller as well", Settings(0.0, -STEP, -0.05)),
                ("offset 0.05 mm larger as well", Settings(0.0, -STEP, 0.05)),
                ("shaft angle 0.02° opened as well", Settings(0.0, -STEP, 0.0, 0.02)),
                ("shaft angle 0.05° opened as well", Settings(0.0, -STEP, 0.0, 0.05)),
                ("shaft angle 0.05° closed as well", Settings(0.0, -STEP, 0.0, -0.05)),
            )
        ],
    )
    under_load()
    print("\nAngles at the mean point\n")
    print("| design | drive pressure angle | coast pressure angle | spiral β2 | dedendum angle |")
    print("| --- | --- | --- | --- | --- |")
    for d in shop:
        g = build_geometry(d)
        drive, coast = (math.degrees(a) for a in pressure_angles(g))
        print(
            f"| {d.name} | {drive:.2f}° | {coast:.2f}° | {math.degrees(g.cones.spiral2):.2f}° "
            f"| {math.degrees(g.blank.dedendum_angle2):.2f}° |"
        )


if __name__ == "__main__":
    main()
