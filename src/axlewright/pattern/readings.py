"""What every way of reading a pattern gives: where it lies, whether it reaches an edge, and how sure that is.

The outline is known only so well. A place on an edge is marked with the chance that the outline, moved by
its own error, still takes it in; the edge is reached with the chance of its likeliest place. How far a mark
that is cut off by an edge would have gone on beyond it is estimated from its width there, as an oval would.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage
from scipy.special import ndtr

from axlewright.contact import ContactPattern
from axlewright.language import Text

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

EDGES: Final = ("toe", "heel", "root", "top")
# A mark that ends at an edge along at least this much of it is a hard line there: the contact is cut off by
# the edge instead of fading before it. The figure is this program's own; manuals give the words alone.
HARD_LINE_SHARE: Final = 0.25
SURE: Final = 0.95
"""A mark reaches an edge for sure from this chance on, and stays clear of it for sure below one less it."""


@dataclass(frozen=True, slots=True)
class EdgeReading:
    """How a mark lies to one edge of the flank.

    Attributes
    ----------
    chance : float
        That the mark reaches the edge.
    share, share_sd : float
        Part of the edge's length on which the mark lies, with its standard deviation.
    """

    chance: float
    share: float
    share_sd: float

    @property
    def hard_line(self) -> bool:
        """Whether the mark lies along so much of the edge that it is cut off there."""
        return self.share >= HARD_LINE_SHARE

    def summary(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        return {
            "chance": round(self.chance, 3),
            "share": round(self.share, 3),
            "share_sd": round(self.share_sd, 3),
            "hard_line": self.hard_line,
        }

    def mixed(self, other: EdgeReading, chance: float) -> EdgeReading:
        """Return what is known when the other reading may be the right one."""
        apart = self.share - other.share
        return EdgeReading(
            (1.0 - chance) * self.chance + chance * other.chance,
            self.share,
            float(np.sqrt(self.share_sd**2 + chance * apart**2)),
        )


def read_edges(
    mask: Mask, sd_cells: ArrayLike, place_sd: tuple[float, float], blind_cells: float = 0.0
) -> dict[str, EdgeReading]:
    """Return how a mark lies to each edge.

    Parameters
    ----------
    mask : array of bool, shape (profile, lengthwise)
        Root row first, toe column first.
    sd_cells : float or array of the mask's shape
        Standard deviation of the outline across itself [cells].
    place_sd : (float, float)
        How well the whole mark is placed, lengthwise and profile, in the units of a pattern's centre.
    blind_cells : float
        Width of the strip beside an edge on which mark and rest cannot be told apart [cells]: a mark that
        comes so near seems to reach it.

    Returns
    -------
    dict of EdgeReading
        By the names of `EDGES`.
    """
    rows, cols = mask.shape
    inside = ndimage.distance_transform_edt(mask) - 0.5
    outside = ndimage.distance_transform_edt(~mask) - 0.5
    depth = np.where(mask, inside, -outside)
    sd = np.broadcast_to(np.asarray(sd_cells, dtype=float), mask.shape)
    along, across = place_sd[0] * (cols - 1) / 2.0, place_sd[1] * (rows - 1) / 2.0
    out = {}
    for name in EDGES:
        at: Any = {"toe": np.s_[:, 0], "heel": np.s_[:, -1], "root": np.s_[0], "top": np.s_[-1]}[name]
        spread = np.hypot(sd[at], across if name in ("root", "top") else along)
        margin = np.minimum(depth[at], _beyond(mask if name in ("root", "top") else mask.T, name))
        z = (margin - blind_cells) / spread
        share = [float(np.mean(z > limit)) for limit in (-1.0, 0.0, 1.0)]
        out[name] = EdgeReading(float(ndtr(z.max())), share[1], (share[0] - share[2]) / 2.0)
    return out


def _beyond(mask: Mask, edge: str) -> float:
    """Return how far [cells] an oval mark would go on beyond the first or last row of a mask.

    An oval of half width A and half height B is 2 a wide at B (1 − √(1 − (a/A)²)) from its end.
    """
    widths = mask.sum(axis=1)
    at_edge = widths[0 if edge in ("root", "toe") else -1]
    if not at_edge:
        return np.inf  # it ends before the edge: nothing is cut off
    high = float(np.count_nonzero(widths))
    return 0.5 + 0.5 * high * (1.0 - float(np.sqrt(1.0 - (at_edge / widths.max()) ** 2)))


def hard_lines(edges: Mapping[str, EdgeReading]) -> list[str]:
    """Return the edges at which the mark is cut off."""
    return [name for name, one in edges.items() if one.hard_line]


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
    quality : tuple of Text
        What a reader should know about this reading, one sentence each.
    """

    pattern: ContactPattern
    center_sd: tuple[float, float]
    length_sd: float
    source: Source
    quality: tuple[Text, ...] = ()
    height_sd: float | None = None
    area_sd: float | None = None
    slant_sd_deg: float | None = None

    def edges(self) -> dict[str, EdgeReading]:
        """Return how sure it is that the mark reaches each edge, and along how much of it."""
        if self.pattern.empty:
            return {}
        return read_edges(self.pattern.mask, ONE_CELL, self.center_sd)

    def summary(self) -> dict[str, Any]:
        """Return the measures with their uncertainty; its words are not drawn yet."""
        out = self.pattern.summary()
        out["words"] = self.pattern.describe()
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
    outline_doubts : tuple of Text
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
    outline_doubts: tuple[Text, ...] = ()

    def edges(self) -> dict[str, EdgeReading]:
        """Return how sure it is that the mark reaches each edge, another likely outline thought of."""
        if not self.alone_edges:
            return PatternReading.edges(self)
        if self.other is None:
            return dict(self.alone_edges)
        theirs = self.other.edges()
        return {name: one.mixed(theirs[name], self.other_chance) for name, one in self.alone_edges.items()}

    def summary(self) -> dict[str, Any]:
        """Return the measures with their uncertainty; its words are not drawn yet."""
        out = PatternReading.summary(self)
        out["compound_found"] = self.compound_found
        out["contrast"] = round(self.contrast, 2)
        out["other_outline_chance"] = round(self.other_chance, 3)
        out["camera_residual_px"] = round(self.camera_residual_px, 2)
        out["corner_moves_px"] = [round(float(v), 1) for v in self.corner_moves_px]
        out["corners_used"] = [[round(float(v), 1) for v in c] for c in self.corners_used]
        return out
