"""One tooth of either member as a solid: flanks, blank, fillet and a block of the rim, meshed by hexahedra.

Both members are described alike, in a frame that unrolls the pitch cone: `s` runs along the pitch line
toward the heel, `h` square to it toward the member's own tip, θ turns about the member's axis. Each flank
is an angle θ(s, h); the metal of the tooth lies between the two.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from axlewright.contact.mesh import build_mesh
from axlewright.errors import DesignError
from axlewright.gearset import FlankName, Geometry
from axlewright.gearset.flank import blade_angle
from axlewright.language import Number, _

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Surface = Callable[[Array, Array], Array]

FILLET_RADIUS = 0.3  # root fillet radius over the mean normal module; common practice, no source
RIM_DEPTH = 2.0  # depth of the rim block over the whole depth of the tooth
RIM_WIDTH = 3.0  # pitches from the tooth's middle to each held side of the rim block
WIDEST = 0.9 * math.pi  # no held side is farther round than this
CORE = 0.35  # the rim block keeps this share of the root radius free around the axis
PINION_EXTRA = 0.05  # the pinion's face reaches this share of it beyond the last contact point at each end
LEVELS = np.array([-1.0, -0.5, 0.0, 0.5, 1.0])  # working flank, root to tip of the member itself


@dataclass(frozen=True, slots=True)
class Member:
    """One member's tooth, unrolled; lengths mm, angles rad.

    Attributes
    ----------
    name : {"ring", "pinion"}
    surfaces : dict
        θ(s, h) of the flanks "drive" and "coast" of one and the same tooth.
    radius, height, cone : float
        Pitch radius and axial place of the mean point, pitch angle.
    s_low, s_high : float
        Ends of the face along the pitch line.
    tip, working, root : (float, float)
        Height at s = 0 and slope dh/ds of the tip, of the end of the working flank and of the root.
    pitch : float
        2π/z.
    fillet : float
        Fillet radius.
    """

    name: str
    surfaces: dict[str, Surface]
    radius: float
    height: float
    cone: float
    s_low: float
    s_high: float
    tip: tuple[float, float]
    working: tuple[float, float]
    root: tuple[float, float]
    pitch: float
    fillet: float

    def place(self, s: Array, h: Array, theta: Array) -> Array:
        """Return points in the member's own Cartesian frame, shape (..., 3)."""
        sd, cd = math.sin(self.cone), math.cos(self.cone)
        r = self.radius + s * sd + h * cd
        r, z, angle = np.broadcast_arrays(r, self.height + s * cd - h * sd, theta)
        return np.stack([r * np.cos(angle), r * np.sin(angle), z], axis=-1)

    def unroll(self, r: Array, z: Array) -> tuple[Array, Array]:
        """Return (s, h) of cylindrical (r, z)."""
        sd, cd = math.sin(self.cone), math.cos(self.cone)
        dr, dz = r - self.radius, z - self.height
        return dr * sd + dz * cd, dr * cd - dz * sd

    def level(self, s: Array, v: Array) -> Array:
        """Return the height h at working level v: −1 end of working flank, +1 tip."""
        bottom = self.working[0] + self.working[1] * s
        top = self.tip[0] + self.tip[1] * s
        return bottom + (v + 1.0) / 2.0 * (top - bottom)

    def level_of(self, s: Array, h: Array) -> Array:
        """Return the working level of height `h` at `s`; the inverse of `level`."""
        bottom = self.working[0] + self.working[1] * s
        top = self.tip[0] + self.tip[1] * s
        return 2.0 * (h - bottom) / (top - bottom) - 1.0

    def lengthwise(self, u: Array) -> Array:
        """Return s at u = −1 (toe) … +1 (heel)."""
        return 0.5 * (self.s_low + self.s_high) + 0.5 * u * (self.s_high - self.s_low)

    def lengthwise_of(self, s: Array) -> Array:
        """Return u of s; the inverse of `lengthwise`."""
        return (2.0 * s - self.s_low - self.s_high) / (self.s_high - self.s_low)

    def normal(self, flank: str, s: Array, h: Array) -> tuple[Array, Array]:
        """Return points and unit normals out of the tooth's metal on a flank, shape (..., 3)."""
        surface = self.surfaces[flank]
        other = self.surfaces["coast" if flank == "drive" else "drive"]
        d = 1e-3
        fs = (surface(s + d, h) - surface(s - d, h)) / (2 * d)
        fh = (surface(s, h + d) - surface(s, h - d)) / (2 * d)
        theta = surface(s, h)
        sd, cd = math.sin(self.cone), math.cos(self.cone)
        r = self.radius + s * sd + h * cd
        c, sn = np.cos(theta), np.sin(theta)
        n = np.stack([-sn / r, c / r, np.zeros_like(r)], axis=-1)
        n -= fs[..., None] * np.stack([sd * c, sd * sn, np.full_like(r, cd)], axis=-1)
        n -= fh[..., None] * np.stack([cd * c, cd * sn, np.full_like(r, -sd)], axis=-1)
        side = np.sign(theta - other(s, h))
        n *= (side / np.linalg.norm(n, axis=-1))[..., None]
        return self.place(s, h, theta), n


@dataclass(frozen=True, slots=True)
class Solid:
    """Hexahedral mesh of a tooth on its rim block.

    Attributes
    ----------
    nodes : array, shape (n, 3)
    hexes : array of int, shape (m, 8)
        Corners ordered with ζ fastest: (0,0,0), (0,0,1), (0,1,0), (0,1,1), (1,0,0) … .
    tooth : array of int, shape (nx+1, levels+1, nt+1)
        Node numbers: lengthwise, root to tip, drive flank to coast flank.
    fixed : array of int
        Nodes held.
    """

    nodes: Array
    hexes: Index
    tooth: Index
    fixed: Index


def _fit(s: Array, h: Array, theta: Array, degree: int = 4) -> tuple[Surface, float]:
    """Fit θ(s, h) by a polynomial, so that it goes on smoothly beyond the points; return it and its miss."""
    s0, h0 = float(s.mean()), float(h.mean())
    ss, hs = float(np.ptp(s)) / 2.0, float(np.ptp(h)) / 2.0
    powers = [(i, j) for i in range(degree + 1) for j in range(degree + 1 - i)]

    def rows(a: Array, b: Array) -> Array:
        x, y = (a - s0) / ss, (b - h0) / hs
        return np.stack([x**i * y**j for i, j in powers], axis=-1)

    coefficients, *_rest = np.linalg.lstsq(rows(s, h), theta, rcond=None)
    miss = float(np.abs(rows(s, h) @ coefficients - theta).max())
    return (lambda a, b: np.asarray(rows(a, b) @ coefficients)), miss


def ring_member(geometry: Geometry) -> Member:
    """Return the ring gear's tooth: both flanks set apart by the tooth's thickness.

    The mean normal thickness is m_n (π/2 − x_h (tan α_D + tan α_C)) with x_h half the difference of the
    addenda over the module (ISO 23509 without extra thickness change, from memory); all backlash is taken
    off the pinion.
    """
    blank, cones, design = geometry.blank, geometry.cones, geometry.design
    module = blank.mean_normal_module
    shift = (blank.mean_addendum1 - blank.mean_addendum2) / (2.0 * module)
    names: tuple[FlankName, ...] = ("drive", "coast")
    tangents = sum(math.tan(blade_angle(cones, f, design.mean_pressure_angle_deg)) for f in names)
    thickness = module * (math.pi / 2.0 - shift * tangents) / math.cos(cones.spiral2)
    turn = -geometry.drive.outward * thickness / cones.radius2
    cone, radius, height = blank.delta2, blank.pitch_radius, blank.pitch_height
    sd, cd = math.sin(cone), math.cos(cone)

    def surface(flank: str, add: float) -> Surface:
        ring = geometry.flank(flank)  # type: ignore[arg-type]
        return lambda s, h: ring.theta(radius + s * sd + h * cd, height + s * cd - h * sd) + add

    return Member(
        "ring", {"drive": surface("drive", 0.0), "coast": surface("coast", turn)}, radius, height, cone,
        -blank.face_width / 2.0, blank.face_width / 2.0,
        (blank.mean_addendum2, math.tan(blank.addendum_angle2)),
        (-blank.mean_addendum1, -math.tan(blank.addendum_angle1)),
        (-blank.mean_dedendum2, -math.tan(blank.dedendum_angle2)),
        2.0 * math.pi / design.ring_teeth, FILLET_RADIUS * module,
    )  # fmt: skip


def pinion_frame(geometry: Geometry) -> Array:
    """Return the rows of the pinion's own frame: two axes square to its axis, and the axis, shape (3, 3)."""
    u1 = geometry.cones.pinion_axis
    v = geometry.cones.mean_point - np.array([0.0, geometry.cones.offset, 0.0])
    e1 = v - (v @ u1) * u1
    e1 /= np.linalg.norm(e1)
    return np.stack([e1, np.cross(u1, e1), u1])


def pinion_places(geometry: Geometry, points: Array) -> tuple[Array, Array, Array]:
    """Return cylindrical (r, z, θ) about the pinion axis of points in the mesh frame; any shape (..., 3)."""
    frame = pinion_frame(geometry)
    q = (points - np.array([0.0, geometry.cones.offset, 0.0])) @ frame.T
    return np.hypot(q[..., 0], q[..., 1]), q[..., 2], np.arctan2(q[..., 1], q[..., 0])


def pinion_member(geometry: Geometry) -> Member:
    """Return the pinion's tooth from the conjugate flanks on both sides of it.

    The ring gear's tooth fills a pinion slot, so the drive flank of one slot and the coast flank of the
    next bound a tooth; the backlash is taken off it. Flanks are fitted by polynomials, so that they go on
    into the root the ring gear does not reach.

    Raises
    ------
    DesignError
        When no metal is left between the flanks at the tip.
    """
    blank, cones, design = geometry.blank, geometry.cones, geometry.design
    ring = ring_member(geometry)
    # Both flanks of the design pass through the pitch point, so the slot is read there.
    pitch_x, pitch_y = blank.to_tooth(np.array(blank.pitch_radius), np.array(blank.pitch_height))
    slot = float(ring.surfaces["coast"](pitch_x, pitch_y) - geometry.coast.patches(pitch_x, pitch_y)[0])
    r0, z0, _rest = pinion_places(geometry, cones.mean_point)
    sd, cd = math.sin(blank.delta1), math.cos(blank.delta1)
    coarse = build_mesh(design, 33, 17, 64)
    pitch = 2.0 * math.pi / design.pinion_teeth
    turn_coast = -design.ratio * slot
    turn_coast -= math.copysign(pitch, turn_coast)
    backlash = design.backlash_nominal_mm * cones.radius2 / (design.ring_outer_diameter_mm / 2.0)
    play = backlash / cones.radius2 * design.ratio
    turn_coast += math.copysign(play, -turn_coast)
    surfaces: dict[str, Surface] = {}
    ends: list[float] = []
    for name, turn in (("drive", 0.0), ("coast", turn_coast)):
        pair = coarse.flank(name)  # type: ignore[arg-type]
        r, z, theta = pinion_places(geometry, pair.points)
        theta = np.unwrap(np.unwrap(theta, axis=0), axis=1) + turn
        theta -= 2 * math.pi * round((float(theta[8, 16]) - turn) / (2 * math.pi))
        s = (r - r0) * sd + (z - z0) * cd
        h = (r - r0) * cd - (z - z0) * sd
        keep = pair.valid
        surfaces[name], miss = _fit(s[keep], h[keep], theta[keep])
        if miss * r0 > 0.05 * blank.mean_normal_module:
            raise DesignError(
                _("the pinion's {name} flank cannot be carried into its root (miss {miss} mm)").format(
                    name=name, miss=Number(float(miss * r0), ".2f")
                ),
                where="pinion_spiral_angle_deg",
                fix=_("use a smaller spiral angle or a narrower face"),
            )
        inside = keep & (np.abs(pair.x)[None, :] <= 1.0 + 1e-9)
        ends += [float(s[inside].min()), float(s[inside].max())]
    reach = max(ends) - min(ends)
    member = Member(
        "pinion", surfaces, float(r0), float(z0), blank.delta1,
        min(ends) - PINION_EXTRA * reach, max(ends) + PINION_EXTRA * reach,
        (blank.mean_addendum1, math.tan(blank.addendum_angle1)),
        (-blank.mean_addendum2, -math.tan(blank.addendum_angle2)),
        (-blank.mean_dedendum1, -math.tan(blank.dedendum_angle1)),
        pitch, FILLET_RADIUS * blank.mean_normal_module,
    )  # fmt: skip
    s = np.linspace(member.s_low, member.s_high, 9)
    tip = member.level(s, np.ones_like(s))
    width = surfaces["drive"](s, tip) - surfaces["coast"](s, tip)
    if np.ptp(np.sign(width)) > 0:
        raise DesignError(
            _("the pinion's teeth run to a point at the tip"),
            where="mean_pressure_angle_deg",
            fix=_("use a smaller pressure angle or a smaller working depth"),
        )
    return member


def tooth_grid(member: Member, s: Array, h: Array, share: Array, widen: Array) -> Array:
    """Return nodes across the tooth, shape (len(s), n heights, len(share), 3).

    Parameters
    ----------
    member : Member
    s : array, shape (a,)
    h : array, shape (a, b)
    share : array, shape (c,)
        0 on the drive flank … 1 on the coast flank.
    widen : array, shape (a, b)
        Added to each side [mm], for the fillet.
    """
    S = np.broadcast_to(s[:, None], h.shape)
    front, back = member.surfaces["drive"](S, h), member.surfaces["coast"](S, h)
    r = member.radius + S * math.sin(member.cone) + h * math.cos(member.cone)
    side = np.sign(front - back) * widen / r
    front, back = front + side, back - side
    theta = front[..., None] + (back - front)[..., None] * share
    return member.place(S[..., None], h[..., None], theta)


def mesh_tooth(
    member: Member,
    *,
    lengthwise: int = 12,
    across: int = 4,
    levels: Array = LEVELS,
    rim_layers: int = 4,
    rim_sides: int = 6,
    rim_depth: float = RIM_DEPTH,
    rim_width: float = RIM_WIDTH,
) -> Solid:
    """Mesh one tooth on a block of the rim.

    The block reaches `rim_width` pitches to each side and `rim_depth` whole depths below the root, less where
    that would come near the axis; its bottom and its sides are held, its ends and the root land are free.
    Neighbouring teeth are left out. The fillet stands as a chamfer of the same section.
    """
    u = np.linspace(-1.0, 1.0, lengthwise + 1)
    s = member.lengthwise(u)
    root = member.root[0] + member.root[1] * s
    h = np.concatenate([root[:, None], member.level(s[:, None], levels[None, :])], axis=1)
    widen = np.zeros_like(h)
    gap = float(np.mean(h[:, 1] - h[:, 0]))
    widen[:, 0] = 2.0 * (1.0 - math.pi / 4.0) * member.fillet**2 / gap
    share = np.linspace(0.0, 1.0, across + 1)
    tooth_nodes = tooth_grid(member, s, h, share, widen)
    nx, nl, nt = lengthwise + 1, h.shape[1], across + 1
    # Rim: the root line carried down, spread to the sides with growing cells.
    deepest = rim_reach(member, s, root, rim_depth)
    down = np.linspace(0.0, 1.0, rim_layers + 1) ** 1.4 * deepest[:, None]
    foot = member.surfaces["drive"](s, root), member.surfaces["coast"](s, root)
    centre = 0.5 * (foot[0] + foot[1])
    r_root = member.radius + s * math.sin(member.cone) + root * math.cos(member.cone)
    toward = np.sign(foot[0] - foot[1])
    edge_front = foot[0] + toward * widen[:, 0] / r_root
    edge_back = foot[1] - toward * widen[:, 0] / r_root
    grow = (np.linspace(0.0, 1.0, rim_sides + 1) ** 1.6)[1:]
    limit = min(rim_width * member.pitch, WIDEST) * toward
    front_side = edge_front[:, None] + (centre + limit - edge_front)[:, None] * grow[::-1]
    back_side = edge_back[:, None] + (centre - limit - edge_back)[:, None] * grow
    middle = edge_front[:, None] + (edge_back - edge_front)[:, None] * share
    theta = np.concatenate([front_side, middle, back_side], axis=1)
    depth = root[:, None] - down
    rim_nodes = member.place(s[:, None, None], depth[:, :, None], theta[:, None, :])
    nd, nw = rim_layers + 1, theta.shape[1]
    rim = np.arange(nx * nd * nw).reshape(nx, nd, nw)
    count = rim.size
    tooth = np.empty((nx, nl, nt), dtype=np.intp)
    tooth[:, 0, :] = rim[:, 0, rim_sides : rim_sides + nt]
    tooth[:, 1:, :] = count + np.arange(nx * (nl - 1) * nt).reshape(nx, nl - 1, nt)
    nodes = np.concatenate([rim_nodes.reshape(-1, 3), tooth_nodes[:, 1:].reshape(-1, 3)])
    hexes = np.concatenate([_cells(tooth), _cells(rim[:, ::-1, :])])
    held = np.unique(np.concatenate([rim[:, -1, :].ravel(), rim[:, :, 0].ravel(), rim[:, :, -1].ravel()]))
    return Solid(nodes, _right_handed(nodes, hexes), tooth, held)


def rim_reach(member: Member, s: Array, root: Array, rim_depth: float = RIM_DEPTH) -> Array:
    """Return how deep the rim block reaches below the root at each `s` [mm]."""
    whole = member.tip[0] - member.root[0]
    r_root = member.radius + s * math.sin(member.cone) + root * math.cos(member.cone)
    return np.minimum(rim_depth * whole, (1.0 - CORE) * r_root / math.cos(member.cone))


def _cells(grid: Index) -> Index:
    """Return the hexahedra of a block of node numbers, shape (m, 8)."""
    a, b, c = (n - 1 for n in grid.shape)
    corners = [(i, j, k) for i in (0, 1) for j in (0, 1) for k in (0, 1)]
    return np.stack([grid[i : i + a, j : j + b, k : k + c].ravel() for i, j, k in corners], axis=1)


def _right_handed(nodes: Array, hexes: Index) -> Index:
    p = nodes[hexes]
    triple = np.einsum("ei,ei->e", np.cross(p[:, 4] - p[:, 0], p[:, 2] - p[:, 0]), p[:, 1] - p[:, 0])
    if np.all(triple > 0):
        return hexes
    if np.all(triple < 0):
        return hexes[:, [1, 0, 3, 2, 5, 4, 7, 6]]
    raise DesignError(
        _("{count_nonzero} of {count} cells of the tooth are folded").format(
            count_nonzero=int(np.count_nonzero(triple < 0)), count=len(hexes)
        ),
        where=_("tooth solid"),
        fix=_("the flanks cross: use a smaller pressure angle or working depth"),
    )
