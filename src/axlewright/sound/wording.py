"""Sentences of evidence for each source, and whether one of them needs no speed."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from axlewright.language import Shown
from axlewright.language import eager as _
from axlewright.sound.evidence import Posterior
from axlewright.sound.names import source_name
from axlewright.sound.orders import AxleOrders, Candidate
from axlewright.sound.segments import Segment
from axlewright.sound.sidebands import Sidebands
from axlewright.sound.tracking import OrderMap

CLEAR: Final = 4.0
"""Score from which a line is spoken of [nats]."""
SIDEBAND_CLEAR: Final = 5.0
NARROW_SIGMA: Final = 0.01


def speed_asked(shift: float, sigma: float) -> str:
    """Say how far the stated speed would have to be off, as a share; above zero the true speed is higher."""
    if abs(shift) < 0.0005:  # would be shown as 0.0 %
        return _("fits the stated speed as it is")
    text = (
        _("needs the stated speed to be {shift} % too low ({shift2} of its standard deviations)")
        if shift > 0
        else _("needs the stated speed to be {shift} % too high ({shift2} of its standard deviations)")
    )
    return text.format(
        shift=f"{Shown(abs(shift) * 100):.1f}",
        shift2=f"{Shown(abs(shift) / sigma):.1f}",
    )


def source_evidence(
    posterior: Posterior,
    candidate: Candidate,
    bands: tuple[Sidebands, ...],
    axle: AxleOrders,
    sigma: float,
    map_: OrderMap,
    levels: dict[Segment, float | None],
) -> tuple[tuple[str, ...], bool]:
    """Say what speaks for a source.

    Returns
    -------
    tuple of (tuple of str, bool)
        Sentences, and whether there is a check that needs no speed: overtones at exact multiples,
        sidebands at the gear's own spacing, or a second source that asks for the same speed.
    """
    rigid = {"ring and pinion mesh", "propeller shaft or pinion, once per turn", "universal joint"}
    holding = [item for item in posterior.sets if candidate.name in item.members]
    if not holding or posterior.probability[candidate.name] < 0.01:
        return (), False
    best = holding[0]
    sentences: list[str] = []
    proven = False
    step = float(posterior.orders[1])
    clear = []
    orders = candidate.orders if candidate.kind != "tread" else tuple(float(n) for n in range(40, 97))
    for order in orders:
        at = round(order * math.exp(best.error) / step)
        reach = max(1, round(2.5 * candidate.slip * order / step))
        if at - reach < 1 or at + reach + 1 >= len(posterior.line_scores):
            continue
        if posterior.line_scores[at - reach : at + reach + 1].max() > CLEAR:
            clear.append(order)
    if candidate.kind == "tread":
        if len(clear) >= 3:
            sentences.append(
                _("{count} lines at whole wheel orders between 40 and 96, as block patterns make").format(
                    count=len(clear)
                )
            )
            proven = len(clear) >= 5
    elif clear:
        shown = ", ".join(f"{Shown(round(order, 2)):g}" for order in clear)
        sentences.append(_("lines at order {shown} per wheel turn").format(shown=shown))
        if len(clear) >= 2:
            multiples = ":".join(str(round(order / candidate.orders[0])) for order in clear)
            sentences.append(
                _("overtones at exact multiples {multiples}, whatever the speed").format(multiples=multiples)
            )
            # Many parts have overtones; they name the part only where the speed leaves no room.
            proven = sigma < NARROW_SIGMA
    shift = float(best.error) + _mean_error(posterior)
    sentences.append(speed_asked(shift, sigma))
    if candidate.kind == "mesh":
        for band in bands:
            if band.evidence > SIDEBAND_CLEAR:
                teeth = axle.pinion_teeth if band.name == "pinion" else axle.ring_teeth
                agrees = abs(band.ratio - teeth) < max(3 * band.ratio_sigma, 0.02 * teeth / 10)
                sentences.append(
                    _spacing_sentence(band.name, agrees).format(
                        ratio=f"{Shown(band.ratio):.2f}",
                        ratio_sigma=f"{Shown(band.ratio_sigma):.2f}",
                        teeth=teeth,
                    )
                )
                proven |= agrees
        sentences.extend(_load_sentence(levels))
    # A bearing's slip lets it ask for any speed near by, so it proves nothing and is not proven so.
    others = [n for n in best.members if n in rigid and n != candidate.name]
    if others and candidate.name in rigid and clear:
        sentences.append(
            _("{others}, heard at the same time, asks for the same speed").format(
                others=source_name(others[0])
            )
        )
        proven = True
    if map_.sweep < 0.06:
        sentences.append(_("the speed hardly changes, so that the tone follows road speed is not shown"))
        proven = False
    return tuple(sentences), proven


def _mean_error(posterior: Posterior) -> float:
    """Return what has to be added to a set's error to have it against the stated speed."""
    alone = next((s for s in posterior.sets if not s.members), None)
    return -alone.error if alone is not None else 0.0


def _spacing_sentence(turning: str, agrees: bool) -> str:
    if turning == "pinion":
        return (
            _(
                "tone over sideband spacing is {ratio} ± {ratio_sigma}, which is {teeth} pinion teeth, "
                "whatever the speed"
            )
            if agrees
            else _(
                "tone over sideband spacing is {ratio} ± {ratio_sigma}, against {teeth} pinion teeth, "
                "whatever the speed"
            )
        )
    return (
        _(
            "tone over sideband spacing is {ratio} ± {ratio_sigma}, which is {teeth} ring gear teeth, "
            "whatever the speed"
        )
        if agrees
        else _(
            "tone over sideband spacing is {ratio} ± {ratio_sigma}, against {teeth} ring gear teeth, "
            "whatever the speed"
        )
    )


def _load_sentence(levels: dict[Segment, float | None]) -> list[str]:
    by_kind: dict[str, list[float]] = {}
    for segment, level in levels.items():
        if level is not None and segment.sure:
            by_kind.setdefault(segment.kind, []).append(level)
    if "drive" in by_kind and "coast" in by_kind:
        change = float(np.median(by_kind["drive"]) - np.median(by_kind["coast"]))
        if abs(change) < 0.5:  # would be shown as 0 dB
            return [_("as prominent on drive as on coast")]
        text = (
            _("{change} dB more prominent on drive than on coast")
            if change > 0
            else _("{change} dB less prominent on drive than on coast")
        )
        return [text.format(change=f"{abs(change):.0f}")]
    return []
