"""Tolerance study: what spread of settings puts what share of patterns outside acceptance.

Settings errors are drawn from normal distributions, the pattern at each comes from the design's atlas, moved
by how the set's own pattern lies, and is held against the acceptance criteria that are bands (centre and
length of both flanks; whether an edge is touched is not judged here). A part of the settings is rolled as
well, to show what the atlas is worth.

The drawing goes in chunks with seeds of their own, so that the answer is the same whatever the number of
processes.
"""

from __future__ import annotations

import csv
import io
import math
import os
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, fields, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from axlewright.contact import Settings
from axlewright.contact.atlas import FIGURES, atlas_of, figures_at
from axlewright.errors import ContactError, InputError
from axlewright.gearset import GearSetDesign
from axlewright.language import Text, _
from axlewright.pattern.acceptance import DEFAULT_CRITERIA, Criterion

Array = NDArray[np.float64]

CHUNK: Final = 20_000
MOST: Final = 2_000_000
ROLLED: Final = 120
SETTINGS: Final = ("pinion_out_mm", "ring_away_mm", "offset_error_mm", "shaft_angle_error_deg")


@dataclass(frozen=True, slots=True)
class SettingSpread:
    """Standard deviations of what may be off; means are zero except the pinion's.

    Attributes
    ----------
    pinion_out_mm, ring_away_mm, offset_error_mm, shaft_angle_error_deg : float
    lie : float
        Of how a set's own pattern lies, in half face widths and half working depths.
    pinion_mean_mm : float
        Mean pinion setting [mm], such as a gauge that reads wrong.
    """

    pinion_out_mm: float = 0.025
    ring_away_mm: float = 0.03
    offset_error_mm: float = 0.025
    shaft_angle_error_deg: float = 0.0143
    lie: float = 0.065
    pinion_mean_mm: float = 0.0

    def __post_init__(self) -> None:
        for key, value in asdict(self).items():
            if not (math.isfinite(value) and (value >= 0.0 or key == "pinion_mean_mm") and abs(value) <= 1.0):
                raise InputError(
                    _("{value} is no spread").format(value=value), where=key, fix=_("give 0 to 1")
                )


@dataclass(frozen=True, slots=True)
class StudyResult:
    """The answer of a study.

    Attributes
    ----------
    count, outside : int
        Settings drawn, and patterns outside at least one band.
    share_95 : (float, float)
        95 % interval of the share from the number drawn alone (exact binomial).
    by_criterion : tuple of (Text, int)
        Flank and criterion with the number outside it.
    beyond_range : int
        Settings beyond the atlas's range, taken at its edge.
    halved : tuple of (str, float)
        Share outside when one spread alone is halved: where an effort pays.
    rolled, rolled_alike : int
        Settings rolled as a check, and those with the same verdict by rolling and by atlas.
    seed : int
    """

    design: str
    spread: SettingSpread
    count: int
    outside: int
    share_95: tuple[float, float]
    by_criterion: tuple[tuple[Text, int], ...]
    beyond_range: int
    halved: tuple[tuple[str, float], ...]
    rolled: int
    rolled_alike: int
    seed: int

    @property
    def share(self) -> float:
        """Share of patterns outside acceptance."""
        return self.outside / self.count

    def plain(self) -> dict[str, Any]:
        """Return everything as plain data, what was wanted in words."""
        own = {key.name: getattr(self, key.name) for key in fields(self)}
        by_criterion = [[str(name), number] for name, number in self.by_criterion]
        return own | {"spread": asdict(self.spread), "by_criterion": by_criterion, "share": self.share}

    def csv_text(self) -> str:
        """Return everything as a table of names and values."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(["what", "value"])
        writer.writerow(["design", self.design])
        writer.writerow(["seed", self.seed])
        for key, value in asdict(self.spread).items():
            writer.writerow([f"spread {key}", f"{value:g}"])
        writer.writerow(["drawn", self.count])
        writer.writerow(["outside", self.outside])
        writer.writerow(["share outside", f"{self.share:.6f}"])
        writer.writerow(["share outside, 95 % low", f"{self.share_95[0]:.6f}"])
        writer.writerow(["share outside, 95 % high", f"{self.share_95[1]:.6f}"])
        for name, number in self.by_criterion:
            writer.writerow([f"outside: {name}", number])
        for name, share in self.halved:
            writer.writerow([f"share outside with half the {name}", f"{share:.6f}"])
        writer.writerow(["beyond the range of the atlas", self.beyond_range])
        writer.writerow(["rolled as a check", self.rolled])
        writer.writerow(["rolled with the same verdict", self.rolled_alike])
        return out.getvalue()


def _bands(criteria: Sequence[Criterion]) -> list[tuple[Text, int, float, float]]:
    """Return (name, column of FIGURES, low, high) of each band on each flank; the drive flank pulls."""
    out: list[tuple[Text, int, float, float]] = []
    for flank, role in (("drive", "working"), ("coast", "other")):
        for c in criteria:
            if c.limit is None or c.role not in (None, role) or c.condition not in (None, "new"):
                continue
            low = -math.inf if c.limit.low is None else c.limit.low
            high = math.inf if c.limit.high is None else c.limit.high
            out.append(
                (
                    _("drive, {wanted}").format(wanted=_(c.text))
                    if flank == "drive"
                    else _("coast, {wanted}").format(wanted=_(c.text)),
                    FIGURES.index(f"{flank}_{c.measure}"),
                    low,
                    high,
                )
            )
    return out


def _draw(spread: SettingSpread, count: int, seed: np.random.SeedSequence) -> tuple[Array, Array]:
    rng = np.random.default_rng(seed)
    sd = [getattr(spread, name) for name in SETTINGS]
    settings = rng.normal(0.0, 1.0, (count, 4)) * sd
    settings[:, 0] += spread.pinion_mean_mm
    return settings, rng.normal(0.0, 1.0, (count, 4)) * spread.lie


def _outside(
    figures: Array, lie: Array, bands: Sequence[tuple[Text, int, float, float]]
) -> NDArray[np.bool_]:
    moved = figures.copy()
    moved[:, :4] += lie
    return np.stack([(moved[:, k] < low) | (moved[:, k] > high) for _n, k, low, high in bands], axis=1)


def _chunk(
    work: tuple[GearSetDesign, SettingSpread, int, np.random.SeedSequence],
) -> tuple[NDArray[np.int64], int, int]:
    design, spread, count, seed = work
    atlas = atlas_of(design)
    settings, lie = _draw(spread, count, seed)
    out = _outside(atlas(settings), lie, _bands(DEFAULT_CRITERIA))
    beyond = int((np.abs(settings) > atlas.half_range).any(axis=1).sum())
    return out.sum(axis=0), int(out.any(axis=1).sum()), beyond


def _share(design: GearSetDesign, spread: SettingSpread, seed: int) -> float:
    _by, outside, _beyond = _chunk((design, spread, CHUNK, np.random.SeedSequence(seed)))
    return outside / CHUNK


def tolerance_study(
    design: GearSetDesign,
    spread: SettingSpread | None = None,
    *,
    count: int = 40_000,
    seed: int = 1,
    workers: int = 1,
) -> StudyResult:
    """Draw settings and count patterns outside acceptance.

    Parameters
    ----------
    design : GearSetDesign
    spread : SettingSpread, optional
    count : int
        Settings to draw, 1000 to 2 000 000.
    seed : int
        The same seed gives the same answer, whatever the number of workers.
    workers : int
        Processes; 1 stays in this one. 0 takes as many as there are processors.
    """
    spread = spread or SettingSpread()
    if not 1000 <= count <= MOST:
        raise InputError(
            _("{count} settings").format(count=count),
            where=_("study"),
            fix=_("draw from 1000 to {most}").format(most=MOST),
        )
    if not 0 <= seed < 2**31:
        raise InputError(
            _("seed {seed}").format(seed=seed), where=_("study"), fix=_("give a whole number from 0")
        )
    atlas_of(design)  # once, before processes ask for it
    parts = [CHUNK] * (count // CHUNK) + ([count % CHUNK] if count % CHUNK else [])
    seeds = np.random.SeedSequence(seed).spawn(len(parts))
    work = [(design, spread, n, s) for n, s in zip(parts, seeds, strict=True)]
    workers = workers or os.cpu_count() or 1
    if workers > 1 and len(work) > 1:
        with ProcessPoolExecutor(min(workers, len(work))) as pool:
            done = list(pool.map(_chunk, work))
    else:
        done = [_chunk(one) for one in work]
    bands = _bands(DEFAULT_CRITERIA)
    by = np.sum([one[0] for one in done], axis=0)
    outside = sum(one[1] for one in done)
    found = stats.binomtest(outside, count).proportion_ci(0.95, method="exact")
    halved = tuple(
        (name, _share(design, replace(spread, **{name: getattr(spread, name) / 2.0}), seed))
        for name in (*SETTINGS, "lie")
        if getattr(spread, name) > 0.0
    )
    rolled, alike = _check(design, spread, seed, bands)
    return StudyResult(
        design.name, spread, count, outside, (float(found.low), float(found.high)),
        tuple((name, int(n)) for (name, *_rest), n in zip(bands, by, strict=True)),
        sum(one[2] for one in done), halved, rolled, alike, seed,
    )  # fmt: skip


def _check(
    design: GearSetDesign, spread: SettingSpread, seed: int, bands: Sequence[tuple[Text, int, float, float]]
) -> tuple[int, int]:
    """Roll some settings and compare the verdicts with the atlas's."""
    settings, lie = _draw(spread, ROLLED, np.random.SeedSequence(seed))
    guessed = np.asarray(_outside(atlas_of(design)(settings), lie, bands).any(axis=1))
    rolled = alike = 0
    for k, row in enumerate(settings):
        try:
            figures = figures_at(design, Settings(*(float(v) for v in row)))[None, :]
        except ContactError:
            truth = True
        else:
            truth = bool(_outside(np.asarray(figures), lie[k : k + 1], bands).any())
        rolled += 1
        alike += int(truth == bool(guessed[k]))
    return rolled, alike
