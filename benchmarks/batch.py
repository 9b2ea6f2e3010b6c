"""How near best positions come to the truth, how often their intervals hold it, and what matching gains.

Sets are rolled at full physics, each flank with an ease-off of its own, run at some positions and read with
noise, slips and a backlash that is never quite reset; the truth is the position with the least weighted
motion error of that very set, rolled without noise. Beside it stands what a glance at the log would choose,
the position of the smallest reading. Times are processor time.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from axlewright.gearset import load_design
from axlewright.plant import (
    BestPosition,
    Carrier,
    DesignCurve,
    MarkedSet,
    Practice,
    Roll,
    SimulatedSet,
    Spread,
    best_position,
    design_curve,
    match,
    simulate_set,
    tolerance_study,
)
from axlewright.setup.stock import StockItem

PRACTICE = Practice(mark_unit="0.001 in", mark_meaning="plus_means_larger_mounting_distance")
MARK_MM = 0.0254
MORE_AT_MOST = 4


def run_as_told(one: SimulatedSet, curve: DesignCurve | None, rng: np.random.Generator) -> BestPosition:
    """Start from three positions and run those that are asked for, up to four more."""
    rolls: list[Roll] = [r for r in one.rolls if abs(r.pinion_out_mm) < 2.5 * MARK_MM]
    found = best_position(rolls, curve, PRACTICE)
    for _more in range(MORE_AT_MOST):
        if found.decided or found.next_position_mm is None:
            break
        number = one.rolls[0].set_number
        rolls.append(one.member.read(found.next_position_mm, number, spread=Spread(), rng=rng))
        found = best_position(rolls, curve, PRACTICE)
    return found


def row(name: str, found: list[BestPosition], truth: np.ndarray) -> None:
    """Print one line of the table."""
    off = np.array([f.best_mm for f in found]) - truth
    done = np.array([f.decided for f in found])
    held = np.array(
        [f.interval_95_mm[0] <= t <= f.interval_95_mm[1] for f, t in zip(found, truth, strict=True)]
    )
    half = np.median([f.half_width_mm for f in found])
    runs = np.mean([f.readings for f in found])
    near = np.mean(np.abs(off[done]) <= MARK_MM)
    print(
        f"{name:34s} {runs:5.1f} {100 * done.mean():6.0f} % {1000 * np.sqrt(np.mean(off[done] ** 2)):8.1f} "
        f"{100 * near:7.0f} % {100 * held[done].mean():7.0f} % {100 * held.mean():7.0f} % {1000 * half:7.1f}"
    )


def smallest(name: str, found: list[BestPosition], truth: np.ndarray) -> None:
    """Print the line of the smallest reading."""
    off = np.array([f.smallest_reading_mm for f in found]) - truth
    rms, near = 1000 * np.sqrt(np.mean(off**2)), 100 * np.mean(np.abs(off) <= MARK_MM)
    print(f"{name:34s} {'':5s} {100:6.0f} % {rms:8.1f} {near:7.0f} % {'–':>9s} {'–':>9s} {'–':>7s}")


def positions(name: str, count: int, seed: int) -> None:
    """Print the table of one design."""
    design = load_design(name)
    curve, rng = design_curve(design), np.random.default_rng(seed)
    made = [simulate_set(design, str(n), rng=rng, practice=PRACTICE) for n in range(count)]
    truth = np.array([one.best_mm for one in made])
    print(f"\n{name}: {count} sets, best positions spread {1000 * truth.std():.0f} µm; errors in µm")
    print(
        f"{'':34s} {'reads':>5s} {'decided':>8s} {'rms':>8s} {'±1 mark':>9s} {'95 % held':>9s} {'all':>9s} "
        f"{'± half':>7s}"
    )
    start = time.process_time()
    five = [best_position(one.rolls, curve, PRACTICE) for one in made]
    spent = (time.process_time() - start) / count
    row("five positions, design's curve", five, truth)
    row("five positions, parabola", [best_position(one.rolls, None, PRACTICE) for one in made], truth)
    smallest("five positions, smallest reading", five, truth)
    three = [
        best_position([r for r in one.rolls if abs(r.pinion_out_mm) < 2.5 * MARK_MM], curve, PRACTICE)
        for one in made
    ]
    row("three positions, design's curve", three, truth)
    smallest("three positions, smallest reading", three, truth)
    row("three, then as told", [run_as_told(one, curve, rng) for one in made], truth)
    print(f"one answer takes {1000 * spent:.1f} ms")


def matching(seed: int) -> None:
    """Print what matching gains on invented carriers, sets and a shelf of steps of 0.001 in."""
    rng = np.random.default_rng(seed)
    print("\nMatching, 20 lots each, three of every size of 0.001 in: root mean square misfit in µm")
    print(f"{'pairs':>6s} {'matched':>8s} {'as came':>8s} {'bound':>8s} {'within ±12.7 µm':>16s} {'ms':>6s}")
    for pairs in (10, 20, 40):
        out = []
        start = time.process_time()
        for _lot in range(20):
            carriers = [Carrier(str(n), 1.56 + rng.normal(0, 0.05)) for n in range(pairs)]
            sets = [MarkedSet(str(n), rng.normal(0, 0.045)) for n in range(pairs)]
            stock = [StockItem(str(n), 1.36 + 0.0254 * n, 3) for n in range(17)]
            found = match(carriers, sets, stock, place="under_head")
            came = [m.misfit_mm for m in found.first_come.matches if m.misfit_mm is not None]
            rms = float(np.sqrt(np.mean(np.square(came))))
            out.append((found.rms_mm, rms, found.bound_mm, found.best.within, found.first_come.within))
        spent = 1000 * (time.process_time() - start) / 20
        m = np.mean(out, axis=0)
        print(
            f"{pairs:6d} {1000 * m[0]:8.1f} {1000 * m[1]:8.1f} {1000 * m[2]:8.1f} "
            f"{m[3]:7.1f} / {m[4]:5.1f} {spent:6.0f}"
        )


def study(seed: int) -> None:
    """Print what a tolerance study takes and how far rolling agrees with it."""
    print("\nTolerance study with usual spreads, 40 000 settings drawn")
    for name in ("TY-222", "TY-310", "TY-205H", "TY-176B"):
        design = load_design(name)
        tolerance_study(design, count=1000)  # the atlas is made once
        start = time.process_time()
        found = tolerance_study(design, seed=seed)
        low, high = found.share_95
        print(
            f"{name:8s} outside {100 * found.share:5.1f} % ({100 * low:.1f} … {100 * high:.1f}), "
            f"rolled alike {found.rolled_alike}/{found.rolled}, {time.process_time() - start:.1f} s"
        )


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sets", type=int, default=60)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--design", action="append", help="for the positions; may be repeated")
    parser.add_argument("--positions-only", action="store_true")
    told = parser.parse_args()
    for name in told.design or ("TY-222", "TY-310", "TY-205H"):
        positions(name, told.sets, told.seed)
    if not told.positions_only:
        matching(told.seed)
        study(told.seed)


if __name__ == "__main__":
    main()
