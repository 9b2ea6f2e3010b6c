"""The figures of a diagnosis in sentences: how sure the cause is, and which of them is which."""

from __future__ import annotations

from collections.abc import Mapping

from axlewright.diagnosis.advice import show_chance
from axlewright.diagnosis.cause import Posterior, Spread
from axlewright.diagnosis.evidence import Evidence
from axlewright.language import eager as _
from axlewright.units import System, show_length

NOTICEABLE_MM = 0.025  # a depth error below about 0.001 in is not worth a word
TIGHTER_TOLD_MM = 0.005  # a tightest place nearer to the mean than this is the mean


def cause_sentence(depth: Spread, posterior: Posterior) -> str:
    """Say where the pinion sits and how sure that is."""
    out = float((posterior.settings[:, 0] > 0.0).mean())
    sure = max(out, 1.0 - out)
    size, sd = show_length(abs(depth.mean)), show_length(depth.sd)
    if abs(depth.mean) < NOTICEABLE_MM and depth.sd < 2 * NOTICEABLE_MM:
        return _("The pinion depth is right within what the patterns can tell (± {sd}).").format(sd=sd)
    if sure < 0.9:
        words = (
            _(
                "The patterns do not decide whether the pinion sits too far in or out: best guess {size} too "
                "far out, give or take {sd}."
            )
            if out > 0.5
            else _(
                "The patterns do not decide whether the pinion sits too far in or out: best guess {size} too "
                "far in, give or take {sd}."
            )
        )
        return words.format(size=size, sd=sd)
    words = (
        _(
            "The pinion sits {size} too far out, give or take {sd} (one standard deviation; {sure} sure of "
            "the direction)."
        )
        if out > 0.5
        else _(
            "The pinion sits {size} too far in, give or take {sd} (one standard deviation; {sure} sure of "
            "the direction)."
        )
    )
    return words.format(size=size, sd=sd, sure=show_chance(sure))


def how_built(spacer_step_mm: float, from_shelf: bool, system: System | None = None) -> str:
    """Say how the change advised was chosen: the least hours expected among what can be built.

    Parameters
    ----------
    spacer_step_mm : float
        [mm]; counts where no shelf does.
    from_shelf : bool
        Whether only spacers on the shelf are advised: there is a shelf and the spacer fitted now is known.
    """
    if from_shelf:
        return _("the best choice near that with the spacers on the shelf")
    return _("the best choice near that in steps of {step}").format(step=show_length(spacer_step_mm, system))


def figures_words(
    cause: Mapping[str, Spread],
    cure: Mapping[str, Spread],
    pinion_move_mm: float,
    how: str,
    system: System | None = None,
) -> str:
    """Tell the figures of the pinion apart: where it stands, what brings the patterns right, what is built.

    Parameters
    ----------
    cause, cure : mapping of Spread
        As `Diagnosis` has them.
    pinion_move_mm : float
        Of the change advised, out positive [mm]; 0 where none is advised.
    how : str
        How it was chosen, as `how_built` says it.
    """
    stands = show_length(cause["pinion_out_mm"].mean, system, signed=True)
    right = show_length(cure["pinion_move_mm"].mean, system, signed=True)
    if not pinion_move_mm:
        return _(
            "Figures of the pinion, out plus, in minus: it stands {stands} from where such sets are "
            "developed; a move of {right} would bring this set's patterns where they belong, its own habits "
            "counted; the first advice does not move it."
        ).format(stands=stands, right=right)
    return _(
        "Figures of the pinion, out plus, in minus: it stands {stands} from where such sets are developed; a "
        "move of {right} would bring this set's patterns where they belong, its own habits counted; the move "
        "advised is {built}, {how}."
    ).format(stands=stands, right=right, built=show_length(pinion_move_mm, system, signed=True), how=how)


def tightest_note(evidence: Evidence, target_mm: float) -> str:
    """Say that the target is held at the tightest place; empty where that is the mean as well."""
    if evidence.tighter_mm < TIGHTER_TOLD_MM:
        return ""
    return _(
        "The backlash is aimed at {target} at its tightest place, as the limits are meant; the mean of the "
        "readings lies {tighter} above that place and is expected to stay so."
    ).format(target=show_length(target_mm), tighter=show_length(evidence.tighter_mm))
