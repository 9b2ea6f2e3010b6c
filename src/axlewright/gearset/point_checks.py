"""What is refused about measured points, in one sentence that names the place and the number."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from axlewright.errors import DesignError
from axlewright.gearset.points import place_words
from axlewright.language import eager as _

Array = NDArray[np.float64]

LEAST_POINTS = 30
LARGEST_GAP = 0.40  # radius of the largest place without points, in half face widths and half depths
OUTLIER_SCATTERS = 6.0  # a point this many robust scatters off the fitted surface is an outlier …
OUTLIER_FLOOR_MM = 0.004  # … if it is also off by more than this
NORMAL_LIMIT_DEG = 3.0  # largest angle between a measured normal and the fitted surface's


def refuse_few(count: int, where: str) -> None:
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
    points: Array, to_tooth: Callable[[Array], tuple[Array, Array]], where: str, frame: str
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


def refuse_holes(x: Array, y: Array, where: str, needed: Array | None = None) -> None:
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
                distance=f"{float(distance[worst]):.2f}", place=place_words(*needed[worst])
            ),
            where=where,
            fix=_("measure that part of the flank as well"),
        )


def working_places() -> Array:
    """Return places spread over the working flank, shape (m, 2)."""
    gx, gy = np.meshgrid(np.linspace(-0.95, 0.95, 39), np.linspace(-0.9, 0.9, 19))
    return np.column_stack([gx.ravel(), gy.ravel()])


def refuse_outlier(left: Array, x: Array, y: Array, where: str) -> None:
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
                distance=f"{float(left[k]) * 1000:+.1f}",
                place=place_words(float(x[k]), float(y[k])),
            ),
            where=where,
            fix=_("clean the flank and measure it again, or leave the point out"),
        )


def refuse_normals(normals: Array, expected: Array, x: Array, y: Array, where: str) -> None:
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
                number=k + 1, angle=f"{float(angle[k]):.1f}", place=place_words(float(x[k]), float(y[k]))
            ),
            where=where,
            fix=_("check the point and the order of the normal's columns"),
        )
