"""The fields of each step as data: what the page draws and the command line asks for.

Nothing here computes; it is light to load.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from axlewright.bench.form_parts import (
    LIMIT_FIELDS,
    MARK_MEANING_CHOICES,
    MARK_UNIT_CHOICES,
    NOTE,
    PLACE_CHOICES,
    RESOLUTION,
    UNKNOWN,
    WITH,
    Choice,
    Field,
    StepForm,
)

COMPLAINT: Final = StepForm(
    "complaint",
    "Write down what is heard or felt. Rule out tyres, wheel bearings and driveline before opening anything.",
    (
        Field("heard", "What is heard or felt", "text", "Such as: whine, growl, clunk.", needed=True),
        Field(
            "when",
            "When",
            "choice",
            choices=(
                Choice("drive", "on drive (pulling)"),
                Choice("cruise", "at steady speed"),
                Choice("float", "throttle just holding"),
                Choice("coast", "on coast (closed throttle)"),
                Choice("always", "all the time"),
                UNKNOWN,
            ),
            needed=True,
        ),
        Field("speed", "Speed band", "text", "Such as: 40 to 50 mph."),
        Field(
            "others_out",
            "Tyres, wheel bearings and driveline ruled out?",
            "choice",
            choices=(Choice("yes", "yes"), Choice("no", "not yet")),
            needed=True,
        ),
        NOTE,
    ),
    "Keep it",
)

AS_FOUND: Final = StepForm(
    "as-found",
    "What is found now cannot be measured again later. Tag shims and caps before they move.",
    (
        Field(
            "backlash",
            "Backlash round the ring gear",
            "lengths",
            "At four to eight places, separated by spaces.",
            place="j",
        ),
        Field("spacer", "Depth spacer that was in", "length", "Measured, once it is out.", place="S"),
        Field("ring_side", "Side shim, ring gear side", "length", place="R"),
        Field("other_side", "Side shim, other side", "length", place="O"),
        Field("turning", "Torque to turn the pinion", "torque", "While it turns, not at breakaway."),
        Field("ring_runout", "Ring gear back face runout", "length", "Total indicator reading."),
        Field("tagged", "Shims and caps tagged", "yes"),
        NOTE,
    ),
    "Keep it",
)

IDENTITY: Final = StepForm(
    "identity",
    "Read the numbers on pinion and ring gear. A pair that does not match cannot be set up.",
    (
        Field("pinion_number", "Pair number on the pinion", "text", needed=True),
        Field("ring_number", "Pair number on the ring gear", "text", needed=True),
        Field("pinion_teeth", "Pinion teeth, counted", "count"),
        Field("ring_teeth", "Ring gear teeth, counted", "count"),
        Field(
            "hand",
            "Hand of the pinion",
            "choice",
            choices=(Choice("left", "left"), Choice("right", "right"), UNKNOWN),
        ),
        Field(
            "mark",
            "Depth mark as stamped",
            "text",
            "With its sign, such as +2. Empty when there is none.",
            group="Depth mark",
        ),
        Field(
            "mark_unit",
            "One unit of the mark is",
            "choice",
            "In the set's own data. The same +2 is used in three units.",
            choices=(*MARK_UNIT_CHOICES, UNKNOWN),
            group="Depth mark",
        ),
        Field(
            "mark_meaning",
            "Plus means",
            "choice",
            "In the set's own data. Both meanings are in use and neither is guessed.",
            choices=(*MARK_MEANING_CHOICES, UNKNOWN),
            group="Depth mark",
        ),
        Field(
            "timing",
            "Timing marks",
            "choice",
            choices=(
                Choice("none", "none"),
                Choice("matched", "there, and matched"),
                Choice("there", "there"),
            ),
            group="More on the set",
        ),
        Field("ring_thickness", "Ring gear thickness", "length", group="More on the set"),
        Field(
            "etched_backlash",
            "Backlash etched on the set",
            "length",
            "It wins over every table.",
            group="More on the set",
        ),
        NOTE,
    ),
    "Check the pair",
)

FITS: Final = StepForm(
    "fits",
    "What runs out here comes back as changing backlash and a wandering pattern.",
    (
        Field("flange_runout", "Case flange runout, ring gear off", "length", "Total indicator reading."),
        Field("ring_face_runout", "Ring gear back face runout", "length", "Total indicator reading."),
        Field("bearings", "Bearing journals and bores", "text", "What was found.", needed=True),
        NOTE,
    ),
    "Judge it",
)

DEPTH: Final = StepForm(
    "depth",
    "Five readings of the carrier, the bearing's width, the mounting distance and the mark give the spacer.",
    (
        Field(
            "place",
            "Where the shim sits",
            "choice",
            "It decides which way the pinion moves when the shim gets thicker.",
            choices=PLACE_CHOICES,
            needed=True,
            sticky=True,
        ),
        Field(
            "carrier",
            "Carrier: ring gear axis to the bearing's shoulder",
            "lengths",
            "Five readings, separated by spaces or new lines. At a cage flange: axis to the flange face.",
            needed=True,
            place="A",
            sticky=True,
        ),
        Field(
            "bearing",
            "Head bearing, assembled width",
            "lengths",
            "Cone and cup together, turned a few times under light load. Several readings are better.",
            needed=True,
            place="T",
            sticky=True,
        ),
        Field(
            "mounting_distance",
            "Mounting distance",
            "length",
            "Ring gear axis to the back of the pinion head. Filled in from the design where it is known.",
            needed=True,
            place="D",
            sticky=True,
        ),
        Field(
            "mounting_distance_of",
            "This mounting distance is",
            "choice",
            choices=(
                Choice("design", "the design's, for a mark of 0"),
                Choice("stamped", "stamped on this very set"),
            ),
            sticky=True,
        ),
        Field(
            "cage_height",
            "Cage: flange face to cup shoulder",
            "length",
            "Only for shims at the cage flange; positive toward the ring gear's axis.",
            place="c",
            sticky=True,
        ),
        Field(
            "mark",
            "Depth mark as stamped",
            "text",
            "Empty when there is none.",
            place="M",
            sticky=True,
            group="Depth mark",
        ),
        Field(
            "mark_unit",
            "One unit of the mark is",
            "choice",
            choices=MARK_UNIT_CHOICES,
            sticky=True,
            group="Depth mark",
        ),
        Field(
            "mark_meaning",
            "Plus means",
            "choice",
            choices=MARK_MEANING_CHOICES,
            sticky=True,
            group="Depth mark",
        ),
        Field(
            "fitted",
            "Spacer that was fitted, measured",
            "length",
            "Empty until one is in.",
            place="S",
            group="What was fitted",
        ),
        WITH,
        RESOLUTION,
        Field(
            "calibration",
            "Its calibration uncertainty (k = 2)",
            "length",
            "From its certificate. Leave empty when not known.",
            sticky=True,
            group="Instrument",
        ),
        NOTE,
    ),
    "Work out the spacer",
)

PRELOAD: Final = StepForm(
    "preload",
    "Read the torque while the pinion turns slowly, not at breakaway. Ring gear out.",
    (
        Field(
            "bearings",
            "Pinion bearings",
            "choice",
            choices=(Choice("new", "new"), Choice("used", "used")),
            needed=True,
            sticky=True,
        ),
        Field(
            "kind",
            "What sets the preload",
            "choice",
            choices=(Choice("sleeve", "crushed sleeve"), Choice("spacer", "rigid spacer or shims")),
            needed=True,
            sticky=True,
        ),
        Field("torque", "Running torque", "torque", "From the wrench. Or fill in the cord and scale below."),
        Field("seal", "Of that, the seal's drag", "torque", "0 when no seal is in.", sticky=True),
        Field("force", "Pull on the cord", "force", group="Cord and scale instead of a wrench"),
        Field(
            "radius",
            "Radius where the cord runs off",
            "length",
            sticky=True,
            group="Cord and scale instead of a wrench",
        ),
        Field(
            "nut",
            "Nut turned since the bearings began to drag, degrees",
            "number",
            "For a crushed sleeve: gives the next step.",
            group="Crushed sleeve",
        ),
        Field("limit_low", "Least", "torque", sticky=True, group="Limits from the axle's service data"),
        Field("limit_high", "Largest", "torque", sticky=True, group="Limits from the axle's service data"),
        *LIMIT_FIELDS,
        NOTE,
    ),
    "Judge it",
)

BACKLASH: Final = StepForm(
    "backlash",
    "Indicator at the heel, pinion held. Read at four to eight even places once round.",
    (
        Field(
            "readings",
            "Backlash round the ring gear",
            "lengths",
            "In order round the gear, separated by spaces or new lines.",
            needed=True,
            place="j",
        ),
        Field(
            "stem",
            "The indicator's stem stood",
            "choice",
            choices=(
                Choice("in_rotation", "in line with rotation"),
                Choice("square_to_tooth", "square to the tooth"),
            ),
            sticky=True,
        ),
        Field(
            "axle",
            "Kind of axle",
            "choice",
            "Chooses the default limit where you have no service data.",
            choices=(
                Choice("light", "light axle"),
                Choice("truck", "medium or heavy truck"),
                Choice("heavy_tandem", "heavy tandem"),
                Choice("earthmover", "earthmover"),
            ),
            needed=True,
            sticky=True,
        ),
        Field(
            "target",
            "Backlash wanted at the tightest place",
            "length",
            "Empty takes the middle.",
            sticky=True,
        ),
        Field("ring_side", "Side shim, ring gear side", "length", place="R", group="Side shims or adjusters"),
        Field("other_side", "Side shim, other side", "length", place="O", group="Side shims or adjusters"),
        Field(
            "thread_pitch",
            "Adjuster: thread pitch",
            "length",
            "Leave empty with shims.",
            sticky=True,
            group="Side shims or adjusters",
        ),
        Field(
            "notches",
            "Adjuster: notches once round",
            "count",
            sticky=True,
            group="Side shims or adjusters",
        ),
        Field(
            "moved",
            "Ring gear moved since the last reading",
            "length",
            "Plus is away from the pinion. Teaches this axle's own backlash per move.",
            group="Side shims or adjusters",
        ),
        Field("limit_low", "Least", "length", sticky=True, group="Limits from the axle's service data"),
        Field("limit_high", "Largest", "length", sticky=True, group="Limits from the axle's service data"),
        Field(
            "limit_spread",
            "Largest spread round the gear",
            "length",
            sticky=True,
            group="Limits from the axle's service data",
        ),
        *LIMIT_FIELDS,
        WITH,
        RESOLUTION,
        NOTE,
    ),
    "Judge it",
)

PATTERN: Final = StepForm(
    "pattern",
    "Paint, roll, photograph both flanks. No photo? Say in words where the marks lie.",
    (
        Field(
            "accepted",
            "You look at the marks and say",
            "choice",
            "Only after the photos or words have been read.",
            choices=(Choice("yes", "the pattern is right"), Choice("no", "the pattern is not right")),
            needed=True,
        ),
        Field("reason", "Because", "text"),
    ),
    "Keep it",
)

FINAL: Final = StepForm(
    "final",
    "Pressed bearings grow and set-up bearings differ: prove the trial result with everything in place.",
    (
        Field("backlash", "Backlash round the ring gear", "lengths", needed=True, place="j"),
        Field("torque", "Torque to turn the pinion, everything fitted", "torque", needed=True),
        Field(
            "pattern",
            "The pattern once more",
            "choice",
            choices=(Choice("same", "as accepted"), Choice("changed", "it has changed")),
            needed=True,
        ),
        NOTE,
    ),
    "Judge it",
)

CLOSE: Final = StepForm(
    "close",
    "Locks, caps, cover, oil, leaks, road test. Then sign.",
    (
        Field(
            "locks", "Locks and caps", "yes", "Fitted as the maker says, caps on their own side and way up."
        ),
        Field("oil", "Oil in, no leak", "yes"),
        Field("road", "Road test", "text", "What was heard, at which speeds.", needed=True),
        Field(
            "gone",
            "The complaint is",
            "choice",
            choices=(Choice("gone", "gone"), Choice("less", "less"), Choice("same", "the same")),
            needed=True,
        ),
        NOTE,
    ),
    "Keep it",
)

FORMS: Final[Mapping[str, StepForm]] = MappingProxyType(
    {
        f.step: f
        for f in (COMPLAINT, AS_FOUND, IDENTITY, FITS, DEPTH, PRELOAD, BACKLASH, PATTERN, FINAL, CLOSE)
    }
)
"""The form of each step, by the step's key."""
