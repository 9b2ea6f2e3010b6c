"""From a photo and four taps to a measured pattern with its uncertainty.

The outline's error is taken as a random shift along its normal that stays alike over a stretch of it; the
shift of the centre is then a sum over the outline. The constants below were set on drawn photos whose truth
is known (benchmarks/reading_masks.py prints the coverage they reach on other drawn photos).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from axlewright.contact import measure_mask
from axlewright.contact.marks import EDGE_WORDS
from axlewright.contact.rolling import check_flank
from axlewright.errors import ContactError, PhotoError
from axlewright.gearset import FlankName, GearSetDesign
from axlewright.language import Number, Text, _, joined
from axlewright.pattern.camera import (
    CORNER_NAMES,
    CORNER_X,
    CORNER_Y,
    PHONE_FOCAL_SHARE,
    FittedCamera,
    fit_camera,
    flank_surface,
)
from axlewright.pattern.colour import coded_light
from axlewright.pattern.corners import check_corners, find_edges, parse_corners, softened
from axlewright.pattern.expected import expected_marks, figures_of, with_other
from axlewright.pattern.picture import Picture, RefusedPhotoError, load_picture
from axlewright.pattern.readings import PhotoReading, read_edges
from axlewright.pattern.segment import Compound, Likely, Segmentation, segment
from axlewright.pattern.unroll import Part, cut_part, unroll

Array = NDArray[np.float64]

ALIKE_CELLS = 40.0  # fine cells of outline over which its error stays alike
SHIFT_CELLS = 1.0  # least standard deviation of the outline across itself [fine cells]
COMMON_CELLS = (
    1.0  # part of it that the whole outline shares: where a coat's edge is taken to be [fine cells]
)
BRIDGED_CELLS = 6.0  # the same where glare or darkness was bridged
ANY_DIRECTION_DEG = 180.0 / 12.0**0.5  # standard deviation of an axis that may lie any way
ROOT_LINE = 0.012  # where the foot of the working flank lies under a tap, in profile units


@dataclass(frozen=True, slots=True)
class OutlineSpread:
    """Standard deviations that the outline's error causes.

    Attributes
    ----------
    center : (float, float)
        Lengthwise and profile.
    length, height, area : float
        Of `length_fraction`, `height_fraction` and `area_fraction`.
    slant : float
        Of `slant_deg` [deg]; that of any direction at all for a mark nearly as long as high.
    confidence : array, shape (48, 96)
        0 … 1.
    """

    center: tuple[float, float]
    length: float
    height: float
    area: float
    slant: float
    confidence: Array


def outline_sd_cells(marked: Segmentation) -> Array:
    """Return the standard deviation of the outline across itself [fine cells], shape of the level."""
    faint = 1.0 + 4.0 / max(marked.step, 0.5) ** 2
    sd = np.full(marked.level.shape, SHIFT_CELLS * faint + 0.25 * marked.edge_cells)
    hidden = ndimage.gaussian_filter((~marked.known).astype(float), 1.5)
    return np.asarray(sd + BRIDGED_CELLS * np.clip(hidden * 1.5, 0.0, 1.0))


def outline_spread(marked: Segmentation) -> OutlineSpread:
    """Return what the outline's error does to the measures."""
    level = marked.level
    rows, cols = level.shape
    x, y = np.meshgrid(np.linspace(-1, 1, cols), np.linspace(-1, 1, rows))
    sd = outline_sd_cells(marked)
    mask = level >= 0.5
    area = float(mask.sum())
    gy, gx = np.gradient(ndimage.gaussian_filter(mask.astype(float), 1.0))
    weight = np.hypot(gx, gy)  # integrates to the outline's length in cells
    cx, cy = float(x[mask].mean()), float(y[mask].mean())
    alike = ALIKE_CELLS
    var_x = float((weight * (x - cx) ** 2 * sd**2).sum()) * alike / area**2
    var_y = float((weight * (y - cy) ** 2 * sd**2).sum()) * alike / area**2
    var_a = float((weight * sd**2).sum()) * alike / (rows * cols) ** 2
    var_a += (COMMON_CELLS * float(weight.sum()) / (rows * cols)) ** 2
    span, up = np.flatnonzero(mask.any(0)), np.flatnonzero(mask.any(1))
    tips = [float(sd[mask[:, c], c].mean()) for c in (span[0], span[-1])]
    # Tips of an oval are flatter than its flanks: the same error of level moves them further.
    length = 2.0 * float(np.hypot(tips[0], tips[1])) / cols
    tips = [float(sd[r, mask[r]].mean()) for r in (up[0], up[-1])]
    height = 2.0 * float(np.hypot(tips[0], tips[1])) / rows
    # How much a bit of area put in at each place turns the long axis: θ = atan2(2 sxy, sxx − syy) / 2.
    dx, dy = x - cx, y - cy
    sxy, apart = float((dx * dy)[mask].mean()), float((dx**2 - dy**2)[mask].mean())
    turn = (apart * (dx * dy - sxy) - sxy * (dx**2 - dy**2 - apart)) / max(apart**2 + 4.0 * sxy**2, 1e-12)
    slant = np.degrees(np.sqrt(float((weight * turn**2 * sd**2).sum()) * alike / area**2))
    away = ndimage.distance_transform_edt(mask) + ndimage.distance_transform_edt(~mask) - 1.0
    confidence = 1.0 - np.exp(-0.5 * (away / sd) ** 2)
    return OutlineSpread(
        (float(np.sqrt(var_x)), float(np.sqrt(var_y))),
        length,
        height,
        float(np.sqrt(var_a)),
        min(float(slant), ANY_DIRECTION_DEG),
        confidence[::2, ::2],
    )


def place_spread(
    camera: FittedCamera, design: GearSetDesign, flank: FlankName, mask: NDArray[np.bool_]
) -> tuple[float, float]:
    """Return the standard deviation of the centre that the camera's error causes, lengthwise and profile."""
    rows, cols = np.nonzero(mask)
    pick = np.linspace(0, len(rows) - 1, min(60, len(rows))).astype(int)
    x = -1.0 + 2.0 * cols[pick] / (mask.shape[1] - 1)
    y = -1.0 + 2.0 * rows[pick] / (mask.shape[0] - 1)
    h = 1e-3

    def at(a: Array, b: Array) -> Array:
        return camera.project(flank_surface(design, flank, a, b)[0])

    G = np.stack([(at(x + h, y) - at(x - h, y)) / (2 * h), (at(x, y + h) - at(x, y - h)) / (2 * h)], -1)
    J = camera.jacobian(flank_surface(design, flank, x, y)[0])
    M = -np.linalg.solve(G, J).mean(0)
    cov = M @ camera.covariance @ M.T
    return float(np.sqrt(cov[0, 0])), float(np.hypot(np.sqrt(cov[1, 1]), ROOT_LINE))


TAP_SD_SHARE = 0.004  # a tap's error as a share of the tooth's length in the picture
TAP_SD_LEAST_PX = 2.0
RESIDUAL_LIMIT = 2.0  # corner miss over the tap's standard deviation at which no pose fits the design
SNAPPED_LIMIT = 2.5  # the same once the edges are fitted too
EDGE_LIMIT = (
    0.0025  # miss of the tooth's edges over its length at which they bend otherwise than the design's
)
EDGE_DOUBT = 0.0012
FOCAL_LIMIT = 1.1  # logarithm of the fitted over the expected focal length
# The last node before an edge looks as if the mark reached the edge; the strip was set on drawn photos
# (docs/reading.md says how often such edges were reached).
BLIND_CELLS = 2.0
BLUR_LIMIT_CELLS = 10.5  # outline wider than this share (of 95 rows) is blur, not compound


def read_photo(
    source: str | Path | bytes | Picture,
    corners: str | Array | list[tuple[float, float]],
    design: GearSetDesign,
    flank: str,
    compound: Compound = "auto",
    *,
    tap_sd_px: float | None = None,
    snap: bool = True,
) -> PhotoReading:
    """Read the pattern of one tooth from a photo.

    Parameters
    ----------
    source : str, Path, bytes or Picture
        JPEG, PNG or HEIC.
    corners : str or array-like, shape (4, 2)
        Toe-top, heel-top, heel-root, toe-root in pixels of the upright picture; text as `parse_corners`.
        The root corners lie where the flank ends and the fillet begins.
    design : GearSetDesign
        The set in the photo; its real 3-D flank is laid over the tooth.
    flank : {"drive", "coast"}
    compound : {"rubbed", "print", "auto"}
        Painted flank with the contact rubbed clear, clean flank with a print, or to be found out.
    tap_sd_px : float, optional
        Standard deviation of a tap [px]; 0.4 % of the tooth's length, at least 2 px, when None.
    snap : bool
        Look for the tooth's edges near the taps.

    Returns
    -------
    PhotoReading

    Raises
    ------
    PhotoError
        For bad files, bad corners or a photo that does not fit the design.
    RefusedPhotoError
        A `PhotoError` for glare, blur, too little light or contrast: the photo is to be taken again.
    InputError
        For an unknown flank.
    """
    name = check_flank(flank)
    if compound not in ("rubbed", "print", "auto"):
        raise PhotoError(
            _("unknown compound '{compound}'").format(compound=compound),
            where=_("compound"),
            fix=_("use rubbed, print or auto"),
        )
    picture = source if isinstance(source, Picture) else load_picture(source)
    size = (picture.width, picture.height)
    taps = parse_corners(corners) if isinstance(corners, str) else np.asarray(corners, dtype=float)
    taps = check_corners(taps, size, design, name)
    length_px = 0.5 * float(np.linalg.norm(taps[1] - taps[0]) + np.linalg.norm(taps[2] - taps[3]))
    tap_sd = max(TAP_SD_LEAST_PX, TAP_SD_SHARE * length_px) if tap_sd_px is None else tap_sd_px
    first = fit_camera(design, name, taps, size, focal_px=picture.focal_px, tap_sd_px=tap_sd)
    expected = picture.focal_px or PHONE_FOCAL_SHARE * max(size)
    far_fetched = abs(math.log(first.focal_px / expected)) > FOCAL_LIMIT
    if first.residual_px > RESIDUAL_LIMIT * tap_sd or far_fetched:
        raise _unlike(design, name, first.residual_px)
    part = cut_part(picture, taps)
    camera, support = first, dict[str, float]()
    if snap:
        camera, support = _snapped(picture, part, taps, first, design, name, tap_sd, length_px)
    fine = unroll(part, camera, design, name)
    outlines = segment(fine[::2, ::2], compound, _likely(design, name))
    reported: list[PhotoReading] = []
    for marked in outlines:
        try:
            reported.append(
                _report(picture, taps, first, camera, support, fine, marked, design, name, compound, tap_sd)
            )
        except PhotoError:
            if not reported:
                raise
    if len(reported) == 1:
        return reported[0]
    return with_other(reported[0], reported[1], outlines[1].chance)


def _likely(design: GearSetDesign, flank: FlankName) -> Likely | None:
    """Return how likely marks are for the design; None for one whose teeth hardly touch."""
    try:
        expected = expected_marks(design)
    except ContactError:
        return None

    def likely(mask: NDArray[np.bool_]) -> float:
        figures = figures_of(mask)
        return -20.0 if figures is None else expected.log_density(flank, figures)

    return likely


def _unlike(design: GearSetDesign, flank: FlankName, miss_px: float) -> PhotoError:
    return PhotoError(
        _(
            "no camera position makes a {flank} flank of {design} look like this tooth (its corners and "
            "edges miss by {miss} px)"
        ).format(flank=_(flank), design=design.name, miss=Number(miss_px, ".1f")),
        where=_("corners"),
        fix=_("check the design, the flank and the four taps"),
    )


def _snapped(
    picture: Picture,
    part: Part,
    taps: Array,
    first: FittedCamera,
    design: GearSetDesign,
    flank: FlankName,
    tap_sd: float,
    length_px: float,
) -> tuple[FittedCamera, dict[str, float]]:
    soft = softened(part.pixels)
    camera, support = first, dict[str, float]()
    for _turn in range(2):
        edges, support = find_edges(soft, camera, design, flank, part.scale, part.origin, length_px)
        if edges is None:
            return first, support
        size = (picture.width, picture.height)
        camera = fit_camera(
            design, flank, taps, size, focal_px=picture.focal_px, tap_sd_px=tap_sd, edges=edges
        )
    if camera.residual_px > SNAPPED_LIMIT * tap_sd or camera.edge_miss_px > EDGE_LIMIT * length_px:
        raise _unlike(design, flank, max(camera.residual_px, camera.edge_miss_px))
    return camera, support


def _report(
    picture: Picture,
    taps: Array,
    first: FittedCamera,
    camera: FittedCamera,
    support: dict[str, float],
    fine: Array,
    marked: Segmentation,
    design: GearSetDesign,
    flank: FlankName,
    compound: Compound,
    tap_sd: float,
) -> PhotoReading:
    if marked.edge_cells > BLUR_LIMIT_CELLS:
        raise RefusedPhotoError(
            _("the picture is too blurred to find the outline of the mark"),
            where=_("photo"),
            fix=_("hold still, tap the tooth to focus and take it again from a little farther away"),
        )
    level = marked.level
    mask = level[::2, ::2] >= 0.5
    pattern = measure_mask(mask, flank)
    if pattern.empty:
        raise RefusedPhotoError(
            _("no mark was found"), where=_("photo"), fix=_("paint thinly, roll under drag, try again")
        )
    spread = outline_spread(marked)
    place = place_spread(camera, design, flank, mask)
    center_sd = (math.hypot(spread.center[0], place[0]), math.hypot(spread.center[1], place[1]))
    corners_used = camera.project(flank_surface(design, flank, CORNER_X, CORNER_Y)[0])
    moves = np.linalg.norm(corners_used - taps, axis=1)
    found = {True: "rubbed", False: "print", None: "unknown"}[marked.rubbed]
    notes, doubts = _notes(marked, camera, taps, support, moves, tap_sd, found, compound)
    return PhotoReading(
        pattern=pattern,
        center_sd=center_sd,
        length_sd=spread.length,
        alone_sd=(*center_sd, spread.length),
        alone_shape_sd=(spread.height, spread.area, spread.slant),
        likely=marked.likely,
        alone_edges=read_edges(level >= 0.5, outline_sd_cells(marked), place, BLIND_CELLS),
        place_sd=place,
        height_sd=spread.height,
        area_sd=spread.area,
        slant_sd_deg=spread.slant,
        source="photo",
        quality=tuple(notes),
        corners=taps,
        corners_used=corners_used,
        corner_moves_px=moves,
        camera_residual_px=first.residual_px,
        focal_px=camera.focal_px,
        unrolled=coded_light(fine),
        level=level,
        edge_confidence=spread.confidence,
        compound_found=found,  # type: ignore[arg-type]
        contrast=marked.step,
        outline_doubts=tuple(doubts),
    )


def _notes(
    marked: Segmentation,
    camera: FittedCamera,
    taps: Array,
    support: dict[str, float],
    moves: Array,
    tap_sd: float,
    found: str,
    compound: Compound,
) -> tuple[list[Text], list[Text]]:
    """Return all there is to say, and what of it a correction of the outline settles."""
    notes, doubts = list[Text](), list[Text]()
    if support and float(moves.max()) > 2.0 * tap_sd:
        worst = int(np.argmax(moves))
        notes.append(
            _("The {corner} corner was moved {pixels} px to the edge in the picture.").format(
                corner=_(CORNER_NAMES[worst]), pixels=Number(moves[worst], ".0f")
            )
        )
    missing = [n for n in ("top", "toe", "heel") if support.get(n, 0.0) < 0.6]
    if missing:
        notes.append(
            _("No clear edge was found at: {edges}; the taps were used as they are.").format(
                edges=joined(*(_(EDGE_WORDS[n]) for n in missing), between=", ")
            )
        )
    length = float(np.linalg.norm(taps[1] - taps[0]))
    if camera.edge_miss_px > EDGE_DOUBT * length:
        notes.append(
            _("The tooth's edges bend a little otherwise than this design's; check that it is the right one.")
        )
    if marked.glare > 0.03:
        doubts.append(
            _("Glare hides {share} of the flank; the outline was bridged there.").format(
                share=Number(marked.glare, ".0%")
            )
        )
    if marked.step < 1.5:
        doubts.append(_("The mark stands out only faintly; look at the outline and correct it if needed."))
    if compound != "auto" and found not in ("unknown", compound):
        notes.append(
            _("The colours look like compound rubbed clear where the teeth touch, not printed there.")
            if found == "rubbed"
            else _("The colours look like compound printed where the teeth touch, not rubbed clear there.")
        )
    return notes + doubts, doubts
