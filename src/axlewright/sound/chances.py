"""The chance that each possible source is what is heard, from the signs.

Each chance is a logistic function of a few signs. The weights were fitted on simulated drives by
`benchmarks/train_listener.py` and lie in ``chances.json``; sources alike in kind (lines of the axle,
bearings) share theirs, since what makes one of them audible makes the others so.
"""

from __future__ import annotations

import json
import math
from functools import cache
from importlib import resources
from typing import Any, Final

import numpy as np

from axlewright.sound.signs import Signs

COMMON: Final = (
    "sweep", "sigma", "follow", "minutes", "speed",
    "engine.aud", "engine.more", "engine.steps", "lines.aud", "lines.free",
)  # fmt: skip
GROUPS: Final[dict[str, dict[str, tuple[str, ...]]]] = {
    # group: {source: (key in the signs,)}; a sign written with * takes the key.
    "lines": {"mesh": ("mesh",), "propshaft": ("propshaft",), "joint": ("joint",)},
    "bearings": {
        "wheel bearing": ("wheel_bearing",),
        "pinion bearing": ("pinion_bearing",),
        "carrier bearing": ("side_bearing",),
    },
    "tread": {"tread": ("",)},
    "wheel imbalance": {"wheel imbalance": ("",)},
    "gearbox": {"gearbox": ("",)},
    "accessory": {"accessory": ("",)},
    "brake": {"brake": ("",)},
    "differential": {"differential": ("",)},
    "resonance": {"resonance": ("",)},
    "engine": {"engine": ("",)},
}
SIGNS: Final[dict[str, tuple[str, ...]]] = {
    "lines": (
        "*.own.lead", "*.own.all", "*.own.aud", "*.own.plain", "*.joint.aud", "*.joint.all", "*.count",
        "*.share", "*.median", "*.shift", "*.engine", "*.gears", "*.rank", "*.joint_rank", "*.excess",
        "*.loud_excess", "*.loud_rank", "*.|side|",
    ),
    "bearings": (
        "*.known", "*.not_own", "*.envelope", "*.lines", "*.rank", "*.aud", "*.any", "*.any_env",
        "*.any_aud", "envelope.once", "envelope.wheel", "envelope.once3",
    ),
    "tread": (
        "tread.sum", "tread.over_half", "tread.count", "tread.aud", "tread.together", "scallop.sum",
        "scallop.over_half", "scallop.aud", "wheel.over_half", "wheel.aud", "envelope.wheel",
        "envelope.once", "lines.free_high",
    ),
    "wheel imbalance": (
        "wheel.sum", "wheel.over_half", "wheel.count", "wheel.aud", "wheel.together", "wheel.second",
        "envelope.once", "envelope.once0", "tilt.low", "boom.p95",
    ),
    "gearbox": (
        "lines.free_order", "lines.free_nats", "lines.free_gears", "lines.free_engine", "lines.free_high",
        "lines.free_mid", "engine.locked", "engine.locked_aud", "engine.locked_at", "gears", "whine.nats",
        "whine.aud", "whine.order", "whine.pieces", "whine.share",
    ),
    "accessory": (
        "lines.free_order", "lines.free_gears", "lines.free_engine", "lines.free_high", "engine.locked",
        "engine.locked_aud", "engine.locked_at", "squeal.p97", "squeal.mean", "whine.nats", "whine.aud",
        "whine.order", "whine.pieces", "whine.share",
    ),
    "brake": (
        "squeal.p97", "squeal.mean", "squeal.slowing", "squeal.level", "envelope.wheel", "envelope.once",
        "envelope.once1", "envelope.once2", "envelope.once3",
    ),
    "differential": ("lines.free", "wheel.second", "envelope.once", "coast", "boom.swing"),
    "resonance": ("boom.p95", "boom.mean", "boom.swing", "boom.hz", "tilt.low", "fixed.count"),
    "engine": ("engine.nats", "engine.mean", "engine.locked_aud", "coast"),
}  # fmt: skip


def columns(group: str) -> tuple[str, ...]:
    """Return the signs a group looks at."""
    return (*SIGNS[group], *COMMON)


def row(signs: Signs, group: str, source: str) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Return the values of a source's signs, which of its group it is at the end."""
    key = GROUPS[group][source][0]
    values = [_value(signs, name.replace("*", key)) for name in columns(group)]
    members = list(GROUPS[group])
    which = [float(source == member) for member in members[1:]]
    own = []
    if group == "lines":
        own = [signs[name] * (source == "mesh") for name in ("sideband.pinion.rank", "sideband.ring.rank")]
    if group == "bearings":
        own = [
            signs["envelope.once"] * (source == "wheel bearing"),
            signs["envelope.wheel"] * (source == "wheel bearing"),
        ]
    return np.array([*values, *own, *which])


def _value(signs: Signs, name: str) -> float:
    return abs(signs[name.replace("|", "")]) if "|" in name else signs[name]


def chances(signs: Signs, model: dict[str, Any] | None = None) -> dict[str, float]:
    """Return the chance of every source, independent of each other."""
    model = model or _model()
    result = {}
    for group, members in GROUPS.items():
        if group not in model:
            continue
        fit = model[group]
        low, high, weight = (np.array(fit[k]) for k in ("low", "high", "weight"))
        for source in members:
            x = (np.clip(row(signs, group, source), low, high) - low) / np.maximum(high - low, 1e-9)
            result[source] = float(1 / (1 + np.exp(-(x @ weight + fit["bias"]))))
    return result


def nothing_stands_out(chances: dict[str, float], signs: Signs) -> float:
    """Return the chance that no source but the ordinary ones is heard.

    Sources are weighed one by one, so that their absences are joined as if independent and then put
    right by two numbers fitted with them.
    """
    fit = _model()["nothing"]
    joint = sum(math.log1p(-min(p, 1 - 1e-9)) for p in chances.values())
    x = fit["slope"] * joint + fit["top"] * math.log(max(chances.values()) + 1e-3) + fit["bias"]
    return float(1 / (1 + math.exp(-x)))


@cache
def _model() -> dict[str, Any]:
    text = resources.files("axlewright.sound").joinpath("chances.json").read_text(encoding="utf-8")
    result: dict[str, Any] = json.loads(text)
    return result
