"""Choices and fields that several steps share."""

from __future__ import annotations

from typing import Final

from axlewright.language import n_
from axlewright.steps.field import Choice, Field

MARK_UNIT_CHOICES: Final = (
    Choice("0.001 in", n_("thousandths of an inch (0.001 in)")),
    Choice("0.01 mm", n_("hundredths of a millimetre (0.01 mm)")),
    Choice("0.001 mm", n_("thousandths of a millimetre (0.001 mm)")),
)
MARK_MEANING_CHOICES: Final = (
    Choice(
        "plus_means_larger_mounting_distance",
        n_("plus: pinion sits farther out, thinner spacer under the head"),
    ),
    Choice("plus_means_thicker_spacer", n_("plus: thicker spacer under the head, pinion farther in")),
)
PLACE_CHOICES: Final = (
    Choice("under_head", n_("spacer under the pinion head")),
    Choice("behind_cup", n_("shim behind the head bearing's cup")),
    Choice("cage_flange", n_("shims between pinion cage and carrier")),
)
UNKNOWN: Final = Choice("unknown", n_("not known yet"))

SHELF_FIELDS: Final = (
    Field(
        "rule",
        n_("Where no size fits exactly, take"),
        "choice",
        n_("Both rules are printed. Nothing chosen means the nearest."),
        choices=(
            Choice("nearest", n_("the nearest")),
            Choice("nearest_but_not_thicker", n_("the nearest that is not thicker")),
        ),
        sticky=True,
        group=n_("From the shelf"),
    ),
    Field(
        "most_leaves",
        n_("Most leaves in a pack"),
        "count",
        n_("1 for one solid spacer. Empty: 1, or 6 at a cage flange."),
        sticky=True,
        group=n_("From the shelf"),
    ),
    Field(
        "least_leaves",
        n_("Fewest leaves"),
        "count",
        n_("Empty: 1, or 3 at a cage flange."),
        sticky=True,
        group=n_("From the shelf"),
    ),
    Field(
        "thin_outside",
        n_("Thinnest leaves on the outer faces"),
        "yes",
        n_("Always so at a cage flange."),
        sticky=True,
        group=n_("From the shelf"),
    ),
)
"""How a pack is put together from the shelf: rule and number of leaves are data, not habits."""
