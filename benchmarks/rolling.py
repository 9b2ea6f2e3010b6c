"""Speed and accuracy of rolling: tables for docs/method.md.

    python benchmarks/rolling.py [--design TY-222] [--torque 200] [--no-load] [--repeats 15]

One core after warm-up; processor times, so that other work on the machine does not count. First-call time is
taken in a fresh interpreter with an empty cache of compiled kernels. What no run here can say is left out.
"""

from __future__ import annotations

import argparse
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from axlewright.contact import Mesh, Settings, build_mesh, compiled, reference
from axlewright.contact.mesh import ROLL_ANGLES, prepare_mesh, relieved_points, roll_transforms, y_floor
from axlewright.contact.rolling import motion_error, roll, roll_unloaded
from axlewright.gearset import FlankName, GearSetDesign, design_from_fields, load_design, shipped_designs

FLANKS: tuple[FlankName, ...] = ("drive", "coast")


def median_ms(call: Callable[[], object], repeats: int) -> tuple[float, float]:
    """Return median and least processor time of a call [ms] after one for warm-up.

    Processor time of this process, so that other work on the machine does not count as ours.
    """
    call()
    times = []
    for _ in range(repeats):
        start = time.process_time()
        call()
        times.append(time.process_time() - start)
    return 1000.0 * statistics.median(times), 1000.0 * min(times)


def first_call_s(name: str) -> tuple[float, float]:
    """Return the time of the first rolling of a fresh interpreter, without and with kept kernels [s]."""
    code = (
        "import time; import axlewright as aw; "
        f"aw.roll(aw.load_design({name!r}), 'drive'); print(time.process_time())"
    )
    with tempfile.TemporaryDirectory() as folder:
        env = os.environ | {"NUMBA_CACHE_DIR": folder}
        out = [
            float(
                subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, check=True).stdout
            )
            for _ in range(2)
        ]
    return out[0], out[1]


def speed(design: GearSetDesign, torque_nm: float, loaded: bool, repeats: int) -> None:
    """Print the speed table."""
    mesh = build_mesh(design)
    here = Settings(0.02, 0.01)

    def both(kernel: str) -> None:
        for name in FLANKS:
            roll_unloaded(mesh, name, here, design.ease_off(name), design.compound_film_mm, kernel=kernel)

    fast = median_ms(lambda: both("auto"), repeats)
    slow = median_ms(lambda: both("reference"), max(3, repeats // 5))
    grid = f"{mesh.lengthwise}×{mesh.profile} points, {len(mesh.drive.roll)} roll angles"
    print(f"\nSpeed, {design.name}, {grid}, one core, processor time after warm-up\n")
    print("| what | median | least |")
    print("| --- | --- | --- |")
    print(f"| both flanks without load, compiled | {fast[0]:.1f} ms | {fast[1]:.1f} ms |")
    print(f"| both flanks without load, NumPy reference, same run | {slow[0]:.0f} ms | {slow[1]:.0f} ms |")
    print(f"| compiled against reference | {slow[0] / fast[0]:.0f}× | {slow[1] / fast[1]:.0f}× |")
    if loaded:
        start = time.process_time()
        for name in FLANKS:
            roll(design, name, torque_nm=torque_nm)
        first = time.process_time() - start
        under = median_ms(lambda: [roll(design, n, 0.02, torque_nm=torque_nm) for n in FLANKS], repeats)
        print(f"| both flanks at {torque_nm:g} N·m | {under[0]:.1f} ms | {under[1]:.1f} ms |")
        print(f"| first rolling under load, influence matrices read or computed | {first:.1f} s | |")
    start = time.process_time()
    prepare_mesh(design, mesh.lengthwise, mesh.profile, ROLL_ANGLES)
    print(f"| preparing a design | {1000 * (time.process_time() - start):.0f} ms | |")
    cold, warm = first_call_s(design.name)
    print(f"| first rolling of a fresh interpreter, kernels compiled | {cold:.1f} s | |")
    print(f"| first rolling of a fresh interpreter, kernels kept on disk | {warm:.1f} s | |")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"| most memory of this run, reference included | {peak:.0f} MB | |")


def refinement(design: GearSetDesign) -> None:
    """Print how results change with the grid."""
    print(f"\nGrid refinement, {design.name}, pinion 0.05 mm out, no load\n")
    print(
        "| lengthwise × profile | roll angles | drive centre | coast centre | drive length "
        "| drive motion error µrad | coast motion error µrad |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for nx, ny, nr in (
        (32, 16, 48),
        (48, 24, 64),
        (64, 32, 96),
        (96, 48, 128),
        (144, 72, 192),
        (216, 108, 288),
    ):
        drive, coast = (roll(design, f, 0.05, lengthwise=nx, profile=ny, roll_angles=nr) for f in FLANKS)
        d, c = drive.pattern.center, coast.pattern.center
        print(
            f"| {nx} × {ny} | {nr} | {d[0]:+.4f}, {d[1]:+.4f} | {c[0]:+.4f}, {c[1]:+.4f} "
            f"| {drive.pattern.length_fraction:.3f} | {drive.motion_error_pp_urad:.2f} "
            f"| {coast.motion_error_pp_urad:.2f} |"
        )


def conjugacy(designs: list[GearSetDesign]) -> None:
    """Print the gap along the contact line without ease-off, which must vanish."""
    print(
        "\nZero ease-off: gap along the contact line, least gap of any point at any roll [rad of ring gear]\n"
    )
    print("| design | form | depth | drive, greatest | coast, greatest | least | compiled − reference |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for design in designs:
        mesh = build_mesh(design, 48, 24, 96)
        worst, least, apart = [], np.inf, 0.0
        for name in FLANKS:
            pair = mesh.flank(name)
            # Each point at the roll angle where it should touch, and then all points over the whole roll.
            inner = (np.abs(pair.x)[None, :] <= 0.98) & (np.abs(pair.y)[:, None] <= 0.98)
            rows, columns = np.nonzero(pair.valid & inner)
            matrices, shifts = roll_transforms(mesh.geometry, Settings(), pair.contact_roll[rows, columns])
            q = np.einsum("nij,nj->ni", matrices, pair.points[rows, columns]) + shifts
            theta = pair.ring.theta(np.hypot(q[:, 0], q[:, 1]), q[:, 2])
            gap = np.angle(np.exp(1j * (np.arctan2(q[:, 1], q[:, 0]) - theta)))
            worst.append(float(np.abs(gap).max()))
            m, s = roll_transforms(mesh.geometry, Settings(), pair.roll)
            least = min(least, float(reference.gaps(pair, pair.points, m, s, y_floor(mesh))[0].min()))
            if compiled.AVAILABLE:
                points = relieved_points(pair, design.ease_off(name))
                m, s = roll_transforms(mesh.geometry, Settings(0.05), pair.roll)
                one = compiled.roll_pair(pair, points, m, s, y_floor(mesh))[1]
                two = reference.roll_pair(pair, points, m, s, y_floor(mesh))[1]
                apart = max(apart, float(np.abs(one - two).max()))
        print(
            f"| {design.name} | {design.tooth_form} | {design.depth_taper} | {worst[0]:.1e} | {worst[1]:.1e} "
            f"| {least:+.1e} | {apart:.1e} |"
        )


def beyond_tip(mesh: Mesh, name: FlankName) -> NDArray[np.bool_]:
    """Return where the conjugate pinion stands out of the pinion's own tip cone, shape (ny, nx)."""
    blank, cones = mesh.geometry.blank, mesh.geometry.cones
    u1, origin = cones.pinion_axis, np.array([0.0, cones.offset, 0.0])
    z0 = float((cones.mean_point - origin) @ u1)
    q = mesh.flank(name).points - origin
    z = q @ u1
    r = np.linalg.norm(q - z[..., None] * u1, axis=-1) - cones.radius1
    s = r * np.sin(cones.delta1) + (z - z0) * np.cos(cones.delta1)
    h = r * np.cos(cones.delta1) - (z - z0) * np.sin(cones.delta1)
    return np.asarray(h > blank.mean_addendum1 + s * np.tan(blank.addendum_angle1))


def pinion_tip(designs: list[GearSetDesign]) -> None:
    """Print the ring-gear flank that the pinion's tip cone cannot reach, and what leaving it out does."""
    print("\nRing-gear flank out of reach of the pinion's own tip cone, and what leaving it out does\n")
    print(
        "| design | flank | reached down to, mid-face | share out of reach | pinion | centre | centre, cut "
        "| length | length, cut | error µrad | error, cut |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |")
    for design in designs:
        mesh = build_mesh(design)
        for name in FLANKS:
            pair = mesh.flank(name)
            over = beyond_tip(mesh, name)
            rows, columns = np.abs(pair.y) <= 1.0 + 1e-9, np.abs(pair.x) <= 1.0 + 1e-9
            middle = int(np.argmin(np.abs(pair.x)))
            end = float(pair.y[rows][~over[rows, middle]].min())
            share = float(over[np.ix_(rows, columns)].mean())
            short = replace(mesh, **{name: replace(pair, valid=pair.valid & ~over)})
            for out in (0.0, 0.1524, -0.1524):
                cells = []
                for kind in (mesh, short):
                    pattern, curve, lowest, _ = roll_unloaded(
                        kind, name, Settings(out), design.ease_off(name), design.compound_film_mm
                    )
                    error, _ = motion_error(pair, curve, lowest)
                    cells.append((*pattern.center, pattern.length_fraction, float(np.ptp(error))))
                a, b = cells
                print(
                    f"| {design.name} | {name} | {end:+.2f} | {share:.0%} | {out:+.4f} mm "
                    f"| {a[0]:+.3f}, {a[1]:+.3f} | {b[0]:+.3f}, {b[1]:+.3f} | {a[2]:.2f} | {b[2]:.2f} "
                    f"| {a[3]:.1f} | {b[3]:.1f} |"
                )


def hobbed_curvature() -> None:
    """Print the face-hobbed set with its own curvature, and with the plain cutter radius in its place."""
    print("\nFace-hobbed lengthwise curvature: extended epicycloid against plain cutter radius, same teeth\n")
    print("| case | δ1 | δ2 | β1 | β2 | limit pressure angle | drive, coast to toe per 0.1524 mm pinion in |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    hobbed = load_design("TY-205H")
    fields = hobbed.fields()
    for key in ("blade_groups", "tooth_form", "depth_taper"):
        fields.pop(key)
    plain = design_from_fields({**fields, "tooth_form": "face-milled", "depth_taper": "constant"})
    for label, design in (("extended epicycloid", hobbed), ("cutter radius alone", plain)):
        mesh = build_mesh(design, 64, 32, 96)
        c = mesh.geometry.cones
        move = []
        for name in FLANKS:
            ease, film = design.ease_off(name), design.compound_film_mm
            into = roll_unloaded(mesh, name, Settings(-0.1524), ease, film)[0].center[0]
            out = roll_unloaded(mesh, name, Settings(0.1524), ease, film)[0].center[0]
            move.append((out - into) / 2.0)
        angles = (c.delta1, c.delta2, c.spiral1, c.spiral2, c.limit_pressure_angle)
        cells = " | ".join(f"{np.degrees(a):.3f}°" for a in angles)
        print(f"| {label} | {cells} | {move[0]:+.3f}, {move[1]:+.3f} |")


def main() -> None:
    """Run."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--design", default="TY-222")
    ask.add_argument("--torque", type=float, default=200.0)
    ask.add_argument("--no-load", action="store_true")
    ask.add_argument("--repeats", type=int, default=15, help="0 leaves the speed table out")
    given = ask.parse_args()
    design = load_design(given.design)
    designs = [load_design(n) for n in shipped_designs()]
    designs.append(replace(designs[2], name="TY-222 standard", depth_taper="standard"))
    designs.append(replace(designs[2], name="TY-222 constant", depth_taper="constant"))
    designs.append(replace(designs[0], name="TY-176B, 80°", shaft_angle_deg=80.0))
    designs.append(replace(designs[0], name="TY-176B, 100°", shaft_angle_deg=100.0))
    if given.repeats:
        speed(design, given.torque, not given.no_load, given.repeats)
    refinement(design)
    conjugacy(designs)
    pinion_tip(designs[:4])
    hobbed_curvature()


if __name__ == "__main__":
    main()
