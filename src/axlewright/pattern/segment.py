"""Which part of the unrolled flank is marked: two kinds of surface told apart in one photo's own light.

Candidates come from two classes and from cuts at levels (`candidates`), each in the picture as it is and with
a likely cast shadow lifted. The one whose outline keeps its contrast in these views, with a compact mark
clear of the ends and such as the design makes, wins. At last the outline is moved to half way between the
surfaces just inside and just outside of it (`outline.settle`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from axlewright.language import Number, _
from axlewright.pattern.outline import (
    FULL_CONTRAST,
    LEAST_SHAPE,
    OutlineProbe,
    candidates,
    edge_cells,
    half_coat,
    likeness,
    settle,
)
from axlewright.pattern.picture import RefusedPhotoError
from axlewright.pattern.surface_features import features, halved, usual_difference, views

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Compound = Literal["rubbed", "print", "auto"]

LEAST_CONTRAST = (
    0.8  # along most of the outline, in usual differences over the flank; below it nothing is told apart
)
KEPT_CONTRAST = 0.6  # of the candidate's contrast; below it the settled outline is worse than the candidate
LEAST_DIFFERENCE = 4.0  # the same step in Lab units; below it compression and noise make their own outlines
MOST_GLARE = 0.35  # share of the flank
RIVAL_SHARPNESS = 10.0  # power of the ratio of scores that gives the odds of another outline
LEAST_SCORE = 0.25
LIKELY_WEIGHT = 1.0  # how much the design's usual marks count beside the picture
LEAST_LIKELY = -7.0  # below it no set of this design has such a mark: shine, dirt or bare metal
FAINT, FAINT_LIKELY = 1.6, -3.0  # the same for an outline that stands out only faintly
LEAST_RIVAL = 0.02  # odds below which another outline is not kept
Likely = Callable[[Mask], float]


@dataclass(frozen=True, slots=True)
class Segmentation:
    """Marked area on a fine grid.

    Attributes
    ----------
    level : array, shape (rows, cols)
        0 outside … 1 inside, 0.5 on the outline; root row first, toe column first.
    known : array of bool, shape (rows, cols)
        False where glare or darkness hid the surface and the outline was bridged.
    step : float
        Contrast reached along most of the outline, in usual differences between places of the flank.
    difference : float
        The same step in Lab units.
    edge_cells : float
        Width of the outline from a quarter to three quarters [fine cells].
    rubbed : bool or None
        True when the mark is the less coloured (or darker) surface; None when that cannot be told.
    glare : float
        Share of the flank hidden by glare.
    score : float
        How clear and mark-like the area is.
    likely : float
        Logarithm of how likely such a mark is for the design, against the usual one.
    chance : float
        Of this outline among those of one photo.
    """

    level: Array
    known: Mask
    step: float
    difference: float
    edge_cells: float
    rubbed: bool | None
    glare: float
    score: float = 0.0
    likely: float = 0.0
    chance: float = 1.0


@dataclass(frozen=True, slots=True)
class _Rated:
    """A credible candidate: how good it is, the area, the view that shows it best."""

    weight: float  # logarithm
    score: float
    likely: float
    mask: Mask
    look: int


def segment(light: Array, compound: Compound = "auto", likely: Likely | None = None) -> list[Segmentation]:
    """Find the marked area of an unrolled flank.

    Parameters
    ----------
    light : array, shape (rows, cols, 3)
        Linear RGB, root row first, toe column first.
    compound : {"rubbed", "print", "auto"}
        Painted flank with the contact rubbed clear, clean flank with a print, or to be found out.
    likely : callable, optional
        Mask to the logarithm of how likely a mark of that place and shape is, against the usual one.

    Returns
    -------
    list of Segmentation
        The likeliest outline first, then at most one other that says something else; their chances add up
        to 1.

    Raises
    ------
    RefusedPhotoError
        When glare hides too much or nothing stands out.
    """
    f3, glare, dark, grey = features(light)
    known = ~(glare | dark)
    hidden = float(glare.mean())
    if hidden > MOST_GLARE:
        raise RefusedPhotoError(
            _("glare hides {share} of the flank").format(share=Number(hidden, ".0%")),
            where=_("photo"),
            fix=_("turn the lamp or the gear, or shade the tooth, until the flank does not shine"),
        )
    if float(dark.mean()) > 0.5:
        raise RefusedPhotoError(
            _("more than half of the flank is black"),
            where=_("photo"),
            fix=_("give it more light and take it again"),
        )
    looks = views(f3, known)
    grids = []
    for view, seen, shade in looks:
        coarse, coarse_known = halved(view, seen)
        grids.append((coarse, coarse_known, usual_difference(coarse, coarse_known), shade))
    rated = _rate(grids, compound, likely or (lambda _mask: 0.0))
    if not rated:
        raise _nothing()
    chosen = [rated[0], *_rival(rated)]
    weights = np.exp(np.array([r.weight for r in chosen]) - chosen[0].weight)
    found = []
    for one, chance in zip(chosen, weights / weights.sum(), strict=True):
        view, seen, _shade = looks[one.look]
        coarse, coarse_known, usual, _coarse_shade = grids[one.look]
        outline = _outline(one, compound, light, grey, view, seen, coarse, coarse_known, usual)
        if outline is not None:
            found.append(replace(outline, glare=hidden, chance=float(chance)))
        elif not found:
            raise _nothing()
    if len(found) == 1:
        found = [replace(found[0], chance=1.0)]
    return found


def _outline(
    one: _Rated,
    compound: Compound,
    light: Array,
    grey: bool,
    view: Array,
    known: Mask,
    coarse: Array,
    coarse_known: Mask,
    usual: Array,
) -> Segmentation | None:
    """Return a candidate with its outline settled; None when it does not stand out."""
    rows, cols = known.shape
    at_first, sides = OutlineProbe(one.mask).contrast(coarse, coarse_known, usual)
    first = _finer(one.mask, rows, cols)
    half = half_coat(light, grey, _coat(_rubbed(sides), compound))
    level, mask = settle(view, first, known, half)
    step, settled = OutlineProbe(mask[::2, ::2]).contrast(coarse, coarse_known, usual)
    if step < KEPT_CONTRAST * at_first:
        # Faint marks can be lost on the way: keep the area as it was found.
        level, mask, step = ndimage.gaussian_filter(first.astype(float), 1.5), first, at_first
    else:
        sides = settled
    size = float(np.linalg.norm(sides[0] - sides[1]))
    if step < LEAST_CONTRAST or size < LEAST_DIFFERENCE:
        return None
    if one.likely < (FAINT_LIKELY if step < FAINT else LEAST_LIKELY):
        return None
    return Segmentation(
        level, known, step, size, edge_cells(view, mask, known), _rubbed(sides), 0.0, one.score, one.likely
    )


def _finer(mask: Mask, rows: int, cols: int) -> Mask:
    grown = ndimage.zoom(mask.astype(float), (rows / mask.shape[0], cols / mask.shape[1]), order=1)
    return np.asarray(grown[:rows, :cols] > 0.5)


def _rate(
    grids: list[tuple[Array, Mask, Array, Mask | None]], compound: Compound, likely: Likely
) -> list[_Rated]:
    """Return credible candidates, best first.

    An outline that is a shadow's edge loses its contrast once the shadow is lifted; that of a mark keeps it.
    So every candidate is judged in all views.
    """
    rated: list[_Rated] = []
    met: set[bytes] = set()
    for f, known, _usual, shade in grids:
        for mask in candidates(f, known, shade):
            key = np.packbits(mask[::3, ::3]).tobytes()
            if key in met:
                continue
            met.add(key)
            shape = likeness(mask)
            if shape < LEAST_SHAPE:
                continue
            probe = OutlineProbe(mask)
            seen = [probe.contrast(g, k, u) for g, k, u, _shade in grids]
            contrasts = [min(c, FULL_CONTRAST) for c, _sides in seen]
            look = int(np.argmax(contrasts))
            if contrasts[0] > 0.9 * contrasts[look]:
                look = 0
            score = float(np.mean(np.sqrt(contrasts))) * shape * _agrees(seen[look][1], compound)
            if score > LEAST_SCORE:
                fits = likely(mask)
                weight = RIVAL_SHARPNESS * float(np.log(score)) + LIKELY_WEIGHT * fits
                rated.append(_Rated(weight, score, fits, mask, look))
    rated.sort(key=lambda item: -item.weight)
    return rated


def _rival(rated: list[_Rated]) -> list[_Rated]:
    """Return the best candidate that says something else than the first, if it is likely enough."""
    best = rated[0]
    for other in rated[1:]:
        if other.weight < best.weight + np.log(LEAST_RIVAL):
            break
        if (other.mask & best.mask).sum() < 0.6 * (other.mask | best.mask).sum():
            return [other]
    return []


def _nothing() -> RefusedPhotoError:
    return RefusedPhotoError(
        _("no mark stands out from the rest of the flank"),
        where=_("photo"),
        fix=_(
            "wipe oil off, paint a thin even coat (yellow, blue or white; grey is the hardest to tell from "
            "metal), roll under drag, and take the photo in soft light; or draw the mark by hand"
        ),
    )


def _rubbed(sides: Array) -> bool | None:
    """Tell from the colours inside and outside whether the mark is the bare metal of the two.

    Metal is the greyer; where both are grey (white or grey compound) it is the darker.
    """
    inside, outside = sides
    chroma_in, chroma_out = float(np.hypot(*inside[1:])), float(np.hypot(*outside[1:]))
    if abs(chroma_in - chroma_out) > 6.0:
        return chroma_in < chroma_out
    if max(chroma_in, chroma_out) < 22.0 and abs(inside[0] - outside[0]) > 5.0:
        return bool(inside[0] < outside[0])
    return None


def _coat(rubbed: bool | None, compound: Compound) -> float:
    if compound != "auto":
        rubbed = compound == "rubbed"
    return 0.0 if rubbed is None else (1.0 if rubbed else -1.0)


def _agrees(sides: Array, compound: Compound) -> float:
    """Return how well a step fits what was said of the compound: 1 when it does, less when it does not."""
    found = _rubbed(sides)
    if compound == "auto" or found is None:
        return 1.0
    return 1.0 if found == (compound == "rubbed") else 0.35
