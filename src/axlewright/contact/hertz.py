"""Local flattening where two bodies press on each other: line, point and elliptical contact.

References
----------
Hertz 1882; formulas as in Johnson, Contact Mechanics, ch. 4 (line, circle, ellipse with complete elliptic
integrals). Approach of a line contact to a stated depth: Weber and Banaschek 1953, as re-told in the
literature on tooth stiffness (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import ellipe, ellipk

Array = NDArray[np.float64]

YOUNG_MPA = 206_000.0  # case-hardened steel; ISO 6336-1 uses the same value
POISSON = 0.3


def contact_modulus(
    young1: float = YOUNG_MPA,
    poisson1: float = POISSON,
    young2: float = YOUNG_MPA,
    poisson2: float = POISSON,
) -> float:
    """Return E* with 1/E* = (1−ν1²)/E1 + (1−ν2²)/E2 [MPa]."""
    return 1.0 / ((1.0 - poisson1**2) / young1 + (1.0 - poisson2**2) / young2)


def line_half_width(load_per_mm: Array | float, radius: Array | float, modulus: float) -> Array:
    """Return the half-width b of a line contact [mm], b² = 4 F' R / (π E*).

    Parameters
    ----------
    load_per_mm : array or float
        F' [N/mm].
    radius : array or float
        Relative radius R [mm].
    modulus : float
        E* [MPa].
    """
    return np.asarray(np.sqrt(4.0 * np.asarray(load_per_mm) * np.asarray(radius) / (math.pi * modulus)))


def line_peak_pressure(load_per_mm: Array | float, radius: Array | float, modulus: float) -> Array:
    """Return the peak pressure of a line contact [MPa], p0² = F' E* / (π R); arguments as above."""
    return np.asarray(np.sqrt(np.asarray(load_per_mm) * modulus / (math.pi * np.asarray(radius))))


def line_approach(
    load_per_mm: float,
    half_width: float,
    depth: float,
    young: float = YOUNG_MPA,
    poisson: float = POISSON,
) -> float:
    """Return how far the surface under a line load moves toward a point at `depth` below it [mm].

    One body in plane strain, Weber and Banaschek: F' (1−ν²)/(π E) · (2 ln(2 t/b) − ν/(1−ν)).

    Parameters
    ----------
    load_per_mm : float
        F' [N/mm].
    half_width, depth : float
        b and t [mm]; t ≫ b.
    """
    if load_per_mm <= 0.0:
        return 0.0
    size = 2.0 * math.log(2.0 * depth / half_width) - poisson / (1.0 - poisson)
    return load_per_mm * (1.0 - poisson**2) / (math.pi * young) * max(size, 0.0)


def line_gap(distance: Array, half_width: float, radius: float) -> Array:
    """Return the gap beside a pressed line contact [mm]; zero within the half-width.

    Johnson, Contact Mechanics, ch. 4: g = b²/(2R) (ξ √(ξ²−1) − arcosh ξ), ξ = distance/b.
    """
    xi = np.maximum(np.abs(distance) / half_width, 1.0)
    out: Array = half_width**2 / (2.0 * radius) * (xi * np.sqrt(xi * xi - 1.0) - np.arccosh(xi))
    return out


@dataclass(frozen=True, slots=True)
class PointContact:
    """Elliptical contact.

    Attributes
    ----------
    a, b : float
        Half-axes, a ≥ b [mm].
    peak_pressure : float
        [MPa].
    approach : float
        How far distant points of the bodies approach [mm].
    """

    a: float
    b: float
    peak_pressure: float
    approach: float


def point_contact(load: float, radius_a: float, radius_b: float, modulus: float) -> PointContact:
    """Solve the elliptical contact by exact integrals.

    Parameters
    ----------
    load : float
        F [N].
    radius_a, radius_b : float
        Principal relative radii [mm], any order.
    modulus : float
        E* [MPa].
    """
    A, B = 0.5 / max(radius_a, radius_b), 0.5 / min(radius_a, radius_b)

    def shape(e: float) -> tuple[float, float]:
        """Return A and B over the common factor for an ellipse of eccentricity e (half-axis a = 1)."""
        m = e * e
        k, ee = float(ellipk(m)), float(ellipe(m))
        if m < 1e-9:
            return math.pi / 4.0, math.pi / 4.0
        return (k - ee) / m, (ee / (1.0 - m) - k) / m

    target = B / A
    if target - 1.0 < 1e-9:
        e = 0.0
    else:
        low, high = 1e-4, math.sqrt(1.0 - 1e-14)
        e = float(brentq(lambda v: math.log(shape(v)[1] / shape(v)[0] / target), low, high, xtol=1e-15))
    ratio = math.sqrt(1.0 - e * e)
    # p0 b/E* (shape factors): A = p0 b/(E* a²) · shape_a ; p0 = 3F/(2π a b).
    factor = shape(e)[0]
    a = (3.0 * load * factor / (2.0 * math.pi * modulus * A)) ** (1.0 / 3.0)
    b = a * ratio
    p0 = 1.5 * load / (math.pi * a * b)
    approach = p0 * b / modulus * float(ellipk(e * e))
    return PointContact(a, b, p0, approach)
