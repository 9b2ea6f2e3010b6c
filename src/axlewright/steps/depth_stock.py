"""From the spacer wanted to what is on the shelf: one spacer or a pack of leaves, and what to order."""

from __future__ import annotations

from typing import TYPE_CHECKING

from axlewright.errors import AxlewrightError
from axlewright.language import eager as _
from axlewright.setup import (
    PINION_SPACERS,
    ShimPlace,
    StockChoice,
    StockItem,
    best_pack,
    choose_limit,
    nearest_spacer,
    what_to_order,
)
from axlewright.steps.answers import Typed
from axlewright.steps.result import Result
from axlewright.steps.step import Context
from axlewright.units import MM_PER_INCH, show_length

if TYPE_CHECKING:
    from axlewright.setup import RoundingRule

CAGE_LEAST_LEAVES = 3
"""Cage packs have at least three shims, the thinnest outside (TM 10-3930-660-34 p 9-20)."""
CAGE_MOST_LEAVES = 6
TOO_FAR_MM = 0.01 * MM_PER_INCH
"""What is farther off than this is no help from the shelf (common practice, no source)."""


def _rule(typed: Typed) -> RoundingRule:
    chosen = typed.choice("rule", ("nearest", "nearest_but_not_thicker"))
    return "nearest_but_not_thicker" if chosen == "nearest_but_not_thicker" else "nearest"


def from_shelf(
    found: Result, typed: Typed, known: Context, wanted_mm: float, place: ShimPlace
) -> StockChoice | None:
    """Return what to take from the shelf for a spacer, told with what to order; None when nothing fits."""
    cage = place == "cage_flange"
    most = typed.count("most_leaves", low=1, high=12) or (CAGE_MOST_LEAVES if cage else 1)
    least = typed.count("least_leaves", low=1, high=12) or min(CAGE_LEAST_LEAVES if cage else 1, most)
    if least > most:
        raise typed.error("least_leaves", _("more than the most leaves"), _("give the smaller number here"))
    if wanted_mm <= 0.0:
        return None
    rule = _rule(typed)
    if not known.shelf and not (cage and known.leaves):
        found.notes.append(
            _("No spacers are entered on the shelf (Settings): nearest stock size cannot be named.")
        )
        return None
    pieces: tuple[StockItem, ...] = known.shelf + known.leaves
    try:
        if most == 1:
            choice = nearest_spacer(wanted_mm, known.shelf, place=place, rule=rule)
        else:
            choice = best_pack(
                wanted_mm,
                pieces,
                place=place,
                rule=rule,
                least_leaves=least,
                most_leaves=most,
                thin_outside=cage or typed.ticked("thin_outside"),
            )
    except AxlewrightError as error:
        found.notes.append(_("Nothing on the shelf fits: {why}.").format(why=f"{error.what}; {error.fix}"))
        _tell_order(found, typed, None, wanted_mm, rule)
        return None
    if abs(choice.remainder_mm) > TOO_FAR_MM:
        found.notes.append(
            _("The nearest on the shelf is {thickness_mm}, too far away: order {value_mm}.").format(
                thickness_mm=show_length(choice.thickness_mm, typed.system),
                value_mm=show_length(wanted_mm, typed.system),
            )
        )
        return None
    found.notes.append(choice.text(typed.system))
    if len(choice.items) > 1:
        found.notes.append(
            _("{count} leaves, in this order: {leaves}. Measure the pack once more as a pack.").format(
                count=len(choice.items),
                leaves=", ".join(show_length(item.thickness_mm, typed.system) for item in choice.items),
            )
        )
    _tell_order(found, typed, choice, wanted_mm, rule)
    found.values |= {
        "shelf_mm": choice.thickness_mm,
        "shelf_label": " + ".join(item.label for item in choice.items),
        "shelf_leaves_mm": [round(item.thickness_mm, 6) for item in choice.items],
    }
    return choice


def _tell_order(
    found: Result, typed: Typed, choice: StockChoice | None, wanted_mm: float, rule: RoundingRule
) -> None:
    """Say what to order when the shelf leaves the pinion farther off than its limit allows."""
    advice = what_to_order(choice, wanted_mm, PINION_SPACERS, choose_limit("depth_remainder"), rule=rule)
    if advice is None:
        return
    if advice.order_mm is None:
        found.notes.append(
            _("Order {wanted}, or leaves that add up to it.").format(
                wanted=show_length(wanted_mm, typed.system)
            )
        )
        return
    found.notes.append(
        _(
            "To order: {size}, the nearest of a series by {step} ({source}); "
            "your supplier's sizes may differ."
        ).format(
            size=show_length(advice.order_mm, typed.system),
            step=show_length(PINION_SPACERS.step_mm, typed.system),
            source=PINION_SPACERS.source,
        )
    )
    found.values["order_mm"] = advice.order_mm
