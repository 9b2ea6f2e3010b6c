"""axlewright: setting up drive axles with hypoid and spiral-bevel gears.

The names most people need::

    import axlewright as aw

    design = aw.load_design("TY-222")
    rolling = aw.roll(design, flank="drive", pinion_out_mm=0.05)
    rolling.pattern.center, rolling.motion_error_pp_urad

They are loaded when first used, so that importing the package costs little.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

_WHERE = {
    "ContactPattern": "axlewright.contact",
    "GearSetDesign": "axlewright.gearset",
    "MeasuredSet": "axlewright.contact",
    "Rolling": "axlewright.contact",
    "Settings": "axlewright.contact",
    "SweepTable": "axlewright.contact",
    "calibrate": "axlewright.contact",
    "load_design": "axlewright.gearset",
    "parse_design": "axlewright.gearset",
    "read_measured": "axlewright.contact",
    "roll": "axlewright.contact",
    "shipped_designs": "axlewright.gearset",
    "sweep": "axlewright.contact",
}

__all__ = [
    "ContactPattern",
    "GearSetDesign",
    "MeasuredSet",
    "Rolling",
    "Settings",
    "SweepTable",
    "__version__",
    "calibrate",
    "load_design",
    "parse_design",
    "read_measured",
    "roll",
    "shipped_designs",
    "sweep",
]

if TYPE_CHECKING:
    from axlewright.contact import (
        ContactPattern,
        MeasuredSet,
        Rolling,
        Settings,
        SweepTable,
        calibrate,
        read_measured,
        roll,
        sweep,
    )
    from axlewright.gearset import GearSetDesign, load_design, parse_design, shipped_designs


def __getattr__(name: str) -> Any:
    if name in _WHERE:
        return getattr(import_module(_WHERE[name]), name)
    raise AttributeError(f"module 'axlewright' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted(__all__)
