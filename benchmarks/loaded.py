"""Tables of rolling under load: load, grid refinement, motion error against pinion depth, speed.

Run ``python benchmarks/loaded.py [load|grid|error|speed ...]``; prints Markdown, kept in
docs/method-loaded.md.
"""

from __future__ import annotations

import sys
import time

import numpy as np

from axlewright.contact.compliance import compute_influence
from axlewright.contact.loaded import roll_loaded
from axlewright.contact.mesh import Settings, build_mesh
from axlewright.contact.rolling import roll
from axlewright.gearset import load_design, shipped_designs

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


def speed_table() -> None:
    """Time of both flanks at one load, and of what is done once."""
    design = load_design("TY-222")
    mesh = build_mesh(design)

    def both(kernel: str, torque: float = 200.0) -> None:
        for flank in ("drive", "coast"):
            roll_loaded(
                mesh, flank, Settings(), design.ease_off(flank), design.compound_film_mm, torque,
                kernel=kernel,  # type: ignore[arg-type]
            )  # fmt: skip

    began = time.process_time()
    compute_influence(design)
    print(f"finite-element influence of a design, once: {time.process_time() - began:.1f} s")
    began = time.process_time()
    both("auto")
    print(f"first call (compiled code from the cache, columns prepared): {time.process_time() - began:.2f} s")
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
    tables = {"load": load_table, "grid": grid_table, "error": error_table, "speed": speed_table}
    for name in sys.argv[1:] or list(tables):
        print(f"\n### {name}\n")
        tables[name]()


if __name__ == "__main__":
    main()
