"""Where printed numbers come from, spelled out once.

Government technical manuals are in the public domain. Civil service literature is quoted as a fact with the
maker withheld.
"""

from __future__ import annotations

from typing import Final

from axlewright.language import Message, _, n_

CIVIL: Final = n_("civil service literature, maker withheld")
COMMON_PRACTICE: Final = n_("common practice, no source")
DERIVED: Final = n_("derived here")

SOURCES: Final[dict[str, str]] = {
    "T1": "TM 9-2320-280-34 ch 19",
    "T2": "TM 9-2320-289-34 ch 6",
    "T3": "TM 9-2320-266-34 ch 19",
    "T4": "TM 9-2320-387-24-2 ch 30",
    "T5": "TM 9-2320-366-34-4 ch 24",
    "T7": "TM 9-2320-363-34-2 ch 16",
    "T8": "TM 9-2320-302-34 WP 0082",
    "T9": "TM 9-2320-273-34 ch 10",
    "T10": "TM 9-2320-283-34-2 ch 3",
    "T13": "TM 10-3930-660-34 ch 8-9",
    "T14": "TM 10-3930-671-24, pinion gear shimming",
    "T15": "TM 10-3930-643-34 ch 16",
    "T16": "TM 10-3930-638-24&P ch 4",
    "T17": "TM 10-3930-669-34 ch 10",
    "T18": "TM 5-3805-262-34",
    "T19": "TM 5-3805-260-24 ch 3",
    "T22": "TM 5-3810-306-34 ch 8",
    "T25": "TM 5-3895-369-14 ch 5",
    "T26": "TM 5-3895-359-14&P ch 5",
    "T27": "TM 5-3895-383-24 ch 14",
    "T28": "TM 5-2420-230-24-1 sec E",
    "T29": "TM 5-4210-220-34 ch 2",
    "T31": "TM 5-4210-233-14&P-1 ch 5",
}
"""Short key to public-domain government manual."""


def manual(*keys: str) -> Message:
    """Return the full names of government manuals, for the source text of a limit or a term."""
    return _("government manual {titles}").format(titles="; ".join(SOURCES[key] for key in keys))
