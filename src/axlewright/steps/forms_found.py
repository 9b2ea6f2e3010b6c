"""Fields of the steps before anything is set: complaint, as found, fits and runout."""

from __future__ import annotations

from typing import Final

from axlewright.language import n_
from axlewright.steps.field import LIMIT_FIELDS, NOTE, RESOLUTION, UNKNOWN, WITH, Choice, Field
from axlewright.steps.step import StepForm

COMPLAINT: Final = StepForm(
    "complaint",
    n_(
        "Write down what is heard or felt. "
        "Rule out tyres, wheel bearings and driveline before opening anything."
    ),
    (
        Field("heard", n_("What is heard or felt"), "text", n_("Such as: whine, growl, clunk."), needed=True),
        Field(
            "when",
            n_("When"),
            "choice",
            choices=(
                Choice("drive", n_("on drive (pulling)")),
                Choice("cruise", n_("at steady speed")),
                Choice("float", n_("throttle just holding")),
                Choice("coast", n_("on coast (closed throttle)")),
                Choice("always", n_("all the time")),
                UNKNOWN,
            ),
            needed=True,
        ),
        Field("speed", n_("Speed band"), "text", n_("Such as: 40 to 50 mph.")),
        Field(
            "pitch",
            n_("Pitch"),
            "text",
            n_("Such as: one steady tone, rising with speed; a growl; a knock per turn."),
        ),
        Field(
            "road", n_("Road test before opening"), "text", n_("Where, which gear, who drove and who wrote.")
        ),
        Field(
            "oil",
            n_("Oil level and kind"),
            "choice",
            choices=(
                Choice("right", n_("as it should be")),
                Choice("low", n_("low")),
                Choice("wrong", n_("wrong kind")),
                UNKNOWN,
            ),
        ),
        Field(
            "others_out",
            n_("Tyres, wheel bearings and driveline ruled out?"),
            "choice",
            choices=(Choice("yes", n_("yes")), Choice("no", n_("not yet"))),
            needed=True,
        ),
        NOTE,
    ),
    n_("Keep it"),
)


AS_FOUND: Final = StepForm(
    "as-found",
    n_("What is found now cannot be measured again later. Tag shims and caps before they move."),
    (
        Field(
            "backlash",
            n_("Backlash round the ring gear"),
            "lengths",
            n_("At four to eight places, separated by spaces."),
            place="j",
        ),
        Field(
            "spacer",
            n_("Depth spacer that was in"),
            "length",
            n_("Measure it once it is out; a size marked on it or noted before does not count."),
            place="S",
        ),
        Field("ring_side", n_("Side shim, ring gear side"), "length", place="R"),
        Field("other_side", n_("Side shim, other side"), "length", place="O"),
        Field("turning", n_("Torque to turn the pinion"), "torque", n_("While it turns, not at breakaway.")),
        Field("end_play", n_("Pinion end play"), "length", n_("0 when none is felt.")),
        Field(
            "pattern",
            n_("Pattern as found"),
            "text",
            n_("In words, such as: drive high toward heel, coast middle."),
        ),
        Field("ring_runout", n_("Ring gear back face runout"), "length", n_("Total indicator reading.")),
        Field(
            "tagged",
            n_("Shims and caps tagged"),
            "yes",
            n_("Each shim with its side, each cap with its side and way up. Photograph the tags below."),
        ),
        NOTE,
    ),
    n_("Keep it"),
)


FITS: Final = StepForm(
    "fits",
    n_("What runs out here comes back as changing backlash and a wandering pattern."),
    (
        Field("bearings", n_("Bearing journals and bores"), "text", n_("What was found."), needed=True),
        Field(
            "flange_runout", n_("Case flange runout, ring gear off"), "length", n_("Total indicator reading.")
        ),
        Field("ring_face_runout", n_("Ring gear back face runout"), "length", n_("Total indicator reading.")),
        Field(
            "seating_gap",
            n_("Feeler that enters between ring gear and flange"),
            "length",
            n_("0 when none does, at four places."),
        ),
        Field("companion_runout", n_("Companion flange runout"), "length", n_("Total indicator reading.")),
        Field(
            "face_readings",
            n_("Ring gear's back face, round the gear"),
            "lengths",
            n_("In order from the marked place, eight or more even places, signs as the dial shows."),
            group=n_("Where the runout comes from"),
            signed=True,
        ),
        Field(
            "flange_readings",
            n_("The same on the case flange, ring gear off"),
            "lengths",
            n_("From the same place and in the same order."),
            group=n_("Where the runout comes from"),
            signed=True,
        ),
        Field(
            "turned_readings",
            n_("Back face again, ring gear bolted on turned"),
            "lengths",
            n_(
                "From the same place of the case. "
                "Tells flange and gear apart without taking the gear off again."
            ),
            group=n_("Where the runout comes from"),
            signed=True,
        ),
        Field(
            "turned_holes",
            n_("Turned by how many bolt holes"),
            "count",
            n_("In the order in which the readings go round; a quarter turn tells most."),
            group=n_("Where the runout comes from"),
        ),
        Field(
            "bolts",
            n_("Bolts of the ring gear"),
            "count",
            n_("Evenly spaced."),
            sticky=True,
            group=n_("Where the runout comes from"),
        ),
        Field(
            "axle",
            n_("Kind of axle"),
            "choice",
            n_("Chooses the default limit of the back face where you have no service data."),
            choices=(Choice("light", n_("light to medium")), Choice("heavy", n_("heavy"))),
            sticky=True,
            group=n_("Limits from the axle's service data"),
        ),
        Field(
            "limit_flange",
            n_("Largest flange runout"),
            "length",
            sticky=True,
            group=n_("Limits from the axle's service data"),
        ),
        Field(
            "limit_face",
            n_("Largest back face runout"),
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
