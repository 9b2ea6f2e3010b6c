"""Which evidence decided on the spacer, in words."""

from __future__ import annotations

from axlewright.language import eager as _
from axlewright.records.deciding import Deciding
from axlewright.units import System, show_length


def decided_words(decides: Deciding, system: System) -> str:
    """Say which spacer is wanted, what decided on it, and what the sum gave; empty while nothing tells."""
    if decides.spacer_mm is None:
        return ""
    spacer = show_length(decides.spacer_mm, system)
    if decides.pinion == "sum":
        return _("Spacer {spacer}: decided by the depth sum.").format(spacer=spacer)
    accepted = decides.pinion == "accepted"
    if decides.sum_mm is None:
        words = (
            _("Spacer {spacer}: decided by the accepted contact pattern.")
            if accepted
            else _("Spacer {spacer}: decided by the contact pattern.")
        )
        return words.format(spacer=spacer)
    words = (
        _("Spacer {spacer}: decided by the accepted contact pattern; the sum gave {sum}.")
        if accepted
        else _("Spacer {spacer}: decided by the contact pattern; the sum gave {sum}.")
    )
    return words.format(spacer=spacer, sum=show_length(decides.sum_mm, system))
