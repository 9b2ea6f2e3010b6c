"""Two ways of setting up axles in one simulated shop: common practice and axlewright, same axles, same luck.

Each axle starts from the same measured spacer with the errors a shop makes: carrier and bearing width
measured with some error or not at all, the depth mark left out or taken the wrong way round, housing and set
with habits of their own. Then each policy reads patterns and changes spacer and shims until it signs off.

Common practice: 0.004 in first, bracket, halve, backlash reset each time. "90 % correct reading" is taken
two ways: an eye that is right nine times of ten about a pattern moved by 0.002 in of depth, the least that is
visible; and a verdict (right, high, low) that is simply wrong one time in ten. All policies press, measure
and roll with the same scatter; all are judged by the same acceptance of the true pattern at the end.
--stray makes sets and housings stray more than the diagnosis believes they do.

Spreads: bearing width from the ISO 492 and ANSI/ABMA 19.2 classes (new bearings differ by up to 0.2 mm), the
others common practice, no source. Patterns come from the atlas and each set's lie and stretch.

    python benchmarks/bench_trials.py [--axles 240] [--workers 2] [--seed 1] [--stray 1.0]
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import lru_cache, partial

import numpy as np
from numpy.typing import NDArray

import axlewright as aw
from axlewright.contact import ContactPattern, roll
from axlewright.contact.atlas import Atlas, atlas_of
from axlewright.diagnosis import COST_HOURS, Earlier, Evidence, Goal, Priors, diagnose
from axlewright.diagnosis.advice import COMEBACK_HOURS
from axlewright.diagnosis.cause import SEEN_COLUMNS, developed_centers
from axlewright.gearset import GearSetDesign
from axlewright.pattern import PatternReading, combine_looks
from simulated_sets import DESIGNS

Array = NDArray[np.float64]
INCH = 25.4
PRIORS, GOAL = Priors(), Goal()
# What a customer keeps: profile on drive clear of top and root by far, the rest as the goal has it.
ACCEPT = np.array([0.35, 0.15, 0.50, 0.25])
BACKLASH_ACCEPT_MM = 0.06
ROLLING_SD = 0.02  # paint and drag: the same set rolled twice
VISIBLE = 0.18  # what 0.002 in of depth does to the profile place
EYE_SD = VISIBLE / 1.2816  # right nine times of ten at that
PHOTO_SD = (0.015, 0.050)
MOST_ROUNDS = 8


@dataclass
class Axle:
    """One axle on the stand: what is true, known to nobody in the shop."""

    design: GearSetDesign
    atlas: Atlas
    lie: Array
    stretch: Array
    backlash_zero_mm: float
    settings: Array
    mark_mm: float
    luck: np.random.Generator

    def numbers(self, settings: Array | None = None) -> Array:
        """Return true centres and backlash, shape (5,)."""
        at = self.settings if settings is None else settings
        f = self.atlas(at[None], SEEN_COLUMNS)[0]
        home = developed_centers(self.atlas)
        return np.append(
            home + (1.0 + self.stretch) * (f[:4] - home) + self.lie, self.backlash_zero_mm + f[4]
        )

    def fine(self) -> bool:
        """Return whether the true pattern and backlash lie inside acceptance."""
        n = self.numbers()
        inside = bool(np.all(np.abs(n[:4] - GOAL.center) <= ACCEPT))
        return inside and abs(n[4] - self.design.backlash_nominal_mm) <= BACKLASH_ACCEPT_MM

    def rolled(self) -> Array:
        """Roll once: centres as painted, and the backlash as the dial reads it."""
        n = self.numbers()
        n[:4] += self.luck.normal(0.0, ROLLING_SD, 4)
        n[4] = max(0.0, n[4] + self.luck.normal(0.0, 0.02))
        return n

    def press(self, pinion_mm: float) -> None:
        """Change the spacer; it ends near what was meant."""
        self.settings[0] += pinion_mm + self.luck.normal(0.0, GOAL.build_sd_mm[0])
        self.settings[1] += self.luck.normal(0.0, GOAL.build_sd_mm[1])

    def shim(self, ring_mm: float) -> None:
        """Move the ring gear."""
        if ring_mm:
            self.settings[1] += ring_mm + self.luck.normal(0.0, 0.005)

    def set_backlash(self) -> None:
        """Shim until the dial reads the target."""
        for _ in range(3):
            off = self.rolled()[4] - self.design.backlash_nominal_mm
            if abs(off) < 0.025:
                return
            self.shim(-off / 0.7)


def draw_axle(name: str, seed: int, stray: float = 1.0) -> Axle:
    """Return an axle as the first rolling finds it; sets and housings stray `stray` times the priors."""
    design = aw.load_design(name)
    rng = np.random.default_rng([seed, DESIGNS.index(name)])
    size = design.ring_outer_diameter_mm / 222.0
    mark = float(rng.integers(-4, 5)) * 0.001 * INCH * size
    depth = rng.normal(0.0, 0.015) + rng.normal(0.0, 0.010)  # carrier, spacer and seat
    if rng.random() < 0.5:  # old spacer, new bearing, widths not compared: each lies 0 to 0.2 mm over nominal
        depth += rng.uniform(0.0, 0.2) - rng.uniform(0.0, 0.2)
    else:
        depth += rng.normal(0.0, 0.010)
    mistake = rng.random()
    if mistake < 0.15:
        depth -= mark if mistake < 0.075 else 2.0 * mark
    elif rng.random() < 0.10:
        depth += rng.normal(0.0, 0.12)  # spacer misread, carrier wrong, old set not genuine
    habits = PRIORS.habits(design)
    lie = habits.lie_sd * stray * rng.standard_normal(4)
    stretch = habits.stretch_sd * stray * rng.standard_normal(4)
    housing = rng.standard_normal(2) * stray * PRIORS.housing_sd
    axle = Axle(
        design,
        atlas_of(design),
        lie,
        stretch,
        design.backlash_nominal_mm + PRIORS.backlash_mm * float(rng.normal()),
        np.array([depth, 0.0, *housing]),
        mark,
        np.random.default_rng([seed, DESIGNS.index(name), 1]),
    )
    axle.set_backlash()
    return axle


@dataclass(frozen=True)
class Outcome:
    """How one axle went under one policy."""

    needed: bool
    press_offs: int
    hours: float
    comeback: bool
    housing: bool
    rounds: int


def _done(axle: Axle, needed: bool, press: int, hours: float, rounds: int, housing: bool = False) -> Outcome:
    bad = not housing and not axle.fine()
    return Outcome(needed, press, hours + COMEBACK_HOURS * bad, bad, housing, rounds)


def common_practice(axle: Axle, *, by_eye: bool = True) -> Outcome:
    """0.004 in first, bracket, halve, reset the backlash each time; drive side decides."""
    needed = not axle.fine()
    step, last, press, hours = 0.004 * INCH, 0.0, 0, 0.0
    rounds = 0
    while rounds < MOST_ROUNDS:
        rounds += 1
        hours += COST_HOURS["L0"]
        off = float(axle.rolled()[1] - GOAL.center[1])
        if by_eye:
            off += float(axle.luck.normal(0.0, EYE_SD))
        verdict = 0.0 if abs(off) <= ACCEPT[1] else float(np.sign(off))
        if not by_eye and axle.luck.random() < 0.1:
            verdict = float(axle.luck.choice([v for v in (-1.0, 0.0, 1.0) if v != verdict]))
        if not verdict or step < 0.0005 * INCH:
            break
        way = -verdict
        if last and way != last:
            step /= 2.0
        last = way
        axle.press(way * step)
        axle.set_backlash()
        press, hours = press + 1, hours + COST_HOURS["L3"]
    return _done(axle, needed, press, hours, rounds)


@lru_cache(maxsize=16)
def _patterns(name: str) -> dict[str, ContactPattern]:
    design = aw.load_design(name)
    return {f: roll(design, f).pattern for f in ("drive", "coast")}


def photographed(axle: Axle) -> tuple[list[PatternReading], float]:
    """Roll once and photograph both flanks; return the readings and the backlash that was read [mm]."""
    seen = axle.rolled()
    sd = axle.luck.uniform(*PHOTO_SD, 4)
    seen[:4] += sd * axle.luck.standard_normal(4)
    sd = np.hypot(sd, ROLLING_SD)
    readings = []
    for k, flank in enumerate(("drive", "coast")):
        center = (float(seen[2 * k]), float(seen[2 * k + 1]))
        pattern = replace(_patterns(axle.design.name)[flank], center=center)
        readings.append(
            PatternReading(
                pattern=pattern,
                center_sd=(float(sd[2 * k]), float(sd[2 * k + 1])),
                length_sd=0.05,
                source="photo",
            )
        )
    return readings, float(seen[4])


def with_axlewright(axle: Axle) -> Outcome:
    """Photograph both flanks, do what is advised first, look again, sign off when it says so.

    Where one more photo of the drive flank is advised it is taken, the set rolled for it once more.
    """
    needed = not axle.fine()
    press, hours = 0, 0.0
    history: tuple[Earlier, ...] = ()
    for look in range(MOST_ROUNDS):
        hours += COST_HOURS["L0"]
        photos, backlash = photographed(axle)
        evidence = Evidence(
            axle.design,
            *photos,
            backlash_mm=backlash,
            mark_mm=axle.mark_mm or None,
            history=history,
        )
        found = diagnose(evidence, seed=look, atlas=axle.atlas)
        if found.explained and found.advice[0].look_again:  # one more photo of the drive flank, both count
            hours += COST_HOURS["L0"]
            photos[0] = combine_looks([photos[0], photographed(axle)[0][0]])
            evidence = replace(evidence, drive=photos[0], looked_again=True)
            found = diagnose(evidence, seed=look, atlas=axle.atlas)
        if not found.explained and look == 0:
            continue  # roll and read again before anything comes apart
        best = next(
            a for a in found.advice if found.explained or a.cost_class != "L0" or a.chance_last_teardown
        )
        if best.cost_class == "L4":
            return _done(axle, needed, press, hours, look + 1, housing=True)
        if not best.pinion_move_mm and not best.shim_move_mm:
            break
        history = tuple(
            replace(
                h,
                pinion_moved_since_mm=h.pinion_moved_since_mm + best.pinion_move_mm,
                ring_moved_since_mm=h.ring_moved_since_mm + best.shim_move_mm,
            )
            for h in (*history, Earlier(*photos, 0.0, 0.0, backlash))
        )
        hours += COST_HOURS[best.cost_class]
        if best.pinion_move_mm:
            axle.press(best.pinion_move_mm)
            press += 1
        axle.shim(best.shim_move_mm)
    return _done(axle, needed, press, hours, look + 1)


POLICIES: dict[str, Callable[[Axle], Outcome]] = {
    "common practice, by eye": common_practice,
    "common practice, verdict wrong 1 in 10": partial(common_practice, by_eye=False),
    "axlewright": with_axlewright,
}


def run(task: tuple[str, int, int, float]) -> dict[str, list[Outcome]]:
    """Set up `count` axles of one design both ways."""
    name, count, seed, stray = task
    return {
        policy: [go(draw_axle(name, seed * 100_000 + k, stray)) for k in range(count)]
        for policy, go in POLICIES.items()
    }


def table(outcomes: dict[str, list[Outcome]]) -> None:
    """Print both policies side by side."""
    rows = (
        ("axles", "", lambda o: f"{len(o)}"),
        ("axles outside acceptance at the first rolling", "", lambda o: _share(x.needed for x in o)),
        (
            "press-offs per axle that needs one, mean",
            "≤ 1.2",
            lambda o: f"{np.mean([x.press_offs for x in o if x.needed]):.2f}",
        ),
        (
            "the same, 95th percentile",
            "≤ 2",
            lambda o: f"{np.quantile([x.press_offs for x in o if x.needed], 0.95):.0f}",
        ),
        (
            "press-offs per axle that needed none",
            "",
            lambda o: f"{np.mean([x.press_offs for x in o if not x.needed]):.2f}",
        ),
        ("signed off outside acceptance (comebacks)", "≤ 2 %", lambda o: _share(x.comeback for x in o)),
        ("sent to measure the housing", "", lambda o: _share(x.housing for x in o)),
        (
            "hours per axle on the bench: mean / 95th percentile",
            "",
            lambda o: _mean_and_95([_bench_hours(x) for x in o]),
        ),
        (
            "hours per axle outside acceptance at first, on the bench",
            "",
            lambda o: f"{np.mean([_bench_hours(x) for x in o if x.needed]):.1f}",
        ),
        ("hours per axle, comebacks included", "", lambda o: f"{np.mean([x.hours for x in o]):.1f}"),
        ("rollings per axle", "", lambda o: f"{np.mean([x.rounds for x in o]):.1f}"),
    )
    print("| | aim | " + " | ".join(outcomes) + " |\n|---|---|" + "---|" * len(outcomes))
    for text, aim, value in rows:
        print(f"| {text} | {aim} | " + " | ".join(value(o) for o in outcomes.values()) + " |")


def _mean_and_95(values: list[float]) -> str:
    return f"{np.mean(values):.1f} / {np.quantile(values, 0.95):.1f}"


def _bench_hours(outcome: Outcome) -> float:
    """Return the hours of setting up alone, without those of a comeback."""
    return outcome.hours - COMEBACK_HOURS * outcome.comeback


def _share(values: object) -> str:
    v = np.array(list(values), dtype=float)  # type: ignore[call-overload]
    p = float(v.mean())
    return f"{100 * p:.1f} ± {100 * np.sqrt(max(p * (1 - p), 1e-9) / len(v)):.1f} %"


def main() -> None:
    """Run the shop and print the table."""
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("--axles", type=int, default=240)
    p.add_argument("--workers", type=int, default=min(2, os.cpu_count() or 1))
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--stray", type=float, default=1.0)
    a = p.parse_args()
    start = time.perf_counter()
    with ProcessPoolExecutor(a.workers) as pool:
        parts = list(pool.map(run, [(n, a.axles // len(DESIGNS), a.seed, a.stray) for n in DESIGNS]))
    print(f"Simulated shop, {', '.join(DESIGNS)} ({time.perf_counter() - start:.0f} s)\n")
    table({policy: [x for part in parts for x in part[policy]] for policy in POLICIES})


if __name__ == "__main__":
    main()
