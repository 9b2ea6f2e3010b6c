"""What a signature says about steps that are not done, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

from axlewright.language import Text, _, joined, n_, plural, read_kept

if TYPE_CHECKING:
    from axlewright.job.view import JobView, StepView

LEFT_WORDS: Final[Mapping[str, str]] = {
    "open": n_("open"),
    "begun": n_("begun"),
    "ask": n_("question"),
    "not ok": n_("not ok"),
    "again": n_("due again"),
}
STATEMENT: Final = n_("Set up and checked as written on this sheet.")
STATEMENT_NOT_DONE: Final = n_("As written on this sheet; the steps named with the signature are not done.")


def steps_not_done(view: JobView) -> tuple[StepView, ...]:
    """Return the steps a signature would cover although they are not done, in the order of the job."""
    return tuple(step for step in view.steps if step.status.state not in ("ok", "waived"))


def statement_for(any_left: bool) -> Text:
    """Return what is signed unless something else is typed."""
    return _(STATEMENT_NOT_DONE) if any_left else _(STATEMENT)


def stated(typed: str, any_left: bool) -> Text:
    """Return what is signed: what was typed, or the usual statement where that was left as it stands."""
    usual = statement_for(any_left)
    return usual if typed.strip() == str(usual) else typed


def signature_note(payload: Mapping[str, Any]) -> Text:
    """Return what a kept signature says about steps that were not done; empty when all were.

    Parameters
    ----------
    payload : mapping
        Of the sign-off; see `axlewright.records.JobStore.sign_off`.
    """
    from axlewright.records.steps import step

    left = payload.get("not_done") or ()
    if not left:
        return ""
    names = joined(
        *(
            _("{step} ({state})").format(
                step=_(step(one["step"]).title), state=_(LEFT_WORDS.get(one["state"], one["state"]))
            )
            for one in left
        ),
        between=", ",
    )
    return plural(
        "Signed with {count} step open: {steps}. Reason: {reason}",
        "Signed with {count} steps open: {steps}. Reason: {reason}",
        len(left),
    ).format(count=len(left), steps=names, reason=read_kept(payload.get("although", "")))
