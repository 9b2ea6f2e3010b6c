"""Roll a set whose ring-gear flanks were measured."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

from axlewright.contact.mesh import (
    LENGTHWISE_POINTS,
    PROFILE_POINTS,
    ROLL_ANGLES,
    FlankMesh,
    Mesh,
    build_mesh,
)
from axlewright.gearset import FlankName, Geometry, conjugate_pinion

Pinion = Literal["of the design", "fitted to it"]


def measured_mesh(
    geometry: Geometry,
    pinion: Pinion = "of the design",
    lengthwise: int = LENGTHWISE_POINTS,
    profile: int = PROFILE_POINTS,
    roll_angles: int = ROLL_ANGLES,
) -> Mesh:
    """Prepare a set with measured ring-gear flanks for rolling.

    Parameters
    ----------
    geometry : Geometry
        From `axlewright.gearset.measured.measured_geometry`.
    pinion : {"of the design", "fitted to it"}
        The pinion conjugate to the design's own flank, so that the ring gear's deviations act as
        additional ease-off; or the pinion conjugate to the measured flank, so that only the ease-off
        stands between them.
    lengthwise, profile, roll_angles : int
        As for `build_mesh`.

    Returns
    -------
    Mesh

    Raises
    ------
    DesignError
        When the measured flank never meets a pinion.
    """
    design = geometry.design
    base = build_mesh(design, lengthwise, profile, roll_angles)

    def put(name: FlankName) -> FlankMesh:
        pair = replace(base.flank(name), ring=geometry.flank(name))
        if pinion == "of the design":
            return pair
        made = conjugate_pinion(geometry.cones, pair.ring, design.ratio, pair.x, pair.y)
        return replace(
            pair, points=made.points, normals=made.normals, contact_roll=made.contact_roll, lever=made.lever
        )

    return Mesh(geometry, put("drive"), put("coast"), lengthwise, profile)
