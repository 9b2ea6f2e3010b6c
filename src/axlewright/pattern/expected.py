"""How marks of a design usually lie and look: what an outline found in a photo is held against.

The design is rolled at settings and with ease-offs that stray as they may; place, size and slant of the marks
give a density for one flank and one for both flanks of the same set together. An outline that no set of this
design is likely to make (a shadow, an old wear trace, the paint's rim) is then known as such, and of two
outlines on one flank the one that goes with the other flank's mark is believed.

The spreads below are wide on purpose and our own; no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from axlewright.contact.mesh import Settings, build_mesh
from axlewright.contact.once import kept_array
from axlewright.contact.rolling import roll_unloaded
from axlewright.errors import ContactError
from axlewright.gearset import EaseOffSpread, FlankName, GearSetDesign
from axlewright.language import _
from axlewright.pattern.readings import PhotoReading

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

VERSION = 2
ROLLED = 320
RESOLUTION = (48, 24, 80)
DEPTH_MM, DEPTH_FAR_MM, FAR_SHARE = 0.06, 0.18, 0.35  # of pinion depth, ordinary and far off
RING_MM, OFFSET_MM, ANGLE_DEG = 0.08, 0.03, 0.018
WIDE = EaseOffSpread(
    lengthwise_crown=0.25,
    profile_crown=0.40,
    twist_mm=0.004,
    top_root_relief=0.30,
    relief_start=0.05,
    center_lengthwise=0.10,
    center_profile=0.30,
)
NOISE = np.array([0.03, 0.03, 0.10, 0.10, 0.10])  # reading errors of the five figures of a mark
STRANGE = 0.03  # share of sets that are like none of those rolled
STRANGE_WIDER = 3.0  # how much wider those spread
FLANKS: tuple[FlankName, FlankName] = ("drive", "coast")


def figures_of(mask: Mask) -> Array | None:
    """Return lengthwise and profile centre, logarithms of the two spreads, and their correlation, shape (5,).

    None when next to nothing is marked.
    """
    rows, cols = np.nonzero(mask)
    if len(rows) < 8:
        return None
    x = -1.0 + 2.0 * cols / (mask.shape[1] - 1)
    y = -1.0 + 2.0 * rows / (mask.shape[0] - 1)
    sx, sy = max(float(x.std()), 0.02), max(float(y.std()), 0.02)
    tie = float(((x - x.mean()) * (y - y.mean())).mean()) / (sx * sy)
    return np.array([float(x.mean()), float(y.mean()), math.log(sx), math.log(sy), tie])


@dataclass(frozen=True)
class ExpectedMarks:
    """Figures of the marks of many sets of one design, shape (n, 10): drive, then coast."""

    figures: Array

    def log_density(self, flank: FlankName, figures: Array) -> float:
        """Return the logarithm of the density of one flank's mark, against the usual one's."""
        k = 5 * FLANKS.index(flank)
        return self._against_usual((k, k + 5), figures)

    def log_pair(self, drive: Array, coast: Array) -> float:
        """Return the same of both flanks' marks together."""
        return self._against_usual((0, 10), np.concatenate([drive, coast]))

    def _against_usual(self, part: tuple[int, int], figures: Array) -> float:
        data, whiten, usual = _prepared(self, part)
        n, d = data.shape
        gap = ((figures @ whiten - data) ** 2).sum(1)
        near = np.logaddexp.reduce(-0.5 * gap) - math.log(n)
        wide = STRANGE_WIDER**2
        far = np.logaddexp.reduce(-0.5 * gap / wide) - math.log(n) - 0.5 * d * math.log(wide)
        return float(np.logaddexp(math.log(1.0 - STRANGE) + near, math.log(STRANGE) + far) - usual)


@lru_cache(maxsize=48)
def _kernel(key: bytes, rows: int, columns: int) -> tuple[Array, Array, float]:
    data = np.frombuffer(key).reshape(rows, columns)
    scott = rows ** (-1.0 / (columns + 4))
    noise = np.tile(NOISE, columns // 5)
    cov = scott**2 * np.cov(data.T) + np.diag(noise**2)
    whiten = np.linalg.inv(np.linalg.cholesky(cov)).T
    white = data @ whiten
    gap = ((white[:, None] - white[None]) ** 2).sum(-1)
    usual = np.logaddexp.reduce(-0.5 * gap, axis=1) - math.log(rows)
    return white, whiten, float(np.median(usual))


def _prepared(expected: ExpectedMarks, part: tuple[int, int]) -> tuple[Array, Array, float]:
    data = np.ascontiguousarray(expected.figures[:, slice(*part)])
    return _kernel(data.tobytes(), *data.shape)


def _roll_many(design: GearSetDesign) -> Array:
    rng = np.random.default_rng(11)
    size = design.ring_outer_diameter_mm / 222.0
    mesh = build_mesh(design, *RESOLUTION)
    out = []
    for _turn in range(ROLLED):
        depth = DEPTH_FAR_MM if rng.random() < FAR_SHARE else DEPTH_MM
        z = rng.standard_normal(4) * [depth * size, RING_MM * size, OFFSET_MM * size, ANGLE_DEG]
        eases = [WIDE.draw(rng, design.ease_off(name), size) for name in FLANKS]
        row = []
        for name, ease in zip(FLANKS, eases, strict=True):
            try:
                pattern = roll_unloaded(
                    mesh, name, Settings(*(float(v) for v in z)), ease, design.compound_film_mm
                )[0]
            except ContactError:
                break
            figures = figures_of(pattern.mask)
            if figures is None:
                break
            row.append(figures)
        if len(row) == 2:
            out.append(np.concatenate(row))
    if len(out) < ROLLED // 3:
        raise ContactError(
            _("only {count} of {rolled} settings give marks on both flanks").format(
                count=len(out), rolled=ROLLED
            ),
            where=design.name,
            fix=_("check the ease-off of the design"),
        )
    return np.array(out)


@lru_cache(maxsize=16)
def expected_marks(design: GearSetDesign) -> ExpectedMarks:
    """Return the marks of a design, from the cache folder where they have been rolled before."""
    return ExpectedMarks(
        kept_array(
            "marks",
            design,
            f"{VERSION}|{ROLLED}|{RESOLUTION}",
            lambda found: found.ndim == 2 and found.shape[1] == 10,
            lambda: _roll_many(design),
        )
    )


LEAST_CHANCE = 0.05  # of another outline above which it counts


def with_other(reading: PhotoReading, other: PhotoReading | None, chance: float) -> PhotoReading:
    """Return a reading that knows of another outline, its spread widened by the distance to it.

    Parameters
    ----------
    reading, other : PhotoReading
        Of the same photo.
    chance : float
        That the other one is right, 0 … 0.5.
    """
    doubt = _("Another outline is nearly as likely; look at it and correct it if needed.")
    quality = tuple(q for q in reading.quality if q != doubt)
    doubts = tuple(q for q in reading.outline_doubts if q != doubt)
    x, y, length = reading.alone_sd
    height, area, slant = reading.alone_shape_sd
    if other is None or chance <= LEAST_CHANCE:
        return replace(
            reading, center_sd=(x, y), length_sd=length, height_sd=height, area_sd=area, slant_sd_deg=slant,
            quality=quality, outline_doubts=doubts, other=None, other_chance=0.0,
        )  # fmt: skip
    a, b = reading.pattern, other.pattern
    away = (b.center[0] - a.center[0], b.center[1] - a.center[1], b.length_fraction - a.length_fraction)
    shape = (
        b.height_fraction - a.height_fraction,
        b.area_fraction - a.area_fraction,
        (b.slant_deg - a.slant_deg + 90.0) % 180.0 - 90.0,  # an axis has no direction
    )
    alone, apart = (x, y, length, height, area, slant), (*away, *shape)
    x, y, length, height, area, slant = (
        math.sqrt(sd * sd + chance * d * d) for sd, d in zip(alone, apart, strict=True)
    )
    return replace(
        reading, center_sd=(x, y), length_sd=length, height_sd=height, area_sd=area, slant_sd_deg=slant,
        quality=(*quality, doubt), outline_doubts=(*doubts, doubt),
        other=replace(other, other=None, other_chance=0.0), other_chance=chance,
    )  # fmt: skip


def settle_pair(
    drive: PhotoReading, coast: PhotoReading, design: GearSetDesign
) -> tuple[PhotoReading, PhotoReading]:
    """Let the two flanks of one set decide between outlines: their marks rise, fall and wander together.

    Parameters
    ----------
    drive, coast : PhotoReading
        As `read_photo` gives them.
    design : GearSetDesign

    Returns
    -------
    drive, coast : PhotoReading
        With the likelier outline of each first and the spread that is left. A flank without a second outline
        comes back as it was.
    """
    if drive.other is None and coast.other is None:
        return drive, coast
    try:
        expected = expected_marks(design)
    except ContactError:
        return drive, coast
    choices = [_choices(reading) for reading in (drive, coast)]
    weight = np.zeros((len(choices[0]), len(choices[1])))
    for i, (one, p) in enumerate(choices[0]):
        for j, (two, q) in enumerate(choices[1]):
            a, b = figures_of(one.pattern.mask), figures_of(two.pattern.mask)
            together = 0.0
            if a is not None and b is not None:
                # The single flanks' likelihoods are in the chances already.
                together = expected.log_pair(a, b)
                together -= expected.log_density("drive", a) + expected.log_density("coast", b)
            weight[i, j] = p * q * math.exp(min(together, 30.0))
    if not weight.sum() > 0.0:
        return drive, coast
    weight /= weight.sum()
    out = []
    for k, options in enumerate(choices):
        chance = weight.sum(1 - k)
        best = int(np.argmax(chance))
        other = options[1 - best][0] if len(options) == 2 else None
        out.append(with_other(options[best][0], other, float(1.0 - chance[best])))
    return out[0], out[1]


def _choices(reading: PhotoReading) -> list[tuple[PhotoReading, float]]:
    if reading.other is None:
        return [(reading, 1.0)]
    return [(reading, 1.0 - reading.other_chance), (reading.other, reading.other_chance)]
