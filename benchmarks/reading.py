"""How good is the diagnosis? Sets at random, read, diagnosed, changed as advised first, rolled again.

Simulated readings: pattern centres of full-physics rollings with a reader's error. The same with drawn photos
is `reading_photos.py`.

    python benchmarks/reading.py [--cases 400] [--workers 2] [--seed 1]
"""

from __future__ import annotations

import argparse
import math
import os
import time
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

import axlewright as aw
from axlewright.contact import ContactPattern, Settings
from axlewright.contact.atlas import atlas_of
from axlewright.diagnosis import Diagnosis, Evidence, Goal, Priors, diagnose
from axlewright.errors import AxlewrightError
from axlewright.pattern import PatternReading, combine_looks
from simulated_sets import DESIGNS, RealSet, draw_set, draw_settings, lies, moved

Array = NDArray[np.float64]
KEYS = ("pinion_out_mm", "ring_away_mm", "offset_error_mm", "shaft_angle_error_deg")
NOISE = (0.015, 0.050)  # a reading's standard deviation, drawn evenly between these
OFF_MM = 0.0508  # 0.002 in
NEAR = 0.1


@dataclass(frozen=True)
class Trial:
    """What came of one set."""

    design: str
    truth: Array  # (4,) in the order of KEYS
    mean: Array  # (4,)
    inside: Array  # (4,) bool
    limit_sd: Array  # (4,) the best any estimate could do
    sure_and_wrong: bool
    needed_mm: float
    cured_mm: float
    advised_mm: float
    stop: bool
    fixable: float
    explained: bool
    before: float
    after: float
    coast_after: float
    chance: float
    signed_off: bool
    seconds: float
    one_more_asked: bool = False


def information_limit(
    real: RealSet, settings: Settings, sd: Array, lie_cov: Array, priors: Priors, wide: bool
) -> Array:
    """Return the posterior standard deviations of one who knows all spreads, the rolling and its slopes.

    Normal errors, straight-line slopes at the true setting, and told whether the depth holds a blunder: less
    is not possible.

    Returns
    -------
    array, shape (4,)
    """
    steps = np.array([0.01, 0.01, 0.01, 0.006])
    slopes = np.empty((5, 4))
    for k, h in enumerate(steps):
        up, down = (settings.plus(Settings(*(s * h * (np.arange(4) == k)))) for s in (1.0, -1.0))
        slopes[:, k] = (real.numbers(up) - real.numbers(down)) / (2 * h)
    noise = np.zeros((5, 5))
    noise[:4, :4] = lie_cov + np.diag(sd[:4] ** 2)
    noise[4, 4] = sd[4] ** 2 + priors.backlash_mm**2
    depth = priors.pinion_out_wide_mm if wide else priors.pinion_out_mm
    prior = 1.0 / np.array([depth, priors.ring_away_mm, *priors.housing_sd]) ** 2
    information = slopes.T @ np.linalg.solve(noise, slopes) + np.diag(prior)
    return np.sqrt(np.diag(np.linalg.inv(information)))


def judge_case(
    real: RealSet,
    settings: Settings,
    found: Diagnosis,
    rng: np.random.Generator,
    *,
    limit: Array,
    seconds: float,
) -> Trial:
    """Change the set as advised first, roll it again and hold all against the truth."""
    goal, target = Goal(), real.design.backlash_nominal_mm
    truth = np.array(
        [
            settings.pinion_out_mm,
            settings.ring_away_mm,
            settings.offset_error_mm,
            settings.shaft_angle_error_deg,
        ]
    )
    spreads = [found.cause[k] for k in KEYS]
    out = float((found.posterior.settings[:, 0] > 0.0).mean())
    sure, says_out = max(out, 1.0 - out), out > 0.5
    first = found.advice[0]
    build = rng.standard_normal(2) * goal.build_sd_mm
    pinion = first.pinion_move_mm + bool(first.pinion_move_mm) * build[0]
    ring = first.shim_move_mm + bool(first.pinion_move_mm or first.shim_move_mm) * build[1]
    before = real.look(settings)[0]["drive"].center[1]
    patterns, backlash = real.look(moved(settings, pinion, ring))
    centers = np.array([*patterns["drive"].center, *patterns["coast"].center])
    right = np.all(np.abs(centers - goal.center) <= goal.accept)
    return Trial(
        real.design.name,
        truth,
        np.array([s.mean for s in spreads]),
        np.array([s.p05 <= t <= s.p95 for s, t in zip(spreads, truth, strict=True)]),
        limit,
        sure > 0.95 and says_out != (truth[0] > 0.0),
        float(real.needed_moves(settings, goal, target)[0]),
        found.cure["pinion_move_mm"].mean,
        first.pinion_move_mm,
        first.cost_class == "L4" or first.look_again,
        found.fixable_by_shims,
        found.explained,
        float(before),
        float(centers[1]),
        float(centers[3]),
        first.chance_last_teardown,
        bool(right and abs(backlash - target) <= goal.backlash_accept_mm),
        seconds,
    )


def simulated(task: tuple[str, int, int]) -> list[Trial]:
    """Run `count` cases of one design with simulated readings."""
    name, count, seed = task
    design, priors = aw.load_design(name), Priors()
    lie_cov = np.cov(lies(design, 120).T)
    atlas, trials, number = atlas_of(design), list[Trial](), 0
    while len(trials) < count:
        number += 1  # a case stays the same whatever is advised in the ones before
        rng = np.random.default_rng([seed, DESIGNS.index(name), number])
        real, (settings, wide) = draw_set(rng, design, priors), draw_settings(rng, priors)
        try:
            patterns, backlash = real.look(settings)
            sd = np.array([*rng.uniform(*NOISE, 4), 0.02])
            z, again_z = rng.standard_normal(5), rng.standard_normal(2)
            readings = [
                _reading(patterns[f], sd[2 * k : 2 * k + 2], z[2 * k : 2 * k + 2])
                for k, f in enumerate(("drive", "coast"))
            ]
            start = time.process_time()
            evidence = Evidence(design, *readings, backlash_mm=max(0.0, backlash + sd[4] * z[4]))
            found = diagnose(evidence, atlas=atlas)
            asked = found.explained and found.advice[0].look_again
            if asked:  # one more photo of the drive flank, read as well as the first; both count
                again = _reading(patterns["drive"], sd[:2], again_z)
                both = combine_looks([readings[0], again])
                sd[:2] = both.center_sd
                found = diagnose(replace(evidence, drive=both, looked_again=True), atlas=atlas)
            seconds = time.process_time() - start
            limit = information_limit(real, settings, sd, lie_cov, priors, wide)
            trial = judge_case(real, settings, found, rng, limit=limit, seconds=seconds)
            trials.append(replace(trial, one_more_asked=asked))
        except AxlewrightError:
            continue  # teeth out of contact or nothing marked: no pattern, nothing to read
    return trials


def _reading(pattern: ContactPattern, sd: Array, z: Array) -> PatternReading:
    """Return a reading of a pattern, `z` standard deviations off."""
    x, y = np.array(pattern.center) + sd * z
    return PatternReading(
        pattern=replace(pattern, center=(float(x), float(y))),
        center_sd=(float(sd[0]), float(sd[1])),
        length_sd=0.05,
        source="photo",
    )


def share(values: Iterable[Any]) -> str:
    """Show a share in per cent with its standard error."""
    v = np.array(list(values), dtype=float)
    if not len(v):
        return "-"
    p = float(v.mean())
    return f"{100 * p:.1f} ± {100 * math.sqrt(max(p * (1 - p), 1e-9) / len(v)):.1f} %"


def table(trials: list[Trial], title: str) -> None:
    """Print what came out beside what was aimed at."""
    groups = {"all": trials} | {n: [t for t in trials if t.design == n] for n in DESIGNS}
    groups = {k: v for k, v in groups.items() if v}
    rows: list[tuple[str, str, list[str]]] = []

    def row(text: str, aim: str, value: Any) -> None:
        rows.append((text, aim, [value(g) for g in groups.values()]))

    row("cases", "", lambda g: str(len(g)))
    row("off by 0.002 in or more", "", lambda g: share(abs(t.needed_mm) >= OFF_MM for t in g))
    row(
        "profile within ±0.1 after the first advice, drive",
        "≥ 90 %",
        lambda g: share(abs(t.after) <= NEAR for t in g if not t.stop),
    )
    row(
        "  of those that were not before",
        "",
        lambda g: share(abs(t.after) <= NEAR for t in g if abs(t.before) > NEAR and not t.stop),
    )
    row("one more photo of the drive flank asked for", "", lambda g: share(t.one_more_asked for t in g))
    row("within ±0.1 before", "", lambda g: share(abs(t.before) <= NEAR for t in g))
    row("coast within ±0.25 after", "", lambda g: share(abs(t.coast_after) <= 0.25 for t in g if not t.stop))
    row(
        "direction right when off by 0.002 in or more",
        "≥ 99 %",
        lambda g: share(
            t.cured_mm * t.needed_mm > 0 for t in g if abs(t.needed_mm) >= OFF_MM and t.explained
        ),
    )
    row(
        "cure: median error of the pinion move [mm]",
        "",
        lambda g: f"{np.median([abs(t.cured_mm - t.needed_mm) for t in g]):.4f}",
    )
    for k, key in enumerate(KEYS):
        row(
            f"90 % interval of {key} covers",
            "85-95 %",
            lambda g, k=k: share(t.inside[k] for t in g),
        )
    dice = np.random.default_rng(0)

    def ratio(g: list[Trial], k: int) -> str:
        error = np.median([abs(t.mean[k] - t.truth[k]) for t in g])
        best = np.median(np.abs(np.concatenate([t.limit_sd[k] * dice.standard_normal(400) for t in g])))
        return f"{error:.4f} / {best:.4f} = {error / best:.2f}"

    for k, key in enumerate(KEYS[:2]):
        row(f"median error of {key} / information limit", "≤ 1.15", lambda g, k=k: ratio(g, k))
    row(
        "sure of the depth error's direction (95 %) and wrong",
        "≤ 1 %",
        lambda g: share(t.sure_and_wrong for t in g),
    )
    row(
        "first advice: stated chance / signed off",
        "alike",
        lambda g: (
            f"{100 * np.mean([t.chance for t in g]):.0f} / {100 * np.mean([t.signed_off for t in g]):.0f} %"
        ),
    )
    row("no change advised: read again, or measure the housing", "", lambda g: share(t.stop for t in g))
    row("called unexplained though it is the right design", "", lambda g: share(not t.explained for t in g))
    row("diagnose() median / longest [s of processor]", "≤ 0.7", lambda g: _times([t.seconds for t in g]))
    print(f"\n{title}\n")
    print("| | aim | " + " | ".join(groups) + " |")
    print("|---|---|" + "---|" * len(groups))
    for text, aim, values in rows:
        print(f"| {text} | {aim} | " + " | ".join(values) + " |")


def _times(seconds: list[float]) -> str:
    return f"{np.median(seconds):.2f} / {max(seconds):.2f}"


def main() -> None:
    """Run and print the table."""
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("--cases", type=int, default=400, help="simulated readings in all")
    p.add_argument("--workers", type=int, default=min(2, os.cpu_count() or 1))
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--designs", nargs="+", default=list(DESIGNS), choices=DESIGNS)
    a = p.parse_args()
    with ProcessPoolExecutor(a.workers) as pool:
        start = time.perf_counter()
        parts = list(pool.map(simulated, [(n, a.cases // len(a.designs), a.seed) for n in a.designs]))
        table(
            [t for part in parts for t in part], f"Simulated readings ({time.perf_counter() - start:.0f} s)"
        )


if __name__ == "__main__":
    main()
