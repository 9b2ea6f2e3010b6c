"""Measured flanks and measured ease-off: points from a measuring machine in place of a cutter.

A flank file is CSV with a header line and the columns ``x_mm,y_mm,z_mm`` and, if the machine gives them,
``nx,ny,nz``; one file for each flank. The frame is the ring gear's own: z along its axis from the crossing
point of the axes toward the gear's back, x and y square to it, turned about z by any angle (the turn is
taken out). Normals point out of the tooth's metal. A right-hand pinion's ring gear is given as measured;
it is mirrored inside.

An ease-off file has the columns ``lengthwise,profile,ease_off_mm`` on a full grid of places −1 … +1.
"""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline, RectBivariateSpline
from scipy.linalg import eigh
from scipy.spatial import KDTree

from axlewright.errors import DesignError
from axlewright.gearset.design import GearSetDesign
from axlewright.gearset.easeoff import EaseOff
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

Array = NDArray[np.float64]

POINT_COLUMNS = ("x_mm", "y_mm", "z_mm")
NORMAL_COLUMNS = ("nx", "ny", "nz")
EASE_OFF_COLUMNS = ("lengthwise", "profile", "ease_off_mm")
LEAST_POINTS = 30
LARGEST_GAP = 0.40  # radius of the largest place without points, in half face widths and half depths
OUTLIER_SCATTERS = 6.0  # a point this many robust scatters off the fitted surface is an outlier …
OUTLIER_FLOOR_MM = 0.004  # … if it is also off by more than this
NORMAL_LIMIT_DEG = 3.0  # largest angle between a measured normal and the fitted surface's
SPANS = (12, 8)  # spline spans over the measured tooth, lengthwise and profile
SMOOTHING = np.geomspace(1e-6, 1e3, 28)  # trial weights of roughness; cross-validation picks one


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


def place_words(x: float, y: float) -> str:
    """Return a place on the flank in words with its coordinates."""
    along = "toe" if x < -0.33 else ("heel" if x > 0.33 else "middle")
    up = "root" if y < -0.33 else ("top" if y > 0.33 else "mid-depth")
    return f"{along}, {up} (lengthwise {x:+.2f}, profile {y:+.2f})"


def _table(source: str | Path, columns: tuple[str, ...], where: str) -> Array:
    """Read the named columns of a CSV, shape (n, len(columns)); `source` is a path or the text itself."""
    if isinstance(source, Path) or "\n" not in source:
        path = Path(source)
        try:
            text = path.read_text(encoding="utf-8-sig")
        except (OSError, UnicodeDecodeError) as error:
            raise DesignError(
                f"cannot be read ({error.__class__.__name__})",
                where=str(path),
                fix="give a readable CSV file",
            ) from error
        where = path.name
    else:
        text = source
    reader = csv.DictReader(io.StringIO(text), skipinitialspace=True)
    missing = [c for c in columns if c not in (reader.fieldnames or ())]
    if missing:
        raise DesignError(
            f"column {missing[0]} is missing", where=where, fix=f"name the columns {','.join(columns)}"
        )
    rows = []
    for number, row in enumerate(reader, start=2):
        try:
            values = [float(row[c]) for c in columns]
        except (TypeError, ValueError):
            values = [math.nan]
        if not all(math.isfinite(v) for v in values):
            raise DesignError(
                f"line {number} does not hold {len(columns)} numbers",
                where=where,
                fix="write numbers with a decimal point",
            )
        rows.append(values)
    return np.array(rows, dtype=np.float64).reshape(-1, len(columns))


def _has_normals(source: str | Path) -> bool:
    if isinstance(source, Path) or "\n" not in source:
        try:
            with Path(source).open(encoding="utf-8-sig") as file:
                head = file.readline()
        except (OSError, UnicodeDecodeError):
            return False
    else:
        head = source.split("\n", 1)[0]
    return all(c in [part.strip() for part in head.split(",")] for c in NORMAL_COLUMNS)


def read_flank_points(source: str | Path, *, where: str = "flank points") -> tuple[Array, Array | None]:
    """Read a flank file.

    Parameters
    ----------
    source : str or Path
        Path, or the text of the file.
    where : str
        Named in errors when `source` is text.

    Returns
    -------
    points : array, shape (n, 3)
        [mm].
    normals : array, shape (n, 3), or None
        Unit length; None when the file has no normals.

    Raises
    ------
    DesignError
        Naming the line or column.
    """
    if not _has_normals(source):
        return _table(source, POINT_COLUMNS, where), None
    both = _table(source, POINT_COLUMNS + NORMAL_COLUMNS, where)
    size = np.linalg.norm(both[:, 3:], axis=1, keepdims=True)
    if np.any(np.abs(size - 1.0) > 0.02):
        line = int(np.argmax(np.abs(size - 1.0))) + 2
        raise DesignError(
            f"line {line} has a normal of length {float(size[line - 2, 0]):.3f}",
            where=where,
            fix="give normals of length 1",
        )
    return both[:, :3], both[:, 3:] / size


def _basis(values: Array, reach: float, low: float, spans: int) -> Array:
    """Cubic B-splines on even knots over low … reach, shape (len(values), spans + 3)."""
    step = (reach - low) / spans
    knots = low + step * np.arange(-3, spans + 4)
    return np.asarray(BSpline.design_matrix(values, knots, 3).toarray())


def _penalised(x: Array, y: Array, values: Array) -> Array:
    """Fit a smooth surface to scattered values and return it on the patch nodes, shape (nx, ny).

    Tensor B-splines with a penalty on second differences (P-splines); the weight of the penalty comes from
    generalised cross-validation. Beyond the points the surface goes on straight.

    References
    ----------
    Eilers and Marx, Flexible smoothing with B-splines and penalties, Statistical Science 11 (1996) 89-121.
    """
    span_x, span_y = (2.0 * X_REACH / 2.0 * SPANS[0], (Y_REACH[1] - Y_REACH[0]) / 2.0 * SPANS[1])
    nx, ny = round(span_x), round(span_y)
    bx, by = _basis(x, X_REACH, -X_REACH, nx), _basis(y, Y_REACH[1], Y_REACH[0], ny)
    design = np.einsum("ia,ib->iab", bx, by).reshape(len(x), -1)
    dx, dy = np.diff(np.eye(nx + 3), n=2, axis=0), np.diff(np.eye(ny + 3), n=2, axis=0)
    rough = np.kron(dx.T @ dx, np.eye(ny + 3)) + np.kron(np.eye(nx + 3), dy.T @ dy)
    # One eigendecomposition serves every weight: with B = G + w0 R and R v = μ B v, the fit at weight w is
    # diagonal, 1 / (1 + (w − w0) μ).
    first = float(SMOOTHING[0])
    gram = design.T @ design
    size, vectors = eigh(rough, gram + first * rough)
    right = vectors.T @ (design.T @ values)
    best: tuple[float, Array] | None = None
    n = len(values)
    for weight in SMOOTHING:
        shrink = 1.0 / (1.0 + (weight - first) * size)
        used = float(np.sum((1.0 - first * size) * shrink))
        if used > 0.7 * n:
            continue
        coef = vectors @ (shrink * right)
        left = values - design @ coef
        score = float(left @ left) / n / (1.0 - used / n) ** 2
        if best is None or score < best[0]:
            best = (score, coef)
    if best is None:
        raise DesignError(
            f"{n} points are too few for a surface", where="flank points", fix="measure a closer grid"
        )
    gx = _basis(np.linspace(-X_REACH, X_REACH, X_CELLS + 1), X_REACH, -X_REACH, nx)
    gy = _basis(np.linspace(*Y_REACH, Y_CELLS + 1), Y_REACH[1], Y_REACH[0], ny)
    return np.asarray(gx @ best[1].reshape(nx + 3, ny + 3) @ gy.T)


def _refuse_holes(x: Array, y: Array, where: str) -> None:
    gx, gy = np.meshgrid(np.linspace(-0.95, 0.95, 39), np.linspace(-0.9, 0.9, 19))
    places = np.column_stack([gx.ravel(), gy.ravel()])
    distance, _ = KDTree(np.column_stack([x, y])).query(places)
    worst = int(np.argmax(distance))
    if distance[worst] > LARGEST_GAP:
        raise DesignError(
            f"no point within {float(distance[worst]):.2f} of {place_words(*places[worst])}",
            where=where,
            fix="measure that part of the flank as well",
        )


def fit_flank(
    design: GearSetDesign,
    name: FlankName,
    points: Array,
    normals: Array | None = None,
    *,
    where: str = "flank points",
) -> FlankFit:
    """Make a flank from measured points.

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
        For too few points, a hole, an outlier, points off the tooth, or normals that do not belong to the
        surface, naming the place.
    """
    if len(points) < LEAST_POINTS:
        raise DesignError(f"{len(points)} points", where=where, fix=f"give at least {LEAST_POINTS}")
    geometry = build_geometry(design)
    own = geometry.flank(name)
    points = np.array(points, dtype=np.float64)
    if design.hand == "right":
        points = points * np.array([1.0, -1.0, 1.0])
        normals = None if normals is None else normals * np.array([1.0, -1.0, 1.0])
    r = np.hypot(points[:, 0], points[:, 1])
    x, y = own.blank.to_tooth(r, points[:, 2])
    off = np.maximum(np.abs(x) - 1.05, np.maximum(np.abs(y) - 1.30, 0.0))
    if off.max() > 0.0:
        k = int(np.argmax(off))
        raise DesignError(
            f"point {k + 1} lies off the tooth, at {place_words(float(x[k]), float(y[k]))}",
            where=where,
            fix="check the frame: z from the crossing point of the axes toward the gear's back, in mm",
        )
    _refuse_holes(x, y, where)
    theta = np.arctan2(points[:, 1], points[:, 0])
    expected = own.patches(x, y)[0]
    gap = np.angle(np.exp(1j * (theta - expected)))
    turned = float(np.angle(np.mean(np.exp(1j * (theta - expected)))))
    gap = np.angle(np.exp(1j * (gap - turned)))
    lever = _lever(own, x, y)
    if np.ptp(gap * lever) > 0.25 * own.blank.mean_normal_module:
        raise DesignError(
            f"the points leave the design's {name} flank by {float(np.ptp(gap * lever)):.2f} mm",
            where=where,
            fix="check that the file holds this flank of this design, and its hand",
        )
    nodes = _penalised(x, y, gap)
    xn, yn = np.linspace(-X_REACH, X_REACH, X_CELLS + 1), np.linspace(*Y_REACH, Y_CELLS + 1)
    fitted = make_patches(xn, yn, nodes)
    left = own.outward * (gap - fitted(x, y)[0]) * lever  # out of the metal positive
    robust = 1.4826 * float(np.median(np.abs(left - np.median(left))))
    k = int(np.argmax(np.abs(left)))
    if abs(left[k]) > max(OUTLIER_SCATTERS * robust, OUTLIER_FLOOR_MM):
        raise DesignError(
            f"point {k + 1} stands {float(left[k]) * 1000:+.1f} µm off its neighbours at "
            f"{place_words(float(x[k]), float(y[k]))}",
            where=where,
            fix="clean the flank and measure it again, or leave the point out",
        )
    grid_x, grid_y = np.meshgrid(xn, yn, indexing="ij")
    # Turn the flank so that it goes through the pitch point where the cutter's would.
    middle_gap = float(fitted(*own.blank.to_tooth(*_pitch(own)))[0])
    theta_nodes = own.patches(grid_x, grid_y)[0] + nodes - middle_gap
    flank = RingFlank(
        name, own.blank, make_patches(xn, yn, theta_nodes), own.outward, f"measured at {len(points)} points"
    )
    if normals is not None:
        _check_normals(flank, x, y, theta - turned - middle_gap, points, normals, where)
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


def _lever(flank: RingFlank, x: Array, y: Array) -> Array:
    """Return the distance square to the flank per radian about the ring gear's axis [mm]; any shape."""
    p, normal = flank.points(x, y)
    return np.asarray(np.abs(normal[..., 1] * p[..., 0] - normal[..., 0] * p[..., 1]))


def _pitch(flank: RingFlank) -> tuple[Array, Array]:
    return np.array(flank.blank.pitch_radius), np.array(flank.blank.pitch_height)


def _check_normals(
    flank: RingFlank, x: Array, y: Array, theta: Array, points: Array, normals: Array, where: str
) -> None:
    """Compare measured normals with the fitted surface's."""
    _, expected = flank.points(x, y)
    back = theta - np.arctan2(points[:, 1], points[:, 0])  # from the file's frame into the set's
    c, s = np.cos(back), np.sin(back)
    turned = np.column_stack(
        [c * normals[:, 0] - s * normals[:, 1], s * normals[:, 0] + c * normals[:, 1], normals[:, 2]]
    )
    angle = np.degrees(np.arccos(np.clip(np.sum(turned * expected, axis=1), -1.0, 1.0)))
    if float(np.median(angle)) > 90.0:
        raise DesignError(
            "the normals point into the tooth's metal", where=where, fix="turn their signs round"
        )
    k = int(np.argmax(angle))
    if angle[k] > NORMAL_LIMIT_DEG:
        raise DesignError(
            f"the normal of point {k + 1} leans {float(angle[k]):.1f}° off the surface at "
            f"{place_words(float(x[k]), float(y[k]))}",
            where=where,
            fix="check the point and the order of the normal's columns",
        )


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
        design, "drive", *read_flank_points(drive_csv, where="drive flank"), where="drive flank"
    )
    if coast_csv is None:
        return replace(geometry, drive=drive.flank)
    coast = fit_flank(
        design, "coast", *read_flank_points(coast_csv, where="coast flank"), where="coast flank"
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


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredEaseOff(EaseOff):
    """An ease-off known on a grid; used wherever an `EaseOff` is.

    The inherited coefficients are the parabola nearest to the grid, for people to read.

    Attributes
    ----------
    grid_lengthwise, grid_profile : array, shape (nx,), (ny,)
    grid_mm : array, shape (ny, nx)
        Normal set-back [mm]. Beyond the grid it goes on straight from its edge.
    """

    grid_lengthwise: Array | None = None
    grid_profile: Array | None = None
    grid_mm: Array | None = None

    def __call__(self, x: Array, y: Array) -> Array:
        """Return the normal set-back [mm] at (x, y); any common shape."""
        if self.grid_lengthwise is None or self.grid_profile is None or self.grid_mm is None:
            raise DesignError("has no grid", where="measured ease-off", fix="make it with read_ease_off")
        gx, gy = self.grid_lengthwise, self.grid_profile
        u, v = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(y, dtype=float))
        spline = RectBivariateSpline(gy, gx, self.grid_mm, kx=min(3, len(gy) - 1), ky=min(3, len(gx) - 1))
        # The grid is stored where it was measured; moving the pattern moves the grid.
        u, v = u - self.center_lengthwise, v - self.center_profile
        cu, cv = np.clip(u, gx[0], gx[-1]), np.clip(v, gy[0], gy[-1])
        value = spline(cv, cu, grid=False)
        value = value + (u - cu) * spline(cv, cu, dy=1, grid=False)
        return np.asarray(value + (v - cv) * spline(cv, cu, dx=1, grid=False), dtype=np.float64)


def read_ease_off(source: str | Path, *, where: str = "ease-off grid") -> MeasuredEaseOff:
    """Read a measured ease-off grid.

    Parameters
    ----------
    source : str or Path
        Path, or the text of the file.
    where : str
        Named in errors when `source` is text.

    Raises
    ------
    DesignError
        When a column, a place of the grid or most of the tooth is missing, naming the place.
    """
    rows = _table(source, EASE_OFF_COLUMNS, where)
    x, y = np.unique(np.round(rows[:, 0], 6)), np.unique(np.round(rows[:, 1], 6))
    if len(x) < 4 or len(y) < 3:
        raise DesignError(
            f"the grid has {len(x)} by {len(y)} places",
            where=where,
            fix="give at least 4 lengthwise and 3 in profile",
        )
    if x[0] > -0.7 or x[-1] < 0.7 or y[0] > -0.6 or y[-1] < 0.6 or max(x[-1], -x[0], y[-1], -y[0]) > 1.3:
        raise DesignError(
            f"the grid covers lengthwise {x[0]:+.2f} … {x[-1]:+.2f} and profile {y[0]:+.2f} … {y[-1]:+.2f}",
            where=where,
            fix="cover the tooth: −1 toe … +1 heel and −1 root … +1 top",
        )
    grid = np.full((len(y), len(x)), np.nan)
    i, j = np.searchsorted(y, np.round(rows[:, 1], 6)), np.searchsorted(x, np.round(rows[:, 0], 6))
    grid[i, j] = rows[:, 2]
    if np.isnan(grid).any():
        a, b = (int(v) for v in np.argwhere(np.isnan(grid))[0])
        raise DesignError(
            f"the grid has a hole at {place_words(float(x[b]), float(y[a]))}",
            where=where,
            fix="give a value for every place of the grid",
        )
    X, Y = np.meshgrid(x, y)
    terms = np.stack([np.ones_like(X), X, Y, X * X, Y * Y, X * Y], axis=-1).reshape(-1, 6)
    coef, *_ = np.linalg.lstsq(terms, grid.ravel(), rcond=None)
    return MeasuredEaseOff(
        float(coef[3]), float(coef[4]), float(coef[5]), grid_lengthwise=x, grid_profile=y, grid_mm=grid
    )
