"""An attempt as it is shown: what each thing done showed, in words, and the end told plainly."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from axlewright.errors import AxlewrightError
from axlewright.language import Shown, Text
from axlewright.language import eager as _
from axlewright.training import ACTIONS, Action, Played, ask
from axlewright.units import System, show_length

if TYPE_CHECKING:
    from axlewright.contact import ContactPattern
    from axlewright.training import Outcome


@dataclass(frozen=True, slots=True)
class ShownOutcome:
    """One thing done, in words.

    Attributes
    ----------
    number : int
        From 1.
    label : str
    hours : str
        On the clock after it.
    lines : tuple of str
        What it showed.
    patterns : dict of str to ContactPattern
        What the paint showed, by flank.
    """

    number: int
    label: str
    hours: str
    lines: tuple[str, ...]
    patterns: dict[str, ContactPattern]


def show_hours(hours: float) -> str:
    """Show a time on the clock as hours and minutes."""
    minutes = round(hours * 60.0)
    return _("{hours} h {minutes} min").format(hours=minutes // 60, minutes=minutes % 60)


def action_words(action: Action, system: System) -> str:
    """Say an action with its amount."""
    label = _(ACTIONS[action.kind].label)
    if not action.amount_mm:
        return label
    length = show_length(abs(action.amount_mm), system)
    if action.kind == "press":
        text = _("{label}: {length} thicker") if action.amount_mm > 0 else _("{label}: {length} thinner")
    elif action.amount_mm > 0:
        text = _("{label}: {length} away from the pinion")
    else:
        text = _("{label}: {length} toward the pinion")
    return text.format(label=label, length=length)


def complaint(played: Played) -> str:
    """Say what the driver said: from what the axle really does, or from elsewhere."""
    from axlewright.training import show_axle

    kind = played.axle.kind
    if kind == "not the gears":
        return _("It hums from 40 mph up, on drive and on coast alike.")
    if kind == "runout":
        return _("It whines, and the whine swells and fades as the wheels turn.")
    heard = show_axle(played.axle, played.axle.settings).whine_db
    drive, coast = heard.get("drive", 0.0), heard.get("coast", 0.0)
    if max(drive, coast) < 1.0:
        return _("It was rebuilt elsewhere and never ran quite right.")
    if abs(drive - coast) < 1.5:
        return _("It whines on drive and on coast.")
    return _("It whines on drive.") if drive > coast else _("It whines on coast.")


def show_outcome(played: Played, index: int, system: System) -> ShownOutcome:
    """Tell what one action showed.

    Parameters
    ----------
    index : int
        Its place, from 0.
    """
    outcome = played.outcomes[index]
    lines, patterns = _lines(played, index, outcome, system)
    return ShownOutcome(
        index + 1,
        action_words(outcome.action, system),
        show_hours(outcome.hours_after),
        tuple(lines),
        patterns,
    )


def _lines(
    played: Played, index: int, outcome: Outcome, system: System
) -> tuple[list[str], dict[str, ContactPattern]]:
    numbers: dict[str, Any] = outcome.numbers
    kind = outcome.action.kind
    nominal = show_length(played.axle.design.backlash_nominal_mm, system)
    if kind == "identity":
        same = numbers["ring_pair"] == numbers["pinion_pair"]
        return [
            _("Ring gear {ring}, pinion {pinion}: {verdict}").format(
                ring=numbers["ring_pair"],
                pinion=numbers["pinion_pair"],
                verdict=_("a pair.") if same else _("not the same number."),
            ),
            _("The depth mark asks for {length} on the mounting distance.").format(
                length=show_length(numbers["mark_mm"], system, signed=True)
            ),
        ], {}
    if kind == "backlash":
        readings = numbers["readings_mm"]
        return [
            _("Readings: {readings}.").format(
                readings=", ".join(show_length(v, system).partition(" (")[0] for v in readings)
            ),
            _("Mean {mean}, spread {spread}; the design asks for {nominal}.").format(
                mean=show_length(float(np.mean(readings)), system),
                spread=show_length(max(readings) - min(readings), system),
                nominal=nominal,
            ),
        ], {}
    if kind == "runout":
        return [
            _("The ring gear runs out by {length}.").format(length=show_length(numbers["runout_mm"], system))
        ], {}
    if kind == "housing":
        return [
            _("Offset {offset} from nominal, ± {sd}.").format(
                offset=show_length(numbers["offset_error_mm"], system, signed=True),
                sd=show_length(0.01, system),
            ),
            _("Shaft angle {angle} minutes of arc from nominal, ± 0.2.").format(
                angle=f"{Shown(numbers['shaft_angle_error_deg'] * 60):+.1f}"
            ),
        ], {}
    if kind == "roll" and outcome.shown is not None:
        seen = outcome.shown.patterns
        missing = [f for f in ("drive", "coast") if f not in seen]
        lines = [
            (_("Drive side: {words}.") if f == "drive" else _("Coast side: {words}.")).format(
                words=p.describe()
            )
            for f, p in seen.items()
        ]
        if missing:
            lines.append(_("One flank leaves contact: nothing can be read there."))
        return lines, dict(seen)
    if kind == "listen" and outcome.shown is not None:
        words = {
            "drive": _("Whine on drive: {db} dB against the same set where it runs best."),
            "coast": _("Whine on coast: {db} dB against the same set where it runs best."),
        }
        return [words[f].format(db=f"{Shown(v):+.0f}") for f, v in outcome.shown.whine_db.items()], {}
    if kind == "ask":
        return _asked(played, index), {}
    if kind == "seat":
        return [_("Clean, dry, bolted up evenly again.")], {}
    if kind == "press":
        return [
            _("The spacer is now {length} thick.").format(
                length=show_length(
                    played.axle.spacer_mm
                    + sum(a.amount_mm for a in played.attempt.actions[: index + 1] if a.kind == "press"),
                    system,
                )
            )
        ], {}
    return [], {}


def _asked(played: Played, index: int) -> list[str]:
    """Say what the program makes of all that was seen before."""
    try:
        found = ask(played, index)
    except AxlewrightError as error:
        return [str(error)]
    best = found.advice[0]
    lines: list[Text] = [best.text]
    if best.pinion_move_mm or best.shim_move_mm:
        lines.append(
            _("Chance that this is the last teardown: {chance} %.").format(
                chance=round(100 * best.chance_last_teardown)
            )
        )
    return [*map(str, lines), *map(str, found.notes)]
