"""The end of an exercise: the truth, the best course there was, and why."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from axlewright.contact import ContactPattern, Settings
from axlewright.diagnosis import Diagnosis, Earlier, Evidence, Goal, diagnose
from axlewright.diagnosis.advice import COMEBACK_HOURS
from axlewright.errors import InputError
from axlewright.gearset.design import REFERENCE_DIAMETER_MM
from axlewright.language import _
from axlewright.training.attempt import ACTIONS, SPACER_STEP_MM, Action, Played, moves_since
from axlewright.training.axle import FLANKS, Judged, judge_axle, show_axle
from axlewright.training.draw import needs_setting
from axlewright.training.exercise import RUNOUT_SEEN_MM, HiddenAxle

Array = NDArray[np.float64]
SHIM_STEP_MM: Final = 0.0254
NEAR_ENOUGH_MM: Final = 0.04
"""A set of unlucky lie that is this near to its own best place is as good as it gets (222 mm ring gear)."""
RIGHT_END: Final = {"housing": "repair", "mismatch": "new set", "not the gears": "leave"}


@dataclass(frozen=True, slots=True)
class Review:
    """What came of an attempt.

    Attributes
    ----------
    right : bool
        The attempt ended as it should: an axle that could be set lies as it belongs, or as near to it as
        this set can; one that could not be set was not signed off. An axle that merely passes keeps its
        whine and comes back.
    judged : Judged
        Patterns and backlash as they really are at the end.
    needed : bool
        Whether anything had to be changed.
    pinion_left_mm, ring_left_mm : float
        How far the members still are from where this set lies best, pinion out and ring gear away [mm].
    best : tuple of Action
        The shortest course there was for somebody who reads every sign right and checks; the attempt's own
        when it was right and shorter still.
    best_hours, hours : float
    comeback_hours : float
        Added when it was signed off wrong.
    share : float
        Best hours over the hours it took, comebacks included: 1 is the best there was; 0 when it ended wrong.
    """

    right: bool
    judged: Judged
    needed: bool
    pinion_left_mm: float
    ring_left_mm: float
    best: tuple[Action, ...]
    best_hours: float
    hours: float
    comeback_hours: float
    share: float


def best_settings(axle: HiddenAxle, start: Settings, *, pinion: bool = True) -> Settings:
    """Return the settings from which this set's pattern and backlash lie nearest to where they belong.

    Parameters
    ----------
    start : Settings
        Offset and shaft angle stay as they are there.
    pinion : bool
        Whether the pinion may move.
    """
    return _best(axle, start, pinion)


@lru_cache(maxsize=128)
def _best(axle: HiddenAxle, start: Settings, pinion: bool) -> Settings:
    goal = Goal()

    def misses(move: Array) -> Array:
        at = start.plus(Settings(float(move[0]) if pinion else 0.0, float(move[-1])))
        shown = show_axle(axle, at)
        if len(shown.patterns) < len(FLANKS) or any(p.empty for p in shown.patterns.values()):
            return np.full(5, 50.0)
        centers = np.array([v for f in FLANKS for v in shown.patterns[f].center])
        return np.append(
            (centers - np.array(goal.center)) / np.array(goal.scale),
            (shown.backlash_mm - axle.design.backlash_nominal_mm) / goal.backlash_scale_mm,
        )

    first = [-start.pinion_out_mm, -start.ring_away_mm] if pinion else [0.0]
    found = least_squares(misses, first, diff_step=0.05, x_scale=0.05, max_nfev=8)
    move = found.x
    return start.plus(Settings(float(move[0]) if pinion else 0.0, float(move[-1])))


def _stepped(value: float, step: float) -> float:
    return round(value / step) * step + 0.0


@lru_cache(maxsize=128)
def best_course(axle: HiddenAxle) -> tuple[Action, ...]:
    """Return the shortest course for somebody who reads every sign right the first time.

    Looking counts: the axle is rolled and its backlash measured before and after, pair numbers compared.
    """
    look = (Action("identity"), Action("backlash"), Action("roll"))
    check = (Action("backlash"), Action("roll"))
    if axle.kind == "mismatch":
        return (Action("identity"), Action("new set"))
    if axle.kind == "housing":
        return (*look, Action("housing"), Action("repair"))
    if axle.kind == "not the gears":
        return (*look, Action("listen"), Action("leave"))
    if axle.kind == "runout":
        return (*look, Action("runout"), Action("seat"), *check, Action("sign"))
    if judge_axle(axle, show_axle(axle, axle.settings)).good:
        return (*look, Action("sign"))
    stay = best_settings(axle, axle.settings, pinion=False)
    shim = _stepped(stay.ring_away_mm - axle.settings.ring_away_mm, SHIM_STEP_MM)
    if shim and judge_axle(axle, show_axle(axle, axle.settings.plus(Settings(ring_away_mm=shim)))).good:
        return (*look, Action("shim", shim), *check, Action("sign"))
    at = best_settings(axle, axle.settings)
    press = _stepped(-(at.pinion_out_mm - axle.settings.pinion_out_mm), SPACER_STEP_MM)
    if not press:
        return (*look, Action("shim", shim), *check, Action("sign")) if shim else (*look, Action("sign"))
    after = axle.settings.plus(Settings(pinion_out_mm=-press))
    if judge_axle(axle, show_axle(axle, after)).good:
        return (*look, Action("press", press), *check, Action("sign"))
    ring = best_settings(axle, after, pinion=False)
    shim = _stepped(ring.ring_away_mm - after.ring_away_mm, SHIM_STEP_MM)
    moves = (Action("press", press), *((Action("shim", shim),) if shim else ()))
    return (*look, *moves, *check, Action("sign"))


def after_course(axle: HiddenAxle, course: tuple[Action, ...]) -> Settings:
    """Return where the members sit after a course, every change built exactly."""
    return axle.settings.plus(
        Settings(
            -sum(a.amount_mm for a in course if a.kind == "press"),
            sum(a.amount_mm for a in course if a.kind == "shim"),
        )
    )


def hours_of(actions: tuple[Action, ...]) -> float:
    """Return what a course costs [h]."""
    return sum(ACTIONS[a.kind].hours for a in actions)


def review(played: Played) -> Review:
    """Tell what came of an attempt that is over.

    Raises
    ------
    ValueError
        While it is not over.
    """
    if not played.attempt.over:
        raise ValueError("the exercise is not over")
    axle, end = played.axle, played.attempt.actions[-1].kind
    judged = judge_axle(axle, show_axle(axle, played.settings))
    wanted = RIGHT_END.get(axle.kind, "sign")
    if axle.kind == "runout" and played.runout_mm > RUNOUT_SEEN_MM:
        judged = Judged(False, False, (*judged.faults, _("The ring gear runs out.")))
    # An axle that never needed anything may as well be signed off.
    right = end == wanted or (axle.kind == "not the gears" and end == "sign")
    at = best_settings(axle, played.settings)
    left = (
        played.settings.pinion_out_mm - at.pinion_out_mm,
        played.settings.ring_away_mm - at.ring_away_mm,
    )
    if end == "sign":
        size = axle.design.ring_outer_diameter_mm / REFERENCE_DIAMETER_MM
        as_good_as_it_gets = max(map(abs, left)) <= NEAR_ENOUGH_MM * size
        needed = needs_setting(axle.kind)
        right = right and (judged.good or as_good_as_it_gets if needed else judged.passes)
    best = best_course(axle)
    comeback = 0.0 if right else COMEBACK_HOURS
    if right and hours_of(best) > played.hours:
        best = played.attempt.actions  # whoever leaves out a look or a check and is right was quicker still
    best_hours = hours_of(best)
    return Review(
        right,
        judged,
        axle.kind != "not the gears",
        *left,
        best,
        best_hours,
        played.hours,
        comeback,
        min(1.0, best_hours / max(played.hours, 0.1)) if right else 0.0,
    )


@dataclass(frozen=True)
class _Seen:
    pattern: ContactPattern
    center_sd: tuple[float, float]


def ask(played: Played, upto: int | None = None) -> Diagnosis:
    """Diagnose from what was rolled and measured so far, as the program would at the bench.

    Parameters
    ----------
    played : Played
    upto : int, optional
        Only the first so many actions count.

    Raises
    ------
    InputError
        When nothing was rolled yet, or not since the last change.
    """
    count = len(played.outcomes) if upto is None else upto
    rolled = [k for k in range(count) if played.outcomes[k].action.kind == "roll"]
    if not rolled:
        raise InputError(_("nothing was rolled yet"), where=_("pattern"), fix=_("paint and roll first"))
    part = replace(
        played,
        attempt=replace(played.attempt, actions=played.attempt.actions[:count]),
        outcomes=played.outcomes[:count],
    )

    def rounds(k: int) -> Earlier:
        shown = part.outcomes[k].shown
        assert shown is not None
        seen = {f: _Seen(p, (0.03, 0.03)) for f, p in shown.patterns.items() if not p.empty}
        pinion, ring = moves_since(part, k)
        return Earlier(seen.get("drive"), seen.get("coast"), pinion, ring, _backlash_near(part, k))

    last = rounds(rolled[-1])
    if last.pinion_moved_since_mm or last.ring_moved_since_mm:
        raise InputError(
            _("nothing was rolled since the last change"),
            where=_("pattern"),
            fix=_("paint and roll again first"),
        )
    marked = any(o.action.kind == "identity" for o in part.outcomes)
    evidence = Evidence(
        played.axle.design,
        last.drive,
        last.coast,
        backlash_mm=last.backlash_mm,
        mark_mm=played.axle.mark_mm if marked else None,
        history=tuple(rounds(k) for k in rolled[:-1]),
        spacer_now_mm=played.axle.spacer_mm
        + sum(a.amount_mm for a in part.attempt.actions if a.kind == "press"),
        looked_again=True,  # an exercise has no second photo to take
    )
    return diagnose(evidence, shim_step_mm=SHIM_STEP_MM)


def _backlash_near(played: Played, k: int) -> float | None:
    """Return the mean of the nearest backlash readings with no change between them and the rolling."""
    for step in (-1, 1):
        i = k
        while 0 <= i < len(played.outcomes):
            kind = played.outcomes[i].action.kind
            if kind in ("press", "shim") and (i != k):
                break
            if kind == "backlash":
                return float(np.mean(played.outcomes[i].numbers["readings_mm"]))
            i += step
    return None


def way_of(played: Played, index: int) -> float | None:
    """Return how much of the way left one move made: 1 all of it, negative the wrong way, None for no move.

    Parameters
    ----------
    index : int
        Place of the action.
    """
    action = played.attempt.actions[index]
    if action.kind not in ("press", "shim"):
        return None
    before = played.outcomes[index - 1].settings if index else played.axle.settings
    best = best_settings(played.axle, before, pinion=action.kind == "press")
    wanted = (
        -(best.pinion_out_mm - before.pinion_out_mm)
        if action.kind == "press"
        else best.ring_away_mm - before.ring_away_mm
    )
    return action.amount_mm / wanted if abs(wanted) > 0.004 else 0.0
