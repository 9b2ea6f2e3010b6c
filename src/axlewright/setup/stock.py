"""Spacers and shims on the shelf: the nearest one, the best pack of leaves, what the remainder does.

All lengths are integers of 0.1 µm inside the search, so that sums of leaves are exact and ties are ties.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from axlewright.errors import InputError
from axlewright.language import eager as _
from axlewright.setup.depth import pinion_out_of_shim_change_mm
from axlewright.setup.marks import ShimPlace
from axlewright.units import System, show_length, shows_as_zero

RoundingRule = Literal["nearest", "nearest_but_not_thicker"]
"""Both rules are printed in civil service literature, so it is a setting."""

TICKS_PER_MM: Final = 10_000


@dataclass(frozen=True, slots=True)
class StockItem:
    """A spacer or leaf on the shelf.

    Parameters
    ----------
    label : str
        What is written on it or on its bin.
    thickness_mm : float
        Measured thickness [mm], > 0.
    count : int
        How many there are, ≥ 0.
    """

    label: str
    thickness_mm: float
    count: int = 1

    def __post_init__(self) -> None:
        if not (math.isfinite(self.thickness_mm) and self.thickness_mm > 0.0):
            raise InputError(
                _("thickness {thickness_mm} mm").format(thickness_mm=self.thickness_mm),
                where=f"stock {self.label}",
                fix=_("measure it in mm, above 0"),
            )
        if self.count < 0:
            raise InputError(
                _("count {count}").format(count=self.count),
                where=f"stock {self.label}",
                fix=_("count again, 0 or more"),
            )


@dataclass(frozen=True, slots=True)
class StockChoice:
    """What to take from the shelf.

    Parameters
    ----------
    wanted_mm : float
        Thickness asked for [mm].
    items : tuple of StockItem
        The leaves, one entry for each piece, in the order in which they go in.
    place : str
        Where the pack sits.
    """

    wanted_mm: float
    items: tuple[StockItem, ...]
    place: ShimPlace

    @property
    def thickness_mm(self) -> float:
        """Thickness of the pack [mm]."""
        return math.fsum(item.thickness_mm for item in self.items)

    @property
    def remainder_mm(self) -> float:
        """Pack minus wanted [mm], positive when the pack is too thick."""
        return self.thickness_mm - self.wanted_mm

    @property
    def pinion_out_mm(self) -> float:
        """Where the remainder leaves the pinion [mm], positive out of its place."""
        return pinion_out_of_shim_change_mm(self.remainder_mm, self.place)

    def text(self, system: System = "inch") -> str:
        """Return what to take and what the remainder does."""
        names = " + ".join(item.label for item in self.items)
        shown = show_length(self.thickness_mm, system)
        exact = shows_as_zero(self.remainder_mm, system)
        size = show_length(self.thickness_mm).partition(" (")[0]
        bare = names.removesuffix(f" {size}").removesuffix(" " + size.partition(" ")[0])
        # When nothing but its size is written on it, say it once.
        if len(self.items) == 1 and bare != names:
            names = f"{bare} {shown}"
            if exact:
                return _("Take {names}: exactly what is asked for.").format(names=names)
            sentence = (
                _("Take {names}, {by} too {thick}, pinion that much too far out.")
                if self.pinion_out_mm > 0
                else _("Take {names}, {by} too {thick}, pinion that much too far in.")
            )
        elif exact:
            return _("Take {names}: exactly {thickness}.").format(names=names, thickness=shown)
        else:
            sentence = (
                _("Take {names}: {thickness_mm}, {by} too {thick}, pinion that much too far out.")
                if self.pinion_out_mm > 0
                else _("Take {names}: {thickness_mm}, {by} too {thick}, pinion that much too far in.")
            )
        return sentence.format(
            names=names,
            thickness_mm=shown,
            by=show_length(abs(self.remainder_mm), system),
            thick=_("thick") if self.remainder_mm > 0 else _("thin"),
        )


def _allowed(thickness_mm: float, wanted_mm: float, rule: RoundingRule) -> bool:
    return rule == "nearest" or thickness_mm <= wanted_mm + 0.5 / TICKS_PER_MM


def check_wanted(wanted_mm: float, rule: RoundingRule) -> None:
    """Refuse a wanted thickness or rounding rule that makes no sense."""
    if not (math.isfinite(wanted_mm) and wanted_mm > 0.0):
        raise InputError(
            _("wanted thickness {wanted_mm} mm").format(wanted_mm=wanted_mm),
            where=_("stock"),
            fix=_("ask for a thickness above 0"),
        )
    if rule not in ("nearest", "nearest_but_not_thicker"):
        raise InputError(
            _("unknown rounding rule '{rule}'").format(rule=rule),
            where=_("stock"),
            fix=_("nearest or nearest_but_not_thicker"),
        )


def nearest_spacer(
    wanted_mm: float,
    stock: Sequence[StockItem],
    *,
    place: ShimPlace,
    rule: RoundingRule = "nearest",
) -> StockChoice:
    """Return the single spacer nearest to the wanted thickness.

    Parameters
    ----------
    wanted_mm : float
        Thickness wanted [mm], > 0.
    stock : sequence of StockItem
        What is on the shelf; items with count 0 are passed over.
    place : {"under_head", "behind_cup", "cage_flange"}
        Where it goes; decides which way the remainder moves the pinion.
    rule : {"nearest", "nearest_but_not_thicker"}
        Rounding rule. Of two equally near ones the thinner is taken.

    Raises
    ------
    InputError
        If nothing on the shelf fits the rule.
    """
    check_wanted(wanted_mm, rule)
    fitting = [i for i in stock if i.count > 0 and _allowed(i.thickness_mm, wanted_mm, rule)]
    if not fitting:
        raise InputError(
            _("no spacer on the shelf for {wanted_mm}").format(wanted_mm=show_length(wanted_mm)),
            where=_("stock"),
            fix=_("add what is there with its measured thickness, or order one"),
        )
    best = min(fitting, key=lambda i: (round(abs(i.thickness_mm - wanted_mm) * TICKS_PER_MM), i.thickness_mm))
    return StockChoice(wanted_mm, (best,), place)
