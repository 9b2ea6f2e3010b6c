"""Both members as triangles for a 3-D view: one tooth with its share of the rim, to be turned around.

Flanks are those that are rolled; tops, roots and rim follow the blank. Left out because no eye sees them:
the ease-off (some hundredths of a millimetre) and the fillet at the root.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import LinearNDInterpolator

from axlewright.contact.mesh import Settings, build_mesh
from axlewright.contact.tooth_solid import Member, pinion_frame, pinion_member, pinion_places, ring_member
from axlewright.gearset import FlankName, GearSetDesign, Geometry, build_geometry, rotation_about

Array = NDArray[np.float64]
LENGTHWISE, PROFILE, LAND = 24, 12, 3
RIM = 0.7  # rim under the root shown, over the whole depth
OFF_FLANK = 2.0  # place of a vertex that is on no flank
DRIVE, COAST, PLAIN = 0, 1, 2


@dataclass(frozen=True, slots=True)
class ToothMesh:
    """One tooth with its share of the rim, in the mesh frame at roll angle 0.

    Attributes
    ----------
    member : {"ring", "pinion"}
    teeth : int
        Turn the tooth this many times around for the whole gear.
    axis_point, axis : array, shape (3,)
        The gear's axis [mm], unit vector.
    vertices : array of float32, shape (n, 3)
        [mm].
    triangles : array of uint32, shape (m, 3)
        Anticlockwise seen from outside.
    place : array of float32, shape (n, 2)
        (lengthwise, profile) of the ring-gear tooth where the vertex lies or touches; `OFF_FLANK` elsewhere.
    part : array of uint8, shape (n,)
        0 drive flank, 1 coast flank, 2 anything else.
    """

    member: str
    teeth: int
    axis_point: Array
    axis: Array
    vertices: NDArray[np.float32]
    triangles: NDArray[np.uint32]
    place: NDArray[np.float32]
    part: NDArray[np.uint8]

    def around(self) -> tuple[Array, NDArray[np.uint32]]:
        """Return vertices and triangles of the whole gear, shape (teeth · n, 3), (teeth · m, 3)."""
        count = len(self.vertices)
        points, faces = [], []
        for k in range(self.teeth):
            turn = rotation_about(self.axis, np.array(2.0 * math.pi * k / self.teeth))
            points.append((self.vertices - self.axis_point) @ turn.T + self.axis_point)
            faces.append(self.triangles + np.uint32(k * count))
        return np.concatenate(points), np.concatenate(faces)


@dataclass(frozen=True, slots=True)
class SolidPair:
    """Both members.

    Attributes
    ----------
    design : GearSetDesign
    ring, pinion : ToothMesh
    mirrored : bool
        True for a right-hand pinion; everything is mirrored at the plane of both axes' directions, y → −y.
    """

    design: GearSetDesign
    ring: ToothMesh
    pinion: ToothMesh
    mirrored: bool

    def placements(self, settings: Settings, roll_rad: float) -> tuple[Array, Array]:
        """Return where ring gear and pinion stand, two matrices of shape (4, 4) for column vectors.

        Parameters
        ----------
        settings : Settings
        roll_rad : float
            Turn of the ring gear, in the sense of the roll angle of a left-hand set [rad].
        """
        sign = -1.0 if self.mirrored else 1.0
        sigma = math.radians(settings.shaft_angle_error_deg)
        ring = np.eye(4)
        ring[:3, :3] = rotation_about(self.ring.axis, np.array(sign * roll_rad))
        opened = rotation_about(np.array([0.0, 1.0, 0.0]), np.array(sigma))
        turn = opened @ rotation_about(self.pinion.axis, np.array(-sign * self.design.ratio * roll_rad))
        shift = (
            settings.pinion_out_mm * (opened @ self.pinion.axis)
            + np.array([0.0, sign * settings.offset_error_mm, -settings.ring_away_mm])
            + opened @ self.pinion.axis_point
        )
        pinion = np.eye(4)
        pinion[:3, :3] = turn
        pinion[:3, 3] = shift - turn @ self.pinion.axis_point
        return ring, pinion


def _pinion_turn(geometry: Geometry, member: Member) -> float:
    """Return the turn from the pinion tooth's drive flank to its coast flank at the pitch cone [rad].

    The ring gear's tooth and the backlash fill the slot; the rest of the pitch is the pinion's tooth.
    """
    design = geometry.design
    zero = np.array(0.0)
    ring = ring_member(geometry)
    slot = float(ring.surfaces["drive"](zero, zero) - ring.surfaces["coast"](zero, zero))
    play = design.backlash_nominal_mm / (design.ring_outer_diameter_mm / 2.0)
    tooth = 2.0 * math.pi / design.pinion_teeth - design.ratio * (abs(slot) + play)
    sense = float(member.surfaces["coast"](zero, zero) - member.surfaces["drive"](zero, zero))
    return math.copysign(tooth, sense)


def _section(member: Member, s: Array, coast_turn: float | None, rows: int) -> tuple[Array, Array]:
    """Return heights and angles once round a tooth and its root land at each s, shape (len(s), n)."""
    share = (np.arange(rows + 1) / rows)[None, :]
    root = (member.root[0] + member.root[1] * s)[:, None]
    tip = (member.tip[0] + member.tip[1] * s)[:, None]
    h = root + share * (tip - root)
    S = np.broadcast_to(s[:, None], h.shape)
    drive, coast = member.surfaces["drive"](S, h), member.surfaces["coast"](S, h)
    if coast_turn is not None:
        zero = np.array(0.0)
        coast = coast + coast_turn - float(member.surfaces["coast"](zero, zero))
    side = math.copysign(1.0, float((drive - coast)[len(s) // 2, rows // 2]))
    # Flanks that would cross, at a thin top or a narrow root, meet in the middle.
    thick = np.maximum(side * (drive - coast), 0.02 * member.pitch)
    thick = np.minimum(thick, 0.97 * member.pitch)
    middle = 0.5 * (drive + coast)
    drive, coast = middle + side * thick / 2.0, middle - side * thick / 2.0
    land = np.arange(1, LAND) / LAND
    top = drive[:, -1:] + (coast[:, -1:] - drive[:, -1:]) * land
    bottom = coast[:, :1] + ((drive[:, :1] - side * member.pitch) - coast[:, :1]) * (
        np.arange(1, LAND + 1) / LAND
    )
    angle = np.concatenate([drive, top, coast[:, ::-1], bottom], axis=1)
    height = np.concatenate(
        [h, np.repeat(tip, LAND - 1, axis=1), h[:, ::-1], np.repeat(root, LAND, axis=1)], axis=1
    )
    return height, angle


def _strip(a: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return triangles over a grid of vertex numbers, shape (2 · cells, 3)."""
    p, q, r, t = a[:-1, :-1], a[1:, :-1], a[1:, 1:], a[:-1, 1:]
    return np.concatenate([np.stack([p, q, r], -1).reshape(-1, 3), np.stack([p, r, t], -1).reshape(-1, 3)])


def _tooth(
    member: Member, coast_turn: float | None, lengthwise: int, profile: int
) -> tuple[Array, NDArray[np.int64], Array, Array, NDArray[np.uint8]]:
    """Return vertices in the member's frame, triangles, (s, h) of each vertex and its part."""
    s = np.linspace(member.s_low, member.s_high, lengthwise + 1)
    height, angle = _section(member, s, coast_turn, profile)
    ns, nt = height.shape
    depth = member.tip[0] - member.root[0]
    rim = np.broadcast_to((member.root[0] + member.root[1] * s - RIM * depth)[:, None], height.shape)
    S = np.broadcast_to(s[:, None], height.shape)
    rings = [(S, height), (S, rim), (S[[0, -1]], height[[0, -1]]), (S[[0, -1]], rim[[0, -1]])]
    angles = [angle, angle, angle[[0, -1]], angle[[0, -1]]]
    points = np.concatenate(
        [member.place(a, b, c).reshape(-1, 3) for (a, b), c in zip(rings, angles, strict=True)]
    )
    sh = np.concatenate([np.stack([a, b], -1).reshape(-1, 2) for a, b in rings])
    outer = np.arange(ns * nt).reshape(ns, nt)
    inner = outer + ns * nt
    caps = np.arange(2 * ns * nt, 2 * ns * nt + 4 * nt).reshape(4, nt)  # toe, heel outer; toe, heel inner
    faces = np.concatenate([
        _strip(outer),
        _strip(inner)[:, ::-1],
        _strip(np.stack([caps[2], caps[0]])),
        _strip(np.stack([caps[1], caps[3]])),
    ])  # fmt: skip
    part = np.full(len(points), PLAIN, dtype=np.uint8)
    part[outer[:, : profile + 1]] = DRIVE
    first = profile + 1 + LAND - 1
    part[outer[:, first : first + profile + 1]] = COAST
    # Turned so that the area vector of the tooth's top points to its tip.
    top = outer[ns // 2, profile], outer[ns // 2 + 1, profile], outer[ns // 2, profile + 1]
    a, b, c = (points[i] for i in top)
    outward = member.place(*(np.array(v) for v in (0.0, 1.0, float(angle[ns // 2, profile]))))
    outward = outward - member.place(*(np.array(v) for v in (0.0, 0.0, float(angle[ns // 2, profile]))))
    if float(np.cross(b - a, c - a) @ outward) < 0.0:
        faces = faces[:, ::-1]
    return points, faces, sh[:, 0], sh[:, 1], part


def solid_pair(design: GearSetDesign, lengthwise: int = LENGTHWISE, profile: int = PROFILE) -> SolidPair:
    """Make both members for a 3-D view.

    Parameters
    ----------
    design : GearSetDesign
    lengthwise, profile : int
        Cells along and up each flank.

    Returns
    -------
    SolidPair

    Raises
    ------
    DesignError
        When the set cannot exist.
    """
    geometry = build_geometry(design)
    mirrored = design.hand == "right"
    out = []
    for member in (ring_member(geometry), pinion_member(geometry)):
        ring = member.name == "ring"
        turn = None if ring else _pinion_turn(geometry, member)
        points, faces, s, h, part = _tooth(member, turn, lengthwise, profile)
        place = np.full((len(points), 2), OFF_FLANK)
        if ring:
            on = part != PLAIN
            r = member.radius + s * math.sin(member.cone) + h * math.cos(member.cone)
            z = member.height + s * math.cos(member.cone) - h * math.sin(member.cone)
            x, y = geometry.blank.to_tooth(r[on], z[on])
            place[on] = np.stack([x, y], axis=1)
            axis, origin = np.array([0.0, 0.0, 1.0]), np.zeros(3)
        else:
            names: tuple[FlankName, ...] = ("drive", "coast")
            for number, name in enumerate(names):
                on = part == number
                place[on] = _touching(geometry, member, name, s[on], h[on])
            axis, origin = geometry.cones.pinion_axis, np.array([0.0, geometry.cones.offset, 0.0])
            points = points @ pinion_frame(geometry) + origin
        if mirrored:
            points, origin, axis = (v * np.array([1.0, -1.0, 1.0]) for v in (points, origin, axis))
            faces = faces[:, ::-1]
        out.append(
            ToothMesh(
                member.name,
                design.ring_teeth if ring else design.pinion_teeth,
                origin,
                axis,
                np.ascontiguousarray(points, dtype=np.float32),
                np.ascontiguousarray(faces, dtype=np.uint32),
                np.ascontiguousarray(place, dtype=np.float32),
                part,
            )
        )
    return SolidPair(design, out[0], out[1], mirrored)


def _touching(geometry: Geometry, member: Member, name: FlankName, s: Array, h: Array) -> Array:
    """Return where on the ring-gear tooth pinion points (s, h) touch, shape (n, 2)."""
    pair = build_mesh(geometry.design, 33, 17, 64).flank(name)
    r, z, _ = pinion_places(geometry, pair.points)
    at = np.stack(member.unroll(r, z), axis=-1).reshape(-1, 2)
    X, Y = np.meshgrid(pair.x, pair.y)
    values = LinearNDInterpolator(at, np.stack([X, Y], axis=-1).reshape(-1, 2), fill_value=OFF_FLANK)
    return np.asarray(values(s, h))
