"""Drives to find a noise, drawn at random: what a phone records in a vehicle, and what really made the noise.

Independent of every listener: nothing of axlewright is imported, no signal or order of its is used. A drive
is put together from stems in pascals at the phone's microphone (engine, road, wind, ordinary tyres, cabin
sounds, the sources complained of), then goes through a phone: placement, noise floor, automatic gain, noise
suppression, clipping, sample rate and a real codec. Figures from these drives say how a listener does on
these drives, never how it does in vehicles.

    drive = make_drive(7)                    # kind by seed: KINDS[7 % len(KINDS)]
    drive = make_drive(7, "mesh_coast")      # a kind of one's own choice
    pair = make_pair(7)                      # same vehicle before and after, mesh level changed or not
    python benchmarks/road_drives.py --seed 1 --count 5 --out DIR [--kind KIND] [--pairs]
    python benchmarks/road_drives.py --check

Units. Times s from the first sample of the recording, speeds km/h where named so (m/s inside), frequencies
Hz, lengths m, levels dB re 20 µPa at the microphone, level differences dB, slip and errors as fractions.
Orders are events per turn of the driven wheels; where a source hangs on the engine, per turn of the
crankshaft (`order_engine`), or of the propeller shaft (`order_propshaft`).

`Drive.told` is what the user can tell (any part may be None); `Drive.truth` what really was so. A source in
`truth["sources"]` has

    name                 one of SOURCES
    orders               nominal orders per wheel turn, strongest trait first ([] where frequency is fixed)
    actual_orders        those with the slip of a bearing
    wanted_db            the prominence drawn, -6 to +18 dB
    prominence_db        found from the stems, see below
    prominence_drive_db, prominence_coast_db   the same over windows under drive or under coast alone; None:
                         no such windows
    audible, when        prominence above 0 dB; "drive", "coast", "both", "turns" or "never": where it is
                         audible
    components           for each order or band: label, order, prominence_db, best_time_s, frequency_hz
    line_db              greatest level of a line above masker lines within 3 Hz (what order tracking has to
                         go by)
    recorded_line_db     the same taken from the finished recording against the flanks of the line; None for
                         bands

`truth["faint"]` has what a sound vehicle has of some sources, -20 to -8 dB, not to be named;
`truth["extras"]` sounds of the cabin and tones (pump, turbocharger, body whistle, grooved concrete) that are
none of SOURCES.

Prominence of a tone is the audibility ΔL of ISO/TS 20065:2022: level of the tone in its critical band less
level of everything else in that band less masking index, ΔL = L_T - L_G - a_v, on 0.5 s Hann spectra averaged
over 3 s along the track of the order; the best order in the best 3 s of the drive counts. Unlike the
standard, L_G is the energy of all other stems, tones of the engine too, because it is known here and masks.
Prominence of an impulsive or broadband source is analogous: in each critical band (Bark, Zwicker & Fastl,
Psychoacoustics) the level that the stem exceeds in a tenth of 21 ms frames within 3 s, above the mean level
of everything else. Both stand at the microphone, before gain, suppression and codec, which are not linear.

Sources of the models (by author; figures not followed by one are common practice or from memory):
  interior noise: M. Harrison, Vehicle Refinement (2004); M. Qatu et al., Int. J. Vehicle Noise and Vibration
  5 (2009) 1-35; G. Cerrato, Sound and Vibration (April 2009). Tyre noise, pitch sequences, cavity: U.
  Sandberg & J. Ejsmont, Tyre/Road Noise Reference Book (2002); tyre cavity splitting: J. Thompson, Tire
  Science and Technology 23 (1995) 2-10. Wind: levels with 50 to 60 lg v, after A. George, SAE 900315.
  Microphone wind: near 1/f up to about 1 kHz, after M. Shust & J. Rogers, ASA 131 (1996), and S. Bradley et
  al., AES (2003). Engine half orders and cyclic variation: J. Heywood, Internal Combustion Engine
  Fundamentals (1988), ch. 9. Gears: W. Mark, JASA 63 (1978) 1409; J. Smith, Gear Noise and Vibration (2003).
  Bearings: R. Randall & J. Antoni, MSSP 25 (2011) 485-520 (kinematic orders, cage slip of 1 to 2 %, jitter,
  load zone). Universal joint, twice a turn: SAE AE-7 (1979). Speedometer: UN Regulation No. 39 (never low,
  high by up to 10 % and 4 km/h). Critical bands and masking index: ISO/TS 20065:2022.
"""

from __future__ import annotations

import argparse
import io
import json
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any

import av
import numpy as np
from scipy import fft as sfft
from scipy import ndimage, signal

FS = 24_000  # Hz, of all stems
CONTROL = 100  # Hz, of speed, torque and all that changes slowly
P0 = 20e-6  # Pa
G = 9.81

SOURCES = (
    "mesh", "prop_imbalance", "universal_joint", "tyre", "wheel_imbalance", "wheel_bearing", "pinion_bearing",
    "carrier_bearing", "gearbox", "brake", "differential", "boom", "accessory",
)  # fmt: skip
INNOCENTS = ("none", "none_radio", "none_speech", "none_fan", "none_indicator")
KINDS = (
    *INNOCENTS, "mesh_drive", "mesh_coast", "mesh_both", *(s for s in SOURCES if s != "mesh"), "two",
)  # fmt: skip

HEALTHY = ("mesh", "prop_imbalance", "wheel_imbalance", "gearbox", "accessory")

Array = np.ndarray[Any, Any]
Rng = np.random.Generator


@dataclass
class Drive:
    """One recording, what is told about it and the truth (module docstring: fields and units)."""

    samples: Array  # float32, mono, as decoded from `encoded`
    rate: int
    encoded: bytes
    suffix: str
    told: dict[str, Any]
    truth: dict[str, Any]
    stems: dict[str, Array] = field(default_factory=dict, repr=False)  # Pa at FS, if asked for


@dataclass
class Pair:
    """The same vehicle before and after work on the axle; `truth["mesh_change_db"]` at the source."""

    before: Drive
    after: Drive
    truth: dict[str, Any]


# --- the vehicle ---------------------------------------------------------------------------------------


@dataclass
class Vehicle:
    mass: float
    drag: float  # N/(m/s)²
    rolling: float
    circumference: float  # m, rolling
    pinion_teeth: int
    ring_teeth: int
    cylinders: int
    diesel: bool
    automatic: bool
    gears: tuple[float, ...]
    track: float
    wheelbase: float
    idle: float  # rev/min
    modes: Array  # Hz, of body and cabin
    bearings: dict[str, dict[str, float]]
    joint: bool
    seed: int

    @property
    def ratio(self) -> float:
        return self.ring_teeth / self.pinion_teeth


def draw_vehicle(rng: Rng, seed: int) -> Vehicle:
    diesel = bool(rng.random() < 0.45)
    pinion = int(rng.integers(7, 18))
    ring = round(pinion * rng.uniform(2.6, 5.3))
    while not 31 <= ring <= 55 or ring % pinion == 0:
        pinion = int(rng.integers(7, 18))
        ring = round(pinion * rng.uniform(2.6, 5.3))
    axle = ring / pinion
    circumference = float(rng.uniform(1.85, 2.6))
    count = int(rng.choice([4, 5, 6, 8]))
    # Top gear for 1500-2300 rev/min at 100 km/h, first gear 4 to 8 times lower.
    top = rng.uniform(1500, 2300) / (100 / 3.6 / circumference * 60 * axle)
    spread = rng.uniform(4.2, 5.5) + 0.35 * (count - 4)
    steps = np.linspace(1.25, 0.75, count - 1)
    ladder = np.concatenate([[0.0], np.cumsum(steps / steps.sum())])
    gears = [round(float(g), 3) for g in top * spread ** (1 - ladder) * rng.uniform(0.98, 1.02, count)]
    if rng.random() < 0.6:  # most boxes have a direct gear
        direct = int(np.argmin(np.abs(np.log(gears))))
        gears[direct] = 1.0
    gears = sorted(gears, reverse=True)
    bearings = {}
    for name, rollers, roller, pitch, angle in (
        ("wheel", (11, 24), (7.5, 13.0), (45.0, 75.0), (0.0, 35.0)),
        ("pinion", (12, 21), (8.0, 14.0), (48.0, 75.0), (12.0, 28.0)),
        ("carrier", (15, 24), (8.0, 13.0), (60.0, 90.0), (10.0, 20.0)),
    ):
        d, pitch_d = rng.uniform(*roller), rng.uniform(*pitch)
        most = int(np.pi * pitch_d / d / 1.12)  # the rollers need room in the cage
        bearings[name] = {
            "rollers": int(min(rng.integers(*rollers), most)),
            "roller_diameter_mm": round(float(d), 2),
            "pitch_diameter_mm": round(float(pitch_d), 2),
            "contact_angle_deg": round(float(rng.uniform(*angle)), 1),
        }
    return Vehicle(
        mass=float(rng.uniform(1400, 3200)),
        drag=0.5 * 1.2 * float(rng.uniform(0.65, 1.4)),
        rolling=float(rng.uniform(0.009, 0.015)),
        circumference=circumference,
        pinion_teeth=pinion,
        ring_teeth=ring,
        cylinders=int(rng.choice([3, 4, 5, 6, 8], p=[0.08, 0.45, 0.1, 0.22, 0.15])),
        diesel=diesel,
        automatic=bool(rng.random() < 0.5),
        gears=tuple(gears),
        track=float(rng.uniform(1.45, 1.7)),
        wheelbase=float(rng.uniform(2.4, 3.8)),
        idle=float(rng.uniform(650, 900)),
        modes=np.sort(np.exp(rng.uniform(np.log(28), np.log(3500), 90))),
        bearings=bearings,
        joint=bool(rng.random() < 0.85),
        seed=seed,
    )


def race_orders(bearing: dict[str, float], slip: float = 0.0) -> dict[str, float]:
    """Roller passing orders per turn of the inner ring, outer ring still (Randall & Antoni 2011, table 1).

    `slip` is how far the cage lags behind its kinematic speed: passings of the outer race come slower, those
    of the inner race faster.
    """
    c = bearing["roller_diameter_mm"] / bearing["pitch_diameter_mm"]
    c *= np.cos(np.radians(bearing["contact_angle_deg"]))
    cage = 0.5 * (1 - c) * (1 - slip)
    n = bearing["rollers"]
    return {"outer": n * cage, "inner": n * (1 - cage), "cage": cage}


# --- the driver ----------------------------------------------------------------------------------------


@dataclass
class Course:
    """What vehicle and driver did, at CONTROL samples a second."""

    t: Array
    v: Array  # m/s
    wheel: Array  # rev/s, mean of the driven wheels = ring gear
    left: Array  # rev/s
    right: Array
    torque: Array  # share of the vehicle's weight at the wheels, > 0 drive, < 0 coast
    gear: Array  # number, 0: neutral
    box: Array  # gearbox input over propeller shaft, changing smoothly
    engine: Array  # rev/s
    throttle: Array  # 0-1
    brake: Array  # 0-1
    turn: Array  # 1/m, > 0: to the left
    style: str
    held_kmh: float | None
    gear_held: bool

    def audio(self, x: Array) -> Array:
        return np.interp(np.arange(int(len(self.t) * FS / CONTROL)) / FS, self.t, x)


Segment = tuple[str, float, float]  # what, figure, s


def _plan(rng: Rng, style: str, seconds: float, in_gear: bool) -> tuple[float, list[Segment]]:
    """Starting speed in km/h and what the driver does one after the other."""
    if style == "steady":
        return float(rng.uniform(35, 118)), [("hold", 0.0, seconds)]
    if style == "hills":
        return float(rng.uniform(45, 100)), [
            ("hold", float(rng.uniform(-0.07, 0.07)), float(rng.uniform(8, 18))) for _ in range(8)
        ]
    if style == "turns":
        out: list[Segment] = []
        for _ in range(12):
            out += [
                ("turn", float(rng.choice([-1, 1]) * rng.uniform(0.04, 0.15)), float(rng.uniform(6, 14))),
                ("hold", 0.0, float(rng.uniform(2, 6))),
            ]
        return float(rng.uniform(14, 28)), out
    low, high = rng.uniform(30, 55), rng.uniform(75, 120)
    gap = high - low
    up: Segment = ("up", float(high), float(gap / 3.6 / rng.uniform(0.5, 1.4)))
    down: Segment = ("coast", float(low), float(gap / 3.6 / 0.35))
    free: Segment = ("neutral", float(low), float(gap / 3.6 / 0.35))
    if style == "run_up":
        return float(low), [up, ("hold", 0.0, 6.0), ("coast", float(low), 30.0), up, ("hold", 0.0, 90.0)]
    if style == "run_down":
        return float(high), [("hold", 0.0, 3.0), down, up, down]
    if style == "coast_neutral":
        return float(high), [("hold", 0.0, 4.0), free, up, free]
    hold: Segment = ("hold", 0.0, float(rng.uniform(4, 9)))
    order = [
        up,
        hold,
        down if in_gear or rng.random() < 0.6 else free,
        up,
        hold,
        ("float", 0.0, 6.0),
        down,
        up,
        hold,
        down,
    ]
    return float(low), order  # "hunt": the whole of it, the usual way of looking for a noise


def drive_course(rng: Rng, car: Vehicle, style: str, seconds: float, in_gear: bool = False) -> Course:
    n = int(seconds * CONTROL)
    start, plan = _plan(rng, style, seconds, in_gear)
    dt = 1 / CONTROL
    top = 4200.0 if car.diesel else 5200.0
    hold_gear = style not in ("turns",) and (not car.automatic or rng.random() < 0.35)
    shift_at = rng.uniform(2300, 3000) if car.diesel else rng.uniform(2500, 3600)
    revs = lambda v, g: v / car.circumference * 60 * car.ratio * car.gears[g]  # noqa: E731

    def gear_for(v: float, most: float) -> int:
        ok = [g for g in range(len(car.gears)) if revs(v, g) <= most]
        return ok[0] if ok else len(car.gears) - 1

    v = start / 3.6
    gear = gear_for(v, 2100.0)
    if hold_gear and style in ("run_up", "run_down", "hunt"):
        gear = max(gear_for(v * (1 if style != "run_down" else 0.5), 2400.0), gear_for(33.0, top * 0.9))
    cruise = style == "steady"
    target, last_shift, box = v, -9.0, car.gears[gear]
    names = ("v", "torque", "gear", "box", "engine", "throttle", "brake", "turn")
    rec = {k: np.zeros(n) for k in names}
    engine = revs(v, gear) / 60
    k, begun, force, turn, brake, integral = 0, 0.0, 0.0, 0.0, 0.0, 0.0
    slip_gain = rng.uniform(0.02, 0.09) if car.automatic else 0.0
    grade_base = rng.normal(0, 0.006)
    grade_noise = ndimage.gaussian_filter1d(rng.normal(0, 1, n), 4 * CONTROL, mode="wrap")
    grade_noise *= 0.006 / max(grade_noise.std(), 1e-9)
    fidget = ndimage.gaussian_filter1d(rng.normal(0, 1, n), 0.8 * CONTROL, mode="wrap")
    fidget *= (0.04 if cruise else 0.08) / max(fidget.std(), 1e-9)
    clutch = 0.0
    for i in range(n):
        t = i * dt
        what, figure, length = plan[k % len(plan)]
        done = t - begun > length
        done |= what == "up" and v * 3.6 > figure - 0.5
        done |= what in ("coast", "neutral") and v * 3.6 < figure
        if done:
            k, begun = k + 1, t
            target = v
            what, figure, length = plan[k % len(plan)]
        slope = grade_base + grade_noise[i] + (figure if style == "hills" else 0.0)
        resist = car.mass * G * (car.rolling + slope) + car.drag * v * v
        neutral = what == "neutral"
        n_engine = max(engine * 60, 1.0)
        braking = car.mass * (
            0.25 + 0.35 * n_engine / 3000 * (1.5 if car.diesel else 1.0) * car.gears[gear] / 1.5
        )
        wish_brake = 0.0
        if neutral:
            wish = -0.002 * car.mass * G
        elif what == "up":
            accel = min(1.0 + 0.2, (figure / 3.6 - v) * 0.6 + 0.15) if figure else 1.0
            wish = resist + car.mass * accel * (0.7 + 3 * fidget[i])
        elif what == "coast":
            wish = -braking
        elif what == "float":
            wish = car.mass * G * 0.002 * (1 + 6 * fidget[i])
        else:
            if what == "turn":
                target = min(target, start / 3.6)
            integral += (target - v) * dt * 0.05
            wish = resist + car.mass * ((target - v) * 0.6 + integral + fidget[i])
        wish = max(wish, -braking)
        if what in ("hold", "turn") and v > target + 1.2:
            wish_brake = min((v - target) * 0.2, 0.4)
        limit = car.mass * rng_limit(v)
        wish = min(wish, limit)
        gap = t - last_shift
        if clutch > 0:
            clutch -= dt
            if not car.automatic:
                wish = 0.0
        force += (wish - force) * dt / 0.25
        brake += (wish_brake - brake) * dt / 0.3
        push = force if not neutral else wish
        v = max(v + dt * (push - resist - brake * car.mass * 3) / car.mass, 1.5)
        if not neutral and gap > 2.0:
            if revs(v, gear) > (
                top * 0.95 if hold_gear else shift_at * (0.75 + 0.5 * min(max(force / car.mass, 0), 1))
            ):
                if gear < len(car.gears) - 1:
                    gear, last_shift, clutch = gear + 1, t, 0.7
            elif revs(v, gear) < (950 if hold_gear else 1250) and gear > 0:
                gear, last_shift, clutch = gear - 1, t, 0.7
        box += (car.gears[gear] - box) * dt / (0.12 if car.automatic else 0.08)
        slip = slip_gain * (0.15 if gear > 2 else 1.0) * np.tanh(force / car.mass / 0.8)
        locked = v / car.circumference * car.ratio * box * (1 + slip)
        goal = car.idle / 60 if neutral else max(locked, car.idle / 60 * 0.95)
        if clutch > 0 and not car.automatic:
            goal = engine * 0.97
        lag = 0.7 if neutral else 0.02 if gap > 1.5 and t - begun > 1.5 else 0.15
        engine += (goal - engine) * dt / lag
        wish_turn = figure if what == "turn" else 0.0
        turn += (wish_turn - turn) * dt / 0.8
        for name, x in zip(
            names,
            (
                v,
                push / car.mass / G,
                0 if neutral else gear + 1,
                box,
                engine,
                0.0 if neutral else np.clip(force / limit, 0, 1),
                brake,
                turn,
            ),
            strict=True,
        ):
            rec[name][i] = x
    lanes = ndimage.gaussian_filter1d(rng.normal(0, 1, n), 3 * CONTROL, mode="wrap")
    # No road is even and no crank turns evenly: small quick changes of speed, larger ones at idle.
    quick, crank = (
        ndimage.gaussian_filter1d(rng.normal(0, 1, n), k * CONTROL, mode="wrap") for k in (0.6, 0.12)
    )
    rec["v"] *= 1 + rng.uniform(0.0003, 0.0015) * quick / max(quick.std(), 1e-9)
    rec["engine"] *= 1 + np.where(rec["gear"] == 0, 0.008, 0.0008) * crank / max(crank.std(), 1e-9)
    rec["turn"] += lanes / max(lanes.std(), 1e-9) * 2.0 / np.maximum(rec["v"], 8) ** 2
    wheel = rec["v"] / car.circumference * (1 + 0.01 * np.clip(rec["torque"], -0.4, 0.4))  # tyre slip
    half = rec["turn"] * car.track / 2
    return Course(
        t=np.arange(n) * dt, v=rec["v"], wheel=wheel, left=wheel * (1 - half), right=wheel * (1 + half),
        torque=rec["torque"], gear=rec["gear"].astype(int), box=rec["box"], engine=rec["engine"],
        throttle=rec["throttle"], brake=rec["brake"], turn=rec["turn"], style=style,
        held_kmh=start if cruise else None, gear_held=hold_gear,
    )  # fmt: skip


def rng_limit(v: float) -> float:
    """Greatest tractive acceleration in m/s², from a power of some 45 W/kg."""
    return min(4.0, 45 / max(v, 5.0))


# --- building blocks -----------------------------------------------------------------------------------


def phase(rate: Array) -> Array:
    """Turns so far, from a rate in 1/s at FS."""
    return np.cumsum(rate) / FS


def slow(rng: Rng, course: Course, seconds: float) -> Array:
    """A wandering of mean 0 and deviation 1 with time constant `seconds`, at CONTROL."""
    n = len(course.t)
    x = ndimage.gaussian_filter1d(rng.normal(0, 1, n + int(8 * seconds * CONTROL)), seconds * CONTROL)
    x = x / max(x.std(), 1e-9)
    return x[int(4 * seconds * CONTROL) :][:n]


def shaped(rng: Rng, n: int, curve: dict[float, float]) -> Array:
    """Gaussian noise whose density follows `curve`, dB over Hz, straight over log frequency."""
    size = sfft.next_fast_len(n, real=True)
    x = sfft.rfft(rng.standard_normal(size).astype(np.float32))
    f = np.maximum(sfft.rfftfreq(size, 1 / FS), 1.0)
    level = np.interp(np.log(f), np.log(list(curve)), list(curve.values()))
    return sfft.irfft(x * 10 ** (level / 20).astype(np.float32), size)[:n]


def a_weight(f: Array) -> Array:
    """A weighting in dB, IEC 61672-1."""
    f2 = np.maximum(f, 1.0) ** 2
    ra = 12194**2 * f2**2 / ((f2 + 20.6**2) * np.sqrt((f2 + 107.7**2) * (f2 + 737.9**2)) * (f2 + 12194**2))
    return 20 * np.log10(ra) + 2.0


def level_a(x: Array) -> float:
    """A weighted level of `x` in Pa, dB."""
    f, p = signal.welch(x[: 20 * FS], FS, nperseg=8192)
    return float(10 * np.log10(np.sum(p * 10 ** (a_weight(f) / 10)) * f[1] / P0**2 + 1e-12))


def to_level(x: Array, dba: float) -> Array:
    return x * 10 ** ((dba - level_a(x)) / 20)


def path(rng: Rng, car: Vehicle, tilt: dict[float, float]) -> Array:
    """Impulse response from a source to the microphone: the body's modes, each with its own strength."""
    t = np.arange(int(0.35 * FS)) / FS
    h = np.zeros(len(t))
    for f in car.modes * rng.uniform(0.995, 1.005, len(car.modes)):
        zeta = rng.uniform(0.02, 0.07)
        long = t[: int(min(len(t), 7 / (zeta * 2 * np.pi * f) * FS))]
        wave = np.exp(-zeta * 2 * np.pi * f * long) * np.sin(2 * np.pi * f * long + rng.uniform(0, 2 * np.pi))
        h[: len(long)] += wave * rng.normal() * 2 * zeta * 2 * np.pi * f / FS
    h[rng.integers(20, 120)] += 0.5
    H = sfft.rfft(h, 2 * len(h))
    f = sfft.rfftfreq(2 * len(h), 1 / FS)
    level = np.interp(np.log(np.maximum(f, 1)), np.log(list(tilt)), list(tilt.values()))
    H *= 10 ** (level / 20)
    middle = (f > 60) & (f < 2000)
    H /= np.exp(np.mean(np.log(np.abs(H[middle]) + 1e-12)))
    return sfft.irfft(H)[: len(h)]


STRUCTURE = {
    1.0: -25.0,
    20.0: -12.0,
    45.0: 3.0,
    300.0: 0.0,
    800.0: -4.0,
    2000.0: -14.0,
    5000.0: -28.0,
    12000.0: -45.0,
}
AIR = {1.0: -30.0, 40.0: -10.0, 150.0: 0.0, 1500.0: 0.0, 4000.0: -8.0, 12000.0: -20.0}


def through(x: Array, h: Array) -> Array:
    return signal.oaconvolve(x, h)[: len(x)]


def comb(turns: Array, weights: Array) -> Array:
    """Sum of harmonics of a phase in turns: Re Σ weights[k-1] exp(2πi k turns)."""
    weights = np.asarray(weights)
    used = np.flatnonzero(weights)
    out = np.zeros(len(turns), dtype=np.float32)
    if not len(used):
        return out
    first, last = int(used[0]), int(used[-1])
    for i in range(0, len(turns), 16384):  # blocks stay in the cache
        part = turns[i : i + 16384] % 1.0
        z = np.exp(2j * np.pi * part).astype(np.complex64)
        sum_ = np.full(len(z), weights[last], dtype=np.complex64)
        for w in weights[first:last][::-1]:  # Horner
            sum_ *= z
            sum_ += np.complex64(w)
        lift = z if first == 0 else np.exp(2j * np.pi * (first + 1) * part).astype(np.complex64)
        out[i : i + 16384] = (sum_ * lift).real
    return out


def phasors(rng: Rng, sizes: Array) -> Array:
    return np.asarray(sizes) * np.exp(2j * np.pi * rng.random(len(sizes)))


def at_turns(turns: Array, events: Array) -> Array:
    """Sample positions (not whole) at which a growing phase passes the given values."""
    return np.interp(events, turns, np.arange(len(turns)))


def impulses(n: int, where: Array, size: Array) -> Array:
    """Impulses at positions that need not be whole, split between neighbours."""
    keep = (where >= 0) & (where < n - 2)
    where, size = where[keep], size[keep]
    low = where.astype(int)
    part = where - low
    return np.bincount(low, size * (1 - part), n)[:n] + np.bincount(low + 1, size * part, n)[:n]


def ringing(rng: Rng, centres: list[float], damping: float) -> Array:
    t = np.arange(int(0.03 * FS)) / FS
    return sum(
        rng.uniform(0.5, 1)
        * np.exp(-damping * 2 * np.pi * f * t)
        * np.sin(2 * np.pi * f * t + rng.uniform(0, 6.28))
        for f in centres
    )


# --- always there --------------------------------------------------------------------------------------


def engine_sound(rng: Rng, day: Rng, car: Vehicle, course: Course) -> Array:
    rate = course.audio(course.engine)
    turns = phase(rate)
    cycles = turns / 2  # four-stroke: a cycle is two turns
    n = len(turns)
    firing = car.cylinders  # per cycle
    count = 48
    k = np.arange(1, count + 1)
    sizes = 10 ** (-rng.uniform(14, 26) / 20) * 10 ** (rng.normal(0, 5, count) / 20)
    whole = k % firing == 0
    sizes[whole] = 10 ** (-rng.uniform(0, 3, whole.sum()) / 20)
    if firing in (4, 6, 8):
        sizes[k == 2] *= rng.uniform(1, 3)  # first order of the crank: unbalance
    sizes *= (1 + k / firing / 1.2) ** -(1.0 if car.diesel else 1.3)
    groups = np.digitize(k, [firing * 1.5, firing * 4.5])
    load = course.throttle
    speed = course.engine * 60 / 2000
    total = np.zeros(n)
    # Cyclic variation (Heywood ch. 9: indicated mean pressure varies by a few per cent, far more at idle).
    per_cycle = int(cycles[-1]) + 3
    cov = rng.uniform(0.03, 0.1) * (1.6 if car.diesel else 1.0)
    for group in range(3):
        weights = np.where(groups == group, phasors(rng, sizes), 0)
        cyc = np.interp(cycles, np.arange(per_cycle), 1 + cov * (1 + group) * day.normal(0, 1, per_cycle))
        gain = (0.35 + load) * np.maximum(speed, 0.3) ** (0.3 + 0.5 * group)
        total += comb(cycles, weights) * cyc * course.audio(gain)
    # Combustion and valve gear noise: bursts of noise at each firing, a size of its own for each.
    events = np.arange(int(cycles[-1] * firing)) / firing
    even = day.lognormal(0, 0.35, len(events)) * np.take(
        rng.lognormal(0, 0.15, firing), np.arange(len(events)) % firing
    )
    knock = through(
        impulses(n, at_turns(cycles, events), even),
        ringing(rng, [rng.uniform(700, 1400), rng.uniform(1500, 2800)], 0.08),
    )
    knock *= course.audio(0.4 + load)
    total = to_level(total, 60.0) + to_level(
        knock + 1e-9 * day.standard_normal(n), 52.0 + (6 if car.diesel else -6) + rng.uniform(-3, 3)
    )
    return through(total, path(rng, car, {**AIR, 60.0: 2.0}))


def road_sound(rng: Rng, day: Rng, car: Vehicle, course: Course) -> Array:
    n = int(len(course.t) * FS / CONTROL)
    v = np.maximum(course.v, 1.5) / 27.8
    # Patches of surface, each with its own roughness.
    edges = np.cumsum(day.uniform(4, 25, 40))
    surface = np.clip(day.choice([0.0, 0.35, 1.0], p=[0.45, 0.3, 0.25]) + day.normal(0, 0.15, 41), 0, 1.3)
    if day.random() < 0.45:
        surface[:] = surface[0]
    rough = ndimage.gaussian_filter1d(surface[np.searchsorted(edges, course.t)], 0.15 * CONTROL)
    cavity = day.uniform(190, 235)
    low = shaped(
        day,
        n,
        {
            10.0: -8,
            25: 0,
            45: 4,
            90: 2,
            160: -1,
            cavity - 25: -4,
            cavity - 6: 3,
            cavity: 0,
            cavity + 8: 3,
            cavity + 30: -6,
            400: -13,
            700: -26,
            12000: -80,
        },
    )
    high = shaped(
        day,
        n,
        {
            10.0: -60,
            250: -14,
            450: -2,
            850: rng.uniform(-3, 3),
            1200: -4,
            1800: -11,
            3150: -21,
            6300: -32,
            12000: -45,
        },
    )
    wander = 1 + 0.12 * slow(day, course, 0.4)
    low = to_level(low, 58.0) * course.audio(
        10 ** (7 * (rough - 0.3) / 20) * v ** rng.uniform(1.2, 1.7) * wander
    )
    high = to_level(high, 60.0) * course.audio(10 ** (9 * (rough - 0.3) / 20) * v ** rng.uniform(1.6, 2.1))
    out = through(low + high, path(rng, car, {1.0: 0.0, 12000.0: 0.0}) * 0.7)
    # Joints and patches: front then rear axle.
    away = np.cumsum(course.v) / CONTROL
    spots = np.cumsum(day.exponential(day.choice([9, 60, 250]), 4000))
    spots = spots[spots < away[-1]]
    size = day.lognormal(0, 0.7, len(spots))
    for back in (0.0, car.wheelbase):
        where = np.interp(spots + back, away, np.arange(len(away))) * FS / CONTROL
        thump = np.exp(-np.arange(int(0.12 * FS)) / FS / 0.018) * np.sin(
            2 * np.pi * rng.uniform(35, 75) * np.arange(int(0.12 * FS)) / FS
        )
        out += through(impulses(n, where, size * 10 ** (day.uniform(72, 84) / 20) * P0), thump)
    return out * 10 ** (rng.uniform(-3, 4) / 20)


def wind_sound(rng: Rng, day: Rng, course: Course) -> Array:
    n = int(len(course.t) * FS / CONTROL)
    x = shaped(
        day,
        n,
        {
            10.0: 2,
            31: 0,
            63: -3,
            125: -8,
            250: -13,
            500: -18,
            1000: -22,
            2000: -28 + rng.uniform(-2, 4),
            4000: -36,
            12000: -56,
        },
    )
    headwind = day.normal(0, 2.0)
    air = np.maximum(course.v + headwind + 1.2 * slow(day, course, 0.7), 0.5)
    return to_level(x, rng.uniform(57, 65)) * course.audio((air / 27.8) ** rng.uniform(2.5, 3.0))


def tread_table(rng: Rng, pitches: int, kinds: int, spread: float) -> Array:
    """One turn of a tread with pitches of several lengths in a random order (Sandberg & Ejsmont ch. 10)."""
    lengths = np.linspace(1 - spread, 1 + spread, kinds)[rng.integers(0, kinds, pitches)]
    edges = np.concatenate([[0], np.cumsum(lengths)]) / lengths.sum()
    x = np.arange(8192) / 8192
    where = np.interp(x, edges, np.arange(pitches + 1))
    wave = np.cos(2 * np.pi * where) + 0.4 * np.cos(4 * np.pi * where + rng.uniform(0, 6))
    out: Array = wave * (1 + 0.1 * np.interp(where, np.arange(pitches + 1), rng.normal(0, 1, pitches + 1)))
    return out


def tyre_hum(rng: Rng, day: Rng, car: Vehicle, course: Course) -> Array:
    n = int(len(course.t) * FS / CONTROL)
    rugged = rng.random() < 0.2  # few large blocks: louder, lower, nearer to the orders of a ring gear
    pitches = int(rng.integers(34, 56) if rugged else rng.integers(56, 84))
    table = tread_table(rng, pitches, int(rng.choice([3, 4, 5])), rng.uniform(0.06, 0.22))
    table = np.append(table, table[0])
    out = np.zeros(n)
    for side in (course.left, course.right, course.left, course.right):
        turns = phase(course.audio(side * (1 + day.normal(0, 0.003)))) + day.random()
        out += np.interp((turns % 1.0) * 8192, np.arange(8193), table)
    out *= course.audio((np.maximum(course.v, 1) / 27.8) ** 1.5 * (1 + 0.1 * slow(day, course, 0.3)))
    return to_level(through(out, path(rng, car, AIR)), rng.uniform(46, 62) if rugged else rng.uniform(36, 54))


def rattles(rng: Rng, day: Rng, course: Course, road: Array) -> Array:
    n = len(road)
    if rng.random() < 0.4:
        return np.zeros(n)
    size = ndimage.maximum_filter1d(np.abs(road), 240)[::240]
    limit = np.quantile(size, rng.uniform(0.9, 0.995))
    at = np.flatnonzero(size > limit) * 240 + day.integers(0, 240, int((size > limit).sum()))
    x = impulses(n, at.astype(float), day.lognormal(0, 0.6, len(at)))
    return to_level(
        through(x, ringing(rng, list(rng.uniform(400, 4500, 3)), 0.05)) + 1e-12, rng.uniform(32, 50)
    )


# --- sounds of the cabin that are nobody's fault -------------------------------------------------------


def speech(rng: Rng, n: int, voice: float, share: float) -> Array:
    """A voice without words: syllables of voiced and hissing sounds with pauses."""
    rate, out = 12000, np.zeros(int(n * 12000 / FS) + 1)
    at = 0
    while at < len(out) - 4000:
        if rng.random() > share:
            at += int(rng.uniform(0.3, 2.5) * rate)
            continue
        for _ in range(rng.integers(3, 14)):
            m = int(rng.uniform(0.09, 0.26) * rate)
            if at + m >= len(out):
                break
            f0 = voice * np.exp(rng.normal(0, 0.12)) * np.linspace(1, rng.uniform(0.85, 1.1), m)
            formants = np.array([rng.uniform(280, 800), rng.uniform(900, 2200), rng.uniform(2300, 3000)])
            k = np.arange(1, int(4500 / voice) + 1)
            reply = (1 / (1 + ((k[:, None] * voice - formants) / 90) ** 2)).sum(1) * k**-0.4
            out[at : at + m] += (
                comb(np.cumsum(f0) / rate, phasors(rng, reply)) * np.hanning(m) ** 0.6 * rng.lognormal(0, 0.3)
            )
            at += m
            if rng.random() < 0.4:
                m = int(rng.uniform(0.04, 0.12) * rate)
                out[at : at + m] += (
                    0.25
                    * np.diff(rng.standard_normal(min(m, max(len(out) - at, 0)) + 1))
                    * np.hanning(min(m, max(len(out) - at, 0)))
                )
                at += m
        at += int(rng.uniform(0.15, 0.8) * rate)
    return signal.resample_poly(out, FS // rate, 1)[:n]


def music(rng: Rng, n: int) -> Array:
    """Chords, a tune, a bass and drums, equal temperament, nothing that is anybody's."""
    out = np.zeros(n + 4 * FS)
    beat = 60 / rng.uniform(75, 135)
    root = 220 * 2 ** (rng.integers(-6, 6) / 12)
    scale = np.array([0, 2, 4, 5, 7, 9, 11, 12])
    drums, vocal = rng.random() < 0.8, rng.random() < 0.6
    colours = [phasors(rng, 1 / np.arange(1, 8) ** rng.uniform(0.8, 2)) for _ in range(3)]

    def note(at: float, f: float, long: float, size: float, colour: Array) -> None:
        m, i = int(long * FS), int(at * FS)
        t = np.arange(m) / FS
        wave = comb(f * (t + 0.003 * vocal * np.sin(2 * np.pi * 5 * t) / 5), colour[: max(int(9000 / f), 1)])
        out[i : i + m] += size * wave * np.minimum(t / 0.01, 1) * np.exp(-t / long / 0.6)

    hit = np.exp(-np.arange(int(0.15 * FS)) / FS / 0.03)
    at = 0.0
    while at < n / FS:
        chord = rng.choice([0, 3, 4, 5])
        for b in range(4):
            for s in (0, 2, 4):
                note(at, root * 2 ** ((scale[(chord + s) % 7]) / 12), beat * 1.1, 0.4, colours[0])
            note(at, root / 2 * 2 ** (scale[chord % 7] / 12), beat, 0.8, colours[1])
            note(
                at + beat / 2 * rng.integers(0, 2),
                root * 2 * 2 ** (scale[rng.integers(0, 8)] / 12),
                beat * rng.choice([0.5, 1, 2]),
                0.6,
                colours[2],
            )
            if drums:
                i = int(at * FS)
                out[i : i + len(hit)] += hit * (
                    rng.standard_normal(len(hit))
                    if b % 2
                    else 3 * np.sin(2 * np.pi * 55 * np.arange(len(hit)) / FS)
                )
            at += beat
    return out[:n]


def fan_noise(rng: Rng, n: int) -> Array:
    """A blower on a step: blade tones at a fixed frequency, a motor line, broadband."""
    turns = rng.uniform(20, 55)
    t = np.arange(n) / FS
    hum = comb(turns * t + 0.02 * np.sin(2 * np.pi * 0.2 * t), phasors(rng, 0.2 * rng.random(40)))
    blades = int(rng.integers(25, 45))
    hum += rng.uniform(0.3, 1.5) * np.cos(2 * np.pi * turns * blades * t)
    air = shaped(rng, n, {20.0: 0, 200: 0, 600: -3, 2000: -12, 6000: -26, 12000: -40})
    return to_level(air, 52.0) + to_level(hum, rng.uniform(36, 48))


def other_tones(rng: Rng, day: Rng, car: Vehicle, course: Course) -> tuple[Array, list[str]]:
    """Tones of no source asked for, to lead astray: pump, turbocharger, body whistle, grooved concrete."""
    n = int(len(course.t) * FS / CONTROL)
    out, names = np.zeros(n), []
    if rng.random() < 0.15:
        names.append("pump")
        f = np.exp(rng.uniform(np.log(90), np.log(900))) * (1 + 0.002 * slow(day, course, 2.0))
        out += to_level(
            comb(phase(course.audio(f)), phasors(rng, np.array([1, 0.4, 0.2]))), rng.uniform(24, 42)
        )
    if rng.random() < (0.25 if car.diesel else 0.1):
        names.append("turbocharger")
        spool = ndimage.gaussian_filter1d(course.throttle, 0.4 * CONTROL)
        f = rng.uniform(2500, 5500) * (course.engine / 35) ** 0.6 * (0.5 + 0.7 * spool)
        wave = np.cos(2 * np.pi * phase(course.audio(np.minimum(f, 10000)))) * course.audio(spool**1.5 + 0.01)
        out += to_level(wave, rng.uniform(24, 42))
    if rng.random() < 0.06:
        names.append("body_whistle")
        f = rng.uniform(500, 3000) * (1 + 0.004 * slow(day, course, 0.4))
        blown = np.clip((course.v - rng.uniform(18, 28)) / 4, 0, 1) * np.exp(0.4 * slow(day, course, 0.7))
        out += to_level(
            np.cos(2 * np.pi * phase(course.audio(f))) * course.audio(blown) + 1e-9, rng.uniform(28, 44)
        )
    if day.random() < 0.08:
        names.append("grooved_road")
        groove = day.uniform(0.016, 0.05)  # m; the tone goes with road speed, at an order that is nobody's
        patch = ndimage.gaussian_filter1d((slow(day, course, 3.0) > -0.2).astype(float), 0.1 * CONTROL)
        uneven = 1 + 0.01 * slow(day, course, 0.1)
        wave = comb(phase(course.audio(course.v / groove * uneven)), phasors(day, np.array([1, 0.3])))
        out += to_level(wave * course.audio(patch * course.v / 25) + 1e-9, day.uniform(34, 54))
    return out, names


def cabin_extras(day: Rng, course: Course, kind: str) -> tuple[Array, list[str]]:
    n = int(len(course.t) * FS / CONTROL)
    out = np.zeros(n, dtype=np.float64)
    names = []

    def some(name: str, chance: float) -> bool:
        yes = kind == f"none_{name}" or day.random() < chance
        if yes:
            names.append(name)
        return bool(yes)

    if some("radio", 0.08):
        loud = day.uniform(45, 70) if kind == "none_radio" else day.uniform(38, 55)
        programme = music(day, n) if day.random() < 0.7 else speech(day, n, day.uniform(95, 210), 0.9)
        out += to_level(
            signal.sosfilt(signal.butter(2, [70, 9000], "bandpass", fs=FS, output="sos"), programme), loud
        )
    if some("speech", 0.15):
        loud = day.uniform(55, 74) if kind == "none_speech" else day.uniform(50, 66)
        out += to_level(speech(day, n, day.uniform(90, 230), day.uniform(0.25, 0.8)) + 1e-12, loud)
    if some("fan", 0.2):
        out += fan_noise(day, n) * 10 ** (day.uniform(-10, 4) / 20)
    if some("indicator", 0.15):
        first = day.uniform(0, course.t[-1] / 2)
        last = course.t[-1] if kind == "none_indicator" else first + day.uniform(4, 12)
        ticks = np.arange(first, min(last, course.t[-1] - 0.5), 1 / day.uniform(1.3, 1.6))
        where = np.concatenate([ticks, ticks + 0.3]) * FS
        size = np.concatenate([np.ones(len(ticks)), np.full(len(ticks), 0.7)])
        click = ringing(day, list(day.uniform(900, 4000, 3)), 0.06)
        out += through(impulses(n, where, size * 10 ** (day.uniform(58, 72) / 20) * P0), click)
    if some("traffic", 0.2):
        t = np.arange(n) / FS
        rush = shaped(day, n, {20.0: -10, 100: 0, 800: 0, 2000: -8, 12000: -40})
        for _ in range(day.integers(1, 6)):
            pass_by = 1 / (1 + ((t - day.uniform(0, t[-1])) / day.uniform(0.15, 1.0)) ** 2)
            out += rush / rush.std() * pass_by * 10 ** (day.uniform(54, 68) / 20) * P0
    if some("rain", 0.07):
        drops = np.bincount(day.integers(0, n, int(day.uniform(20, 300) * n / FS)), minlength=n).astype(float)
        out += to_level(
            through(drops * day.lognormal(0, 0.6, n), ringing(day, list(day.uniform(300, 3000, 4)), 0.1)),
            day.uniform(40, 55),
        )
        spray = shaped(day, n, {20.0: -30, 500: -10, 2000: 0, 6000: -3, 12000: -10})
        out += to_level(spray, day.uniform(44, 56)) * course.audio((course.v / 27.8) ** 2)
    return out, names


# --- sources complained of -----------------------------------------------------------------------------


@dataclass
class Track:
    """One order or frequency along the drive, to judge a stem by."""

    label: str
    order: float | None  # per wheel turn
    frequency: Array | None  # Hz at CONTROL; None: judged in bands


@dataclass
class Source:
    name: str
    stem: Array
    tracks: list[Track]
    orders: list[float]
    actual_orders: list[float]
    facts: dict[str, Any]
    wanted_db: float = 0.0


Maker = Callable[[Rng, Rng, Vehicle, Course, dict[str, Any]], Source]


def by_load(torque: Array, side: str, power: float, floor: float) -> Array:
    """Gain over torque: grows with its size on the side(s) where the gear sounds."""
    scale = np.where(torque > 0, torque / 0.08, -torque / 0.035)
    size = np.clip(np.abs(scale), 0, 2.5) ** power
    here = {
        "drive": 1 / (1 + np.exp(-torque / 0.004)),
        "coast": 1 / (1 + np.exp(torque / 0.004)),
        "both": 1.0,
    }[side]
    return floor + (1 - floor) * size * here


def make_mesh(rng: Rng, day: Rng, car: Vehicle, course: Course, want: dict[str, Any]) -> Source:
    side = want.get("side") or str(rng.choice(["drive", "coast", "both"]))
    ring = phase(course.audio(course.wheel))
    pinion = ring * car.ratio
    start = rng.random(2)
    harmonics = 10 ** (-np.array([0, rng.uniform(2, 20), rng.uniform(8, 28), rng.uniform(14, 34)]) / 20)
    if rng.random() < 0.12:
        harmonics[1] = 1.3  # now and then the second is the loudest
    am_pinion, am_ring = rng.uniform(0, 0.5) ** 1.5, rng.uniform(0, 0.4) ** 1.5
    fm_pinion, fm_ring = rng.uniform(0, 0.25), rng.uniform(0, 0.5)  # rad of mesh phase, runout
    gain = by_load(course.torque, side, rng.uniform(0.3, 0.8), rng.uniform(0.01, 0.08))
    gain *= np.maximum(course.v / 22, 0.05) ** rng.uniform(0.3, 1.2) * np.exp(0.1 * slow(day, course, 1.5))
    wobble = (
        (
            fm_pinion * np.sin(2 * np.pi * (pinion + start[0]))
            + fm_ring * np.sin(2 * np.pi * (ring + start[1]))
        )
        / 2
        / np.pi
    )
    wave = comb(car.ring_teeth * ring + wobble, phasors(rng, harmonics))
    wave = (
        wave
        * (1 + am_pinion * np.cos(2 * np.pi * pinion) + am_ring * np.cos(2 * np.pi * ring))
        * course.audio(gain)
    )
    orders = [float(car.ring_teeth * h) for h in (1, 2, 3, 4)]
    tracks = [Track(f"mesh ×{h}", o, o * course.wheel) for h, o in zip((1, 2, 3, 4), orders, strict=True)]
    facts = {
        "side": side,
        "sideband_am": {"pinion": am_pinion, "ring": am_ring},
        "sideband_fm": {"pinion": fm_pinion, "ring": fm_ring},
    }
    return Source("mesh", through(wave, path(rng, car, STRUCTURE)), tracks, orders, orders, facts)


def make_prop(rng: Rng, day: Rng, car: Vehicle, course: Course, want: dict[str, Any]) -> Source:
    turns = phase(course.audio(course.wheel * car.ratio))
    high = rng.random() < 0.35
    sizes = 10 ** (
        -np.array(
            [
                0,
                rng.uniform(8, 20),
                rng.uniform(12, 26),
                rng.uniform(14, 30),
                rng.uniform(18, 34),
                rng.uniform(20, 36),
            ]
        )
        / 20
    )
    if high:
        sizes[2:] *= rng.uniform(2, 5)
    gain = (course.v / 25) ** rng.uniform(1.6, 2.2) * np.exp(0.08 * slow(day, course, 1.0))
    wave = comb(turns, phasors(rng, sizes)) * course.audio(gain)
    orders = [car.ratio * k for k in range(1, 7)]
    tracks = [Track(f"propeller shaft ×{k}", o, o * course.wheel) for k, o in enumerate(orders[:4], 1)]
    return Source(
        "prop_imbalance",
        through(wave, path(rng, car, STRUCTURE)),
        tracks,
        orders,
        orders,
        {"high_orders": high},
    )


def make_joint(rng: Rng, day: Rng, car: Vehicle, course: Course, want: dict[str, Any]) -> Source:
    turns = phase(course.audio(course.wheel * car.ratio))
    gain = 0.25 + np.clip(np.abs(course.torque) / 0.08, 0, 2.5) ** rng.uniform(0.5, 1.0)
    gain *= np.maximum(course.v / 25, 0.05) ** rng.uniform(0.8, 1.6) * np.exp(0.08 * slow(day, course, 1.0))
    wave = comb(
        2 * turns, phasors(rng, 10 ** (-np.array([0, rng.uniform(8, 24), rng.uniform(16, 34)]) / 20))
    ) * course.audio(gain)
    orders = [2 * car.ratio, 4 * car.ratio, 6 * car.ratio]
    tracks = [Track(f"joint ×{2 * k}", o, o * course.wheel) for k, o in enumerate(orders, 1)]
    return Source("universal_joint", through(wave, path(rng, car, STRUCTURE)), tracks, orders, orders, {})


def make_tyre(rng: Rng, day: Rng, car: Vehicle, course: Course, want: dict[str, Any]) -> Source:
    """Cupping (scallops of unequal depth), a flat place, or feathered tread blocks on one tyre."""
    fault = str(rng.choice(["cupping", "flat", "feathering"]))
    wheel = (course.left if rng.random() < 0.5 else course.right) * (1 + rng.normal(0, 0.003))
    turns = phase(course.audio(wheel)) + rng.random()
    x = np.arange(8192) / 8192
    if fault == "cupping":
        cups = int(rng.integers(8, 22))
        edges = np.concatenate([[0], np.cumsum(rng.uniform(0.8, 1.2, cups))])
        where = np.interp(x, edges / edges[-1], np.arange(cups + 1))
        depth = rng.uniform(0.4, 1.2, cups)[np.minimum(where.astype(int), cups - 1)]
        table = depth * np.abs(np.sin(np.pi * where)) ** 3
    elif fault == "flat":
        table = sum(
            np.exp(-((((x - p + 0.5) % 1 - 0.5) / rng.uniform(0.006, 0.02)) ** 2))
            for p in rng.random(rng.integers(1, 3))
        )
    else:
        table = tread_table(
            rng, int(rng.integers(30, 72)), int(rng.choice([1, 3, 4])), rng.uniform(0.02, 0.14)
        )
    table = table - table.mean()
    carried = np.interp((turns % 1.0) * 8192, np.arange(8193), np.append(table, table[0]))
    growl = shaped(day, len(carried), {20.0: -10, 80: 0, 300: 0, 700: -6, 1500: -18, 12000: -60})
    growl /= growl.std()
    share = rng.uniform(0.1, 0.7) if fault != "feathering" else rng.uniform(0, 0.15)
    wave = carried / carried.std() + share * growl * np.maximum(carried / carried.std() + 0.5, 0)
    wave *= course.audio(
        (np.maximum(course.v, 1) / 25) ** rng.uniform(1, 1.8) * np.exp(0.08 * slow(day, course, 0.8))
    )
    lines = np.abs(np.fft.rfft(table))[1:160] * np.interp(
        np.arange(1, 160), [1, 4, 10, 160], [0.1, 0.5, 1, 1]
    )
    strong = [int(k) + 1 for k in np.argsort(lines)[::-1][:6] if lines[k] > 0.25 * lines.max()]
    tracks = [Track(f"tyre order {k}", float(k), k * wheel) for k in strong]
    orders = [float(k) for k in strong]
    rolled = path(rng, car, {1.0: -35.0, 25.0: -12.0, 60.0: 0.0, 1500.0: 0.0, 5000.0: -20.0, 12000.0: -40.0})
    return Source(
        "tyre",
        through(wave, rolled),
        [*tracks, Track("thump and growl", None, None)],
        orders,
        orders,
        {"fault": fault},
    )


def make_wheel(rng: Rng, day: Rng, car: Vehicle, course: Course, want: dict[str, Any]) -> Source:
    """Once a wheel turn; heard as low multiples (uneven stiffness, radius) and as a beat of the boom."""
    wheel = course.left if rng.random() < 0.5 else course.right
    turns = phase(course.audio(wheel)) + rng.random()
    hop = rng.uniform(11, 15)  # Hz, unsprung mass on the tyre
    f = wheel
    reply = 1 / np.sqrt((1 - (f / hop) ** 2) ** 2 + (2 * 0.15 * f / hop) ** 2)
    gain = (f / hop) ** 2 * reply * np.exp(0.08 * slow(day, course, 1.0))
    sizes = 10 ** (
        -np.array([0, rng.uniform(4, 14), rng.uniform(6, 18), rng.uniform(10, 24), rng.uniform(14, 28)]) / 20
    )
    wave = comb(turns, phasors(rng, sizes))
    boom = shaped(day, len(wave), {10.0: -20, 35: 0, 90: 0, 160: -12, 400: -40, 12000: -90})
    wave = wave + rng.uniform(0.02, 0.1) * boom / boom.std() * np.maximum(1 + np.cos(2 * np.pi * turns), 0)
    wave *= course.audio(gain)
    tilt = {1.0: -10.0, 8.0: 0.0, 60.0: 3.0, 300.0: 0.0, 12000.0: -50.0}
    orders = [1.0, 2.0, 3.0, 4.0]
    tracks = [Track(f"wheel ×{int(k)}", k, k * wheel) for k in orders]
    return Source(
        "wheel_imbalance", through(wave, path(rng, car, tilt)), tracks, orders, orders, {"wheel_hop_hz": hop}
    )


def bearing(name: str, place: str) -> Maker:
    def make(rng: Rng, day: Rng, car: Vehicle, course: Course, want: dict[str, Any]) -> Source:
        dims = car.bearings[place]
        race = str(rng.choice(["outer", "inner"]))
        slip = float(rng.uniform(0, 0.03))
        left = rng.random() < 0.5
        shaft = {
            "wheel": course.left if left else course.right,
            "pinion": course.wheel * car.ratio,
            "carrier": course.wheel,
        }[place]
        per_wheel = car.ratio if place == "pinion" else 1.0
        nominal, actual = race_orders(dims)[race], race_orders(dims, slip)[race]
        turns = phase(course.audio(shaft)) + rng.random()
        n = len(turns)
        events = (np.arange(int((turns[-1] - turns[0]) * actual)) + rng.random()) / actual + turns[0]
        jitter = rng.uniform(0.003, 0.015)  # of a spacing (Randall & Antoni: slip makes it random)
        events = events + day.normal(0, jitter / actual, len(events))
        size = day.lognormal(0, rng.uniform(0.15, 0.5), len(events))
        if race == "inner":  # the flaw passes through the load zone once a turn
            size *= np.maximum(np.cos(2 * np.pi * events) + rng.uniform(-0.1, 0.6), 0.03)
        else:
            size *= 1 + rng.uniform(0, 0.35) * np.cos(2 * np.pi * events * race_orders(dims, slip)["cage"])
        where = at_turns(turns, events)
        centres = list(np.exp(rng.uniform(np.log(450), np.log(4200), 2)))
        hits = through(impulses(n, where, size), ringing(rng, centres, rng.uniform(0.03, 0.1)))
        pulse = comb(
            turns * actual, phasors(rng, 10 ** (-np.array([0, 4, 9, 14, 18]) / 20 * rng.uniform(0.5, 2)))
        )
        # Spalling over a length: noise that swells with each roller.
        rough = shaped(day, n, {20.0: -25, 200: -4, 500: 0, 2500: 0, 5000: -12, 12000: -40})
        rough = rough / rough.std() * (1 + comb(turns * actual, phasors(rng, np.array([0.7, 0.2]))))
        growl, noise = rng.uniform(0.2, 1.4), rng.uniform(0.05, 0.8)
        wave = hits / hits.std() + growl * pulse / pulse.std() + noise * rough / rough.std()
        gain = np.maximum(course.v / 25, 0.05) ** rng.uniform(0.7, 1.5)
        if place == "wheel":  # more load in a turn the other way
            side = (
                (1 if left else -1) * course.turn * course.v**2 / G
            )  # > 0: turn towards this side, unloaded
            gain *= np.clip(1 - 2.2 * side, 0.15, 3)
        else:
            gain *= 0.5 + np.clip(np.abs(course.torque) / 0.08, 0, 2) ** 0.5
        wave *= course.audio(gain * np.exp(0.1 * slow(day, course, 1.0)))
        tilt = {1.0: -25.0, 40.0: -6.0, 150.0: 0.0, 3000.0: 0.0, 6000.0: -12.0, 12000.0: -30.0}
        k = np.arange(1, 5)
        tracks = [Track(f"{race} race ×{i}", actual * per_wheel * i, actual * shaft * i) for i in k]
        facts = {
            "race": race,
            "slip": slip,
            "resonances_hz": centres,
            "side": ("left" if left else "right") if place == "wheel" else None,
            "shaft_order": per_wheel,
            "order_of_shaft": nominal,
            "modulation_order": per_wheel if race == "inner" else None,
        }
        return Source(
            name,
            through(wave, path(rng, car, tilt)),
            [*tracks, Track("impacts", None, None)],
            [float(nominal * per_wheel * i) for i in k],
            [float(actual * per_wheel * i) for i in k],
            facts,
        )

    return make


def make_gearbox(rng: Rng, day: Rng, car: Vehicle, course: Course, want: dict[str, Any]) -> Source:
    """Whine of one gear of the gearbox, while that gear carries the torque."""
    used, counts = np.unique(course.gear[course.gear > 0], return_counts=True)
    able = [int(g) for g in used[np.argsort(counts)[::-1]] if car.gears[g - 1] != 1.0][:2] or [
        int(used[np.argmax(counts)])
    ]
    gear = int(rng.choice(able))
    teeth = int(rng.integers(19, 47))  # of the gear on the propeller shaft's side
    prop = course.wheel * car.ratio
    turns = phase(course.audio(prop)) * teeth
    on = ndimage.gaussian_filter1d((course.gear == gear).astype(float), 0.1 * CONTROL)
    side = str(rng.choice(["drive", "coast", "both"], p=[0.4, 0.2, 0.4]))
    gain = (
        on * by_load(course.torque, side, rng.uniform(0.3, 0.7), 0.1) * np.maximum(course.v / 25, 0.1) ** 0.7
    )
    wave = comb(turns, phasors(rng, 10 ** (-np.array([0, rng.uniform(3, 20), rng.uniform(8, 28)]) / 20)))
    wave = wave * (1 + rng.uniform(0, 0.3) * np.cos(2 * np.pi * turns / teeth)) * course.audio(gain)
    orders = [teeth * car.ratio * h for h in (1, 2, 3)]
    tracks = [Track(f"gear {gear} ×{h}", o, o * course.wheel) for h, o in zip((1, 2, 3), orders, strict=True)]
    return Source(
        "gearbox",
        through(wave, path(rng, car, STRUCTURE)),
        tracks,
        orders,
        orders,
        {"gear": gear, "side": side, "order_propshaft": teeth},
    )


def make_brake(rng: Rng, day: Rng, car: Vehicle, course: Course, want: dict[str, Any]) -> Source:
    wheel = course.left if rng.random() < 0.5 else course.right
    turns = phase(course.audio(wheel)) + rng.random()
    x = np.arange(4096) / 4096
    table = np.zeros(4096)
    for at, wide, size in zip(rng.random(3), rng.uniform(0.03, 0.2, 3), rng.uniform(0.2, 1, 3), strict=True):
        table += size * np.exp(-((((x - at + 0.5) % 1 - 0.5) / wide) ** 2))
    beat = np.interp((turns % 1.0) * 4096, np.arange(4097), np.append(table, table[0]))
    f = rng.uniform(700, 3500)
    hiss = shaped(day, len(turns), {20.0: -40, f / 2.5: -12, f * 0.9: 2, f * 1.1: 2, f * 2: -9, 12000: -40})
    gain = np.maximum(course.v / 20, 0.1) ** rng.uniform(0.1, 0.6) * (
        1 - rng.uniform(0.5, 1) * np.clip(course.brake * 8, 0, 1)
    )
    wave = hiss * (beat + rng.uniform(0, 0.3)) * course.audio(gain * np.exp(0.25 * slow(day, course, 1.5)))
    return Source(
        "brake",
        through(wave, path(rng, car, AIR)),
        [Track("rub", None, None)],
        [1.0, 2.0],
        [1.0, 2.0],
        {"centre_hz": f},
    )


def make_differential(rng: Rng, day: Rng, car: Vehicle, course: Course, want: dict[str, Any]) -> Source:
    """Side gears and pinion mates: a growl at side gear teeth times half the difference of the wheels."""
    teeth = int(rng.integers(14, 22))
    rate = np.abs(course.left - course.right) / 2
    turns = phase(course.audio(rate))
    events = np.arange(int(turns[-1] * teeth)) / teeth
    size = day.lognormal(0, 0.5, len(events)) * (1 + 0.5 * np.cos(2 * np.pi * events))
    n = len(turns)
    hits = through(
        impulses(n, at_turns(turns + 1e-9 * np.arange(n), events), size),
        ringing(rng, list(rng.uniform(180, 1100, 3)), 0.08),
    )
    scrape = shaped(day, n, {20.0: -30, 120: 0, 500: 0, 1500: -12, 12000: -50})
    on = np.clip((rate - 0.02) / 0.05, 0, 1)
    wave = (hits / max(hits.std(), 1e-12) + rng.uniform(0.2, 1) * scrape / scrape.std()) * course.audio(
        on * (0.4 + np.abs(course.torque) * 8)
    )
    facts = {"side_gear_teeth": teeth, "order_of_half_wheel_difference": teeth}
    return Source(
        "differential", through(wave, path(rng, car, AIR)), [Track("growl", None, None)], [], [], facts
    )


def make_boom(rng: Rng, day: Rng, car: Vehicle, course: Course, want: dict[str, Any]) -> Source:
    """A body resonance at a fixed frequency that any passing order excites: firing, propeller shaft, road."""
    firing = course.engine * car.cylinders / 2
    prop = course.wheel * car.ratio
    choices = {"firing": firing, "propeller shaft": prop, "propeller shaft ×2": 2 * prop}
    by = str(rng.choice(list(choices)))
    f0 = float(np.clip(np.quantile(choices[by], rng.uniform(0.2, 0.95)), 32, 190))
    zeta = rng.uniform(0.012, 0.04)
    push = rng.uniform(0.1, 0.35) * day.standard_normal(int(len(course.t) * FS / CONTROL)) * 4
    for name, f in choices.items():
        size = 1.0 if name == by else rng.uniform(0, 0.4)
        push += (
            size
            * np.cos(2 * np.pi * phase(course.audio(f)))
            * course.audio(0.3 + course.throttle if name == "firing" else np.ones(len(f)))
        )
    b, a = signal.iirpeak(f0, 1 / (2 * zeta), fs=FS)
    wave = signal.lfilter(b, a, push)
    return Source(
        "boom",
        wave,
        [Track("boom", None, np.full(len(course.t), f0))],
        [],
        [],
        {"frequency_hz": f0, "damping": zeta, "excited_by": by},
    )


def make_accessory(rng: Rng, day: Rng, car: Vehicle, course: Course, want: dict[str, Any]) -> Source:
    ratio = float(rng.uniform(1.1, 3.1))
    per = int(rng.choice([5, 6, 7, 9, 10, 12, 18, 36]))
    order = ratio * per
    turns = phase(course.audio(course.engine)) * order
    wave = comb(turns, phasors(rng, 10 ** (-np.array([0, rng.uniform(4, 20), rng.uniform(8, 26)]) / 20)))
    wave = wave * (1 + rng.uniform(0, 0.3) * np.cos(2 * np.pi * turns / per))
    wave *= course.audio(
        (course.engine / 35) ** rng.uniform(0.3, 1.2) * np.exp(0.12 * slow(day, course, 2.0))
    )
    tracks = [Track(f"accessory ×{h}", None, order * h * course.engine) for h in (1, 2, 3)]
    return Source(
        "accessory",
        through(wave, path(rng, car, AIR)),
        tracks,
        [],
        [],
        {"order_engine": order, "pulley_ratio": ratio},
    )


MAKERS: dict[str, Maker] = {
    "mesh": make_mesh,
    "prop_imbalance": make_prop,
    "universal_joint": make_joint,
    "tyre": make_tyre,
    "wheel_imbalance": make_wheel,
    "wheel_bearing": bearing("wheel_bearing", "wheel"),
    "pinion_bearing": bearing("pinion_bearing", "pinion"),
    "carrier_bearing": bearing("carrier_bearing", "carrier"),
    "gearbox": make_gearbox,
    "brake": make_brake,
    "differential": make_differential,
    "boom": make_boom,
    "accessory": make_accessory,
}


# --- prominence ----------------------------------------------------------------------------------------

LINE = 12_000  # samples in a spectrum: 0.5 s, lines 2 Hz apart
FRAMES = 11  # with half overlap: 3 s
BARK = np.array(
    [
        20,
        100,
        200,
        300,
        400,
        510,
        630,
        770,
        920,
        1080,
        1270,
        1480,
        1720,
        2000,
        2320,
        2700,
        3150,
        3700,
        4400,
        5300,
        6400,
        7700,
        9500,
    ]
)


def critical_band(f: Array) -> tuple[Array, Array]:
    """Edges in Hz of the critical band about `f` (ISO/TS 20065:2022)."""
    width = 25 + 75 * (1 + 1.4 * (f / 1000) ** 2) ** 0.69
    low = -width / 2 + np.sqrt(width**2 + 4 * f**2) / 2
    return low, low + width


def masking_index(f: Array) -> Array:
    """a_v in dB, below zero (ISO/TS 20065:2022)."""
    return -2 - np.log10(1 + (f / 502) ** 2.5)


def power_lines(x: Array, rate: int = FS, size: int = LINE) -> Array:
    """Running sums over lines of Hann power spectra, (frames, lines + 1); differences are band powers."""
    starts = range(0, len(x) - size + 1, size // 2)
    w = signal.windows.hann(size, sym=False).astype(np.float32)
    frames = np.stack([x[i : i + size] for i in starts]).astype(np.float32) * w
    p = np.abs(sfft.rfft(frames, axis=1)) ** 2 / (np.sum(w**2) * size) * 2
    return np.concatenate([np.zeros((len(p), 1)), np.cumsum(p, axis=1, dtype=np.float64)], axis=1)


def band_power(cum: Array, low: Array, high: Array, step: float = FS / LINE) -> Array:
    """Power between two frequencies in each frame, parts of lines counted in part."""
    top = cum.shape[1] - 1
    rows = np.arange(len(cum))

    def at(f: Array) -> Array:
        x = np.clip(f / step + 0.5, 0, top)
        i = np.minimum(x.astype(int), top - 1)
        return cum[rows, i] + (x - i) * (cum[rows, i + 1] - cum[rows, i])

    return np.maximum(at(high) - at(low), 0)


def _frames(course: Course, x: Array, count: int) -> Array:
    """A control curve at the middle of each spectrum."""
    return np.interp(
        (np.arange(count) * LINE / 2 + LINE / 2) / FS, course.t, ndimage.uniform_filter1d(x, CONTROL // 2)
    )


def _over(x: Array) -> Array:
    return np.convolve(x, np.ones(FRAMES), "valid") if len(x) >= FRAMES else np.array([x.sum()])


def _db(a: Array, b: Array) -> Array:
    return 10 * np.log10(np.maximum(a, 1e-30) / np.maximum(b, 1e-30))


@dataclass
class Judged:
    label: str
    order: float | None
    series: Array  # dB in each 3 s window, a window every 0.25 s
    line: Array | None
    frequency: Array  # Hz at each window's middle


def judge_tone(track: Track, stem: Array, masker: Array, course: Course) -> Judged:
    """`stem` and `masker` as running sums from `power_lines`."""
    assert track.frequency is not None
    f = np.maximum(_frames(course, track.frequency, len(stem)), 1.0)
    low, high = critical_band(f)
    tone, mask = band_power(stem, low, high), band_power(masker, low, high)
    here = (f < FS * 0.45).astype(float)
    series = _db(_over(tone * here * 10 ** (-masking_index(f) / 10)), _over(mask))
    line = _db(_over(band_power(stem, f - 3, f + 3) * here), _over(band_power(masker, f - 3, f + 3)))
    middle = _over(f) / FRAMES
    return Judged(track.label, track.order, series, line, middle)


def band_frames(x: Array) -> Array:
    """Power in each Bark band in frames of 21 ms, shape (frames, bands)."""
    cum = power_lines(x, size=512)
    edges = np.clip(np.round(BARK / (FS / 512)).astype(int), 0, 257)
    edges = np.maximum.accumulate(np.maximum(edges, np.arange(len(edges)) + 0))
    return np.diff(cum[:, edges], axis=1)


def judge_bands(track: Track, stem: Array, masker: Array, windows: int) -> Judged:
    per, hop = int(3 * FS / 256), LINE / 2 / 256
    series, best = np.zeros(windows), np.zeros(windows)
    for i in range(windows):
        s, m = stem[int(i * hop) : int(i * hop) + per], masker[int(i * hop) : int(i * hop) + per]
        ratio = _db(np.partition(s, int(0.9 * len(s)), axis=0)[int(0.9 * len(s))], m.mean(0))
        k = int(np.argmax(ratio))
        series[i], best[i] = ratio[k], np.sqrt(BARK[k] * BARK[k + 1])
    return Judged(track.label, track.order, series, None, best)


def judge(source: Source, masker: Array, course: Course) -> list[Judged]:
    cum, mask = power_lines(source.stem), power_lines(masker)
    windows = max(len(cum) - FRAMES + 1, 1)
    out = []
    for track in source.tracks:
        if track.frequency is not None:
            out.append(judge_tone(track, cum, mask, course))
        else:
            out.append(judge_bands(track, band_frames(source.stem), band_frames(masker), windows))
    return out


def load_windows(course: Course, windows: int) -> dict[str, Array]:
    """Windows of 3 s that are wholly under drive, under coast, in a turn."""
    count = windows + FRAMES - 1
    torque, turn = _frames(course, course.torque, count), np.abs(_frames(course, course.turn, count))
    return {
        name: _over(x.astype(float)) > FRAMES - 0.5
        for name, x in (("drive", torque > 0.008), ("coast", torque < -0.008), ("turns", turn > 0.02))
    }


def greatest(parts: list[Judged], where: Array | None = None) -> float | None:
    best = np.max([p.series for p in parts], axis=0)
    if where is not None:
        best = best[where]
    return float(best.max()) if best.size else None


def recorded_line(track: Track, samples: Array, rate: int, course: Course) -> float:
    """Line above its flanks in a recording, best 3 s: no stem is needed, only where the order was."""
    assert track.frequency is not None
    size = int(rate * 0.5) // 2 * 2
    cum = power_lines(samples, rate, size)
    step = rate / size
    at = (np.arange(len(cum)) * size / 2 + size / 2) / rate
    f = np.interp(at, course.t, ndimage.uniform_filter1d(track.frequency, CONTROL // 2))
    half = np.maximum(3.0, 0.012 * f)
    core = band_power(cum, f - half, f + half, step)
    flank = band_power(cum, f - 4 * half, f + 4 * half, step) - band_power(
        cum, f - 1.5 * half, f + 1.5 * half, step
    )
    flank = flank * 2 / 5
    ok = (f < rate * 0.45) & (f > 8)
    if ok.sum() < FRAMES:
        return float("-inf")
    got = _over((core - flank) * ok) / np.maximum(_over(flank * ok), 1e-30)
    return float(10 * np.log10(max(got.max(), 1e-3)))


# --- the phone -----------------------------------------------------------------------------------------

CODECS = (  # suffix, container, codec, rates, kbit/s, weight
    ("m4a", "ipod", "aac", (16000, 22050, 32000, 44100, 48000), (24, 32, 64, 96, 128, 192), 0.42),
    ("opus", "ogg", "libopus", (16000, 24000, 48000), (14, 20, 32, 64, 96), 0.18),
    ("mp3", "mp3", "libmp3lame", (16000, 22050, 44100, 48000), (32, 64, 128, 192), 0.13),
    ("wav", "wav", "pcm_s16le", (16000, 22050, 32000, 44100, 48000), (0,), 0.18),
    ("flac", "flac", "flac", (44100, 48000), (0,), 0.04),
    ("amr", "amr", "libopencore_amrnb", (8000,), (5, 7, 12), 0.05),
)


def encode(channels: Array, rate: int, suffix: str, container: str, codec: str, kbits: int) -> bytes:
    """`channels` of shape (channels, samples), full scale 1."""
    raw = io.BytesIO()
    layout = "mono" if len(channels) == 1 else "stereo"
    pcm = np.clip(np.round(channels * 32767), -32768, 32767).astype(np.int16)
    with av.open(raw, "w", format=container, options={"fflags": "+bitexact"}) as box:  # no serials, no dates
        stream = box.add_stream(codec, rate=rate, layout=layout)
        if kbits:
            stream.bit_rate = (
                {5: 5900, 7: 7950, 12: 12200}.get(kbits, kbits * 1000)
                if codec == "libopencore_amrnb"
                else kbits * 1000
            )
        for i in range(0, pcm.shape[1], 48000):
            part = np.ascontiguousarray(pcm[:, i : i + 48000].T).reshape(1, -1)
            frame = av.AudioFrame.from_ndarray(part, format="s16", layout=layout)
            frame.sample_rate, frame.pts = rate, i
            box.mux(stream.encode(frame))
        box.mux(stream.encode(None))
    return raw.getvalue()


def decode(data: bytes) -> tuple[Array, int]:
    """Mono samples as float32 and their rate."""
    parts = []
    with av.open(io.BytesIO(data)) as box:
        stream = box.streams.audio[0]
        rate = int(stream.codec_context.sample_rate)
        change = av.AudioResampler(format="fltp", layout=stream.codec_context.layout, rate=rate)
        for frame in box.decode(stream):
            parts += [f.to_ndarray() for f in change.resample(frame)]
    return np.concatenate(parts, axis=1).mean(axis=0).astype(np.float32), rate


def suppress(x: Array, rate: int, floor_db: float, over: float) -> Array:
    """Spectral subtraction (S. Boll, IEEE ASSP 27, 1979) over a floor of minima (R. Martin, 2001).

    What is steady sinks towards `floor_db`, tones of a steady drive too; single bins that peep out twitter.
    """
    size = 512 if rate >= 16000 else 256
    _, _, s = signal.stft(x, rate, nperseg=size)
    p = ndimage.uniform_filter1d(np.abs(s) ** 2, 5, axis=1)
    span = int(1.5 * rate / (size / 2))
    noise = ndimage.minimum_filter1d(p, span, axis=1, origin=span // 2 - 1) * 2.2
    gain = np.sqrt(np.maximum(1 - over * noise / np.maximum(np.abs(s) ** 2, 1e-20), 10 ** (floor_db / 10)))
    _, y = signal.istft(s * gain, rate, nperseg=size)
    return y[: len(x)]


def automatic_gain(
    x: Array, rate: int, target_db: float, attack: float, release: float, most: float
) -> Array:
    step = rate // 100
    n = len(x) // step
    level = 10 * np.log10(np.mean(x[: n * step].reshape(n, step) ** 2, axis=1) + 1e-12)
    gain, g = np.zeros(n), float(np.clip(target_db - np.median(level[:100]), -most, most))
    for i in range(n):
        error = float(np.clip(target_db - level[i], -most, most)) - g
        g += error * 0.01 / (attack if error < 0 else release)
        gain[i] = g
    return x * 10 ** (np.interp(np.arange(len(x)), np.arange(n) * step, gain) / 20)


def draw_phone(day: Rng) -> dict[str, Any]:
    which = day.choice(len(CODECS), p=[c[-1] for c in CODECS])
    suffix, container, codec, rates, kbits, _ = CODECS[which]
    rate, kbit = int(day.choice(rates)), int(day.choice(kbits))
    if codec == "libmp3lame" and rate < 32000:
        kbit = min(kbit, 64)
    if codec == "aac" and rate < 32000:
        kbit = min(kbit, 64)
    return {
        "suffix": suffix, "container": container, "codec": codec, "rate": rate, "kbit_s": kbit,
        "stereo": bool(suffix != "amr" and day.random() < 0.2),
        "low_cut_hz": float(np.exp(day.uniform(np.log(15), np.log(110)))),
        "floor_dba": float(day.uniform(24, 36)),
        "full_scale_db": float(day.uniform(98, 118)),
        "place_gain_db": float(day.normal(0, 5)),
        "agc": bool(day.random() < 0.35),
        "suppression_db": float(-day.uniform(5, 16)) if day.random() < 0.25 else None,
        "clips": bool(day.random() < 0.1),
        "wind_on_microphone": bool(day.random() < 0.12),
        "bumps": int(day.poisson(1.2)),
    }  # fmt: skip


def microphone(phone: dict[str, Any]) -> Callable[[Array], Array]:
    sos = signal.butter(2, phone["low_cut_hz"], "highpass", fs=FS, output="sos")
    return lambda x: signal.sosfilt(sos, x)


def on_the_phone(day: Rng, phone: dict[str, Any], course: Course) -> Array:
    """Sounds made at the phone itself: wind at the microphone, bumps, hiss."""
    n = int(len(course.t) * FS / CONTROL)
    out = to_level(shaped(day, n, {20.0: 3, 1000: 0, 12000: 3}), phone["floor_dba"])
    if phone["wind_on_microphone"]:
        gust = shaped(day, n, {5.0: 0, 30: -4, 100: -14, 300: -26, 1000: -42, 12000: -80})
        strong = np.maximum(0.3 + slow(day, course, 0.6) + 0.5 * slow(day, course, 4.0), 0)
        out += (
            gust
            / gust.std()
            * 10 ** (day.uniform(74, 96) / 20)
            * P0
            * course.audio(strong**2 * (course.v / 25) ** 2)
        )
    for _ in range(phone["bumps"]):
        at, long = int(day.uniform(0.02, 0.98) * n), int(day.uniform(0.05, 0.7) * FS)
        bump = shaped(
            day, long, {10.0: 5, 60: 0, 250: -8, 1000: -20, 4000: -30, 12000: -50}
        ) * signal.windows.tukey(long, 0.4)
        bump = bump * np.exp(-np.arange(long) / FS / day.uniform(0.02, 0.3))
        bump *= 10 ** (day.uniform(80, 102) / 20) * P0 / max(np.abs(bump).max(), 1e-12)
        out[at : at + long] += bump[: max(n - at, 0)]
    return out


def record(day: Rng, phone: dict[str, Any], mix: Array) -> tuple[bytes, Array, int]:
    """From pascals at the microphone (after its low cut) to a file and what is decoded from it."""
    rate = phone["rate"]
    x = mix * 10 ** (phone["place_gain_db"] / 20) / (P0 * 10 ** (phone["full_scale_db"] / 20) * np.sqrt(2))
    if phone["suppression_db"] is not None:
        x = suppress(x, FS, phone["suppression_db"], day.uniform(0.8, 1.6))
    if phone["agc"]:
        x = automatic_gain(
            x, FS, day.uniform(-28, -16), 10 ** day.uniform(-1, 0.2), 10 ** day.uniform(0, 1), 30.0
        )
    if phone["clips"]:
        x *= day.uniform(1.5, 4) / np.quantile(np.abs(x), 0.999)
    else:
        x *= min(1.0, 0.98 / max(np.quantile(np.abs(x), 0.9999), 1e-9))
    x = np.tanh(x * 0.9) / 0.9 if day.random() < 0.5 else np.clip(x, -1, 1)
    g = np.gcd(rate, FS)
    pad = [signal.resample_poly(x, rate // g, FS // g)]
    if phone["stereo"]:
        b = np.zeros(24)
        b[day.integers(0, 8)], b[day.integers(8, 24)] = day.uniform(0.7, 1), day.uniform(-0.3, 0.3)
        pad.append(signal.lfilter(b, 1, pad[0]) + 10 ** (-70 / 20) * day.standard_normal(len(pad[0])))
    data = encode(np.stack(pad), rate, phone["suffix"], phone["container"], phone["codec"], phone["kbit_s"])
    samples, got = decode(data)
    return data, samples, got


# --- what the user tells -------------------------------------------------------------------------------


def tell(day: Rng, car: Vehicle, course: Course, sources: list[Source]) -> dict[str, Any]:
    high = day.uniform(0, 0.06)
    forms = ["typed", "satellite", "none"] + (["cruise"] * 3 if course.held_kmh else [])
    form = str(day.choice(forms))
    seconds = course.t[-1]
    speed: dict[str, Any] = {"form": form}
    if form == "typed":
        times = np.sort(day.uniform(1, seconds - 1, int(day.integers(2, 9))))
        if course.style in (
            "run_up",
            "run_down",
            "hunt",
            "coast_neutral",
        ):  # at the ends and at round figures
            shown = course.v * 3.6 * (1 + high)
            crossings = [i for i in range(1, len(shown)) if int(shown[i] / 10) != int(shown[i - 1] / 10)]
            if len(crossings) > 2:
                times = course.t[
                    np.sort(
                        day.choice(crossings, min(len(crossings), int(day.integers(3, 9))), replace=False)
                    )
                ]
        late = day.uniform(0, 1.5) * day.uniform(0.5, 1, len(times))
        kmh = np.interp(times, course.t, course.v) * 3.6 * (1 + high)
        kmh = np.round(kmh / (step := day.choice([1, 1, 5]))) * step
        speed["marks"] = [
            {"time_s": round(float(min(a + b, seconds)), 2), "speed_kmh": float(c)}
            for a, b, c in zip(times, late, kmh, strict=True)
        ]
    elif form == "cruise":
        speed["speed_kmh"] = float(round(course.v.mean() * 3.6 * (1 + high)))
    elif form == "satellite":
        lag = day.uniform(0.5, 2.0)
        times = np.arange(day.uniform(0, 1), seconds, 1.0)
        raw = np.interp(times - lag, course.t, ndimage.gaussian_filter1d(course.v, 0.4 * CONTROL))
        kmh = raw * 3.6 + day.normal(0, day.uniform(0.2, 1.0), len(times))
        keep = np.ones(len(times), bool)
        if day.random() < 0.15:  # a tunnel or trees
            a = int(day.integers(0, max(len(times) - 8, 1)))
            keep[a : a + int(day.integers(3, 8))] = False
        speed["table"] = [
            [round(float(a), 2), round(float(b), 2)] for a, b in zip(times[keep], kmh[keep], strict=True)
        ]

    def maybe(chance: float, what: Any) -> Any:
        return what if day.random() < chance else None

    def known(place: str) -> dict[str, float] | None:
        full = dict(car.bearings[place])
        if day.random() < 0.35:
            return None
        return full if day.random() < 0.6 else {"rollers": full["rollers"]}

    return {
        "ring_teeth": car.ring_teeth,
        "pinion_teeth": car.pinion_teeth,
        "tyre_circumference_m": round(car.circumference * float(1 + day.uniform(-0.02, 0.02)), 3),
        "cylinders": maybe(0.7, car.cylinders),
        "diesel": car.diesel,
        "gear_ratios": maybe(0.5, list(car.gears)),
        "bearings": {place: known(place) for place in car.bearings},
        "joint": car.joint,
        "driving": course.style,
        "loads": maybe(0.4, _told_loads(day, course)),
        "speed": speed,
        "speedometer_high": round(float(high), 4) if day.random() < 0.1 else None,
    }


def _told_loads(day: Rng, course: Course) -> list[dict[str, Any]]:
    """When, says the driver, it was drive, coast in gear or neutral: up to 1.5 s late, from 2.5 s on."""
    name = np.where(course.gear == 0, "neutral", np.where(course.torque < -0.006, "coast", "drive"))
    edges = [0, *(np.flatnonzero(name[1:] != name[:-1]) + 1).tolist(), len(name)]
    late = day.uniform(0, 1.5)
    return [
        {
            "from_s": round(float(a / CONTROL + (late if a else 0)), 1),
            "to_s": round(float(min(b / CONTROL + late, course.t[-1])), 1),
            "load": str(name[a]),
        }
        for a, b in pairwise(edges)
        if b - a >= 2.5 * CONTROL
    ]


# --- drives --------------------------------------------------------------------------------------------


def _kind_sources(rng: Rng, kind: str) -> list[tuple[str, dict[str, Any]]]:
    if kind.startswith("none"):
        return []
    if kind.startswith("mesh_"):
        return [("mesh", {"side": kind[5:]})]
    if kind == "two":
        first = "mesh" if rng.random() < 0.5 else str(rng.choice(SOURCES[1:]))
        rest = [s for s in SOURCES if s not in (first, "differential")]
        return [(first, {}), (str(rng.choice(rest)), {})]
    return [(kind, {})]


def _style(day: Rng, sources: list[tuple[str, dict[str, Any]]]) -> str:
    names = [s for s, _ in sources]
    if "differential" in names:
        return "turns"
    side = next((w.get("side") for s, w in sources if s == "mesh"), None)
    if side == "coast":
        return str(day.choice(["run_down", "hunt", "run_up"], p=[0.45, 0.4, 0.15]))
    styles = ["steady", "run_up", "run_down", "coast_neutral", "hills", "hunt", "turns"]
    p = np.array([0.2, 0.2, 0.12, 0.1, 0.12, 0.22, 0.04])
    if "boom" in names:
        p[[0, 4, 6]] = 0
    return str(day.choice(styles, p=p / p.sum()))


def _simulate(car: Vehicle, kind: str, wanted: list[float] | None, car_seed: int, day_seed: int, stems: bool,
              fixed: list[float] | None = None, change_db: float = 0.0) -> Drive:  # fmt: skip
    """One day with a vehicle. `wanted` sets levels by prominence, `fixed` by gains at the source."""
    day = np.random.default_rng([day_seed, 2])
    names = _kind_sources(np.random.default_rng([car_seed, 3]), kind)
    style = _style(day, names)
    seconds = float(round(day.uniform(25, 90), 1))
    course = drive_course(day, car, style, seconds, in_gear=any(w.get("side") == "coast" for _, w in names))
    if any(s == "universal_joint" for s, _ in names):
        car.joint = True
    phone = draw_phone(day)
    mic = microphone(phone)

    def fresh(i: int) -> Rng:  # of the vehicle: the same on every day
        return np.random.default_rng([car_seed, 10 + i])

    road = road_sound(fresh(0), day, car, course)
    parts = {
        "road": road,
        "engine": engine_sound(fresh(1), day, car, course) * 10 ** (fresh(2).uniform(-14, 5) / 20),
        "wind": wind_sound(fresh(3), day, course),
        "tyres": tyre_hum(fresh(4), day, car, course),
        "rattles": rattles(fresh(5), day, course, road),
    }
    extras, extra_names = cabin_extras(day, course, kind)
    tones, tone_names = other_tones(fresh(6), day, car, course)
    parts["cabin"] = extras + tones
    parts = {k: mic(v) for k, v in parts.items()}
    parts["phone"] = on_the_phone(day, phone, course)
    ground = np.sum(list(parts.values()), axis=0)

    # What every sound vehicle has a little of: the mesh of a good axle, what is left of imbalance, a gear.
    faint, quiet = {}, fresh(7)
    for i, name in enumerate(HEALTHY):
        if quiet.random() < 0.4 and name not in [s for s, _ in names]:
            whisper = MAKERS[name](fresh(40 + i), day, car, course, {})
            stem, want_db = mic(whisper.stem), quiet.uniform(-20, -8)
            whisper.stem = stem
            now = greatest(judge(whisper, ground, course)) or 0.0
            parts[f"faint {name}"] = stem * 10 ** ((want_db - now) / 20)
            faint[name] = float(want_db)
    ground = np.sum(list(parts.values()), axis=0)

    sources, gains = [], []
    below = ground.copy()
    draw = np.random.default_rng([day_seed, 4])
    for i, (name, want) in enumerate(names):
        source = MAKERS[name](fresh(20 + i), day, car, course, want)
        source.stem = mic(source.stem)
        source.wanted_db = wanted[i] if wanted else float(draw.uniform(-6, 18))
        if fixed is None:
            now = greatest(judge(source, below, course))
            gain = 10 ** ((source.wanted_db - (now if now is not None else 0.0)) / 20)
        else:
            gain = fixed[i] * 10 ** (change_db / 20 if name == "mesh" else 0)
        gains.append(gain)
        source.stem = source.stem * gain
        below = below + source.stem
        sources.append(source)
    mix = below
    data, samples, rate = record(day, phone, mix)

    told = tell(day, car, course, sources)
    facts = []
    for source in sources:
        judged = judge(source, mix - source.stem, course)
        facts.append(_facts(source, judged, course, samples, rate))
    truth = {
        "kind": kind, "sources": facts, "audible": [f["name"] for f in facts if f["audible"]],
        "axle_ratio": car.ratio, "circumference_m": car.circumference, "cylinders": car.cylinders,
        "automatic": car.automatic, "gear_ratios": list(car.gears), "bearings": car.bearings, "style": style,
        "seconds": seconds, "phone": phone, "extras": extra_names + tone_names, "faint": faint,
        "levels_dba": {k: round(level_a(v), 1) for k, v in parts.items()},
        "trace": {
            "time_s": course.t[::10].round(2).tolist(),
            "wheel_rev_s": course.wheel[::10].round(4).tolist(),
            "speed_kmh": (course.v[::10] * 3.6).round(3).tolist(),
            "engine_rev_min": (course.engine[::10] * 60).round(1).tolist(),
            "gear": course.gear[::10].tolist(),
            "torque_share": course.torque[::10].round(4).tolist(),
            "turn_1_m": course.turn[::10].round(4).tolist(),
        },
        "gains": gains,
    }  # fmt: skip
    kept = {**parts, **{f"source {s.name}": s.stem for s in sources}, "mix": mix} if stems else {}
    return Drive(samples, rate, data, phone["suffix"], told, truth, kept)


def _facts(source: Source, judged: list[Judged], course: Course, samples: Array, rate: int) -> dict[str, Any]:
    here = load_windows(course, len(judged[0].series))
    whole = greatest(judged)
    drive, coast, turns = (greatest(judged, here[k]) for k in ("drive", "coast", "turns"))
    heard = [name for name, x in (("drive", drive), ("coast", coast)) if x is not None and x > 0]
    when = (
        "never"
        if whole is None or whole <= 0
        else "both"
        if len(heard) == 2
        else heard[0]
        if heard
        else "between"
    )
    if source.name == "differential" and when != "never":
        when = "turns"
    best = np.max([j.series for j in judged], axis=0)
    components = []
    for j in judged:
        i = int(np.argmax(j.series))
        components.append(
            {
                "label": j.label,
                "order": j.order,
                "prominence_db": float(j.series[i]),
                "best_time_s": i * 0.25 + 1.5,
                "frequency_hz": float(j.frequency[i]),
            }
        )
    lines = [float(j.line.max()) for j in judged if j.line is not None]
    tracks = [t for t in source.tracks if t.frequency is not None]
    loudest = max(
        tracks,
        key=lambda t: next(c["prominence_db"] for c in components if c["label"] == t.label),
        default=None,
    )
    return {
        "name": source.name, "orders": source.orders, "actual_orders": source.actual_orders,
        "wanted_db": source.wanted_db,
        "prominence_db": whole, "prominence_drive_db": drive,
        "prominence_coast_db": coast, "prominence_turns_db": turns,
        "audible": bool(whole is not None and whole > 0),
        "audible_share": float((best > 0).mean()), "when": when,
        "components": components, "line_db": max(lines) if lines else None,
        "recorded_line_db": recorded_line(loudest, samples, rate, course) if loudest else None,
        "level_db": float(10 * np.log10(np.mean(source.stem**2) / P0**2 + 1e-12)), **source.facts,
    }  # fmt: skip


def make_drive(seed: int, kind: str | None = None, *, stems: bool = False) -> Drive:
    """The drive of that number; the same number gives the same drive. Kinds take turns if none is named."""
    kind = kind or KINDS[seed % len(KINDS)]
    if kind not in KINDS:
        raise ValueError(f"no kind {kind!r}; there are {', '.join(KINDS)}")
    number = seed * 100 + KINDS.index(kind)
    car = draw_vehicle(np.random.default_rng([number, 0]), number)
    return _simulate(car, kind, None, number, number, stems)


def make_pair(seed: int, *, stems: bool = False) -> Pair:
    """The same vehicle on two days: another road, drive and phone placement; the mesh changed or not."""
    draw = np.random.default_rng([seed, 7])
    kind = str(draw.choice(["mesh_drive", "mesh_coast", "mesh_both", "two"], p=[0.4, 0.2, 0.3, 0.1]))
    number = seed * 100 + 99
    while kind == "two" and not any(
        s == "mesh" for s, _ in _kind_sources(np.random.default_rng([number, 3]), kind)
    ):
        kind = "mesh_both"
    change = (
        0.0
        if draw.random() < 0.25
        else float(draw.uniform(-20, -2) if draw.random() < 0.75 else draw.uniform(2, 10))
    )
    levels = [float(draw.uniform(2, 18)), float(draw.uniform(-3, 12))]

    def car() -> Vehicle:
        return draw_vehicle(np.random.default_rng([number, 0]), number)

    first = _simulate(car(), kind, levels, number, number * 2, stems)
    second = _simulate(
        car(), kind, None, number, number * 2 + 1, stems, fixed=first.truth["gains"], change_db=change
    )
    return Pair(first, second, {"mesh_change_db": change, "kind": kind})


def save(drive: Drive, folder: Path, name: str) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / f"{name}.{drive.suffix}").write_bytes(drive.encoded)
    (folder / f"{name}.json").write_text(json.dumps({"told": drive.told, "truth": drive.truth}, indent=1))


def check() -> None:
    """Own checks: orders where they belong, prominence as in the mix, files that play back. Asserts."""
    for kind in ("mesh_drive", "prop_imbalance", "universal_joint", "gearbox", "accessory"):
        drive = make_drive(3, kind, stems=True)
        source = drive.truth["sources"][0]
        best = max(source["components"], key=lambda c: c["prominence_db"])
        found = strongest_line(drive.stems[f"source {source['name']}"], best)
        assert abs(found / best["frequency_hz"] - 1) < 0.04, (kind, found, best)
        print(f"{kind}: line at {found:.1f} Hz, {best['label']} expected about {best['frequency_hz']:.1f} Hz")
        again = make_drive(3, kind)
        assert np.array_equal(again.samples, drive.samples)
        assert abs(len(drive.samples) / drive.rate - drive.truth["seconds"]) < 0.25


def strongest_line(stem: Array, component: dict[str, Any]) -> float:
    """Strongest line in Hz within a fifth about a component's frequency, in the 1 s about its best moment."""
    middle = int(component["best_time_s"] * FS)
    part = stem[max(middle - FS // 2, 0) :][:FS]
    p = np.abs(np.fft.rfft(part * np.hanning(len(part)), 8 * FS))
    f = np.fft.rfftfreq(8 * FS, 1 / FS)
    near = np.abs(f / component["frequency_hz"] - 1) < 0.2
    return float(f[near][np.argmax(p[near])])


def main() -> None:
    ask = argparse.ArgumentParser(description="Drives to find a noise, drawn at random")
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--count", type=int, default=1)
    ask.add_argument("--kind", choices=KINDS)
    ask.add_argument("--pairs", action="store_true")
    ask.add_argument("--check", action="store_true")
    ask.add_argument("--out", type=Path, default=Path("drives"))
    given = ask.parse_args()
    if given.check:
        check()
        return
    for seed in range(given.seed, given.seed + given.count):
        if given.pairs:
            pair = make_pair(seed)
            save(pair.before, given.out, f"pair{seed:05d}-before")
            save(pair.after, given.out, f"pair{seed:05d}-after")
            (given.out / f"pair{seed:05d}.json").write_text(json.dumps(pair.truth))
            print(seed, pair.truth)
            continue
        drive = make_drive(seed, given.kind)
        save(drive, given.out, f"drive{seed:05d}")
        heard = ", ".join(
            f"{s['name']} {s['prominence_db']:+.1f} dB {s['when']}" for s in drive.truth["sources"]
        )
        print(
            f"{seed} {drive.truth['kind']}: {heard or 'nothing'}; "
            f"{drive.truth['style']}, {drive.suffix} {drive.rate} Hz"
        )


if __name__ == "__main__":
    main()
