"""One drawn photograph from a request: roll the set, paint the teeth, light them, look at them."""

from __future__ import annotations

import io
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

import numpy as np
from PIL import Image

import axlewright as aw
from axlewright.contact import Settings, measure_mask
from axlewright.contact.runout import roll_runout
from axlewright.gearset import EaseOff, FlankName
from photo_scene.camera import Camera, place_camera
from photo_scene.gear import COAST, DRIVE, END, FILLET, TOP, Gear
from photo_scene.light import develop, environment, place_lamp, shade, shadow
from photo_scene.raster import rasterize
from photo_scene.surface import COMPOUNDS, flank_texture, noise, sample

_TURNS = {
    1: None,
    3: Image.Transpose.ROTATE_180,
    6: Image.Transpose.ROTATE_90,
    8: Image.Transpose.ROTATE_270,
}


@dataclass(frozen=True)
class PhotoRequest:
    """Everything that decides a drawn photograph.

    Attributes
    ----------
    design : GearSetDesign
    flank : {"drive", "coast"}
    pinion_out_mm, ring_away_mm, offset_error_mm, shaft_angle_error_deg : float
        Settings the set is rolled at.
    ease_off : dict
        Flank name to EaseOff in place of the design's own.
    compound : str
        Colour name of `COMPOUNDS`.
    mode : {"rubbed", "print", "painted", "none"}
    width, height : int
        [px]
    focal_ratio, fill, elevation_deg, side_deg, roll_deg, shift, distortion
        See `place_camera`.
    glare, unevenness, dirt, oil : float
        0 … 1.
    used : bool
    shadow_depth : float
        Share of the lamp that a shadow takes, 0 … 1.
    blur_px, noise, exposure, tint
        See `develop`; blur as if the picture were 1600 px wide.
    quality : int
        JPEG quality.
    orientation : int
        EXIF orientation the file is stored with: 1, 3, 6 or 8.
    location : bool
        Write an invented place into the EXIF data.
    tooth : int
        Number of the tooth in the middle, 1 … number of teeth.
    runout : Runout, optional
        Of the ring gear: each tooth then carries a pattern of its own. Teeth are numbered as they mesh; the
        set has the design's ease-off.
    seed : int
    """

    design: Any
    flank: str = "drive"
    pinion_out_mm: float = 0.0
    ring_away_mm: float = 0.0
    offset_error_mm: float = 0.0
    shaft_angle_error_deg: float = 0.0
    ease_off: dict[str, EaseOff] = field(default_factory=dict)
    compound: str = "yellow"
    mode: str = "rubbed"
    width: int = 1920
    height: int = 1280
    focal_ratio: float = 0.95
    fill: float = 0.60
    elevation_deg: float = 28.0
    side_deg: float = 0.0
    roll_deg: float = 0.0
    shift: tuple[float, float] = (0.0, 0.0)
    distortion: float = 0.0
    glare: float = 0.3
    unevenness: float = 0.6
    dirt: float = 0.4
    oil: float = 0.2
    used: bool = False
    shadow_depth: float = 0.8
    blur_px: float = 0.9
    noise: float = 0.012
    exposure: float = 0.85
    tint: tuple[float, float, float] = (1.0, 0.99, 0.96)
    quality: int = 88
    orientation: int = 1
    location: bool = False
    tooth: int = 1
    runout: Any = None
    seed: int = 1


@dataclass(frozen=True)
class DrawnPhoto:
    """A drawn photograph and the truth behind it.

    Attributes
    ----------
    jpeg : bytes
    corners : array, shape (4, 2)
        Toe-top, heel-top, heel-root, toe-root in pixels of the upright picture.
    mask : array of bool, shape (48, 96)
    pattern : ContactPattern
    visible : float
        Share of the flank the camera sees.
    neighbours : dict
        Place beside the middle tooth (−2 … 2 without 0) to corners of the same flank there.
    patterns : dict
        Place (−3 … 3, 0 in the middle) to the true pattern of that tooth.
    request : PhotoRequest
    camera : Camera
    """

    jpeg: bytes
    corners: np.ndarray
    mask: np.ndarray
    pattern: Any
    visible: float
    neighbours: dict[int, np.ndarray]
    patterns: dict[int, Any]
    request: PhotoRequest
    camera: Camera


def _hold(gear: Gear, request: PhotoRequest, elevation: float) -> Camera:
    return place_camera(
        gear,
        request.flank,
        width=request.width,
        height=request.height,
        focal_ratio=request.focal_ratio,
        fill=request.fill,
        elevation_deg=elevation,
        side_deg=request.side_deg,
        roll_deg=request.roll_deg,
        shift=request.shift,
        distortion=request.distortion,
    )


def _framed(gear: Gear, mesh: Any, request: PhotoRequest) -> tuple[PhotoRequest, Camera, float]:
    """Raise the camera until the flank is seen past the next tooth, and keep the tooth inside the picture."""
    x, y = np.array([-1.0, 1.0, 1.0, -1.0]), np.array([1.0, 1.0, -1.0, -1.0])
    for _ in range(5):
        elevation = request.elevation_deg
        camera = _hold(gear, request, elevation)
        seen = _seen_share(gear, mesh, camera, request.flank)
        while seen < 0.985 and elevation < 66.0:
            elevation += 3.0
            camera = _hold(gear, request, elevation)
            seen = _seen_share(gear, mesh, camera, request.flank)
        corners = camera.project(gear.flank(request.flank, x, y)[0])[0]
        room = 0.02 * max(request.width, request.height)
        if np.all(corners > room) and np.all(corners < np.array([request.width, request.height]) - room):
            break
        request = replace(
            request,
            fill=0.88 * request.fill,
            shift=(0.5 * request.shift[0], 0.5 * request.shift[1]),
            side_deg=0.7 * request.side_deg,
        )
    return request, camera, seen


def _seen_share(gear: Gear, mesh: Any, camera: Camera, flank: str) -> float:
    X, Y = np.meshgrid(np.linspace(-1, 1, 25), np.linspace(-1, 1, 13))
    points, _ = gear.flank(flank, X, Y)
    scale = 400.0 / max(camera.width, camera.height)
    screen, depth = camera.project(mesh.points)
    w, h = int(camera.width * scale), int(camera.height * scale)
    _, _, near = rasterize(screen * scale, 1.0 / np.maximum(depth, 1.0), mesh.faces, w, h)
    px, mine = camera.project(points)
    ij = np.rint(px * scale).astype(int)
    inside = (ij[..., 0] >= 0) & (ij[..., 0] < w) & (ij[..., 1] >= 0) & (ij[..., 1] < h)
    k = np.clip(ij[..., 1], 0, h - 1) * w + np.clip(ij[..., 0], 0, w - 1)
    seen = inside & (1.0 / np.maximum(near[k], 1e-9) > mine - 0.9)
    return float(seen.mean())


def make_photo(request: PhotoRequest) -> DrawnPhoto:
    """Draw one photograph.

    Parameters
    ----------
    request : PhotoRequest

    Returns
    -------
    DrawnPhoto
    """
    rng = np.random.default_rng(request.seed)
    design = request.design
    gear = Gear(design)
    teeth = {n: _patterns(request, n) for n in range(-3, 4)}
    patterns = teeth[0]
    mesh = gear.mesh(range(-3, 4))
    request, camera, seen = _framed(gear, mesh, request)

    screen, depth = camera.project(mesh.points)
    inverse = np.where(depth > 1.0, 1.0 / np.maximum(depth, 1.0), 0.0)
    face, weights, nearest = rasterize(screen, inverse, mesh.faces, request.width, request.height)
    hit = np.flatnonzero(face >= 0)
    tri, b = mesh.faces[face[hit]], weights[hit].astype(float)
    points = np.einsum("nk,nkd->nd", b, mesh.points[tri])
    normals = np.einsum("nk,nkd->nd", b, mesh.normals[tri])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True) + 1e-12
    place = np.einsum("nk,nkd->nd", b, mesh.place[tri])
    kind, tooth = mesh.kind[tri[:, 0]], mesh.tooth[tri[:, 0]]

    middle, facing = (v.copy() for v in gear.flank(request.flank, np.array(0.0), np.array(0.0)))
    tips, _ = gear.flank(request.flank, np.zeros(2), np.array([-1.0, 1.0]))
    ends, _ = gear.flank(request.flank, np.array([-1.0, 1.0]), np.zeros(2))
    up, along = tips[1] - tips[0], ends[1] - ends[0]
    up /= np.linalg.norm(up)
    along /= np.linalg.norm(along)
    lamp = place_lamp(rng, middle, facing, camera.eye, up, request.glare)
    lit = 1.0 - request.shadow_depth * (1.0 - shadow(mesh, lamp, middle, points))

    cover, relief, wear = np.zeros((3, len(hit)))
    polish, grime = np.ones(len(hit)), np.zeros(len(hit))
    for number in range(-3, 4):
        for code, name in ((DRIVE, "drive"), (COAST, "coast")):
            # The fillet belongs to the flank whose foot is nearer; it is painted along with it.
            mine = (kind == code) & (tooth == number)
            if not mine.any():
                continue
            texture = flank_texture(
                rng,
                teeth[number][name].nearness,
                design.compound_film_mm,
                mode=request.mode,
                unevenness=request.unevenness,
                dirt=request.dirt,
                oil=request.oil,
                used=request.used,
            )
            seen_here = sample(texture, place[mine])
            cover[mine], relief[mine], polish[mine], grime[mine], wear[mine] = seen_here
            if request.mode in ("rubbed", "painted"):
                foot = (kind == FILLET) & (tooth == number)
                cover[foot] = np.maximum(cover[foot], sample(texture, place[foot])[0])
    body = np.isin(kind, (TOP, END, FILLET))
    cloud = noise(rng, 200, 400, 24, 12)
    ci = np.clip(((place[:, 1] + 3.2) / 4.4 * 199).astype(int), 0, 199)
    cj = np.clip(((place[:, 0] + 1) / 2 * 399).astype(int), 0, 399)
    flat = kind == TOP
    across = np.cross(up, along)
    ci[flat] = ((points[flat] @ across) * 22.0).astype(int) % 200
    patch = cloud[ci, (cj + 57 * tooth) % 400]
    scratches = noise(rng, 200, 400, 1.2, 1.2)[(3 * ci) % 200, (7 * cj + 31 * tooth) % 400]
    if request.mode in ("rubbed", "painted"):
        cover[flat] = np.clip(0.35 * (patch[flat] - 0.4), 0, 0.9) * request.unevenness
    tone = rng.uniform(0.10, 0.20)
    base = np.full((len(hit), 3), tone) * np.array([1.0, rng.uniform(0.96, 1.0), rng.uniform(0.90, 1.03)])
    base[body] *= rng.uniform(0.45, 0.8)
    base *= 1.0 + 0.5 * wear[:, None]
    base *= (1.0 + 0.14 * np.clip(patch, -2, 2) + 0.05 * np.clip(scratches, -3, 3) * body)[:, None] * (
        1.0 - grime
    )[:, None]
    polish = np.clip(polish * (1 - 0.8 * grime), 0.05, None)
    polish[body] *= rng.uniform(0.15, 0.45)
    edge = (kind == TOP) | ((kind <= COAST) & (place[:, 1] > 0.965))
    polish[edge] *= 1.3
    polish *= np.where(body, 1.0 + 0.15 * np.clip(scratches, -2, 2), 1.0)
    occlusion = np.clip(0.45 + 0.4 * (place[:, 1] + 1.2), 0.30, 1.0)
    normals = normals + relief[:, None] * up
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    colour = shade(
        points=points,
        normals=normals,
        along=np.broadcast_to(along, points.shape),
        eye=camera.eye,
        lamp=lamp,
        lit=lit,
        surroundings=environment(rng),
        base=base,
        cover=cover,
        compound=np.array(COMPOUNDS[request.compound]) * rng.uniform(0.85, 1.1),
        polish=polish,
        occlusion=occlusion,
        lamp_power=rng.uniform(0.9, 2.2),
        wetness=rng.uniform(0.3, 1.2),
    )
    scale = request.width / 1600.0
    bench = 0.08 * rng.uniform(0.3, 2.5) * (1 + 0.3 * noise(rng, 60, 90, 9, 9))
    rows = np.linspace(0, 59, request.height).astype(int)
    cols = np.linspace(0, 89, request.width).astype(int)
    image = (bench[np.ix_(rows, cols)][..., None] * rng.uniform(0.7, 1.2, 3)).reshape(-1, 3)
    image[hit] = colour
    far = np.ones(request.width * request.height)
    focus = 1.0 / float(np.linalg.norm(camera.eye - middle))
    far[hit] = np.clip(np.abs(focus / np.maximum(nearest[hit], 1e-9) - 1.0) / 0.35 - 0.35, 0, 1)
    shape = (request.height, request.width)
    pixels = develop(
        rng,
        image.reshape(*shape, 3).astype(np.float32),
        blur_px=request.blur_px * scale,
        far_blur=far.reshape(shape).astype(np.float32),
        noise=request.noise,
        exposure=request.exposure,
        tint=np.array(request.tint, np.float32),
    )
    x, y = np.array([-1.0, 1.0, 1.0, -1.0]), np.array([1.0, 1.0, -1.0, -1.0])
    corners = camera.project(gear.flank(request.flank, x, y)[0])[0]
    beside = {n: camera.project(gear.flank(request.flank, x, y, n)[0])[0] for n in (-2, -1, 1, 2)}
    pattern = patterns[request.flank]
    return DrawnPhoto(
        _encode(pixels, request),
        corners,
        pattern.mask,
        measure_mask(pattern.mask, pattern.flank),
        seen,
        beside,
        {n: p[request.flank] for n, p in teeth.items()},
        request,
        camera,
    )


@lru_cache(maxsize=4)
def _rolled(design: Any, flank: str, ease_off: Any, settings: Settings) -> Any:
    keys = ("pinion_out_mm", "ring_away_mm", "offset_error_mm", "shaft_angle_error_deg")
    return aw.roll(design, flank, ease_off=ease_off, **{k: getattr(settings, k) for k in keys}).pattern


rolled_with_runout = lru_cache(maxsize=2)(roll_runout)


def _patterns(request: PhotoRequest, beside: int) -> dict[str, Any]:
    """Roll one tooth; with runout each tooth has a pattern of its own."""
    settings = Settings(
        request.pinion_out_mm, request.ring_away_mm, request.offset_error_mm, request.shaft_angle_error_deg
    )
    names: tuple[FlankName, FlankName] = ("drive", "coast")
    if request.runout is None:
        return {n: _rolled(request.design, n, request.ease_off.get(n), settings) for n in names}
    around = rolled_with_runout(request.design, request.runout, settings)
    k = (request.tooth - 1 + beside) % request.design.ring_teeth
    return {n: around.flank(n).patterns[k] for n in names}


def _encode(pixels: np.ndarray, request: PhotoRequest) -> bytes:
    image = Image.fromarray(pixels)
    turn = _TURNS[request.orientation]
    if turn is not None:
        image = image.transpose(turn)
    exif = Image.Exif()
    exif[0x0112] = request.orientation
    if request.location:
        exif[0x8825] = {1: "N", 2: (12.0, 34.0, 56.0), 3: "E", 4: (1.0, 2.0, 3.0)}
    out = io.BytesIO()
    image.save(out, "JPEG", quality=request.quality, subsampling=2, exif=exif.tobytes())
    return out.getvalue()
