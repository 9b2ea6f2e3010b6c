"""What in and around an axle can make a tone, and how often it does so per wheel turn.

All orders count per turn of the road wheel, both wheels turning alike. With ring-gear teeth Zr and
pinion teeth Zp the pinion turns R = Zr / Zp times, so the mesh order is Zp R = Zr: it depends on
the ring gear alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from axlewright.errors import InputError
from axlewright.language import eager as _

BearingPlace = Literal["pinion", "side", "wheel"]


@dataclass(frozen=True, slots=True)
class BearingOrders:
    """Frequencies of a rolling bearing as multiples of its shaft's turn rate.

    Parameters
    ----------
    cage, outer, inner, element : float
        FTF, BPFO, BPFI and BSF per turn. A fault on a rolling element shows at twice `element`.
    """

    cage: float
    outer: float
    inner: float
    element: float


def bearing_orders(
    elements: int,
    element_diameter: float,
    pitch_diameter: float,
    contact_angle_deg: float = 0.0,
    *,
    outer_turns: bool = False,
) -> BearingOrders:
    """Return the kinematic orders of a rolling bearing.

    Parameters
    ----------
    elements : int
        Number of balls or rollers.
    element_diameter, pitch_diameter : float
        In the same unit; for taper rollers at mid roller.
    contact_angle_deg : float
        Contact angle; for taper rollers of the roller-on-outer-race line.
    outer_turns : bool
        The outer race turns and the inner one stands.

    Returns
    -------
    BearingOrders

    Notes
    -----
    Pure rolling, k = d/D cos α: FTF = (1 − k)/2, BPFO = n FTF, BPFI = n (1 + k)/2,
    BSF = D/(2d) (1 − k²). With the outer race turning FTF = (1 + k)/2. The maker's table goes first.
    """
    if elements < 3:
        raise InputError(
            _("{elements} rolling elements are too few").format(elements=elements), where=_("bearing")
        )
    if not 0 < element_diameter < pitch_diameter:
        raise InputError(
            _("the rolling element must be smaller than the pitch diameter"),
            where=_("bearing"),
            fix=_("measure across the roller and from roller centre to roller centre"),
        )
    k = element_diameter / pitch_diameter * math.cos(math.radians(contact_angle_deg))
    if math.pi * pitch_diameter < elements * element_diameter * 0.999:
        raise InputError(
            _("{elements} elements of that size do not fit round the bearing").format(elements=elements),
            where=_("bearing"),
        )
    return BearingOrders(
        cage=(1 + k) / 2 if outer_turns else (1 - k) / 2,
        outer=elements * (1 - k) / 2,
        inner=elements * (1 + k) / 2,
        element=pitch_diameter / (2 * element_diameter) * (1 - k * k),
    )


@dataclass(frozen=True, slots=True)
class Bearing:
    """A bearing with its place and orders.

    Parameters
    ----------
    place : str
        ``pinion`` (turns R times a wheel turn), ``side`` or ``wheel`` (once).
    orders : BearingOrders
        Per turn of its shaft.
    label : str
        For example ``pinion head bearing``.
    """

    place: BearingPlace
    orders: BearingOrders
    label: str = ""


@dataclass(frozen=True, slots=True)
class AxleOrders:
    """What is known about the axle before listening.

    Parameters
    ----------
    ring_teeth, pinion_teeth : int
        Tooth counts.
    bearings : tuple of Bearing
        Those whose geometry or orders are known.
    tread_blocks : int or None
        Tread blocks round the tyre, if counted.
    joint : bool
        Whether a universal joint drives the pinion.
    cylinders : int or None
        Of the engine.
    gears : tuple of float
        Ratios of the gearbox.
    """

    ring_teeth: int
    pinion_teeth: int
    bearings: tuple[Bearing, ...] = field(default_factory=tuple)
    tread_blocks: int | None = None
    joint: bool = True
    cylinders: int | None = None
    gears: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if not (20 <= self.ring_teeth <= 90 and 3 <= self.pinion_teeth <= 40):
            raise InputError(
                _("{pinion_teeth}/{ring_teeth} teeth make no axle set").format(
                    pinion_teeth=self.pinion_teeth, ring_teeth=self.ring_teeth
                ),
                where=_("teeth"),
                fix=_("give pinion teeth (3 to 40) and ring-gear teeth (20 to 90)"),
            )
        if self.pinion_teeth >= self.ring_teeth:
            raise InputError(
                _("the pinion has more teeth than the ring gear"),
                where=_("teeth"),
                fix=_("swap the two counts"),
            )
        if self.cylinders is not None and not 1 <= self.cylinders <= 16:
            raise InputError(
                _("{cylinders} cylinders make no engine").format(cylinders=self.cylinders),
                where=_("cylinders"),
                fix=_("give 1 to 16, or leave it empty"),
            )
        if len(self.gears) > 20 or any(not 0.2 <= gear <= 20 for gear in self.gears):
            raise InputError(
                _("these are no gear ratios"),
                where=_("gears"),
                fix=_("give engine turns for each turn of the propeller shaft, as in 4.1 2.3 1.5 1.0"),
            )
        if self.tread_blocks is not None and not 20 <= self.tread_blocks <= 140:
            raise InputError(
                _("{tread_blocks} tread blocks fit no tyre").format(tread_blocks=self.tread_blocks),
                where=_("tread blocks"),
            )

    @property
    def ratio(self) -> float:
        """Pinion turns per wheel turn, R = Zr/Zp."""
        return self.ring_teeth / self.pinion_teeth
