"""Fields of the steps that set the axle and prove it: preload, backlash, pattern, final build, close."""

from __future__ import annotations

from typing import Final

from axlewright.language import n_
from axlewright.steps.field import LIMIT_FIELDS, NOTE, RESOLUTION, WITH, Choice, Field
from axlewright.steps.step import StepForm

BACKLASH: Final = StepForm(
    "backlash",
    n_("Indicator at the heel, pinion held. Read at four to eight even places once round."),
    (
        Field(
            "stage",
            n_("You are at"),
            "choice",
            n_("With nothing chosen it counts as read."),
            choices=(
                Choice("read", n_("backlash is read")),
                Choice("zero", n_("first shims, found at no backlash and no preload")),
            ),
            default="read",
        ),
        Field(
            "readings",
            n_("Backlash round the ring gear"),
            "lengths",
            n_("In order round the gear, separated by spaces or new lines."),
            needed=True,
            place="j",
            only="stage:read",
        ),
        Field(
            "stem",
            n_("The indicator's stem stood"),
            "choice",
            choices=(
                Choice("in_rotation", n_("in line with rotation")),
                Choice("square_to_tooth", n_("square to the tooth")),
            ),
            sticky=True,
        ),
        Field(
            "axle",
            n_("Kind of axle"),
            "choice",
            n_("Chooses the default limit where you have no service data."),
            choices=(
                Choice("light", n_("light axle")),
                Choice("truck", n_("medium or heavy truck")),
                Choice("heavy_tandem", n_("heavy tandem")),
                Choice("earthmover", n_("earthmover")),
            ),
            needed=True,
            sticky=True,
        ),
        Field(
            "target",
            n_("Backlash wanted at the tightest place"),
            "length",
            n_("Empty takes the middle."),
            sticky=True,
        ),
        Field(
            "heel_radius",
            n_("Radius at which the indicator stands"),
            "length",
            n_("At the heel. Empty takes the ring gear's outer radius."),
            sticky=True,
            only="stage:read",
        ),
        Field(
            "sides",
            n_("The side bearings are set by"),
            "choice",
            choices=(
                Choice("cups", n_("shims outboard of the cups")),
                Choice("cones", n_("shims behind the cones")),
                Choice("adjusters", n_("threaded adjusters")),
            ),
            sticky=True,
            group=n_("Side shims or adjusters"),
        ),
        Field(
            "ring_side",
            n_("Side shim, ring gear side"),
            "length",
            place="R",
            group=n_("Side shims or adjusters"),
            only="sides:cups,cones",
        ),
        Field(
            "other_side",
            n_("Side shim, other side"),
            "length",
            place="O",
            group=n_("Side shims or adjusters"),
            only="sides:cups,cones",
        ),
        Field(
            "each_side",
            n_("Preload: add on each side"),
            "length",
            n_("From the axle's service data. Leave empty when the preload is in already."),
            group=n_("Side shims or adjusters"),
            only="sides:cups,cones",
        ),
        Field(
            "thread_pitch",
            n_("Adjuster: thread pitch"),
            "length",
            n_("Leave empty with shims."),
            sticky=True,
            group=n_("Side shims or adjusters"),
            only="sides:adjusters",
        ),
        Field(
            "notches",
            n_("Adjuster: notches once round"),
            "count",
            sticky=True,
            group=n_("Side shims or adjusters"),
            only="sides:adjusters",
        ),
        Field(
            "moved",
            n_("Ring gear moved since the last reading"),
            "length",
            n_("Plus is away from the pinion. Teaches this axle's own backlash per move."),
            group=n_("Side shims or adjusters"),
            signed=True,
            only="stage:read",
        ),
        Field(
            "end_play",
            n_("End play of the case"),
            "length",
            n_("0 before preload is added."),
            group=n_("Side preload"),
        ),
        Field(
            "rise",
            n_("Torque at the pinion more than the pinion alone"),
            "torque",
            n_("Read with the ring gear in."),
            group=n_("Side preload"),
        ),
        Field("caps_free", n_("Over both caps, no preload"), "length", group=n_("Side preload")),
        Field("caps_loaded", n_("Over both caps, preloaded"), "length", group=n_("Side preload")),
        Field(
            "limit_low", n_("Least"), "length", sticky=True, group=n_("Limits from the axle's service data")
        ),
        Field(
            "limit_high",
            n_("Largest"),
            "length",
            sticky=True,
            group=n_("Limits from the axle's service data"),
        ),
        Field(
            "limit_spread",
            n_("Largest spread round the gear"),
            "length",
            sticky=True,
            group=n_("Limits from the axle's service data"),
        ),
        *LIMIT_FIELDS,
        WITH,
        RESOLUTION,
        NOTE,
    ),
    n_("Judge it"),
)


PATTERN: Final = StepForm(
    "pattern",
    n_("Paint, roll, photograph both flanks. No photo? Say in words where the marks lie."),
    (
        Field(
            "accepted",
            n_("You look at the marks and say"),
            "choice",
            n_("Only after the photos or words have been read."),
            choices=(Choice("yes", n_("the pattern is right")), Choice("no", n_("the pattern is not right"))),
            needed=True,
        ),
        Field("reason", n_("Because"), "text"),
    ),
    n_("Keep it"),
)


FINAL: Final = StepForm(
    "final",
    n_("Pressed bearings grow and set-up bearings differ: prove the trial result with everything in place."),
    (
        Field("backlash", n_("Backlash round the ring gear"), "lengths", needed=True, place="j"),
        Field("torque", n_("Torque to turn the pinion, everything fitted"), "torque", needed=True),
        Field(
            "seal", n_("Of that, the seal's drag"), "torque", n_("Read as the nut took up; 0 without a seal.")
        ),
        Field(
            "side_torque",
            n_("Torque to turn the case in its side bearings"),
            "torque",
            n_("Pinion out. It counts at the pinion divided by the ratio."),
        ),
        Field(
            "limit_low",
            n_("Least, everything fitted"),
            "torque",
            group=n_("Limits from the axle's service data"),
        ),
        Field(
            "limit_high",
            n_("Largest, everything fitted"),
            "torque",
            group=n_("Limits from the axle's service data"),
        ),
        *LIMIT_FIELDS,
        Field(
            "pattern",
            n_("The pattern once more"),
            "choice",
            choices=(Choice("same", n_("as accepted")), Choice("changed", n_("it has changed"))),
            needed=True,
        ),
        NOTE,
    ),
    n_("Judge it"),
)


CLOSE: Final = StepForm(
    "close",
    n_("Locks, caps, cover, oil, leaks, road test. Then sign."),
    (
        Field(
            "locks",
            n_("Locks and caps"),
            "yes",
            n_("Fitted as the maker says, caps on their own side and way up."),
        ),
        Field("oil", n_("Oil in, no leak"), "yes", n_("Looked at again after the road test.")),
        Field("road", n_("Road test"), "text", n_("What was heard, at which speeds."), needed=True),
        Field(
            "gone",
            n_("The complaint is"),
            "choice",
            choices=(Choice("gone", n_("gone")), Choice("less", n_("less")), Choice("same", n_("the same"))),
            needed=True,
        ),
        NOTE,
    ),
    n_("Keep it"),
)
