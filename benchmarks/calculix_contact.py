"""Mesh neighbouring teeth of both members on one rim each for CalculiX, with contact between the flanks.

The deck takes the flank surfaces (ease-off included) and the blank from the project. Mesh, elements, contact
search and solver are another program's. The ring gear's rim is turned into the mesh by a given twist, the
pinion's is held; the torque is what CalculiX finds at the held faces.
"""

from __future__ import annotations

import math
import os
import resource
import subprocess
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from axlewright.contact.hertz import POISSON, YOUNG_MPA
from axlewright.contact.tooth_solid import (
    Member,
    pinion_frame,
    pinion_member,
    pinion_places,
    rim_reach,
    ring_member,
)
from axlewright.gearset import EaseOff, Geometry, rotation_about
from axlewright.gearset.conjugate import conjugate_pinion

Array = NDArray[np.float64]

CORNERS = [(0, 0, 0), (2, 0, 0), (2, 2, 0), (0, 2, 0), (0, 0, 2), (2, 0, 2), (2, 2, 2), (0, 2, 2)]
PAIRS = [(0, 1), (1, 2), (2, 3), (3, 0), (4, 5), (5, 6), (6, 7), (7, 4), (0, 4), (1, 5), (2, 6), (3, 7)]
OFFSETS = CORNERS + [
    tuple((p + q) // 2 for p, q in zip(CORNERS[m], CORNERS[n], strict=True)) for m, n in PAIRS
]

TURNED = [4, 5, 6, 7, 0, 1, 2, 3, 12, 13, 14, 15, 8, 9, 10, 11, 16, 17, 18, 19]


@dataclass
class Body:
    """A growing mesh of 20-node bricks; coincident nodes are one.

    Attributes
    ----------
    points : list of array, shape (3,)
    elements : list of tuple
        Node indices, 20 each.
    faces : dict
        Contact surface name → list of (element index, face label).
    held : set
        Node indices held.
    """

    points: list[Array] = field(default_factory=list)
    elements: list[tuple[int, ...]] = field(default_factory=list)
    faces: dict[str, list[tuple[int, str]]] = field(default_factory=dict)
    held: set[int] = field(default_factory=set)

    def add(
        self,
        grid: Array,
        *,
        surface: str = "",
        rows: int = 0,
        columns: bool = False,
        held: Array | None = None,
    ) -> None:
        """Add a block of half-cell nodes, shape (2a+1, 2b+1, 2c+1, 3).

        With `surface`, the faces at the first index of the last axis from cell row `rows` on are a contact
        surface of that name, or with `columns` one per column of cells, named after it. `held` marks nodes
        of the block, shape (2a+1, 2b+1, 2c+1).
        """
        shape = grid.shape[:3]
        start = len(self.points)
        self.points += list(grid.reshape(-1, 3))
        number = start + np.arange(math.prod(shape)).reshape(shape)
        if held is not None:
            self.held |= set(number[held].tolist())
        p = grid
        turned = float(np.cross(p[2, 0, 0] - p[0, 0, 0], p[0, 2, 0] - p[0, 0, 0]) @ (p[0, 0, 2] - p[0, 0, 0]))
        flip = TURNED if turned < 0 else list(range(20))
        for i in range(0, shape[0] - 1, 2):
            for j in range(0, shape[1] - 1, 2):
                for k in range(0, shape[2] - 1, 2):
                    e = [int(number[i + x, j + y, k + z]) for x, y, z in OFFSETS]
                    self.elements.append(tuple(e[f] for f in flip))
                    if surface and k == 0 and j >= 2 * rows:
                        label = "S2" if turned < 0 else "S1"
                        name = f"{surface}C{i // 2}" if columns else surface
                        self.faces.setdefault(name, []).append((len(self.elements) - 1, label))

    def merged(self) -> tuple[Array, Array, set[int]]:
        """Return points, elements and held nodes with coincident nodes made one and unused ones dropped."""
        points = np.array(self.points)
        tree = cKDTree(points)
        first = np.arange(len(points))
        for a, b in tree.query_pairs(1e-5):
            first[max(a, b)] = min(first[a], first[b], first[max(a, b)])
        for _ in range(4):
            first = first[first]
        elements = first[np.array(self.elements)]
        used = np.unique(elements)
        new = np.full(len(points), -1)
        new[used] = np.arange(len(used))
        held = {int(new[first[n]]) for n in self.held if new[first[n]] >= 0}
        return points[used], new[elements], held


@dataclass(frozen=True)
class Grid:
    """Half-cell grid of a tooth's contact flank from the root land to the tip, unrolled; shape (a, b)."""

    s: Array
    h: Array
    front: Array
    back: Array
    working: int  # cell row from which the flank is the working flank


def _with_root(member: Member, s: Array, h: Array, front: Array) -> Grid:
    """Add one row of cells from the end of the working flank down to the root, with the fillet."""
    low = s[:, :1]
    root = member.root[0] + member.root[1] * low
    down = np.concatenate([root, 0.5 * (root + h[:, :1])], axis=1)
    S = np.concatenate([low, low, s], axis=1)
    H = np.concatenate([down, h], axis=1)
    # The member's flank below, moved so that it meets the working flank where that ends.
    flank = member.surfaces["drive"]
    below = flank(np.repeat(low, 2, axis=1), down) + (front[:, :1] - flank(low, h[:, :1]))
    F = np.concatenate([below, front], axis=1)
    B = member.surfaces["coast"](S, H)
    over = np.clip(member.fillet - (H - root), 0.0, None)
    wide = member.fillet - np.sqrt(np.maximum(member.fillet**2 - over**2, 0.0))
    wide[:, 2:] = 0.0
    r = member.radius + S * math.sin(member.cone) + H * math.cos(member.cone)
    # Neighbouring fillets must leave a land between them.
    slot = (member.pitch - np.abs(F - B)[:, :1]) * r[:, :1]
    side = np.sign(F - B) * wide * np.minimum(1.0, 0.35 * slot / member.fillet) / r
    return Grid(S, H, F + side, B - side, 1)


def ring_grid(geometry: Geometry, member: Member, nx: int, rows: int) -> Grid:
    """Return the ring gear's drive flank on a grid."""
    s = np.repeat(member.lengthwise(np.linspace(-1, 1, 2 * nx + 1))[:, None], 2 * rows + 1, axis=1)
    h = member.level(s, np.linspace(-1, 1, 2 * rows + 1)[None, :])
    return _with_root(member, s, h, member.surfaces["drive"](s, h))


def pinion_grid(geometry: Geometry, member: Member, ease_off: EaseOff, nx: int, rows: int) -> Grid:
    """Return the pinion's real drive flank, ease-off included, on a grid that follows the ring gear's."""
    x, y = np.linspace(-1.0, 1.0, 2 * nx + 1), np.linspace(-1.0, 1.0, 2 * rows + 1)
    flank = conjugate_pinion(geometry.cones, geometry.drive, geometry.design.ratio, x, y)
    points = flank.points + ease_off(x[None, :], y[:, None])[..., None] * flank.normals
    r, z, theta = (v[::-1].T for v in pinion_places(geometry, points))  # lengthwise first, root first
    s, h = member.unroll(r, z)
    near = member.surfaces["drive"](s, h)
    return _with_root(member, s, h, near + (theta - near + math.pi) % (2 * math.pi) - math.pi)


def add_member(
    body: Body, member: Member, grid: Grid, carry: list[tuple[Array, Array]], surface: str,
    *, order: int, across: int, land: int, rim_rows: int, beyond: float, ends: int,
) -> None:  # fmt: skip
    """Mesh one member: its teeth, each carried to its place, on one rim.

    Parameters
    ----------
    carry : list of (matrix, shift)
        From the member's own frame to the world, neighbouring teeth in turn.
    order : {+1, -1}
        Whether that turn goes with the member's own angle or against it.
    across, land, rim_rows, ends : int
        Cells across the tooth, from its foot to the land's middle, down the rim, along each end of it.
    beyond : float
        Pitches from the outermost land's middle to the held side.
    """
    share = np.linspace(0.0, 1.0, 2 * across + 1)
    theta = grid.front[..., None] + (grid.back - grid.front)[..., None] * share
    tooth = member.place(grid.s[..., None], grid.h[..., None], theta)
    s, root, foot, heel = grid.s[:, 0], grid.h[:, 0], grid.front[:, 0], grid.back[:, 0]
    flank = member.surfaces
    centre = 0.5 * (flank["drive"](s, root) + flank["coast"](s, root))
    toward = math.copysign(1.0, float(foot[0] - heel[0]))
    half = 0.5 * member.pitch * toward
    step = np.linspace(0.0, 1.0, 2 * land + 1)
    line = np.concatenate(
        [
            (centre + half)[:, None] + (foot - centre - half)[:, None] * step[:-1],
            foot[:, None] + (heel - foot)[:, None] * share,
            heel[:, None] + (centre - half - heel)[:, None] * step[1:],
        ],
        axis=1,
    )
    down = np.linspace(0, 1, 2 * rim_rows + 1) ** 1.5 * rim_reach(member, s, root)[:, None]

    def rim(angles: Array) -> Array:
        return member.place(s[:, None, None], (root[:, None] - down)[:, :, None], angles[:, None, :])

    reach = member.pitch * (0.5 + beyond * np.linspace(0, 1, 2 * ends + 1) ** 1.4)
    for n, (matrix, shift) in enumerate(carry):
        body.add(
            tooth @ matrix.T + shift, surface=f"{surface}{n}", rows=grid.working, columns=surface == "PINION"
        )
        outside = [-order] * (n == 0) + [order] * (n == len(carry) - 1)
        for angles in [line, *(centre[:, None] + way * reach for way in outside)]:
            block = rim(angles)
            held = np.zeros(block.shape[:3], dtype=bool)
            held[:, -1, :] = True
            held[:, :, -1] |= angles is not line
            body.add(block @ matrix.T + shift, held=held)


@dataclass(frozen=True)
class Answer:
    """What CalculiX finds at one roll angle and twist.

    Attributes
    ----------
    torque : float
        Moment of the held ring-gear faces about its axis [N·mm].
    moments, forces : array, shape (pairs, nx)
        Of the contact on each column of the pinion's flank: moment about the ring gear's axis [N·mm] and
        normal force [N]; columns are even from toe to heel of the ring gear's tooth.
    nodes, elements, iterations : int
    seconds : float
        Processor time.
    memory : float
        Most memory [MB].
    """

    torque: float
    moments: Array
    forces: Array
    nodes: int
    elements: int
    iterations: int
    seconds: float
    memory: float


def contact_deck(
    geometry: Geometry, ease_off: EaseOff, rolls: Array, twist: float, folder: Path,
    *, nx: int, rows: int, across: int = 2, penalty: float = 1e7,
) -> tuple[Array, Array]:  # fmt: skip
    """Write the deck of neighbouring pairs' drive flanks at their roll angles [rad] and a twist [rad].

    Returns
    -------
    points, elements : array
        Nodes [mm] and the 20 nodes of each element, counted from 0.
    """
    ring, pinion = ring_member(geometry), pinion_member(geometry)
    body, held = Body(), []
    origin = np.array([0.0, geometry.cones.offset, 0.0])
    frame = pinion_frame(geometry)
    turn_ring = [rotation_about(np.array([0.0, 0.0, 1.0]), np.array(v)) for v in rolls]
    turn_pinion = [
        rotation_about(geometry.cones.pinion_axis, np.array(-geometry.design.ratio * v)) @ frame.T
        for v in rolls
    ]
    size = {"across": across, "land": 2, "rim_rows": 3, "beyond": 2.0, "ends": 3}
    add_member(
        body, ring, ring_grid(geometry, ring, nx, rows), [(m, np.zeros(3)) for m in turn_ring], "RING",
        order=1, **size,  # type: ignore[arg-type]
    )  # fmt: skip
    split = len(body.points)
    add_member(
        body, pinion, pinion_grid(geometry, pinion, ease_off, nx, rows), [(m, origin) for m in turn_pinion],
        "PINION", order=-1, **size,  # type: ignore[arg-type]
    )  # fmt: skip
    turned = {n for n in body.held if n < split}
    points, elements, held = body.merged()
    kept = cKDTree(points)
    driven = {int(kept.query(body.points[n])[1]) for n in turned}
    lines = [
        "*NODE, NSET=ALL",
        *(f"{n}, {p[0]:.10g}, {p[1]:.10g}, {p[2]:.10g}" for n, p in enumerate(points, 1)),
    ]
    lines.append("*ELEMENT, TYPE=C3D20R, ELSET=BODY")
    for number, e in enumerate(elements, 1):
        text = [str(number), *(str(n + 1) for n in e)]
        lines += [", ".join(text[:16]) + ",", ", ".join(text[16:])]
    for name, faces in body.faces.items():
        lines += [f"*SURFACE, NAME={name}, TYPE=ELEMENT", *(f"{e + 1}, {label}" for e, label in faces)]
    lines += ["*NSET, NSET=DRIVEN", *(f"{n + 1}," for n in sorted(driven))]
    lines += ["*MATERIAL, NAME=STEEL", "*ELASTIC", f"{YOUNG_MPA}, {POISSON}"]
    lines += ["*SOLID SECTION, ELSET=BODY, MATERIAL=STEEL"]
    lines += [
        "*SURFACE INTERACTION, NAME=PRESS",
        "*SURFACE BEHAVIOR, PRESSURE-OVERCLOSURE=LINEAR",
        f"{penalty:g}",
    ]
    pairs = [(f"PINION{n}C{i}", f"RING{n}") for n in range(len(rolls)) for i in range(nx)]
    for slave, master in pairs:
        lines += ["*CONTACT PAIR, INTERACTION=PRESS, TYPE=SURFACE TO SURFACE", f"{slave}, {master}"]
    lines += ["*BOUNDARY", *(f"{n + 1}, 1, 3" for n in sorted(held - driven))]
    lines += ["*STEP, INC=20", "*STATIC", "1.0, 1.0", "*BOUNDARY"]
    way = geometry.drive.outward * twist
    for n in sorted(driven):
        x, y, _ = points[n]
        lines += [f"{n + 1}, 1, 1, {-way * y:.12g}", f"{n + 1}, 2, 2, {way * x:.12g}", f"{n + 1}, 3, 3, 0."]
    lines += ["*NODE PRINT, NSET=DRIVEN", "RF"]
    for slave, master in pairs:
        lines += [f"*CONTACT PRINT, SLAVE={slave}, MASTER={master}", "CF"]
    lines += ["*END STEP"]
    (folder / "pair.inp").write_text("\n".join(lines) + "\n")
    return points, elements


def solve(points: Array, elements: Array, folder: Path, pairs: int) -> Answer:
    """Run CalculiX on the deck in `folder` and read its answer."""
    before = os.times()
    done = subprocess.run(["ccx", "pair"], cwd=folder, capture_output=True, text=True, check=False)
    after = os.times()
    seconds = after.children_user + after.children_system - before.children_user - before.children_system
    table = [line.split() for line in (folder / "pair.cvg").read_text().splitlines()]
    steps = [row for row in table if row and row[0] == "1"]
    if done.returncode != 0 or "*ERROR" in done.stdout or not steps:
        raise RuntimeError(f"ccx failed:\n{done.stdout[-1500:]}")
    held: dict[int, Array] = {}
    moments: list[float] = []
    forces: list[float] = []
    part = ""
    for line in (folder / "pair.dat").read_text().splitlines():
        p = line.split()
        if any(word in line for word in (" time ", "moment", "center", "area,")):
            part = line.strip()
        elif part.startswith("forces") and len(p) == 4:
            held[int(p[0])] = np.array(p[1:], dtype=float)
        elif part.startswith("total surface force") and len(p) == 6:
            moments.append(abs(float(p[5])))
        elif part.startswith("area") and len(p) == 3:
            forces.append(abs(np.nan_to_num(float(p[1]))))  # a column that does not touch has no normal
    torque = abs(sum(float(np.cross(points[n - 1], f)[2]) for n, f in held.items()))
    memory = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024.0
    return Answer(
        torque, np.reshape(moments, (pairs, -1)), np.reshape(forces, (pairs, -1)),
        len(points), len(elements), len(steps), seconds, memory,
    )  # fmt: skip
