"""Side bearings: the shims to fit with their total kept, their preload, what is on the shelf."""

from __future__ import annotations

from dataclasses import replace

from axlewright.errors import AxlewrightError
from axlewright.language import eager as _
from axlewright.setup import (
    SideShims,
    StockItem,
    best_pack,
    cap_spread,
    choose_limit,
    judge,
)
from axlewright.steps.answers import Typed
from axlewright.steps.result import Result, plain_sum
from axlewright.steps.step import Context
from axlewright.units import Length, show_length, show_torque

SHIM_BAND_MM = (0.1, 20.0)
"""Plausible side shims (common practice, no source); others are asked about."""
MOST_SIDE_LEAVES = 3


def tell_shims_read(found: Result, typed: Typed) -> SideShims | None:
    """Write both side shims down; return them when both were typed."""
    ring, other = (
        typed.length(name, low=SHIM_BAND_MM[0], high=SHIM_BAND_MM[1]) for name in ("ring_side", "other_side")
    )
    found.read_length(_("side shim, ring gear side"), ring, typed.system, place="R")
    found.read_length(_("side shim, other side"), other, typed.system, place="O")
    if ring is None or other is None:
        return None
    found.values |= {"ring_side_mm": ring, "other_side_mm": other}
    return SideShims(ring, other)


def shims_to_fit(found: Result, typed: Typed, known: Context, ring_away_mm: float) -> bool:
    """Work out both side shims for a move of the ring gear and say so; False when they were not typed.

    The move changes them equal and opposite, so that their total and the preload stay; preload is added on
    each side where that was asked for.
    """
    now = tell_shims_read(found, typed)
    if now is None:
        return False
    each = typed.length("each_side", low=0.0, high=1.0) or 0.0
    try:
        new = now.moved(ring_away_mm).preloaded(each)
    except AxlewrightError as error:
        raise typed.error("ring_side", error.what, error.fix) from error
    if each:
        found.read_length(_("preload, added on each side"), each, typed.system)
    more = (each,) if each else ()
    found.sums.append(
        plain_sum(_("side shim to fit, ring gear side"), (now.ring_side_mm, -ring_away_mm, *more))
    )
    found.sums.append(plain_sum(_("side shim to fit, other side"), (now.other_side_mm, ring_away_mm, *more)))
    if each:
        found.notes.append(
            _("Total {before} becomes {after}: the difference is the preload, both sides together.").format(
                before=show_length(now.total_mm, typed.system), after=show_length(new.total_mm, typed.system)
            )
        )
    else:
        found.notes.append(
            _("Total stays {total_mm}, and with it the side bearings' preload.").format(
                total_mm=show_length(now.total_mm, typed.system)
            )
        )
    if typed.choice("sides", ("cups", "cones", "adjusters")) == "cones":
        found.notes.append(_("Shims behind the cones: both side bearings are pulled for every change."))
    found.values |= {"ring_side_new_mm": new.ring_side_mm, "other_side_new_mm": new.other_side_mm}
    _from_shelf(found, typed, known, new)
    return True


def _without(shelf: list[StockItem], taken: StockItem) -> list[StockItem]:
    """Return the shelf with one piece less."""
    out = list(shelf)
    for index, item in enumerate(out):
        if replace(item, count=1) == taken and item.count > 0:
            out[index] = replace(item, count=item.count - 1)
            break
    return out


def _from_shelf(found: Result, typed: Typed, known: Context, wanted: SideShims) -> None:
    """Name the shims on the shelf that come nearest, and what they leave over in place and preload."""
    if not known.side_shims:
        return
    picked = []
    left = list(known.side_shims)
    for want in (wanted.ring_side_mm, wanted.other_side_mm):
        try:
            choice = best_pack(want, left, place="under_head", most_leaves=MOST_SIDE_LEAVES)
        except AxlewrightError:
            found.notes.append(_("The side shims on the shelf do not reach: order both sizes."))
            return
        picked.append(choice)
        for piece in choice.items:  # what one side takes is not there for the other
            left = _without(left, piece)
    ring, other = picked
    shifted = (other.remainder_mm - ring.remainder_mm) / 2.0
    total = ring.remainder_mm + other.remainder_mm
    found.notes.append(
        _(
            "From the shelf: ring gear side {ring}, other side {other}. They leave the ring gear {away} away "
            "from its place and change the total by {total}."
        ).format(
            ring=ring.names,
            other=other.names,
            away=show_length(shifted, typed.system, signed=True),
            total=show_length(total, typed.system, signed=True),
        )
    )
    found.values |= {"shelf_ring_side_mm": ring.thickness_mm, "shelf_other_side_mm": other.thickness_mm}
    limit = choose_limit("depth_remainder")
    if judge(ring.remainder_mm, limit).kind != "inside" or judge(other.remainder_mm, limit).kind != "inside":
        found.notes.append(
            _("Order {ring} for the ring gear side and {other} for the other side.").format(
                ring=show_length(wanted.ring_side_mm, typed.system),
                other=show_length(wanted.other_side_mm, typed.system),
            )
        )


def find_side_preload(found: Result, typed: Typed, known: Context) -> None:
    """Judge the side bearings' preload: end play, rise of torque, spread of the caps."""
    play = typed.length("end_play", low=0.0, high=3.0)
    if play is not None:
        found.read_length(_("end play of the case"), play, typed.system)
        if play > 0.0:
            found.questions.append(
                _(
                    "{play} end play: the side bearings carry no preload yet. Take it out, then read again."
                ).format(play=show_length(play, typed.system))
            )
    rise = typed.torque("rise")
    if rise is not None:
        found.judged(judge(rise, choose_limit("side_preload_rise")))
        found.values["rise_nm"] = rise
        found.notes.append(
            _("Side bearings add {rise} at the pinion.").format(rise=show_torque(rise, typed.system))
        )
    free, loaded = (typed.length(name, low=30.0, high=1500.0) for name in ("caps_free", "caps_loaded"))
    if (free is None) != (loaded is None):
        raise typed.error(
            "caps_free" if free is None else "caps_loaded",
            _("nothing typed"),
            _("measure over both caps without preload and with it"),
        )
    if free is None or loaded is None:
        return
    spread = cap_spread(
        Length(loaded, label=_("over both caps, preloaded")),
        Length(free, label=_("over both caps, free")),
    )
    found.read_length(_("over both caps, free"), free, typed.system)
    found.read_length(_("over both caps, preloaded"), loaded, typed.system)
    found.sums.append(plain_sum(_("spread over the bearing caps"), (loaded, -free)))
    found.judged(judge(spread.value, choose_limit("cap_spread")))
    found.values["cap_spread_mm"] = spread.value
