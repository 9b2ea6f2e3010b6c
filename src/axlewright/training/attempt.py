"""One person's attempt at an exercise: what was done, in order, and what it showed and cost.

An attempt is nothing but its exercise and its actions; everything else follows from them, so that it can be
kept as a few lines of JSON and played again.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Final, Literal, get_args

import numpy as np

from axlewright.contact import Settings
from axlewright.diagnosis import COST_HOURS, Goal
from axlewright.errors import InputError
from axlewright.gearset import GearSetDesign
from axlewright.language import Number, _, n_
from axlewright.training.axle import Shown, show_axle
from axlewright.training.draw import hidden_axle
from axlewright.training.exercise import ExerciseName, HiddenAxle

Kind = Literal[
    "identity", "backlash", "roll", "listen", "runout", "housing",
    "shim", "press", "seat", "ask",
    "sign", "leave", "repair", "new set",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class ActionKind:
    """Something that can be done to the axle.

    Attributes
    ----------
    label, help : str
        Messages of the catalogue.
    hours : float
        What it costs; those of the cost classes of `diagnosis`, the rest common practice, no source.
    cost : str
        Cost class, empty for one outside them.
    ends : bool
        The attempt is over after it.
    amount : bool
        Takes a length: how far.
    """

    label: str
    help: str
    hours: float
    cost: str = "L0"
    ends: bool = False
    amount: bool = False


MINUTES: Final = COST_HOURS["L0"]
ACTIONS: Final[Mapping[str, ActionKind]] = {
    "identity": ActionKind(
        n_("Compare the numbers on both gears"),
        n_("Pair numbers and depth marks of ring gear and pinion."),
        0.1,
    ),
    "backlash": ActionKind(
        n_("Measure backlash round the ring gear"), n_("Eight places with the dial at the heel."), MINUTES
    ),
    "roll": ActionKind(n_("Paint and roll"), n_("The pattern on both flanks of one tooth."), MINUTES),
    "listen": ActionKind(
        n_("Drive and listen"),
        n_("Mesh whine on drive and coast against the same set where it runs best."),
        0.5,
    ),
    "runout": ActionKind(
        n_("Measure runout of the ring gear"), n_("Dial on the back face, one turn."), MINUTES
    ),
    "housing": ActionKind(
        n_("Measure the housing"),
        n_("Gears out, bearings off: offset and shaft angle of the bores."),
        4.0,
        "L3",
    ),
    "shim": ActionKind(
        n_("Move the ring gear"),
        n_("Side shims changed equally and oppositely. Plus: away from the pinion, more backlash."),
        COST_HOURS["L1"],
        "L1",
        amount=True,
    ),
    "press": ActionKind(
        n_("Change the pinion spacer"),
        n_("Under the pinion head: a thicker spacer moves the pinion in. Plus: thicker."),
        COST_HOURS["L3"],
        "L3",
        amount=True,
    ),
    "seat": ActionKind(
        n_("Clean the ring gear's seat and bolt it up again"), n_("Gears out, no bearing pressed."),
        COST_HOURS["L2"], "L2",
    ),
    "ask": ActionKind(
        n_("Ask the program"), n_("What axlewright reads from all that was rolled and measured so far."), 0.0
    ),
    "sign": ActionKind(n_("Sign it off"), n_("The axle goes back to the road as it is."), MINUTES, ends=True),
    "leave": ActionKind(
        n_("It is not the gears"), n_("Nothing is changed in the axle; look for the noise elsewhere."),
        MINUTES, ends=True,
    ),
    "repair": ActionKind(
        n_("Send the housing away"), n_("The bores are out of place."), 0.5, "L4", ends=True
    ),
    "new set": ActionKind(
        n_("Order a matched set"), n_("Ring gear and pinion do not belong together."), 0.5, "L4", ends=True
    ),
}  # fmt: skip

SPACER_STEP_MM: Final = 0.0127
PLACES: Final = 8
ROLL_SD: Final = 0.02
"""How far two rollings of the same axle differ, in half face widths and half working depths."""
DIAL_SD_MM: Final = 0.008
BACKLASH_PER_RUNOUT: Final = 0.75
"""Backlash at the heel per ring-gear move toward the pinion, near enough for a wave (contact.backlash)."""
MOST_ACTIONS: Final = 60


@dataclass(frozen=True, slots=True)
class Action:
    """One thing done: its kind and, where it takes one, how far [mm]."""

    kind: Kind
    amount_mm: float = 0.0

    def __post_init__(self) -> None:
        if self.kind not in get_args(Kind):
            raise ValueError(f"'{self.kind}' is nothing that can be done to an axle")
        if not math.isfinite(self.amount_mm) or abs(self.amount_mm) > 1.0:
            raise InputError(
                _("{amount_mm} mm is no change of a spacer or shim").format(
                    amount_mm=Number(self.amount_mm, ".3f")
                ),
                where=_("amount"),
                fix=_("stay within 1 mm"),
            )
        if ACTIONS[self.kind].amount and not self.amount_mm:
            raise InputError(
                _("how far is missing"), where=_("amount"), fix=_("type a length such as 0.004 in")
            )

    def to_json(self) -> dict[str, Any]:
        """Return plain data."""
        return {"kind": self.kind, "amount_mm": self.amount_mm}


@dataclass(frozen=True, slots=True)
class Outcome:
    """What an action showed.

    Attributes
    ----------
    action : Action
    hours_after : float
        On the clock when it was done.
    settings : Settings
        Where the members sat when it was looked at, or after it when it moved something.
    shown : Shown or None
        What the paint showed ("roll") or what was heard ("listen").
    numbers : dict of str to float or list of float
        Readings, by name with their unit.
    """

    action: Action
    hours_after: float
    settings: Settings
    shown: Shown | None
    numbers: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Attempt:
    """An exercise and what was done so far."""

    name: ExerciseName
    who: str = ""
    actions: tuple[Action, ...] = ()

    @property
    def over(self) -> bool:
        """True after an action that ends it."""
        return bool(self.actions) and ACTIONS[self.actions[-1].kind].ends

    def then(self, action: Action) -> Attempt:
        """Return the attempt with one more action.

        Raises
        ------
        InputError
            When it is over, or grew without end.
        """
        if self.over:
            raise InputError(_("this attempt is over"), where=_("action"), fix=_("start another exercise"))
        if len(self.actions) >= MOST_ACTIONS:
            raise InputError(
                _("{count} things were done already").format(count=MOST_ACTIONS),
                where=_("action"),
                fix=_("sign it off or start again"),
            )
        return replace(self, actions=(*self.actions, action))

    def to_json(self) -> dict[str, Any]:
        """Return plain data."""
        return {
            "design": self.name.design,
            "level": self.name.level,
            "number": self.name.number,
            "who": self.who,
            "actions": [a.to_json() for a in self.actions],
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Attempt:
        """Read what `to_json` gave.

        Raises
        ------
        ValueError
            When it is something else.
        """
        try:
            return cls(
                ExerciseName(str(data["design"]), int(data["level"]), int(data["number"])),
                str(data.get("who", "")),
                tuple(Action(a["kind"], float(a.get("amount_mm", 0.0))) for a in data["actions"]),
            )
        except (KeyError, TypeError) as problem:
            raise ValueError(f"this is no kept attempt ({problem})") from None


@dataclass(frozen=True, slots=True)
class Played:
    """An attempt played through.

    Attributes
    ----------
    attempt : Attempt
    axle : HiddenAxle
        As it came in.
    outcomes : tuple of Outcome
    settings : Settings
        Where the members sit now.
    spacer_mm : float
        Spacer that is in now [mm].
    runout_mm : float
    """

    attempt: Attempt
    axle: HiddenAxle
    outcomes: tuple[Outcome, ...]
    settings: Settings
    spacer_mm: float
    runout_mm: float

    @property
    def hours(self) -> float:
        """Return the hours on the clock."""
        return self.outcomes[-1].hours_after if self.outcomes else 0.0

    def count(self, *kinds: str) -> int:
        """Count the actions of some kinds."""
        return sum(a.kind in kinds for a in self.attempt.actions)


def play(attempt: Attempt, design: GearSetDesign) -> Played:
    """Play an attempt through: the same attempt always shows the same.

    Parameters
    ----------
    attempt : Attempt
    design : GearSetDesign
        The design of the exercise.
    """
    if design.name != attempt.name.design:
        raise ValueError(f"the exercise is of design {attempt.name.design}, not {design.name}")
    return _play(attempt.name, attempt.actions, attempt.who, design)


@lru_cache(maxsize=64)
def _play(name: ExerciseName, actions: tuple[Action, ...], who: str, design: GearSetDesign) -> Played:
    axle = hidden_axle(name, design)
    settings, spacer, runout, hours = axle.settings, axle.spacer_mm, axle.runout_mm, 0.0
    out: list[Outcome] = []
    goal = Goal()
    for k, action in enumerate(actions):
        luck = np.random.default_rng([name.level, name.number, *name.design.encode(), k])
        level1 = name.level == 1
        hours += ACTIONS[action.kind].hours
        shown: Shown | None = None
        numbers: dict[str, Any] = {}
        if action.kind == "press":
            built = float(luck.normal(0.0, goal.build_sd_mm[0])) * (not level1)
            settings = settings.plus(Settings(pinion_out_mm=-action.amount_mm + built))
            spacer += action.amount_mm
        elif action.kind == "shim":
            built = float(luck.normal(0.0, goal.build_sd_mm[1])) * (not level1)
            settings = settings.plus(Settings(ring_away_mm=action.amount_mm + built))
        elif action.kind == "seat":
            runout = min(runout, float(luck.uniform(0.005, 0.02)))
        elif action.kind in ("roll", "listen"):
            spread = 0.0 if level1 or action.kind == "listen" else ROLL_SD
            scatter = tuple(round(float(v), 4) for v in luck.normal(0.0, 1.0, 4) * spread)
            at = settings
            if action.kind == "roll":  # one tooth, somewhere on the wave of the runout
                at = settings.plus(Settings(ring_away_mm=float(luck.uniform(-0.5, 0.5)) * runout))
            shown = show_axle(axle, at, scatter)
        elif action.kind == "backlash":
            mean = show_axle(axle, settings).backlash_mm
            wave = np.cos(2.0 * np.pi * np.arange(PLACES) / PLACES + float(luck.uniform(0.0, 6.28)))
            noise = luck.normal(0.0, DIAL_SD_MM, PLACES) * (0.3 if level1 else 1.0)
            readings = np.maximum(0.0, mean + 0.5 * runout * BACKLASH_PER_RUNOUT * wave + noise)
            numbers = {"readings_mm": [round(float(v), 3) for v in readings]}
        elif action.kind == "runout":
            numbers = {"runout_mm": round(max(0.0, runout + float(luck.normal(0.0, 0.004))), 3)}
        elif action.kind == "housing":
            numbers = {
                "offset_error_mm": round(axle.settings.offset_error_mm + float(luck.normal(0.0, 0.01)), 3),
                "shaft_angle_error_deg": round(
                    axle.settings.shaft_angle_error_deg + float(luck.normal(0.0, 0.003)), 4
                ),
            }
        elif action.kind == "identity":
            first = 1000 + int(luck.integers(0, 9000))
            numbers = {
                "ring_pair": first,
                "pinion_pair": first if axle.matched else first + int(luck.integers(1, 900)),
                "mark_mm": axle.mark_mm,
            }
        out.append(Outcome(action, hours, settings, shown, numbers))
    return Played(Attempt(name, who, actions), axle, tuple(out), settings, spacer, runout)


def moves_since(played: Played, index: int) -> tuple[float, float]:
    """Return pinion and ring-gear moves as meant, made after an outcome (out and away positive) [mm]."""
    later: Sequence[Action] = played.attempt.actions[index + 1 :]
    pinion = -sum(a.amount_mm for a in later if a.kind == "press")
    return pinion + 0.0, sum(a.amount_mm for a in later if a.kind == "shim")
