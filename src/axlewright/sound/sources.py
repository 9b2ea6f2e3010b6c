"""What may be heard in a vehicle: name, kind, orders, and what would tell it from the rest.

A report keeps the English names; people are shown them translated.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from axlewright.language import eager as _
from axlewright.language import n_

MESH: Final = n_("ring and pinion mesh")
NONE: Final = n_("nothing that stands out")


@dataclass(frozen=True, slots=True)
class Source:
    """One thing that may be heard.

    Parameters
    ----------
    key : str
        As `chances` calls it.
    name : str
        Trade name, as shown.
    kind : str
        Group in a report.
    axle : bool
        Whether taking the axle apart would be about it.
    gear, load, side, road, brake : bool
        What it changes with: the gear at the same road speed, drive and coast, swerving, the road's
        surface, a touch of the brake.
    still : bool
        Whether it stays at one frequency whatever the speed.
    """

    key: str
    name: str
    kind: str
    axle: bool = False
    gear: bool = False
    load: bool = False
    side: bool = False
    road: bool = False
    brake: bool = False
    still: bool = False


SOURCES: Final = (
    Source("mesh", MESH, "mesh", axle=True, load=True),
    Source("propshaft", n_("propeller shaft or pinion, once per turn"), "propshaft"),
    Source("joint", n_("universal joint"), "joint", load=True),
    Source("tread", n_("tyre tread"), "tread", road=True),
    Source("wheel imbalance", n_("wheel or tyre, once per turn"), "wheel"),
    Source("wheel bearing", n_("wheel bearing"), "bearing", axle=True, side=True),
    Source("pinion bearing", n_("pinion bearing"), "bearing", axle=True, load=True),
    Source("carrier bearing", n_("side bearing"), "bearing", axle=True),
    Source("gearbox", n_("gearbox"), "gearbox", gear=True, load=True),
    Source("engine", n_("engine"), "engine", gear=True, load=True),
    Source("accessory", n_("something the engine drives"), "accessory", gear=True),
    Source("brake", n_("brake"), "brake", brake=True),
    Source("differential", n_("differential gears, in turns"), "differential", axle=True, side=True),
    Source("resonance", n_("resonance of the body"), "resonance", road=True, still=True),
)
BY_KEY: Final = {source.key: source for source in SOURCES}
RUNOUTS: Final[dict[str, str]] = {"pinion": n_("pinion runout"), "ring gear": n_("ring gear runout")}
"""By what turns."""
TABLE_WORDS: Final = (
    n_("likely"),
    n_("possible"),
    n_("unlikely"),
    n_("drive"),
    n_("coast"),
    n_("float"),
    n_("quieter"),
    n_("louder"),
    n_("no change shown"),
)
"""Words that a report keeps in English."""


def source_name(name: str) -> str:
    """Translate the name of a source."""
    return _(name)
