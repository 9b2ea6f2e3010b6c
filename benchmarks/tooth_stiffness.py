"""Compare the project's tooth bending influence with CalculiX on its own mesh and elements.

Run ``python benchmarks/tooth_stiffness.py [design ...]``; needs the ``ccx`` command (Debian package
calculix-ccx). Prints a table in Markdown, kept in docs/method-loaded.md.
"""

from __future__ import annotations

import sys
import time

import numpy as np
from scipy.interpolate import CubicSpline

from axlewright.contact.compliance import (
    ACROSS_CELLS,
    LENGTHWISE_CELLS,
    flank_nodes,
    member_influence,
    middle_feet,
)
from axlewright.contact.tooth_solid import LEVELS, Member, mesh_tooth, pinion_member, ring_member
from axlewright.gearset import build_geometry, load_design
from calculix_tooth import make_deck, solve

PLACES = [(i, 2) for i in range(11)] + [(2, 0), (5, 0), (8, 0), (5, 1), (5, 3), (2, 4), (5, 4), (8, 4)]


def compare(member: Member, flank: str, **deck_options: float) -> tuple[np.ndarray, np.ndarray, float]:
    """Return the influence between PLACES from the project and from CalculiX [mm/N], and its seconds."""
    solid = mesh_tooth(member, lengthwise=LENGTHWISE_CELLS, across=ACROSS_CELLS)
    ours = member_influence(member, solid)[flank].bend
    points, normals = flank_nodes(member, solid, flank)
    a, b, _ = middle_feet(member, solid, points, normals)
    deck = make_deck(member, **deck_options)  # type: ignore[arg-type]
    face = 0 if flank == "drive" else 2 * deck.nt
    step = 2 * deck.nx // LENGTHWISE_CELLS
    start = 2 * deck.fillet_rows
    loads = []
    nv = len(LEVELS)
    index = [i * nv + j for i, j in PLACES]
    for i, j in PLACES:
        node = deck.tooth[i * step, start + j * 2 * deck.rows // (nv - 1), face]
        assert np.linalg.norm(deck.nodes[node] - points[i, j]) < 0.05 * member.fillet + 1e-6 or j == 0
        loads.append((node, -normals[i, j]))
    began = time.perf_counter()
    moved = solve(deck, loads)[:, ::2, ::2]
    took = time.perf_counter() - began
    u = CubicSpline(np.linspace(-1, 1, moved.shape[1]), moved, axis=1)
    # Rows of the project's middle grid: 0 at the root, 1 … nv at the working levels.
    rows = np.concatenate([np.linspace(0, 1, deck.fillet_rows + 1)[:-1], np.linspace(1, nv, deck.rows + 1)])
    theirs = np.empty((len(PLACES), len(PLACES)))
    for n, k in enumerate(index):
        at = CubicSpline(rows, u(a[k]), axis=1)(b[k])
        theirs[n] = at @ -normals.reshape(-1, 3)[k]
    return ours[np.ix_(index, index)], theirs, took


def main() -> None:
    """Print the table."""
    names = sys.argv[1:] or ["TY-222", "TY-205H"]
    print(
        "| design | member, flank | place (lengthwise, level) | project µm/kN | CalculiX µm/kN | difference |"
    )
    print("| --- | --- | --- | ---: | ---: | ---: |")
    notes = []
    for name in names:
        geometry = build_geometry(load_design(name))
        for member in (ring_member(geometry), pinion_member(geometry)):
            for flank in ("drive", "coast"):
                ours, theirs, took = compare(member, flank)
                theirs = 0.5 * (theirs + theirs.T)
                for n, (i, j) in enumerate(PLACES):
                    mine, other = ours[n, n] * 1e6, theirs[n, n] * 1e6
                    print(
                        f"| {name} | {member.name}, {flank} | ({-1 + i / 5:+.1f}, {LEVELS[j]:+.1f}) "
                        f"| {mine:.3f} | {other:.3f} | {mine / other - 1:+.1%} |"
                    )
                line = [n for n, (i, j) in enumerate(PLACES) if j == 2]
                weight = np.full(len(line), 1.0 / (len(line) - 1))
                weight[[0, -1]] /= 2.0
                mine = weight @ ours[np.ix_(line, line)] @ weight * 1e6
                other = weight @ theirs[np.ix_(line, line)] @ weight * 1e6
                print(
                    f"| {name} | {member.name}, {flank} | **even load along mid-height** "
                    f"| **{mine:.3f}** | **{other:.3f}** | **{mine / other - 1:+.1%}** |"
                )
                worst = np.abs(ours - theirs).max() / np.abs(theirs).max()
                notes.append(
                    f"{name} {member.name} {flank}: largest difference between any two places {worst:.1%} "
                    f"of the largest influence; CalculiX {took:.0f} s"
                )
    print("\n" + "\n".join(notes))


if __name__ == "__main__":
    main()
