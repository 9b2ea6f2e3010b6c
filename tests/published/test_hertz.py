"""Hertz contact against exact integrals and against figures from memory, each with its grade."""

import math

import numpy as np
import pytest
from scipy import integrate, optimize

from axlewright.contact.hertz import (
    contact_modulus,
    line_approach,
    line_gap,
    line_half_width,
    line_peak_pressure,
    point_contact,
)

STEEL = contact_modulus(206e3, 0.3, 206e3, 0.3)


def test_cylinder_on_block() -> None:
    """NAFEMS 2D cylinder roller contact benchmark: half-width 6.21 mm, peak 3585.4 MPa.

    Grade: from memory, recomputed by the closed form (6.2146 mm, 3585.4 MPa); the benchmark was not re-read.
    """
    modulus = contact_modulus(210e3, 0.3, 70e3, 0.3)
    assert line_half_width(35e3, 50.0, modulus) == pytest.approx(6.21, abs=0.01)
    assert line_peak_pressure(35e3, 50.0, modulus) == pytest.approx(3585.4, rel=1e-4)


def test_sphere_on_flat() -> None:
    """Closed form a³ = 3FR/(4E*), p0 = 3F/(2πa²), approach a²/R (Johnson ch. 4; memory)."""
    found = point_contact(100.0, 10.0, 10.0, STEEL)
    a = (3 * 100.0 * 10.0 / (4 * 206e3 / (2 * (1 - 0.3**2)))) ** (1 / 3)
    assert found.a == pytest.approx(a, rel=1e-6)
    assert found.b == pytest.approx(a, rel=1e-6)
    assert found.peak_pressure == pytest.approx(3 * 100.0 / (2 * math.pi * a**2), rel=1e-6)
    assert found.approach == pytest.approx(a**2 / 10.0, rel=1e-6)


def potential(a: float, b: float, power_a: float, power_b: float) -> float:
    """∫₀^∞ dw / ((a²+w)^power_a (b²+w)^power_b √w), by quadrature with w = (b tan v)²."""

    def integrand(v: float) -> float:
        w = (b * math.tan(v)) ** 2
        return 2 * b / math.cos(v) ** 2 / ((a * a + w) ** power_a * (b * b + w) ** power_b)

    return float(integrate.quad(integrand, 0.0, math.pi / 2, epsabs=0.0, epsrel=1e-11, limit=400)[0])


@pytest.mark.parametrize(
    ("load", "ra", "rb"),
    [(5000.0, 1000.0, 20.0), (10000.0, 2500.0, 25.0), (200.0, 30.0, 12.0)],
)
def test_ellipse(load: float, ra: float, rb: float) -> None:
    """Hertz's own integrals, solved here by quadrature for the half-axes, without elliptic functions.

    The pressure p0 √(1 − x²/a² − y²/b²) moves the surface by p0 ab/(2E*) ∫₀^∞ (1 − x²/(a²+w) − y²/(b²+w)) dw
    / √((a²+w)(b²+w)w); its terms must be the approach, x²/(2 R_a) and y²/(2 R_b) (derived; potential of an
    ellipsoid).
    """

    def factor(a: float, b: float) -> float:
        return float(3 * load / (2 * math.pi * a * b) * a * b / (2 * STEEL))

    def miss(logs: np.ndarray) -> list[float]:
        a, b = np.exp(logs)
        return [
            math.log(factor(a, b) * potential(a, b, 1.5, 0.5) * 2 * ra),
            math.log(factor(a, b) * potential(a, b, 0.5, 1.5) * 2 * rb),
        ]

    start = (load * math.sqrt(ra * rb) / STEEL) ** (1 / 3)
    solved = optimize.root(miss, np.log([2 * start, start / 2]), tol=1e-12)
    assert solved.success
    a, b = np.exp(solved.x)
    found = point_contact(load, ra, rb, STEEL)
    assert found.a == pytest.approx(a, rel=1e-7)
    assert found.b == pytest.approx(b, rel=1e-7)
    assert found.peak_pressure == pytest.approx(3 * load / (2 * math.pi * a * b), rel=1e-7)
    assert found.approach == pytest.approx(factor(a, b) * potential(a, b, 0.5, 0.5), rel=1e-7)


@pytest.mark.parametrize(
    ("theta", "m", "n"),
    [(30, 2.731, 0.493), (45, 1.926, 0.604), (60, 1.486, 0.717), (80, 1.128, 0.893)],
)
def test_hertz_factors(theta: float, m: float, n: float) -> None:
    """Factors m, n of the ellipse against θ, recomputed by elliptic integrals.

    The table of Timoshenko and Goodier, Theory of Elasticity, was compared from memory: it agrees to 0.002.
    """
    c = math.cos(math.radians(theta))
    A, B = (1 - c) / 2, (1 + c) / 2  # A + B = 1
    found = point_contact(1000.0, 0.5 / A, 0.5 / B, STEEL)
    unit = (3 * 1000.0 / (4 * STEEL * (A + B))) ** (1 / 3)
    assert found.a / unit == pytest.approx(m, abs=0.003)
    assert found.b / unit == pytest.approx(n, abs=0.003)


def test_growth_with_load() -> None:
    """Peak pressure grows as F^1/2 in a line and F^1/3 in a point (derived from the closed forms)."""
    ratio = line_peak_pressure(800.0, 20.0, STEEL) / line_peak_pressure(100.0, 20.0, STEEL)
    assert ratio == pytest.approx(math.sqrt(8.0))
    points = [point_contact(f, 100.0, 10.0, STEEL).peak_pressure for f in (100.0, 800.0)]
    assert points[1] / points[0] == pytest.approx(2.0)


def test_gap_beside_a_line_meets_the_parabola_less_the_approach() -> None:
    """Far from the line the gap is the parabola less b²/(4R)·(1 + 2 ln(2ξ)); it never is negative."""
    b, R = 0.2, 25.0
    x = np.array([0.0, 0.1, 0.2, 0.2001, 4.0])
    gap = line_gap(x, b, R)
    assert gap[:3] == pytest.approx(0.0)
    assert gap[3] > 0.0
    far = 16.0 / (2 * R) - b * b / (4 * R) * (1 + 2 * math.log(2 * 4.0 / b))
    assert gap[4] == pytest.approx(far, rel=1e-4)


def test_line_approach_matches_the_half_plane_integral() -> None:
    """Displacement of a half-plane from the surface to depth t under an elliptic pressure, integrated."""
    load, R, depth = 300.0, 25.0, 6.0
    young, nu = 206e3, 0.3
    b = float(line_half_width(load, R, contact_modulus()))
    # Flamant: plane-strain vertical displacement between surface and depth on the axis, line load p ds at s:
    # ((1+ν) p/(π E)) [2(1−ν) ln(√(s²+t²)/|s|) − t²/(s²+t²)].
    s = (np.arange(200_000) + 0.5) / 200_000 * b
    p = 2 * load / (math.pi * b) * np.sqrt(1 - (s / b) ** 2)
    kernel = 2 * (1 - nu) * np.log(np.hypot(s, depth) / s) - depth**2 / (s**2 + depth**2)
    exact = 2 * float(np.sum(p * kernel)) * b / 200_000 * (1 + nu) / (math.pi * young)
    assert line_approach(load, b, depth) == pytest.approx(exact, rel=2e-3)
