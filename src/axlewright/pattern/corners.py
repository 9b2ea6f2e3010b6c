"""The four taps: read, checked, snapped to the edges of the tooth, or guessed."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage

from axlewright.contact.rolling import check_flank
from axlewright.errors import PhotoError
from axlewright.gearset import FlankName, GearSetDesign
from axlewright.language import Number, _
from axlewright.pattern.camera import (
    CORNER_NAMES,
    CORNER_X,
    CORNER_Y,
    PHONE_FOCAL_SHARE,
    FittedCamera,
    flank_surface,
    winding,
)
from axlewright.pattern.colour import lab, linear_light
from axlewright.pattern.picture import Picture
from axlewright.units import LONGEST_LIST, as_typed, parse_number

Array = NDArray[np.float64]

SEARCH_SHARE = 0.018  # of the tooth's length in the picture, how far an edge is looked for
EDGES = {
    # name: (places along the edge, inward neighbour), the foot is left out: it hides behind the next tooth
    "top": (np.stack([np.linspace(-0.94, 0.94, 41), np.full(41, 1.0)], 1), np.array([0.0, -0.1])),
    "toe": (np.stack([np.full(13, -1.0), np.linspace(-0.85, 0.9, 13)], 1), np.array([0.05, 0.0])),
    "heel": (np.stack([np.full(13, 1.0), np.linspace(-0.85, 0.9, 13)], 1), np.array([-0.05, 0.0])),
}


def softened(pixels: NDArray[np.uint8]) -> Array:
    """Return a part of a picture in perceptual units (CIE Lab), its noise smoothed, shape (h, w, 3)."""
    image = lab(linear_light(pixels).astype(np.float32))
    return np.stack([ndimage.gaussian_filter(image[..., k], 1.0) for k in range(3)], -1)


def find_edges(
    soft: Array,
    camera: FittedCamera,
    design: GearSetDesign,
    flank: FlankName,
    scale: float,
    origin: Array,
    length_px: float,
) -> tuple[tuple[Array, Array, Array, Array] | None, dict[str, float]]:
    """Look for the tooth's edges.

    Parameters
    ----------
    soft : array, shape (h, w, 3)
        Part of the picture, reduced, as `softened` gives it.
    camera : FittedCamera
        From the taps, in full-picture pixels.
    design : GearSetDesign
    flank : {"drive", "coast"}
    scale : float
        Reduced pixels per picture pixel.
    origin : array, shape (2,)
        Picture pixel of the part's first pixel centre.
    length_px : float
        Length of the tooth in the picture [px].

    Returns
    -------
    edges : tuple or None
        As `fit_camera` takes them; None when no edge is clear.
    support : dict
        Edge name to the share of its length at which the found edge is clear.
    """
    reach = max(4.0, SEARCH_SHARE * length_px)
    steps = np.arange(-reach, reach + 1e-9, 1.0 / scale)
    found: list[tuple[Array, Array, Array, Array]] = []
    support: dict[str, float] = {}
    for name, (places, inward) in EDGES.items():
        at = camera.project(flank_surface(design, flank, places[:, 0], places[:, 1])[0])
        near = places + inward
        inside = camera.project(flank_surface(design, flank, near[:, 0], near[:, 1])[0])
        tangent = np.gradient(at, axis=0)
        tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
        normal = np.stack([-tangent[:, 1], tangent[:, 0]], 1)
        normal *= np.sign(np.sum(normal * (at - inside), 1))[:, None]
        where = (at[:, None, :] + steps[None, :, None] * normal[:, None, :] - origin) * scale
        profile = np.stack(
            [ndimage.map_coordinates(soft[..., k], [where[..., 1], where[..., 0]], order=1, mode="nearest")
             for k in range(3)], -1
        )  # fmt: skip
        jump = np.linalg.norm(profile[:, 2:] - profile[:, :-2], axis=-1)
        jump = np.pad(jump, ((0, 0), (1, 1)))
        offset, clear = _smooth_track(jump, steps)
        support[name] = float(clear.mean())
        if clear.mean() < 0.6:
            continue
        keep = clear
        count = int(keep.sum())
        # Neighbouring points share their errors: all of an edge together count as a few.
        sd = np.full(count, 1.2 / scale * np.sqrt(count / 4.0))
        found.append((places[keep], (at + offset[:, None] * normal)[keep], normal[keep], sd))
    if not found:
        return None, support
    a, b, c, d = (np.concatenate(parts) for parts in zip(*found, strict=True))
    return (a, b, c, d), support


def _smooth_track(jump: Array, steps: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Follow the strongest jump along an edge by dynamic programming.

    Parameters
    ----------
    jump : array, shape (n, m)
        Strength at n points along the edge and m offsets.
    steps : array, shape (m,)
        Offsets [px].

    Returns
    -------
    offset : array, shape (n,)
        Offset of the followed edge, a straight line plus bow through it [px].
    clear : array of bool, shape (n,)
        Where the jump stands out and lies on that line.
    """
    n, m = jump.shape
    strength = jump / (np.median(jump.max(1)) + 1e-9)
    # A weak pull toward the taps keeps a flat profile from wandering off.
    score = np.minimum(strength, 1.5) - 0.25 * (steps / steps[-1])[None, :] ** 2
    total = score.copy()
    back = np.zeros((n, m), np.intp)
    shifts = np.arange(-2, 3)
    for i in range(1, n):
        options = np.stack([_shifted(total[i - 1], int(s)) - 0.08 * abs(s) for s in shifts])
        pick = np.argmax(options, 0)
        back[i] = np.clip(np.arange(m) - shifts[pick], 0, m - 1)
        total[i] += options[pick, np.arange(m)]
    track = np.zeros(n, np.intp)
    track[-1] = int(np.argmax(total[-1]))
    for i in range(n - 1, 0, -1):
        track[i - 1] = back[i, track[i]]
    offset = steps[track]
    t = np.linspace(-1, 1, n)
    weight, coef = np.ones(n), np.zeros(3)
    A = np.stack([np.ones(n), t, t * t], 1)
    pitch = steps[1] - steps[0]
    for _round in range(6):
        coef = np.asarray(np.linalg.lstsq(A * weight[:, None], offset * weight, rcond=None)[0])
        miss = np.abs(offset - A @ coef) / (1.5 * pitch)
        weight = 1.0 / (1.0 + miss**2)
    level = strength[np.arange(n), track]
    floor = np.median(strength, axis=1)
    clear = (np.abs(offset - A @ coef) < 2.5 * pitch) & (level > 2.5 * floor)
    clear &= np.abs(offset) < steps[-1] - 1.5 * pitch
    return np.asarray(A @ coef), clear


def _shifted(row: Array, by: int) -> Array:
    out = np.full_like(row, -1e9)
    if by == 0:
        return row.copy()
    if by > 0:
        out[by:] = row[:-by]
    else:
        out[:by] = row[-by:]
    return out


ORDER = "toe-top, heel-top, heel-root, toe-root"
SMALLEST_LENGTH_PX = 120.0  # of the tooth in the picture; below it the pattern has too few pixels
SMALLEST_HEIGHT_PX = 24.0


def parse_corners(text: str) -> Array:
    """Read four taps.

    Parameters
    ----------
    text : str
        ``"x,y x,y x,y x,y"`` in pixels of the upright picture, toe-top, heel-top, heel-root, toe-root.

    Returns
    -------
    array, shape (4, 2)

    Raises
    ------
    PhotoError
        When there are not four pairs of numbers.
    """
    pairs = as_typed(text.replace(";", " "), where=_("corners"), longest=LONGEST_LIST).split()
    values = []
    for pair in pairs:
        parts = pair.split(",")
        try:
            x, y = (parse_number(v) for v in parts)
        except ValueError:
            raise PhotoError(
                _("'{pair}' is not a place in the picture").format(pair=pair),
                where=_("corners"),
                fix=_("write four pairs like 310,220 in the order {order}").format(order=ORDER),
            ) from None
        values.append((x, y))
    if len(values) != 4:
        raise PhotoError(
            _("{count} corners are given where four are needed").format(count=len(values)),
            where=_("corners"),
            fix=_("tap {order}").format(order=ORDER),
        )
    return np.array(values, dtype=float)


def _crosses(a: Array, b: Array, c: Array, d: Array) -> bool:
    def side(p: Array, q: Array, r: Array) -> float:
        return float((q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]))

    return side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0


def check_corners(corners: Array, size: tuple[int, int], design: GearSetDesign, flank: FlankName) -> Array:
    """Check four taps against the picture and against how the named flank must look.

    Parameters
    ----------
    corners : array-like, shape (4, 2)
        Toe-top, heel-top, heel-root, toe-root [px].
    size : (int, int)
        Width and height of the picture [px].
    design : GearSetDesign
    flank : {"drive", "coast"}

    Returns
    -------
    array, shape (4, 2)

    Raises
    ------
    PhotoError
        Off the picture, crossing, too small, not convex, or in the order of a mirrored tooth.
    """
    c = np.asarray(corners, dtype=float)
    if c.shape != (4, 2) or not np.all(np.isfinite(c)):
        raise PhotoError(
            _("four corners are needed"), where=_("corners"), fix=_("tap {order}").format(order=ORDER)
        )
    width, height = size
    for name, (x, y) in zip(CORNER_NAMES, c, strict=True):
        if not (-0.5 <= x <= width - 0.5 and -0.5 <= y <= height - 0.5):
            raise PhotoError(
                _(
                    "the {name} corner ({x}, {y}) lies outside the picture of {width} × {height} pixels"
                ).format(name=name, x=Number(x, ".0f"), y=Number(y, ".0f"), width=width, height=height),
                where=_("corners"),
                fix=_("tap inside the picture, or take one that shows the whole tooth"),
            )
    if _crosses(c[0], c[1], c[2], c[3]) or _crosses(c[1], c[2], c[3], c[0]):
        raise PhotoError(
            _("the corners cross"),
            where=_("corners"),
            fix=_("tap them in the order {order}").format(order=ORDER),
        )
    length = 0.5 * (np.linalg.norm(c[1] - c[0]) + np.linalg.norm(c[2] - c[3]))
    tall = 0.5 * (np.linalg.norm(c[3] - c[0]) + np.linalg.norm(c[2] - c[1]))
    if length < SMALLEST_LENGTH_PX or tall < SMALLEST_HEIGHT_PX:
        raise PhotoError(
            _("the tooth is only {length} × {tall} pixels in the picture").format(
                length=Number(float(length), ".0f"), tall=Number(float(tall), ".0f")
            ),
            where=_("corners"),
            fix=_("go nearer, so that one tooth fills half of the picture's width"),
        )
    following, before = np.roll(c, -1, 0) - c, c - np.roll(c, 1, 0)
    turn = before[:, 0] * following[:, 1] - before[:, 1] * following[:, 0]
    if not (np.all(turn > 0) or np.all(turn < 0)):
        raise PhotoError(
            _("the corners do not go around a tooth"),
            where=_("corners"),
            fix=_("tap them in the order {order}").format(order=ORDER),
        )
    if (1 if turn[0] > 0 else -1) != winding(design, flank):
        other = _("coast") if flank == "drive" else _("drive")
        raise PhotoError(
            _("seen from outside, a {flank} flank of {name} has its corners the other way round").format(
                flank=flank, name=design.name
            ),
            where=_("corners"),
            fix=_(
                "check toe against heel, whether this is the {other} flank, and that no photo is mirrored"
            ).format(other=other),
        )
    if tall > 1.1 * length:
        raise PhotoError(
            _("the tooth would be taller ({tall} px) than long ({length} px)").format(
                tall=Number(float(tall), ".0f"), length=Number(float(length), ".0f")
            ),
            where=_("corners"),
            fix=_("tap them in the order {order}").format(order=ORDER),
        )
    return c


SEARCH_WIDTH = 360  # px of the reduced picture that is searched
RAISED_DEG = (24.0, 34.0, 44.0)  # views above the flank's normal that are tried


def _view(points: Array, normal: Array, up: Array, raised: float) -> Array:
    """Return picture coordinates of points seen from a usual place, the tooth's length taken as 1."""
    along = np.cross(up, normal)
    view = math.cos(raised) * normal + math.sin(raised) * up
    down = -(up - (up @ view) * view)
    down /= np.linalg.norm(down)
    right = np.cross(down, -view)
    middle = points[:4].mean(0)
    length = float(np.ptp(points @ (along / np.linalg.norm(along))))
    distance = PHONE_FOCAL_SHARE * length / 0.55
    q = points - middle - distance * view
    depth = q @ -view
    flat = np.stack([q @ right, q @ down], 1) / depth[:, None]
    size = np.linalg.norm(flat[1] - flat[0])
    return np.asarray((flat - flat[:4].mean(0)) / size)


def guess_corners(picture: Picture, design: GearSetDesign, flank: str) -> Array:
    """Guess where the four corners are, to start tapping from.

    Parameters
    ----------
    picture : Picture
    design : GearSetDesign
    flank : {"drive", "coast"}

    Returns
    -------
    array, shape (4, 2)
        Toe-top, heel-top, heel-root, toe-root [px]. A start only: neighbouring teeth look alike and the guess
        may sit on one of them.
    """
    name = check_flank(flank)
    scale = SEARCH_WIDTH / max(picture.width, picture.height)
    size = (max(1, round(picture.width * scale)), max(1, round(picture.height * scale)))
    image = lab(linear_light(np.asarray(Image.fromarray(picture.pixels).resize(size, Image.Resampling.BOX))))
    soft = np.stack([ndimage.gaussian_filter(image[..., k], 1.2) for k in range(3)], -1)
    gy, gx = np.gradient(soft, axis=(0, 1))
    cap = float(np.percentile(np.hypot(gx, gy).sum(-1), 97)) + 1e-6
    t = np.linspace(-0.9, 0.9, 21)
    one = np.ones_like(t)
    places = np.concatenate(
        [
            np.stack([CORNER_X, CORNER_Y], 1),
            np.stack([t, one], 1),
            np.stack([-one, t], 1)[::3],
            np.stack([one, t], 1)[::3],
        ]
    )
    points, _ = flank_surface(design, name, places[:, 0], places[:, 1])
    _, normal = flank_surface(design, name, np.array(0.0), np.array(0.0))
    tips, _ = flank_surface(design, name, np.zeros(2), np.array([-1.0, 1.0]))
    up = tips[1] - tips[0]
    up -= (up @ normal) * normal
    up /= np.linalg.norm(up)
    groups = [np.arange(4, 25), np.arange(25, 32), np.arange(32, 39)]
    rng = np.random.default_rng(0)
    best: tuple[float, Array] | None = None
    w, h = size
    for raised in RAISED_DEG:
        shape = _view(points, normal, up, math.radians(raised))
        pose = np.column_stack(
            [
                rng.uniform(0.28, 0.72, 1500) * w,
                rng.uniform(0.25, 0.75, 1500) * h,
                rng.uniform(0.40, 0.72, 1500) * max(w, h),
                np.radians(rng.choice([0.0, 180.0], 1500) + rng.normal(0, 14, 1500)),
            ]
        )
        value = _fit(shape, pose, gx, gy, groups, cap, w, h)
        for spread in (0.05, 0.02, 0.01):
            top = pose[np.argsort(value)[::-1][:25]]
            pose = np.repeat(top, 24, 0)
            noise = rng.standard_normal(pose.shape) * spread
            pose = pose + noise * np.array([w, h, max(w, h), 2.5])
            value = _fit(shape, pose, gx, gy, groups, cap, w, h)
        k = int(np.argmax(value))
        if best is None or value[k] > best[0]:
            best = (float(value[k]), _place(shape, pose[k : k + 1])[0, :4])
    assert best is not None
    corners = (best[1] + 0.5) / scale - 0.5
    return np.asarray(np.clip(corners, 0.0, [picture.width - 1.0, picture.height - 1.0]))


def _place(shape: Array, pose: Array) -> Array:
    c, s = np.cos(pose[:, 3, None]), np.sin(pose[:, 3, None])
    x = pose[:, 0, None] + pose[:, 2, None] * (c * shape[:, 0] - s * shape[:, 1])
    y = pose[:, 1, None] + pose[:, 2, None] * (s * shape[:, 0] + c * shape[:, 1])
    return np.stack([x, y], -1)


def _fit(
    shape: Array,
    pose: Array,
    gx: Array,
    gy: Array,
    groups: list[NDArray[np.intp]],
    cap: float,
    w: int,
    h: int,
) -> Array:
    """Return how well the outline follows edges of the picture at each pose, shape (n,)."""
    at = _place(shape, pose)
    i, j = np.rint(at[..., 1]).astype(int), np.rint(at[..., 0]).astype(int)
    inside = (i >= 0) & (i < h) & (j >= 0) & (j < w)
    ii, jj = np.clip(i, 0, h - 1), np.clip(j, 0, w - 1)
    total = np.zeros(len(pose))
    for group, weight in zip(groups, (1.0, 0.7, 0.7), strict=True):
        tangent = np.gradient(at[:, group], axis=1)
        tangent /= np.linalg.norm(tangent, axis=-1, keepdims=True) + 1e-9
        a, b = ii[:, group], jj[:, group]
        across = np.abs(-gx[a, b] * tangent[..., 1:] + gy[a, b] * tangent[..., :1]).sum(-1)
        total += weight * np.mean(np.minimum(across / cap, 1.0) * inside[:, group], axis=1)
    # Prefer the large tooth in the middle of the picture to its neighbours.
    middle = np.hypot(pose[:, 0] / w - 0.5, pose[:, 1] / h - 0.5)
    corners_in = inside[:, :4].all(1)
    return total * (1.0 - 0.6 * middle) * np.where(corners_in, 1.0, 0.3)
