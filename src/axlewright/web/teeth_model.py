"""Tooth surfaces for the 3-D view: grids of points of one ring gear tooth and one pinion tooth."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from axlewright.gearset import GearSetDesign

LENGTHWISE, PROFILE = 33, 13


@lru_cache(maxsize=16)
def teeth_model(design: GearSetDesign) -> dict[str, Any]:
    """Return the surfaces of a design, ready for JSON.

    Returns
    -------
    dict
        ring : {drive, coast}, each {points: flat list x, y, z in mm, columns, rows}, root row first and
        toe column first, in the ring gear's frame; pinion likewise in the mesh frame at roll 0, its grid
        laid over the ring gear tooth; ring_teeth, pinion_teeth, pinion_axis (unit, 3), pinion_origin (mm, 3);
        ring_body and pinion_body: (radius, height along the axis) outlines under the teeth.

    Notes
    -----
    Each flank is indexed to angle zero at its mean point. A ring gear tooth is made half a pitch thick by
    turning its coast flank about the ring gear's axis, away from the drive flank's outward side; the pinion
    tooth fills the space beside it. Thickness is for the picture only.
    """
    import numpy as np

    from axlewright.contact import build_mesh
    from axlewright.gearset import rotation_about

    mesh = build_mesh(design)
    geometry = mesh.geometry
    axis = np.asarray(geometry.cones.pinion_axis, dtype=float)
    origin = np.array([0.0, geometry.cones.offset, 0.0])
    pitch = 2.0 * math.pi / design.ring_teeth
    side = float(geometry.drive.outward)
    x, y = np.meshgrid(np.linspace(-1.0, 1.0, LENGTHWISE), np.linspace(-1.0, 1.0, PROFILE))
    z_axis = np.array([0.0, 0.0, 1.0])

    def flat(points: Any) -> dict[str, Any]:
        return {
            "points": [round(float(v), 4) for v in points.reshape(-1)],
            "columns": int(points.shape[1]),
            "rows": int(points.shape[0]),
        }

    def within(nodes: Any, count: int) -> Any:
        inside = np.flatnonzero(np.abs(nodes) <= 1.0 + 1e-9)
        return inside[np.unique(np.linspace(0, len(inside) - 1, count).round().astype(int))]

    ring = {}
    for flank, surface in (("drive", geometry.drive), ("coast", geometry.coast)):
        points, _ = surface.points(x, y)
        if flank == "coast":
            points = points @ rotation_about(z_axis, np.array(-side * pitch / 2.0)).T
        ring[flank] = flat(points)
    pinion, kept = {}, {}
    for flank, pair in (("drive", mesh.drive), ("coast", mesh.coast)):
        # The margins beyond the ring gear tooth are for the computation, not for the picture.
        columns, rows = within(pair.x, LENGTHWISE), within(pair.y, PROFILE)
        points = pair.points[np.ix_(rows, columns)] - origin
        if flank == "coast":
            # The next ring gear tooth's coast flank stands half a pitch further on; the pinion turns with it.
            turned = rotation_about(axis, np.array(-design.ratio * side * pitch / 2.0))
            points = points @ turned.T
        pinion[flank] = flat(points + origin)
        kept[flank] = points
    along = kept["drive"] @ axis
    radius = np.linalg.norm(kept["drive"] - along[..., None] * axis, axis=-1)
    blank = geometry.blank
    low_x = np.linspace(-1.02, 1.02, 9)
    r, z = blank.from_tooth(low_x, np.full_like(low_x, -1.0))
    body = np.stack([radius.min(axis=0), along[radius.argmin(axis=0), np.arange(along.shape[1])]], axis=-1)
    body = body[np.argsort(body[:, 1])]
    return {
        "design": design.name,
        "ring": ring,
        "pinion": pinion,
        "ring_teeth": design.ring_teeth,
        "pinion_teeth": design.pinion_teeth,
        "pinion_axis": axis.tolist(),
        "pinion_origin": origin.tolist(),
        "ring_body": [[round(float(a), 3), round(float(b), 3)] for a, b in zip(r, z, strict=True)],
        "pinion_body": [[round(float(a), 3), round(float(b), 3)] for a, b in body],
        "forward": int(mesh.drive.forward),
    }
