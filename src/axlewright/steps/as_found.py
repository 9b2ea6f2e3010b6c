"""As found: what is read before anything is moved, and cannot be read again later."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from axlewright.language import _, n_
from axlewright.steps.answers import Answers
from axlewright.steps.field import NOTE, OTHER_SIDE, RING_SIDE, Field
from axlewright.steps.result import Result, numbers
from axlewright.steps.step import Context, StepForm

SIZE_BAND_MM: Final = (0.0, 20.0)
"""Plausible shims, runout and end play (common practice, no source); others are asked about."""


def judge_as_found(answers: Answers, context: Context) -> Result:
    """Keep what was found before anything moved; nothing is judged."""
    found = Result(readings=answers.readings())
    if not found.readings and not answers.given("note"):
        raise answers.error(
            "backlash", _("nothing typed"), _("type at least one reading, or a note on why there is none")
        )
    for name in ("spacer", "ring_side", "other_side", "ring_runout", "end_play"):
        size = answers.length(name)
        if size is not None:
            found.values[f"{name}_mm"] = size
    if answers.given("backlash"):
        found.values["backlash_mm"] = numbers(answers.lengths("backlash"))
    if not answers.ticked("tagged"):
        found.notes.append(_("Shims and caps not tagged yet: do it before they move."))
    found.settle(_("kept as found"))
    return found


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
            usual=(0.0, 3.0),
            short=n_("backlash"),
        ),
        Field(
            "spacer",
            n_("Depth spacer that was in"),
            "length",
            n_("Measure it once it is out; a size marked on it or noted before does not count."),
            place="S",
            usual=SIZE_BAND_MM,
            short=n_("depth spacer that was in"),
        ),
        replace(RING_SIDE, usual=SIZE_BAND_MM),
        replace(OTHER_SIDE, usual=SIZE_BAND_MM),
        Field(
            "turning",
            n_("Torque to turn the pinion"),
            "torque",
            n_("While it turns, not at breakaway."),
            short=n_("torque to turn the pinion"),
        ),
        Field(
            "end_play",
            n_("Pinion end play"),
            "length",
            n_("0 when none is felt."),
            usual=SIZE_BAND_MM,
            short=n_("pinion end play"),
        ),
        Field(
            "pattern",
            n_("Pattern as found"),
            "text",
            n_("In words, such as: drive high toward heel, coast middle."),
            short=n_("pattern as found"),
        ),
        Field(
            "ring_runout",
            n_("Ring gear back face runout"),
            "length",
            n_("Total indicator reading."),
            usual=SIZE_BAND_MM,
            short=n_("ring gear back face runout"),
        ),
        Field(
            "tagged",
            n_("Shims and caps tagged"),
            "yes",
            n_("Each shim with its side, each cap with its side and way up. Photograph the tags below."),
            short=n_("shims and caps tagged"),
        ),
        NOTE,
    ),
    n_("Keep it"),
    rule=judge_as_found,
)
