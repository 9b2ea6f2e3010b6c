"""Where the camera stood: pose and focal length from the corners and edges of the real 3-D flank.

Own formulation: four taps give eight numbers, pose and focal length are seven; a prior on the focal length
(what the camera wrote into the file, or what phones have) keeps a nearly flat flank from leaving it open.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from axlewright.errors import PhotoError
from axlewright.gearset import FlankName, GearSetDesign, build_geometry, rotation_about
from axlewright.language import _

Array = NDArray[np.float64]

CORNER_X = np.array([-1.0, 1.0, 1.0, -1.0])  # toe-top, heel-top, heel-root, toe-root
CORNER_Y = np.array([1.0, 1.0, -1.0, -1.0])
CORNER_NAMES = ("toe-top", "heel-top", "heel-root", "toe-root")
PHONE_FOCAL_SHARE = 1.0  # of the picture's longer side: between a phone's main lens (0.72) and its 2× (1.5)
PHONE_FOCAL_SPREAD = 0.35  # standard deviation of its logarithm
FILE_FOCAL_SPREAD = 0.12  # the same when the file names the focal length: focusing close lengthens it


def flank_surface(design: GearSetDesign, flank: FlankName, x: Array, y: Array) -> tuple[Array, Array]:
    """Return points [mm] and outward normals of the ring-gear flank, mirrored for a right-hand pinion.

    Parameters
    ----------
    design : GearSetDesign
    flank : {"drive", "coast"}
    x, y : array
        (lengthwise, profile), common shape (...).

    Returns
    -------
    points, normals : array, shape (..., 3)
        In the ring gear's frame.
    """
    p, n = build_geometry(design).flank(flank).points(x, y)
    if design.hand == "right":
        p, n = p * np.array([1.0, -1.0, 1.0]), n * np.array([1.0, -1.0, 1.0])
    return p, n


@dataclass(frozen=True, slots=True)
class FittedCamera:
    """Pinhole camera fitted to a flank.

    Attributes
    ----------
    rotation : array, shape (3, 3)
        Ring-gear frame to camera frame (right, down, forward).
    shift : array, shape (3,)
        [mm]
    focal_px : float
    center : array, shape (2,)
        Principal point, the picture's middle [px].
    residual_px : float
        Root mean square miss of the corners [px].
    covariance : array, shape (7, 7)
        Of (turn about the three camera axes [rad], shift [mm], log focal length), from the stated errors of
        taps and edges.
    middle : array, shape (3,)
        Middle of the flank [mm]; turns are about it, so that turn and shift stay apart.
    edge_miss_px : float
        Root mean square miss of the edges found in the picture, across them [px]; 0 without edges.
    """

    rotation: Array
    shift: Array
    focal_px: float
    center: Array
    residual_px: float
    covariance: Array
    middle: Array
    edge_miss_px: float = 0.0

    def project(self, points: Array) -> Array:
        """Return pixel places of points [mm], shape (..., 2)."""
        q = points @ self.rotation.T + self.shift
        return np.asarray(self.focal_px * q[..., :2] / q[..., 2:] + self.center)

    def moved(self, step: Array) -> FittedCamera:
        """Return the camera turned, shifted and zoomed by a step of its seven parameters."""
        angle = float(np.linalg.norm(step[:3]))
        turn = np.eye(3) if angle == 0.0 else rotation_about(step[:3] / angle, np.array(angle))
        pivot = self.rotation @ self.middle + self.shift
        return FittedCamera(
            turn @ self.rotation,
            turn @ (self.shift - pivot) + pivot + step[3:6],
            self.focal_px * math.exp(float(step[6])),
            self.center,
            self.residual_px,
            self.covariance,
            self.middle,
        )

    def jacobian(self, points: Array) -> Array:
        """Return the derivative of pixel places by the seven parameters, shape (n, 2, 7)."""
        out = np.empty((*points.shape[:-1], 2, 7))
        sizes = (1e-5, 1e-5, 1e-5, 1e-3, 1e-3, 1e-3, 1e-5)
        for k, size in enumerate(sizes):
            step = np.zeros(7)
            step[k] = size
            out[..., k] = (self.moved(step).project(points) - self.moved(-step).project(points)) / (2 * size)
        return out


def _starts(points: Array, normal: Array, taps: Array, focal: float, center: Array) -> list[FittedCamera]:
    """Return the two poses a nearly flat quadrilateral allows, from a distant (parallel) view of it."""
    middle = points.mean(0)
    e1 = points[1] + points[2] - points[0] - points[3]
    e1 /= np.linalg.norm(e1)
    e3 = normal - (normal @ e1) * e1
    e3 /= np.linalg.norm(e3)
    basis = np.stack([e1, np.cross(e3, e1), e3])
    flat = (points - middle) @ basis.T
    design = np.column_stack([flat[:, :2], np.ones(4)])
    fit, *_rest = np.linalg.lstsq(design, taps, rcond=None)
    a, place = fit[:2].T, fit[2]  # a: (2 image axes, 2 plane axes)
    k, d = -float(a[0] @ a[1]), float(a[1] @ a[1] - a[0] @ a[0])
    c1 = math.sqrt(max(0.0, (d + math.hypot(d, 2 * k)) / 2))
    c2 = math.sqrt(max(0.0, c1 * c1 - d))
    if k < 0:
        c2 = -c2
    scale = math.sqrt(float(a[0] @ a[0]) + c1 * c1)
    out = []
    for sign in (1.0, -1.0):
        r1 = np.array([a[0, 0], a[0, 1], sign * c1]) / scale
        r2 = np.array([a[1, 0], a[1, 1], sign * c2]) / scale
        r2 -= (r1 @ r2) * r1
        r2 /= np.linalg.norm(r2)
        turn = np.stack([r1, r2, np.cross(r1, r2)]) @ basis
        depth = focal / scale
        shift = np.array([*((place - center) * depth / focal), depth]) - turn @ middle
        out.append(FittedCamera(turn, shift, focal, center, math.inf, np.zeros((7, 7)), middle))
    return out


def winding(design: GearSetDesign, flank: FlankName) -> int:
    """Return +1 when the corners run clockwise on the screen seen from outside the flank, else −1."""
    p, _rest = flank_surface(design, flank, CORNER_X, CORNER_Y)
    _rest, n = flank_surface(design, flank, np.array(0.0), np.array(0.0))
    area = np.cross(p[1] - p[0], p[3] - p[0]) @ n
    # Seen from outside, a positive area about the normal runs against the clock.
    return -1 if area > 0 else 1


def fit_camera(
    design: GearSetDesign,
    flank: FlankName,
    taps: Array,
    size: tuple[int, int],
    *,
    focal_px: float | None = None,
    tap_sd_px: float = 3.0,
    edges: tuple[Array, Array, Array, Array] | None = None,
) -> FittedCamera:
    """Fit pose and focal length.

    Parameters
    ----------
    design : GearSetDesign
    flank : {"drive", "coast"}
    taps : array, shape (4, 2)
        Corners in the order of `CORNER_NAMES` [px].
    size : (int, int)
        Width and height of the picture [px].
    focal_px : float, optional
        From the file.
    tap_sd_px : float
        Standard deviation of a tap along each axis [px].
    edges : (array, array, array, array), optional
        Result edge points: flank places (n, 2), pixel places (n, 2), edge normals in the picture (n, 2) and
        standard deviations (n,) [px]; only the miss along the normal counts.

    Returns
    -------
    FittedCamera

    Raises
    ------
    PhotoError
        When no pose comes near the taps.
    """
    points, _rest = flank_surface(design, flank, CORNER_X, CORNER_Y)
    _rest, normal = flank_surface(design, flank, np.array(0.0), np.array(0.0))
    center = np.array([size[0] / 2.0 - 0.5, size[1] / 2.0 - 0.5])
    spread = PHONE_FOCAL_SPREAD if focal_px is None else FILE_FOCAL_SPREAD
    focal = PHONE_FOCAL_SHARE * max(size) if focal_px is None else focal_px
    edge_points = None
    if edges is not None:
        edge_points, _rest = flank_surface(design, flank, edges[0][:, 0], edges[0][:, 1])

    def misses(camera: FittedCamera) -> Array:
        parts = [((camera.project(points) - taps) / tap_sd_px).ravel()]
        if edges is not None and edge_points is not None:
            parts.append(np.sum((camera.project(edge_points) - edges[1]) * edges[2], 1) / edges[3])
        parts.append(np.array([math.log(camera.focal_px / focal) / spread]))
        return np.concatenate(parts)

    def slope(camera: FittedCamera) -> Array:
        rows = [(camera.jacobian(points) / tap_sd_px).reshape(8, 7)]
        if edges is not None and edge_points is not None:
            rows.append(np.einsum("nik,ni->nk", camera.jacobian(edge_points), edges[2]) / edges[3][:, None])
        last = np.zeros((1, 7))
        last[0, 6] = 1.0 / spread
        rows.append(last)
        return np.concatenate(rows)

    best: tuple[float, FittedCamera] | None = None
    for start in _starts(points, normal, taps, focal, center):
        camera, cost = _descend(start, misses, slope)
        if best is None or cost < best[0]:
            best = (cost, camera)
    if best is None or not math.isfinite(best[0]):
        raise PhotoError(
            _("no camera position explains these corners"),
            where=_("corners"),
            fix=_("tap the four corners again"),
        )
    camera = best[1]
    J = slope(camera)
    covariance = np.asarray(np.linalg.inv(J.T @ J), dtype=np.float64)
    miss = camera.project(points) - taps
    residual = float(np.sqrt(np.mean(np.sum(miss * miss, 1))))
    edge_miss = 0.0
    if edges is not None and edge_points is not None:
        across = np.sum((camera.project(edge_points) - edges[1]) * edges[2], 1)
        edge_miss = float(np.sqrt(np.mean(across * across)))
    return FittedCamera(
        camera.rotation,
        camera.shift,
        camera.focal_px,
        center,
        residual,
        covariance,
        camera.middle,
        edge_miss,
    )


def _descend(camera: FittedCamera, misses, slope) -> tuple[FittedCamera, float]:  # type: ignore[no-untyped-def]
    """Levenberg–Marquardt descent."""
    r = misses(camera)
    cost = float(r @ r)
    damping = 1e-3
    for _again in range(60):
        J = slope(camera)
        A, g = J.T @ J, J.T @ r
        scale = np.diag(A) + 1e-12
        step = np.linalg.solve(A + damping * np.diag(scale), -g)
        trial = camera.moved(step)
        with np.errstate(all="ignore"):
            new = misses(trial) if trial.shift[2] > 0 else r * np.inf
        new_cost = float(new @ new)
        if math.isfinite(new_cost) and new_cost < cost:
            gain = cost - new_cost
            camera, r, cost = trial, new, new_cost
            damping = max(damping * 0.2, 1e-12)
            if gain < 1e-9 * (1.0 + cost):
                break
        else:
            damping *= 6.0
            if damping > 1e9:
                break
    return camera, cost
