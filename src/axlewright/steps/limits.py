"""Limits typed in from the service data of the axle on the bench."""

from __future__ import annotations

from axlewright.errors import AxlewrightError
from axlewright.language import Text, _
from axlewright.setup import Limit
from axlewright.steps.answers import Answers
from axlewright.steps.step import Context


def typed_limit(
    answers: Answers, context: Context, name: Text, *, low: str = "limit_low", high: str = "limit_high"
) -> Limit | None:
    """Return the limit that was typed in; None where none was, and a default stands in.

    Parameters
    ----------
    name : Text
        What is limited.
    low, high : str
        Fields of its edges, lengths or torques; an empty `low` leaves that side open.
    """
    torque = answers.fields[high].kind == "torque"
    read = answers.torque if torque else answers.length
    least, largest = read(low) if low else None, read(high)
    if least is None and largest is None:
        return None
    source: Text = answers.text("limit_source") or _("service data typed in by {who}").format(who=context.who)
    try:
        return Limit(name, least, largest, "N·m" if torque else "mm", source)
    except AxlewrightError as error:
        raise answers.error(low or high, error.what, error.fix) from error
