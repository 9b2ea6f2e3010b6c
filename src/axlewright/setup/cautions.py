"""Short cautions for each step of the job.

They remind; they do not replace the maker's service data, local rules or licensed practice, and nothing here
ever calls a thing free of danger.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Final

from axlewright.errors import InputError
from axlewright.language import Text, _, joined, n_
from axlewright.setup.limits import told
from axlewright.setup.sources import CIVIL, COMMON_PRACTICE, manual


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution.

    Parameters
    ----------
    text : Text
        What to mind, one short sentence.
    source : Text
        Where it comes from.
    """

    text: Text
    source: Text


GENERAL: Final = Caution(
    n_("The maker's service data, local rules and licensed practice come before anything shown here."),
    COMMON_PRACTICE,
)
FASTENERS: Final = Caution(
    n_(
        "Torques of cap bolts, ring gear bolts and pinion nut come from the maker's data; none is given here."
    ),
    COMMON_PRACTICE,
)
RUNNING: Final = Caution(
    n_("Fingers, sleeves and rags clear of turning gears; stop the machine before reaching in."),
    COMMON_PRACTICE,
)
MESH: Final = Caution(n_("Turn by hand only, fingers and rags clear of the mesh."), COMMON_PRACTICE)
LEAD: Final = Caution(
    n_(
        "Use a lead-free marking compound; the red or white lead of old texts is "
        "toxic and what is wiped off is hazardous waste."
    ),
    "29 CFR 1910.1025",
)
PRESS: Final = Caution(n_("Press and driver work: eye protection and guard, hands clear."), COMMON_PRACTICE)
STEEL: Final = Caution(n_("Never strike hardened steel with steel: it chips."), manual("T22"))
LIFTING: Final = Caution(
    n_("Carriers and ring gears are often above 23 kg (51 lb): use a hoist."),
    "NIOSH revised lifting equation (load constant, from memory)",
)
STANDS: Final = Caution(
    n_("Wheels chocked, rated stands under the load, never a jack alone."), COMMON_PRACTICE
)
DRIVEN: Final = Caution(
    n_(
        "Driven wheels on stands: people clear, both wheels off or both on; with one "
        "wheel turning keep below the speed the axle's data allow."
    ),
    CIVIL,
)
ROAD: Final = Caution(
    n_("Road test where it is legal, a second person writes, no phone in the driver's hand."), COMMON_PRACTICE
)
SOLVENT: Final = Caution(n_("Solvents: mind the flash point, ventilate, wear gloves."), COMMON_PRACTICE)
AIR: Final = Caution(
    n_(
        "Blow-off air at most 30 psi (207 kPa) at the nozzle with eye protection; "
        "never spin a bearing with air."
    ),
    "29 CFR 1910.242(b) (from memory)",
)
HOT: Final = Caution(
    n_("A ring gear warmed for fitting is 160 to 180 °F (71 to 82 °C): gloves and tongs."), manual("T13")
)
CAPS: Final = Caution(
    n_("Bearing caps are bored in place: mark left, right and way up; swapped caps scrap the bores."),
    COMMON_PRACTICE,
)
IMPACT: Final = Caution(n_("No impact wrench on the pinion nut: it dents the bearings."), COMMON_PRACTICE)
BACK_OFF: Final = Caution(
    n_("Never back the nut off a crushed sleeve to lower the preload: fit a new sleeve."),
    joined(manual("T4"), _(CIVIL), between="; "),
)
SPREADER: Final = Caution(
    n_("Spread the carrier no farther than its data allows; too far and it stays bent."),
    "Heisler, Advanced Vehicle Technology (attribution from memory)",
)
HEARING: Final = Caution(
    n_("Wear hearing protection at the roll tester: from 85 dB(A) over eight hours hearing suffers."),
    "NIOSH 98-126",
)
WHEELS: Final = Caution(n_("Wheel nuts to data, and checked again after the road test."), COMMON_PRACTICE)

CAUTIONS: Final[Mapping[str, tuple[Caution, ...]]] = MappingProxyType(
    {
        "complaint": (ROAD, GENERAL),
        "as_found": (STANDS, LIFTING, MESH, CAPS, SOLVENT, AIR),
        "identity": (MESH, SOLVENT),
        "fits": (LIFTING, HOT, FASTENERS, PRESS),
        "runout": (MESH, FASTENERS),
        "depth": (PRESS, STEEL, GENERAL),
        "pinion_preload": (BACK_OFF, IMPACT, FASTENERS),
        "backlash": (MESH, SPREADER, FASTENERS, LIFTING),
        "pattern": (MESH, LEAD),
        "final_build": (FASTENERS, PRESS, BACK_OFF, IMPACT),
        "close": (ROAD, DRIVEN, WHEELS, GENERAL),
        "roll_test": (HEARING, RUNNING, LIFTING),
    }
)
"""Cautions by step of the job, the most important first."""


def cautions_for(step: str) -> tuple[Caution, ...]:
    """Return the cautions of a step.

    Raises
    ------
    InputError
        If the step is unknown: silence would look like an all-clear.
    """
    if step not in CAUTIONS:
        raise InputError(
            _("unknown step '{step}'").format(step=step),
            where=_("cautions"),
            fix=_("use one of {cautions}").format(cautions=", ".join(CAUTIONS)),
        )
    return tuple(replace(caution, text=told(caution.text)) for caution in CAUTIONS[step])
