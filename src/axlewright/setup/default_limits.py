"""Generic default limits, each with its source.

They are examples from service literature for particular axles and stand in only where nobody has typed the
service data of the axle on the bench. Screens and sheets say so (`Limit.is_default`).
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from axlewright.language import n_
from axlewright.setup.limits import Limit, inch_limit, lbf_in_limit
from axlewright.setup.sources import CIVIL, COMMON_PRACTICE, DERIVED, manual


def _inch(name: str, low: float | None, high: float | None, source: str) -> Limit:
    return inch_limit(name, low, high, source, is_default=True)


def _lbf_in(name: str, low: float | None, high: float | None, source: str) -> Limit:
    return lbf_in_limit(name, low, high, source, is_default=True)


DEFAULT_LIMITS: Final[Mapping[str, Limit]] = MappingProxyType(
    {
        "backlash_light_axle": _inch(n_("backlash, light axle"), 0.005, 0.008, f"{manual('T2')}; {CIVIL}"),
        "backlash_truck": _inch(n_("backlash, medium and heavy truck"), 0.005, 0.015, manual("T9")),
        "backlash_heavy_tandem": _inch(n_("backlash, heavy tandem, new"), 0.006, 0.016, manual("T10")),
        "backlash_earthmover": _inch(n_("backlash, earthmover"), 0.008, 0.017, manual("T19")),
        "backlash_any_tooth": _inch(n_("backlash at the tightest tooth"), 0.002, None, CIVIL),
        "backlash_spread": _inch(
            n_("spread of backlash around the ring gear"), None, 0.002, f"{manual('T2')}; {CIVIL}"
        ),
        "backlash_per_shim": Limit(
            n_("backlash per ring gear move, plausible band"), 0.4, 1.0, "1", DERIVED, is_default=True
        ),
        "depth_remainder": _inch(n_("depth error left by the chosen spacer"), -0.001, 0.001, COMMON_PRACTICE),
        "pinion_preload_new": _lbf_in(
            n_("pinion bearing running torque, new bearings, no seal"), 5.0, 45.0, manual("T7", "T8", "T13")
        ),
        "pinion_preload_used": _lbf_in(
            n_("pinion bearing running torque, used bearings, no seal"), 10.0, 30.0, manual("T7", "T8", "T13")
        ),
        "pinion_preload_new_sleeve": _lbf_in(
            n_("pinion bearing running torque, new bearings, crushed sleeve, no seal"),
            17.0,
            25.0,
            manual("T4"),
        ),
        "pinion_preload_used_sleeve": _lbf_in(
            n_("pinion bearing running torque, used bearings, crushed sleeve, no seal"),
            10.0,
            15.0,
            manual("T4"),
        ),
        "pinion_preload_plausible": _lbf_in(n_("pinion running torque, plausible band"), 3.0, 60.0, DERIVED),
        "total_preload_new_with_seal": _lbf_in(
            n_(
                "running torque at the pinion with seal and ring gear, new bearings, where "
                "the pinion alone has 20 to 25 lb-in"
            ),
            35.0,
            40.0,
            CIVIL,
        ),
        "total_preload_used_with_seal": _lbf_in(
            n_(
                "running torque at the pinion with seal and ring gear, used bearings, where "
                "the pinion alone has 10 to 15 lb-in"
            ),
            20.0,
            25.0,
            CIVIL,
        ),
        "side_preload_rise": _lbf_in(n_("rise of pinion torque by the side bearings"), 7.0, 11.0, CIVIL),
        "flange_runout": _inch(n_("case flange runout, ring gear off"), None, 0.002, manual("T1")),
        "ring_face_runout": _inch(n_("ring gear back face runout"), None, 0.003, manual("T2")),
        "ring_face_runout_heavy": _inch(
            n_("ring gear back face runout, heavy axle"), None, 0.008, manual("T13", "T16")
        ),
        "cap_spread": _inch(n_("spread over the bearing caps"), 0.006, 0.013, manual("T22")),
        "companion_flange_runout": _inch(n_("companion flange runout"), None, 0.004, CIVIL),
        "ring_seating_gap": _inch(n_("gap between ring gear and flange"), None, 0.003, CIVIL),
        "carrier_spread": _inch(
            n_("spread of the carrier for fitting"),
            None,
            0.2 / 25.4,
            "Heisler, Advanced Vehicle Technology (attribution from memory)",
        ),
    }
)
"""Default limits by key."""
