"""One contact-pattern type, measured the same way whether a computation or a photo made it."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from axlewright.contact.kernel import AVAILABLE, njit
from axlewright.gearset import FlankName
from axlewright.language import Number, Text, _, joined, n_

ROUNDS = 3  # of finding the pinion point that stands on a node; the motion is smooth
SLACK = 1e-6  # of a cell beyond the grid, for rounding
MOSTLY = 0.5  # a node is known when at least this share of its surroundings is

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


EDGE_WORDS: Final = {"heel": n_("heel"), "root": n_("root"), "toe": n_("toe"), "top": n_("top")}


def edge_words(edges: Iterable[str]) -> Text:
    """Name edges of the flank in a sentence, such as "heel and top"."""
    named: Text = ""
    for edge in sorted(edges):
        word = _(EDGE_WORDS[edge])
        named = _("{one} and {other}").format(one=named, other=word) if named else word
    return named


@dataclass(frozen=True, slots=True)
class ContactPattern:
    """Where a flank is marked, and its measures.

    Attributes
    ----------
    flank : {"drive", "coast"}
    mask : array of bool, shape (profile, lengthwise)
        Root row first, toe column first; nodes from −1 to +1 both ways.
    center : (float, float)
        (lengthwise, profile) centroid of the marked area, each −1 … +1.
    length_fraction, height_fraction : float
        Extent of the marked area as a share of face width and working depth.
    area_fraction : float
        Marked share of the flank.
    slant_deg : float
        Angle of the pattern's long axis against the tooth's length on the unrolled tooth, toward the top at
        the heel positive [deg]; 0 when the pattern is round. Axes in (lengthwise, profile) units.
    touches : frozenset of str
        Edges reached: "toe", "heel", "top", "root".
    nearness : array or None, shape like mask
        Normal gap at which each place would be marked [mm], when a computation made the pattern.
    """

    flank: FlankName
    mask: Mask
    center: tuple[float, float]
    length_fraction: float
    height_fraction: float
    area_fraction: float
    slant_deg: float
    touches: frozenset[str]
    nearness: Array | None = None

    @property
    def empty(self) -> bool:
        """True when nothing is marked."""
        return not bool(self.mask.any())

    def describe(self) -> Text:
        """Return the place in the trade's words, profile first, such as "high, toward heel, 52% …"."""
        if self.empty:
            return _("no mark")
        x, y = self.center
        high = _("centred in profile") if abs(y) < 0.12 else (_("high") if y > 0 else _("low"))
        if abs(y) >= 0.45:
            high = _("very high") if y > 0 else _("very low")
        along = _("centred lengthwise") if abs(x) < 0.12 else (_("toward heel") if x > 0 else _("toward toe"))
        parts: list[Text] = [
            high,
            along,
            _("{length_fraction} of the tooth length").format(
                length_fraction=Number(self.length_fraction, ".0%")
            ),
        ]
        if self.touches:
            parts.append(_("touching {edges}").format(edges=edge_words(self.touches)))
        return joined(*parts, between=", ")

    def summary(self) -> dict[str, Any]:
        """Return the measures as plain data for JSON."""
        return {
            "flank": self.flank,
            "center": [round(v, 4) if math.isfinite(v) else None for v in self.center],
            "length_fraction": round(self.length_fraction, 4),
            "height_fraction": round(self.height_fraction, 4),
            "area_fraction": round(self.area_fraction, 4),
            "slant_deg": round(self.slant_deg, 2),
            "touches": sorted(self.touches),
            "words": str(self.describe()),
        }


FLANK_NAMES: Final = {"drive": n_("drive flank"), "coast": n_("coast flank")}


def flank_name(flank: str) -> Text:
    """Name a flank in a sentence: "drive flank" or "coast flank"."""
    return _(FLANK_NAMES[flank])


def measure_mask(mask: Mask, flank: FlankName, nearness: Array | None = None) -> ContactPattern:
    """Measure a marked area.

    Parameters
    ----------
    mask : array of bool, shape (profile, lengthwise)
        Root row first, toe column first.
    flank : {"drive", "coast"}
    nearness : array, optional
        Kept with the pattern.

    Returns
    -------
    ContactPattern
        With NaN centre when nothing is marked.
    """
    mask = np.asarray(mask, dtype=bool)
    ny, nx = mask.shape
    if not mask.any():
        return ContactPattern(flank, mask, (math.nan, math.nan), 0.0, 0.0, 0.0, 0.0, frozenset(), nearness)
    x, y = np.linspace(-1.0, 1.0, nx), np.linspace(-1.0, 1.0, ny)
    # Nodes on an edge stand for half a cell.
    weight = np.ones((ny, nx))
    weight[0, :] *= 0.5
    weight[-1, :] *= 0.5
    weight[:, 0] *= 0.5
    weight[:, -1] *= 0.5
    w = weight * mask
    total = float(w.sum())
    cx = float((w.sum(axis=0) * x).sum() / total)
    cy = float((w.sum(axis=1) * y).sum() / total)
    cols, rows = np.flatnonzero(mask.any(axis=0)), np.flatnonzero(mask.any(axis=1))
    sxx = float((w * (x - cx)[None, :] ** 2).sum() / total)
    syy = float((w * (y - cy)[:, None] ** 2).sum() / total)
    sxy = float((w * (x - cx)[None, :] * (y - cy)[:, None]).sum() / total)
    slant = 0.0
    if abs(sxx - syy) + abs(sxy) > 1e-9:
        slant = math.degrees(0.5 * math.atan2(2 * sxy, sxx - syy))
    edges = set()
    for name, line in (
        ("root", mask[0]),
        ("top", mask[-1]),
        ("toe", mask[:, 0]),
        ("heel", mask[:, -1]),
    ):
        if line.any():
            edges.add(name)
    return ContactPattern(
        flank,
        mask,
        (cx, cy),
        min(1.0, (cols[-1] - cols[0] + 1) / nx),
        min(1.0, (rows[-1] - rows[0] + 1) / ny),
        float(total / weight.sum()),
        slant,
        frozenset(edges),
        nearness,
    )


def onto_ring(
    x: Array,
    y: Array,
    at_x: Array,
    at_y: Array,
    value: Array,
    nx: int,
    ny: int,
    *,
    kernel: Literal["auto", "compiled", "reference"] = "auto",
) -> Array:
    """Carry a value known on pinion points onto the nodes of the ring-gear tooth.

    Parameters
    ----------
    x, y : array, shape (mx,), (my,)
        Nodes of the pinion grid.
    at_x, at_y, value : array, shape (my, mx)
        Where each pinion point stands on the ring-gear tooth when it is nearest, and the value there.
    nx, ny : int
        Nodes of the ring-gear tooth.
    kernel : {"auto", "compiled", "reference"}

    Returns
    -------
    array, shape (ny, nx)
        Infinite where no pinion point reaches.
    """
    # A point that never stands on the ring gear has no place there; it takes the others' mean motion.
    stands = np.isfinite(value)
    if not stands.any():
        return np.full((ny, nx), np.inf)
    shift_x, shift_y = at_x - x[None, :], at_y - y[:, None]
    shift_x = np.where(stands, shift_x, shift_x[stands].mean())
    shift_y = np.where(stands, shift_y, shift_y[stands].mean())
    carry = _carry if kernel != "reference" and AVAILABLE else _carry_reference
    out: Array = carry(x, y, shift_x, shift_y, value, np.linspace(-1, 1, nx), np.linspace(-1, 1, ny))
    _continue_to_edge(out)
    _continue_to_edge(out.T)
    return out


def _carry_reference(
    x: Array, y: Array, shift_x: Array, shift_y: Array, value: Array, ring_x: Array, ring_y: Array
) -> Array:
    X, Y = np.meshgrid(ring_x, ring_y)
    dx, dy = x[1] - x[0], y[1] - y[0]
    stands = np.isfinite(value)
    px, py = X.copy(), Y.copy()
    for _again in range(ROUNDS):
        where = np.stack([(py - y[0]) / dy, (px - x[0]) / dx])
        px = X - ndimage.map_coordinates(shift_x, where, order=1, mode="nearest")
        py = Y - ndimage.map_coordinates(shift_y, where, order=1, mode="nearest")
    fi, fj = (py - y[0]) / dy, (px - x[0]) / dx
    i = np.clip(np.floor(fi), 0, len(y) - 2).astype(np.intp)
    j = np.clip(np.floor(fj), 0, len(x) - 2).astype(np.intp)
    a, b = fi - i, fj - j
    out, weight = np.zeros(X.shape), np.zeros(X.shape)
    for di, dj, w in (
        (0, 0, (1 - a) * (1 - b)),
        (1, 0, a * (1 - b)),
        (0, 1, (1 - a) * b),
        (1, 1, a * b),
    ):
        known = stands[i + di, j + dj]
        out += np.where(known, w * np.where(known, value[i + di, j + dj], 0.0), 0.0)
        weight += np.where(known, w, 0.0)
    outside = (fi < -SLACK) | (fi > len(y) - 1 + SLACK) | (fj < -SLACK) | (fj > len(x) - 1 + SLACK)
    lost = outside | (weight < MOSTLY)
    return np.where(lost, np.inf, out / np.where(lost, 1.0, weight))


@njit(cache=True, nogil=True)
def _carry(x, y, shift_x, shift_y, value, ring_x, ring_y):  # type: ignore[no-untyped-def]
    my, mx = value.shape
    dx, dy = x[1] - x[0], y[1] - y[0]
    out = np.full((len(ring_y), len(ring_x)), np.inf)
    for row in range(len(ring_y)):
        for col in range(len(ring_x)):
            fi = (ring_y[row] - y[0]) / dy
            fj = (ring_x[col] - x[0]) / dx
            for _again in range(ROUNDS):
                ci = min(max(fi, 0.0), my - 1.0)
                cj = min(max(fj, 0.0), mx - 1.0)
                i, j = min(int(ci), my - 2), min(int(cj), mx - 2)
                a, b = ci - i, cj - j
                sx = (1 - a) * ((1 - b) * shift_x[i, j] + b * shift_x[i, j + 1])
                sx += a * ((1 - b) * shift_x[i + 1, j] + b * shift_x[i + 1, j + 1])
                sy = (1 - a) * ((1 - b) * shift_y[i, j] + b * shift_y[i, j + 1])
                sy += a * ((1 - b) * shift_y[i + 1, j] + b * shift_y[i + 1, j + 1])
                fi = (ring_y[row] - sy - y[0]) / dy
                fj = (ring_x[col] - sx - x[0]) / dx
            if fi < -SLACK or fi > my - 1 + SLACK or fj < -SLACK or fj > mx - 1 + SLACK:
                continue
            i, j = min(max(int(fi), 0), my - 2), min(max(int(fj), 0), mx - 2)
            a, b = fi - i, fj - j
            total = 0.0
            weight = 0.0
            for di in range(2):
                for dj in range(2):
                    v = value[i + di, j + dj]
                    if v < np.inf:
                        w = (a if di else 1 - a) * (b if dj else 1 - b)
                        total += w * v
                        weight += w
            if weight >= MOSTLY:
                out[row, col] = total / weight
    return out


def _continue_to_edge(rows: Array) -> None:
    """Continue the first and last row straight from the two beside it where only the edge itself is unknown.

    The pinion's grid ends between its last node on the ring gear and the edge; the edge is closer to that
    node than the nodes are to each other.
    """
    for edge, one, two in ((0, 1, 2), (-1, -2, -3)):
        fill = ~np.isfinite(rows[edge]) & np.isfinite(rows[one]) & np.isfinite(rows[two])
        rows[edge][fill] = 2.0 * rows[one][fill] - rows[two][fill]
