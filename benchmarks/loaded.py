"""Tables of rolling under load: load, growth, grid refinement, motion error against pinion depth, speed.

Run ``python benchmarks/loaded.py [load|growth|grid|error|speed ...]``; prints Markdown, kept in
docs/method-loaded.md.
"""

from __future__ import annotations

import resource
import sys
import time
from dataclasses import replace

import numpy as np

from axlewright.contact.compliance import compute_influence
from axlewright.contact.loaded import roll_loaded
from axlewright.contact.mesh import Settings, build_mesh
from axlewright.contact.mounts import RIGID
from axlewright.contact.rolling import roll
from axlewright.gearset import GearSetDesign, load_design, shipped_designs

THOUSANDTH = 0.0254


def load_table() -> None:
    """Pattern, pressure and mounts against torque on every shipped design."""
    heads = (
        "design|flank|N·m|centre|length|touches|peak MPa|error pp µrad|pinion out mm|ring away mm|offset mm"
    )
    print("| " + " | ".join(heads.split("|")) + " |")
    print("| --- | --- | ---: | --- | ---: | --- | ---: | ---: | ---: | ---: | ---: |")
    for name in shipped_designs():
        design = load_design(name)
        mesh = build_mesh(design)
        for flank in ("drive", "coast"):
            for torque in (20.0, 100.0, 300.0, 800.0):
                r = roll_loaded(
                    mesh, flank, Settings(), design.ease_off(flank), design.compound_film_mm, torque
                )
                x, y = r.pattern.center
                s = r.mount_shift
                print(
                    f"| {name} | {flank} | {torque:.0f} | ({x:+.2f}, {y:+.2f}) "
                    f"| {r.pattern.length_fraction:.2f} "
                    f"| {', '.join(sorted(r.pattern.touches)) or '–'} | {r.peak_pressure_mpa:.0f} "
                    f"| {r.motion_error_pp_urad:.1f} "
                    f"| {s.pinion_out_mm:+.4f} | {s.ring_away_mm:+.4f} | {s.offset_error_mm:+.4f} |"
                )


def grid_table() -> None:
    """The same load at growing resolution."""
    design = load_design("TY-222")
    print(
        "| grid | roll angles | columns | flank | centre | length | twist µrad | error pp µrad | peak MPa |"
    )
    print("| --- | ---: | ---: | --- | --- | ---: | ---: | ---: | ---: |")
    for nx, ny, rolls, columns in (
        (48, 24, 64, 16), (96, 48, 128, 30), (96, 48, 128, 48), (144, 72, 192, 48), (192, 96, 256, 64),
        (288, 144, 384, 96),
    ):  # fmt: skip
        mesh = build_mesh(design, nx, ny, rolls)
        for flank in ("drive", "coast"):
            r = roll_loaded(
                mesh, flank, Settings(), design.ease_off(flank), design.compound_film_mm, 200.0,
                columns=columns,
            )  # fmt: skip
            x, y = r.pattern.center
            print(
                f"| {nx}×{ny} | {rolls} | {columns} | {flank} | ({x:+.3f}, {y:+.3f}) "
                f"| {r.pattern.length_fraction:.3f} | {r.mean_twist_urad:.2f} "
                f"| {r.motion_error_pp_urad:.2f} | {r.peak_pressure_mpa:.1f} |"
            )


def error_table() -> None:
    """Motion error against pinion depth at no load, light load and road load."""
    steps = (-6, -4, -2, 0, 2, 4, 6)
    print("| design | flank | load N·m | " + " | ".join(f"{s:+d}" for s in steps) + " |")
    print("| --- | --- | ---: | " + " | ".join("---:" for _ in steps) + " |")
    for name in shipped_designs():
        design = load_design(name)
        mesh = build_mesh(design)
        for flank in ("drive", "coast"):
            for torque in (0.0, 40.0, 200.0):
                row = []
                for s in steps:
                    out = s * THOUSANDTH
                    if torque:
                        value = roll_loaded(
                            mesh,
                            flank,
                            Settings(out),
                            design.ease_off(flank),
                            design.compound_film_mm,
                            torque,
                        ).motion_error_pp_urad
                    else:
                        value = roll(design, flank, pinion_out_mm=out).motion_error_pp_urad
                    row.append(f"{value:.0f}")
                print(f"| {name} | {flank} | {torque:.0f} | " + " | ".join(row) + " |")


def growth_designs() -> dict[str, GearSetDesign]:
    """Return the shipped designs and variants of them."""
    out = {name: load_design(name) for name in shipped_designs()}
    out["TY-222, standard depth, cutter 114.3 mm"] = replace(
        out["TY-222"], depth_taper="standard", cutter_radius_mm=114.3
    )
    out["TY-222, offset 20 mm, spiral 45°"] = replace(
        out["TY-222"], offset_mm=20.0, pinion_spiral_angle_deg=45.0
    )
    out["TY-310, constant depth"] = replace(out["TY-310"], depth_taper="constant")
    out["TY-205H, 13 teeth, offset 20 mm"] = replace(out["TY-205H"], pinion_teeth=13, offset_mm=20.0)
    return out


def growth_table() -> None:
    """How patterns grow from 20 to 300 N·m on both flanks, with the axle giving way and held still.

    Distinct: share of the marked area that comes within a tenth of the film. A coast torque of a third of the
    drive torque stands beside the equal one: an engine holds back with less than it drives with.
    """
    heads = "design|mounts|flank|N·m|heel shift|length|area, times|distinct at 20|distinct|times"
    print("| " + " | ".join(heads.split("|")) + " |")
    print("| --- | --- | --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |")
    for name, design in growth_designs().items():
        mesh = build_mesh(design)
        for mounts in (None, RIGID):
            for flank, torque in (("drive", 300.0), ("coast", 300.0), ("coast", 100.0)):
                light, heavy = (
                    roll_loaded(
                        mesh, flank, Settings(), design.ease_off(flank),  # type: ignore[arg-type]
                        design.compound_film_mm, t, mounts=mounts,
                    ).pattern
                    for t in (20.0, torque)
                )  # fmt: skip
                near = [
                    float(np.mean(p.nearness[p.mask] < 0.1 * design.compound_film_mm))  # type: ignore[index,operator]
                    for p in (light, heavy)
                ]
                print(
                    f"| {name} | {'own' if mounts is None else 'rigid'} | {flank} | {torque:.0f} "
                    f"| {heavy.center[0] - light.center[0]:+.3f} "
                    f"| {heavy.length_fraction - light.length_fraction:+.3f} "
                    f"| {heavy.area_fraction / light.area_fraction:.2f} "
                    f"| {near[0]:.3f} | {near[1]:.3f} | {near[1] / near[0]:.2f} |",
                    flush=True,
                )


def memory() -> float:
    """Return the most memory of this process so far [MB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def speed_table() -> None:
    """Time and memory of both flanks at one load, and of what is done once."""
    design = load_design("TY-222")
    mesh = build_mesh(design)

    def both(kernel: str, torque: float = 200.0) -> None:
        for flank in ("drive", "coast"):
            roll_loaded(
                mesh, flank, Settings(), design.ease_off(flank), design.compound_film_mm, torque,
                kernel=kernel,  # type: ignore[arg-type]
            )  # fmt: skip

    print(f"program and mesh loaded: {memory():.0f} MB")
    began = time.process_time()
    both("auto")
    print(
        f"first call (compiled code and influence from their caches, columns prepared): "
        f"{time.process_time() - began:.2f} s, {memory():.0f} MB"
    )
    began = time.process_time()
    compute_influence(design)
    print(
        f"finite-element influence of a design, once: {time.process_time() - began:.1f} s, {memory():.0f} MB"
    )
    times = []
    for _ in range(30):
        began = time.process_time()
        both("auto")
        times.append(time.process_time() - began)
    fast = float(np.median(times))
    print(
        f"both flanks, 96×48 points, 128 roll angles, compiled: median {fast * 1e3:.1f} ms, "
        f"least {min(times) * 1e3:.1f} ms of processor time"
    )
    began = time.process_time()
    both("reference")
    slow = time.process_time() - began
    print(f"the same by the NumPy reference: {slow:.2f} s ({slow / fast:.0f} times)")


def main() -> None:
    """Print the tables asked for, or all."""
    tables = {
        "load": load_table,
        "growth": growth_table,
        "grid": grid_table,
        "error": error_table,
        "speed": speed_table,
    }
    for name in sys.argv[1:] or list(tables):
        print(f"\n### {name}\n")
        tables[name]()


if __name__ == "__main__":
    main()
