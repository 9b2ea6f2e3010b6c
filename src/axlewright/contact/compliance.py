"""How much the teeth bend: finite-element influence of a design, worked out once and kept.

Each member's tooth is solved as a solid (`tooth_solid`) with quadratic hexahedra under line loads along its
working flank: each is a unit normal force spread over a level as a hat that falls to nothing at the next
places, so that the sum of equal ones is an even line load whatever the mesh. What is kept is the displacement
of the tooth's *middle surface* under every place, along its normal, and the depth of the middle surface
below. The local indentation lies between the surface and the middle: the line-contact law of Weber and
Banaschek takes over exactly there (`hertz.line_approach` down to the same depth): nothing is counted twice.

Influence between neighbouring teeth through the rim is left out.
"""

from __future__ import annotations

import hashlib
import io
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.sparse import coo_matrix, csc_matrix
from scipy.sparse.linalg import splu

from axlewright.contact import tooth_solid
from axlewright.contact.hertz import POISSON, YOUNG_MPA
from axlewright.contact.once import OncePerKey, cache_folder, write_atomically
from axlewright.contact.tooth_solid import LEVELS, Member, Solid, mesh_tooth
from axlewright.gearset import FlankName, GearSetDesign, build_geometry

Array = NDArray[np.float64]

VERSION = 6  # of the model behind the kept numbers; raise it when they would change
LENGTHWISE_CELLS = 12
ACROSS_CELLS = 4


@dataclass(frozen=True, slots=True)
class MemberInfluence:
    """Bending influence of one flank of one member.

    Attributes
    ----------
    u, v : array, shape (nu,), (nv,)
        Lengthwise place and working level of the nodes, each −1 … +1, −1 at the member's own root.
    bend : array, shape (nu·nv, nu·nv)
        Displacement along the inward normal at one node for a unit inward force spread as a hat around
        another [mm/N]; node = u index · nv + v index. Symmetric.
    depth : array, shape (nu, nv)
        Depth of the middle surface below the flank along the normal [mm].
    asymmetry : float
        Largest |C − Cᵀ| over the largest C before it was made symmetric.
    """

    u: Array
    v: Array
    bend: Array
    depth: Array
    asymmetry: float

    def weights(self, u: Array, v: Array) -> Array:
        """Return cubic-spline weights at places (u, v), shape (n, nu·nv); places are clipped to the nodes."""
        wu = CubicSpline(self.u, np.eye(len(self.u)))(np.clip(u, self.u[0], self.u[-1]))
        wv = CubicSpline(self.v, np.eye(len(self.v)))(np.clip(v, self.v[0], self.v[-1]))
        return np.asarray(np.einsum("na,nb->nab", wu, wv).reshape(len(wu), -1))


@dataclass(frozen=True, slots=True)
class DesignInfluence:
    """Influence of both members and both flanks of a design; keys are (member, flank)."""

    parts: dict[tuple[str, str], MemberInfluence]

    def part(self, member: str, flank: FlankName) -> MemberInfluence:
        """Return one flank of "ring" or "pinion"."""
        return self.parts[member, flank]


def displacements(
    nodes: Array, hexes: NDArray[np.intp], fixed: NDArray[np.intp], forces: Array,
    young: float = YOUNG_MPA, poisson: float = POISSON,
    *, edges: NDArray[np.intp] | None = None, edge_forces: Array | None = None,
) -> Array:  # fmt: skip
    """Solve a block of quadratic hexahedra (20 nodes each) under nodal forces.

    Parameters
    ----------
    nodes : array, shape (n, 3)
        [mm].
    hexes : array of int, shape (m, 8)
        As in `Solid`.
    fixed : array of int
        Corner nodes held; faces all of whose corners are held are held as a whole.
    forces : array, shape (n, 3, k)
        Nodal forces of each load case [N].
    young, poisson : float
        E [MPa], ν.
    edges : array of int, shape (m, 2), optional
        Corner nodes at the ends of edges whose middle nodes are loaded as well.
    edge_forces : array, shape (m, 3, k), optional
        Their forces [N].

    Returns
    -------
    array, shape (n, 3, k)
        Displacements of the corner nodes [mm].
    """
    import skfem

    # The library counts its corners 000, 001, 010, 100, 011, 101, 110, 111.
    corners = hexes[:, [0, 1, 2, 4, 3, 5, 6, 7]]
    mesh = skfem.MeshHex(np.ascontiguousarray(nodes.T), np.ascontiguousarray(corners.T))
    basis = skfem.Basis(mesh, skfem.ElementHexS2(), intorder=4)
    corner_of, middle_of = basis.nodal_dofs[0], basis.edge_dofs[0]
    K = _stiffness(basis, young, poisson)
    held = np.zeros(len(nodes), dtype=bool)
    held[fixed] = True
    edge_held = held[mesh.edges].all(axis=0)
    still = np.concatenate([corner_of[held], middle_of[edge_held]])
    free = np.setdiff1d(np.arange(K.shape[0]), (3 * still[:, None] + np.arange(3)).ravel())
    rhs = np.zeros((K.shape[0] // 3, 3, forces.shape[2]))
    rhs[corner_of] = forces
    if edges is not None and edge_forces is not None:
        known = np.sort(mesh.edges, axis=0)
        codes = known[0] * len(nodes) + known[1]
        order = np.argsort(codes)
        wanted = np.sort(edges, axis=1)
        at = np.searchsorted(codes, wanted[:, 0] * len(nodes) + wanted[:, 1], sorter=order)
        rhs[middle_of[order[at]]] = edge_forces
    flat = rhs.reshape(K.shape[0], -1)
    factor = splu(
        K[free][:, free], permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}
    )
    out = np.zeros_like(flat)
    out[free] = factor.solve(flat[free])
    return np.asarray(out.reshape(rhs.shape)[corner_of])


def _stiffness(basis: Any, young: float, poisson: float) -> csc_matrix:
    """Return ∫ λ tr ε tr ε' + 2 μ ε:ε' over a scalar basis taken for each axis; unknown = 3 · dof + axis."""
    lam = young * poisson / ((1.0 + poisson) * (1.0 - 2.0 * poisson))
    mu = young / (2.0 * (1.0 + poisson))
    grad = np.stack(
        [np.asarray(basis.basis[a][0].grad) for a in range(basis.Nbfun)]
    )  # (20, 3, cells, points)
    n, _, cells, points = grad.shape
    grad = np.ascontiguousarray(grad.transpose(2, 0, 1, 3)).reshape(cells, 3 * n, points)
    M = ((grad * basis.dx[:, None, :]) @ grad.transpose(0, 2, 1)).reshape(cells, n, 3, n, 3)
    part = lam * M + mu * M.transpose(0, 1, 4, 3, 2)
    both = mu * np.einsum("eakbk->eab", M)
    for axis in range(3):
        part[:, :, axis, :, axis] += both
    unknown = (3 * basis.element_dofs.T[:, :, None] + np.arange(3)).reshape(cells, -1)
    i = np.repeat(unknown, 3 * n, axis=1).ravel()
    j = np.tile(unknown, (1, 3 * n)).ravel()
    return coo_matrix((part.ravel(), (i, j)), shape=(3 * basis.N, 3 * basis.N)).tocsc()


def flank_nodes(member: Member, cells: int, flank: str, levels: Array = LEVELS) -> tuple[Array, Array]:
    """Return points and outward normals at the loaded places, shape (cells + 1, levels, 3)."""
    s = member.lengthwise(np.linspace(-1.0, 1.0, cells + 1))[:, None]
    h = member.level(s, levels[None, :])
    return member.normal(flank, np.broadcast_to(s, h.shape), h)


def hat_load(member: Member, flank: str, level: float, ends: Array, at: int, cells: int) -> Array:
    """Spread a unit inward force along a level as a hat around place `at`; return consistent nodal forces.

    Parameters
    ----------
    member : Member
    flank : {"drive", "coast"}
    level : float
        Working level, −1 … +1.
    ends : array, shape (e + 1,)
        Lengthwise places −1 … +1 where the mesh's cells meet; the hat's own places are among them.
    at, cells : int
        Place number of the hat and number of its intervals over the face.

    Returns
    -------
    array, shape (e, 3, 3)
        Forces of each quadratic edge: (first, middle, last node, axis); they sum to about 1 N.
    """
    xi, gauss = np.polynomial.legendre.leggauss(4)
    half = 0.5 * np.diff(ends)[:, None]
    u = 0.5 * (ends[1:] + ends[:-1])[:, None] + half * xi
    hat = np.clip(1.0 - np.abs(u - (-1.0 + 2.0 * at / cells)) * cells / 2.0, 0.0, None)
    s = member.lengthwise(u)
    _, normal = member.normal(flank, s, member.level(s, np.full_like(s, level)))
    weight = half * gauss * hat
    shape = np.stack([0.5 * xi * (xi - 1.0), 1.0 - xi * xi, 0.5 * xi * (xi + 1.0)])
    return np.asarray(-np.einsum("eg,ng,egi->eni", weight / weight.sum(), shape, normal))


def middle_feet(solid: Solid, points: Array, normals: Array) -> tuple[Array, Array, Array]:
    """Find where the inward normals of flank points meet the tooth's middle surface.

    Returns
    -------
    a, b : array
        Lengthwise place −1 … +1 and row (0 root … rows−1 tip) of the middle node grid.
    depth : array
        Distance along the normal [mm].
    """
    mid = solid.nodes[solid.tooth[:, :, solid.tooth.shape[2] // 2]]
    nx, nl = mid.shape[:2]
    ua, rows = np.linspace(-1.0, 1.0, nx), np.arange(nl, dtype=float)
    along, up = CubicSpline(ua, np.eye(nx)), CubicSpline(rows, np.eye(nl))
    shape = points.shape[:-1]
    p, n = points.reshape(-1, 3), -normals.reshape(-1, 3)
    nv = shape[1]
    a = np.repeat(np.linspace(-1.0, 1.0, shape[0]), nv)
    b = np.tile(np.linspace(1.0, nl - 1.0, nv), shape[0])
    depth = np.zeros(len(p))
    for _ in range(40):
        wa, wb, da, db = along(a), up(b), along(a, 1), up(b, 1)
        m = np.einsum("na,nb,abi->ni", wa, wb, mid)
        ta = np.einsum("na,nb,abi->ni", da, wb, mid)
        tb = np.einsum("na,nb,abi->ni", wa, db, mid)
        # p + depth n = m + ta δa + tb δb
        system = np.stack([n, -ta, -tb], axis=-1)
        step = np.linalg.solve(system, (m - p)[..., None])[..., 0]
        depth = step[:, 0]
        a = np.clip(a + np.clip(step[:, 1], -0.3, 0.3), -1.0, 1.0)
        b = np.clip(b + np.clip(step[:, 2], -0.3, 0.3), 0.0, nl - 1.0)
    return a, b, np.maximum(depth, 0.1)


def member_influence(
    member: Member, solid: Solid, cells: int = LENGTHWISE_CELLS
) -> dict[str, MemberInfluence]:
    """Solve one member's tooth under line loads on both flanks.

    Parameters
    ----------
    member : Member
    solid : Solid
        Its cells lengthwise a multiple of `cells`, its rows of cells a multiple of the intervals of LEVELS.
    cells : int
        Intervals between the places of load.
    """
    nx, nl, nt = solid.tooth.shape
    nv, nu = len(LEVELS), cells + 1
    each = (nl - 2) // (nv - 1)
    ends = np.linspace(-1.0, 1.0, nx)
    count = 2 * nu * nv
    forces = np.zeros((len(solid.nodes), 3, count))
    edges: list[NDArray[np.intp]] = []
    middles: list[Array] = []
    places: dict[str, tuple[Array, Array, Array, Array]] = {}
    for number, (flank, layer) in enumerate((("drive", 0), ("coast", nt - 1))):
        points, normals = flank_nodes(member, cells, flank)
        for j, level in enumerate(LEVELS):
            line = solid.tooth[:, 1 + j * each, layer]
            middle = np.zeros((nx - 1, 3, count))
            for i in range(nu):
                case = (number * nu + i) * nv + j
                load = hat_load(member, flank, float(level), ends, i, cells)
                forces[line[:-1], :, case] += load[:, 0]
                forces[line[1:], :, case] += load[:, 2]
                middle[:, :, case] = load[:, 1]
            edges.append(np.stack([line[:-1], line[1:]], axis=1))
            middles.append(middle)
        a, b, depth = middle_feet(solid, points, normals)
        places[flank] = (-normals.reshape(-1, 3), a, b, depth)
    moved = displacements(
        solid.nodes, solid.hexes, solid.fixed, forces,
        edges=np.concatenate(edges), edge_forces=np.concatenate(middles),
    )  # fmt: skip
    mid = solid.tooth[:, :, nt // 2]
    along = CubicSpline(ends, np.eye(nx))
    up = CubicSpline(np.arange(nl, dtype=float), np.eye(nl))
    out = {}
    for number, flank in enumerate(("drive", "coast")):
        inward, a, b, depth = places[flank]
        field = moved[mid][..., number * nu * nv : (number + 1) * nu * nv]
        bend = np.einsum("na,nb,abik,ni->nk", along(a), up(b), field, inward, optimize=True)
        worst = float(np.abs(bend - bend.T).max() / np.abs(bend).max())
        values, vectors = np.linalg.eigh(0.5 * (bend + bend.T))
        bend = (vectors * np.maximum(values, 0.0)) @ vectors.T  # no energy from rounding
        out[flank] = MemberInfluence(
            np.linspace(-1.0, 1.0, nu), LEVELS.copy(), bend, depth.reshape(nu, nv), worst
        )
    return out


def influence_folder() -> Path:
    """Return the folder of kept influences, in the cache folder."""
    return cache_folder() / "influence"


def content_key(design: GearSetDesign) -> str:
    """Return the sha256 of everything the influence depends on."""
    shape = {
        k: v
        for k, v in design.fields().items()
        if k
        in (
            "tooth_form", "pinion_teeth", "ring_teeth", "offset_mm", "shaft_angle_deg",
            "ring_outer_diameter_mm", "face_width_mm", "pinion_spiral_angle_deg", "cutter_radius_mm",
            "blade_groups", "mean_pressure_angle_deg", "depth_taper", "backlash_nominal_mm",
        )
    }  # fmt: skip
    model = [
        VERSION, LENGTHWISE_CELLS, ACROSS_CELLS, tooth_solid.FILLET_RADIUS, tooth_solid.RIM_DEPTH,
        tooth_solid.RIM_WIDTH, tooth_solid.WIDEST, tooth_solid.CORE, list(LEVELS), YOUNG_MPA, POISSON,
        tooth_solid.PINION_EXTRA,
    ]  # fmt: skip
    text = json.dumps([shape, model], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()


def compute_influence(design: GearSetDesign) -> DesignInfluence:
    """Solve both members' teeth; takes seconds, see `influence` for the kept result."""
    geometry = build_geometry(design)
    parts: dict[tuple[str, str], MemberInfluence] = {}
    for member in (tooth_solid.ring_member(geometry), tooth_solid.pinion_member(geometry)):
        solid = mesh_tooth(member, lengthwise=LENGTHWISE_CELLS, across=ACROSS_CELLS)
        for flank, part in member_influence(member, solid).items():
            parts[member.name, flank] = part
    return DesignInfluence(parts)


def _read(path: Path) -> DesignInfluence | None:
    try:
        with path.open("rb") as stream, np.load(stream, allow_pickle=False) as kept:
            parts = {}
            for member in ("ring", "pinion"):
                for flank in ("drive", "coast"):
                    tag = f"{member}_{flank}_"
                    parts[member, flank] = MemberInfluence(
                        kept[tag + "u"], kept[tag + "v"], kept[tag + "bend"], kept[tag + "depth"],
                        float(kept[tag + "asymmetry"]),
                    )  # fmt: skip
            return DesignInfluence(parts)
    except (OSError, KeyError, ValueError, EOFError):
        return None
    except Exception as error:
        if type(error).__name__ == "BadZipFile":
            return None
        raise


def _write(path: Path, result: DesignInfluence) -> None:
    arrays: dict[str, Array] = {}
    for (member, flank), part in result.parts.items():
        for name in ("u", "v", "bend", "depth"):
            arrays[f"{member}_{flank}_{name}"] = getattr(part, name)
        arrays[f"{member}_{flank}_asymmetry"] = np.array(part.asymmetry)
    out = io.BytesIO()
    np.savez(out, **arrays)  # type: ignore[arg-type]
    write_atomically(path, out.getvalue())


_KEPT: OncePerKey[tuple[GearSetDesign, Path], DesignInfluence] = OncePerKey(16)


def _read_or_solve(design: GearSetDesign, folder: Path) -> DesignInfluence:
    path = folder / f"{content_key(design)}.npz"
    kept = _read(path) if path.exists() else None
    if kept is not None:
        return kept
    result = compute_influence(design)
    try:
        _write(path, result)
    except OSError:
        return result  # a cache that cannot be written costs time, not the answer
    return result


def influence(design: GearSetDesign) -> DesignInfluence:
    """Return the bending influence of a design from memory, from disk, or by solving it now.

    Threads that ask for the same design at once wait for one solution.

    Raises
    ------
    DesignError
        When the teeth cannot be made solid, with the number that causes it.
    """
    folder = influence_folder()
    return _KEPT.get((design, folder), lambda: _read_or_solve(design, folder))
