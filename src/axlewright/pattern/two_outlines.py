"""Where a photo allows two outlines: how much that widens the reading, and what the other flank says."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from axlewright.errors import ContactError
from axlewright.gearset import GearSetDesign
from axlewright.language import eager as _
from axlewright.pattern.expected import expected_marks, figures_of
from axlewright.pattern.readings import PhotoReading

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
