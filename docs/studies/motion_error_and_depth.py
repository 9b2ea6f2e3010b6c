"""Is the motion error least where the set was developed, and does it rise as the pinion goes out?

    python docs/studies/motion_error_and_depth.py [--search N]

By ear (common practice, no source) a set is quietest where it was developed and louder as the pinion goes
2, 4, 6 thousandths of an inch out. The study rolls the shipped designs there without load, at 40 N·m and, on
the drive flank, at the load of a steady road speed, finds the torque up to which the rule holds, and shows
where the pattern meets the edge. With --search N it draws N other ease-offs for each design and counts those
that keep an acceptable pattern and a rising motion error without load and at the road load.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from axlewright.contact import ContactPattern, roll
from axlewright.errors import ContactError
from axlewright.gearset import EaseOff, GearSetDesign, load_design

THOUSANDTHS = (-6, -4, -2, 0, 2, 4, 6)
ZERO = THOUSANDTHS.index(0)
STEP_MM = 0.0254
COARSE = {"lengthwise": 64, "profile": 32, "roll_angles": 96}
AIR = 1.2  # density of air [kg/m³]
SLACK = 0.02  # motion errors nearer to each other than this share are equal: the grid's own error is 1 %


@dataclass(frozen=True)
class Road:
    """A vehicle on a level road at a steady speed; sizes are common practice, no source."""

    what: str
    mass_kg: float
    rolling: float
    drag_area_m2: float
    wheel_m: float
    speed_kmh: float
    further_ratio: float = 1.0

    @property
    def torque_nm(self) -> float:
        """Torque at the ring gear: (m g c_r + ½ ρ c_w A v²) r over what is geared down behind it [N·m]."""
        speed = self.speed_kmh / 3.6
        force = self.mass_kg * 9.81 * self.rolling + 0.5 * AIR * self.drag_area_m2 * speed**2
        return force * self.wheel_m / self.further_ratio


ROADS = {
    "TY-222": Road("light truck", 2000.0, 0.012, 1.3, 0.36, 72.0),
    "TY-205H": Road("car", 1400.0, 0.011, 0.68, 0.31, 72.0),
    "TY-310": Road("bus", 9000.0, 0.009, 4.2, 0.45, 72.0),
    "TY-176B": Road("farm machine, final drives 5:1", 2200.0, 0.020, 3.0, 0.60, 25.0, 5.0),
}


def motion_errors(
    design: GearSetDesign, flank: str, torque_nm: float, ease_off: EaseOff | None = None, **grid: int
) -> NDArray[np.float64]:
    """Return peak-to-peak motion errors at `THOUSANDTHS` [µrad]; NaN where the load could not be shared."""
    out = []
    for k in THOUSANDTHS:
        try:
            rolling = roll(design, flank, k * STEP_MM, torque_nm=torque_nm, ease_off=ease_off, **grid)
            out.append(rolling.motion_error_pp_urad)
        except ContactError:
            out.append(np.nan)
    return np.array(out)


def broken_by(errors: NDArray[np.float64]) -> float:
    """Return how far the rule is broken, over the value at 0: another place lower, or a fall outward."""
    falls = -np.diff(errors[ZERO:])
    return float(max(0.0, errors[ZERO] - errors.min(), falls.max()) / errors[ZERO])


def holds(errors: NDArray[np.float64]) -> bool:
    """Return whether the least is at 0 and it rises at 2, 4 and 6 out, within `SLACK`."""
    return broken_by(errors) <= SLACK


def curves() -> None:
    """Print motion errors against pinion depth."""
    print("\nMotion error, peak to peak, µrad of ring gear; thousandths of an inch of pinion out (+)\n")
    print("| design | flank | N·m | " + " | ".join(f"{k:+d}" for k in THOUSANDTHS) + " | holds |")
    print("| --- | --- | ---: |" + " ---: |" * len(THOUSANDTHS) + " --- |")
    for name, road in ROADS.items():
        design = load_design(name)
        for flank in ("drive", "coast"):
            for torque in (0.0, 40.0, road.torque_nm) if flank == "drive" else (0.0, 40.0):
                found = motion_errors(design, flank, torque)
                cells = " | ".join(f"{v:.1f}" for v in found)
                print(f"| {name} | {flank} | {torque:.0f} | {cells} | {'yes' if holds(found) else 'no'} |")


def limits() -> None:
    """Print the torque up to which the rule holds, and how far it is broken below the road load."""
    print("\nRoad load, torque up to which the rule holds, and how far it breaks up to the road load\n")
    print("| design | vehicle | road load N·m | drive holds to | broken, drive | coast holds to |")
    print("| --- | --- | ---: | ---: | ---: | ---: |")
    for name, road in ROADS.items():
        design, size = load_design(name), (load_design(name).ring_outer_diameter_mm / 222.0) ** 2
        ends, worst = [], 0.0
        for flank in ("drive", "coast"):
            last, unbroken = 0.0, True
            for torque in np.arange(20.0, 300.0, 20.0) * size:
                broken = broken_by(motion_errors(design, flank, float(torque)))
                unbroken = unbroken and broken <= SLACK
                last = float(torque) if unbroken else last
                if flank == "drive" and torque <= road.torque_nm:
                    worst = max(worst, broken)
                if not unbroken and (flank == "coast" or torque > road.torque_nm):
                    break
            ends.append(f"{last:.0f}")
        what = f"{road.what}, {road.speed_kmh:g} km/h"
        print(f"| {name} | {what} | {road.torque_nm:.0f} | {ends[0]} | {worst:.0%} | {ends[1]} |")


def edge_of(design: GearSetDesign, flank: str, sense: float) -> tuple[float, float]:
    """Return how far the mark's edge goes at 0.006 in, and where it first meets top or root [mm]."""
    edge = "top" if sense > 0.0 else "root"

    def at(depth: float) -> ContactPattern:
        return roll(design, flank, sense * depth, **COARSE).pattern

    rows = np.flatnonzero(at(6.0 * STEP_MM).mask.any(axis=1))
    reach = np.linspace(-1.0, 1.0, COARSE["profile"])[rows[-1] if sense > 0.0 else rows[0]]
    for depth in np.arange(0.02, 0.60, 0.02):
        if edge in at(float(depth)).touches:
            return float(reach), float(depth)
    return float(reach), np.nan


def edges() -> None:
    """Print where 0.006 in of pinion takes the mark."""
    print("\nEdge of the mark at 0.006 in of pinion, and pinion move at which it first meets top or root\n")
    print("| design | flank | out: highest mark | meets the top at | in: lowest mark | meets the root at |")
    print("| --- | --- | ---: | ---: | ---: | ---: |")
    for name in ROADS:
        design = load_design(name)
        for flank in ("drive", "coast"):
            (up, top), (low, root) = edge_of(design, flank, 1.0), edge_of(design, flank, -1.0)
            print(f"| {name} | {flank} | {up:+.2f} | {top:.2f} mm | {low:+.2f} | {root:.2f} mm |")


def drawn(base: EaseOff, chance: np.random.Generator) -> EaseOff:
    """Return an ease-off drawn around a design's own."""
    return replace(
        base,
        lengthwise_crown_mm=base.lengthwise_crown_mm * float(np.exp(chance.uniform(-0.4, 0.7))),
        profile_crown_mm=base.profile_crown_mm * float(np.exp(chance.uniform(-1.0, 1.6))),
        top_root_relief_mm=base.top_root_relief_mm * float(np.exp(chance.uniform(-0.8, 1.3))),
        relief_start=float(chance.uniform(0.1, 0.75)),
        twist_mm=base.twist_mm + float(chance.uniform(-0.03, 0.03)),
        center_lengthwise=float(chance.uniform(-0.2, 0.1)),
        center_profile=float(chance.uniform(-0.1, 0.3)),
    )


def search(count: int) -> None:
    """Print how many drawn ease-offs keep all three facts on the drive flank at the road load."""
    print(f"\n{count} ease-offs drawn around each design's own, drive flank\n")
    print("| design | road load | pattern acceptable | rises without load | and at road load | quietest |")
    print("| --- | ---: | ---: | ---: | ---: | --- |")
    for name, road in ROADS.items():
        design, chance = load_design(name), np.random.default_rng(3)
        good = rising = both = 0
        best: tuple[float, str] = (np.inf, "none")
        for _ in range(count):
            ease = drawn(design.ease_off("drive"), chance)
            try:
                pattern = roll(design, "drive", ease_off=ease, **COARSE).pattern
            except ContactError:
                continue
            if pattern.touches or pattern.length_fraction < 0.42:
                continue
            good += 1
            free = motion_errors(design, "drive", 0.0, ease, **COARSE)
            if not holds(free):
                continue
            rising += 1
            if holds(motion_errors(design, "drive", road.torque_nm, ease, **COARSE)):
                both += 1
                words = (
                    f"crowns {1e3 * ease.lengthwise_crown_mm:.0f} and {1e3 * ease.profile_crown_mm:.1f} µm, "
                    f"relief {1e3 * ease.top_root_relief_mm:.0f} µm from {ease.relief_start:.2f}, "
                    f"twist {1e3 * ease.twist_mm:+.0f} µm, {free[ZERO]:.0f} µrad without load"
                )
                best = min(best, (float(free[ZERO]), words))
        print(f"| {name} | {road.torque_nm:.0f} N·m | {good} | {rising} | {both} | {best[1]} |")


def main() -> None:
    """Print all tables."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--search", type=int, default=0, metavar="N", help="draw N ease-offs for each design")
    given = ask.parse_args()
    curves()
    limits()
    edges()
    if given.search:
        search(given.search)


if __name__ == "__main__":
    main()
