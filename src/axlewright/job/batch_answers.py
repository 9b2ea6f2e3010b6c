"""Answers from the roll-test log: best positions, charts, labels, studies."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

from axlewright.errors import AxlewrightError, InputError
from axlewright.job import batch
from axlewright.job.designs import find_design
from axlewright.language import Number, _, chosen, n_, plural
from axlewright.plant import (
    BestPosition,
    Capability,
    ControlChart,
    PatternPosition,
    Practice,
    Roll,
    averages_chart,
    best_position,
    by_set,
    capability,
    design_curve,
    individuals_chart,
    pattern_position,
)
from axlewright.plant.curves import DesignCurve, Held
from axlewright.units import chosen_system, show_length

if TYPE_CHECKING:
    from axlewright.gearset import GearSetDesign
    from axlewright.records import JobStore


@dataclass(frozen=True, eq=False)
class SetView:
    """One set of the log.

    Attributes
    ----------
    best : BestPosition or None
        None when the readings do not allow one; then `trouble` says why.
    pattern : PatternPosition or None
    question : str
        When figures and patterns disagree, or a reading does not fit.
    """

    design: str
    number: str
    rolls: tuple[Roll, ...]
    best: BestPosition | None
    trouble: str
    pattern: PatternPosition | None
    question: str

    @property
    def decided(self) -> bool:
        """Whether the set may be marked."""
        return self.best is not None and self.best.decided

    @property
    def last_at(self) -> str:
        """When it was read last."""
        return max((roll.at for roll in self.rolls), default="")


def held_by(rolls: Sequence[Roll]) -> Held:
    """Tell whether the ring gear stayed in its place or was reset to keep the backlash.

    It stayed when its place is written down at every position and is always the same.
    """
    places = {roll.ring_away_mm for roll in rolls}
    still = None not in places and len(places) == 1
    return "ring position" if still and len({r.pinion_out_mm for r in rolls}) > 1 else "backlash"


def _curve(design: GearSetDesign | None, held: Held) -> DesignCurve | None:
    if design is None:
        return None
    try:
        return design_curve(design, held)
    except AxlewrightError:
        return None


def _kept() -> tuple[str, str]:
    return chosen(), chosen_system()


@lru_cache(maxsize=5_000)
def _view(
    rolls: tuple[Roll, ...], design: GearSetDesign | None, ways: Practice, kept: tuple[str, str]
) -> SetView:
    assert kept == _kept()  # its sentences are kept for each language and system
    curve = _curve(design, held_by(rolls))
    best, trouble = None, ""
    try:
        best = best_position(rolls, curve, ways)
    except AxlewrightError as error:
        trouble = str(error)
    pattern = None if curve is None else pattern_position(rolls, curve, ways)
    return SetView(
        rolls[0].design, rolls[0].set_number, rolls, best, trouble, pattern, _question(best, pattern)
    )


def _question(best: BestPosition | None, pattern: PatternPosition | None) -> str:
    if best is None:
        return ""
    if best.doubtful:
        places = ", ".join(show_length(r.pinion_out_mm, signed=True) for r in best.doubtful)
        return plural(
            "The reading at {places} does not fit the others: read it again.",
            "The readings at {places} do not fit the others: read them again.",
            len(best.doubtful),
        ).format(places=places)
    if pattern is not None and best.decided:
        apart = abs(pattern.best_mm - best.best_mm)
        room = (pattern.interval_95_mm[1] - pattern.interval_95_mm[0]) / 2.0 + best.half_width_mm
        # How a set's own pattern lies is worth about a tenth of the flank, that is 0.05 mm of depth.
        if apart > room + 0.05:
            return _(
                "The patterns lie best at {place}, far from the quietest position: look at the patterns."
            ).format(place=show_length(pattern.best_mm, signed=True))
    return ""


LATEST: Final = 400
"""Sets that are worked out at once: the latest; each takes some milliseconds the first time."""


def set_views(store: JobStore, design: str = "", *, latest: int = LATEST) -> list[SetView]:
    """Return the latest sets of the log with their answers, the last entered first."""
    ways = batch.practice(store)
    designs: dict[str, GearSetDesign | None] = {}
    out = []
    found = list(by_set(batch.all_rolls(store, design)).items())
    for (name, _number), rolls in found[-latest:]:
        if name not in designs:
            try:
                designs[name] = find_design(store, name)
            except AxlewrightError:
                designs[name] = None
        out.append(_view(tuple(rolls), designs[name], ways, _kept()))
    out.reverse()
    return out


def set_view(store: JobStore, design: str, number: str) -> SetView:
    """Return one set.

    Raises
    ------
    InputError
        When it is not in the log.
    """
    rolls = tuple(r for r in batch.all_rolls(store, design) if r.set_number == number)
    if rolls:
        try:
            known = find_design(store, rolls[0].design)
        except AxlewrightError:
            known = None
        return _view(rolls, known, batch.practice(store), _kept())
    raise InputError(
        _("no readings of set {number}").format(number=number[:40]),
        where=_("roll-test log"),
        fix=_("look at the list of sets"),
    )


# --- charts ------------------------------------------------------------------------------------------

SERIES: Final[Mapping[str, str]] = {
    "best": n_("Best position"),
    "drive": n_("Smallest motion error, drive"),
    "coast": n_("Smallest motion error, coast"),
    "backlash": n_("Backlash nearest the best position"),
}
LENGTHS: Final = ("best", "backlash")


def series(views: Sequence[SetView], what: str) -> tuple[list[float], list[str]]:
    """Return a figure of each decided set, oldest first, with the set numbers.

    Lengths in mm, motion errors in µrad.
    """
    if what not in SERIES:
        raise InputError(
            _("unknown series '{what}'").format(what=what[:40]),
            where=_("chart"),
            fix=_("use one of {names}").format(names=", ".join(SERIES)),
        )
    values, names = [], []
    for view in reversed(views):
        if view.best is None or not view.decided:
            continue
        value = _figure(view, view.best, what)
        if value is not None:
            values.append(value)
            names.append(view.number)
    return values, names


def _figure(view: SetView, best: BestPosition, what: str) -> float | None:
    if what == "best":
        return best.best_mm
    if what == "backlash":
        read = [r for r in view.rolls if r.backlash_mm is not None]
        near = min(read, key=lambda r: abs(r.pinion_out_mm - best.best_mm), default=None)
        return None if near is None else near.backlash_mm
    read_errors = [getattr(r, f"{what}_motion_error_urad") for r in view.rolls]
    return min((v for v in read_errors if v is not None), default=None)


@dataclass(frozen=True, eq=False)
class ChartAnswer:
    """A control chart with the capability that goes with it.

    Attributes
    ----------
    capability : Capability or None
        None without limits or with too few values; then `trouble` says why.
    """

    what: str
    chart: ControlChart
    values: tuple[float, ...]
    capability: Capability | None
    trouble: str


def chart_answer(
    views: Sequence[SetView],
    what: str,
    *,
    subgroup: int = 1,
    low: float | None = None,
    high: float | None = None,
) -> ChartAnswer:
    """Chart one figure of the decided sets, and its capability where limits are given."""
    values, names = series(views, what)
    title = _(SERIES[what])
    chart = (
        individuals_chart(values, names, title)
        if subgroup <= 1
        else averages_chart(values, names, subgroup, title)
    )
    found, trouble = None, ""
    if low is not None or high is not None:
        try:
            found = capability(values, low=low, high=high, stable=chart.stable)
        except AxlewrightError as error:
            trouble = str(error)
    return ChartAnswer(what, chart, tuple(values), found, trouble)


# --- labels ------------------------------------------------------------------------------------------


def mark_text(view: SetView) -> str:
    """Return the mark as it is written on a set, such as "+2"; empty when there is none."""
    mark = view.best.mark if view.best is not None else None
    if mark is None:
        return ""
    return Number(mark.value, "+g") if mark.value else "0"


def labels_pdf(
    store: JobStore, views: Sequence[SetView], *, width_mm: float = 62.0, height_mm: float = 29.0
) -> bytes:
    """Set the labels of the decided sets among `views` as one PDF, a page each.

    Raises
    ------
    InputError
        When no set has a mark.
    """
    from axlewright.sheets import SetLabelData, set_labels

    out = []
    for view in views:
        if view.best is None or view.best.mark is None:
            continue
        about: dict[str, Any] = {}
        try:
            design = find_design(store, view.design)
            about = {
                "ratio": f"{design.pinion_teeth}/{design.ring_teeth}",
                "tooth_form": design.tooth_form,
                "hand": _("{hand}-hand pinion").format(hand=design.hand),
            }
        except AxlewrightError:
            pass
        backlash = _figure(view, view.best, "backlash")
        who = next((r.operator for r in reversed(view.rolls) if r.operator), "")
        out.append(
            SetLabelData(
                width_mm=width_mm,
                height_mm=height_mm,
                set_number=view.number[:80],
                design=view.design[:80],
                depth_mark=mark_text(view),
                mark_meaning=view.best.mark.text()[:80],
                backlash="" if backlash is None else show_length(backlash),
                tested=" ".join(t for t in (view.last_at[:10], who) if t)[:80],
                **about,
            )
        )
    if not out:
        raise InputError(
            _("no set has a mark"),
            where=_("labels"),
            fix=_("enter the shop's mark, and readings until a best position is decided"),
        )
    return set_labels(out)
