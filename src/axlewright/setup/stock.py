"""Spacers and shims on the shelf: the nearest one, the best pack of leaves, and what to order.

The search is exact: lengths are integers of 0.1 µm, so that sums of leaves are exact and ties are ties, and
which sums a given number of leaves can reach is kept as one bit for each sum, so that packs of many leaves
from a full drawer are found at once.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from axlewright.errors import InputError
from axlewright.language import Text, _, joined, n_
from axlewright.setup.depth import pinion_out_of_shim_change_mm
from axlewright.setup.limits import Limit, judge
from axlewright.setup.marks import ShimPlace
from axlewright.setup.sources import manual
from axlewright.units import MM_PER_INCH, Length

RoundingRule = Literal["nearest", "nearest_but_not_thicker"]
"""Both rules are printed in civil service literature, so it is a setting."""

RULE_WORDS: Final[dict[RoundingRule, str]] = {
    "nearest": n_("the nearest"),
    "nearest_but_not_thicker": n_("the nearest that is not thicker"),
}

TICKS_PER_MM: Final = 10_000


@dataclass(frozen=True, slots=True)
class StockItem:
    """A spacer or leaf on the shelf.

    Parameters
    ----------
    label : Text
        What is written on it or on its bin; empty for a piece that is known by its thickness.
    thickness_mm : float
        Measured thickness [mm], > 0.
    count : int
        How many there are, ≥ 0.
    kind : Text
        What it is: "the spacer".
    """

    label: Text
    thickness_mm: float
    count: int = 1
    kind: Text = ""

    def __post_init__(self) -> None:
        if not (math.isfinite(self.thickness_mm) and self.thickness_mm > 0.0):
            raise InputError(
                _("thickness {thickness_mm} mm").format(thickness_mm=self.thickness_mm),
                where=self._where,
                fix=_("measure it in mm, above 0"),
            )
        if self.count < 0:
            raise InputError(
                _("count {count}").format(count=self.count),
                where=self._where,
                fix=_("count again, 0 or more"),
            )

    @property
    def _where(self) -> Text:
        return joined(_("stock"), self.label or self.kind)

    @property
    def name(self) -> Text:
        """What it is called: by its label, else by its kind and thickness."""
        return self.label or joined(self.kind, Length(self.thickness_mm))


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

    @property
    def names(self) -> Text:
        """What the pieces are called, in the order in which they go in."""
        return joined(*(item.name for item in self.items), between=" + ")

    def text(self) -> Text:
        """Return what to take and what the remainder does."""
        what, thickness = self.names, Length(self.thickness_mm)
        by_size = len(self.items) == 1 and not self.items[0].label  # its name says its size
        if Length(self.remainder_mm).shows_as_zero("metric"):  # the finer of the two as shown
            if by_size:
                return _("Take {names}: exactly what is asked for.").format(names=what)
            return _("Take {names}: exactly {thickness}.").format(names=what, thickness=thickness)
        thick, out = self.remainder_mm > 0, self.pinion_out_mm > 0
        if thick and out:
            sentence = _("Take {names}, {by} too thick, pinion that much too far out.")
        elif thick:
            sentence = _("Take {names}, {by} too thick, pinion that much too far in.")
        elif out:
            sentence = _("Take {names}, {by} too thin, pinion that much too far out.")
        else:
            sentence = _("Take {names}, {by} too thin, pinion that much too far in.")
        if not by_size:
            what = joined(what, thickness, between=": ")
        return sentence.format(names=what, by=Length(abs(self.remainder_mm)))


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
    if rule not in RULE_WORDS:
        raise InputError(
            _("unknown rounding rule '{rule}'").format(rule=rule),
            where=_("stock"),
            fix=_("use one of {rules}").format(rules=", ".join(RULE_WORDS)),
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
            _("no spacer on the shelf for {wanted_mm}").format(wanted_mm=Length(wanted_mm)),
            where=_("stock"),
            fix=_("add what is there with its measured thickness, or order one"),
        )
    best = min(fitting, key=lambda i: (round(abs(i.thickness_mm - wanted_mm) * TICKS_PER_MM), i.thickness_mm))
    return StockChoice(wanted_mm, (best,), place)


CLOSE_ENOUGH_MM: Final = 0.005
"""A pack this near is not bettered by adding leaves: what a micrometer repeats to (common practice, no
source)."""

LARGEST_PACK: Final = 12
"""More leaves than anybody should stack (common practice, no source)."""


def _in_order(items: Sequence[StockItem], thin_outside: bool) -> tuple[StockItem, ...]:
    """Return the leaves as they go in: thick to thin, or with the two thinnest as outer faces."""
    ordered = sorted(items, key=lambda i: -i.thickness_mm)
    if thin_outside and len(ordered) > 2:
        return (ordered[-1], *ordered[:-2], ordered[-2])
    return tuple(ordered)


def best_pack(
    wanted_mm: float,
    stock: Sequence[StockItem],
    *,
    place: ShimPlace,
    rule: RoundingRule = "nearest",
    least_leaves: int = 1,
    most_leaves: int = 6,
    thin_outside: bool = False,
    close_enough_mm: float = CLOSE_ENOUGH_MM,
) -> StockChoice:
    """Return the pack that comes nearest with the fewest leaves.

    Parameters
    ----------
    wanted_mm : float
        Thickness wanted [mm], > 0.
    stock : sequence of StockItem
        What is on the shelf, measured leaf by leaf, with counts.
    place : {"under_head", "behind_cup", "cage_flange"}
        Where the pack goes.
    rule : {"nearest", "nearest_but_not_thicker"}
        Rounding rule.
    least_leaves, most_leaves : int
        How many leaves the pack may have; cage packs have at least three (TM 10-3930-660-34 p 9-20).
    thin_outside : bool
        Put the two thinnest on the outer faces (same source; TM 5-3810-306-34 p 8-28).
    close_enough_mm : float
        Of packs within this of the wanted thickness the one with fewest leaves is taken; beyond it nearness
        comes first.

    Returns
    -------
    StockChoice

    Raises
    ------
    InputError
        If no pack of so many leaves fits the rule.

    Notes
    -----
    Order of preference: least distance beyond `close_enough_mm`; fewest leaves; least remainder; thinner of
    two equal remainders.
    """
    check_wanted(wanted_mm, rule)
    if not 1 <= least_leaves <= most_leaves <= LARGEST_PACK:
        raise InputError(
            _("a pack of {least_leaves} to {most_leaves} leaves").format(
                least_leaves=least_leaves, most_leaves=most_leaves
            ),
            where=_("stock"),
            fix=_("give numbers from 1 to {largest_pack}, the smaller first").format(
                largest_pack=LARGEST_PACK
            ),
        )
    leaves = [item for item in stock for _again in range(min(item.count, most_leaves))]
    ticks = [round(leaf.thickness_mm * TICKS_PER_MM) for leaf in leaves]
    target = round(wanted_mm * TICKS_PER_MM)
    allowance = round(close_enough_mm * TICKS_PER_MM)
    if not leaves or min(ticks) < 1:
        raise InputError(
            _("the shelf is empty"), where=_("stock"), fix=_("add what is there with its thickness")
        )
    # A pack so thick that it stays too thick without one of its leaves is never the best.
    limit = max(target + max(ticks), least_leaves * max(ticks))
    window = (1 << (limit + 1)) - 1
    reach = [1] + [0] * most_leaves
    history = []
    for tick in ticks:
        history.append(list(reach))
        for k in range(most_leaves, 0, -1):
            reach[k] |= (reach[k - 1] << tick) & window
    best: tuple[int, int, int, int] | None = None
    for k in range(least_leaves, most_leaves + 1):
        for total in _nearest_sums(reach[k], target, limit, rule):
            off = abs(total - target)
            key = (max(0, off - allowance), k, off, total)
            if best is None or key < best:
                best = key
    if best is None:
        raise InputError(
            _("no pack of {least_leaves} to {most_leaves} leaves for {wanted_mm}").format(
                least_leaves=least_leaves, most_leaves=most_leaves, wanted_mm=Length(wanted_mm)
            ),
            where=_("stock"),
            fix=_("allow more leaves, add thinner ones, or order"),
        )
    _rest, k, _rest2, total = best
    taken = []
    for leaf, tick, before in zip(reversed(leaves), reversed(ticks), reversed(history), strict=True):
        if k > 0 and not (before[k] >> total) & 1:
            taken.append(leaf)
            k, total = k - 1, total - tick
    pieces = [replace(leaf, count=1) for leaf in taken]
    return StockChoice(wanted_mm, _in_order(pieces, thin_outside), place)


def _nearest_sums(bits: int, target: int, limit: int, rule: RoundingRule) -> list[int]:
    """Return the reachable sums next below (or at) and next above the target."""
    found = []
    below = bits & ((1 << (min(target, limit) + 1)) - 1)
    if below:
        found.append(below.bit_length() - 1)
    above = bits >> (target + 1)
    if above and rule == "nearest":
        found.append(target + 1 + (above & -above).bit_length() - 1)
    return found


@dataclass(frozen=True, slots=True)
class SizeSeries:
    """Sizes that can be ordered: from, to, by.

    Parameters
    ----------
    name : Text
        What they are.
    low_mm, high_mm, step_mm : float
        Thinnest, thickest and step [mm].
    source : Text
        Where the series comes from.
    """

    name: Text
    low_mm: float
    high_mm: float
    step_mm: float
    source: Text

    def __post_init__(self) -> None:
        if not (0.0 < self.low_mm <= self.high_mm and self.step_mm > 0.0):
            raise InputError(
                _("thinnest, thickest and step do not fit"), where=self.name, fix=_("check all three")
            )

    @property
    def sizes_mm(self) -> tuple[float, ...]:
        """All sizes [mm]."""
        count = math.floor((self.high_mm - self.low_mm) / self.step_mm + 1e-6) + 1
        return tuple(self.low_mm + i * self.step_mm for i in range(count))

    def nearest_mm(self, wanted_mm: float, rule: RoundingRule = "nearest") -> float | None:
        """Return the size to order [mm], or nothing where the series does not reach to within a step."""
        fitting = [s for s in self.sizes_mm if rule == "nearest" or s <= wanted_mm + 0.5 / TICKS_PER_MM]
        best = min(fitting, key=lambda s: abs(s - wanted_mm), default=None)
        return None if best is None or abs(best - wanted_mm) > self.step_mm else best


PINION_SPACERS: Final = SizeSeries(
    _("pinion spacers"), 0.084 * MM_PER_INCH, 0.111 * MM_PER_INCH, 0.0005 * MM_PER_INCH, manual("T1", "T4")
)
SIDE_SHIMS: Final = SizeSeries(
    _("side shims"), 0.077 * MM_PER_INCH, 0.117 * MM_PER_INCH, 0.001 * MM_PER_INCH, manual("T1")
)


@dataclass(frozen=True, slots=True)
class OrderAdvice:
    """What to order because the shelf does not reach.

    Parameters
    ----------
    wanted_mm : float
        Thickness wanted [mm].
    order_mm : float or None
        Size to order [mm]; ``None`` when the series has none near enough.
    series : SizeSeries
        Where it is ordered from.
    reason : Text
        Why the shelf is not enough.
    """

    wanted_mm: float
    order_mm: float | None
    series: SizeSeries
    reason: Text

    def text(self) -> Text:
        """Return what to order."""
        if self.order_mm is None:
            return _("Order {wanted}, or leaves that add up to it.").format(wanted=Length(self.wanted_mm))
        return _(
            "To order: {size}, the nearest of a series by {step} ({source}); "
            "your supplier's sizes may differ."
        ).format(size=Length(self.order_mm), step=Length(self.series.step_mm), source=self.series.source)


def what_to_order(
    choice: StockChoice | None,
    wanted_mm: float,
    series: SizeSeries,
    tolerance: Limit,
    *,
    rule: RoundingRule = "nearest",
) -> OrderAdvice | None:
    """Return what to order, or nothing when the choice from the shelf is inside the tolerance.

    Parameters
    ----------
    choice : StockChoice or None
        Best choice from the shelf; ``None`` when there was none.
    wanted_mm : float
        Thickness wanted [mm].
    series : SizeSeries
        Sizes that can be had.
    tolerance : Limit
        Permitted remainder [mm], such as the default limit "depth_remainder".
    rule : {"nearest", "nearest_but_not_thicker"}
        Rounding rule.
    """
    if choice is not None and judge(choice.remainder_mm, tolerance).kind == "inside":
        return None
    if choice is None:
        reason: Text = _("Nothing on the shelf fits.")
    else:
        reason = _("The nearest on the shelf is off by {remainder_mm}.").format(
            remainder_mm=Length(choice.remainder_mm, signed=True)
        )
    return OrderAdvice(wanted_mm, series.nearest_mm(wanted_mm, rule), series, reason)
