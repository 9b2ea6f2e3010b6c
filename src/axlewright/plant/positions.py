"""The best position of a set from what was read at several positions, with its uncertainty.

Each flank's figure over pinion depth is taken as its design's own curve, moved by s, stretched by w along the
depth and multiplied by a, all three unknown::

    figure(x) = a · g((x − s) / w)

Where there is no design curve, g is a parabola of unknown width. The best position is where the weighted sum
of both flanks' curves is least. Readings may hold slips: one in twenty is allowed to miss by five times the
usual spread. All three unknowns are run over a grid (Bayes' theorem), so the answer comes with its spread
however few or crooked the readings are.

The sound of a mesh is taken to follow its motion error at equal speed: a level L is used as 10^(L/20).
Common practice, no source.

A pattern read at one depth says where it would lie at another, because the design's own pattern moves by a
known way with depth; how this set's pattern lies against the design's is taken as the same at every depth.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from axlewright.errors import InputError
from axlewright.language import Text, _, plural
from axlewright.plant.curves import DesignCurve
from axlewright.plant.practice import Practice
from axlewright.plant.rolls import Roll
from axlewright.setup.marks import DepthMark
from axlewright.units import Length

Array = NDArray[np.float64]

FEWEST_POSITIONS: Final = 3
MISFIT_SHARE: Final = 1.0 / 3.0
"""Share of readings that do not fit from which on a set stays undecided (common practice, no source)."""


def misfit(readings: int, doubtful: int) -> Text:
    """Say that too many readings do not fit: then neither the curve nor its spread can be believed.

    Parameters
    ----------
    readings, doubtful : int
        All readings of the set, and those of them that do not fit.

    Returns
    -------
    Text
        A clause; empty when they are few enough.
    """
    if doubtful < MISFIT_SHARE * readings:
        return ""
    return plural(
        "{doubtful} of {count} readings does not fit the curve, run the set again",
        "{doubtful} of {count} readings do not fit the curve, run the set again",
        doubtful,
    ).format(doubtful=doubtful, count=readings)


def why_not(
    counted: int,
    likely_mm: tuple[float, float, float],
    positions_mm: Array,
    practice: Practice,
    fitting: Mapping[str, int],
    doubtful: int,
) -> tuple[Text, int]:
    """Say why a set is not decided.

    Parameters
    ----------
    counted : int
        Different positions with a reading.
    likely_mm : (float, float, float)
        Best position: 2.5, 50 and 97.5 of a hundred [mm].
    positions_mm : array, shape (n,)
        Positions run, in order [mm].
    practice : Practice
    fitting : mapping of flank to int
        Different positions whose reading fits, of each flank that counts.
    doubtful : int
        Readings that do not fit.

    Returns
    -------
    Text
        A clause; empty when the set is decided.
    int
        +1 or −1 when the set is to be run beyond the last or the first position, else 0.
    """
    low, mid, high = likely_mm
    first, last = float(positions_mm[0]), float(positions_mm[-1])
    if counted < FEWEST_POSITIONS:
        return _("only {count} of at least {fewest} positions").format(
            count=counted, fewest=FEWEST_POSITIONS
        ), 0
    if not first - 1e-9 <= mid <= last + 1e-9:
        return _("the best position lies outside those that were run"), 1 if mid > last else -1
    for flank, count in fitting.items():
        if count < FEWEST_POSITIONS:
            text = (
                _("only {count} of at least {fewest} positions fit on the drive flank")
                if flank == "drive"
                else _("only {count} of at least {fewest} positions fit on the coast flank")
            )
            return text.format(count=count, fewest=FEWEST_POSITIONS), 0
    half = (high - low) / 2.0
    if half > practice.needed_mm:
        if doubtful:
            return plural(
                "one reading does not fit the others and the spread is ±{spread}",
                "{count} readings do not fit the others and the spread is ±{spread}",
                doubtful,
            ).format(spread=Length(half), count=doubtful), 0
        return _("the spread is ±{spread}, wanted is ±{needed}").format(
            spread=Length(half), needed=Length(practice.needed_mm)
        ), 0
    if low < first - 1e-9 or high > last + 1e-9:
        return _(
            "the best position lies at the edge of those that were run"
        ), 1 if last - mid < mid - first else -1
    return "", 0


Method = Literal["motion error", "sound"]

SLIP_SHARE: Final = 0.05
SLIP_SPREAD: Final = 5.0
SAMPLES: Final = 300
PARABOLA_STRETCH: Final = 0.5
PARABOLA_WIDTH_MM: Final = 0.10
"""Depth from the least point at which a parabola has doubled; the middle of a wide guess, no source."""
DOUBTFUL: Final = 4.0
"""Standard deviations at which a single reading is asked about."""
FLANKS: Final = ("drive", "coast")


@dataclass(frozen=True, eq=False)
class FlankFit:
    """What the readings of one flank say.

    Attributes
    ----------
    pinion_out_mm, figure, spread : array, shape (readings,)
        Figures as amplitudes, with the standard deviation of each.
    low, middle, high : array, shape (len(grid),)
        Curves that fit: 2.5, 50 and 97.5 of a hundred at each depth.
    """

    pinion_out_mm: Array
    figure: Array
    spread: Array
    low: Array
    middle: Array
    high: Array


@dataclass(frozen=True, eq=False)
class BestPosition:
    """Where a set runs best.

    Attributes
    ----------
    design, set_number : str
    method : {"motion error", "sound"}
        What the figures are.
    decided : bool
        Whether the readings are enough to mark the set: enough positions on each flank, few that do not fit,
        the 95 % interval inside the positions run and no wider than wanted.
    best_mm : float
        Best pinion position [mm], positive out; unrounded, the median of what is likely.
    interval_95_mm : (float, float)
    standard_uncertainty_mm : float
    smallest_reading_mm : float
        Position of the smallest weighted reading, for comparison only.
    next_position_mm : float or None
        Where one more reading tells most, when not decided; None when the readings are to be taken again.
    why_not : Text
        One sentence, when not decided.
    doubtful : tuple of Roll
        Readings that do not fit the others.
    grid_mm : array, shape (n,)
    fits : dict of str to FlankFit
    mark : DepthMark or None
        None when not decided, or while the shop's convention is not known.
    """

    design: str
    set_number: str
    method: Method
    decided: bool
    best_mm: float
    interval_95_mm: tuple[float, float]
    standard_uncertainty_mm: float
    smallest_reading_mm: float
    next_position_mm: float | None
    why_not: Text
    doubtful: tuple[Roll, ...]
    grid_mm: Array
    fits: dict[str, FlankFit]
    mark: DepthMark | None
    readings: int
    positions: int

    @property
    def half_width_mm(self) -> float:
        """Half the width of the 95 % interval [mm]."""
        return (self.interval_95_mm[1] - self.interval_95_mm[0]) / 2.0

    def text(self) -> Text:
        """Return the answer in one or two sentences."""
        if not self.decided:
            if self.next_position_mm is None:
                return _("Not decided: {why}.").format(why=self.why_not)
            return _("Not decided: {why}. Run one more position at {position}.").format(
                why=self.why_not, position=Length(self.next_position_mm, signed=True)
            )
        place, low, high = (Length(v, signed=True) for v in (self.best_mm, *self.interval_95_mm))
        return _("Best position {place} (95 % between {low} and {high}).").format(
            place=place, low=low, high=high
        )


def channel(rolls: Sequence[Roll]) -> Method:
    """Return which figures decide: motion errors where there are any, else sound levels."""
    if any(r.drive_motion_error_urad is not None or r.coast_motion_error_urad is not None for r in rolls):
        return "motion error"
    if any(r.drive_sound_db is not None or r.coast_sound_db is not None for r in rolls):
        return "sound"
    raise InputError(
        _("no motion error and no sound level was read"),
        where=_("set {number}").format(number=rolls[0].set_number if rolls else ""),
        fix=_("read one of them at three positions or more"),
    )


def _readings(
    rolls: Sequence[Roll], flank: str, method: Method, practice: Practice
) -> tuple[Array, Array, Array, list[int]]:
    name = f"{flank}_motion_error_urad" if method == "motion error" else f"{flank}_sound_db"
    kept = [k for k, r in enumerate(rolls) if getattr(r, name) is not None]
    x = np.array([rolls[k].pinion_out_mm for k in kept])
    y = np.array([float(getattr(rolls[k], name)) for k in kept])
    if method == "sound":
        y = 10.0 ** (y / 20.0)
        own = practice.reading_db * np.log(10.0) / 20.0 * y
    else:
        own = np.full_like(y, practice.reading_urad)
    return x, y, np.hypot(own, practice.unlike * y), kept


def _shape(curve: DesignCurve | None, flank: str, x: Array) -> Array:
    if curve is None:
        return 1.0 + (x / PARABOLA_WIDTH_MM) ** 2
    return curve.error_at(flank, x)


def _fit(
    x: Array,
    y: Array,
    spread: Array,
    curve: DesignCurve | None,
    flank: str,
    practice: Practice,
    grid: Array,
    rng: np.random.Generator,
) -> tuple[Array, Array]:
    """Run the unknowns over their grid and draw from what is likely.

    Returns
    -------
    curves : array, shape (SAMPLES, len(grid))
        Curves that fit, equally likely.
    fitted : array, shape (SAMPLES, readings)
        The same at the readings.
    """
    step = max(grid[1] - grid[0], 0.0025)
    move = np.arange(grid[0], grid[-1] + step / 2, step)
    sd = PARABOLA_STRETCH if curve is None else practice.stretch
    stretch = np.exp(sd * np.linspace(-1.8, 1.8, 7))
    size = 1.5 * np.linspace(-3.5, 3.5, 17) / np.sqrt(max(float(np.sum((y / spread) ** 2)), 1.0))
    base = _shape(curve, flank, (x - move[:, None, None]) / stretch[:, None])  # (move, stretch, reading)
    middle = np.median(y / base, axis=2)
    factor = middle[:, :, None] * np.exp(size)  # (move, stretch, size)
    miss = (y - factor[..., None] * base[:, :, None, :]) / spread
    likely = np.logaddexp(
        np.log(1.0 - SLIP_SHARE) - 0.5 * miss**2,
        np.log(SLIP_SHARE / SLIP_SPREAD) - 0.5 * (miss / SLIP_SPREAD) ** 2,
    ).sum(axis=3)
    # Student's t with four degrees of freedom: a set may lie far out without being taken for a slip.
    likely += (-2.5 * np.log1p((move / practice.spread_mm) ** 2 / 4.0))[:, None, None]
    likely += (-0.5 * (np.log(stretch) / sd) ** 2)[:, None]
    weight = np.exp(likely - likely.max()).ravel()
    total = np.cumsum(weight)
    # Systematic resampling: evenly spaced places in the cumulated weights, one random start.
    places = (np.arange(SAMPLES) + rng.random()) / SAMPLES * total[-1]
    chosen = rng.permutation(np.minimum(np.searchsorted(total, places), len(weight) - 1))
    i, j, k = np.unravel_index(chosen, likely.shape)
    jitter = rng.uniform(-0.5, 0.5, SAMPLES) * step
    at = move[i] + jitter
    curves = factor[i, j, k][:, None] * _shape(curve, flank, (grid - at[:, None]) / stretch[j][:, None])
    fitted = factor[i, j, k][:, None] * base[i, j]
    return curves, fitted


def _least(grid: Array, sums: Array) -> Array:
    """Return where each curve is least, refined by the parabola through three points."""
    k = np.clip(np.argmin(sums, axis=1), 1, len(grid) - 2)
    rows = np.arange(len(sums))
    left, mid, right = sums[rows, k - 1], sums[rows, k], sums[rows, k + 1]
    bend = left - 2.0 * mid + right
    shift = np.where(bend > 0, 0.5 * (left - right) / np.where(bend > 0, bend, 1.0), 0.0)
    return np.asarray(grid[k] + np.clip(shift, -1.0, 1.0) * (grid[1] - grid[0]))


def best_position(
    rolls: Sequence[Roll], curve: DesignCurve | None = None, practice: Practice | None = None
) -> BestPosition:
    """Return the best position of one set.

    Parameters
    ----------
    rolls : sequence of Roll
        The readings of one set.
    curve : DesignCurve, optional
        Of its design; without one a parabola of unknown width is fitted, which needs more readings.
    practice : Practice, optional
        The shop's ways.

    Raises
    ------
    InputError
        When there is no reading of a kind that decides, or the readings are of several sets.
    """
    practice = practice or Practice()
    names = {(r.design, r.set_number) for r in rolls}
    if len(names) != 1:
        raise ValueError(f"readings of {len(names)} sets, give those of one")
    method = channel(rolls)
    positions = np.array(sorted({round(r.pinion_out_mm, 5) for r in rolls}))
    reach = 0.15 if curve is None else 0.20
    grid = np.arange(positions[0] - reach, positions[-1] + reach + 1e-9, 0.005)
    rng = np.random.default_rng(20)
    fits: dict[str, FlankFit] = {}
    drawn: dict[str, Array] = {}
    doubtful: set[int] = set()
    fitting: dict[str, int] = {}
    for flank in FLANKS:
        x, y, spread, kept = _readings(rolls, flank, method, practice)
        if len(x) == 0 or practice.weight(flank) == 0.0:
            continue
        drawn[flank], fitted = _fit(x, y, spread, curve, flank, practice, grid, rng)
        fits[flank] = FlankFit(x, y, spread, *np.percentile(drawn[flank], (2.5, 50.0, 97.5), axis=0))
        off = np.abs(np.median(fitted, axis=0) - y) / spread
        doubtful |= {kept[k] for k in np.flatnonzero(off > DOUBTFUL)}
        fitting[flank] = len({round(float(v), 5) for v in x[off <= DOUBTFUL]})
    if not fits:
        raise InputError(
            _("no figure of a flank that counts"),
            where=_("best position"),
            fix=_("weigh the flank that was read"),
        )
    weights = np.array([practice.weight(flank) for flank in fits])
    sums = sum(w * curves for w, curves in zip(weights / weights.sum(), drawn.values(), strict=True))
    best = _least(grid, np.asarray(sums))
    low, mid, high = (float(v) for v in np.percentile(best, (2.5, 50.0, 97.5)))
    counted = len({round(float(v), 5) for fit in fits.values() for v in fit.pinion_out_mm})
    following: float | None = None
    why, side = misfit(len(rolls), len(doubtful)), 0
    if not why:
        why, side = why_not(counted, (low, mid, high), positions, practice, fitting, len(doubtful))
        following = _next_position(grid, fits, drawn, best, positions, practice, side) if why else None
    return BestPosition(
        design=rolls[0].design,
        set_number=rolls[0].set_number,
        method=method,
        decided=not why,
        best_mm=mid,
        interval_95_mm=(low, high),
        standard_uncertainty_mm=float(np.std(best)),
        smallest_reading_mm=smallest_reading(rolls, practice),
        next_position_mm=following,
        why_not=why,
        doubtful=tuple(rolls[k] for k in sorted(doubtful)),
        grid_mm=grid,
        fits=fits,
        mark=None if why else practice.mark(mid),
        readings=len(rolls),
        positions=counted,
    )


def smallest_reading(rolls: Sequence[Roll], practice: Practice) -> float:
    """Return the position of the smallest weighted reading [mm]: what a glance at the log would choose."""
    method = channel(rolls)
    sums: dict[float, list[float]] = {}
    for flank in FLANKS:
        x, y, _spread, _kept = _readings(rolls, flank, method, practice)
        for place, value in zip(x, y, strict=True):
            sums.setdefault(round(float(place), 5), []).append(practice.weight(flank) * float(value))
    most = max(len(v) for v in sums.values())
    full = {place: np.mean(v) for place, v in sums.items() if len(v) * 2 > most} or {
        place: np.mean(v) for place, v in sums.items()
    }
    return min(full, key=lambda place: (full[place], abs(place)))


def _next_position(
    grid: Array,
    fits: dict[str, FlankFit],
    drawn: dict[str, Array],
    best: Array,
    positions: Array,
    practice: Practice,
    side: int = 0,
) -> float:
    """Return the position where one more reading of each flank leaves the least spread on average.

    Every likely curve is taken in turn as the true one, its reading at the place as read, and the others are
    weighed by it (expected posterior variance). Places up to two steps beyond those run are allowed; with
    `side` +1 or −1 only those beyond the last or the first are, where the best position may lie.
    """
    step = practice.step_mm
    first, last = np.floor(positions[0] / step) - 2, np.ceil(positions[-1] / step) + 2
    places = np.arange(first, last + 1) * step
    places = places[(places >= grid[0]) & (places <= grid[-1])]
    beyond = places > positions[-1] + 0.4 * step if side > 0 else places < positions[0] - 0.4 * step
    if side and beyond.any():
        places = places[beyond]
    truths = np.arange(0, len(best), 10)
    left = np.empty(len(places))
    for n, place in enumerate(places):
        log = np.zeros((len(truths), len(best)))
        for flank, fit in fits.items():
            column = drawn[flank][:, int(np.argmin(np.abs(grid - place)))]
            typical = float(np.median(fit.spread / fit.figure))
            spread = np.maximum(typical * column[truths], 1e-12)[:, None]
            log += -0.5 * ((column[truths][:, None] - column) / spread) ** 2
        weight = np.exp(log - log.max(axis=1, keepdims=True))
        weight /= weight.sum(axis=1, keepdims=True)
        mean = weight @ best
        left[n] = np.mean(weight @ best**2 - mean**2)
    # Of places that tell nearly as much, one not run yet is taken: a new place also checks the shape.
    new = np.array([np.min(np.abs(positions - p)) > 0.4 * step for p in places])
    return float(places[np.argmin(left * np.where(new, 0.9, 1.0))])


DRAWS = 400


@dataclass(frozen=True, slots=True)
class PatternPosition:
    """Where the patterns lie best.

    Attributes
    ----------
    best_mm : float
        Median [mm], positive out.
    interval_95_mm : (float, float)
    readings : int
    """

    best_mm: float
    interval_95_mm: tuple[float, float]
    readings: int


def pattern_position(
    rolls: Sequence[Roll],
    curve: DesignCurve,
    practice: Practice | None = None,
    *,
    wanted: tuple[float, float] = (0.0, 0.0),
) -> PatternPosition | None:
    """Return the depth at which the pattern centres come nearest to where they belong.

    Parameters
    ----------
    rolls : sequence of Roll
        Readings of one set.
    curve : DesignCurve
        Of its design.
    wanted : (float, float)
        Place wanted (lengthwise, profile) of both flanks.

    Returns
    -------
    PatternPosition or None
        None when no pattern was read in profile. Distances of both flanks are weighed as the shop weighs
        them; a lengthwise place that was not read is left out.
    """
    practice = practice or Practice()
    grid = curve.pinion_out_mm[0] + np.arange(
        0.0, curve.pinion_out_mm[-1] - curve.pinion_out_mm[0] + 1e-9, 0.0025
    )
    rng = np.random.default_rng(21)
    cost = np.zeros((DRAWS, len(grid)))
    used: set[int] = set()
    for flank in ("drive", "coast"):
        for k, axis in enumerate(("lengthwise", "profile")):
            kept = [n for n, r in enumerate(rolls) if getattr(r, f"{flank}_{axis}") is not None]
            if not kept:
                continue
            seen = np.array([getattr(rolls[n], f"{flank}_{axis}") for n in kept])
            depth = np.array([rolls[n].pinion_out_mm for n in kept])
            lie = seen - curve.center_at(flank, depth)[:, k]
            sd = practice.reading_place / np.sqrt(len(kept))
            draws = float(lie.mean()) + rng.normal(0.0, sd, DRAWS)
            cost += (
                practice.weight(flank)
                * (draws[:, None] + curve.center_at(flank, grid)[:, k] - wanted[k]) ** 2
            )
            if axis == "profile":
                used.update(kept)
    if not used:
        return None
    best = grid[np.argmin(cost, axis=1)]
    low, mid, high = (float(v) for v in np.percentile(best, (2.5, 50.0, 97.5)))
    return PatternPosition(mid, (low, high), len(used))
