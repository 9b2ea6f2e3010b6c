"""How a mark lies to the edges of its flank: whether it reaches them, and along how much of them.

The outline is known only so well. A place on an edge is marked with the chance that the outline, moved by
its own error, still takes it in; the edge is reached with the chance of its likeliest place. How far a mark
that is cut off by an edge would have gone on beyond it is estimated from its width there, as an oval would.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage
from scipy.special import ndtr

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
