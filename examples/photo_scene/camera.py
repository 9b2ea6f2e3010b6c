"""A pinhole camera with radial distortion, and where a hand would hold it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np


@dataclass(frozen=True)
class Camera:
    """Pinhole camera.

    Attributes
    ----------
    eye : array, shape (3,)
        [mm].
    axes : array, shape (3, 3)
        Rows: right, down, forward.
    focal_px : float
    width, height : int
        [px]
    distortion : float
        Radial shift at half the picture's diagonal as a share of the radius.
    """

    eye: np.ndarray
    axes: np.ndarray
    focal_px: float
    width: int
    height: int
    distortion: float = 0.0

    def project(self, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return pixel places, shape (..., 2), and distances along the view [mm]."""
        q = (points - self.eye) @ self.axes.T
        depth = q[..., 2]
        xy = self.focal_px * q[..., :2] / depth[..., None]
        half = 0.5 * math.hypot(self.width, self.height)
        r2 = np.sum(xy * xy, -1, keepdims=True) / half**2
        xy = xy * (1.0 + self.distortion * np.minimum(r2, 4.0))
        return xy + np.array([self.width / 2.0, self.height / 2.0]) - 0.5, depth


def place_camera(
    gear: Any,
    flank: str,
    *,
    width: int,
    height: int,
    focal_ratio: float,
    fill: float,
    elevation_deg: float,
    side_deg: float,
    roll_deg: float,
    shift: tuple[float, float] = (0.0, 0.0),
    distortion: float = 0.0,
) -> Camera:
    """Hold the camera over a flank of tooth 0.

    Parameters
    ----------
    gear : Gear
    flank : {"drive", "coast"}
    width, height : int
        [px]
    focal_ratio : float
        Focal length over the picture's longer side.
    fill : float
        Length of the flank as a share of the picture's longer side.
    elevation_deg, side_deg : float
        How far the view is raised above the flank's normal toward the tooth's top, and turned along it [deg].
    roll_deg : float
        Turn of the picture about the view [deg].
    shift : (float, float)
        Place of the flank's middle off the picture's middle, in shares of width and height.
    distortion : float
    """
    side = max(width, height)
    u = np.array([-1.0, 0.0, 1.0])
    mid, normal = gear.flank(flank, np.array(0.0), np.array(0.0))
    ends, _ = gear.flank(flank, u, np.zeros(3))
    tips, _ = gear.flank(flank, np.zeros(3), u)
    along = ends[2] - ends[0]
    length = float(np.linalg.norm(along))
    along = along / length
    up = tips[2] - tips[0]
    up -= (up @ normal) * normal
    up /= np.linalg.norm(up)
    e, s = math.radians(elevation_deg), math.radians(side_deg)
    view = (math.cos(e) * normal + math.sin(e) * up) * math.cos(s) + math.sin(s) * along
    distance = focal_ratio * length / fill
    eye = mid + distance * view
    forward = -view
    down = -(up - (up @ forward) * forward)
    down /= np.linalg.norm(down)
    right = np.cross(down, forward)
    c, t = math.cos(math.radians(roll_deg)), math.sin(math.radians(roll_deg))
    axes = np.stack([c * right + t * down, -t * right + c * down, forward])
    eye = eye - (shift[0] * width * axes[0] + shift[1] * height * axes[1]) * distance / (focal_ratio * side)
    return Camera(eye, axes, focal_ratio * side, width, height, distortion)
