"""Drawn photos for the pattern room's tests, made by the kept script's renderer."""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "examples"))

import axlewright as aw  # noqa: E402
from axlewright.contact import ContactPattern  # noqa: E402
from axlewright.gearset import GearSetDesign  # noqa: E402

PHOTOS = ROOT / "examples" / "photos"


@dataclass
class JobPhoto:
    """A demonstration photo with its truth."""

    path: Path
    corners: NDArray[np.float64]
    text: str
    pattern: ContactPattern


@pytest.fixture(scope="session")
def design() -> GearSetDesign:
    return aw.load_design("TY-222")


@pytest.fixture(scope="session")
def job(design: GearSetDesign) -> dict[str, JobPhoto]:
    out = {}
    for flank in ("drive", "coast"):
        path = PHOTOS / f"ty-222-job-{flank}.jpg"
        truth = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
        pattern = aw.roll(design, flank, **truth["settings"]).pattern
        out[flank] = JobPhoto(path, np.array(truth["corners_px"]), truth["corners_text"], pattern)
    return out
