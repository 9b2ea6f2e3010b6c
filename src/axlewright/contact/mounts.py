"""How the axle gives way: mesh force over mount stiffness gives extra settings errors."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from axlewright.contact.mesh import Settings
from axlewright.gearset import GearSetDesign, Geometry

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class MountStiffness:
    """Stiffness of the mounts [kN/mm]; infinite holds rigidly."""

    pinion_axial: float
    ring_axial: float
    offset: float

    @staticmethod
    def of(design: GearSetDesign) -> MountStiffness:
        """Return the design's own."""
        return MountStiffness(
            design.mount_stiffness_pinion_axial_kn_mm,
            design.mount_stiffness_ring_axial_kn_mm,
            design.mount_stiffness_offset_kn_mm,
        )


RIGID = MountStiffness(math.inf, math.inf, math.inf)


@dataclass(frozen=True, slots=True)
class MeshForces:
    """Mean mesh force, resolved; newtons.

    Attributes
    ----------
    pinion_axial_n : float
        On the pinion along its axis, positive pushes it out.
    ring_axial_n : float
        On the ring gear along its axis, positive pushes it away from the pinion.
    offset_n : float
        On the pinion along the offset, positive makes the offset larger.
    pinion_radial_n : float
        On the pinion square to its axis, all directions together.
    normal_n : float
        Sum of the normal forces.
    """

    pinion_axial_n: float
    ring_axial_n: float
    offset_n: float
    pinion_radial_n: float
    normal_n: float


def resolve(geometry: Geometry, force_on_pinion: Array, normal_sum: float) -> MeshForces:
    """Resolve the mean force on the pinion, shape (3,) in the mesh frame [N]."""
    u1 = geometry.cones.pinion_axis
    axial = float(force_on_pinion @ u1)
    radial = float(np.linalg.norm(force_on_pinion - axial * u1))
    return MeshForces(axial, -float(force_on_pinion[2]), float(force_on_pinion[1]), radial, normal_sum)


def give(forces: MeshForces, mounts: MountStiffness) -> Settings:
    """Return the settings errors the load adds [mm]: force over stiffness along each of three directions.

    The shaft angle is taken as kept; tilting of the shafts is left out.
    """
    return Settings(
        forces.pinion_axial_n / (1e3 * mounts.pinion_axial),
        forces.ring_axial_n / (1e3 * mounts.ring_axial),
        forces.offset_n / (1e3 * mounts.offset),
        0.0,
    )
