"""Light on the gear: a lamp with a shadow, soft surroundings, gloss of metal and of compound."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from scipy import ndimage

from photo_scene.raster import rasterize


def shadow(
    mesh: Any, lamp: np.ndarray, target: np.ndarray, points: np.ndarray, size: int = 640
) -> np.ndarray:
    """Return how much of the lamp each point sees, 0 … 1, softened at the shadow's edge."""
    forward = target - lamp
    forward /= np.linalg.norm(forward)
    right = np.cross(forward, [0.3, 0.5, 0.81])
    right /= np.linalg.norm(right)
    axes = np.stack([right, np.cross(forward, right), forward])
    q = (mesh.points - lamp) @ axes.T
    here = (points - lamp) @ axes.T
    flat, mine = q[:, :2] / q[:, 2:], here[:, :2] / here[:, 2:]
    low, high = np.percentile(mine, 1, axis=0), np.percentile(mine, 99, axis=0)
    scale = (size - 1) / float(np.max(high - low) * 1.1)
    screen = (flat - low) * scale
    _, _, nearest = rasterize(screen, 1.0 / np.maximum(q[:, 2], 1.0), mesh.faces, size, size)
    depth = np.where(nearest > 0, 1.0 / np.maximum(nearest, 1e-9), np.inf).reshape(size, size)
    at = (mine - low) * scale
    lit = np.zeros(len(points))
    offsets = [(0, 0), (-2, -1), (2, 1), (-1, 1), (1, -2)]
    for dx, dy in offsets:
        i = np.clip(np.rint(at[:, 1] + dy), 0, size - 1).astype(int)
        j = np.clip(np.rint(at[:, 0] + dx), 0, size - 1).astype(int)
        lit += depth[i, j] > here[:, 2] - 0.25
    return lit / len(offsets)


def environment(rng: np.random.Generator) -> Any:
    """Return a soft surrounding: a function from directions (n, 3) to brightness (n,)."""
    lobes = []
    for _ in range(rng.integers(3, 7)):
        d = rng.standard_normal(3)
        lobes.append((d / np.linalg.norm(d), rng.uniform(0.1, 0.9), rng.uniform(2.0, 9.0)))

    def bright(direction: np.ndarray) -> np.ndarray:
        total = np.full(len(direction), 0.25)
        for d, strength, sharp in lobes:
            total += strength * np.exp(sharp * (direction @ d - 1.0))
        return total

    return bright


def place_lamp(
    rng: np.random.Generator,
    middle: np.ndarray,
    normal: np.ndarray,
    eye: np.ndarray,
    up: np.ndarray,
    glare: float,
) -> np.ndarray:
    """Put the lamp somewhere over the gear; the more glare, the nearer to the mirror direction."""
    view = (eye - middle) / np.linalg.norm(eye - middle)
    mirror = 2.0 * (view @ normal) * normal - view
    side = np.cross(normal, up)
    a, b = rng.uniform(-0.9, 0.9), rng.uniform(0.35, 1.3)
    free = normal * rng.uniform(0.5, 1.0) + up * b + side * a
    free /= np.linalg.norm(free)
    d = glare * mirror + (1.0 - glare) * free
    d /= np.linalg.norm(d)
    return middle + d * rng.uniform(160.0, 450.0)


def shade(
    *,
    points: np.ndarray,
    normals: np.ndarray,
    along: np.ndarray,
    eye: np.ndarray,
    lamp: np.ndarray,
    lit: np.ndarray,
    surroundings: Any,
    base: np.ndarray,
    cover: np.ndarray,
    compound: np.ndarray,
    polish: np.ndarray,
    occlusion: np.ndarray,
    lamp_power: float,
    wetness: float,
) -> np.ndarray:
    """Return linear colour per point, shape (n, 3).

    Parameters
    ----------
    points, normals, along : array, shape (n, 3)
        ``along`` runs with the machining lines.
    eye, lamp : array, shape (3,)
    lit, cover, polish, occlusion : array, shape (n,)
    surroundings : callable
    base : array, shape (n, 3)
        Reflectance of the metal.
    compound : array, shape (3,)
        Reflectance of the compound.
    lamp_power, wetness : float
    """
    to_eye = eye - points
    to_eye /= np.linalg.norm(to_eye, axis=1, keepdims=True)
    to_lamp = lamp - points
    distance = np.linalg.norm(to_lamp, axis=1, keepdims=True)
    to_lamp /= distance
    reach = float(np.median(distance)) ** 2 / distance[:, 0] ** 2
    facing = np.clip(np.sum(normals * to_lamp, 1), 0, None)
    direct = lamp_power * facing * lit * reach
    soft = surroundings(normals) * occlusion
    diffuse = (direct + soft)[:, None]
    t = along - np.sum(along * normals, 1, keepdims=True) * normals
    t /= np.linalg.norm(t, axis=1, keepdims=True) + 1e-9
    across = np.cross(normals, t)
    half = to_lamp + to_eye
    half /= np.linalg.norm(half, axis=1, keepdims=True)
    hn = np.clip(np.sum(half * normals, 1), 0.05, None)
    ht, hu = np.sum(half * t, 1) / hn, np.sum(half * across, 1) / hn
    metal = np.exp(-((ht / 0.16) ** 2) - (hu / 0.42) ** 2)
    greasy = np.exp(-(ht**2 + hu**2) / 0.20**2)
    mirror = 2.0 * np.sum(to_eye * normals, 1, keepdims=True) * normals - to_eye
    around = surroundings(mirror) * occlusion
    fresnel = 0.5 + 0.5 * (1.0 - np.clip(np.sum(to_eye * normals, 1), 0, 1)) ** 3
    gloss_metal = polish * fresnel * (0.16 * around + 1.1 * lamp_power * metal * lit * reach)
    gloss_paint = 0.02 * around + wetness * 0.35 * lamp_power * greasy * lit * reach
    bare = base * diffuse + gloss_metal[:, None] * np.array([1.0, 0.98, 0.95])
    painted = compound * diffuse + gloss_paint[:, None]
    return np.asarray(bare * (1 - cover[:, None]) + painted * cover[:, None])


def develop(
    rng: np.random.Generator,
    linear: np.ndarray,
    *,
    blur_px: float,
    far_blur: np.ndarray,
    noise: float,
    exposure: float,
    tint: np.ndarray,
) -> np.ndarray:
    """Turn linear light into 8-bit sRGB: lens blur, sensor noise, white balance, tone curve.

    Parameters
    ----------
    rng : Generator
    linear : array, shape (h, w, 3)
    blur_px : float
        Blur where the picture is sharp, standard deviation [px].
    far_blur : array, shape (h, w)
        0 in focus … 1 fully out of focus.
    noise : float
        Read and shot noise as a share of white.
    exposure : float
        Level the brightest twentieth of the picture is brought to.
    tint : array, shape (3,)
    """
    image = linear * tint
    level = np.percentile(image.max(-1)[::3, ::3], 95)
    image = image * (exposure / max(level, 1e-6))
    sharp = np.stack([ndimage.gaussian_filter(image[..., k], blur_px) for k in range(3)], -1)
    wide = 4.0 * blur_px + 2.0 * math.sqrt(image.shape[1] / 1000.0)
    small = image[::2, ::2]
    soft = np.stack([ndimage.gaussian_filter(small[..., k], wide / 2) for k in range(3)], -1)
    soft = soft.repeat(2, 0).repeat(2, 1)[: image.shape[0], : image.shape[1]]
    image = sharp + (soft - sharp) * far_blur[..., None]
    grain = rng.standard_normal(image.shape).astype(np.float32)
    grain[..., 1] *= 0.7
    image = image + grain * (noise * np.sqrt(0.15 + np.clip(image, 0, 2)))
    image = np.clip(image, 0, None)
    image = np.where(image < 0.8, image, 0.8 + 0.2 * np.tanh((image - 0.8) / 0.35))
    image = np.clip(image, 0, 1)
    coded = np.where(image <= 0.0031308, 12.92 * image, 1.055 * np.power(image, 1 / 2.4) - 0.055)
    coded = coded + 0.06 * np.sin(2 * np.pi * (coded - 0.5)) * (1 - coded) * 0.5
    return (np.clip(coded, 0, 1) * 255 + 0.5).astype(np.uint8)
