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

COMMON: Final = ("sigma", "follow", "engine.aud", "lines.free")
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
        "*.loud_excess", "*.loud_rank", "*.own.aud", "*.joint.aud", "*.excess", "*.rank", "*.joint_rank",
        "*.window_excess", "*.window_rank", "*.share", "*.own.plain", "*.gears", "*.engine", "*.|side|",
    ),
    "bearings": (
        "*.known", "*.not_own", "*.envelope", "*.lines", "*.rank", "*.any_env", "*.any", "envelope.once",
        "tilt.high",
    ),
    "tread": (
        "wheel.over_half", "scallop.over_half", "envelope.wheel", "envelope.once2", "tread.over_half",
        "tread.together", "tread.aud",
    ),
    "wheel imbalance": (
        "wheel.over_half", "wheel.aud", "wheel.second", "lines.free_order", "lines.free_low",
        "propshaft.own.lead", "envelope.once0",
    ),
    "gearbox": ("whine.aud", "whine.share", "whine.pieces", "lines.free_high", "lines.free_mid"),
    "accessory": ("whine.aud", "whine.share", "whine.order", "squeal.p97", "tilt.high"),
    "brake": (
        "envelope.once4", "envelope.once3", "envelope.wheel", "squeal.p97", "squeal.slowing", "coast",
    ),
    "differential": ("speed", "sweep", "wheel.second"),
    "resonance": ("boom.p95", "boom.swing", "boom.hz", "tilt.low"),
    "engine": ("engine.mean", "engine.more"),
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

    Sources are weighed one by one: their absences are joined as if independent, and then put right by
    two numbers fitted with them.
    """
    fit = _model()["nothing"]
    joint = sum(math.log1p(-min(p, 1 - 1e-9)) for p in chances.values())
    x = fit["slope"] * joint + fit["bias"]
    return float(1 / (1 + math.exp(-x)))


@cache
def _model() -> dict[str, Any]:
    text = resources.files("axlewright.sound").joinpath("chances.json").read_text(encoding="utf-8")
    result: dict[str, Any] = json.loads(text)
    return result
