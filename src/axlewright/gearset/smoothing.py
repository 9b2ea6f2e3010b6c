"""A smooth surface over the tooth through scattered values (P-splines)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline
from scipy.linalg import eigh

from axlewright.errors import DesignError
from axlewright.gearset.flank import X_CELLS, X_REACH, Y_CELLS, Y_REACH
from axlewright.language import _

Array = NDArray[np.float64]

SPANS = (12, 8)  # spline spans over the measured tooth, lengthwise and profile
SMOOTHING = np.geomspace(1e-6, 1e3, 28)  # trial weights of roughness; cross-validation picks one


def _basis(values: Array, reach: float, low: float, spans: int) -> Array:
    """Cubic B-splines on even knots over low … reach, shape (len(values), spans + 3)."""
    step = (reach - low) / spans
    knots = low + step * np.arange(-3, spans + 4)
    return np.asarray(BSpline.design_matrix(values, knots, 3).toarray())


def smooth_surface(x: Array, y: Array, values: Array) -> Array:
    """Fit a smooth surface to scattered values and return it on the patch nodes.

    Tensor B-splines with a penalty on second differences (P-splines); the weight of the penalty comes from
    generalised cross-validation. Beyond the points the surface goes on straight.

    Parameters
    ----------
    x, y : array, shape (n,)
        (lengthwise, profile) of the points, within the reach of the patches.
    values : array, shape (n,)
        Any unit.

    Returns
    -------
    array, shape (X_CELLS + 1, Y_CELLS + 1)
        On the uniform nodes of `flank.make_patches`.

    Raises
    ------
    DesignError
        When there are too few points for any weight.

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
            _("{count} points are too few for a surface").format(count=n),
            where=_("flank points"),
            fix=_("measure a closer grid"),
        )
    gx = _basis(np.linspace(-X_REACH, X_REACH, X_CELLS + 1), X_REACH, -X_REACH, nx)
    gy = _basis(np.linspace(*Y_REACH, Y_CELLS + 1), Y_REACH[1], Y_REACH[0], ny)
    return np.asarray(gx @ best[1].reshape(nx + 3, ny + 3) @ gy.T)
