"""Close-out: locks, caps, oil, road test, and how the complaint stands."""

from __future__ import annotations

from typing import Final

from axlewright.language import _, n_
from axlewright.steps.answers import Answers
from axlewright.steps.field import NOTE, Choice, Field
from axlewright.steps.result import Result
from axlewright.steps.step import Context, StepForm


def judge_close(answers: Answers, context: Context) -> Result:
    """Write the close-out down; the signature is a step of its own."""
    answers.need("road", "gone")
    found = Result(readings=answers.readings())
    for name in ("locks", "oil"):
        if not answers.ticked(name):
            found.questions.append(_("{what}: not ticked yet.").format(what=answers.label(name)))
    if answers.choice("gone") != "gone":
        found.questions.append(_("The complaint is not gone: back to it with the new readings."))
    found.values |= {"complaint": answers.choice("gone")}
    found.settle(_("closed out; sign the sheet"))
    return found


CLOSE: Final = StepForm(
    "close",
    n_("Locks, caps, cover, oil, leaks, road test. Then sign."),
    (
        Field(
            "locks",
            n_("Locks and caps"),
            "yes",
            n_("Fitted as the maker says, caps on their own side and way up."),
            short=n_("locks and caps"),
        ),
        Field(
            "oil",
            n_("Oil in, no leak"),
            "yes",
            n_("Looked at again after the road test."),
            short=n_("oil in, no leak"),
        ),
        Field(
            "road",
            n_("Road test"),
            "text",
            n_("What was heard, at which speeds."),
            missing=n_("say what was heard, and at which speeds"),
            short=n_("road test"),
        ),
        Field(
            "gone",
            n_("The complaint is"),
            "choice",
            choices=(
                Choice("gone", n_("gone")),
                Choice("less", n_("less")),
                Choice("same", n_("the same"), n_("same")),
            ),
            missing=n_("say how the complaint stands"),
            short=n_("the complaint is"),
        ),
        NOTE,
    ),
    n_("Keep it"),
    rule=judge_close,
)
