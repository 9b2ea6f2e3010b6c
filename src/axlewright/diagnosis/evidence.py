"""What was seen: patterns of both flanks, backlash, the mark, and earlier rounds of the same job."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, Protocol, TypeAlias

from axlewright.contact import ContactPattern
from axlewright.errors import InputError
from axlewright.gearset import GearSetDesign
from axlewright.language import Number, _

Place = Literal["under_head", "behind_cup", "cage_flange"]
DEFAULT_CENTER_SD = (0.06, 0.06)
LEAST_SHIM_MM = 0.05
"""Thinner spacers and shims are not made for axles (0.002 in; common practice, no source) [mm]."""


class PatternReadingLike(Protocol):
    """Anything the pattern room makes: a pattern and how well its centre is known."""

    @property
    def pattern(self) -> ContactPattern:
        """The pattern."""
        ...

    @property
    def center_sd(self) -> tuple[float, float]:
        """Standard deviation of the centre (lengthwise, profile)."""
        ...


Look: TypeAlias = PatternReadingLike | ContactPattern | None
"""What was seen on one flank: a reading, a bare pattern, or nothing."""


@dataclass(frozen=True, slots=True)
class SeenCenter:
    """Centre of one flank's pattern with its standard deviations, in half face widths and half depths."""

    lengthwise: float
    profile: float
    lengthwise_sd: float
    profile_sd: float


@dataclass(frozen=True, slots=True)
class Earlier:
    """An earlier round of the same job with the same gears.

    Attributes
    ----------
    drive, coast : reading, ContactPattern or None
        What was seen then.
    pinion_moved_since_mm, ring_moved_since_mm : float
        All that was changed between then and now, out and away positive [mm].
    backlash_mm : float, optional
        Backlash then [mm].
    """

    drive: Look = None
    coast: Look = None
    pinion_moved_since_mm: float = 0.0
    ring_moved_since_mm: float = 0.0
    backlash_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Evidence:
    """Everything known about one set in one axle.

    Attributes
    ----------
    design : GearSetDesign
    drive, coast : reading, ContactPattern or None
        A reading of the pattern room, or a bare pattern with `drive_center_sd`, `coast_center_sd`.
    drive_center_sd, coast_center_sd : (float, float)
        Used for bare patterns only.
    backlash_mm, backlash_sd_mm : float
        Mean backlash at the heel and its standard uncertainty [mm].
    backlash_tightest_mm : float, optional
        The least of the readings round the ring gear [mm]; the target is held there, as the limits are. When
        None, the mean is held to it.
    backlash_target_mm : float, optional
        Stamped or wanted backlash [mm]; the design's nominal one when None.
    mark_mm : float, optional
        What the set's depth mark asks of the mounting distance [mm].
    mark_unit : {"0.001 in", "0.01 mm"}, optional
        Unit in which a mark without one was taken; with it the other unit is thought of as well.
    spacer_now_mm : float, optional
        Spacer fitted now [mm].
    side_shims_mm : (float, float), optional
        Shims fitted now on the ring gear's side and on the other side [mm]; the advice then names both to
        fit, and moves no farther than they allow.
    place : {"under_head", "behind_cup", "cage_flange"}
        Where the depth spacer sits.
    history : tuple of Earlier
        Oldest first. What is believed of the settings before any pattern is seen holds for the oldest look:
        later ones were moved on purpose.
    refused : tuple of {"drive", "coast"}
        Flanks of which a photo was taken now and refused. When it is the flank that decides, the first advice
        is to take it again.
    looked_again : bool
        The flank that decides was photographed before at this setting: one more is not offered again.
    """

    design: GearSetDesign
    drive: Look = None
    coast: Look = None
    drive_center_sd: tuple[float, float] = DEFAULT_CENTER_SD
    coast_center_sd: tuple[float, float] = DEFAULT_CENTER_SD
    backlash_mm: float | None = None
    backlash_sd_mm: float = 0.02
    backlash_target_mm: float | None = None
    mark_mm: float | None = None
    mark_unit: str | None = None
    spacer_now_mm: float | None = None
    place: Place = "under_head"
    history: tuple[Earlier, ...] = ()
    refused: tuple[Literal["drive", "coast"], ...] = ()
    side_shims_mm: tuple[float, float] | None = None
    backlash_tightest_mm: float | None = None
    looked_again: bool = False

    @property
    def tighter_mm(self) -> float:
        """How far the tightest place lies below the mean backlash [mm]; 0 where it is not known."""
        if self.backlash_mm is None or self.backlash_tightest_mm is None:
            return 0.0
        return max(0.0, self.backlash_mm - self.backlash_tightest_mm)

    def __post_init__(self) -> None:
        for flank in self.refused:
            if flank not in ("drive", "coast"):
                raise InputError(
                    _("unknown flank '{flank}'").format(flank=flank),
                    where=_("refused"),
                    fix=_("use drive or coast"),
                )
        if self.drive is None and self.coast is None:
            raise InputError(
                _("no pattern of either flank"), where=_("patterns"), fix=_("read the drive flank at least")
            )
        if self.place not in ("under_head", "behind_cup", "cage_flange"):
            raise InputError(
                _("unknown place '{place}'").format(place=self.place),
                where=_("place"),
                fix=_("use under_head, behind_cup or cage_flange"),
            )
        for name, value in (
            ("backlash_mm", self.backlash_mm),
            ("backlash_tightest_mm", self.backlash_tightest_mm),
            ("backlash_target_mm", self.backlash_target_mm),
        ):
            if value is not None and not (math.isfinite(value) and 0.0 <= value <= 3.0):
                raise InputError(
                    _("{value} mm is no backlash").format(value=Number(value, "g")),
                    where=name,
                    fix=_("give 0 to 3 mm"),
                )
        for shim in self.side_shims_mm or ():
            if not (math.isfinite(shim) and LEAST_SHIM_MM <= shim <= 30.0):
                raise InputError(
                    _("{value} mm is no side shim").format(value=Number(shim, "g")),
                    where="side_shims_mm",
                    fix=_("give the thickness on the ring gear's side, then that on the other side"),
                )
        if not self.backlash_sd_mm > 0.0:
            raise InputError(
                _("must be above zero"), where="backlash_sd_mm", fix=_("give the reading's uncertainty")
            )

    def seen(self, flank: str) -> SeenCenter | None:
        """Return the centre seen on a flank now."""
        drive = flank == "drive"
        return seen_center(
            self.drive if drive else self.coast,
            flank,
            self.drive_center_sd if drive else self.coast_center_sd,
        )


def seen_center(reading: Look, flank: str, bare_sd: tuple[float, float]) -> SeenCenter | None:
    """Return the centre of a reading or a bare pattern; None when there is none.

    Raises
    ------
    InputError
        When the pattern belongs to the other flank or is empty.
    """
    if reading is None:
        return None
    if isinstance(reading, ContactPattern):
        pattern, sd = reading, bare_sd
    else:
        pattern, sd = reading.pattern, reading.center_sd
    if pattern.flank != flank:
        raise InputError(
            _("the pattern given for the {flank} flank was read on the {flank2} flank").format(
                flank=flank, flank2=pattern.flank
            ),
            where=f"{flank} pattern",
            fix=_("swap the two pictures; drive is the convex flank of the ring gear"),
        )
    if pattern.empty:
        raise InputError(
            _("nothing is marked"), where=f"{flank} pattern", fix=_("roll the set again with fresh compound")
        )
    if not (sd[0] > 0.0 and sd[1] > 0.0):
        raise InputError(
            _("the uncertainty must be above zero"),
            where=f"{flank} pattern",
            fix=_("state how well it was read"),
        )
    return SeenCenter(float(pattern.center[0]), float(pattern.center[1]), float(sd[0]), float(sd[1]))
