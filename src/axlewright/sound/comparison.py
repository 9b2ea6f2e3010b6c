"""Before and after: has the change been heard, given how much passes differ among themselves?

Only ratios are compared, only within the same kind of segment and the same 5 mph bin, and only
between recordings made with the same phone in the same place. At least three passes each are asked for.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from scipy import stats

from axlewright.errors import SoundError
from axlewright.language import Shown
from axlewright.language import eager as _
from axlewright.language import eager_plural as plural
from axlewright.sound.listening import Listening
from axlewright.sound.mesh_figures import BIN_MPH, speed_bins_db

WANTED_PASSES: Final = 3
LEAST_CHANGE_DB: Final = 2.0
"""A smaller difference is not called a change; our judgement."""
MESH_HEARD: Final = 0.5
"""Chance of the mesh that a pass must reach on either side: where it is not heard it may have been missed."""
FEWEST_BINS: Final = 3
"""Kinds of segment and speeds that the passes must share; fewer said 7 dB of change where there was none."""
SINGLE_PASS_SD_DB: Final = 4.0
"""Spread taken between passes when there is only one of a kind; our judgement."""


@dataclass(frozen=True, slots=True)
class Change:
    """One harmonic, before against after.

    Parameters
    ----------
    harmonic : int
    before_db, after_db : float
        Medians over passes of the tone-to-noise ratio, over the bins both have.
    change_db : float
        After less before.
    low_db, high_db : float
        90 % interval of the change from the spread over passes.
    passes : tuple of int
        Passes before and after.
    bins : tuple of (str, float)
        Kinds of segment and middles of speed bins [mph] that were compared.
    verdict : str
        ``quieter``, ``louder`` or ``no change shown``.
    """

    harmonic: int
    before_db: float
    after_db: float
    change_db: float
    low_db: float
    high_db: float
    passes: tuple[int, int]
    bins: tuple[tuple[str, float], ...]
    verdict: str


@dataclass(frozen=True, slots=True)
class BeforeAfter:
    """The comparison.

    Parameters
    ----------
    changes : tuple of Change
    notes : tuple of str
        What limits it.
    """

    changes: tuple[Change, ...]
    notes: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return plain data."""
        return {
            "changes": [
                {
                    "harmonic": c.harmonic,
                    "before_db": round(c.before_db, 2),
                    "after_db": round(c.after_db, 2),
                    "change_db": round(c.change_db, 2),
                    "interval_db": [round(c.low_db, 2), round(c.high_db, 2)],
                    "passes": list(c.passes),
                    "bins": [[kind, mph] for kind, mph in c.bins],
                    "verdict": c.verdict,
                }
                for c in self.changes
            ],
            "notes": list(self.notes),
        }


def compare_before_after(before: list[Listening], after: list[Listening]) -> BeforeAfter:
    """Compare passes before and after a change of setting.

    Parameters
    ----------
    before, after : list of Listening
        Passes of the same vehicle over the same road with the same phone.

    Returns
    -------
    BeforeAfter

    Raises
    ------
    SoundError
        If no pass can be compared.

    Notes
    -----
    Every pass gives one number a harmonic, the mean of its bins among those that all passes share.
    The interval is Welch's for the difference of two means, at 90 %; with one pass on a side a
    spread of 2 dB is assumed and said.
    """
    if not before or not after:
        raise SoundError(
            _("one side has no recording"), where=_("before and after"), fix=_("give at least one pass each")
        )
    notes: list[str] = []
    if min(len(before), len(after)) < WANTED_PASSES:
        notes.append(
            _("{count} passes before and {count2} after; three or more each make the spread known").format(
                count=len(before), count2=len(after)
            )
        )
    teeth = {(item.axle.ring_teeth, item.axle.pinion_teeth) for item in (*before, *after)}
    if len(teeth) > 1:
        raise SoundError(
            _("the recordings are of axles with different tooth counts"), where=_("before and after")
        )
    if len({item.recording.codec for item in (*before, *after)}) > 1:
        notes.append(
            _("the files are coded differently; compare only recordings of the same phone and place")
        )
    if any(max(item.chances["mesh"] for item in side) < MESH_HEARD for side in (before, after)):
        raise SoundError(
            _("the mesh is not clearly heard both before and after, so nothing can be said of its change"),
            where=_("before and after"),
            fix=_("record at the speed and load at which the whine is loudest"),
        )
    changes = [c for h in (1, 2, 3) if (c := _compare_harmonic(h, before, after, notes)) is not None]
    if not changes:
        raise SoundError(
            _("no harmonic could be followed on both sides at the same speed and load"),
            where=_("before and after"),
            fix=_("drive the same sweep both times"),
        )
    return BeforeAfter(tuple(changes), tuple(dict.fromkeys(notes)))


def _bins(item: Listening, harmonic: int) -> dict[tuple[str, int], float]:
    track = next((t for t in item.tracks if t.harmonic == harmonic), None)
    return speed_bins_db(track, item.segments) if track is not None else {}


def _compare_harmonic(
    harmonic: int, before: list[Listening], after: list[Listening], notes: list[str]
) -> Change | None:
    tables = [[_bins(item, harmonic) for item in side] for side in (before, after)]
    for side, name in zip(tables, ("before", "after"), strict=True):
        missing = sum(not table for table in side)
        if missing:
            told = (
                plural(
                    "in one pass before the mesh could not be followed; left out",
                    "in {missing} passes before the mesh could not be followed; left out",
                    missing,
                )
                if name == "before"
                else plural(
                    "in one pass after the mesh could not be followed; left out",
                    "in {missing} passes after the mesh could not be followed; left out",
                    missing,
                )
            )
            notes.append(told.format(missing=missing))
    tables = [[table for table in side if table] for side in tables]
    if not all(tables):
        return None
    shared = set.intersection(*(set(table) for side in tables for table in side))
    if len(shared) < FEWEST_BINS:
        notes.append(
            _("harmonic {harmonic}: the passes share no kind of segment and speed").format(harmonic=harmonic)
        )
        return None
    sides = [np.array([np.mean([table[key] for key in shared]) for table in side]) for side in tables]
    change = float(np.median(sides[1]) - np.median(sides[0]))
    low, high = _interval(sides[0], sides[1], change, notes)
    if low <= 0 <= high or abs(change) < LEAST_CHANGE_DB:
        verdict = "no change shown"
    else:
        verdict = "quieter" if change < 0 else "louder"
    return Change(
        harmonic,
        float(np.median(sides[0])),
        float(np.median(sides[1])),
        change,
        low,
        high,
        (len(sides[0]), len(sides[1])),
        tuple((kind, (index + 0.5) * BIN_MPH) for kind, index in sorted(shared)),
        verdict,
    )


def _interval(
    before: np.ndarray[tuple[int], np.dtype[np.float64]],
    after: np.ndarray[tuple[int], np.dtype[np.float64]],
    change: float,
    notes: list[str],
) -> tuple[float, float]:
    variances, freedoms = [], []
    for side in (before, after):
        if len(side) < 2:
            notes.append(
                _("one pass on a side: a spread of {single_pass_sd_db} dB between passes is assumed").format(
                    single_pass_sd_db=f"{Shown(SINGLE_PASS_SD_DB):g}"
                )
            )
            variances.append(SINGLE_PASS_SD_DB**2)
            freedoms.append(10.0)
        else:
            # Statistical error alone is 0.1 to 0.2 dB, so a smaller spread is luck.
            variances.append(max(float(side.var(ddof=1)), 0.15**2) / len(side))
            freedoms.append(len(side) - 1.0)
    total = sum(variances)
    freedom = total**2 / sum(v**2 / f for v, f in zip(variances, freedoms, strict=True))
    half = float(stats.t.ppf(0.95, freedom)) * math.sqrt(total)
    return change - half, change + half
