"""The decision on the contact pattern, once the marks have been read from photos or words."""

from __future__ import annotations

from typing import Final

from axlewright.language import _, n_
from axlewright.steps.answers import Answers
from axlewright.steps.field import Choice, Field
from axlewright.steps.result import Result
from axlewright.steps.step import Context, StepForm


def decide_pattern(answers: Answers, context: Context) -> Result:
    """Keep the decision on the pattern that was read."""
    answers.need("accepted")
    accepted, reason = answers.choice("accepted") == "yes", answers.text("reason")
    read = context.last_values("pattern")
    found = Result(readings=answers.readings({"accepted": reason}), values={**read, "accepted": accepted})
    if not accepted:
        found.verdict, found.why = "not ok", reason or _("the pattern is not right")
        return found
    if not reason and not read:
        raise answers.error(
            "reason",
            _("no pattern has been read on this job"),
            _("read photos or words first, or say why it is right"),
        )
    if not reason and _last_reading_verdict(context) == "not ok":
        raise answers.error(
            "reason",
            _("the last pattern that was read is not ok"),
            _("read it again, or say why it is right all the same"),
        )
    found.verdict, found.why = "ok", reason or _("the pattern is right")
    return found


def _last_reading_verdict(context: Context) -> str:
    """Return the verdict on the newest patterns that were read; empty when none were."""
    rounds = [e.seq for e in context.entries if e.step == "pattern" and "flanks" in e.payload]
    for entry in reversed(context.entries):
        if entry.kind == "result" and rounds and entry.payload.get("of") == rounds[-1]:
            return str(entry.payload.get("verdict", ""))
    return ""


PATTERN: Final = StepForm(
    "pattern",
    n_("Paint, roll, photograph both flanks. No photo? Say in words where the marks lie."),
    (
        Field(
            "accepted",
            n_("You look at the marks and say"),
            "choice",
            n_("Only after the photos or words have been read."),
            choices=(
                Choice("yes", n_("the pattern is right"), n_("as it should be")),
                Choice("no", n_("the pattern is not right"), n_("not right")),
            ),
            missing=n_("look at the marks and say"),
            short=n_("the pattern is"),
        ),
        Field("reason", n_("Reason"), "text", listed=False),
    ),
    n_("Keep it"),
    rule=decide_pattern,
)
