"""Complaint and road test: what is heard or felt, and whether anything else may cause it."""

from __future__ import annotations

from typing import Final

from axlewright.language import _, n_
from axlewright.steps.answers import Answers
from axlewright.steps.field import NOTE, UNKNOWN, Choice, Field
from axlewright.steps.result import Result
from axlewright.steps.step import Context, StepForm


def judge_complaint(answers: Answers, context: Context) -> Result:
    """Write the complaint down; until the other sources are ruled out the step stays open."""
    answers.need("heard", "when", "others_out")
    found = Result(readings=answers.readings())
    if answers.choice("oil") in ("low", "wrong"):
        found.notes.append(_("Put the oil right and listen again before anything is opened."))
    ruled_out = answers.choice("others_out") == "yes"
    if not ruled_out:
        found.questions.append(_("Tyres, wheel bearings and driveline are not ruled out yet."))
    found.values |= {
        "heard": answers.text("heard"),
        "when": answers.choice("when"),
        "others_ruled_out": ruled_out,
    }
    found.settle(_("tyres, wheel bearings and driveline are ruled out"))
    return found


COMPLAINT: Final = StepForm(
    "complaint",
    n_(
        "Write down what is heard or felt. "
        "Rule out tyres, wheel bearings and driveline before opening anything."
    ),
    (
        Field(
            "heard",
            n_("What is heard or felt"),
            "text",
            n_("Such as: whine, growl, clunk."),
            missing=n_("say what the customer hears or feels"),
            short=n_("heard or felt"),
        ),
        Field(
            "when",
            n_("When"),
            "choice",
            choices=(
                Choice("drive", n_("on drive (pulling)"), n_("drive")),
                Choice("cruise", n_("at steady speed"), n_("cruise")),
                Choice("float", n_("throttle just holding"), n_("float")),
                Choice("coast", n_("on coast (closed throttle)"), n_("coast")),
                Choice("always", n_("all the time"), n_("always")),
                UNKNOWN,
            ),
            missing=n_("say when it is heard"),
            short=n_("when"),
        ),
        Field("speed", n_("Speed band"), "text", n_("Such as: 40 to 50 mph."), short=n_("speed band")),
        Field(
            "pitch",
            n_("Pitch"),
            "text",
            n_("Such as: one steady tone, rising with speed; a growl; a knock per turn."),
            short=n_("pitch"),
        ),
        Field(
            "road",
            n_("Road test before opening"),
            "text",
            n_("Where, which gear, who drove and who wrote."),
            short=n_("road test before opening"),
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
            short=n_("oil"),
        ),
        Field(
            "others_out",
            n_("Tyres, wheel bearings and driveline ruled out"),
            "choice",
            choices=(Choice("yes", n_("yes")), Choice("no", n_("not yet"))),
            missing=n_("answer yes or not yet"),
            short=n_("tyres, wheel bearings and driveline ruled out"),
        ),
        NOTE,
    ),
    n_("Keep it"),
    rule=judge_complaint,
)
