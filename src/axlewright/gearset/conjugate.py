"""The pinion that fits a ring-gear flank perfectly, in closed form.

Derivation (own, after the equation of meshing of Litvin): with the ring gear at roll angle φ, n·v12 = 0
is A sin φ + B cos φ = D. Carrying the point into the pinion's frame by −m φ about its axis gives the
conjugate pinion flank; m = −z2/z1 is the pinion's turn per turn of the ring gear.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from axlewright.errors import DesignError
from axlewright.gearset.flank import RingFlank
from axlewright.gearset.pitch import PitchCones
from axlewright.language import _

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ConjugatePinion:
    """Conjugate pinion flank on a grid of the unrolled ring-gear tooth.

    Attributes
    ----------
    x, y : array, shape (nx,), (ny,)
        Lengthwise and profile nodes of the ring-gear points that made it.
    points, normals : array, shape (ny, nx, 3)
        In the pinion's own frame laid over the mesh frame at roll angle zero [mm]; normals point out of
        the *ring gear's* metal, i.e. into the pinion's.
    contact_roll : array, shape (ny, nx)
        Ring-gear roll angle φ at which each point touches [rad].
    lever : array, shape (ny, nx)
        |e_z · (p × n)|: normal gap per radian of ring-gear rotation [mm].
    """

    x: Array
    y: Array
    points: Array
    normals: Array
    contact_roll: Array
    lever: Array


def rotation_about(axis: Array, angle: Array) -> Array:
    """Return rotation matrices about a unit `axis`, shape ``angle.shape + (3, 3)`` (Rodrigues).

    Parameters
    ----------
    axis : array, shape (3,)
        Unit vector.
    angle : array
        Any shape, right-handed about the axis [rad].
    """
    k = np.asarray(axis, dtype=float)
    K = np.array([[0.0, -k[2], k[1]], [k[2], 0.0, -k[0]], [-k[1], k[0], 0.0]])
    a = np.asarray(angle, dtype=float)[..., None, None]
    turned: Array = np.eye(3) + np.sin(a) * K + (1.0 - np.cos(a)) * (K @ K)
    return turned


def conjugate_pinion(
    cones: PitchCones, flank: RingFlank, ratio: float, x: Array, y: Array
) -> ConjugatePinion:
    """Generate the conjugate pinion flank.

    Parameters
    ----------
    cones : PitchCones
    flank : RingFlank
    ratio : float
        z2/z1 [-].
    x, y : array, shape (nx,), (ny,)
        Nodes of the unrolled ring-gear tooth.

    Returns
    -------
    ConjugatePinion

    Raises
    ------
    DesignError
        When part of the flank never meets a pinion (no root of the equation of meshing).

    References
    ----------
    Litvin and Fuentes, Gear Geometry and Applied Theory, equation of meshing; own closed form.
    """
    X, Y = np.meshgrid(x, y)
    p, n = flank.points(X, Y)
    m = -ratio
    a = cones.offset
    u1 = cones.pinion_axis
    s, c = u1[0], u1[2]
    px, py, pz = p[..., 0], p[..., 1], p[..., 2]
    nx, ny, nz = n[..., 0], n[..., 1], n[..., 2]
    tau = ny * px - nx * py
    # n · (u1 × (q − o1)) with q, n the point and normal rotated by φ about z.
    A = s * (nz * px - pz * nx) - c * a * ny
    B = s * (nz * py - pz * ny) + c * a * nx
    D = tau * (1.0 - m * c) / m + s * nz * a
    size = np.hypot(A, B)
    ratio_d = D / size
    if np.any(np.abs(ratio_d) >= 1.0):
        bad = int(np.count_nonzero(np.abs(ratio_d) >= 1.0))
        raise DesignError(
            _("{bad} of {size} flank points never meet a pinion tooth").format(bad=bad, size=ratio_d.size),
            where="pinion_spiral_angle_deg",
            fix=_("use a smaller spiral angle, a narrower face or a smaller offset"),
        )
    lead = np.arctan2(B, A)
    root = np.arcsin(ratio_d)
    first = (root - lead + np.pi) % (2 * np.pi) - np.pi
    second = (np.pi - root - lead + np.pi) % (2 * np.pi) - np.pi
    phi = np.where(np.abs(first) <= np.abs(second), first, second)
    turn_ring = rotation_about(np.array([0.0, 0.0, 1.0]), phi)
    turn_pinion = rotation_about(u1, -m * phi)
    origin = np.array([0.0, a, 0.0])
    q = np.einsum("...ij,...j->...i", turn_ring, p) - origin
    q = np.einsum("...ij,...j->...i", turn_pinion, q) + origin
    nn = np.einsum("...ij,...j->...i", turn_pinion, np.einsum("...ij,...j->...i", turn_ring, n))
    return ConjugatePinion(np.asarray(x), np.asarray(y), q, nn, phi, np.abs(tau))
