"""What every way of reading a pattern gives: where it lies and how sure that is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from axlewright.contact import ContactPattern
from axlewright.pattern.at_edges import EdgeReading, read_edges

Array = NDArray[np.float64]
Source = Literal["photo", "sketch", "words", "teeth"]
ONE_CELL: Final = 0.5
"""How well an outline drawn on the nodes of a pattern is known across itself [cells]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PatternReading:
    """A pattern as read from a photo, a sketch or words.

    Attributes
    ----------
    pattern : ContactPattern
        On 48 × 96 nodes.
    center_sd : (float, float)
        Standard deviation of the centre, lengthwise and profile, in the units of `pattern.center`.
    length_sd : float
        Standard deviation of `pattern.length_fraction`.
    height_sd, area_sd, slant_sd_deg : float or None
        Those of `height_fraction`, `area_fraction` and `slant_deg` [deg]; None where the way of reading says
        next to nothing of them.
    source : {"photo", "sketch", "words", "teeth"}
    quality : tuple of str
        What a reader should know about this reading, one sentence each.
    """

    pattern: ContactPattern
    center_sd: tuple[float, float]
    length_sd: float
    source: Source
    quality: tuple[str, ...] = ()
    height_sd: float | None = None
    area_sd: float | None = None
    slant_sd_deg: float | None = None

    def edges(self) -> dict[str, EdgeReading]:
        """Return how sure it is that the mark reaches each edge, and along how much of it."""
        if self.pattern.empty:
            return {}
        return read_edges(self.pattern.mask, ONE_CELL, self.center_sd)

    def summary(self) -> dict[str, Any]:
        """Return the measures with their uncertainty as plain data for JSON."""
        out = self.pattern.summary()
        out["center_sd"] = [round(v, 4) for v in self.center_sd]
        out["length_sd"] = round(self.length_sd, 4)
        for name, digits in (("height_sd", 4), ("area_sd", 4), ("slant_sd_deg", 1)):
            value = getattr(self, name)
            out[name] = None if value is None else round(value, digits)
        out["edges"] = {name: one.summary() for name, one in self.edges().items()}
        out["source"] = self.source
        out["quality"] = list(self.quality)
        return out


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoReading(PatternReading):
    """A pattern read from a photo.

    Attributes
    ----------
    corners : array, shape (4, 2)
        As tapped [px].
    corners_used : array, shape (4, 2)
        Where the fitted tooth has its corners [px].
    corner_moves_px : array, shape (4,)
        How far snapping and the camera fit moved each tap [px].
    camera_residual_px : float
        Root mean square miss of the corners by a camera fitted to the taps alone [px].
    focal_px : float
        Fitted focal length [px].
    unrolled : array of uint8, shape (189, 381, 3)
        The flank unrolled, root row first, toe column first, sRGB.
    level : array, shape (95, 191)
        0 outside … 1 inside the mark, 0.5 on its outline.
    edge_confidence : array, shape (48, 96)
        0 where a place could as well be marked as not … 1 where it is certain.
    compound_found : {"rubbed", "print", "unknown"}
    contrast : float
        Step across the outline over the scatter beside it.
    place_sd : (float, float)
        Part of `center_sd` that comes from taps and camera.
    alone_sd : (float, float, float)
        Standard deviations of centre (lengthwise, profile) and length if the outline found is the right one.
    alone_shape_sd : (float, float, float)
        The same of height, area and slant [deg].
    alone_edges : mapping of EdgeReading
        How the mark lies to the edges of the flank if the outline found is the right one.
    likely : float
        Logarithm of how likely such a mark is for the design, against the usual one.
    other : PhotoReading or None
        Reading of another area that could be the mark; to be offered in place of the one found.
    other_chance : float
        How likely it is the other one, 0 … 0.5.
    outline_doubts : tuple of str
        Those sentences of `quality` that a correction of the outline settles.
    """

    corners: Array
    corners_used: Array
    corner_moves_px: Array
    camera_residual_px: float
    focal_px: float
    unrolled: NDArray[np.uint8]
    level: Array
    edge_confidence: Array
    compound_found: Literal["rubbed", "print", "unknown"]
    contrast: float
    place_sd: tuple[float, float]
    alone_sd: tuple[float, float, float] = (0.0, 0.0, 0.0)
    alone_shape_sd: tuple[float, float, float] = (0.0, 0.0, 0.0)
    alone_edges: Mapping[str, EdgeReading] = field(default_factory=dict)
    likely: float = 0.0
    other: PhotoReading | None = None
    other_chance: float = 0.0
    outline_doubts: tuple[str, ...] = ()

    def edges(self) -> dict[str, EdgeReading]:
        """Return how sure it is that the mark reaches each edge, another likely outline thought of."""
        if not self.alone_edges:
            return PatternReading.edges(self)
        if self.other is None:
            return dict(self.alone_edges)
        theirs = self.other.edges()
        return {name: one.mixed(theirs[name], self.other_chance) for name, one in self.alone_edges.items()}

    def summary(self) -> dict[str, Any]:
        """Return the measures with their uncertainty as plain data for JSON."""
        out = PatternReading.summary(self)
        out["compound_found"] = self.compound_found
        out["contrast"] = round(self.contrast, 2)
        out["other_outline_chance"] = round(self.other_chance, 3)
        out["camera_residual_px"] = round(self.camera_residual_px, 2)
        out["corner_moves_px"] = [round(float(v), 1) for v in self.corner_moves_px]
        out["corners_used"] = [[round(float(v), 1) for v in c] for c in self.corners_used]
        return out
