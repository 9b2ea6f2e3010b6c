"""Compare rolling under load with a general finite-element contact run of CalculiX: answer and time.

Run ``python benchmarks/loaded_contact.py [design] [--torque N·m] [--mesh NXxROWS ...] [--angles N]``; needs
the ``ccx`` command (Debian package calculix-ccx). At a few roll angles of the drive flank both get the same
real flanks, settings at zero and mounts held rigid. CalculiX turns the ring gear's rim by the twist this
project found; what is compared is the torque it takes, each pair's share and where the load lies along the
tooth. The pressure across the narrow contact would need far finer meshes and is not compared. Time is
processor time of one roll angle in CalculiX against a whole flank of the project in the same run; a flank
needs the roll angles of one pitch, so its time in CalculiX is that many times one: extrapolated, not run.
Prints Markdown, kept in docs/method-loaded.md.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path

import numpy as np

from axlewright.contact.loaded import _at_rows, _share, roll_loaded
from axlewright.contact.loaded_setup import prepare
from axlewright.contact.mesh import Settings, build_mesh, relieved_points
from axlewright.contact.mounts import RIGID
from axlewright.gearset import load_design
from calculix_contact import contact_deck, solve

Array = np.ndarray


def along(x: Array, force: Array, columns: int) -> Array:
    """Return our forces summed over even columns from toe to heel."""
    at = np.clip(((x + 1.0) / 2.0 * columns).astype(int), 0, columns - 1)
    return np.bincount(at, weights=force, minlength=columns)


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])  # type: ignore[union-attr]
    parser.add_argument("design", nargs="?", default="TY-222")
    parser.add_argument("--torque", type=float, default=300.0)
    parser.add_argument("--mesh", nargs="+", default=["8x8", "12x16"])
    parser.add_argument("--angles", type=int, default=2)
    options = parser.parse_args()
    design = load_design(options.design)
    mesh = build_mesh(design)
    ready = prepare(mesh, "drive")
    pair, ease = ready.pair, design.ease_off("drive")
    points = relieved_points(pair, ease)
    shared = _share(mesh, ready, pair, Settings(), Settings(), points, options.torque, True)
    moment = (shared.force * _at_rows(pair.lever[:, ready.columns], shared.row)).sum(axis=0)
    times = []
    for _ in range(20):
        began = time.process_time()
        roll_loaded(mesh, "drive", Settings(), ease, design.compound_film_mm, options.torque, mounts=RIGID)
        times.append(time.process_time() - began)
    ours = float(np.median(times))
    print(
        f"{options.design}, drive, {options.torque:g} N·m, rigid mounts. This project: one flank, "
        f"{pair.per_pitch} roll angles of a pitch, marks and all: {ours * 1e3:.1f} ms of processor time\n"
    )
    heads = "mesh|nodes|roll angle|torque at the same twist|shares|shares here|lengthwise|here"
    heads += "|largest load on a quarter of the face, N|here|rounds|s per roll angle|MB"
    heads += "|whole flank, extrapolated|times this project"
    print("| " + " | ".join(heads.split("|")) + " |")
    print("| --- " + "| ---: " * 14 + "|")
    for size in options.mesh:
        nx, rows = (int(v) for v in size.split("x"))
        for n in range(options.angles):
            phase = round((n + 0.5) * pair.per_pitch / options.angles)
            steps = np.arange(phase, len(pair.roll), pair.per_pitch)
            steps = steps[moment[steps] > 0.0]
            with tempfile.TemporaryDirectory() as name:
                folder = Path(name)
                deck = contact_deck(
                    mesh.geometry,
                    ease,
                    pair.roll[steps],
                    float(shared.twist[phase]),
                    folder,
                    nx=nx,
                    rows=rows,
                )
                answer = solve(*deck, folder, len(steps))
            share = answer.moments.sum(axis=1) / answer.moments.sum()
            mine = moment[steps] / moment[steps].sum()
            middle = (np.arange(nx) + 0.5) / nx * 2.0 - 1.0
            place = answer.forces @ middle / answer.forces.sum(axis=1)
            own = [float(np.average(ready.x, weights=shared.force[:, k])) for k in steps]
            quarter = max(q.sum() for f in answer.forces for q in np.split(f, 4))
            here = max(along(ready.x, shared.force[:, k], 4).max() for k in steps)
            whole = answer.seconds * pair.per_pitch

            def row(values: object) -> str:
                return " ".join(f"{v:+.2f}" for v in values)  # type: ignore[attr-defined]

            print(
                f"| {size} | {answer.nodes} | {pair.roll[steps[0]]:.4f} "
                f"| {answer.torque / options.torque / 1e3 - 1:+.1%} "
                f"| {' '.join(f'{v:.3f}' for v in share)} | {' '.join(f'{v:.3f}' for v in mine)} "
                f"| {row(place)} | {row(own)} "
                f"| {quarter:.0f} | {here:.0f} "
                f"| {answer.iterations} | {answer.seconds:.0f} | {answer.memory:.0f} | {whole / 60:.0f} min "
                f"| {whole / ours:.0f} |",
                flush=True,
            )


if __name__ == "__main__":
    main()
