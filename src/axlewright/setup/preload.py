"""Setting the preload: steps toward a crushed sleeve, rigid spacers, spread of the side bearing caps.

A crushed sleeve only ever gives more preload. Past the stop line it is renewed; the nut is never backed off
(TM 9-2320-387-24-2 ch 30; civil service literature, maker withheld).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal

from axlewright.errors import InputError
from axlewright.language import Number, Text, _
from axlewright.setup.limits import Limit, Verdict, judge
from axlewright.setup.measured import WrittenSum, minus, plus
from axlewright.units import Length, Torque

LARGEST_NUT_STEP_DEG: Final = 10.0
FIRST_NUT_STEP_DEG: Final = 5.0
"""Printed steps near the target: 5 to 10 degrees of nut (civil service literature, maker withheld)."""

SMALLEST_NUT_STEP_DEG: Final = 2.0
"""Finest step a person can turn by hand on a long bar (common practice, no source)."""

SETUP_BEARING_ALLOWANCE_MM: Final = 0.0254
"""What one manual adds to a preload spacer found with slip-fit bearings, because pressed cones grow
(TM 5-4210-220-34 ch 2); it still asks for a final test every time."""

SleeveState = Literal["tighten", "stop", "new sleeve"]


@dataclass(frozen=True, slots=True)
class NutReading:
    """Running torque after the nut was turned.

    Parameters
    ----------
    nut_deg : float
        Nut turned since the bearings began to drag [deg], only ever more.
    torque_nm : float
        Running torque, no seal drag in it [N·m].
    """

    nut_deg: float
    torque_nm: float


@dataclass(frozen=True, slots=True)
class SleeveAdvice:
    """What to do next with a crushed sleeve.

    Parameters
    ----------
    state : {"tighten", "stop", "new sleeve"}
        What to do.
    next_step_deg : float
        Nut to turn now [deg]; 0 unless tightening.
    stop_line_nm : float
        Running torque not to be passed [N·m].
    verdict : Verdict
        The last reading held against the limit.
    expected_nm : float or None
        Running torque expected after the step, once two readings give a slope [N·m].
    """

    state: SleeveState
    next_step_deg: float
    stop_line_nm: float
    verdict: Verdict
    expected_nm: float | None = None

    def text(self) -> Text:
        """Return what to do, in one or two sentences."""
        stop = Torque(self.stop_line_nm)
        if self.state == "tighten":
            step = Number(self.next_step_deg, ".2g")
            if self.expected_nm is None:
                return _(
                    "Tighten {next_step_deg}° more, turn the pinion several times, read again. "
                    "Stop line {stop}. Never back the nut off."
                ).format(next_step_deg=step, stop=stop)
            return _(
                "Tighten {next_step_deg}° more, expect about {expected_nm}, turn the pinion several times, "
                "read again. Stop line {stop}. Never back the nut off."
            ).format(next_step_deg=step, expected_nm=Torque(self.expected_nm), stop=stop)
        if self.state == "stop":
            return _("{text}. Stop here; do not tighten further.").format(text=self.verdict.text())
        return _(
            "{text}. Past the stop line {stop}: fit a new sleeve, and the nut and seal "
            "that its data call for. Never back the nut off to lower the preload."
        ).format(text=self.verdict.text(), stop=stop)


def next_sleeve_step(
    readings: Sequence[NutReading], limit: Limit, *, expanded_uncertainty_nm: float = 0.0
) -> SleeveAdvice:
    """Return the next step toward the preload of a crushed sleeve.

    Parameters
    ----------
    readings : sequence of NutReading
        All readings so far, in order; at least one.
    limit : Limit
        Permitted running torque without seal drag [N·m]; both edges needed. New and used bearings have
        different ones.
    expanded_uncertainty_nm : float
        95 % half-width of a torque reading [N·m].

    Returns
    -------
    SleeveAdvice
        Half of the way to the middle of the band as the last slope predicts it, within 2 and 10 degrees, and
        never a step that the slope expects to pass the stop line; 5 degrees while no slope is known. A
        reading inside the band stops even when its uncertainty reaches over an edge: what is tightened
        cannot be undone.

    Raises
    ------
    InputError
        If there is no reading, the nut was turned back, or the limit is open on a side or not a torque.
    """
    if not readings:
        raise InputError(
            _("no torque reading"), where=_("pinion preload"), fix=_("turn the pinion and read its drag")
        )
    if limit.low is None or limit.high is None or limit.unit != "N·m":
        raise InputError(
            _("a least and a largest running torque are needed"),
            where=limit.name,
            fix=_("give both, as a torque"),
        )
    for earlier, later in pairwise(readings):
        if later.nut_deg < earlier.nut_deg:
            raise InputError(
                _("the nut was turned back"),
                where=_("pinion preload"),
                fix=_("a crushed sleeve does not spring back: fit a new one and begin again"),
            )
    last = readings[-1]
    verdict = judge(last.torque_nm, limit, expanded_uncertainty=expanded_uncertainty_nm)
    stop_line = max(limit.low, limit.high - expanded_uncertainty_nm)
    if last.torque_nm > limit.high:
        return SleeveAdvice("new sleeve", 0.0, stop_line, verdict)
    if last.torque_nm >= limit.low:
        return SleeveAdvice("stop", 0.0, stop_line, verdict)
    step, expected = FIRST_NUT_STEP_DEG, None
    if len(readings) > 1:
        turned = last.nut_deg - readings[-2].nut_deg
        rise = last.torque_nm - readings[-2].torque_nm
        if turned > 0.0 and rise > 0.0:
            slope = rise / turned
            step = 0.5 * (limit.middle - last.torque_nm) / slope
            step = min(max(step, SMALLEST_NUT_STEP_DEG), LARGEST_NUT_STEP_DEG)
            # Even the smallest step is cut where the slope would carry it over the line.
            step = min(step, (stop_line - last.torque_nm) / slope)
            expected = last.torque_nm + slope * step
    return SleeveAdvice("tighten", step, stop_line, verdict, expected)


SpacerBetween = Literal["cones", "cups"]


def preload_change_sign(between: SpacerBetween | Literal[""]) -> int:
    """Return what a thicker rigid spacer does to the preload: −1 between the cones, +1 between the cups.

    Between the cones it holds the bearings apart (TM 9-2320-302-34 WP 0082; TM 10-3930-660-34 p 9-16). One
    manual prints the opposite (TM 5-3805-255-14 WP 0114), so the place is asked and never guessed.
    """
    if between == "cones":
        return -1
    if between == "cups":
        return 1
    raise InputError(
        _("unknown place '{between}'").format(between=between)
        if between
        else _("where the preload spacer sits is not known"),
        where=_("preload spacer"),
        fix=_("say whether it sits between the two cones or between the two cups"),
    )


def preload_spacer(
    first_mm: float,
    first_torque_nm: float,
    second_mm: float,
    second_torque_nm: float,
    target_nm: float,
    *,
    between: SpacerBetween | Literal[""] = "",
) -> float:
    """Return the rigid preload spacer for a target torque, from two trials on this axle.

    Straight line through both trials; a starter for the next trial and no more, since drag does not grow in
    proportion.

    Parameters
    ----------
    first_mm, second_mm : float
        Spacers tried [mm].
    first_torque_nm, second_torque_nm : float
        Running torques found [N·m].
    target_nm : float
        Torque wanted [N·m].
    between : {"cones", "cups"}
        Where the spacer sits. Required.

    Returns
    -------
    float
        Spacer to try next [mm].

    Raises
    ------
    InputError
        If both trials agree, or the torque changed the wrong way for the place.
    """
    sign = preload_change_sign(between)
    thickness, torque = second_mm - first_mm, second_torque_nm - first_torque_nm
    if thickness == 0.0 or torque == 0.0:
        raise InputError(
            _("both trials are the same"), where=_("preload spacer"), fix=_("try a second thickness")
        )
    if math.copysign(1.0, torque / thickness) != sign:
        raise InputError(
            _("a thicker spacer between the {between} changed the torque the wrong way").format(
                between=between
            ),
            where=_("preload spacer"),
            fix=_("check which spacer was in, and that nut torque and seating were the same"),
        )
    return second_mm + (target_nm - second_torque_nm) * thickness / torque


def cap_spread(over_caps_preloaded: Length, over_caps_free: Length) -> WrittenSum:
    """Return how far side bearing preload spreads the caps: length over both, preloaded minus free."""
    return WrittenSum(_("spread over the bearing caps"), (plus(over_caps_preloaded), minus(over_caps_free)))
