"""Ring-gear flanks from measured points in place of a cutter; see `points` for the file."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from axlewright.errors import DesignError
from axlewright.gearset.conjugate import rotation_about
from axlewright.gearset.design import GearSetDesign
from axlewright.gearset.flank import (
    X_CELLS,
    X_REACH,
    Y_CELLS,
    Y_REACH,
    FlankName,
    RingFlank,
    make_patches,
)
from axlewright.gearset.geometry import Geometry, build_geometry
from axlewright.gearset.points import (
    MIRROR,
    NORMAL_COLUMNS,
    POINT_COLUMNS,
    read_flank_points,
    refuse_few,
    refuse_holes,
    refuse_normals,
    refuse_off_tooth,
    refuse_outlier,
)
from axlewright.gearset.smoothing import smooth_surface
from axlewright.language import Number, Text, _

Array = NDArray[np.float64]

SAME_FLANK = 0.25  # points may leave the design's flank by this share of the module; beyond, it is another


@dataclass(frozen=True, slots=True)
class FlankFit:
    """A fitted flank and how well it meets its points.

    Attributes
    ----------
    flank : RingFlank
    points : int
    scatter_mm : float
        Standard deviation of the points from the surface, square to it [mm].
    greatest_mm : float
        Largest distance of a point from the surface [mm].
    turned_deg : float
        Turn about the ring gear's axis that was taken out [deg].
    deviation_mm : (float, float)
        Least and greatest distance of the fitted surface from the design's own flank on the working
        flank, out of the metal positive, after that turn [mm].
    """

    flank: RingFlank
    points: int
    scatter_mm: float
    greatest_mm: float
    turned_deg: float
    deviation_mm: tuple[float, float]


def fit_flank(
    design: GearSetDesign,
    name: FlankName,
    points: Array,
    normals: Array | None = None,
    *,
    where: Text = "flank points",
) -> FlankFit:
    """Make a ring-gear flank from measured points.

    The distance of the points from the design's own flank is what is smoothed and fitted, so a few dozen
    points suffice; a flank far from the design's shape is fitted just as well, only less smoothly.

    Parameters
    ----------
    design : GearSetDesign
    name : {"drive", "coast"}
    points : array, shape (n, 3)
        In the ring gear's frame [mm].
    normals : array, shape (n, 3), optional
        Out of the metal, unit length.
    where : str
        Named in errors.

    Returns
    -------
    FlankFit

    Raises
    ------
    DesignError
        For too few points, a hole, an outlier, points off the tooth, in another unit or of the other flank,
        or normals that do not belong to the surface, naming the place.
    """
    refuse_few(len(points), where)
    geometry = build_geometry(design)
    own = geometry.flank(name)
    points = np.array(points, dtype=np.float64)
    if design.hand == "right":
        points = points * MIRROR
        normals = None if normals is None else normals * MIRROR
    x, y = refuse_off_tooth(
        points,
        lambda p: own.blank.to_tooth(np.hypot(p[:, 0], p[:, 1]), p[:, 2]),
        where,
        _("check the frame: z from the crossing point of the axes toward the gear's back, in mm"),
    )
    refuse_holes(x, y, where)
    theta = np.arctan2(points[:, 1], points[:, 0])
    gap, turned = _turn_out(theta - own.patches(x, y)[0])
    lever = _lever(own, x, y)
    spread = float(np.ptp(gap * lever))
    if spread > SAME_FLANK * own.blank.mean_normal_module:
        raise DesignError(
            _("the points leave the design's {flank} flank by {distance} mm").format(
                flank=_(name), distance=Number(spread, ".2f")
            ),
            where=where,
            fix=_("check that the file holds this flank of this design, and its hand"),
        )
    nodes = smooth_surface(x, y, gap)
    xn, yn = np.linspace(-X_REACH, X_REACH, X_CELLS + 1), np.linspace(*Y_REACH, Y_CELLS + 1)
    fitted = make_patches(xn, yn, nodes)
    left = own.outward * (gap - fitted(x, y)[0]) * lever  # out of the metal positive
    refuse_outlier(left, x, y, where)
    grid_x, grid_y = np.meshgrid(xn, yn, indexing="ij")
    # Turn the flank so that it goes through the pitch point where the cutter's would.
    middle_gap = float(fitted(*own.blank.to_tooth(*_pitch(own)))[0])
    theta_nodes = own.patches(grid_x, grid_y)[0] + nodes - middle_gap
    flank = RingFlank(
        name,
        own.blank,
        make_patches(xn, yn, theta_nodes),
        own.outward,
        _("measured at {count} points").format(count=len(points)),
    )
    if normals is not None:
        back = -(turned + middle_gap)  # from the file's frame into the set's
        turn = rotation_about(np.array([0.0, 0.0, 1.0]), np.array(back))
        refuse_normals(normals @ turn.T, flank.points(x, y)[1], x, y, where)
    work = np.meshgrid(np.linspace(-1, 1, 33), np.linspace(-1, 1, 17))
    size = own.outward * (fitted(*work)[0] - middle_gap) * _lever(own, *work)
    return FlankFit(
        flank,
        len(points),
        float(np.std(left)),
        float(np.abs(left).max()),
        math.degrees(turned + middle_gap),
        (float(size.min()), float(size.max())),
    )


def which_flank(design: GearSetDesign, points: Array) -> FlankName | None:
    """Return the ring-gear flank that points lie nearer to, None when they lie near neither.

    Parameters
    ----------
    design : GearSetDesign
    points : array, shape (n, 3)
        In the ring gear's frame [mm].
    """
    geometry = build_geometry(design)
    own = geometry.drive.blank
    points = points * MIRROR if design.hand == "right" else points
    x, y = own.to_tooth(np.hypot(points[:, 0], points[:, 1]), points[:, 2])
    x, y = np.clip(x, -X_REACH, X_REACH), np.clip(y, *Y_REACH)
    theta = np.arctan2(points[:, 1], points[:, 0])
    spread: dict[FlankName, float] = {}
    for flank in (geometry.drive, geometry.coast):
        gap, _turned = _turn_out(theta - flank.patches(x, y)[0])
        spread[flank.name] = float(np.ptp(gap * _lever(flank, x, y)))
    name: FlankName = "drive" if spread["drive"] <= spread["coast"] else "coast"
    return name if spread[name] <= SAME_FLANK * own.mean_normal_module else None


def _turn_out(angle: Array) -> tuple[Array, float]:
    """Return angles less their mean direction, and that [rad]; shape (n,)."""
    turned = float(np.angle(np.mean(np.exp(1j * angle))))
    return np.asarray(np.angle(np.exp(1j * (angle - turned)))), turned


def _lever(flank: RingFlank, x: Array, y: Array) -> Array:
    """Return the distance square to the flank per radian about the ring gear's axis [mm]; any shape."""
    p, normal = flank.points(x, y)
    return np.asarray(np.abs(normal[..., 1] * p[..., 0] - normal[..., 0] * p[..., 1]))


def _pitch(flank: RingFlank) -> tuple[Array, Array]:
    return np.array(flank.blank.pitch_radius), np.array(flank.blank.pitch_height)


def measured_geometry(
    design: GearSetDesign, drive_csv: str | Path, coast_csv: str | Path | None = None
) -> Geometry:
    """Return the geometry of a design with measured ring-gear flanks.

    Parameters
    ----------
    design : GearSetDesign
        Gives cones and blank.
    drive_csv, coast_csv : str or Path
        Files or their text; the coast flank stays the design's own when left out.

    Returns
    -------
    Geometry
        For `axlewright.contact.measured_mesh`.

    Raises
    ------
    DesignError
        See `fit_flank`.
    """
    geometry = build_geometry(design)
    drive = fit_flank(
        design, "drive", *read_flank_points(drive_csv, where=_("drive flank")), where=_("drive flank")
    )
    if coast_csv is None:
        return replace(geometry, drive=drive.flank)
    coast = fit_flank(
        design, "coast", *read_flank_points(coast_csv, where=_("coast flank")), where=_("coast flank")
    )
    return replace(geometry, drive=drive.flank, coast=coast.flank)


def flank_csv(flank: RingFlank, lengthwise: int = 15, profile: int = 9, *, edge: float = 0.97) -> str:
    """Return a flank file sampled from a flank: what a measuring machine is asked for, or an example.

    Parameters
    ----------
    flank : RingFlank
    lengthwise, profile : int
        Points each way.
    edge : float
        The grid reaches this far toward the edges, 1 is the edge itself.
    """
    x, y = np.meshgrid(np.linspace(-edge, edge, lengthwise), np.linspace(-edge, edge, profile))
    points, normals = flank.points(x, y)
    rows = np.concatenate([points, normals], axis=-1).reshape(-1, 6)
    lines = [",".join(POINT_COLUMNS + NORMAL_COLUMNS)]
    lines += [",".join(f"{v:.7f}" for v in row) for row in rows]
    return "\n".join(lines) + "\n"
