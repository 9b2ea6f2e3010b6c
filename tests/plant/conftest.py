"""What the tests of many sets share."""

from __future__ import annotations

import numpy as np
import pytest

from axlewright.gearset import load_design
from axlewright.plant import DesignCurve, SimulatedSet, design_curve, simulate_set


@pytest.fixture(scope="session")
def curve() -> DesignCurve:
    """The TY-222's own curve, backlash kept."""
    return design_curve(load_design("TY-222"))


@pytest.fixture(scope="session")
def made() -> list[SimulatedSet]:
    """Twenty TY-222 sets that differ as sets do, run at five positions and read with noise."""
    design, rng = load_design("TY-222"), np.random.default_rng(77)
    return [simulate_set(design, str(n), rng=rng) for n in range(20)]
