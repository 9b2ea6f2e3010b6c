"""A photograph at random: settings, ease-off, camera, light, dirt and compound."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np

from axlewright.gearset import EaseOff
from photo_scene.scene import PhotoRequest


def random_request(design: Any, seed: int, *, width: int = 1400, **fixed: Any) -> PhotoRequest:
    """Draw a request at random: settings, ease-off, camera, light, dirt and compound.

    Parameters
    ----------
    design : GearSetDesign
    seed : int
    width : int
        [px]; the height is three quarters of it.
    **fixed
        Fields to keep as given.
    """
    rng = np.random.default_rng([seed, 77])
    size = design.ring_outer_diameter_mm / 222.0

    def ease() -> EaseOff:
        return EaseOff(
            0.030 * size * math.exp(rng.normal(0, 0.25)),
            0.004 * size * math.exp(rng.normal(0, 0.5)),
            0.006 * size * rng.normal(),
            0.020 * size * math.exp(rng.normal(0, 0.3)),
            rng.uniform(0.45, 0.65),
            rng.normal(-0.05, 0.12),
            rng.normal(0, 0.10),
        )

    tint = np.exp(rng.normal(0, 0.06, 3))
    request = PhotoRequest(
        design=design,
        flank=str(rng.choice(["drive", "coast"])),
        pinion_out_mm=float(rng.normal(0, 0.06) * size),
        ring_away_mm=float(rng.normal(0, 0.05) * size),
        offset_error_mm=float(rng.normal(0, 0.02) * size),
        shaft_angle_error_deg=float(rng.normal(0, 0.012)),
        ease_off={"drive": ease(), "coast": ease()},
        compound=str(rng.choice(["yellow", "yellow", "white", "blue", "grey"])),
        mode=str(rng.choice(["rubbed", "rubbed", "print"])),
        width=width,
        height=width * 3 // 4,
        focal_ratio=float(rng.uniform(0.72, 1.6)),
        fill=float(rng.uniform(0.42, 0.68)),
        elevation_deg=float(rng.uniform(18, 36)),
        side_deg=float(rng.uniform(-18, 18)),
        roll_deg=float(rng.choice([0.0, 180.0]) + rng.normal(0, 9)),
        shift=(float(rng.uniform(-0.06, 0.06)), float(rng.uniform(-0.08, 0.08))),
        distortion=float(rng.normal(0, 0.02)),
        glare=float(np.clip(rng.normal(0.35, 0.25), 0, 0.95)),
        unevenness=float(rng.uniform(0.2, 1.0)),
        dirt=float(rng.uniform(0.0, 0.9)),
        oil=float(rng.uniform(0.0, 0.6)),
        used=bool(rng.random() < 0.2),
        shadow_depth=float(rng.uniform(0.4, 0.95)),
        blur_px=float(rng.uniform(0.6, 1.6)),
        noise=float(rng.uniform(0.004, 0.025)),
        exposure=float(rng.uniform(0.65, 1.0)),
        tint=(float(tint[0]), float(tint[1]), float(tint[2])),
        quality=int(rng.integers(72, 94)),
        orientation=int(rng.choice([1, 1, 3, 6, 8])),
        location=bool(rng.random() < 0.3),
        seed=seed,
    )
    return replace(request, **fixed)
