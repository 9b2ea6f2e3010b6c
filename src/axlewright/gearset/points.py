"""Files of measured points, and what is refused about them: in one sentence, with the place and the number.

A flank file is CSV with a header line and the columns ``x_mm,y_mm,z_mm`` and, if the machine gives them,
``nx,ny,nz`` (out of the tooth's metal); a column ``flank`` with ``drive`` or ``coast`` lets one file hold
both flanks. The frame is the gear's own: z along its axis, x and y square to it, turned about z by any angle.

* Ring gear: z from the crossing point of the axes toward the gear's back.
* Pinion: z from the point of its axis nearest to the ring gear's axis toward the pinion's heel.

A right-hand pinion and its ring gear are given as measured; they are mirrored inside.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from axlewright.errors import DesignError
from axlewright.gearset.flank import FlankName
from axlewright.language import Number, Text, _

Array = NDArray[np.float64]

POINT_COLUMNS = ("x_mm", "y_mm", "z_mm")
NORMAL_COLUMNS = ("nx", "ny", "nz")
FLANK_COLUMN = "flank"
MIRROR = np.array([1.0, -1.0, 1.0])  # a right-hand set seen as the left-hand set that is computed


def place_words(x: float, y: float) -> Text:
    """Return a place on the flank in words with its coordinates; x, y are lengthwise and profile, −1 … +1.

    Parameters
    ----------
    x, y : float
        (lengthwise, profile).
    """
    along = _("toe") if x < -0.33 else (_("heel") if x > 0.33 else _("middle"))
    up = _("root") if y < -0.33 else (_("top") if y > 0.33 else _("mid-depth"))
    return _("{along}, {up} (lengthwise {x}, profile {y})").format(
        along=along, up=up, x=Number(x, "+.2f"), y=Number(y, "+.2f")
    )


def _text_of(source: str | Path, where: Text) -> tuple[str, Text]:
    """Return the text of a file and its name; a string with a line break is the text itself."""
    if not isinstance(source, Path) and "\n" in source:
        return source, where
    path = Path(source)
    try:
        return path.read_text(encoding="utf-8-sig"), path.name
    except (OSError, ValueError) as error:
        raise DesignError(
            _("cannot be read ({reason})").format(reason=error.__class__.__name__),
            where=str(path),
            fix=_("give a readable CSV file"),
        ) from error


def read_table(
    source: str | Path, columns: tuple[str, ...], where: Text, label: str | None = None
) -> tuple[Array, list[str]]:
    """Read the named columns of a CSV.

    Parameters
    ----------
    source : str or Path
        Path, or the text itself.
    columns : tuple of str
        Columns of numbers, all required.
    where : str
        Named in errors when `source` is text.
    label : str, optional
        A column of words to read beside them.

    Returns
    -------
    values : array, shape (n, len(columns))
    labels : list of str
        One for each row; empty words without `label`.

    Raises
    ------
    DesignError
        For a missing column, naming it, or a line without numbers, naming the line.
    """
    text, where = _text_of(source, where)
    try:
        reader = csv.DictReader(io.StringIO(text), skipinitialspace=True)
        names, table = reader.fieldnames or (), list(reader)
    except csv.Error as error:
        raise DesignError(
            _("the table cannot be taken apart ({reason})").format(reason=str(error)),
            where=where,
            fix=_("look for a quotation mark without its partner"),
        ) from error
    missing = [c for c in columns if c not in names]
    if missing:
        raise DesignError(
            _("column {column} is missing").format(column=missing[0]),
            where=where,
            fix=_("name the columns {columns}").format(columns=",".join(columns)),
        )
    rows, labels = [], []
    for number, row in enumerate(table, start=2):
        try:
            values = [float(row[c]) for c in columns]
        except (TypeError, ValueError):
            values = [math.nan]
        if not all(math.isfinite(v) for v in values):
            raise DesignError(
                _("line {line} does not hold {count} numbers").format(line=number, count=len(columns)),
                where=where,
                fix=_("write numbers with a decimal point"),
            )
        rows.append(values)
        labels.append((row.get(label) or "").strip() if label else "")
    return np.array(rows, dtype=np.float64).reshape(-1, len(columns)), labels


def _header(source: str | Path, where: Text) -> list[str]:
    text, _name = _text_of(source, where)
    return [part.strip() for part in text.split("\n", 1)[0].split(",")]


def read_flank_points(source: str | Path, *, where: Text = "flank points") -> tuple[Array, Array | None]:
    """Read a file that holds one flank.

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
    parts = read_member_points(source, where=where)
    if len(parts) > 1:
        raise DesignError(
            _("the file holds both flanks"), where=where, fix=_("give one flank, or read both together")
        )
    return parts[0].points, parts[0].normals


@dataclass(frozen=True, slots=True, eq=False)
class FlankPoints:
    """Measured points of one flank.

    Attributes
    ----------
    flank : {"drive", "coast"} or None
        As the file says; None when it has no such column.
    points : array, shape (n, 3)
        [mm].
    normals : array, shape (n, 3), or None
        Unit length, out of the tooth's metal.
    where : str
        The file, named in errors.
    """

    flank: FlankName | None
    points: Array
    normals: Array | None
    where: Text


def read_member_points(source: str | Path, *, where: Text = "flank points") -> list[FlankPoints]:
    """Read a file of one or both flanks of a gear.

    Parameters
    ----------
    source : str or Path
        Path, or the text of the file.
    where : str
        Named in errors when `source` is text.

    Returns
    -------
    list of FlankPoints
        One or two.

    Raises
    ------
    DesignError
        Naming the line or column.
    """
    _text, where = _text_of(source, where)
    names = _header(source, where)
    has_normals = all(c in names for c in NORMAL_COLUMNS)
    columns = POINT_COLUMNS + NORMAL_COLUMNS if has_normals else POINT_COLUMNS
    values, labels = read_table(source, columns, where, FLANK_COLUMN if FLANK_COLUMN in names else None)
    normals = None
    if has_normals and len(values):
        size = np.linalg.norm(values[:, 3:], axis=1, keepdims=True)
        if np.any(np.abs(size - 1.0) > 0.02):
            k = int(np.argmax(np.abs(size - 1.0)))
            raise DesignError(
                _("line {line} has a normal of length {length}").format(
                    line=k + 2, length=Number(float(size[k, 0]), ".3f")
                ),
                where=where,
                fix=_("give normals of length 1"),
            )
        normals = values[:, 3:] / size
    if FLANK_COLUMN not in names:
        return [FlankPoints(None, values[:, :3], normals, where)]
    parts = []
    known: tuple[FlankName, ...] = ("drive", "coast")
    strange = next((k for k, word in enumerate(labels) if word not in known), None)
    if strange is not None:
        raise DesignError(
            _("line {line} names the flank '{word}'").format(line=strange + 2, word=labels[strange]),
            where=where,
            fix=_("write drive or coast"),
        )
    for name in known:
        pick = np.array([word == name for word in labels], dtype=bool)
        if pick.any():
            parts.append(
                FlankPoints(name, values[pick, :3], None if normals is None else normals[pick], where)
            )
    if not parts:
        raise DesignError(_("the file holds no points"), where=where, fix=_("give a line for each point"))
    return parts


LEAST_POINTS = 30
LARGEST_GAP = 0.40  # radius of the largest place without points, in half face widths and half depths
OUTLIER_SCATTERS = 6.0  # a point this many robust scatters off the fitted surface is an outlier …
OUTLIER_FLOOR_MM = 0.004  # … if it is also off by more than this
NORMAL_LIMIT_DEG = 3.0  # largest angle between a measured normal and the fitted surface's


def refuse_few(count: int, where: Text) -> None:
    """Refuse a flank of fewer than `LEAST_POINTS` points, naming how many there are.

    Parameters
    ----------
    count : int
    where : str
        The file.
    """
    if count < LEAST_POINTS:
        raise DesignError(
            _("{count} points").format(count=count),
            where=where,
            fix=_("give at least {count}").format(count=LEAST_POINTS),
        )


def refuse_off_tooth(
    points: Array, to_tooth: Callable[[Array], tuple[Array, Array]], where: Text, frame: Text
) -> tuple[Array, Array]:
    """Return where points lie on the tooth, or refuse them when they lie off it.

    Parameters
    ----------
    points : array, shape (n, 3)
        [mm].
    to_tooth : callable
        Takes points and gives (lengthwise, profile).
    where, frame : str
        The file; what is right, in words.

    Returns
    -------
    x, y : array, shape (n,)

    Raises
    ------
    DesignError
        Naming the first point farthest off, or the unit the file seems to be written in.
    """
    x, y = to_tooth(points)
    off = _off(x, y)
    if off.max() <= 0.0:
        return x, y
    for factor, unit in ((25.4, _("inches")), (1000.0, _("metres")), (0.001, _("micrometres"))):
        if float(np.median(_off(*to_tooth(points * factor)))) <= 0.0:
            raise DesignError(
                _("the points lie on the tooth only when read as {unit}").format(unit=unit),
                where=where,
                fix=_("write millimetres"),
            )
    k = int(np.argmax(off))
    raise DesignError(
        _("point {number} lies off the tooth, at {place}").format(
            number=k + 1, place=place_words(float(x[k]), float(y[k]))
        ),
        where=where,
        fix=frame,
    )


def _off(x: Array, y: Array) -> Array:
    """Return how far places lie off the tooth, 0 on it and a little beyond its edges."""
    return np.asarray(np.maximum(np.abs(x) - 1.05, np.maximum(np.abs(y) - 1.30, 0.0)))


def refuse_holes(x: Array, y: Array, where: Text, needed: Array | None = None) -> None:
    """Refuse points that leave a part of the flank out.

    Parameters
    ----------
    x, y : array, shape (n,)
        Places of the points.
    where : str
        The file.
    needed : array, shape (m, 2), optional
        Places that must have a point near; the whole working flank when left out.

    Raises
    ------
    DesignError
        Naming the place farthest from a point and how far it is, in half widths.
    """
    if needed is None:
        needed = working_places()
    distance, _index = KDTree(np.column_stack([x, y])).query(needed)
    worst = int(np.argmax(distance))
    if distance[worst] > LARGEST_GAP:
        raise DesignError(
            _("no point within {distance} of {place}").format(
                distance=Number(float(distance[worst]), ".2f"), place=place_words(*needed[worst])
            ),
            where=where,
            fix=_("measure that part of the flank as well"),
        )


def working_places() -> Array:
    """Return places spread over the working flank, shape (m, 2)."""
    gx, gy = np.meshgrid(np.linspace(-0.95, 0.95, 39), np.linspace(-0.9, 0.9, 19))
    return np.column_stack([gx.ravel(), gy.ravel()])


def refuse_outlier(left: Array, x: Array, y: Array, where: Text) -> None:
    """Refuse a point that stands off the fitted surface much farther than its neighbours.

    Parameters
    ----------
    left : array, shape (n,)
        Distance of each point from the surface, out of the metal positive [mm].
    x, y : array, shape (n,)
        Their places.
    where : str
        The file.

    Raises
    ------
    DesignError
        Naming the point, its distance and its place.
    """
    robust = 1.4826 * float(np.median(np.abs(left - np.median(left))))
    k = int(np.argmax(np.abs(left)))
    if abs(left[k]) > max(OUTLIER_SCATTERS * robust, OUTLIER_FLOOR_MM):
        raise DesignError(
            _("point {number} stands {distance} µm off its neighbours at {place}").format(
                number=k + 1,
                distance=Number(float(left[k]) * 1000, "+.1f"),
                place=place_words(float(x[k]), float(y[k])),
            ),
            where=where,
            fix=_("clean the flank and measure it again, or leave the point out"),
        )


def refuse_normals(normals: Array, expected: Array, x: Array, y: Array, where: Text) -> None:
    """Refuse measured normals that do not belong to the fitted surface.

    Parameters
    ----------
    normals, expected : array, shape (n, 3)
        As measured, and the surface's, both out of the metal and in one frame.
    x, y : array, shape (n,)
        Places of the points.
    where : str
        The file.

    Raises
    ------
    DesignError
        Naming the point and the angle.
    """
    angle = np.degrees(np.arccos(np.clip(np.sum(normals * expected, axis=1), -1.0, 1.0)))
    if float(np.median(angle)) > 90.0:
        raise DesignError(
            _("the normals point into the tooth's metal"), where=where, fix=_("turn their signs round")
        )
    k = int(np.argmax(angle))
    if angle[k] > NORMAL_LIMIT_DEG:
        raise DesignError(
            _("the normal of point {number} leans {angle}° off the surface at {place}").format(
                number=k + 1,
                angle=Number(float(angle[k]), ".1f"),
                place=place_words(float(x[k]), float(y[k])),
            ),
            where=where,
            fix=_("check the point and the order of the normal's columns"),
        )
