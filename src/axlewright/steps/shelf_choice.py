"""From the depth spacer wanted to the one taken: what is on the shelf, what to order, what is in the axle."""

from __future__ import annotations

from itertools import starmap
from typing import TYPE_CHECKING, Final, cast

from axlewright.errors import AxlewrightError
from axlewright.language import Text, _, joined, n_
from axlewright.records.deciding import deciding
from axlewright.setup import (
    LARGEST_PACK,
    PINION_SPACERS,
    RULE_WORDS,
    SpacerResult,
    StockChoice,
    best_pack,
    choose_limit,
    judge,
    nearest_spacer,
    pinion_out_of_shim_change_mm,
    what_to_order,
)
from axlewright.steps.answers import Answers
from axlewright.steps.field import Choice, Field
from axlewright.steps.fitted import SAME_MM
from axlewright.steps.result import Reading, Result
from axlewright.steps.step import Context
from axlewright.units import MM_PER_INCH, Length

if TYPE_CHECKING:
    from axlewright.setup import RoundingRule, ShimPlace

SHELF: Final = n_("From the shelf")

SPACER_BAND_MM: Final = (0.1, 15.0)
"""Plausible spacers, wider than in any axle known to the author (common practice, no source); others are
asked about, not refused."""

CAGE_LEAST_LEAVES: Final = 3
"""Cage packs have at least three shims, the thinnest outside (TM 10-3930-660-34 p 9-20)."""
CAGE_MOST_LEAVES: Final = 6
TOO_FAR_MM: Final = 0.01 * MM_PER_INCH
"""What is farther off than this is no help from the shelf (common practice, no source)."""


def choose_spacer(found: Result, answers: Answers, context: Context, result: SpacerResult) -> None:
    """Compare what is on the shelf and what was fitted with what is wanted."""
    of_sum = list(found.questions)
    fitted = _fitted(found, answers, context, result.place)
    is_in = {} if fitted is None else {"spacer_now_mm": fitted, "fitted": True}
    decides = deciding(context.entries, "depth", found.values | is_in)
    by_pattern = decides.pinion != "sum"
    wanted = result.value_mm if decides.spacer_mm is None else decides.spacer_mm
    found.values |= {"wanted_mm": wanted, "decided_by": decides.pinion, "decided_at": decides.seq}
    if by_pattern:  # what is asked about the sum does not hold up what no longer stands on it
        found.questions = found.questions[len(of_sum) :]
        found.notes += [
            _("Asked about the sum, which no longer decides: {question}").format(question=one)
            for one in of_sum
        ]
    choice = _from_shelf(found, answers, context, wanted, result.place)
    limit = choose_limit("depth_remainder")
    if fitted is not None:
        out = pinion_out_of_shim_change_mm(fitted - wanted, result.place)
        found.values |= {**is_in, "pinion_left_out_mm": out}
        found.judged(judge(out, limit))
        found.settle("")
        words = _left(fitted, wanted, out, by_pattern)
        if found.verdict == "ask":
            found.notes.append(joined(words, ".", between=""))
        else:
            found.why = words
        return
    if choice is None:
        if context.of_job:
            found.questions.append(
                _("Fit {want}, measure it and type it in: which one went in?").format(want=Length(wanted))
            )
        found.settle("")
        return
    found.values |= {
        "spacer_now_mm": choice.thickness_mm,
        "pinion_left_out_mm": choice.pinion_out_mm,
        "fitted": False,
    }
    found.judged(judge(choice.pinion_out_mm, limit))
    found.settle(joined(choice.text(), _("Wanted {want}").format(want=Length(wanted))))


def _fitted(found: Result, answers: Answers, context: Context, place: ShimPlace) -> float | None:
    """Return the spacer that is in [mm]: the one typed, else the last one said to be fitted in this job.

    None when none is known, or when it is not sure which one is in; that is then asked.
    """
    fitted, last = answers.length("fitted"), context.fitted
    if last is not None:
        same_place = last.counts and last.place == place
        if fitted is None and not same_place:
            words = (
                _("Entry {seq} put {spacer} in another place: measure and type the spacer that is in here.")
                if last.counts
                else _(
                    "Entry {seq}, {spacer} fitted, was taken back: measure and type the spacer that is in."
                )
            )
            found.questions.append(words.format(seq=last.seq, spacer=Length(last.mm)))
            return None
        if same_place and (fitted is None or abs(fitted - last.mm) < SAME_MM):
            note = _("from entry {seq} by {who}").format(seq=last.seq, who=last.who)
            found.readings.append(Reading(_("spacer fitted"), Length(last.mm), place="S", note=note))
            found.notes.append(
                _(
                    "Spacer fitted: {spacer}, from entry {seq} by {who}, {when}; taken to be in still. "
                    "Measure and type another as soon as it goes in."
                ).format(spacer=Length(last.mm), seq=last.seq, who=last.who, when=last.at)
            )
            found.values["fitted_from"] = last.seq
            return last.mm
    found.readings += answers.reading("fitted")
    return fitted


def _left(fitted_mm: float, wanted_mm: float, out_mm: float, by_pattern: bool) -> Text:
    """Say where the spacer that is in leaves the pinion."""
    as_wanted = Length(out_mm).shows_as_zero("metric")  # the finer of the two as shown
    if by_pattern and as_wanted:
        words = _("Fitted {fitted}, as the contact pattern decided")
    elif by_pattern and out_mm > 0:
        words = _("Fitted {fitted}, the contact pattern decided {want}: the pinion sits {out} too far out")
    elif by_pattern:
        words = _("Fitted {fitted}, the contact pattern decided {want}: the pinion sits {out} too far in")
    elif as_wanted:
        words = _("Fitted {fitted}, wanted {want}: the pinion sits as computed")
    elif out_mm > 0:
        words = _("Fitted {fitted}, wanted {want}: the pinion sits {out} too far out")
    else:
        words = _("Fitted {fitted}, wanted {want}: the pinion sits {out} too far in")
    return words.format(fitted=Length(fitted_mm), want=Length(wanted_mm), out=Length(abs(out_mm)))


def _from_shelf(
    found: Result, answers: Answers, context: Context, wanted_mm: float, place: ShimPlace
) -> StockChoice | None:
    """Return what to take from the shelf for a spacer, told with what to order; None when nothing fits."""
    cage = place == "cage_flange"
    most = answers.count("most_leaves") or (CAGE_MOST_LEAVES if cage else 1)
    least = answers.count("least_leaves") or min(CAGE_LEAST_LEAVES if cage else 1, most)
    if least > most:
        raise answers.error("least_leaves", _("more than the most leaves"), _("give the smaller number here"))
    if wanted_mm <= 0.0:
        return None
    rule = cast("RoundingRule", answers.choice("rule") or "nearest")
    if not context.shelf and not (cage and context.leaves):
        if context.of_job:
            found.notes.append(
                _("No spacers are entered on the shelf (Settings): nearest stock size cannot be named.")
            )
        return None
    try:
        if most == 1:
            choice = nearest_spacer(wanted_mm, context.shelf, place=place, rule=rule)
        else:
            choice = best_pack(
                wanted_mm,
                context.shelf + context.leaves,
                place=place,
                rule=rule,
                least_leaves=least,
                most_leaves=most,
                thin_outside=cage or answers.ticked("thin_outside"),
            )
    except AxlewrightError as error:
        found.notes.append(
            _("Nothing on the shelf fits: {why}.").format(why=joined(error.what, error.fix, between="; "))
        )
        _tell_order(found, None, wanted_mm, rule)
        return None
    if abs(choice.remainder_mm) > TOO_FAR_MM:
        found.notes.append(
            _("The nearest on the shelf is {thickness}, too far away: order {wanted}.").format(
                thickness=Length(choice.thickness_mm), wanted=Length(wanted_mm)
            )
        )
        return None
    found.notes.append(choice.text())
    if len(choice.items) > 1:
        leaves = (Length(item.thickness_mm) for item in choice.items)
        found.notes.append(
            _("{count} leaves, in this order: {leaves}. Measure the pack once more as a pack.").format(
                count=len(choice.items), leaves=joined(*leaves, between=", ")
            )
        )
    _tell_order(found, choice, wanted_mm, rule)
    found.values |= {
        "shelf_mm": choice.thickness_mm,
        "shelf_label": choice.names,
        "shelf_leaves_mm": [round(item.thickness_mm, 6) for item in choice.items],
    }
    return choice


def _tell_order(found: Result, choice: StockChoice | None, wanted_mm: float, rule: RoundingRule) -> None:
    """Say what to order when the shelf leaves the pinion farther off than its limit allows."""
    advice = what_to_order(choice, wanted_mm, PINION_SPACERS, choose_limit("depth_remainder"), rule=rule)
    if advice is None:
        return
    found.notes.append(advice.text())
    if advice.order_mm is not None:
        found.values["order_mm"] = advice.order_mm


SHELF_FIELDS: Final = (
    Field(
        "rule",
        n_("Where no size fits exactly, take"),
        "choice",
        n_("Both rules are printed. Nothing chosen means the nearest."),
        choices=tuple(starmap(Choice, RULE_WORDS.items())),
        sticky=True,
        group=SHELF,
        listed=False,
    ),
    Field(
        "most_leaves",
        n_("Most leaves in a pack"),
        "count",
        n_("1 for one solid spacer. Empty: 1, or 6 at a cage flange."),
        sticky=True,
        group=SHELF,
        usual=(1, LARGEST_PACK),
        listed=False,
    ),
    Field(
        "least_leaves",
        n_("Fewest leaves"),
        "count",
        n_("Empty: 1, or 3 at a cage flange."),
        sticky=True,
        group=SHELF,
        usual=(1, LARGEST_PACK),
        listed=False,
    ),
    Field(
        "thin_outside",
        n_("Thinnest leaves on the outer faces"),
        "yes",
        n_("Always so at a cage flange."),
        sticky=True,
        group=SHELF,
        listed=False,
    ),
    Field(
        "fitted",
        n_("Spacer that was fitted, measured"),
        "length",
        n_("Empty until one is in. The last one entered counts until another is."),
        place="S",
        group=n_("What was fitted"),
        usual=SPACER_BAND_MM,
        short=n_("spacer fitted"),
        listed=False,
    ),
)
"""How a pack is put together (rule and number of leaves are data, not habits), and what was fitted."""
