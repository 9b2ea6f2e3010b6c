"""What to do next: buildable changes only, each with its cost and the chance of being the last."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from axlewright.contact import ContactPattern
from axlewright.contact.atlas import Atlas
from axlewright.diagnosis.cause import Posterior
from axlewright.diagnosis.cure import Goal, accepted, best_moves, patterns_after
from axlewright.diagnosis.evidence import LEAST_SHIM_MM, Place
from axlewright.language import Number, Text, _, joined, n_
from axlewright.units import Length

Array = NDArray[np.float64]

# Cost classes and typical hours: common practice, no source; hours only rank the choices.
COST_WORDS = {
    "L0": n_("minutes, nothing comes apart"),
    "L1": n_("gears stay in: side shims or adjusters"),
    "L2": n_("gears out, no bearing pressed"),
    "L3": n_("gears out and bearings pressed off"),
    "L4": n_("new parts or housing work"),
}
COST_HOURS = {"L0": 0.2, "L1": 0.7, "L2": 1.5, "L3": 3.0, "L4": 6.0}
UNFIXABLE = 0.25  # chance that shims can do it below which measuring the housing comes first: our choice
RING_SAMPLES = 512  # enough for the median ring-gear move, which is rounded to whole shims anyway
NEAREST_SPACERS = 4  # of the shelf that are tried
LEAST_SPACER_MM = LEAST_SHIM_MM
# What a set that was signed off wrongly costs later, the redoing not counted: axle out and back in, fluids,
# two road tests, the second visit. Our choice, a day and a half; 8 and 16 were tried too (docs/diagnosis.md).
COMEBACK_HOURS = 12.0


@dataclass(frozen=True)
class Advice:
    """One change that can be built.

    Attributes
    ----------
    text : Text
        What to do, in sentences.
    pinion_move_mm, shim_move_mm : float
        Pinion out and ring gear away positive [mm].
    spacer_change_mm : float
        Change of the depth spacer's thickness [mm].
    spacer_to_fit_mm : float or None
        Thickness to fit when the present one is known [mm].
    cost_class : str
    cost_words : Text
    chance_last_teardown : float
        Probability that the set is signed off after it.
    expected : dict
        Patterns after the change, computed; filled in for the best few.
    expected_backlash_mm : float or None
        Mean round the ring gear [mm].
    look_again : bool
        True when it asks for a better look and changes nothing.
    saves_hours : float or None
        Of one more photo that is offered, not needed: hours it saves on average, its own not counted [h]; the
        next advice stands without it.
    side_shims_to_fit_mm : (float, float) or None
        On the ring gear's side and on the other, when the present ones are known [mm].
    expected_tightest_mm : float or None
        At the tightest place, when the readings round the ring gear tell where that lies [mm].
    """

    text: Text
    pinion_move_mm: float
    shim_move_mm: float
    spacer_change_mm: float
    spacer_to_fit_mm: float | None
    cost_class: str
    cost_words: Text
    chance_last_teardown: float
    expected: dict[str, ContactPattern]
    expected_backlash_mm: float | None
    look_again: bool = False
    side_shims_to_fit_mm: tuple[float, float] | None = None
    expected_tightest_mm: float | None = None
    saves_hours: float | None = None

    def to_json(self) -> dict[str, Any]:
        """Return plain data; its words are not drawn yet."""
        return {
            "text": self.text,
            "spacer_change_mm": round(self.spacer_change_mm, 4),
            "spacer_to_fit_mm": None if self.spacer_to_fit_mm is None else round(self.spacer_to_fit_mm, 4),
            "pinion_move_mm": round(self.pinion_move_mm, 4),
            "shim_move_mm": round(self.shim_move_mm, 4),
            "side_shims_to_fit_mm": None
            if self.side_shims_to_fit_mm is None
            else [round(v, 4) for v in self.side_shims_to_fit_mm],
            "cost_class": self.cost_class,
            "cost_words": self.cost_words,
            "look_again": self.look_again,
            "saves_hours": None if self.saves_hours is None else round(self.saves_hours, 2),
            "chance_last_teardown": round(self.chance_last_teardown, 3),
            "expected_backlash_mm": None
            if self.expected_backlash_mm is None
            else round(self.expected_backlash_mm, 4),
            "expected_tightest_mm": None
            if self.expected_tightest_mm is None
            else round(self.expected_tightest_mm, 4),
            "expected": {k: v.summary() for k, v in self.expected.items()},
        }


def spacer_sign(place: Place) -> float:
    """Return how the spacer changes when the pinion goes out: −1 under the head or behind the cup."""
    return 1.0 if place == "cage_flange" else -1.0


def gears_out_class(place: Place) -> str:
    """Return the cost class of a change of the pinion's spacer."""
    return "L2" if place == "cage_flange" else "L3"


def expected_hours(classes: Sequence[str], chance: Array) -> Array:
    """Return the hours expected of changes: their own and, when not the last, the redoing and a comeback.

    Parameters
    ----------
    classes : sequence of str
        Cost class of each.
    chance : array, shape (..., len(classes))
        Of being the last.
    """
    own = np.array([COST_HOURS[c] for c in classes])
    return np.asarray(own + (1.0 - chance) * (COST_HOURS["L3"] + COMEBACK_HOURS))


def _pinion_choices(
    wanted: float, place: Place, spacer_now: float | None, stock: Sequence[float] | None, step: float
) -> list[tuple[float, float | None]]:
    """Return buildable pinion moves near the wanted one and the spacer each needs."""
    sign = spacer_sign(place)
    if stock and spacer_now is not None:
        moves = [((t - spacer_now) * sign, float(t)) for t in stock if t > 0.0]
        moves.sort(key=lambda m: abs(m[0] - wanted))
        return [m for m in moves[:NEAREST_SPACERS] if abs(m[0]) > 1e-6]
    whole = round(wanted / step)
    if spacer_now is not None:
        # The change stops where the spacer would be thinner than any there is.
        thinner = int((spacer_now - LEAST_SPACER_MM) / step) if spacer_now > LEAST_SPACER_MM else 0
        whole = max(whole, -thinner) if sign > 0 else min(whole, thinner)
    out: list[tuple[float, float | None]] = []
    for k in (whole, whole - 1, whole + 1):
        fit = None if spacer_now is None else spacer_now + sign * k * step
        if k and (fit is None or fit >= LEAST_SPACER_MM - 1e-9):
            out.append((k * step, fit))
    return out


def moves_of_stock(stock: Sequence[float] | None, spacer_now: float | None, place: Place) -> Array | None:
    """Return the pinion moves [mm] that the spacers on the shelf make; None where any can be built."""
    if not stock or spacer_now is None:
        return None
    moves = (np.array([t for t in stock if t > 0.0]) - spacer_now) * spacer_sign(place)
    return moves if len(moves) else None


def shims_allow(ring: float, step: float, now: tuple[float, float] | None) -> float:
    """Return the ring-gear move [mm] in whole steps that both side shims allow; away thins the ring side."""
    whole = round(ring / step)
    if now is not None:
        most_away, most_closer = (int((shim - LEAST_SHIM_MM) / step + 1e-9) for shim in now)
        whole = max(-most_closer, min(most_away, whole))
    return whole * step


def side_shims_sentence(to_fit_mm: tuple[float, float]) -> Text:
    """Name both side shims to fit [mm], ring gear's side first."""
    return _("Side shims then: {ring} on the ring gear's side, {other} on the other.").format(
        ring=Length(to_fit_mm[0]), other=Length(to_fit_mm[1])
    )


def spacer_out_of_reach(
    wanted: float, place: Place, spacer_now: float | None, stock: Sequence[float] | None, step: float
) -> Text:
    """Say that the wanted pinion move [mm] needs a spacer that is not to be had; empty when it is."""
    if spacer_now is None:
        return ""
    fit = spacer_now + spacer_sign(place) * wanted
    if stock:
        low, high = min(stock), max(stock)
        if low - step <= fit <= high + step:
            return ""
        return _(
            "The patterns ask for a spacer of {wanted}; those on the shelf go from {low} to {high}. The "
            "nearest is advised and will not bring the pattern all the way."
        ).format(wanted=Length(fit), low=Length(low), high=Length(high))
    if fit >= LEAST_SPACER_MM:
        return ""
    return _(
        "No spacer is thin enough for what the patterns ask for: check the spacer that was typed in ({now}), "
        "where it sits, and that the housing is the right one."
    ).format(now=Length(spacer_now))


def list_advice(
    posterior: Posterior,
    atlas: Atlas,
    *,
    goal: Goal,
    backlash_target_mm: float,
    pinion_wanted_mm: float,
    place: Place,
    spacer_now_mm: float | None,
    spacer_stock: Sequence[float] | None,
    spacer_step_mm: float,
    shim_step_mm: float,
    side_shims_mm: tuple[float, float] | None,
    fixable: float,
    backlash_known: bool,
    tighter_mm: float | None = None,
) -> list[Advice]:
    """Return the changes worth thinking about, best first.

    The order is by expected hours: those of the change itself and, with the chance that it is not the last,
    those of another round. `backlash_target_mm` is that of the mean; `tighter_mm` is how far the tightest
    place lies below it.
    """
    found: list[tuple[float, Advice]] = []
    scatter = np.random.default_rng(7).standard_normal((len(posterior.settings), 2))

    some = posterior.thinned(RING_SAMPLES)

    def consider(pinion: float, spacer: float | None, move_ring: bool) -> None:
        ring = 0.0
        if move_ring:
            b = best_moves(some, atlas, backlash_target_mm, goal, pinion_move=np.array(pinion))[1]
            ring = shims_allow(float(np.median(b)), shim_step_mm, side_shims_mm)
        # A change never ends quite where it was meant; no change leaves all as it is.
        built = scatter * [bool(pinion) * goal.build_sd_mm[0], bool(pinion or ring) * goal.build_sd_mm[1]]
        centers, backlash = patterns_after(posterior, atlas, pinion + built[:, 0], ring + built[:, 1])
        chance = float(accepted(centers, backlash, backlash_target_mm, goal).mean())
        cost = gears_out_class(place) if pinion else ("L1" if ring else "L0")
        hours = float(expected_hours([cost], np.array([chance]))[0])
        change = spacer_sign(place) * pinion
        text, shims = _sentence(pinion, ring, change, spacer, place), side_shims_mm
        if ring and shims is not None:
            shims = (shims[0] - ring, shims[1] + ring)
            text = joined(text, side_shims_sentence(shims))
        found.append(
            (
                hours,
                Advice(
                    text,
                    pinion,
                    ring,
                    change,
                    spacer,
                    cost,
                    _(COST_WORDS[cost]),
                    chance,
                    {},
                    float(backlash.mean()) if backlash_known else None,
                    side_shims_to_fit_mm=shims,
                    expected_tightest_mm=max(0.0, float(backlash.mean()) - tighter_mm)
                    if backlash_known and tighter_mm is not None
                    else None,
                ),
            )
        )

    consider(0.0, spacer_now_mm, False)
    consider(0.0, spacer_now_mm, True)
    for move, spacer in _pinion_choices(pinion_wanted_mm, place, spacer_now_mm, spacer_stock, spacer_step_mm):
        consider(move, spacer, True)
    unique: dict[tuple[float, float], tuple[float, Advice]] = {}
    for hours, advice in found:
        key = (round(advice.pinion_move_mm, 4), round(advice.shim_move_mm, 4))
        if key not in unique or hours < unique[key][0]:
            unique[key] = (hours, advice)
    ordered = sorted(unique.values(), key=lambda pair: pair[0])
    out = [advice for _key, advice in ordered]
    if fixable < UNFIXABLE:
        stop = Advice(
            _(
                "Stop and measure the housing: offset and shaft angle of the bores, and "
                "check that the gears are a matched pair. No spacer or shim is likely to "
                "bring both flanks right."
            ),
            0.0,
            0.0,
            0.0,
            spacer_now_mm,
            "L4",
            _(COST_WORDS["L4"]),
            0.0,
            {},
            None,
        )
        out.insert(0, stop)
    return out


def ring_move_sentence(move_mm: float, *, then: bool = False) -> Text:
    """Say how the ring gear is moved [mm], away positive; `then` when it comes after the spacer."""
    if then:
        words = (
            _(
                "Then move the ring gear {length} away from the pinion, side shims changed equally and "
                "oppositely."
            )
            if move_mm > 0.0
            else _(
                "Then move the ring gear {length} closer to the pinion, side shims changed equally and "
                "oppositely."
            )
        )
    else:
        words = (
            _("Move the ring gear {length} away from the pinion, side shims changed equally and oppositely.")
            if move_mm > 0.0
            else _(
                "Move the ring gear {length} closer to the pinion, side shims changed equally and oppositely."
            )
        )
    return words.format(length=Length(abs(move_mm)))


def _sentence(pinion: float, ring: float, change: float, spacer: float | None, place: Place) -> Text:
    if not pinion:
        return ring_move_sentence(ring) if ring else _("Leave the settings as they are.")
    where = {
        "under_head": _("under the pinion head"),
        "behind_cup": _("behind the head bearing's cup"),
        "cage_flange": _("under the cage flange"),
    }[place]
    size = (_("{change} thicker") if change > 0 else _("{change} thinner")).format(change=Length(abs(change)))
    if spacer is not None:
        size = _("{size}: fit {spacer}").format(size=size, spacer=Length(spacer))
    first = (
        _("Make the spacer {where} {size}; the pinion comes {pinion} out.")
        if pinion > 0
        else _("Make the spacer {where} {size}; the pinion comes {pinion} in.")
    ).format(where=where, size=size, pinion=Length(abs(pinion)))
    return joined(first, ring_move_sentence(ring, then=True)) if ring else first


def show_chance(chance: float) -> Text:
    """Show a probability without claiming more than the samples can tell."""
    if chance > 0.98:
        return _("over {share} %").format(share=98)
    if chance < 0.02:
        return _("under {share} %").format(share=2)
    return joined(Number(round(100.0 * chance), ".0f"), "%")
