"""Answers that are kept as these words and shown translated with `_`."""

from __future__ import annotations

from typing import Final

from axlewright.language import n_

ANSWER_WORDS: Final = (
    n_("new"),
    n_("used"),
    n_("left"),
    n_("right"),
    n_("none"),
    n_("there"),
    n_("face-milled"),
    n_("face-hobbed"),
)
