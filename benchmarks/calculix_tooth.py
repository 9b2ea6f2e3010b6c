"""Mesh one tooth for CalculiX, take its stiffness matrix and solve it under many loads.

The deck takes only the flank geometry from the project. Mesh, element (C3D20R, curved on the flanks, a true
fillet arc where the project's own mesh has a chamfer) and stiffness matrix are another program's. CalculiX
would factor anew for every load, so the matrix is solved here; CalculiX itself solves one load as a check.
"""

from __future__ import annotations

import math
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import splu

from axlewright.contact.hertz import POISSON, YOUNG_MPA
from axlewright.contact.tooth_solid import RIM_DEPTH, RIM_WIDTH, WIDEST, Member, rim_reach

Array = NDArray[np.float64]


@dataclass
class Deck:
    """Nodes by half-cell index, elements and the node numbers of the tooth.

    Attributes
    ----------
    nodes : dict
        Node number → point [mm].
    elements : list of 20-tuples
    tooth : dict
        (i, j, k) in half cells: lengthwise, root to tip, drive to coast → node number.
    fixed : set
        Nodes held: the rim block's bottom and its two sides.
    nx, fillet_rows, rows, nt : int
        Cells lengthwise, in the fillet, on the working flank and across the tooth.
    """

    nodes: dict[int, Array]
    elements: list[tuple[int, ...]]
    tooth: dict[tuple[int, int, int], int]
    fixed: set[int]
    nx: int
    fillet_rows: int
    rows: int
    nt: int


def make_deck(
    member: Member,
    *,
    nx: int = 24,
    rows: int = 8,
    nt: int = 4,
    fillet_rows: int = 2,
    rim_rows: int = 5,
    sides: int = 6,
    rim_depth: float = RIM_DEPTH,
    rim_width: float = RIM_WIDTH,
) -> Deck:
    """Mesh the tooth and its rim block with 20-node bricks."""
    su = member.lengthwise(np.linspace(-1, 1, 2 * nx + 1))

    def wide(over: Array) -> Array:
        rest = np.clip(member.fillet - over, 0.0, None)
        return member.fillet - np.sqrt(np.maximum(member.fillet**2 - rest**2, 0.0))

    def sides_of(s: float, h: Array) -> tuple[Array, Array]:
        root = member.root[0] + member.root[1] * s
        ss = np.full_like(h, s)
        front, back = member.surfaces["drive"](ss, h), member.surfaces["coast"](ss, h)
        r = member.radius + s * math.sin(member.cone) + h * math.cos(member.cone)
        sign = np.sign(front - back) * wide(h - root) / r
        return front + sign, back - sign

    deck = Deck({}, [], {}, set(), nx, fillet_rows, rows, nt)
    number = 0
    rim: dict[tuple[int, int, int], int] = {}
    share = np.linspace(0, 1, 2 * nt + 1)
    grow = np.linspace(0, 1, 2 * sides + 1)[1:] ** 1.6
    down = np.linspace(0, 1, 2 * rim_rows + 1) ** 1.5

    def needed(*index: int) -> bool:
        return sum(i % 2 for i in index) <= 1

    for i, s in enumerate(su):
        root = np.array([member.root[0] + member.root[1] * s])
        working = member.level(np.array([s]), np.array([-1.0]))[0]
        heights = np.concatenate(
            [
                np.linspace(root[0], working, 2 * fillet_rows + 1)[:-1],
                member.level(np.full(2 * rows + 1, s), np.linspace(-1, 1, 2 * rows + 1)),
            ]
        )
        front, back = sides_of(float(s), heights)
        centre = 0.5 * (front[0] + back[0])
        toward = math.copysign(1.0, front[0] - back[0])
        limit = min(rim_width * member.pitch, WIDEST) * toward
        reach = rim_reach(member, np.array([s]), root, rim_depth)[0]
        line = np.concatenate(
            [
                front[0] + (centre + limit - front[0]) * grow[::-1],
                front[0] + (back[0] - front[0]) * share,
                back[0] + (centre - limit - back[0]) * grow,
            ]
        )
        for j, depth in enumerate(down):
            for k, theta in enumerate(line):
                if needed(i, j, k):
                    number += 1
                    rim[i, j, k] = number
                    deck.nodes[number] = member.place(np.array(s), root[0] - depth * reach, np.array(theta))
                    if j == len(down) - 1 or k in (0, len(line) - 1):
                        deck.fixed.add(number)
        for j, h in enumerate(heights):
            for k, t in enumerate(share):
                if not needed(i, j, k):
                    continue
                if j == 0:
                    deck.tooth[i, j, k] = rim[i, 0, k + 2 * sides]
                    continue
                number += 1
                deck.tooth[i, j, k] = number
                theta = front[j] + (back[j] - front[j]) * t
                deck.nodes[number] = member.place(np.array(s), np.array(h), np.array(theta))
    _bricks(deck, deck.tooth, nx, fillet_rows + rows, nt)
    _bricks(deck, rim, nx, rim_rows, nt + 2 * sides)
    return deck


def _bricks(deck: Deck, grid: dict[tuple[int, int, int], int], a: int, b: int, c: int) -> None:
    corner = [(0, 0, 0), (2, 0, 0), (2, 2, 0), (0, 2, 0), (0, 0, 2), (2, 0, 2), (2, 2, 2), (0, 2, 2)]
    pairs = [(0, 1), (1, 2), (2, 3), (3, 0), (4, 5), (5, 6), (6, 7), (7, 4), (0, 4), (1, 5), (2, 6), (3, 7)]
    offsets = corner + [
        tuple((p + q) // 2 for p, q in zip(corner[m], corner[n], strict=True))  # type: ignore[misc]
        for m, n in pairs
    ]

    def brick(i: int, j: int, k: int) -> tuple[int, ...]:
        return tuple(grid[2 * i + x, 2 * j + y, 2 * k + z] for x, y, z in offsets)

    first = brick(0, 0, 0)
    p = [deck.nodes[n] for n in first]
    if np.cross(p[1] - p[0], p[3] - p[0]) @ (p[4] - p[0]) < 0:
        flip = [4, 5, 6, 7, 0, 1, 2, 3, 12, 13, 14, 15, 8, 9, 10, 11, 16, 17, 18, 19]
    else:
        flip = list(range(20))
    for i in range(a):
        for j in range(b):
            for k in range(c):
                e = brick(i, j, k)
                deck.elements.append(tuple(e[f] for f in flip))


def body_lines(deck: Deck) -> list[str]:
    """Return the deck's nodes, elements, material and held nodes as input lines."""
    lines = ["*NODE, NSET=ALL"]
    lines += [f"{n}, {p[0]:.9g}, {p[1]:.9g}, {p[2]:.9g}" for n, p in deck.nodes.items()]
    lines.append("*ELEMENT, TYPE=C3D20R, ELSET=BODY")
    for number, e in enumerate(deck.elements, 1):
        text = [str(number), *map(str, e)]
        lines += [", ".join(text[:16]) + ",", ", ".join(text[16:])]
    lines += ["*NSET, NSET=HELD", *(f"{n}," for n in sorted(deck.fixed))]
    lines += ["*MATERIAL, NAME=STEEL", "*ELASTIC", f"{YOUNG_MPA}, {POISSON}", "*DENSITY", "7.8e-9"]
    lines += ["*SOLID SECTION, ELSET=BODY, MATERIAL=STEEL", "*BOUNDARY", "HELD, 1, 3"]
    return lines


def run(lines: list[str], folder: str) -> None:
    """Write the lines as a deck in `folder` and run CalculiX on it."""
    path = Path(folder) / "tooth.inp"
    path.write_text("\n".join(lines) + "\n")
    done = subprocess.run(["ccx", "tooth"], cwd=folder, capture_output=True, text=True, check=False)
    if done.returncode != 0 or "*ERROR" in done.stdout:
        raise RuntimeError(f"ccx failed:\n{done.stdout[-1500:]}")


def flexibility(deck: Deck, forces: list[dict[int, Array]]) -> dict[int, Array]:
    """Let CalculiX assemble the stiffness, solve it under many loads at once; return displacements.

    Parameters
    ----------
    deck : Deck
    forces : list of dict
        Per load case, node → force, shape (3,) [N].

    Returns
    -------
    dict
        Node → displacements, shape (3, cases) [mm].
    """
    lines = body_lines(deck)
    lines += ["*STEP", "*FREQUENCY, SOLVER=MATRIXSTORAGE", "1", "*END STEP"]
    with tempfile.TemporaryDirectory() as folder:
        run(lines, folder)
        row, column, value = np.loadtxt(Path(folder) / "tooth.sti", unpack=True)
        dofs = [line.strip().split(".") for line in (Path(folder) / "tooth.dof").read_text().split()]
    place = {(int(n), int(axis)): k for k, (n, axis) in enumerate(dofs)}
    i, j = row.astype(int) - 1, column.astype(int) - 1
    half = coo_matrix((value, (i, j)), shape=(len(dofs), len(dofs))).tocsc()
    whole = half + half.T
    whole.setdiag(half.diagonal())
    right = np.zeros((len(dofs), len(forces)))
    for case, one in enumerate(forces):
        for node, force in one.items():
            for axis in range(3):
                right[place[node, axis + 1], case] += force[axis]
    factor = splu(
        whole.tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}
    )
    moved = factor.solve(right)
    out = {n: np.zeros((3, len(forces))) for n in deck.nodes}
    for (node, axis), k in place.items():
        out[node][axis - 1] = moved[k]
    return out


def static(deck: Deck, forces: dict[int, Array]) -> dict[int, Array]:
    """Let CalculiX do it all for one load: node → displacement, shape (3,) [mm]; a check of `flexibility`."""
    lines = [*body_lines(deck), "*STEP", "*STATIC", "*CLOAD"]
    lines += [f"{n}, {axis + 1}, {f[axis]:.12g}" for n, f in forces.items() for axis in range(3)]
    lines += ["*NODE PRINT, NSET=ALL", "U", "*END STEP"]
    with tempfile.TemporaryDirectory() as folder:
        run(lines, folder)
        rows = [line.split() for line in (Path(folder) / "tooth.dat").read_text().splitlines()]
    return {int(p[0]): np.array(p[1:], dtype=float) for p in rows if len(p) == 4 and p[0].isdigit()}
