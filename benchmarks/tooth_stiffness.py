"""Compare the project's tooth bending influence with CalculiX on its own mesh and elements.

Run ``python benchmarks/tooth_stiffness.py [--fine] [design[:ring|:pinion] ...]``; needs the ``ccx`` command
(Debian package calculix-ccx). Both programs get the same flanks, the same rim block held on the same faces
and the same line loads (hats along a level, as in `compliance`), each as consistent nodal forces of its own
elements; both are read on the tooth's middle surface, which no dent of a node reaches. Prints Markdown,
kept in docs/method-loaded.md. ``--fine`` has twice the cells lengthwise in CalculiX.
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
    hat_load,
    member_influence,
    middle_feet,
)
from axlewright.contact.tooth_solid import LEVELS, Member, mesh_tooth, pinion_member, ring_member
from axlewright.gearset import build_geometry, load_design, shipped_designs
from calculix_tooth import Deck, flexibility, make_deck, static

Array = np.ndarray

SOME = (1, 3, 6, 9, 11)  # lengthwise places at the levels other than mid-height
PLACES = [(i, 2) for i in range(LENGTHWISE_CELLS + 1)]
PLACES += [(i, j) for j in (0, 4) for i in SOME] + [(6, 1), (6, 3)]


def loads(member: Member, deck: Deck, flank: str) -> list[dict[int, Array]]:
    """Return the nodal forces of each place's line load on the deck's own nodes."""
    face = 0 if flank == "drive" else 2 * deck.nt
    ends = np.linspace(-1.0, 1.0, deck.nx + 1)
    out = []
    for i, j in PLACES:
        row = 2 * deck.fillet_rows + j * 2 * deck.rows // (len(LEVELS) - 1)
        forces: dict[int, Array] = {}
        for e, edge in enumerate(hat_load(member, flank, float(LEVELS[j]), ends, i, LENGTHWISE_CELLS)):
            for n in range(3):
                if np.any(edge[n]):
                    node = deck.tooth[2 * e + n, row, face]
                    forces[node] = forces.get(node, np.zeros(3)) + edge[n]
        out.append(forces)
    return out


def compare(member: Member, *, nx: int) -> dict[str, tuple[Array, Array, float]]:
    """Return, per flank, the influence between PLACES here and from CalculiX [mm/N], and seconds."""
    solid = mesh_tooth(member, lengthwise=LENGTHWISE_CELLS, across=ACROSS_CELLS)
    ours = member_influence(member, solid)
    deck = make_deck(member, nx=nx)
    cases = {flank: loads(member, deck, flank) for flank in ("drive", "coast")}
    columns = range(0, 2 * nx + 1, nx // LENGTHWISE_CELLS * 2)
    height = 2 * (deck.fillet_rows + deck.rows)
    middle = [[deck.tooth[i, j, deck.nt] for j in range(0, height + 1, 2)] for i in columns]
    began = time.perf_counter()
    moved = flexibility(deck, cases["drive"] + cases["coast"])
    took = time.perf_counter() - began
    alone = static(deck, cases["drive"][LENGTHWISE_CELLS // 2])
    size = max(float(np.abs(u).max()) for u in alone.values())
    off = max(float(np.abs(u - moved[n][:, LENGTHWISE_CELLS // 2]).max()) for n, u in alone.items()) / size
    assert off < 1e-4, f"CalculiX's own solution of one load differs by {off:.1e}"
    # Rows of the project's middle grid: 0 at the root, 1 … at the working levels.
    rows = np.concatenate(
        [np.linspace(0, 1, deck.fillet_rows + 1)[:-1], np.linspace(1, len(LEVELS), deck.rows + 1)]
    )
    index = [i * len(LEVELS) + j for i, j in PLACES]
    out = {}
    for flank, forces in cases.items():
        points, normals = flank_nodes(member, LENGTHWISE_CELLS, flank)
        a, b, _ = middle_feet(solid, points, normals)
        theirs = np.empty((len(PLACES), len(PLACES)))
        first = 0 if flank == "drive" else len(PLACES)
        for n in range(len(forces)):
            field = np.array([[moved[k][:, first + n] for k in row] for row in middle])
            along = CubicSpline(np.linspace(-1, 1, LENGTHWISE_CELLS + 1), field, axis=0)
            for m, k in enumerate(index):
                theirs[m, n] = CubicSpline(rows, along(a[k]), axis=0)(b[k]) @ -normals.reshape(-1, 3)[k]
        out[flank] = ours[flank].bend[np.ix_(index, index)], 0.5 * (theirs + theirs.T), took
    return out


def even(bend: Array) -> float:
    """Return the mean displacement under an even load along mid-height [mm/N]."""
    line = [n for n, (_, j) in enumerate(PLACES) if j == 2]
    weight = np.full(len(line), 1.0 / (len(line) - 1))
    weight[[0, -1]] /= 2.0
    return float(weight @ bend[np.ix_(line, line)] @ weight)


def main() -> None:
    """Print the tables."""
    fine = "--fine" in sys.argv
    names = [a for a in sys.argv[1:] if not a.startswith("-")] or shipped_designs()
    nx = LENGTHWISE_CELLS * (2 if fine else 1)
    print(
        "| design | member, flank | place (lengthwise, level) | project µm/kN | CalculiX µm/kN | difference |"
    )
    print("| --- | --- | --- | ---: | ---: | ---: |")
    notes = []
    for name, _, only in (n.partition(":") for n in names):
        geometry = build_geometry(load_design(name))
        for member in (ring_member(geometry), pinion_member(geometry)):
            if only not in ("", member.name):
                continue
            for flank, (ours, theirs, took) in compare(member, nx=nx).items():
                own = np.diag(ours) / np.diag(theirs) - 1.0
                for n, (i, j) in enumerate(PLACES):
                    print(
                        f"| {name} | {member.name}, {flank} "
                        f"| ({-1 + 2 * i / LENGTHWISE_CELLS:+.2f}, {LEVELS[j]:+.1f}) "
                        f"| {ours[n, n] * 1e6:.3f} | {theirs[n, n] * 1e6:.3f} | {own[n]:+.1%} |"
                    )
                mine, other = even(ours) * 1e6, even(theirs) * 1e6
                print(
                    f"| {name} | {member.name}, {flank} | **even load along mid-height** "
                    f"| **{mine:.3f}** | **{other:.3f}** | **{mine / other - 1:+.1%}** |",
                    flush=True,
                )
                worst = np.abs(ours - theirs).max() / np.abs(theirs).max()
                notes.append(
                    f"| {name} | {member.name}, {flank} | {mine / other - 1:+.1%} "
                    f"| {own.min():+.1%} to {own.max():+.1%} "
                    f"| {np.count_nonzero(np.abs(own) <= 0.15)} of {len(own)} | {worst:.1%} | {took:.0f} |"
                )
    print(
        "\n| design | member, flank | even load | single places | within 15 % | any two places | CalculiX s |"
    )
    print("| --- | --- | ---: | ---: | ---: | ---: | ---: |")
    print("\n".join(notes))


if __name__ == "__main__":
    main()
