"""What lies on the metal: machining lines, compound left or printed, oil, dirt, old wear."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage
from scipy.special import expit

COMPOUNDS = {  # linear reflectance of a thick coat; chosen by eye
    "yellow": (0.62, 0.42, 0.05),
    "white": (0.72, 0.71, 0.66),
    "blue": (0.035, 0.085, 0.36),
    "grey": (0.40, 0.41, 0.42),
}


def noise(rng: np.random.Generator, rows: int, cols: int, along: float, across: float) -> np.ndarray:
    """Smooth noise of unit spread; correlation lengths in pixels along columns and rows."""
    a, b = max(1, int(along / 3)), max(1, int(across / 3))
    few = rng.standard_normal((rows // b + 3, cols // a + 3))
    field = ndimage.gaussian_filter(few, (across / b, along / a), mode="nearest", truncate=3.0)
    if a > 1 or b > 1:
        i, j = np.arange(rows) / b + 0.5, np.arange(cols) / a + 0.5
        field = ndimage.map_coordinates(field, np.meshgrid(i, j, indexing="ij"), order=1, mode="nearest")
    field = field[:rows, :cols]
    return np.asarray((field - field.mean()) / (field.std() + 1e-12))


@dataclass(frozen=True)
class FlankTexture:
    """Fields over one unrolled flank, root row first, from profile −1.4 to 1 and lengthwise −1 to 1.

    Attributes
    ----------
    cover : array
        How much of the light the compound takes, 0 … 1.
    relief : array
        Tilt of the surface by machining lines and brush strokes [rad].
    polish : array
        Gloss of the metal against its usual one.
    dirt : array
        Darkening by dirt and oil, 0 … 1.
    wear : array
        How far the metal is run bright by earlier service, 0 … 1.
    """

    cover: np.ndarray
    relief: np.ndarray
    polish: np.ndarray
    dirt: np.ndarray
    wear: np.ndarray


LOW = -1.4
ROWS, COLS = 240, 480


def flank_texture(
    rng: np.random.Generator,
    nearness: np.ndarray,
    film_mm: float,
    *,
    mode: str,
    unevenness: float,
    dirt: float,
    oil: float,
    used: bool,
) -> FlankTexture:
    """Paint one flank and roll it.

    Parameters
    ----------
    rng : Generator
    nearness : array, shape (profile, lengthwise)
        Gap at which each place is marked [mm], root row first.
    film_mm : float
        Film that is squeezed out [mm].
    mode : {"rubbed", "print", "none"}
        Painted flank rubbed clear, clean flank with a print, or no compound at all.
    unevenness, dirt, oil : float
        0 … 1.
    used : bool
        An older, larger wear trace lies under the pattern.
    """
    y = np.linspace(LOW, 1.0, ROWS)
    x = np.linspace(-1.0, 1.0, COLS)
    X, Y = np.meshgrid(x, y)
    ny, nx = nearness.shape
    gap = np.where(np.isfinite(nearness), np.minimum(nearness, 1.0), 1.0)
    where = np.stack([(np.clip(Y, -1, 1) + 1) / 2 * (ny - 1), (X + 1) / 2 * (nx - 1)])
    gap = ndimage.map_coordinates(gap, where, order=1)
    gap = gap + np.where(Y < -1.0, (-1.0 - Y) * 0.05, 0.0)
    wander = 1.0 + 0.16 * unevenness * noise(rng, ROWS, COLS, 28, 16)
    clear = expit((film_mm * wander - gap) / (film_mm * rng.uniform(0.05, 0.13)))
    strokes = noise(rng, ROWS, COLS, 70, 3)
    clouds = noise(rng, ROWS, COLS, 60, 30)
    coat = np.clip(1.0 + unevenness * (0.28 * clouds + 0.22 * strokes), 0.15, None)
    rim = np.exp(-(((gap / film_mm - 1.45) / 0.3) ** 2))
    mottle = noise(rng, ROWS, COLS, 5, 3)
    if mode == "painted":
        clear = np.zeros_like(clear)
    if mode in ("rubbed", "painted"):
        left = rng.uniform(0.03, 0.12)
        thickness = 2.6 * coat * (1.0 - clear * (1.0 - left)) * (1.0 + 0.5 * rim)
        thickness *= 1.0 - 0.35 * clear * np.clip(mottle, -1, 1)
        ragged = 1.0 + 0.06 * noise(rng, 1, COLS, 25, 0.1) * unevenness
        thickness *= expit((Y + 1.33) * ragged / 0.03)
    elif mode == "print":
        thickness = 1.9 * clear * np.clip(coat + 0.25 * mottle, 0.25, None)
        thickness += 0.06 * np.clip(clouds, 0, None) * unevenness
        smear = ndimage.shift(clear, (10, 4), order=1, mode="nearest")
        thickness += 0.10 * smear * (1 - clear)
    else:
        thickness = np.zeros_like(X)
    cover = 1.0 - np.exp(-thickness)
    lines = noise(rng, ROWS, COLS, 120, 0.7) * 0.035 + noise(rng, ROWS, COLS, 200, 1.6) * 0.03
    relief = lines * (1 - 0.6 * cover) + 0.05 * strokes * cover
    polish = 1.0 + 0.25 * noise(rng, ROWS, COLS, 80, 8) * 0.5
    old = np.zeros_like(X)
    if used:
        # Run in under load: longer and taller than the pattern of a light rolling, and toward the heel.
        a, b = rng.uniform(0.55, 0.85), rng.uniform(0.45, 0.80)
        cx, cy = 0.15 + 0.12 * rng.normal(), 0.12 * rng.normal()
        inside = 1.0 - ((X - cx) / a) ** 2 - ((Y - cy) / b) ** 2 + 0.08 * noise(rng, ROWS, COLS, 30, 15)
        old = expit(inside / rng.uniform(0.08, 0.25))
        polish = polish + rng.uniform(0.4, 1.2) * old * (1 - cover)
        relief = relief * (1.0 - 0.7 * old * (1 - cover))
    polish = polish + 0.25 * clear * (1 - cover)
    spots = noise(rng, ROWS, COLS, 4, 4)
    grime = np.clip(noise(rng, ROWS, COLS, 30, 14) - 1.1, 0, 1) * 0.7 + np.clip(spots - 2.3, 0, 1)
    grime = grime + 0.45 * np.clip((-0.95 - Y) / 0.4, 0, 1)
    film = oil * np.clip(0.5 + 0.5 * noise(rng, ROWS, COLS, 50, 25), 0, 1)
    return FlankTexture(cover, relief, polish + 1.2 * film, np.clip(dirt * grime + 0.12 * film, 0, 0.9), old)


def sample(texture: FlankTexture, place: np.ndarray) -> tuple[np.ndarray, ...]:
    """Return (cover, relief, polish, dirt, wear) at places (lengthwise, profile), shape (n, 2)."""
    i = np.clip((place[:, 1] - LOW) / (1.0 - LOW) * (ROWS - 1), 0, ROWS - 1)
    j = np.clip((place[:, 0] + 1.0) / 2.0 * (COLS - 1), 0, COLS - 1)
    out = []
    for field in (texture.cover, texture.relief, texture.polish, texture.dirt, texture.wear):
        out.append(ndimage.map_coordinates(field, [i, j], order=1, mode="nearest"))
    return tuple(out)
