"""One form for the drives of every simulator: a file, what the person told, and the truth.

    told_drive("own_drives", 7), told_drive("road_drives", 7)

A simulator is a module beside this one with ``make_drive(seed)``; drives are kept in a folder if one is
named, since making one takes longer than listening to it.
"""

from __future__ import annotations

import importlib
import pickle
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from axlewright.errors import InputError
from axlewright.sound import (
    AxleOrders,
    Bearing,
    Recording,
    SpeedTrace,
    Tyre,
    bearing_orders,
    make_trace,
    read_recording,
)

FloatArray = NDArray[np.float64]

NAMES: Final = {
    "prop_imbalance": "propshaft",
    "universal_joint": "joint",
    "tyre": "tread",
    "wheel_imbalance": "wheel imbalance",
    "wheel_bearing": "wheel bearing",
    "pinion_bearing": "pinion bearing",
    "carrier_bearing": "carrier bearing",
    "boom": "resonance",
}
"""What one simulator calls a source, where another word is used here."""
TYRE_SIGMA: Final = 0.01
KINDS: Final = {"marks": "dashboard", "held": "dashboard", "table": "satellite"}


@dataclass(frozen=True)
class ToldDrive:
    """A drive as the listener gets it, and the truth."""

    encoded: bytes
    suffix: str
    axle: AxleOrders
    tyre: Tyre
    speed: SpeedTrace
    kind: str
    complaint: tuple[str, ...]
    sources: tuple[dict[str, Any], ...]
    times_s: FloatArray
    wheel_hz: FloatArray

    def recording(self) -> Recording:
        """Read the file."""
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / f"drive{self.suffix}"
            path.write_bytes(self.encoded)
            return read_recording(path)

    def prominence_db(self, name: str) -> float:
        """Greatest prominence of a source of this name; −99 if there is none."""
        return max((float(s["prominence_db"]) for s in self.sources if s["name"] == name), default=-99.0)


def made(simulator: str, seed: int, folder: Path | None = None, what: str = "make_drive") -> Any:
    """Make a drive, or take it from the folder."""
    kept = folder / simulator / f"{what}-{seed}.pickle" if folder else None
    if kept and kept.exists():
        return pickle.loads(kept.read_bytes())
    sys.path.insert(0, str(Path(__file__).parent))
    drive = getattr(importlib.import_module(simulator), what)(seed)
    parts = (drive.before, drive.after) if what == "make_pair" else (drive,)
    plain = [{"encoded": d.encoded, "suffix": d.suffix, "told": d.told, "truth": d.truth} for d in parts]
    result: Any = (*plain, dict(drive.truth)) if what == "make_pair" else plain[0]
    if kept:
        kept.parent.mkdir(parents=True, exist_ok=True)
        kept.write_bytes(pickle.dumps(result))
    return result


def told_drive(simulator: str, seed: int, folder: Path | None = None) -> ToldDrive:
    """Return the drive of a seed in the common form."""
    return common_form(made(simulator, seed, folder), seed)


def common_form(drive: dict[str, Any], seed: int) -> ToldDrive:
    """Bring what a simulator made into one form."""
    told, truth = drive["told"], drive["truth"]
    times, wheel = _wheel(truth)
    kind, points = _speed(told, times, wheel * _circumference(told, truth), seed)
    axle = AxleOrders(
        int(told["ring_teeth"]),
        int(told["pinion_teeth"]),
        _bearings(told.get("bearings") or []),
        joint=bool(told.get("joint_present", told.get("joint", True))),
        cylinders=told.get("cylinders"),
        gears=tuple(told.get("gear_ratios") or ()),
    )
    circumference = told.get("rolling_circumference_m") or told["tyre_circumference_m"]
    speed = make_trace(
        [p[0] for p in points],
        [p[1] for p in points],
        KINDS[kind],
        constant=kind == "held",  # type: ignore[arg-type]
    )
    sources = tuple({**s, "name": NAMES.get(s["name"], s["name"])} for s in truth["sources"])
    complaint = truth["complaint"] if "complaint" in truth else truth["audible"]
    return ToldDrive(
        drive["encoded"],
        drive["suffix"],
        axle,
        Tyre(float(circumference), TYRE_SIGMA, "measured roll-out"),
        speed,
        kind,
        tuple(NAMES.get(name, name) for name in complaint),
        sources,
        times,
        wheel,
    )


def _circumference(told: dict[str, Any], truth: dict[str, Any]) -> float:
    value = (
        truth.get("circumference_m")
        or told.get("rolling_circumference_m")
        or told.get("tyre_circumference_m")
    )
    return float(value)  # type: ignore[arg-type]


def _wheel(truth: dict[str, Any]) -> tuple[FloatArray, FloatArray]:
    """Find the wheel's true turn rate, whatever the simulator calls it."""
    trace = truth.get("trace", truth)
    time = next(trace[k] for k in ("times_s", "time_s", "t_s", "wheel_times_s") if k in trace)
    for key in ("wheel_hz", "wheel_rev_s", "wheel_rate_hz"):
        if key in trace:
            return np.asarray(time, dtype=float), np.asarray(trace[key], dtype=float)
    speed = next(trace[k] for k in ("wheel_speed_mps", "wheel_mps", "speed_mps") if k in trace)
    around = truth.get("rolling_circumference_m") or truth["circumference_m"]
    return np.asarray(time, dtype=float), np.asarray(speed, dtype=float) / float(around)


def _bearings(told: Any) -> tuple[Bearing, ...]:
    rows = [{"name": k, **v} for k, v in told.items() if v] if isinstance(told, dict) else told
    result = []
    for row in rows:
        if not row.get("roller_diameter_mm"):
            continue
        name = str(row["name"]).lower()
        place = "wheel" if "wheel" in name else "pinion" if "pinion" in name else "side"
        try:
            orders = bearing_orders(
                int(row["rollers"]),
                row["roller_diameter_mm"],
                row["pitch_diameter_mm"],
                row.get("contact_angle_deg") or 0.0,
            )
        except InputError:
            continue
        result.append(Bearing(place, orders, name))  # type: ignore[arg-type]
    return tuple(result)


def _speed(
    told: dict[str, Any], times: FloatArray, mps: FloatArray, seed: int
) -> tuple[str, list[tuple[float, float]]]:
    """Return the kind of speed and its points; where none at all is told, a late satellite table is made."""
    speed = told["speed"]
    form = speed.get("kind") or speed["form"]
    if "points" in speed:
        points = [(float(a), float(b)) for a, b in speed["points"]]
    elif form == "typed":
        form, points = "marks", [(m["time_s"], m["speed_kmh"] / 3.6) for m in speed["marks"]]
    elif form == "cruise":
        form, points = "held", [(0.0, speed["speed_kmh"] / 3.6)]
    elif form == "satellite":
        form, points = "table", [(a, b / 3.6) for a, b in speed["table"]]
    else:
        rng = np.random.default_rng(seed + 5)
        at = np.arange(0.3, times[-1], 1.0)
        shown = np.interp(at - rng.uniform(0.5, 2.0), times, mps) + rng.normal(0, 0.1, len(at))
        form, points = "table", list(zip(at.tolist(), shown.tolist(), strict=True))
    kept: list[tuple[float, float]] = []
    for t, v in sorted(points):
        if not kept or t > kept[-1][0] + 0.05:
            kept.append((t, max(v, 0.5)))
    return str(form), kept
