"""Fields of the set identity step."""

from __future__ import annotations

from typing import Final

from axlewright.language import n_
from axlewright.steps.field import NOTE, Choice, Field
from axlewright.steps.form_parts import MARK_MEANING_CHOICES, MARK_UNIT_CHOICES, UNKNOWN
from axlewright.steps.step import StepForm

IDENTITY: Final = StepForm(
    "identity",
    n_("Read the numbers on pinion and ring gear. A pair that does not match cannot be set up."),
    (
        Field("pinion_number", n_("Pair number on the pinion"), "text", needed=True),
        Field("ring_number", n_("Pair number on the ring gear"), "text", needed=True),
        Field("pinion_teeth", n_("Pinion teeth, counted"), "count"),
        Field("ring_teeth", n_("Ring gear teeth, counted"), "count"),
        Field(
            "hand",
            n_("Hand of the pinion"),
            "choice",
            choices=(Choice("left", n_("left")), Choice("right", n_("right")), UNKNOWN),
        ),
        Field(
            "mark",
            n_("Depth mark as stamped on the pinion"),
            "text",
            n_("With its sign, such as +2. Empty when there is none."),
            group=n_("Depth mark"),
        ),
        Field(
            "ring_mark",
            n_("Depth mark on the ring gear"),
            "text",
            n_("Where it is marked there as well: both must say the same."),
            group=n_("Depth mark"),
        ),
        Field(
            "mark_unit",
            n_("One unit of the mark is"),
            "choice",
            n_("In the set's own data. The same +2 is used in three units."),
            choices=(*MARK_UNIT_CHOICES, UNKNOWN),
            group=n_("Depth mark"),
        ),
        Field(
            "mark_meaning",
            n_("Plus means"),
            "choice",
            n_("In the set's own data. Both meanings are in use and neither is guessed."),
            choices=(*MARK_MEANING_CHOICES, UNKNOWN),
            group=n_("Depth mark"),
        ),
        Field(
            "timing",
            n_("Timing marks"),
            "choice",
            choices=(
                Choice("none", n_("none")),
                Choice("matched", n_("there, and matched")),
                Choice("there", n_("there")),
            ),
            group=n_("More on the set"),
        ),
        Field(
            "condition",
            n_("The set is"),
            "choice",
            n_("A used set is held against its own wear trace. With nothing chosen it counts as new."),
            choices=(Choice("new", n_("new")), Choice("used", n_("used"))),
            group=n_("More on the set"),
        ),
        Field(
            "drives_on",
            n_("The flank that pulls going forward"),
            "choice",
            n_("Many front axles pull on the coast flank: it then decides. With nothing chosen it is drive."),
            choices=(
                Choice("drive", n_("drive, the ring gear's convex flank")),
                Choice("coast", n_("coast, the ring gear's concave flank")),
            ),
            group=n_("More on the set"),
        ),
        Field(
            "tooth_form",
            n_("Tooth depth from toe to heel"),
            "choice",
            n_("It decides which way a move carries the pattern along the tooth."),
            choices=(
                Choice("face-milled", n_("deeper at the heel (face-milled)")),
                Choice("face-hobbed", n_("the same all along (face-hobbed)")),
                UNKNOWN,
            ),
            group=n_("More on the set"),
        ),
        Field("ring_thickness", n_("Ring gear thickness"), "length", group=n_("More on the set")),
        Field(
            "ring_thickness_before",
            n_("Thickness of the ring gear that came out"),
            "length",
            n_("A thick or thin gear in the wrong case cannot be brought to its backlash with any shim."),
            group=n_("More on the set"),
        ),
        Field(
            "etched_backlash",
            n_("Backlash etched on the set"),
            "length",
            n_("It wins over every table."),
            group=n_("More on the set"),
        ),
        NOTE,
    ),
    n_("Check the pair"),
)
