"""What a recording cannot tell apart, what to record next, and what to check when nothing fits."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from axlewright.language import Shown, n_
from axlewright.language import eager as _
from axlewright.sound.evidence import NONE, UNKNOWN, Posterior, SetEvidence
from axlewright.sound.findings import MESH
from axlewright.sound.orders import AxleOrders, Candidate
from axlewright.sound.recording import Recording
from axlewright.sound.tracking import OrderMap

WORTH: Final = 0.02
ENGINE: Final = n_("engine or gearbox in a fixed gear")
FIXED: Final = n_("a tone of fixed frequency (resonance, fan, electrical)")
MPH_KMH: Final = 1.609344
FAR_SIGMA: Final = 2.0
"""A mesh that needs the speed farther off than this many standard deviations may be another set's."""


@dataclass(frozen=True, slots=True)
class Ambiguity:
    """Two sources this recording cannot tell apart.

    Parameters
    ----------
    first, second : str
    why : str
    tell_apart : str
        Manoeuvre, recording or look that would.
    blocking : bool
        Whether it forbids calling the first one likely.
    """

    first: str
    second: str
    why: str
    tell_apart: str
    blocking: bool = False


@dataclass(frozen=True, slots=True)
class Advice:
    """One recording to make next.

    Parameters
    ----------
    do, why : str
    separates : tuple of str
        Sources it would tell apart.
    """

    do: str
    why: str
    separates: tuple[str, ...] = ()


def find_ambiguities(
    posterior: Posterior,
    candidates: tuple[Candidate, ...],
    axle: AxleOrders,
    sigma: float,
    sweep: float,
    constant: bool,
) -> tuple[Ambiguity, ...]:
    """List what cannot be told apart, for sources that are worth speaking of.

    Orders nearer than two standard deviations of the speed cannot be separated by their main line.
    """
    found: list[Ambiguity] = []
    by_name = {c.name: c for c in candidates}
    heard = [by_name[n] for n in posterior.top if n in by_name and posterior.probability[n] > WORTH]
    for one in heard:
        for other in candidates:
            if (
                other is one
                or not one.orders
                or not other.orders
                or (other in heard and other.name < one.name)
            ):
                continue
            distance = abs(math.log(one.orders[0] / other.orders[0]))
            limit = 2 * math.hypot(sigma, math.hypot(one.slip, other.slip))
            if distance < limit and posterior.probability[other.name] > WORTH:
                found.append(
                    Ambiguity(
                        one.name,
                        other.name,
                        _(
                            "orders {orders} and {orders2} differ by {distance} %, the speed is known to "
                            "±{sigma} %"
                        ).format(
                            orders=f"{Shown(one.orders[0]):.2f}",
                            orders2=f"{Shown(other.orders[0]):.2f}",
                            distance=f"{Shown(distance * 100):.1f}",
                            sigma=f"{Shown(sigma * 100):.1f}",
                        ),
                        _("a satellite speed trace with a taped roll-out; {tells}").format(tells=one.tells),
                        blocking=posterior.probability[other.name] > 0.1,
                    )
                )
        if one.kind in ("joint", "propshaft"):
            found.append(
                Ambiguity(
                    one.name,
                    ENGINE,
                    _(
                        "in a fixed gear the engine turns in step with the wheels, and its firing "
                        "may fall on order {orders}"
                    ).format(orders=f"{Shown(one.orders[0]):.2f}"),
                    _("the same road speed in another gear, and coasting with the clutch out or in neutral"),
                    blocking=False,
                )
            )
        if one.kind in ("mesh", "bearing"):
            found.append(
                Ambiguity(
                    one.name,
                    _("another part that makes order {orders}").format(orders=f"{Shown(one.orders[0]):.2f}"),
                    _("a line names an order, not a part"),
                    one.tells,
                )
            )
        if constant or sweep < 0.06:
            found.append(
                Ambiguity(
                    one.name,
                    FIXED,
                    _(
                        "the speed hardly changes, or a tone stays put while it does: what follows "
                        "the speed is not shown"
                    ),
                    _("a slow sweep, for example 30 to 60 mph and back in a minute"),
                    blocking=True,
                )
            )
    return tuple(found)


def advise(
    posterior: Posterior,
    candidates: tuple[Candidate, ...],
    ambiguities: tuple[Ambiguity, ...],
    recording: Recording,
    map_: OrderMap,
    sigma: float,
) -> tuple[Advice, ...]:
    """List the recordings that would help most, the most useful first."""
    result: list[Advice] = []
    if map_.sweep < 0.25:
        result.append(
            Advice(
                _(
                    "sweep slowly from about 30 to 60 mph (50 to 100 km/h) and back, 40 to 60 s, "
                    "where it is legal and safe; a second person keeps the phone and the marks"
                ),
                _("only a sweep shows what follows road speed"),
            )
        )
    for kind, do in (
        ("clipping", _("move the microphone away from wind and vents or lower its gain")),
        ("narrow_band", _("record with a sound recorder as WAV, not as a voice message")),
        ("speech", _("keep quiet and leave the radio off")),
        ("out_of_phase", _("record one channel")),
    ):
        if recording.has(kind):
            result.append(Advice(do, next(f.text for f in recording.flags if f.kind == kind)))
    close = [a for a in ambiguities if a.blocking and a.second not in (FIXED, ENGINE)]
    if close and sigma > 0.008:
        names = tuple(dict.fromkeys(n for a in close for n in (a.first, a.second)))
        result.append(
            Advice(
                _("record again with a satellite speed trace, and measure the tyre's roll-out with a tape"),
                _("the speed is known to ±{sigma} % only; ±0.7 % would separate them").format(
                    sigma=f"{Shown(sigma * 100):.1f}"
                ),
                names,
            )
        )
    for c in candidates:
        if c.name in posterior.top and posterior.probability[c.name] > 0.1 and c.tells:
            result.append(Advice(c.tells, _("to tell it from other parts at the same order"), (c.name,)))
    if posterior.probability[UNKNOWN] > 0.2:
        result.append(
            Advice(
                _("record the same speed in two gears, once on drive and once coasting in neutral"),
                _("a tone that stays in every gear comes from behind the gearbox; one that changes does not"),
                (UNKNOWN, ENGINE),
            )
        )
    if posterior.probability[NONE] > 0.5:
        result.append(
            Advice(
                _(
                    "record where the complaint is heard best: that speed and load, windows "
                    "shut, phone on seat"
                ),
                _("nothing in this recording follows road speed"),
            )
        )
    return tuple(result)


def notices_when_nothing_fits(
    posterior: Posterior,
    axle: AxleOrders,
    reference_error: float,
    sigma: float,
    map_: OrderMap,
    winner: SetEvidence,
) -> tuple[str, ...]:
    """Say what to check when the line that is there fits no source."""
    notices: list[str] = []
    for tone in map_.fixed_hz:
        notices.append(
            _(
                "a tone at {tone} Hz stays put while the speed changes: it is not from the axle's gears"
            ).format(tone=f"{tone:.0f}")
        )
    if MESH in winner.members:
        shift = winner.error + reference_error
        if abs(shift) > FAR_SIGMA * sigma:
            order = axle.ring_teeth * math.exp(shift)
            low, high = math.ceil(order * (1 - 2 * sigma)), math.floor(order * (1 + 2 * sigma))
            notices.append(
                _(
                    "the mesh fits only with a speed far from the stated one; as stated, its line is that "
                    "of a ring gear with {teeth} teeth instead of {ring_teeth}: count them, and check speed "
                    "and tyre"
                ).format(teeth=_span(low, high), ring_teeth=axle.ring_teeth)
            )
    if UNKNOWN in winner.members and posterior.probability[UNKNOWN] > 0.5 and winner.unknown_order > 0:
        order = winner.unknown_order * math.exp(-winner.error)
        if len(winner.members) == 1:
            order = winner.unknown_order * math.exp(reference_error)
            doubt = f"{Shown(order):.1f} ± {Shown(2 * sigma * order):.1f}"
            notices.append(
                _("nothing that was named fits: the clearest line is at order {doubt} per wheel turn").format(
                    doubt=doubt
                )
            )
            for factor, text in (
                (MPH_KMH, _("mph were meant as km/h")),
                (1 / MPH_KMH, _("km/h were meant as mph")),
            ):
                if abs(math.log(order * factor / axle.ring_teeth)) < 2 * sigma + 0.004:
                    notices.append(
                        _("it would fit the mesh if {text}: check the unit of the speed").format(text=text)
                    )
            low = math.ceil(order * (1 - 2 * sigma))
            high = math.floor(order * (1 + 2 * sigma))
            if 25 <= low <= high <= 60:
                notices.append(
                    _(
                        "it would fit a ring gear with {teeth} teeth instead of {ring_teeth}: count "
                        "them, and check the tyre"
                    ).format(teeth=_span(low, high), ring_teeth=axle.ring_teeth)
                )
        else:
            notices.append(
                _("besides, a line at order {order} per wheel turn fits no source that was named").format(
                    order=f"{Shown(order):.2f}"
                )
            )
    return tuple(notices)


def _span(low: int, high: int) -> str:
    return str(low) if low >= high else _("{low} to {high}").format(low=low, high=high)
