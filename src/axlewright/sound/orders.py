"""What in and around an axle can make a tone, and how often it does so per wheel turn.

All orders count per turn of the road wheel, both wheels turning alike. With ring-gear teeth Zr and
pinion teeth Zp the pinion turns R = Zr / Zp times, so the mesh order is Zp R = Zr: it depends on
the ring gear alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Final, Literal

from axlewright.errors import InputError
from axlewright.language import eager as _
from axlewright.language import n_

BearingPlace = Literal["pinion", "side", "wheel"]

BEARING_SLIP: Final = 0.01
"""Relative standard deviation of bearing orders: rolling elements slip 1 to 3 % (common practice)."""
TREAD_BLOCKS: Final = (50, 80)
"""Usual number of tread blocks round a tyre; our judgement."""
HIGHEST_ORDER: Final = 150.0


@dataclass(frozen=True, slots=True)
class Candidate:
    """One thing that may be making the sound.

    Parameters
    ----------
    name : str
        Trade name, as shown.
    kind : str
        ``mesh``, ``propshaft``, ``joint``, ``wheel``, ``tread`` or ``bearing``.
    orders : tuple of float
        Lines it would make, per wheel turn, the leading one first.
    prior : float
        Odds before listening, against 1 for nothing; our judgement.
    slip : float
        Relative standard deviation of its orders on top of the speed's.
    spacings : tuple of float
        Sideband spacings it can have, per wheel turn.
    tells : str
        Which manoeuvre or look would tell it from the others.
    """

    name: str
    kind: str
    orders: tuple[float, ...]
    prior: float
    slip: float = 0.0
    spacings: tuple[float, ...] = ()
    tells: str = ""


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
    """

    ring_teeth: int
    pinion_teeth: int
    bearings: tuple[Bearing, ...] = field(default_factory=tuple)
    tread_blocks: int | None = None
    joint: bool = True

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
        if self.tread_blocks is not None and not 20 <= self.tread_blocks <= 140:
            raise InputError(
                _("{tread_blocks} tread blocks fit no tyre").format(tread_blocks=self.tread_blocks),
                where=_("tread blocks"),
            )

    @property
    def ratio(self) -> float:
        """Pinion turns per wheel turn, R = Zr/Zp."""
        return self.ring_teeth / self.pinion_teeth


def candidate_sources(axle: AxleOrders) -> tuple[Candidate, ...]:
    """List everything that could make a tone following road speed.

    Parameters
    ----------
    axle : AxleOrders

    Returns
    -------
    tuple of Candidate
        Without "none" and "unknown", which the evidence adds by itself.
    """
    z, r = float(axle.ring_teeth), axle.ratio
    found = [
        Candidate(
            n_("ring and pinion mesh"),
            "mesh",
            (z, 2 * z, 3 * z),
            0.5,
            spacings=(r, 1.0),
            tells=_("drive, coast and float over the same stretch: a mesh tone changes with load"),
        ),
        Candidate(
            n_("propeller shaft or pinion, once per turn"),
            "propshaft",
            (r, 2 * r, 3 * r),
            0.2,
            tells=_("the same speed in another gear and coasting in neutral: it stays with road speed"),
        ),
        Candidate(
            n_("wheel or tyre, once per turn"),
            "wheel",
            (1.0, 2.0, 3.0, 4.0),
            0.15,
            tells=_("swap wheels front to rear and record again"),
        ),
    ]
    if axle.joint:
        found.append(
            Candidate(
                n_("universal joint"),
                "joint",
                (2 * r, 4 * r),
                0.2,
                tells=_(
                    "record at drive and at coast and check the joint angles; engine firing in "
                    "direct gear falls on the same order, so record the speed in another gear too"
                ),
            )
        )
    blocks = float(axle.tread_blocks) if axle.tread_blocks else 0.0
    found.append(
        Candidate(
            n_("tyre tread"),
            "tread",
            (blocks,) if blocks else (),
            0.25,
            tells=_("drive the same speed on another road surface, or with other tyres"),
        )
    )
    for bearing in axle.bearings:
        found.extend(_bearing_candidates(bearing, r))
    return tuple(found)


def _bearing_candidates(bearing: Bearing, ratio: float) -> list[Candidate]:
    shaft = ratio if bearing.place == "pinion" else 1.0
    label = bearing.label or f"{bearing.place} bearing"
    tells = {
        "pinion": _("compare drive and coast: the pinion bearings take the load in turn"),
        "side": _("swerve gently left and right: a side bearing changes little, a wheel bearing a lot"),
        "wheel": _("swerve gently left and right: a worn wheel bearing grows louder outside the curve"),
    }[bearing.place]
    result = []
    for part, order, spacings in (
        ("outer race", bearing.orders.outer, (bearing.orders.cage,)),
        ("inner race", bearing.orders.inner, (1.0, bearing.orders.cage)),
        ("rolling element", 2 * bearing.orders.element, (bearing.orders.cage,)),
    ):
        base = order * shaft
        result.append(
            Candidate(
                f"{label}, {part}",
                "bearing",
                (base, 2 * base, 3 * base),
                0.06,
                slip=BEARING_SLIP,
                spacings=tuple(s * shaft for s in spacings),
                tells=tells,
            )
        )
    return result
