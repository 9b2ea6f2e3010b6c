"""Looks that cost minutes and come before every change."""

from __future__ import annotations

from dataclasses import replace

from axlewright.diagnosis.advice import COST_WORDS, Advice, show_chance
from axlewright.language import eager as _


def look_first(text: str, spacer_now_mm: float | None) -> Advice:
    """Return a look that costs minutes and comes before every change.

    Parameters
    ----------
    text : str
        What to look at and why, in sentences.
    spacer_now_mm : float or None
        Spacer fitted now, which stays [mm].
    """
    return Advice(
        text, 0.0, 0.0, 0.0, spacer_now_mm, "L0", _(COST_WORDS["L0"]), 0.0, {}, None, look_again=True
    )


def read_again(spacer_now_mm: float | None) -> Advice:
    """Return the cheap check that comes before all others when nothing likely explains the patterns.

    Parameters
    ----------
    spacer_now_mm : float or None
        [mm].
    """
    return look_first(
        _(
            "Roll and read both flanks again and check that design, set and pictures "
            "belong together; what was read is no ground for taking anything apart."
        ),
        spacer_now_mm,
    )


def see_better_first(spacer_now_mm: float | None) -> Advice:
    """Return the advice to look better when a rough reading is no ground for a change nor for leaving it.

    Parameters
    ----------
    spacer_now_mm : float or None
        [mm].
    """
    return look_first(
        _(
            "Photograph both flanks and read the backlash before anything is decided: what is known so far "
            "is too rough to say that the set is right, and no ground for taking it apart."
        ),
        spacer_now_mm,
    )


def photograph_first(flank: str, refused: bool, spacer_now_mm: float | None) -> Advice:
    """Return the advice to photograph the flank that decides, before anything is changed.

    Parameters
    ----------
    flank : str
        "drive" or "coast".
    refused : bool
        Whether a photo of it was taken and refused.
    spacer_now_mm : float or None
        [mm].
    """
    if refused and flank == "drive":
        text = _(
            "Photograph the drive flank again before anything is changed: it decides, and its photo was "
            "refused. Soft light from the side, no shine, the paint fresh and thin; if it is refused again, "
            "draw the mark by hand."
        )
    elif refused:
        text = _(
            "Photograph the coast flank again before anything is changed: it decides, and its photo was "
            "refused. Soft light from the side, no shine, the paint fresh and thin; if it is refused again, "
            "draw the mark by hand."
        )
    elif flank == "drive":
        text = _(
            "Photograph the drive flank before anything is changed: it decides, and it was not read. The "
            "coast flank alone is no ground for pressing a bearing."
        )
    else:
        text = _(
            "Photograph the coast flank before anything is changed: it decides, and it was not read. The "
            "drive flank alone is no ground for pressing a bearing."
        )
    return look_first(text, spacer_now_mm)


def photograph_once_more(
    flank: str, now: float, then: float, saves_hours: float, spacer_now_mm: float | None
) -> Advice:
    """Return the advice to photograph the flank that decides once more, as it saves more than it costs.

    Parameters
    ----------
    flank : str
        "drive" or "coast".
    now, then : float
        Chance of being the last teardown of the best change now, and on average after one more photo.
    saves_hours : float
        On average [h].
    spacer_now_mm : float or None
        [mm].
    """
    text = (
        _(
            "Photograph the drive flank once more, on another tooth, before anything is changed: that should "
            "raise the chance of the last teardown from {now} to about {then}. Fresh, thin paint, soft light "
            "from the side; both photos then count."
        )
        if flank == "drive"
        else _(
            "Photograph the coast flank once more, on another tooth, before anything is changed: that should "
            "raise the chance of the last teardown from {now} to about {then}. Fresh, thin paint, soft light "
            "from the side; both photos then count."
        )
    ).format(now=show_chance(now), then=show_chance(then))
    return replace(look_first(text, spacer_now_mm), saves_hours=saves_hours)
