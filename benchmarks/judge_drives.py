"""What a phone records in a vehicle's cabin on a drive made to find a noise: a judge nobody tunes on.

Every drive is built from its causes: a vehicle that accelerates, shifts and coasts; sources forced by the
shafts that turn; a path of their own into a cabin with its modes; the noise that masks them; the phone that
records them. The truth returned with a drive says which sources were in it and how far each stood above its
masking.

Where the models come from
    * Tone against its critical band: ISO/TS 20065 (critical bandwidth, corner frequencies, masking index)
      and ECMA-418-1. Modulation against the masker's own modulation, in modulation bands of Q = 1: Dau,
      Kollmeier and Kohlrausch 1997; Jørgensen and Dau 2011.
    * Impacts of rolling bearings, their random slip and the cage running late: Randall and Antoni 2011;
      McFadden and Smith 1984.
    * Tyre and road, speed exponents, pitch sequences, the hump near 1 kHz: Sandberg and Ejsmont 2002;
      cavity mode: Sakata, Morimura and Ide 1990. Cabin modes of a box with rigid walls: Kuttruff, Room
      Acoustics.
    * Hooke's joint, twice a turn, couple T tan β: Seherr-Thoss, Schmelz and Aucktor, Universal Joints and
      Driveshafts, 2006.
    * Gear pair with runout as amplitude and phase modulation: McFadden 1986; Mark 1978.
    * Speedometer reads high by up to a tenth of the speed and 4 km/h, never low: UN Regulation 39.
    * Levels, spreads of vehicles, drivers and phones: common practice, no source.

Figures of prominence (``prominence_db``)
    * ``tone``: power of the source's own stem in the band about each of its lines, against the power of
      every other stem there, both averaged over 3 s; minus the masking index. The best line in the best 3 s
      of the drive. The band is the critical band of ISO/TS 20065, but never wider than the line's own
      frequency (below 100 Hz the standard's band would put the whole rumble against a shake that is felt as
      one).
    * ``modulation``: in octave bands, the squared envelope of the stem in the modulation band about its
      rate against that of every other stem; 10 lg of the ratio of envelope amplitudes, so that 1 dB of
      sound is 1 dB.
    Stems are taken at the microphone, before gain control, suppression and coding. A bearing is given the
    better of the two.

Run ``python benchmarks/judge_drives.py --check``, or ``--seed 0 --count 16 --out DIR``.
"""

from __future__ import annotations

import argparse
import io
import json
import math
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import av
import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal

Array = NDArray[np.floating[Any]]

RATE = 24_000
"""Samples per second of the cabin; the phone's own rate comes after it."""
SLOW = 2_400
"""Samples per second of stems that hold nothing above 1 kHz, and of the fine look at low lines."""
TICK = 100
"""Steps per second of the vehicle's motion."""
GRAVITY = 9.81
SOUND_SPEED = 343.0
PASCAL = 2e-5
BEST_S = 3.0
COMPLAINT_DB = 3.0

NAMES = (
    "mesh",
    "propshaft",
    "joint",
    "tread",
    "wheel imbalance",
    "wheel bearing",
    "pinion bearing",
    "carrier bearing",
    "gearbox",
    "engine",
    "brake",
    "differential",
    "resonance",
    "accessory",
)
FAULTS = ("mesh", "propshaft", "joint", "tread", "wheel imbalance", "wheel bearing", "pinion bearing",
          "carrier bearing", "gearbox", "brake", "differential", "resonance")  # fmt: skip
KINDS: tuple[str | None, ...] = (*FAULTS[:3], None, *FAULTS[3:6], None, *FAULTS[6:9], None, *FAULTS[9:], None)
"""What the drive of a seed complains of, seed by seed; one vehicle in four is innocent."""
ORACLE_NAMES = ("mesh", "propshaft", "joint", "tread", "wheel imbalance")

Rng = np.random.Generator


@dataclass
class Drive:
    """One recording, what the user tells of it, and what was really in it."""

    encoded: bytes
    suffix: str
    told: dict[str, Any]
    truth: dict[str, Any]


@dataclass
class Pair:
    """Two recordings of one vehicle; its mesh changed by ``mesh_change_db`` in between."""

    before: Drive
    after: Drive
    mesh_change_db: float


# --- the vehicle --------------------------------------------------------------------------------------------


@dataclass
class Bearing:
    name: str
    rollers: int
    roller_diameter_mm: float
    pitch_diameter_mm: float
    contact_angle_deg: float

    def rates(self) -> dict[str, float]:
        """Return cage, outer, inner and roller rates per turn of the shaft, without slip."""
        g = self.roller_diameter_mm / self.pitch_diameter_mm * math.cos(math.radians(self.contact_angle_deg))
        return {
            "cage": (1 - g) / 2,
            "outer": self.rollers * (1 - g) / 2,
            "inner": self.rollers * (1 + g) / 2,
            "roller": self.pitch_diameter_mm / self.roller_diameter_mm * (1 - g * g) / 2,
        }


@dataclass
class Vehicle:
    mass_kg: float
    power_w: float
    drag_area_m2: float
    circumference_m: float
    track_m: float
    wheelbase_m: float
    ring_teeth: int
    pinion_teeth: int
    gears: list[float]
    automatic: bool
    cylinders: int
    idle_rev_s: float
    joint_present: bool
    pitches: int
    bearings: dict[str, Bearing]
    wheel_ratio: Array
    cabin: tuple[Array, Array]
    character: int
    """Seed of everything about this vehicle that is drawn further on: tables, paths, gains."""

    @property
    def ratio(self) -> float:
        return self.ring_teeth / self.pinion_teeth


GEARBOXES: tuple[tuple[bool, tuple[float, ...]], ...] = (
    (False, (3.6, 2.05, 1.36, 1.0, 0.80)),
    (False, (4.0, 2.3, 1.5, 1.15, 1.0, 0.83)),
    (False, (3.9, 2.2, 1.45, 1.0)),
    (True, (2.8, 1.55, 1.0, 0.70)),
    (True, (4.15, 2.35, 1.52, 1.15, 0.86, 0.68)),
    (True, (4.7, 3.13, 2.1, 1.67, 1.28, 1.0, 0.84, 0.67)),
)


def draw_vehicle(rng: Rng) -> Vehicle:
    """Return a rear-driven vehicle with a hypoid axle; all spreads: common practice, no source."""
    pinion = int(rng.integers(8, 16))
    ring = round(pinion * rng.uniform(2.9, 4.6))
    while math.gcd(ring, pinion) > 1:
        ring += 1
    automatic, gears = GEARBOXES[rng.integers(len(GEARBOXES))]
    heavy = rng.random()
    length, width, height = rng.uniform(2.0, 3.4), rng.uniform(1.3, 1.55), rng.uniform(1.1, 1.35)
    modes = sorted(
        (SOUND_SPEED / 2 * math.hypot(a / length, b / width, c / height), float(rng.uniform(0.02, 0.07)))
        for a in range(7) for b in range(4) for c in range(4) if a + b + c
    )[:40]  # fmt: skip
    rear = rng.normal(0, 0.0015)
    return Vehicle(
        mass_kg=1250 + 1500 * heavy,
        power_w=(70 + 130 * heavy + rng.uniform(0, 60)) * 1e3,
        drag_area_m2=0.6 + 0.6 * heavy,
        circumference_m=rng.uniform(1.80, 2.15) + 0.25 * heavy,
        track_m=rng.uniform(1.4, 1.65),
        wheelbase_m=rng.uniform(2.4, 3.3),
        ring_teeth=ring,
        pinion_teeth=pinion,
        gears=[round(g * rng.uniform(0.96, 1.04), 3) if g != 1 else 1.0 for g in gears],
        automatic=automatic,
        cylinders=int(rng.choice([3, 4, 4, 4, 5, 6, 6, 8])),
        idle_rev_s=rng.uniform(10.5, 14.5),
        joint_present=bool(rng.random() < 0.8),
        pitches=int(rng.integers(54, 86)),
        bearings={
            "wheel bearing": Bearing("wheel bearing", int(rng.integers(11, 20)), *_section(rng, 60), 0.0),
            "pinion bearing": Bearing("pinion bearing", int(rng.integers(12, 19)), *_section(rng, 52), 0.0),
            "carrier bearing": Bearing("carrier bearing", int(rng.integers(16, 24)), *_section(rng, 72), 0.0),
        },
        wheel_ratio=1 + np.array([rear, -rear, rng.normal(0, 0.003), rng.normal(0, 0.003)]),
        cabin=(np.array([m[0] for m in modes]), np.array([m[1] for m in modes])),
        character=int(rng.integers(2**31)),
    )


def _section(rng: Rng, pitch_mm: float) -> tuple[float, float]:
    pitch = pitch_mm * rng.uniform(0.85, 1.2)
    return round(pitch * rng.uniform(0.13, 0.20), 2), round(pitch, 1)


# --- its motion ---------------------------------------------------------------------------------------------


@dataclass
class Leg:
    """One thing the driver does: until its speed is reached, or its time is up."""

    mode: str
    speed: float = 0.0
    acceleration: float = 0.0
    seconds: float = 99.0
    curvature: float = 0.0


@dataclass
class Motion:
    """The drive at ``TICK``: speed, force at the tread, gear (-1 in neutral), turns per second, turning."""

    time: Array
    speed: Array
    force: Array
    gear: NDArray[np.int64]
    wheel: Array
    engine: Array
    engine_load: Array
    curvature: Array
    brake: Array

    @property
    def seconds(self) -> float:
        return len(self.time) / TICK


def draw_legs(rng: Rng, plan: str, top: float) -> tuple[float, list[Leg]]:
    """Return the speed at the start and what the driver means to do."""
    u = rng.uniform
    if plan == "held":
        return top, [Leg("hold", top)]
    if plan == "turns":
        slow, legs = u(4, 7.5), [Leg("hold", u(5, 9), seconds=3)]
        for _ in range(2):
            legs += [Leg("turn", slow, seconds=u(6, 10), curvature=rng.choice([-1, 1]) / u(6, 13)),
                     Leg("to", u(11, 16), u(1.0, 2.0)), Leg("hold", u(10, 15), seconds=u(2, 5)),
                     Leg("brake", slow, 1.5)]  # fmt: skip
        return slow, [*legs, Leg("turn", slow, seconds=u(6, 9), curvature=rng.choice([-1, 1]) / u(6, 13)),
                      Leg("to", 14, 1.5), Leg("hold", 14)]  # fmt: skip
    if plan == "steps":
        steps = sorted(top * u(0.5, 1.0, 3))
        legs = [leg for s in steps for leg in (Leg("to", s, u(0.6, 1.4)), Leg("hold", s, seconds=u(7, 12)))]
        return steps[0] * 0.9, [*legs, Leg("coast", steps[0] * 0.6, seconds=u(8, 16)),
                                Leg("neutral", 6, seconds=u(4, 8)), Leg("hold", steps[0])]  # fmt: skip
    start = u(1, 4) if rng.random() < 0.5 else top * u(0.3, 0.6)
    first = [Leg("idle", seconds=u(2, 4))] if start < 4 and rng.random() < 0.6 else []
    return (0.0 if first else start), [
        *first, Leg("to", top, u(0.9, 1.9)), Leg("hold", top, seconds=u(3, 8)),
        Leg("coast", top * u(0.5, 0.75), seconds=u(8, 20)), Leg("to", top * u(0.8, 0.95), u(0.8, 1.6)),
        *([Leg("neutral", top * 0.6, seconds=u(5, 9))] if rng.random() < 0.6 else []),
        Leg("hold", top * u(0.7, 0.9), seconds=u(3, 6)), Leg("coast", top * 0.4, seconds=u(10, 20)),
        Leg("brake", 5, u(0.8, 2)), Leg("hold", 8),
    ]  # fmt: skip


def move(
    vehicle: Vehicle, rng: Rng, start: float, legs: Sequence[Leg], seconds: float, downhill: bool
) -> Motion:
    """Drive the vehicle: longitudinal dynamics, a foot, a shift schedule, a converter or clutch."""
    n = int(seconds * TICK)
    t = np.arange(n) / TICK
    slope = sum(
        rng.uniform(0, 0.012) * np.sin(2 * np.pi * t / rng.uniform(15, 70) + rng.uniform(0, 6))
        for _ in range(3)
    )
    slope = slope * 0.3 - 0.04 if downhill else slope
    unrest = signal.lfilter([1], [1, -0.985], rng.standard_normal(n)) * 0.016
    eager = rng.uniform(24, 40)
    ratio, circumference, mass = vehicle.ratio, vehicle.circumference_m, vehicle.mass_kg
    top_gear = len(vehicle.gears) - (1 if len(vehicle.gears) > 5 and rng.random() < 0.3 else 0)
    gear = next((g for g in range(top_gear - 1, -1, -1)
                 if start / circumference * ratio * vehicle.gears[g] > 23), 0)  # fmt: skip
    engine = max(vehicle.idle_rev_s, start / circumference * ratio * vehicle.gears[gear])
    speed, force, leg_start, since_shift, k, steady = start, 0.0, 0, 99.0, 0, 0.0
    out: dict[str, list[float]] = {key: [] for key in ("v", "f", "g", "w", "n", "l", "k", "b")}
    for i in range(n):
        leg = legs[min(k, len(legs) - 1)]
        age = (i - leg_start) / TICK
        over = age > leg.seconds or (leg.mode == "to" and speed >= leg.speed) \
            or (leg.mode in ("coast", "neutral", "brake") and speed <= leg.speed)  # fmt: skip
        if over and k < len(legs) - 1:
            k, leg_start, leg, age, steady = k + 1, i, legs[k + 1], 0.0, 0.0
        resist = (
            mass * GRAVITY * ((0.011 if speed > 0.1 else 0.0) + slope[i])
            + 0.6 * vehicle.drag_area_m2 * speed**2
        )
        brake, free = 0.0, leg.mode in ("idle", "neutral")
        if leg.mode in ("hold", "turn", "to"):
            error = leg.speed - speed
            steady = min(max(steady + 0.05 * error / TICK, -0.3), 0.3)
            wish = min(0.45 * error + steady, 1.5) if leg.mode != "to" else leg.acceleration
            demand = mass * (max(wish, -0.9) + 0.6 * unrest[i]) + resist
        else:
            demand = -99e9
            brake = mass * leg.acceleration if leg.mode == "brake" else (2e3 if leg.mode == "idle" else 0.0)
        since_shift += 1 / TICK
        wheel = speed / circumference * (1 + 0.008 * force / mass)
        shaft = wheel * ratio
        revs = shaft * vehicle.gears[gear]
        drag = mass * 0.16 * vehicle.gears[gear] * (0.5 + engine / 60)
        ceiling = min(vehicle.power_w * min(engine / 70, 1) / max(speed, 2), mass * 3.5)
        if leg.mode in ("hold", "turn"):
            brake = max(0.0, -drag - demand)  # downhill, what the engine does not hold the brakes do
        shifting = since_shift < (0.35 if vehicle.automatic else 0.55)
        wish_force = 0.0 if free else max(-drag, min(demand, ceiling)) * (
            (0.5 if vehicle.automatic else 0.0) if shifting else 1.0)  # fmt: skip
        force += (wish_force - force) / TICK / 0.18
        load = min(max(force * speed / (vehicle.power_w * max(engine / 80, 0.12)), -0.3), 1.0)
        if not free and since_shift > 1.6:
            up = eager + 32 * max(load, 0)
            if revs > up and gear < top_gear - 1 and leg.mode in ("to", "hold"):
                gear, since_shift = gear + 1, 0.0
            elif gear and (revs < 17 + 14 * max(load, 0) or (load > 0.85 and revs < 32)):
                gear, since_shift = gear - 1, 0.0
        slip = 0.0
        if vehicle.automatic:
            slip = (
                0.004 if gear >= 2 and load < 0.6 else 0.02 + 0.25 * max(load, 0) * max(0.0, 1 - speed / 18)
            )
        goal = vehicle.idle_rev_s if free else max(vehicle.idle_rev_s, revs * (1 + slip))
        engine += (goal - engine) / TICK / (0.35 if free else (0.12 if since_shift > 0.8 else 0.22))
        speed = max(0.0, speed + (force - resist - brake) / (mass * 1.06) / TICK)
        if speed <= 0 and leg.mode in ("idle", "brake"):
            speed = 0.0
        turn = (
            leg.curvature * min(1, age / 1.5, max(0.0, (leg.seconds - age) / 1.5)) if leg.curvature else 0.0
        )
        for key, value in zip("vfgwnlkb", (speed, force, -1 if free else gear, wheel, engine, load, turn,
                                           brake if speed > 0 else 0.0), strict=True):  # fmt: skip
            out[key].append(value)
    a = {key: np.array(value) for key, value in out.items()}
    return Motion(t, a["v"], a["f"], a["g"].astype(int), a["w"], a["n"], a["l"], a["k"], a["b"])


# --- sound from motion --------------------------------------------------------------------------------------


@dataclass
class Clock:
    """A motion at audio rate: turns of each shaft, and anything of the motion on demand."""

    motion: Motion
    size: int
    wheel: Array
    engine: Array

    @classmethod
    def of(cls, motion: Motion) -> Clock:
        size = int(motion.seconds * RATE)
        clock = cls(motion, size, np.empty(0), np.empty(0))
        clock.wheel = np.cumsum(clock.at(motion.wheel, np.float64)) / RATE
        clock.engine = np.cumsum(clock.at(motion.engine, np.float64)) / RATE
        return clock

    def at(self, values: Array, dtype: Any = np.float32, rate: int = RATE) -> Array:
        """Return values of the motion at audio rate."""
        x = np.arange(int(self.size * rate / RATE)) * (TICK / rate)
        return np.interp(x, np.arange(len(values)), values).astype(dtype)

    def one_wheel(self, vehicle: Vehicle, index: int) -> Array:
        """Return the turns of one wheel: rear left, rear right, front left, front right."""
        return np.cumsum(self.at(self.wheel_rate(vehicle, index), np.float64)) / RATE

    def wheel_rate(self, vehicle: Vehicle, index: int) -> Array:
        """Return turns per second of one wheel, along the motion."""
        side = (-1, 1, -1, 1)[index] * vehicle.track_m / 2
        return self.motion.wheel * vehicle.wheel_ratio[index] * (1 + side * self.motion.curvature)


def look_up(table: Array, turns: Array) -> Array:
    """Return a table that spans one turn, read along turns."""
    return table[((turns % 1.0) * len(table)).astype(np.int32)]


def harmonics(rng: Rng, levels_db: dict[float, float], size: int = 8192, per: float = 1.0) -> Array:
    """Return a table of lines at orders (multiples of 1/per), each with its level and a phase of its own."""
    x = 2 * np.pi * np.arange(size) / size
    table = np.zeros(size)
    for order, db in levels_db.items():
        table += 10 ** (db / 20) * np.cos(order * per * x + rng.uniform(0, 2 * np.pi))
    return table.astype(np.float32)


def smooth(x: Array) -> Array:
    """Return 0 below 0, 1 above 1, smooth between."""
    x = np.clip(x, 0, 1)
    return x * x * (3 - 2 * x)


GRID = np.arange(8193) * (RATE / 2 / 8192)


def draw_path(
    rng: Rng, vehicle: Vehicle, low: float, high: float, tilt: float, liveliness: float = 1.0
) -> Array:
    """Return force to pressure at the phone, complex over ``GRID``.

    Structural modes between ``low`` and ``high`` Hz, cabin modes and a direct part; ``tilt`` dB an octave
    over 500 Hz.
    """
    count = 36
    freq = np.concatenate([vehicle.cabin[0], low * (high / low) ** rng.random(count)])
    loss = np.concatenate([vehicle.cabin[1], rng.uniform(0.02, 0.06, count)])
    pull = rng.normal(0, 1, len(freq)) * loss * 2 * liveliness
    pull[: len(vehicle.cabin[0])] *= 0.8
    f = GRID[None, :].astype(np.float32)
    fr, z = freq[:, None].astype(np.float32), loss[:, None].astype(np.float32)
    h = (pull[:, None].astype(np.float32) * fr * f / (fr * fr - f * f + 2j * z * fr * f)).sum(0)
    h = h + 0.25 * np.exp(-2j * np.pi * GRID * rng.uniform(0.002, 0.006))
    h = h * 10 ** (tilt / 20 * np.log2(np.maximum(GRID, 500) / 500))
    heard = (low < GRID) & (high > GRID)
    return (h / math.sqrt(np.mean(np.abs(h[heard]) ** 2))).astype(np.complex64)


def resonance(centre: float, q: float) -> Array:
    """Return a single mode over ``GRID``, unity at its centre."""
    f = np.maximum(GRID, 1e-3)
    return (1 / (1 + 1j * q * (f / centre - centre / f))).astype(np.complex64)


def through(path: Array, x: Array, size: int) -> Array:
    """Return x (at any rate that divides ``RATE``) through a path, ``size`` samples at ``RATE``."""
    step = round(size / len(x))
    long = fft.next_fast_len((size // step + RATE // step // 2), real=True)
    spectrum = fft.rfft(x.astype(np.float32), long)
    place = np.arange(len(spectrum)) * (RATE / step / long / GRID[1])
    spectrum *= np.interp(place, np.arange(len(GRID)), path.real) + 1j * np.interp(
        place, np.arange(len(GRID)), path.imag
    )
    return (fft.irfft(spectrum.astype(np.complex64), long * step)[:size] * np.float32(step)).astype(
        np.float32
    )


FRAME = 2048
HOP = FRAME // 2
FRAME_HZ = np.arange(FRAME // 2 + 1) * (RATE / FRAME)


def shaped(x: Array, gain: Array) -> Array:
    """Return x with the gain of every frame (rows) and frequency (columns), overlapped and added."""
    rows = gain.shape[0]
    padded = np.zeros((rows + 1) * HOP, np.float32)
    padded[: min(len(x), len(padded))] = x[: len(padded)]
    window = np.sin(np.pi * (np.arange(FRAME) + 0.5) / FRAME).astype(np.float32)
    frames = np.lib.stride_tricks.sliding_window_view(padded, FRAME)[::HOP][:rows] * window
    frames = fft.irfft(fft.rfft(frames, axis=1) * gain.astype(np.float32), FRAME, axis=1) * window
    out = np.zeros((rows + 1, HOP), np.float32)
    out[:-1] += frames[:, :HOP]
    out[1:] += frames[:, HOP:]
    return out.reshape(-1)[: len(x)]


def third_octaves(levels: dict[float, float]) -> Array:
    """Return pressure spectrum (Pa per root Hz over ``FRAME_HZ``) of third-octave levels in dB."""
    f = np.maximum(FRAME_HZ, 10)
    known = np.array(sorted(levels))
    db = np.interp(np.log2(f), np.log2(known), [levels[k] for k in known])
    return PASCAL * 10 ** (db / 20) / np.sqrt(0.232 * f)


def noise(rng: Rng, size: int, spectrum: Array) -> Array:
    """Return noise of a pressure spectrum (frames by frequencies)."""
    return shaped(rng.standard_normal(size, np.float32), spectrum * math.sqrt(RATE / 2))


# --- what is always there -----------------------------------------------------------------------------------

ROAD = {
    20: 78,
    31.5: 79,
    63: 75,
    125: 68,
    250: 64,
    500: 60,
    1000: 58,
    1600: 52,
    4000: 37,
    8000: 24,
    12000: 14,
}
WIND = {20: 70, 63: 64, 125: 60, 250: 57, 500: 53, 1000: 49, 2000: 45, 4000: 40, 8000: 30, 12000: 24}
SURFACES = {
    "smooth asphalt": {20: -3, 200: -4, 800: -2, 2000: 1, 12000: 1},
    "worn asphalt": {20: 0, 12000: 0},
    "chippings": {20: 3, 100: 5, 300: 7, 700: 6, 1500: 0, 12000: -3},
    "concrete": {20: 2, 200: 1, 800: 4, 1500: 3, 12000: 0},
    "patched": {20: 6, 80: 4, 300: 1, 12000: 0},
}
REFERENCE_MPS = 27.8


def road_noise(vehicle: Vehicle, clock: Clock, rng: Rng) -> tuple[Array, Array]:
    """Return road noise with its surfaces, and the times of bumps (s)."""
    rows = clock.size // HOP + 1
    t = np.arange(rows) * HOP / RATE
    speed = np.interp(t, clock.motion.time, clock.motion.speed)
    names = rng.choice(list(SURFACES), 4)
    changes = np.sort(rng.uniform(3, clock.motion.seconds, rng.integers(0, 4)))
    logf = np.log2(np.maximum(FRAME_HZ, 20))
    tyre = rng.normal(0, 2.5)
    db = np.zeros((rows, len(FRAME_HZ)), np.float32)
    for i in range(len(changes) + 1):
        shape = SURFACES[names[i]]
        here = np.interp(logf, np.log2(list(shape)), list(shape.values()))
        inside = (1 if i == 0 else smooth((t - changes[i - 1]) / 0.25)) - (
            0 if i == len(changes) else smooth((t - changes[i]) / 0.25)
        )
        db += np.outer(inside, here)
    cavity = SOUND_SPEED / (vehicle.circumference_m * rng.uniform(0.78, 0.86))
    db += (6 * np.exp(-(((FRAME_HZ - cavity) / 9) ** 2)))[None, :]
    drift = np.cumsum(rng.normal(0, 1, rows))
    drift = (
        1.2
        * (drift - signal.savgol_filter(drift, 101, 1))
        / (np.std(drift - signal.savgol_filter(drift, 101, 1)))
    )
    exponent = 1.45 + 0.25 * smooth(FRAME_HZ / 1500)
    db += 20 * np.outer(np.log10(np.maximum(speed, 0.05) / REFERENCE_MPS), exponent) + (drift + tyre)[:, None]
    x = noise(rng, clock.size, third_octaves(ROAD)[None, :] * 10 ** (db / 20))
    beat = rng.uniform(0.02, 0.08) * np.cos(2 * np.pi * clock.one_wheel(vehicle, 0)).astype(np.float32)
    x *= 1 + beat
    bumps = []
    for i in range(len(changes) + 1):
        begin = 0.0 if i == 0 else changes[i - 1]
        end = clock.motion.seconds if i == len(changes) else changes[i]
        if names[i] == "concrete":
            way = np.cumsum(clock.motion.speed) / TICK
            slabs = np.arange(0, way[-1], 5.0)
            times = np.interp(slabs, way, clock.motion.time)
            bumps.append(times[(times > begin) & (times < end)])
        else:
            rate = {"patched": 0.6, "worn asphalt": 0.12}.get(str(names[i]), 0.04)
            bumps.append(rng.uniform(begin, end, rng.poisson(rate * (end - begin))))
    return x, np.sort(np.concatenate(bumps))


def bump_noise(vehicle: Vehicle, clock: Clock, rng: Rng, bumps: Array) -> Array:
    """Return thumps, front then rear wheels a wheelbase later, and what rattles with them."""
    force = np.zeros(clock.size, np.float32)
    speed = np.interp(bumps, clock.motion.time, clock.motion.speed)
    for t, v in zip(bumps, speed, strict=True):
        if v < 2:
            continue
        strength = rng.lognormal(-0.3, 0.6) * (v / 20) ** 1.2
        for delay in (0.0, vehicle.wheelbase_m / v):
            i, w = int((t + delay) * RATE), int(RATE * min(0.25 / v, 0.03))
            if 0 < i < clock.size - w:
                force[i : i + w] += strength * np.hanning(w)
    x = through(draw_path(rng, vehicle, 25, 400, -12), force, clock.size)
    x *= 0.9 * PASCAL * 10 ** (82 / 20) / max(np.max(np.abs(x)), 1e-9) * (1 if len(bumps) else 0)
    if rng.random() < 0.35:
        ticks = np.zeros(clock.size, np.float32)
        after_bumps = (bumps * RATE).astype(int)[:, None] + rng.integers(0, RATE // 4, (len(bumps), 7))
        at = np.concatenate([after_bumps, rng.integers(0, clock.size, (1, 7))]).ravel()
        at = at[at < clock.size]
        ticks[at] = rng.exponential(1, len(at)) * clock.at(clock.motion.speed > 2)[at]
        rattle = through(resonance(rng.uniform(1200, 4200), rng.uniform(8, 25)), ticks, clock.size)
        x += rattle * PASCAL * 10 ** (rng.uniform(48, 64) / 20) / max(np.max(np.abs(rattle)), 1e-9)
    return x


def wind_noise(clock: Clock, rng: Rng) -> Array:
    """Return wind at the pillars and roof, in gusts."""
    rows = clock.size // HOP + 1
    t = np.arange(rows) * HOP / RATE
    ahead = signal.lfilter([0.03], [1, -0.97], rng.standard_normal(rows + 300))[300:] * 16 + rng.normal(0, 2)
    air = np.maximum(np.interp(t, clock.motion.time, clock.motion.speed) + ahead, 0.5)
    db = 60 * np.log10(air / REFERENCE_MPS) + rng.normal(-1, 3)
    return noise(rng, clock.size, third_octaves(WIND)[None, :] * 10 ** (db / 20)[:, None])


def engine_noise(vehicle: Vehicle, clock: Clock, rng: Rng) -> Array:
    """Return the engine: gas and inertia over the cycle of two turns, and its broadband noise."""
    n, firing = vehicle.cylinders, vehicle.cylinders / 2
    gas, inertia = {}, {}
    uneven = rng.uniform(-24, -12) + (5 if n == 8 else 0)
    for half in range(1, 49):
        order = half / 2
        fires = abs(order / firing - round(order / firing)) < 1e-6
        roll_off = -3.5 * max(0, math.log2(order / firing)) * 1.6
        gas[half] = (0 if fires else uneven + rng.normal(0, 4)) + roll_off
        whole = {1: -12.0, 2: -2.0 if n in (3, 4) else -14.0, 4: -14.0}.get(order)
        inertia[half] = (whole if whole is not None else -40.0) + rng.normal(0, 3)
    table_gas, table_inertia = harmonics(rng, gas), harmonics(rng, inertia)
    cycle = clock.engine / 2
    path, loudness, hiss_db = draw_path(rng, vehicle, 25, 500, -6), rng.uniform(76, 86), rng.normal(0, 3)
    per_cycle = 1 + 0.06 * rng.standard_normal(int(cycle[-1]) + 3)
    rough = per_cycle[cycle.astype(np.int32)].astype(np.float32)
    load = clock.at(0.16 + 0.84 * np.abs(clock.motion.engine_load) ** 0.8)
    idle = clock.at(1 + 0.8 * smooth((18 - clock.motion.engine) / 5))
    speed = clock.at((clock.motion.engine / 50) ** 0.8)
    squared = clock.at((clock.motion.engine / 50) ** 2)
    force = (
        look_up(table_gas, cycle) * rough * load * idle * speed
        + 0.5 * look_up(table_inertia, cycle) * squared
    )
    x = through(path, force, clock.size) * np.float32(PASCAL * 10 ** (loudness / 20))
    rows = clock.size // HOP + 1
    t = np.arange(rows) * HOP / RATE
    revs = np.interp(t, clock.motion.time, clock.motion.engine)
    push = np.interp(t, clock.motion.time, np.abs(clock.motion.engine_load))
    db = 50 * np.log10(revs / 50) + 7 * push + hiss_db
    spectrum = third_octaves({20: 30, 125: 44, 500: 46, 1500: 46, 4000: 36, 12000: 18})
    hiss = noise(rng, clock.size, spectrum[None, :] * 10 ** (db / 20)[:, None])
    knock = 1 + 0.5 * np.cos(2 * np.pi * clock.engine * firing).astype(np.float32)
    return x + hiss * knock


def voice(clock: Clock, rng: Rng, pitch: float) -> Array:
    """Return somebody talking: glottal pulses through moving formants, syllables and pauses."""
    rows = clock.size // HOP + 1
    seconds = clock.size / RATE
    active, t = [], 0.0
    while t < seconds:
        t += rng.exponential(9) + 1
        length = rng.uniform(1, 4)
        active.append((t, t + length))
        t += length
    frame_t = np.arange(rows) * HOP / RATE
    on = np.zeros(rows)
    for a, b in active:
        on[(frame_t > a) & (frame_t < b)] = 1
    per = rng.integers(3, 5)
    syllables = rng.integers(0, 6, rows // per + 2)[np.arange(rows) // per]
    beat = (
        np.abs(np.sin(np.pi * np.arange(rows) / per)) ** 0.5
        * rng.uniform(0.3, 1, rows // per + 2)[np.arange(rows) // per]
    )
    vowels = np.array([(730, 1090, 2440), (270, 2290, 3010), (300, 870, 2240), (530, 1840, 2480),
                       (570, 840, 2410), (660, 1720, 2410)])  # Peterson and Barney 1952  # fmt: skip
    f = FRAME_HZ[None, :]
    gain = np.full((rows, len(FRAME_HZ)), 0.003)
    for k in range(3):
        centre = vowels[syllables, k][:, None]
        gain += 0.6**k / (1 + ((f - centre) / (60 + 30 * k)) ** 2)
    gain *= (on * beat)[:, None]
    tune = np.interp(np.arange(clock.size), np.arange(0, clock.size + RATE, RATE // 4),
                     pitch * 2 ** rng.normal(0, 0.18, (clock.size + RATE) // (RATE // 4) + 1)
                     [: len(np.arange(0, clock.size + RATE, RATE // 4))])  # fmt: skip
    saw = harmonics(rng, {k: -9 * math.log2(k) for k in range(1, 40)})
    source = look_up(saw, np.cumsum(tune) / RATE) + 0.05 * rng.standard_normal(clock.size, np.float32)
    x = shaped(source, gain)
    return (
        x * np.float32(PASCAL * 10 ** (rng.uniform(60, 72) / 20) / max(np.std(x[np.abs(x) > 1e-6]), 1e-9))
        if np.any(x)
        else x
    )


def music(clock: Clock, rng: Rng) -> Array:
    """Return the radio: chords, a bass, a drum, out of small loudspeakers."""
    beat = int(RATE * rng.uniform(0.42, 0.62))
    bar = np.zeros(beat * 16, np.float32)
    t = np.arange(beat * 4) / RATE
    tone = harmonics(rng, {k: -8 * math.log2(k) for k in range(1, 12)})
    root = 110 * 2 ** (rng.integers(0, 12) / 12)
    for b in range(4):
        chord = root * 2 ** (rng.choice([0, 5, 7, 9]) / 12)
        for step in (0, 4, 7, 12):
            bar[b * 4 * beat : (b + 1) * 4 * beat] += look_up(tone, chord * 2 ** (step / 12) * t) * np.exp(-t)
        for q in range(4):
            at = (b * 4 + q) * beat
            tune = chord * 2 ** (1 + rng.choice([0, 2, 4, 7, 9]) / 12)
            bar[at : at + beat] += 1.5 * look_up(tone, tune * t[:beat]) * np.exp(-3 * t[:beat])
            bar[at : at + beat] += 3 * np.sin(2 * np.pi * 55 * t[:beat]) * np.exp(-18 * t[:beat])
            hat = rng.standard_normal(beat).astype(np.float32)
            bar[at : at + beat] += 0.6 * np.diff(hat, append=0) * np.exp(-25 * t[:beat])
    x = np.tile(bar, clock.size // len(bar) + 1)[: clock.size]
    x = signal.sosfilt(signal.butter(2, (110, 7000), "bandpass", fs=RATE, output="sos"), x).astype(np.float32)
    return x * np.float32(PASCAL * 10 ** (rng.uniform(46, 64) / 20) / np.std(x))


def bystanders(vehicle: Vehicle, clock: Clock, rng: Rng) -> Array:
    """Return what else sounds in a cabin: talk, radio, indicator, a fan."""
    x = np.zeros(clock.size, np.float32)
    if rng.random() < 0.25:
        x += voice(clock, rng, rng.uniform(90, 140))
    if rng.random() < 0.15:
        x += voice(clock, rng, rng.uniform(170, 240))
    if rng.random() < 0.12:
        x += music(clock, rng)
    turning = np.abs(clock.motion.curvature) > 0.01
    if turning.any() or rng.random() < 0.2:
        ticks = np.zeros(clock.size, np.float32)
        begin = (
            float(clock.motion.time[turning][0]) - 2
            if turning.any()
            else rng.uniform(0, clock.motion.seconds)
        )
        times = np.arange(
            max(begin, 0), min(begin + rng.uniform(5, 9), clock.motion.seconds), rng.uniform(0.33, 0.4)
        )
        ticks[(times * RATE).astype(int)] = np.where(np.arange(len(times)) % 2, 0.6, 1)
        click = through(resonance(rng.uniform(1500, 3000), 6) + resonance(900, 8), ticks, clock.size)
        x += click * np.float32(PASCAL * 10 ** (rng.uniform(58, 68) / 20) / max(np.max(np.abs(click)), 1e-9))
    if rng.random() < 0.4:
        level = rng.uniform(-8, 8)
        spectrum = third_octaves({20: 38, 125: 43, 500: 44, 1500: 41, 4000: 33, 12000: 20})
        x += noise(rng, clock.size, np.tile(spectrum * 10 ** (level / 20), (clock.size // HOP + 1, 1)))
    return x


# --- sources that have a name -------------------------------------------------------------------------------


@dataclass
class Source:
    """One named source: its stem at the microphone, and where its lines are."""

    name: str
    fault: bool
    stem: Array
    lines: list[Array]
    """Each line's frequency in Hz, along the motion; 0 where it does not sound."""
    side: str = "both"
    orders: list[float] = field(default_factory=list)
    fixed_hz: list[float] = field(default_factory=list)
    engine_orders: list[float] = field(default_factory=list)
    rates: list[Array] = field(default_factory=list)
    """Each modulation's frequency in Hz, along the motion; for sources heard as a modulation."""
    target_db: float | None = None
    prominence_db: float = -99.0
    figure: str = "tone"
    best_s: float = 0.0
    best_hz: float = 0.0
    best_line: int = 0
    gain_db: float = 0.0
    look: Look | None = None

    def scale(self, gain: float) -> None:
        """Make the stem louder, and what was measured of it."""
        self.stem = self.stem * np.float32(gain)
        self.look = Look.at(self.stem) if self.look is None else self.look.times_gain(gain)

    @property
    def key(self) -> str:
        """Name the source within its vehicle."""
        return f"{self.name}{'!' if self.fault else ''}"

    def told(self) -> dict[str, Any]:
        return {
            "name": self.name, "fault": self.fault, "side": self.side,
            "orders": [round(float(o), 5) for o in self.orders],
            "fixed_hz": [round(float(f), 2) for f in self.fixed_hz],
            "engine_orders": [round(float(o), 5) for o in self.engine_orders],
            "prominence_db": round(float(self.prominence_db), 2), "figure": self.figure,
            "best_3s_from_s": round(self.best_s, 2), "best_line_hz": round(self.best_hz, 1),
            "gain_db": round(float(self.gain_db), 3),
        }  # fmt: skip


@dataclass
class Stage:
    """All a source needs to sound."""

    vehicle: Vehicle
    clock: Clock
    rng: Rng
    fault: bool
    side: str
    ear: Array
    """The microphone, over ``GRID``."""

    def heard(self, path: Array, x: Array) -> Array:
        """Return the stem of a force through its path, at the microphone."""
        return through(path * self.ear, x, self.clock.size)

    @property
    def motion(self) -> Motion:
        return self.clock.motion

    def torque(self) -> Array:
        """Return torque as a share of a hard pull, along the motion; negative on the overrun."""
        return self.motion.force / (self.vehicle.mass_kg * 2.0)

    def one_sided(self) -> Array:
        """Return how loud a contact of this side sounds, along the motion."""
        x = self.torque()
        drive, coast = smooth((x - 0.005) / 0.05), smooth((-x - 0.003) / 0.03)
        gain = {"drive": (1, 0.06), "coast": (0.06, 1), "both": (1, 0.8)}[self.side]
        return gain[0] * drive * (0.6 + 0.8 * np.abs(x)) + gain[1] * coast * (0.8 + np.abs(x)) + 0.05


def mesh(s: Stage) -> Source:
    """Ring and pinion: harmonics of the teeth, sidebands of both runouts."""
    z, ratio = s.vehicle.ring_teeth, s.vehicle.ratio
    levels = {1: 0.0, 2: s.rng.uniform(-16, -1), 3: s.rng.uniform(-24, -8), 4: s.rng.uniform(-30, -14)}
    table = harmonics(s.rng, levels)
    turns = s.clock.wheel
    ring, pinion = s.rng.uniform(0.02, 0.25), s.rng.uniform(0.02, 0.2)
    phase = s.rng.uniform(0, 1, 4)
    sway = (s.rng.uniform(0, 0.06) * np.sin(2 * np.pi * (turns + phase[0]))
            + s.rng.uniform(0, 0.03) * np.sin(2 * np.pi * (turns * ratio + phase[1])))  # fmt: skip
    x = look_up(table, turns * z + sway)
    x *= (
        1
        + ring * np.cos(2 * np.pi * (turns + phase[2]))
        + pinion * np.cos(2 * np.pi * (turns * ratio + phase[3]))
    ).astype(np.float32)
    x *= s.clock.at(s.one_sided())
    path = draw_path(s.rng, s.vehicle, 80, 2000, -5, 1.5)
    return Source("mesh", s.fault, s.heard(path, x),
                  [s.motion.wheel * z * k for k in levels], s.side, [z * k for k in levels])  # fmt: skip


def _slow_turns(s: Stage) -> Array:
    return s.clock.wheel[:: RATE // SLOW]


def propshaft(s: Stage) -> Source:
    """Imbalance of the shaft, growing with the square of its speed; its mounts add whole multiples."""
    ratio = s.vehicle.ratio
    levels = {1: 0.0, 2: s.rng.uniform(-24, -9), 3: s.rng.uniform(-30, -14), 4: s.rng.uniform(-34, -18)}
    x = look_up(harmonics(s.rng, levels), _slow_turns(s) * ratio)
    speed = s.motion.wheel * ratio
    x *= s.clock.at((speed / 40) ** 2, rate=SLOW)
    path = draw_path(s.rng, s.vehicle, 20, 300, -9) * (1 + resonance(s.rng.uniform(60, 140), 6))
    return Source("propshaft", s.fault, s.heard(path, x), [speed * k for k in levels], "both",
                  [ratio * k for k in levels])  # fmt: skip


def joint(s: Stage) -> Source:
    """A Hooke's joint at an angle: twice a turn, by torque and by inertia."""
    ratio = s.vehicle.ratio
    levels = {2: 0.0, 4: s.rng.uniform(-22, -8), 6: s.rng.uniform(-34, -20)}
    x = look_up(harmonics(s.rng, levels), _slow_turns(s) * ratio)
    speed = s.motion.wheel * ratio
    inertia = s.rng.uniform(0.1, 0.4)
    x *= s.clock.at(np.abs(s.torque()) + inertia * (speed / 40) ** 2 * 0.5 + 0.02, rate=SLOW)
    path = draw_path(s.rng, s.vehicle, 25, 400, -9)
    return Source("joint", s.fault, s.heard(path, x), [speed * k for k in levels],
                  "both", [ratio * k for k in levels])  # fmt: skip


def tread(s: Stage) -> Source:
    """Tread blocks in their pitch sequence on four tyres; or, as a fault, cups or a flat on one or two."""
    size = 16384
    path = draw_path(s.rng, s.vehicle, 60, 1500, -7)
    x = np.zeros(s.clock.size, np.float32)
    wheels = [int(w) for w in s.rng.permutation(4)[: s.rng.integers(1, 3)]] if s.fault else [0, 1, 2, 3]
    roll = np.abs(fft.rfftfreq(size, 1 / size))
    cups = float(s.rng.integers(7, 26))
    table = np.zeros(size)
    if s.fault:
        edges = np.cumsum(1 + 0.10 * s.rng.standard_normal(int(cups)))
        heights = np.maximum(1 + 0.4 * s.rng.standard_normal(int(cups)), 0.1)
        slow = 1 + 0.4 * np.cos(2 * np.pi * (edges / edges[-1] + s.rng.random()))
    else:
        pitches = s.rng.choice([0.85, 1.0, 1.17], s.vehicle.pitches)
        edges = np.cumsum(pitches)
        heights, slow = 1 + 0.1 * s.rng.standard_normal(len(edges)), 1
    np.add.at(table, (edges / edges[-1] * (size - 1)).astype(int), heights * slow)
    spectrum = fft.rfft(table)
    middle = cups if s.fault else s.vehicle.pitches
    spectrum[0] = 0
    spectrum *= (roll / middle) ** 1.5 / (1 + (roll / middle) ** (4.5 if s.fault else 5.5))
    table = fft.irfft(spectrum, size).astype(np.float32)
    strongest = np.sort(np.argsort(np.abs(spectrum))[::-1][: 6 if s.fault else 8])
    for w in wheels:
        x += s.rng.uniform(0.5, 1) * look_up(table, s.clock.one_wheel(s.vehicle, w) + s.rng.random())
    x *= s.clock.at((s.motion.speed / 20) ** (1.2 if s.fault else 1.5))
    ratio = float(s.vehicle.wheel_ratio[wheels[0]]) if s.fault else 1.0
    orders = [float(k) * ratio for k in strongest]
    rate = s.clock.wheel_rate(s.vehicle, wheels[0]) if s.fault else s.motion.wheel
    return Source("tread", s.fault, s.heard(path, x), [rate * float(k) for k in strongest], "both", orders)


def wheel_imbalance(s: Stage) -> Source:
    """A wheel out of balance, and the tyre's force variation at its low multiples."""
    w = int(s.rng.integers(4))
    levels = {1: 0.0, 2: s.rng.uniform(-14, -3), 3: s.rng.uniform(-18, -6), 4: s.rng.uniform(-24, -10)}
    turns = s.clock.one_wheel(s.vehicle, w)[:: RATE // SLOW]
    x = look_up(harmonics(s.rng, levels), turns) * s.clock.at((s.motion.wheel / 14) ** 2, rate=SLOW)
    path = draw_path(s.rng, s.vehicle, 8, 120, -9) * (1 + resonance(s.rng.uniform(11, 15), 5))
    ratio = float(s.vehicle.wheel_ratio[w])
    return Source(
        "wheel imbalance",
        s.fault,
        s.heard(path, x),
        [s.clock.wheel_rate(s.vehicle, w) * k for k in levels],
        "both",
        [ratio * k for k in levels],
    )


def bearing(s: Stage, name: str) -> Source:
    """Impacts of one spoiled part of a bearing, each ringing a resonance of the housing."""
    geometry = s.vehicle.bearings[name]
    shaft = s.vehicle.ratio if name == "pinion bearing" else 1.0
    part = str(s.rng.choice(["outer", "outer", "inner", "roller"]))
    slip = 1 - s.rng.uniform(0, 0.03)
    rates = geometry.rates()
    late = rates["cage"] * slip
    rate = {"outer": geometry.rollers * late, "inner": geometry.rollers * (1 - late),
            "roller": rates["roller"] * slip}[part]  # fmt: skip
    w = int(s.rng.integers(4)) if name == "wheel bearing" else -1
    turns = s.clock.one_wheel(s.vehicle, w) if w >= 0 else s.clock.wheel
    own = float(s.vehicle.wheel_ratio[w]) if w >= 0 else 1.0
    hits = turns * shaft * rate
    count = int(hits[-1])
    when = np.arange(1, count) + 0.08 * s.rng.standard_normal(count - 1)
    drift = np.cumsum(s.rng.standard_normal(count - 1)) * 0.006
    at = np.interp(when + drift, hits, np.arange(s.clock.size)) if count > 2 else np.empty(0)
    turn = np.interp(at, np.arange(s.clock.size), turns * shaft) if count > 2 else np.empty(0)
    beat = {"outer": 0.0, "inner": 1.0, "roller": late}[part]
    zone = 1 + (0.75 if beat else 0.1) * np.cos(2 * np.pi * (turn * max(beat, late) + s.rng.random()))
    side = 1.0
    if name != "wheel bearing":
        side = np.interp(at, np.arange(0, s.clock.size, RATE // TICK), s.one_sided()) * 0.65 + 0.35
    else:
        lean = (1 if w % 2 else -1) * s.motion.curvature * s.motion.speed**2 / 4
        side = np.interp(at, np.arange(0, s.clock.size, RATE // TICK), np.clip(1 + 0.8 * lean, 0.2, 2))
    pace = np.interp(at, np.arange(0, s.clock.size, RATE // TICK), (s.motion.wheel / 10) ** 1.0)
    force = np.zeros(s.clock.size + 1, np.float32)
    np.add.at(
        force,
        np.clip(at, 0, s.clock.size - 1).astype(int),
        zone * side * pace * s.rng.lognormal(0, 0.3, len(at)),
    )
    bands = [s.rng.uniform(300, 800), s.rng.uniform(900, 2500), s.rng.uniform(2500, 6000)]
    housing = sum(
        resonance(b, s.rng.uniform(6, 16)) * g
        for b, g in zip(bands, (1.0, 1.3, s.rng.uniform(0.3, 1)), strict=True)
    )
    path = draw_path(s.rng, s.vehicle, 80, 5000, -3) * (housing + 0.05)
    orders = [own * shaft * rate * k for k in (1, 2, 3)]
    own_rate = s.clock.wheel_rate(s.vehicle, w) if w >= 0 else s.motion.wheel
    hz = own_rate * shaft * rate
    modulations = [hz] + ([own_rate * shaft * beat] if beat else [])
    return Source(name, s.fault, s.heard(path, force[:-1]), [hz, hz * 2, hz * 3],
                  "both" if name == "wheel bearing" else s.side, orders, rates=modulations)  # fmt: skip


def gearbox(s: Stage) -> Source:
    """A pair of gears in the box: where power goes through it, silent in a direct gear."""
    v = s.vehicle
    loud = 10 ** (s.rng.normal(0, 4, len(v.gears)) / 20)
    used = sorted({int(g) for g in s.motion.gear if g >= 0})
    loud[used[int(np.argmax([np.sum(s.motion.gear == g) for g in used]))]] *= 2.0
    teeth = int(s.rng.integers(19, 38))
    active = np.zeros_like(s.motion.speed)
    for g in used:
        active += np.where(s.motion.gear == g, loud[g] * (0.05 if v.gears[g] == 1.0 else 1.0), 0)

    levels = {1: 0.0, 2: s.rng.uniform(-18, -5), 3: s.rng.uniform(-28, -12)}
    active = signal.lfilter([0.2], [1, -0.8], active)
    x = look_up(harmonics(s.rng, levels), s.clock.engine * teeth) * s.clock.at(active * s.one_sided())
    orders = [v.ratio * v.gears[g] * teeth * k for g in used for k in (1, 2) if v.gears[g] != 1.0]
    path = draw_path(s.rng, v, 150, 3000, -5)
    lines = [s.motion.engine * teeth * k * (s.motion.gear >= 0) for k in levels]
    return Source("gearbox", s.fault, s.heard(path, x), lines, s.side, orders,
                  engine_orders=[teeth * k for k in levels])  # fmt: skip


def brake(s: Stage) -> Source:
    """A pad that rubs on a disc with runout: scraping noise once or twice a turn."""
    w = int(s.rng.integers(4))
    turns = s.clock.one_wheel(s.vehicle, w)
    table = np.maximum(
        harmonics(s.rng, {1: 0, 2: s.rng.uniform(-15, 2), 3: -12}) + s.rng.uniform(-0.6, 0.2), 0.02
    )
    pressed = 1 + 1.5 * smooth(s.motion.brake / (s.vehicle.mass_kg * 1.5))
    loud = look_up(table, turns) * s.clock.at(np.minimum(s.motion.speed / 10, 1.5) ** 0.8 * pressed)
    path = draw_path(s.rng, s.vehicle, 500, 6000, -2) * sum(
        resonance(f, s.rng.uniform(2, 8)) for f in s.rng.uniform(600, 5000, 4))  # fmt: skip
    scrape = s.rng.standard_normal(s.clock.size, np.float32) * loud
    own = float(s.vehicle.wheel_ratio[w])
    return Source("brake", s.fault, s.heard(path, scrape), [], "both", [own, 2 * own],
                  rates=[s.clock.wheel_rate(s.vehicle, w) * k for k in (1, 2)])  # fmt: skip


def differential(s: Stage) -> Source:
    """Plates that stick and slip and gears that knock, only while the wheels turn apart."""
    apart = np.abs(s.motion.curvature) * s.vehicle.track_m * s.motion.wheel
    groan = s.rng.uniform(55, 160)
    wander = signal.lfilter([0.02], [1, -0.98], s.rng.standard_normal(len(apart))) * 0.25
    line = groan * (1 + wander)
    turns = np.cumsum(s.clock.at(line, np.float64)) / RATE
    x = look_up(harmonics(s.rng, {k: -4.5 * (k - 1) for k in range(1, 9)}), turns)
    teeth = float(s.rng.integers(14, 20))
    knock = np.cumsum(s.clock.at(apart / 2 * teeth, np.float64)) / RATE
    x *= (0.4 + np.maximum(np.cos(2 * np.pi * knock), 0) ** 4).astype(np.float32) * s.clock.at(
        smooth(apart / 0.25)
    )
    path = draw_path(s.rng, s.vehicle, 40, 900, -6)
    inside = apart > 0.05
    return Source(
        "differential",
        s.fault,
        s.heard(path, x),
        [line * k * inside for k in (1, 2, 3)],
        "both",
        [],
        [groan, 2 * groan, 3 * groan],
    )


def boom(s: Stage) -> Source:
    """A mode of body or driveline that answers an order nobody would complain of."""
    choices: list[tuple[Array, Array, list[float], list[float]]] = []
    ratio, half = s.vehicle.ratio, s.vehicle.cylinders / 2
    choices.append((s.clock.wheel * ratio, s.motion.wheel * ratio, [ratio], []))
    choices.append((s.clock.wheel * ratio * 2, s.motion.wheel * ratio * 2, [2 * ratio], []))
    choices.append((s.clock.engine * half, s.motion.engine * half, [], [half]))
    turns, hz, orders, engine_orders = choices[int(s.rng.integers(3))]
    moving = hz[(s.motion.speed > 4) & (hz > 28) & (hz < 190)]
    centre = float(np.quantile(moving, s.rng.uniform(0.25, 0.9))) if len(moving) > 50 else 60.0
    x = np.cos(2 * np.pi * (turns[:: RATE // SLOW] % 1)).astype(np.float32)
    strength = 0.3 + np.abs(s.torque()) if engine_orders else 0.5 + 0.3 * np.abs(s.torque())
    x *= s.clock.at(strength, rate=SLOW)
    path = resonance(centre, s.rng.uniform(9, 22))
    return Source("resonance", s.fault, s.heard(path, x), [hz], "both", orders, [centre], engine_orders)


def accessory(s: Stage) -> Source:
    """An alternator or a pump on the belt: a whine that follows the crankshaft alone."""
    order = float(s.rng.uniform(2.2, 3.0) * s.rng.choice([6, 12, 18])) if s.rng.random() < 0.6 else float(
        s.rng.uniform(1.1, 1.5) * s.rng.choice([9, 10, 11]))  # fmt: skip
    x = look_up(harmonics(s.rng, {1: 0, 2: -12, 3: -16}), s.clock.engine * order)
    x *= s.clock.at((s.motion.engine / 40) ** 0.5)
    path = draw_path(s.rng, s.vehicle, 150, 3500, -4)
    return Source("accessory", False, s.heard(path, x), [s.motion.engine * order * k for k in (1, 2)],
                  "both", engine_orders=[order, 2 * order])  # fmt: skip


def sound_of(name: str, s: Stage) -> Source:
    """Return a source by its name."""
    plain = {
        "mesh": mesh,
        "propshaft": propshaft,
        "joint": joint,
        "tread": tread,
        "wheel imbalance": wheel_imbalance,
        "gearbox": gearbox,
        "brake": brake,
        "differential": differential,
        "resonance": boom,
        "accessory": accessory,
    }
    return plain[name](s) if name in plain else bearing(s, name)


# --- how far a source stands above what masks it ------------------------------------------------------------


def critical_width(f: Array) -> Array:
    """Return the critical bandwidth in Hz (ISO/TS 20065), never wider than the tone's own frequency."""
    return np.minimum(25 + 75 * (1 + 1.4 * (f / 1000) ** 2) ** 0.69, np.maximum(f, 1))


def masking_index(f: Array) -> Array:
    """Return the masking index in dB (ISO/TS 20065)."""
    return -2 - np.log10(1 + (f / 502) ** 2.5)


def corners(f: Array) -> tuple[Array, Array]:
    """Return the ends of the band about a tone: their geometric mean is the tone (ISO/TS 20065)."""
    width = critical_width(f)
    low = -width / 2 + np.sqrt(width**2 + 4 * f**2) / 2
    return low, low + width


@dataclass
class Look:
    """Complex spectra of a signal, frames by bins, fine for low lines and quick for high ones."""

    quick: Array
    fine: Array

    QUICK = 4096
    FINE = 2048

    @classmethod
    def at(cls, x: Array) -> Look:
        slow = fft.irfft(fft.rfft(x)[: len(x) * SLOW // RATE // 2 + 1], len(x) * SLOW // RATE) * (SLOW / RATE)
        return cls(cls._spectra(x, cls.QUICK, RATE), cls._spectra(slow.astype(np.float32), cls.FINE, SLOW))

    @classmethod
    def _spectra(cls, x: Array, size: int, rate: int) -> Array:
        hop = rate * 2 // 25
        window = signal.get_window("hann", size).astype(np.float32)
        padded = np.pad(x, size // 2)
        frames = np.lib.stride_tricks.sliding_window_view(padded, size)[::hop]
        keep = min(size // 2 + 1, int(6000 / (rate / size)))
        return fft.rfft(frames * window, axis=1)[:, :keep] / math.sqrt(float(np.sum(window**2)) * rate)

    def less(self, other: Look) -> Look:
        return Look(self.quick - other.quick, self.fine - other.fine)

    def plus(self, other: Look) -> Look:
        return Look(self.quick + other.quick, self.fine + other.fine)

    def times_gain(self, gain: float) -> Look:
        return Look(self.quick * np.float32(gain), self.fine * np.float32(gain))

    @property
    def times(self) -> Array:
        return np.arange(len(self.quick)) * 0.08

    def band(self) -> Bands:
        return Bands(*(np.pad(np.cumsum(x.real**2 + x.imag**2, axis=1, dtype=np.float64), ((0, 0), (1, 0)))
                       for x in (self.quick, self.fine)))  # fmt: skip


@dataclass
class Bands:
    """Powers summed up along frequency, to read any band of any frame."""

    quick: Array
    fine: Array

    def power(self, low: Array, high: Array) -> Array:
        """Return the power of each frame between two frequencies (Hz, one of each a frame)."""
        n = min(len(self.quick), len(self.fine), len(low))
        quick = self._read(self.quick[:n], low[:n], high[:n], RATE / Look.QUICK)
        fine = self._read(self.fine[:n], low[:n], high[:n], SLOW / Look.FINE)
        return np.where(high[:n] < 400, fine, quick)

    @staticmethod
    def _read(total: Array, low: Array, high: Array, step: float) -> Array:
        rows = np.arange(len(total))

        def upto(f: Array) -> Array:
            place = np.clip(f / step + 0.5, 0, total.shape[1] - 1.001)
            i = place.astype(int)
            return total[rows, i] * (1 - place + i) + total[rows, i + 1] * (place - i)

        return (upto(high) - upto(low)) * 2 * step


def best_run(top: Array, bottom: Array, seconds: float, step: float) -> tuple[Array, float, int]:
    """Return running means of both, the best ratio, and where it begins."""
    n = max(1, min(int(seconds / step), len(top)))
    a = np.convolve(top, np.ones(n) / n, "valid")
    b = np.convolve(bottom, np.ones(n) / n, "valid")
    ratio = np.where(b > 0, a / np.maximum(b, 1e-30), 0)
    i = int(np.argmax(ratio))
    return ratio, float(ratio[i]), i


def tone_figure(
    source: Source, own: Bands, others: Bands, times: Array, motion: Motion
) -> tuple[float, float, float]:
    """Return the best line's prominence (dB), where its 3 s begin (s), and its frequency there (Hz)."""
    best = (-99.0, 0.0, 0.0)
    for k, line in enumerate(source.lines):
        f = np.interp(times, motion.time, line)
        heard = (f > 8) & (f < 5500)
        low, high = corners(np.maximum(f, 8))
        t, g = own.power(low, high), others.power(low, high)
        n = len(t)
        heard = heard[:n]
        t = np.where(heard, t * 10 ** (-masking_index(f[:n]) / 10), 0)
        _, ratio, i = best_run(t, np.where(heard, g, g + 1e-9), BEST_S, 0.08)
        value = 10 * math.log10(max(ratio, 1e-9))
        if value > best[0]:
            best = (value, float(times[i]), float(f[min(i + int(BEST_S / 0.16), n - 1)]))
            source.best_line = k
    return best


OCTAVES = ((353, 707), (707, 1414), (1414, 2828), (2828, 5657))


def envelopes(x: Array) -> list[Array]:
    """Return squared envelopes in octave bands, at 1200 Hz."""
    spectrum = fft.rfft(x)
    step = RATE / len(x)
    short = int(len(x) * 1200 / RATE)
    out = []
    for low, high in OCTAVES:
        band = np.zeros(len(x), np.complex64)
        a, b = int(low / step), int(high / step)
        band = np.zeros(int(len(x) * 6000 / RATE), np.complex64)
        band[: b - a] = spectrum[a:b]
        power = np.abs(fft.ifft(band)) ** 2 * (len(band) / len(x)) ** 2 * 4
        out.append(fft.irfft(fft.rfft(power)[: short // 2 + 1], short) * (short / len(power)))
    return out


def modulation_figure(source: Source, others: Array, motion: Motion) -> tuple[float, float, float]:
    """Return the best prominence (dB) of a modulation in any octave band, where, and at which rate."""
    best = (-99.0, 0.0, 0.0)
    size, hop = 1024, 96
    window = np.hanning(size).astype(np.float32)
    for own, rest in zip(envelopes(source.stem), envelopes(others), strict=True):
        spectra = []
        for x in (own, rest):
            frames = np.lib.stride_tricks.sliding_window_view(np.pad(x, size // 2), size)[::hop]
            frames = frames - frames.mean(axis=1, keepdims=True)
            spectra.append(
                np.pad(np.cumsum(np.abs(fft.rfft(frames * window, axis=1)) ** 2, axis=1), ((0, 0), (1, 0)))
            )
        times = np.arange(len(spectra[0])) * hop / 1200
        for rate in source.rates:
            f = np.interp(times, motion.time, rate)
            heard = (f > 4) & (f < 500)
            width = np.maximum(f / 2, 2.0)
            a, b = (Bands._read(s, np.maximum(f - width, 2), f + width, 1200 / size) for s in spectra)
            _, ratio, i = best_run(np.where(heard, a, 0), np.where(heard, b, b + 1e-20), BEST_S, hop / 1200)
            value = 5 * math.log10(max(ratio, 1e-18))
            if value > best[0]:
                best = (value, float(times[i]), float(f[min(i + 18, len(f) - 1)]))
    return best


def measure(source: Source, others: Array, look: Look, motion: Motion) -> None:
    """Set a source's prominence over all others: their sum and its spectra."""
    assert source.look is not None
    figures = {}
    if source.lines:
        figures["tone"] = tone_figure(source, source.look.band(), look.band(), look.times, motion)
    if source.rates:
        figures["modulation"] = modulation_figure(source, others, motion)
    source.figure = max(figures, key=lambda k: figures[k][0])
    source.prominence_db, source.best_s, source.best_hz = figures[source.figure]


# --- the phone ----------------------------------------------------------------------------------------------


@dataclass
class Phone:
    corner_hz: float
    peak_hz: float
    self_noise_db: float
    gain: float
    """Full scale per pascal."""
    automatic: bool
    suppression_db: float
    soft: bool
    rate: int
    codec: str
    container: str
    suffix: str
    bit_rate: int
    channels: int
    buffeting: float
    handling: int


CODECS: tuple[tuple[str, str, str, tuple[int, ...], tuple[int, ...]], ...] = (
    ("aac", "ipod", ".m4a", (44100, 48000), (48, 64, 96, 128)),
    ("aac", "ipod", ".m4a", (16000, 32000, 44100), (24, 32, 48, 64)),
    ("libopus", "ogg", ".opus", (16000, 24000, 48000), (16, 24, 32, 64)),
    ("libmp3lame", "mp3", ".mp3", (22050, 44100, 48000), (64, 96, 128)),
    ("pcm_s16le", "wav", ".wav", (16000, 44100, 48000), (0,)),
)


def draw_phone(rng: Rng) -> Phone:
    """Return a phone and the way it is held; spreads: common practice, no source."""
    codec, container, suffix, rates, bits = CODECS[rng.choice(len(CODECS), p=(0.3, 0.15, 0.2, 0.15, 0.2))]
    return Phone(
        corner_hz=float(rng.choice([12, 25, 60, 100])) * rng.uniform(0.8, 1.2),
        peak_hz=rng.uniform(3500, 9000),
        self_noise_db=rng.uniform(26, 36),
        gain=10 ** (rng.uniform(-14, 10) / 20) * 0.25,
        automatic=bool(rng.random() < 0.35),
        suppression_db=float(rng.choice([0, 0, 0, 6, 10, 15])),
        soft=bool(rng.random() < 0.5),
        rate=int(rng.choice(rates)),
        codec=codec,
        container=container,
        suffix=suffix,
        bit_rate=int(rng.choice(bits)) * 1000,
        channels=2 if rng.random() < 0.2 and codec != "libopus" else 1,
        buffeting=rng.uniform(0.3, 1) if rng.random() < 0.15 else 0.0,
        handling=int(rng.integers(1, 6)) if rng.random() < 0.3 else 0,
    )


def microphone(phone: Phone) -> Array:
    """Return the microphone's response over ``GRID``."""
    f = np.maximum(GRID, 1.0)
    high_pass = 1 / (1 - 1j * phone.corner_hz / f)
    steep = high_pass if phone.corner_hz > 50 else 1.0
    return (high_pass * steep * (1 + 0.7 * resonance(phone.peak_hz, 2.0))).astype(np.complex64)


def at_the_phone(phone: Phone, clock: Clock, rng: Rng) -> Array:
    """Return what sounds only at the microphone: its own noise, draughts and the hand."""
    x = rng.standard_normal(clock.size, np.float32) * np.float32(PASCAL * 10 ** (phone.self_noise_db / 20))
    rows = clock.size // HOP + 1
    if phone.buffeting:
        t = np.arange(rows) * HOP / RATE
        gust = signal.lfilter([0.05], [1, -0.95], rng.standard_normal(rows)) * 4
        bursts = (
            smooth(gust - 0.3)
            * np.interp(t, clock.motion.time, np.minimum(clock.motion.speed / 15, 1.5)) ** 2
        )
        spectrum = third_octaves({20: 92, 50: 88, 100: 78, 200: 66, 500: 50, 2000: 34, 12000: 15})
        x += noise(rng, clock.size, np.outer(bursts * phone.buffeting, spectrum))
    for _ in range(phone.handling):
        i, w = int(rng.integers(0, clock.size - RATE)), int(rng.uniform(0.03, 0.6) * RATE)
        rub = rng.standard_normal(w).astype(np.float32) * np.hanning(w)
        rub = signal.sosfilt(signal.butter(2, (60, 900), "bandpass", fs=RATE, output="sos"), rub)
        x[i : i + w] += (rub * PASCAL * 10 ** (rng.uniform(70, 88) / 20) / np.std(rub)).astype(np.float32)
    return x


def record(phone: Phone, mix: Array, rng: Rng) -> Array:
    """Return what the phone makes of the pressure at its microphone: channels by samples, at its own rate."""
    x = mix * np.float32(phone.gain)
    if phone.automatic:
        block = RATE // TICK
        level = np.sqrt(np.mean(x[: len(x) // block * block].reshape(-1, block) ** 2, axis=1)) + 1e-7
        held, gains = float(np.median(level[:50])), []
        for value in level:
            held += (value - held) * (0.08 if value > held else 0.004)
            gains.append(min(0.12 / held, 30.0) ** 0.8)
        x = x * np.interp(np.arange(len(x)) / block, np.arange(len(gains)), gains).astype(np.float32)
    if phone.suppression_db:
        x = suppress(x, phone.suppression_db)
    x = np.tanh(x * 1.2) / 1.2 if phone.soft else x
    up = phone.rate // math.gcd(phone.rate, RATE)
    x = signal.resample_poly(np.clip(x, -1.2, 1.2), up, RATE // math.gcd(phone.rate, RATE)).astype(np.float32)
    hiss = 3e-5 * phone.gain / 0.25
    out = np.stack([x * (1 if c == 0 else 0.9) + rng.standard_normal(len(x), np.float32) * np.float32(hiss)
                    for c in range(phone.channels)])  # fmt: skip
    return np.clip(out, -1, 1)


def suppress(x: Array, depth_db: float) -> Array:
    """Return x with steady noise taken down, as phones do for speech: a Wiener gain over a slow minimum."""
    rows = len(x) // HOP + 1
    padded = np.zeros((rows + 1) * HOP, np.float32)
    padded[: len(x)] = x
    frames = np.lib.stride_tricks.sliding_window_view(padded, FRAME)[::HOP] * np.hanning(FRAME).astype(
        np.float32
    )
    power = np.abs(fft.rfft(frames, axis=1)) ** 2
    power = signal.lfilter([0.3], [1, -0.7], power, axis=0)
    from_minimum = 1.8 * _running_minimum(power, 35)
    gain = np.maximum(1 - from_minimum / np.maximum(power, 1e-20), 10 ** (-depth_db / 20))
    return shaped(x, gain)


def _running_minimum(x: Array, rows: int) -> Array:
    out, reach = x.copy(), 1
    while reach < rows:
        step = min(reach, rows - reach)
        out[step:] = np.minimum(out[step:], out[:-step].copy())
        reach += step
    return out


def encode(phone: Phone, channels: Array) -> bytes:
    """Return the recording as a file."""
    file = io.BytesIO()
    pcm = np.round(channels * 32767).astype(np.int16)
    with av.open(file, "w", format=phone.container, options={"fflags": "+bitexact"}) as box:
        stream: Any = box.add_stream(phone.codec, rate=phone.rate)
        stream.layout = "stereo" if phone.channels == 2 else "mono"
        if phone.bit_rate:
            stream.bit_rate = phone.bit_rate * phone.channels
        if phone.codec == "aac":
            stream.options = {"aac_coder": "fast", "flags": "+bitexact"}
        for i in range(0, pcm.shape[1], phone.rate):
            chunk = np.ascontiguousarray(pcm[:, i : i + phone.rate].T.reshape(1, -1))
            frame = av.AudioFrame.from_ndarray(chunk, "s16", stream.layout.name)
            frame.sample_rate, frame.pts = phone.rate, i
            for packet in stream.encode(frame):
                box.mux(packet)
        for packet in stream.encode(None):
            box.mux(packet)
    return file.getvalue()


def decode(encoded: bytes, rate: int) -> Array:
    """Return a recording as one channel at a rate."""
    parts = []
    with av.open(io.BytesIO(encoded)) as box:
        to = av.AudioResampler("flt", "mono", rate)
        for frame in box.decode(audio=0):
            parts += [f.to_ndarray()[0] for f in to.resample(frame)]
        parts += [f.to_ndarray()[0] for f in to.resample(None)]
    return np.concatenate(parts)


# --- what the user knows ------------------------------------------------------------------------------------


def speed_told(kind: str, motion: Motion, rng: Rng) -> dict[str, Any]:
    """Return the speeds the user has: typed at marks, typed once, or a table from a satellite receiver."""
    over, offset = rng.uniform(0.0, 0.07), rng.uniform(0, 0.5)
    shown = np.where(motion.speed > 1, motion.speed * (1 + over) + offset, motion.speed)
    if kind == "held":
        nearest = (
            round(float(np.median(shown)) * 3.6 / 5) * 5
            if rng.random() < 0.5
            else round(float(np.median(shown)) * 3.6)
        )
        return {"kind": kind, "points": [(0.0, round(nearest / 3.6, 3))]}
    if kind == "table":
        delay, spread = rng.uniform(0.2, 1.4), rng.uniform(0.05, 0.3)
        times = np.arange(0.0, motion.seconds, 1.0) + rng.uniform(0, 0.9)
        seen = np.interp(times - delay, motion.time, motion.speed) + rng.normal(0, spread, len(times))
        kept = rng.random(len(times)) > rng.choice([0.0, 0.05, 0.15])
        return {
            "kind": kind,
            "points": [
                (round(float(t), 2), round(max(float(v), 0.0), 2))
                for t, v, k in zip(times, seen, kept, strict=True)
                if k
            ],
        }
    step = rng.choice([5, 10]) / 3.6
    points, last = [], -9.0
    for i in range(1, len(shown)):
        before, after = shown[i - 1] / step, shown[i] / step
        thumb = motion.time[i] + abs(rng.normal(0.25, 0.25)) + 0.1
        if int(before) != int(after) and thumb - last > 1.5 and thumb < motion.seconds:
            points.append((round(float(thumb), 2), round(float(step * max(int(before), int(after))), 3)))
            last = thumb
    for t in (0.3, motion.seconds / 2, motion.seconds - 0.5):
        if not any(abs(t - p[0]) < 4 for p in points):
            v = float(np.interp(t - 0.4, motion.time, shown))
            points.append((round(t, 2), round(round(v * 3.6) / 3.6, 3)))
    return {"kind": kind, "points": sorted(points)}


def told(vehicle: Vehicle, speed: dict[str, Any], rng: Rng) -> dict[str, Any]:
    """Return what the user says of the vehicle."""
    known = rng.random() < 0.5
    return {
        "ring_teeth": vehicle.ring_teeth,
        "pinion_teeth": vehicle.pinion_teeth,
        "rolling_circumference_m": round(vehicle.circumference_m * (1 + rng.uniform(-0.02, 0.02)), 3),
        "cylinders": vehicle.cylinders if rng.random() < 0.75 else None,
        "gear_ratios": list(vehicle.gears) if rng.random() < 0.5 else None,
        "bearings": [vars(b).copy() for b in vehicle.bearings.values()] if known else [],
        "joint_present": vehicle.joint_present,
        "speed": speed,
    }


# --- a drive ------------------------------------------------------------------------------------------------


@dataclass
class Case:
    """All that is drawn before anything sounds."""

    vehicle: Vehicle
    faults: dict[str, tuple[float, str]]
    """Fault to the prominence wanted (dB) and its side."""
    speed_kind: str
    plan: str
    phone: Phone


def draw_case(seed: int, kind: str | None) -> Case:
    """Return the vehicle, its complaint, the way it is driven and recorded."""
    rng = np.random.default_rng([seed, 1])
    vehicle = draw_vehicle(rng)
    kinds = [kind] if kind else []
    if kind and rng.random() < 0.25:
        kinds.append(str(rng.choice([f for f in FAULTS if f != kind])))
    faults = {
        k: (rng.uniform(-6, 18), str(rng.choice(["drive", "coast", "both"], p=(0.45, 0.3, 0.25))))
        for k in kinds
    }
    if "joint" in faults:
        vehicle.joint_present = True
    speed_kind = str(rng.choice(["marks", "held", "table"], p=(0.4, 0.25, 0.35)))
    if speed_kind == "held" and faults:  # at one speed there is one side to hear
        first = next(iter(faults.values()))[1]
        faults = {k: (db, first) for k, (db, _) in faults.items()}
    plan = (
        "held" if speed_kind == "held" else str(rng.choice(["sweep", "steps", "turns"], p=(0.55, 0.3, 0.15)))
    )
    if "differential" in faults:
        plan, speed_kind = "turns", "marks" if speed_kind == "held" else speed_kind
    return Case(vehicle, faults, speed_kind, plan, draw_phone(rng))


def perform(
    case: Case,
    seed: int,
    gains_db: dict[str, float] | None = None,
    keep: dict[str, Any] | None = None,
    user: int = -1,
) -> Drive:
    """Drive the case and record it.

    Parameters
    ----------
    gains_db
        Gains of the sources, by name, where they are known already; otherwise each source is brought to the
        prominence wanted of it.
    keep
        Filled with the stems and the mix, for the check.
    user
        Seed of what the user knows of the vehicle and means to drive; that of the drive unless given.
    """
    rng = np.random.default_rng([seed, 2])
    vehicle = case.vehicle
    seconds = 0.5 * round(2 * rng.uniform(45, 65))
    sides = {side for _, side in case.faults.values()}
    downhill = case.plan == "held" and "coast" in sides
    intention = np.random.default_rng([user if user >= 0 else seed, 5])
    for _ in range(20):
        start, legs = draw_legs(intention, case.plan, intention.uniform(13, 32))
        motion = move(vehicle, rng, start, legs, seconds, downhill)
        geared = np.mean([g >= 0 and vehicle.gears[g] != 1.0 for g in motion.gear])
        if "gearbox" not in case.faults or geared > 0.3:
            break  # a gearbox cannot be heard on a drive in its direct gear
    clock = Clock.of(motion)

    def own(what: str) -> Rng:
        return np.random.default_rng([vehicle.character, *what.encode()])

    ear = microphone(case.phone)
    road, bumps = road_noise(vehicle, clock, rng)
    cabin = draw_path(own("cabin"), vehicle, 30, 600, 0.0)
    lively = 1 + 0.35 * (cabin - 1) * smooth(1.3 - GRID / 800)
    rest = through(lively * ear, road, clock.size)
    rest += through(ear, wind_noise(clock, rng) + bystanders(vehicle, clock, rng)
                    + bump_noise(vehicle, clock, rng, bumps), clock.size)  # fmt: skip
    rest += at_the_phone(case.phone, clock, rng)
    innocent = Stage(vehicle, clock, own("engine"), False, "both", ear)
    half = vehicle.cylinders / 2
    used = sorted({int(g) for g in motion.gear if g >= 0})
    engine = Source("engine", False, through(ear, engine_noise(vehicle, clock, innocent.rng), clock.size),
                    [motion.engine * k * half for k in (1, 2)],
                    "both", [vehicle.ratio * vehicle.gears[g] * half for g in used],
                    engine_orders=[half, 2 * half])  # fmt: skip
    sources = [engine]
    quiet = own("quiet")
    hardly = [
        "mesh",
        "propshaft",
        "wheel imbalance",
        "gearbox",
        *(["joint"] if vehicle.joint_present else []),
    ]
    wanted = [
        ("accessory", False, "both", quiet.uniform(-14, 8)),
        ("tread", False, "both", quiet.uniform(-10, 10)),
        *((name, False, "both", quiet.uniform(-18, -5)) for name in hardly if name not in case.faults),
        *((name, True, side, db) for name, (db, side) in case.faults.items()),
    ]
    for name, fault, side, db in wanted:
        source = sound_of(name, Stage(vehicle, clock, own(f"{name}{fault}"), fault, side, ear))
        source.target_db = db
        sources.append(source)
    whole, _ = _balance(sources, rest, motion, gains_db or {})
    encoded = encode(case.phone, record(case.phone, whole, rng))
    speed = speed_told(case.speed_kind, motion, rng)
    if keep is not None:
        keep |= {"sources": sources, "whole": whole, "motion": motion, "rest": rest}
    tenth = slice(None, None, TICK // 20)
    truth = {
        "sources": [s.told() for s in sources],
        "complaint": [s.name for s in sources if s.fault and s.prominence_db >= COMPLAINT_DB],
        "faults": [s.name for s in sources if s.fault],
        "time_s": np.round(motion.time[tenth], 3).tolist(),
        "wheel_rev_s": np.round(motion.wheel[tenth], 5).tolist(),
        "engine_rev_s": np.round(motion.engine[tenth], 5).tolist(),
        "vehicle_mps": np.round(motion.speed[tenth], 4).tolist(),
        "torque_share": np.round(motion.force[tenth] / (vehicle.mass_kg * 2.0), 4).tolist(),
        "gear": motion.gear[tenth].tolist(),
        "rolling_circumference_m": vehicle.circumference_m,
        "plan": case.plan,
        "phone": vars(case.phone).copy(),
    }
    return Drive(
        encoded,
        case.phone.suffix,
        told(vehicle, speed, np.random.default_rng([user if user >= 0 else seed, 3])),
        truth,
    )


def _balance(
    sources: list[Source], rest: Array, motion: Motion, gains_db: dict[str, float]
) -> tuple[Array, Look]:
    """Bring each source to its gain or to the prominence wanted, one by one; return the sum of all."""
    whole, look = rest.copy(), Look.at(rest)
    for source in sources:
        known = gains_db.get(source.key, 0.0 if source.target_db is None else None)
        if known is None:
            assert source.target_db is not None
            source.gain_db = 20 * math.log10(1e3 * PASCAL / max(float(np.std(source.stem)), 1e-12))
            source.scale(10 ** (source.gain_db / 20))
            measure(source, whole, look, motion)
            more = source.target_db - source.prominence_db
        else:
            more = known
        source.gain_db += more
        source.scale(10 ** (more / 20))
        assert source.look is not None
        whole += source.stem
        look = look.plus(source.look)
    for source in sources:
        assert source.look is not None
        measure(source, whole - source.stem, look.less(source.look), motion)
    return whole, look


def make_drive(seed: int) -> Drive:
    """Return the drive of a seed; the kind of complaint goes round with it."""
    return perform(draw_case(seed, KINDS[seed % len(KINDS)]), seed)


def make_pair(seed: int) -> Pair:
    """Return two drives of one vehicle with one phone: its mesh changed by a known level, else the same.

    The user means to drive the same way again; road, slope, foot, weather and the phone's gain are drawn
    anew.
    """
    rng = np.random.default_rng([seed, 4])
    case = draw_case(seed, None)
    side = str(rng.choice(["drive", "coast", "both"]))
    case.faults = {"mesh": (rng.uniform(2, 18), side)}
    keep: dict[str, Any] = {}
    before = perform(case, seed, keep=keep)
    change = float(rng.uniform(3, 14) * rng.choice([-1, -1, 1])) if rng.random() < 0.8 else 0.0
    gains = {s.key: s.gain_db for s in keep["sources"]}
    gains["mesh!"] += change
    case.phone.gain *= 10 ** (rng.uniform(-6, 6) / 20)
    case.phone.buffeting, case.phone.handling = 0.0, int(rng.integers(0, 3))
    after = perform(case, seed + 1_000_003, gains_db=gains, user=seed)
    return Pair(before, after, change)


# --- the oracle: what the recording holds for one who knows the true speed ----------------------------------

TURNS = 24
PER_TURN = 2048
ORACLE_RATE = 16_000


def order_spectra(encoded: bytes, truth: dict[str, Any]) -> tuple[Array, Array, Array]:
    """Return power by blocks of ``TURNS`` turns and orders of 1/``TURNS``, and how fast things turned.

    That is turns per second of wheel and engine in the middle of each block.
    """
    x = decode(encoded, ORACLE_RATE)
    t = np.arange(len(x)) / ORACLE_RATE
    known = np.array(truth["time_s"])
    rate = np.interp(t, known, truth["wheel_rev_s"])
    turns = np.cumsum(rate) / ORACLE_RATE
    even = np.arange(0, turns[-1], 1 / PER_TURN)
    when = np.interp(even, turns, t)
    y = np.interp(when, t, x).astype(np.float32)
    size, hop = TURNS * PER_TURN, TURNS * PER_TURN // 2
    if len(y) < size:
        return np.empty((0, 0)), np.empty(0), np.empty(0)
    frames = np.lib.stride_tricks.sliding_window_view(y, size)[::hop]
    window = np.hanning(size).astype(np.float32)
    power = np.stack([np.abs(fft.rfft(f * window)[: 260 * TURNS]) ** 2 for f in frames])
    middle = when[np.arange(len(frames)) * hop + size // 2]
    each_turn = np.interp(when[::PER_TURN], known, truth["wheel_rev_s"])
    slowest = np.array([each_turn[i * TURNS // 2 : i * TURNS // 2 + TURNS].min() for i in range(len(frames))])
    wheel = np.where(slowest > 1.2, np.interp(middle, known, truth["wheel_rev_s"]), 0)
    return power, wheel, np.interp(middle, known, truth["engine_rev_s"])


def _stands(power: Array, orders: Array, spread: float) -> Array:
    """Return, by block and order, dB of the line over the median about it; its order may stray by a share."""
    place = np.round(orders * TURNS).astype(int)
    reach = max(1, round(float(orders[0]) * spread * TURNS))
    near = np.stack([power[:, np.clip(place + d, 0, power.shape[1] - 1)] for d in range(-reach, reach + 1)])
    line = near.mean(axis=0) if reach > 1 else near.max(axis=0)
    out = np.empty_like(line)
    for i, p in enumerate(place):
        reach = int(np.clip(0.25 * p, 0.45 * TURNS, 4 * TURNS))
        out[:, i] = np.median(power[:, max(p - reach, 1) : p + reach + 1], axis=1)
    return 10 * np.log10(line / np.maximum(out, 1e-20) + 1e-3)


def oracle(drive: Drive, astray: float = 1.0) -> dict[str, bool]:
    """Return, for each source a true order can find, whether its lines stand out of the recording.

    Each line's level over its surroundings, averaged over the drive and over its best stretch of blocks,
    against the same of decoy orders nearby. Blocks in which an order of the engine falls on the line are left
    out: there the line has two owners and the recording cannot say whose it is. A bound for a listener
    without other knowledge.
    ``astray`` multiplies every order, to learn how often nothing is found to stand out.
    """
    power, wheel, engine = order_spectra(drive.encoded, drive.truth)
    found = {}
    sources = {s["name"]: s for s in sorted(drive.truth["sources"], key=lambda s: s["fault"])}
    taken = np.array([o for s in drive.truth["sources"] for o in s["orders"]] + [float(k) for k in range(5)])
    driven = {s["name"]: s["engine_orders"] for s in drive.truth["sources"]}
    firing = driven["engine"][0]
    halves = np.arange(0.5, 2 * firing + 0.1, 0.5)
    fires = np.concatenate([halves, firing * np.arange(3, 9), driven["accessory"], driven["gearbox"]])
    blocks = Blocks(power, wheel, engine, taken, fires)
    for name in ORACLE_NAMES:
        if name not in sources or not len(power):
            continue
        spreads = (0.0, 0.004) if name == "tread" else (0.0,)  # tyres of one vehicle do not turn quite alike
        found[name] = any(
            _line_found(blocks, o * astray, spread) for o in sources[name]["orders"] for spread in spreads
        )
    return found


@dataclass
class Blocks:
    """A recording's order spectra, and what else is known of them."""

    power: Array
    wheel: Array
    engine: Array
    taken: Array
    """Orders that some source has."""
    fires: Array
    """Orders per turn of the crankshaft: of the engine, of what it drives, of the gearbox."""


def _line_found(known: Blocks, order: float, strays: float) -> bool:
    """Return whether the line of an order stands out, on the whole drive or its best stretch."""
    power, wheel, engine = known.power, known.wheel, known.engine
    if order > power.shape[1] / TURNS - 7:
        return False
    moving = wheel > 0
    clash = (
        np.min(np.abs(np.outer(engine / np.maximum(wheel, 0.1), known.fires) - order), axis=1) < 3.0 / TURNS
    )
    blocks = moving & ~clash
    if np.count_nonzero(blocks) < 3:
        return False
    reach = float(np.clip(0.3 * order, 0.9, 6))
    decoys = order + np.linspace(-reach, reach, 61)
    decoys = decoys[
        (decoys > 0.4)
        & (
            np.min(np.abs(decoys[:, None] - np.append(known.taken, order)), axis=1)
            > 2.6 / TURNS + order * strays
        )
    ]
    if len(decoys) < 8:
        return False
    levels = _stands(power[blocks], np.append(order, decoys), strays)
    mean = levels.mean(axis=0)
    run = min(4, len(levels))
    kernel = np.ones(run) / run
    best = np.max(
        np.stack([np.convolve(levels[:, i], kernel, "valid") for i in range(levels.shape[1])]), axis=1
    )
    for statistic in (mean, best):
        others = statistic[1:]
        spread = max(1.4826 * float(np.median(np.abs(others - np.median(others)))), 0.3)
        if statistic[0] > np.median(others) + 4.5 * spread and statistic[0] > np.quantile(others, 0.97):
            return True
    return False


# --- checks and command line --------------------------------------------------------------------------------


def mix_figure(source: Source, whole: Array, motion: Motion) -> tuple[float, float]:
    """Return a tone's prominence measured on the mix alone, and its order error in per cent.

    The best 3 s are resampled so that the line holds still. Within 3 per cent of it, what is 6 dB over the
    mean narrow-band level (ISO/TS 20065) is the tone; the rest of the band masks it.
    """
    f = source.lines[source.best_line]
    i, j = int((source.best_s) * RATE), int((source.best_s + BEST_S) * RATE)
    t = np.arange(max(i, 0), min(j, len(whole))) / RATE
    hz = np.interp(t, motion.time, f)
    middle = float(np.mean(hz))
    phase = np.cumsum(hz) / RATE
    even = np.arange(phase[0], phase[-1], middle / RATE)
    x = np.interp(np.interp(even, phase, t), np.arange(len(whole)) / RATE, whole)
    power = np.abs(fft.rfft(x * np.hanning(len(x)))) ** 2
    step = RATE / len(x)
    low, high = (float(v) for v in corners(np.array(middle)))
    a, b = max(int(low / step), 1), int(high / step) + 1
    band = power[a:b]
    noise_level = band.mean()
    for _ in range(20):
        kept = band[band < 4 * noise_level]
        if abs(kept.mean() / noise_level - 1) < 0.001:
            break
        noise_level = kept.mean()
    around = np.abs(np.arange(a, b) * step - middle) < 0.03 * middle
    tone = max(float(np.sum(band[around & (band >= 4 * noise_level)])), 1e-30)
    rest = max(float(band.sum()) - tone, 1e-30)
    near = power[int(0.985 * middle / step) : int(1.015 * middle / step) + 2]
    peak = (int(0.985 * middle / step) + int(np.argmax(near))) * step
    value = 10 * math.log10(tone / rest) - float(masking_index(np.array(middle)))
    return value, 100 * (peak / middle - 1)


def check(seeds: Sequence[int]) -> int:
    """Print what was wanted, what came, and what mix and oracle say; return how many checks failed."""
    failed, differences, seconds, oracle_hits, alarms = 0, [], [], [], []
    for seed in seeds:
        keep: dict[str, Any] = {}
        begin = time.process_time()
        drive = perform(draw_case(seed, KINDS[seed % len(KINDS)]), seed, keep=keep)
        seconds.append((time.process_time() - begin) * 60 / keep["motion"].seconds)
        heard = oracle(drive)
        alarms += list(oracle(drive, astray=1.043).values())
        print(
            f"seed {seed}: {KINDS[seed % len(KINDS)]}, {drive.truth['plan']}, "
            f"{drive.told['speed']['kind']}, {drive.suffix}"
        )
        for s in keep["sources"]:
            said = ""
            # under 20 Hz, 3 s hold too few lines to tell tone from band
            measurable = s.figure == "tone" and s.prominence_db > 0 and s.best_hz > 20
            if measurable and s.name not in ("tread", "engine"):
                value, off = mix_figure(s, keep["whole"], keep["motion"])
                said = f"  on the mix {value:6.1f} dB, order off by {off:5.2f} %"
                if s.prominence_db > 4:
                    differences.append(value - s.prominence_db)
                    if abs(off) / 100 * s.best_hz > max(
                        0.01 * s.best_hz, 1.5 / BEST_S
                    ):  # half of a Hann line
                        failed += 1
                        said += "  WRONG ORDER"
            if s.fault and s.name in heard:
                oracle_hits.append((s.prominence_db, heard[s.name]))
            found = f"  oracle {heard[s.name]}" if s.name in heard else ""
            print(
                f"   {s.key:18s} {s.prominence_db:6.1f} dB ({s.figure}) at {s.best_s:5.1f} s, "
                f"{s.best_hz:7.1f} Hz{found}{said}"
            )
        if perform_is_unequal(seed, drive) and seed == seeds[0]:
            failed += 1
            print("   NOT THE SAME TWICE")
    typical = float(np.median(differences)) if differences else 0.0
    failed += abs(typical) > 2.5
    print(f"prominence on the mix less that of the stems: median {typical:.1f} dB, "
          f"half within {np.median(np.abs(differences)):.1f} dB, of {len(differences)}")  # fmt: skip
    for low, high in ((-20, 0), (0, 3), (3, 8), (8, 30)):
        hits = [h for p, h in oracle_hits if low <= p < high]
        print(f"oracle, faults of {low} to {high} dB: {sum(hits)} of {len(hits)}")
    print(f"oracle, orders that nothing has: {sum(alarms)} of {len(alarms)}")
    print(
        f"CPU seconds for 60 s of drive: median {np.median(seconds):.1f}, worst {max(seconds):.1f}; "
        f"{failed} failed"
    )
    return failed


def perform_is_unequal(seed: int, drive: Drive) -> bool:
    """Return whether a second making differs from the first; looked at for a seed in sixteen."""
    return seed % 16 == 0 and make_drive(seed).encoded != drive.encoded


def write(drive: Drive, stem: Path) -> None:
    """Write a drive's sound, and what is told and true of it."""
    stem.with_suffix(drive.suffix).write_bytes(drive.encoded)
    stem.with_suffix(".json").write_text(
        json.dumps({"told": drive.told, "truth": drive.truth}, indent=1), "utf-8"
    )


def main() -> int:
    """Run the command line."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--count", type=int, default=16)
    parser.add_argument("--out", type=Path)
    parser.add_argument(
        "--pairs", action="store_true", help="pairs of drives, before and after a known change"
    )
    parser.add_argument("--check", action="store_true")
    options = parser.parse_args()
    seeds = range(options.seed, options.seed + options.count)
    if options.check or options.out is None:
        return 1 if check(seeds) else 0
    options.out.mkdir(parents=True, exist_ok=True)
    for seed in seeds:
        if options.pairs:
            pair = make_pair(seed)
            for drive, word in ((pair.before, "before"), (pair.after, "after")):
                drive.truth["mesh_change_db"] = pair.mesh_change_db
                write(drive, options.out / f"pair{seed:05d}_{word}")
        else:
            write(make_drive(seed), options.out / f"drive{seed:05d}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
