"""The solid elements against the endless cantilever plate and the beam."""

import numpy as np
import pytest

from axlewright.contact.compliance import displacements
from axlewright.contact.tooth_solid import _cells

YOUNG, POISSON = 206e3, 0.3


def block(x: np.ndarray, y: np.ndarray, z: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    nodes = np.stack(np.meshgrid(x, y, z, indexing="ij"), axis=-1)
    grid = np.arange(nodes[..., 0].size).reshape(nodes.shape[:3])
    return nodes.reshape(-1, 3), _cells(grid), grid


def test_beam() -> None:
    """Cantilever beam, F l³/(3 E I) (any handbook); Timoshenko shear included.

    The held root cannot contract sideways, which stiffens the beam: within 1.5 %.
    """
    nodes, hexes, grid = block(np.linspace(0, 100, 21), np.linspace(0, 10, 3), np.linspace(0, 10, 3))
    forces = np.zeros((len(nodes), 3, 2))
    share = np.outer([0.25, 0.5, 0.25], [0.25, 0.5, 0.25])
    forces[grid[-1], 2, 0] = share
    forces[grid[-1], 0, 1] = share
    moved = displacements(nodes, hexes, grid[0].ravel(), forces, YOUNG, POISSON)
    inertia = 10.0 * 10.0**3 / 12
    shear = 100.0 / (5 / 6 * YOUNG / 2 / (1 + POISSON) * 100.0)
    assert moved[grid[-1, 1, 1], 2, 0] == pytest.approx(100.0**3 / (3 * YOUNG * inertia) + shear, rel=0.015)
    # Away from the ends, where nodal forces disturb: stretch between a quarter and three quarters.
    stretch = moved[grid[15], 0, 1].mean() - moved[grid[5], 0, 1].mean()
    assert stretch == pytest.approx(50.0 / (YOUNG * 100.0), rel=1e-3)


def test_endless_cantilever_plate() -> None:
    """Point load at the free edge of an endless cantilever plate, ν = 0.3.

    Deflection over P c²/D along the edge: .1665 .1494 .1212 .0685 .0342; root moment over P: .5087 .3893
    .2054. Grade: recomputed by a Fourier solution outside this project, not published. From memory beside
    it: .168 at the load (Jaramillo 1950) and moments .509 .390 .205 (Roark's plate table); neither was
    re-read.
    """
    c, t = 10.0, 0.4
    x = c * np.linspace(0, 1, 9) ** 1.4
    y = np.concatenate([np.linspace(0, 12, 15), [15.0, 19.0, 25.0]])
    y = np.concatenate([-y[:0:-1], y])
    nodes, hexes, grid = block(x, y, np.array([-t / 2, t / 2]))
    forces = np.zeros((len(nodes), 3, 1))
    forces[grid[-1, len(y) // 2], 2, 0] = 0.5
    moved = displacements(nodes, hexes, grid[0].ravel(), forces, YOUNG, POISSON)[:, 2, 0][grid].mean(axis=-1)
    D = YOUNG * t**3 / 12 / (1 - POISSON**2)
    edge = moved[-1] * D / c**2
    places = np.array([0.0, 0.25, 0.5, 1.0, 1.5]) * c
    assert np.interp(places, y, edge) == pytest.approx([0.1665, 0.1494, 0.1212, 0.0685, 0.0342], abs=0.003)
    # At the root w = a x²/2 + b x³/6 + e x⁴/24, moment D·a.
    near = np.stack([x[1:4] ** 2 / 2, x[1:4] ** 3 / 6, x[1:4] ** 4 / 24], axis=1)
    moment = D * np.linalg.solve(near, moved[1:4])[0]
    found = np.interp(np.array([0.0, 0.5, 1.0]) * c, y, moment)
    assert found == pytest.approx([0.5087, 0.3893, 0.2054], rel=0.08)
