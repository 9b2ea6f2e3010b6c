"""What sources, stretches and verdicts are called: reports keep the English, people are shown `_`."""

from __future__ import annotations

from typing import Final

from axlewright.language import eager as _
from axlewright.language import n_

BEARING_PARTS: Final = (n_("outer race"), n_("inner race"), n_("rolling element"))
RUNOUTS: Final[dict[str, str]] = {"pinion": n_("pinion runout"), "ring gear": n_("ring gear runout")}
"""By what turns."""
TABLE_WORDS: Final = (
    n_("pinion bearing"),
    n_("side bearing"),
    n_("wheel bearing"),
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
    """Translate the name of a source, also that of a part of a bearing ("wheel bearing, outer race")."""
    bearing, comma, part = name.rpartition(", ")
    if comma and part in BEARING_PARTS:
        return _("{bearing}, {part}").format(bearing=_(bearing), part=_(part))
    return _(name)
