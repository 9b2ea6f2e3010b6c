"""Make dirty drives with known sources: the listener's own training ground.

    make_drive(seed) -> RoadDrive

Everything that is always there is always there: an engine with gear steps, ordinary tread, road,
wind, body resonances, lines below hearing; at times speech, a radio, a phone's noise suppression.
What a drive complains of is scaled to a stated prominence: the source's power over everything else
in the best of its critical bands, in the loudest tenth of the drive. All of it is our own guess.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, signal
from scipy.interpolate import PchipInterpolator

from axlewright.sound.figures import critical_bandwidth_hz
from axlewright.sound.orders import bearing_orders
from axlewright.sound.simulated_drive import encode

FloatArray = NDArray[np.float64]

RATE: Final = 16000
SLOW: Final = 50
"""Slow signals (speed, gear, load) per second."""
BANDS: Final = np.geomspace(30.0, 5500.0, 64)
COMPLAINTS: Final = {
    "mesh": 0.24, "propshaft": 0.08, "joint": 0.08, "tread": 0.08, "wheel imbalance": 0.06,
    "wheel bearing": 0.10, "pinion bearing": 0.07, "carrier bearing": 0.04, "gearbox": 0.06,
    "engine": 0.06, "brake": 0.03, "differential": 0.02, "resonance": 0.05, "accessory": 0.03,
}  # fmt: skip
AXLES: Final = (
    (41, 11),
    (39, 9),
    (41, 12),
    (39, 14),
    (37, 10),
    (43, 12),
    (46, 11),
    (35, 11),
    (37, 9),
    (40, 13),
)


@dataclass(frozen=True)
class RoadDrive:
    """A drive: the file, what the person tells, and the truth."""

    encoded: bytes
    suffix: str
    told: dict[str, Any]
    truth: dict[str, Any] = field(default_factory=dict)


@dataclass
class _Road:
    """What the vehicle does, at `SLOW` and at sample rate."""

    rng: np.random.Generator
    n: int
    ring: int
    pinion: int
    circumference: float
    speed: FloatArray
    accel: FloatArray
    load: FloatArray
    turns: FloatArray
    engine_turns: FloatArray
    gear: NDArray[np.int_]
    cylinders: int
    ratios: tuple[float, ...]
    bearings: list[dict[str, Any]]

    def fast(self, slow: FloatArray) -> FloatArray:
        """Bring a slow signal to the sample rate."""
        at = np.arange(self.n) / RATE
        return np.interp(at, np.arange(len(slow)) / SLOW, slow)


def make_drive(seed: int) -> RoadDrive:
    """Make one drive."""
    rng = np.random.default_rng([81, seed])
    duration = float(rng.uniform(32, 60))
    kind = str(rng.choice(["marks", "held", "table"], p=[0.4, 0.2, 0.4]))
    road = _drive(rng, duration, held=kind == "held")
    count = int(rng.choice([0, 1, 2], p=[0.2, 0.62, 0.18]))
    names = [
        str(n) for n in rng.choice(list(COMPLAINTS), size=count, replace=False, p=list(COMPLAINTS.values()))
    ]
    rest = _background(road)
    truth = []
    always = [("tread", float(rng.uniform(-16, 1))), ("engine", float(rng.uniform(-8, 9)))]
    quiet = [(str(n), float(rng.uniform(-16, -5))) for n in rng.choice(list(COMPLAINTS), 2, replace=False)]
    for name, level in [*always, *quiet]:
        if name in names or name in [s["name"] for s in truth]:
            continue
        part, facts = _source(road, name)
        part = _scaled(part, rest, level)
        truth.append({"name": name, "prominence_db": level, **facts})
        rest = rest + part
    for name in names:
        level = float(rng.uniform(0, 17))
        part, facts = _source(road, name)
        truth.append({"name": name, "prominence_db": level, **facts})
        rest = rest + _scaled(part, rest, level)
    sound, recorder = _recorded(rng, rest)
    codec = str(rng.choice(["m4a", "opus", "mp3", "wav"], p=[0.45, 0.25, 0.1, 0.2]))
    data, suffix = encode(sound, RATE, codec, int(rng.choice([32, 48, 64, 96])))  # type: ignore[arg-type]
    told = _told(road, rng, kind, duration)
    times = np.arange(0.0, duration, 0.1)
    wheel = np.interp(times, np.arange(len(road.speed)) / SLOW, road.speed / road.circumference)
    return RoadDrive(data, suffix, told, {
        "sources": truth,
        "complaint": [s["name"] for s in truth if s["name"] in names and s["prominence_db"] >= 3.0],
        "times_s": times, "wheel_hz": wheel, "recorder": recorder, "kind": kind,
    })  # fmt: skip


def _drive(rng: np.random.Generator, duration: float, *, held: bool) -> _Road:
    ring, pinion = AXLES[int(rng.integers(len(AXLES)))]
    circumference = float(rng.uniform(1.85, 2.55))
    slow_n = int(duration * SLOW) + SLOW
    t = np.arange(slow_n) / SLOW
    if held:
        base = float(rng.uniform(11, 31))
        speed = np.full(slow_n, base)
    else:
        knots, values = [0.0], [float(rng.uniform(8, 26))]
        while knots[-1] < duration + 2:
            knots.append(knots[-1] + float(rng.uniform(4, 16)))
            step = float(rng.choice([rng.normal(0, 0.4), rng.uniform(2, 11), rng.uniform(-11, -2)]))
            values.append(float(np.clip(values[-1] + step, 6, 34)))
        if max(values) / min(values) < 1.25 and rng.random() < 0.8:
            values[len(values) // 2] = float(np.clip(values[0] * 1.6, 8, 34))
        speed = PchipInterpolator(knots, values)(t)
        speed = ndimage.gaussian_filter1d(speed, SLOW * 0.8)
    speed = speed * (
        1 + ndimage.gaussian_filter1d(rng.normal(0, 1, slow_n), SLOW * 1.5) * rng.uniform(0.02, 0.09)
    )
    accel = ndimage.gaussian_filter1d(np.gradient(speed) * SLOW, SLOW * 0.2)
    grade = ndimage.gaussian_filter1d(rng.normal(0, 1, slow_n), SLOW * 6) * rng.uniform(0, 2.5)
    load = accel + 0.12 + 0.0004 * speed**2 + 9.81 * np.clip(grade, -0.04, 0.04)
    top = int(rng.integers(4, 9))
    first, last = float(rng.uniform(3.0, 4.6)), float(rng.uniform(0.6, 1.0))
    ratios = tuple(float(x) for x in np.geomspace(first, last, top))
    axle = ring / pinion
    up, down = float(rng.uniform(28, 50)), float(rng.uniform(17, 26))
    gear = np.zeros(slow_n, dtype=int)
    wheel = speed / circumference
    current = next((g for g in range(top) if wheel[0] * axle * ratios[g] < up), top - 1)
    since = 0
    for i in range(slow_n):
        turn = wheel[i] * axle * ratios[current]
        since += 1
        if since > 2 * SLOW and turn > up and current < top - 1:
            current, since = current + 1, 0
        elif since > 2 * SLOW and turn < down and current > 0:
            current, since = current - 1, 0
        gear[i] = current
    slip = 1 + (rng.uniform(0.0, 0.04) * np.clip(load, 0, 1.5) if rng.random() < 0.4 else 0.0)
    engine = wheel * axle * np.asarray(ratios)[gear] * slip
    if rng.random() < 0.2:
        a = int(rng.uniform(0.2, 0.7) * slow_n)
        engine[a : a + int(rng.uniform(4, 10) * SLOW)] = rng.uniform(11, 15)
    engine = np.maximum(ndimage.gaussian_filter1d(engine, SLOW * 0.12), 10.5)
    n = int(duration * RATE)
    at = np.arange(n) / RATE
    turns = np.cumsum(np.interp(at, t, wheel)) / RATE
    engine_turns = np.cumsum(np.interp(at, t, engine)) / RATE
    bearings = []
    for name, low in (("wheel bearing", 26.0), ("pinion bearing", 14.0), ("carrier bearing", 18.0)):
        rollers = int(rng.integers(13, 23))
        pitch = float(rng.uniform(45, 95))
        roller = pitch * math.pi / rollers * float(rng.uniform(0.62, 0.85))
        bearings.append({"name": name, "rollers": rollers, "roller_diameter_mm": round(roller, 2),
                         "pitch_diameter_mm": round(pitch, 2),
                         "contact_angle_deg": float(round(rng.uniform(0, low), 1))})  # fmt: skip
    return _Road(rng, n, ring, pinion, circumference, speed, accel, load, turns, engine_turns, gear,
                 int(rng.choice([3, 4, 4, 4, 5, 6, 6, 8])), ratios, bearings)  # fmt: skip


def _shaped(rng: np.random.Generator, n: int, shape: Any) -> FloatArray:
    white = np.fft.rfft(rng.standard_normal(n).astype(np.float32))
    f = np.fft.rfftfreq(n, 1 / RATE) + 1e-3
    return np.asarray(np.fft.irfft(white * shape(f), n))


def _body(rng: np.random.Generator) -> Any:
    """Draw a transfer function of the body: a few resonances and dips over frequency."""
    knots = np.geomspace(15, 8000, 28)
    curve = ndimage.gaussian_filter1d(rng.normal(0, 5.0, len(knots)), 0.8)
    peaks = [(float(np.exp(rng.uniform(np.log(30), np.log(900)))), float(rng.uniform(2, 9)),
              float(rng.uniform(4, 25)))
             for _ in range(int(rng.integers(2, 7)))]  # fmt: skip

    def gain(f: FloatArray) -> FloatArray:
        db = np.interp(np.log(np.maximum(f, 1.0)), np.log(knots), curve)
        total = 10 ** (db / 20)
        for centre, height, quality in peaks:
            total = total * (
                1
                + (10 ** (height / 20) - 1)
                / np.sqrt(1 + (quality * (f / centre - centre / np.maximum(f, 1))) ** 2)
            )
        return np.asarray(total)

    return gain


def _background(road: _Road) -> FloatArray:
    rng = road.rng
    corner, slope = rng.uniform(60, 220), rng.uniform(0.8, 1.5)
    high = rng.uniform(600, 1800)
    body = _body(rng)
    tyre_noise = _shaped(
        rng, road.n, lambda f: body(f) / (1 + (f / corner) ** slope) / (1 + (f / high) ** 2) ** 0.6
    )
    wind = _shaped(rng, road.n, lambda f: 1 / (1 + (f / rng.uniform(200, 500)) ** 1.2))
    speed = road.fast(road.speed)
    mean = float(speed.mean())
    wander = road.fast(
        ndimage.gaussian_filter1d(rng.normal(0, 1, len(road.speed)), SLOW * 1.0) * rng.uniform(8, 26)
    )
    surface = np.ones(road.n)
    if rng.random() < 0.3:
        at = int(rng.uniform(0.2, 0.8) * road.n)
        surface[at:] = 10 ** (rng.uniform(-6, 6) / 20)
    noise = tyre_noise / tyre_noise.std() * (speed / mean) ** 1.6 * 10 ** (wander / 20) * surface
    gust = 10 ** (
        road.fast(ndimage.gaussian_filter1d(rng.normal(0, 1, len(road.speed)), SLOW * 0.4) * 20) / 20
    )
    noise = noise + wind / wind.std() * (speed / mean) ** 3 * gust * 10 ** (rng.uniform(-18, -2) / 20)
    for _ in range(int(rng.poisson(4))):
        at = int(rng.uniform(0, road.n - RATE))
        length = int(RATE * rng.uniform(0.05, 0.3))
        noise[at : at + length] += (
            rng.standard_normal(length) * np.exp(-np.arange(length) / (0.03 * RATE)) * rng.uniform(2, 8)
        )
    return np.asarray(noise)


def _lines(road: _Road, orders: list[float], levels_db: list[float], turns: FloatArray, *, body: Any = None,
           wander: float = 2.0, modulation: FloatArray | float = 1.0) -> FloatArray:  # fmt: skip
    """Sum lines of given orders of `turns`, each through the body and with a slow wander of its own."""
    rng = road.rng
    body = body or _body(rng)
    step = RATE // SLOW
    rate_hz = np.gradient(turns[::step]) * SLOW
    total = np.zeros(road.n)
    for order, level in zip(orders, levels_db, strict=True):
        f = order * rate_hz
        if f.min() > RATE * 0.45:
            continue
        drift = ndimage.gaussian_filter1d(rng.normal(0, 1, len(f)), SLOW * 1.2) * wander * 3.0
        gain = 10 ** ((level + drift) / 20) * body(f) * (f < RATE * 0.47)
        slow = np.interp(np.arange(road.n), np.arange(len(f)) * step, gain)
        total += slow * np.cos(2 * np.pi * order * turns + rng.uniform(0, 6.3))
    return np.asarray(total * modulation)


def _source(road: _Road, name: str) -> tuple[FloatArray, dict[str, Any]]:
    """Make one source, unscaled, and what is true of it."""
    rng, r = road.rng, road.ring / road.pinion
    speed, load = road.fast(road.speed), road.fast(road.load)
    drive, coast = 1 / (1 + np.exp(-load / 0.25)), 1 / (1 + np.exp(load / 0.25))
    growth = (speed / speed.mean()) ** rng.uniform(0.8, 2.5)
    if name == "mesh":
        side = str(rng.choice(["drive", "coast", "both"], p=[0.4, 0.35, 0.25]))
        gain = {"drive": drive + 0.2, "coast": coast + 0.2, "both": np.ones(road.n)}[side]
        window = np.exp(-0.5 * ((speed - rng.uniform(14, 30)) / rng.uniform(3, 15)) ** 2) + 0.15
        modulation = 1.0 + rng.choice([0.0, rng.uniform(0.1, 0.5)]) * np.cos(2 * np.pi * r * road.turns)
        modulation = modulation + rng.choice([0.0, rng.uniform(0.05, 0.3)]) * np.cos(2 * np.pi * road.turns)
        h = [0.0, float(rng.uniform(-18, 2)), float(rng.uniform(-24, -6)), float(rng.uniform(-30, -10))]
        z = float(road.ring)
        return _lines(
            road, [z, 2 * z, 3 * z, 4 * z], h, road.turns, modulation=gain * growth * window * modulation
        ), {"side": side}
    if name in ("propshaft", "joint"):
        base = r if name == "propshaft" else 2 * r
        h = [0.0, float(rng.uniform(-16, -3)), float(rng.uniform(-22, -8))]
        gain = growth * (drive + 0.4 if name == "joint" else 1.0)
        return _lines(road, [base, 2 * base, 3 * base], h, road.turns, modulation=gain), {}
    if name == "tread":
        blocks = int(rng.integers(44, 86))
        lengths = rng.choice([0.85, 1.0, 1.17], blocks) if rng.random() < 0.8 else np.ones(blocks)
        edges = np.cumsum(lengths) / lengths.sum()
        orders = np.arange(int(0.75 * blocks), int(1.25 * blocks) + 1)
        weight = np.abs(np.exp(-2j * np.pi * orders[:, None] * edges).sum(axis=1))
        keep = weight > 0.12 * weight.max()
        levels = [float(x) for x in 20 * np.log10(weight[keep])]
        cup = [1.0 + 0.5 * rng.random() * np.cos(2 * np.pi * k * road.turns) for k in (1, 2)]
        return _lines(
            road, [float(o) for o in orders[keep]], levels, road.turns, wander=3.0, modulation=growth * cup[0]
        ), {}
    if name == "wheel imbalance":
        top = int(rng.integers(3, 16))
        h = [float(-1.2 * k + rng.normal(0, 4)) for k in range(top)]
        return _lines(road, [float(k + 1) for k in range(top)], h, road.turns, modulation=growth), {}
    if name.endswith("bearing"):
        return _bearing(road, name, growth)
    if name == "engine":
        half = road.cylinders / 2
        orders = [k / 2 for k in range(1, int(rng.integers(12, 26)))]
        rough = float(rng.uniform(-24, -8))
        levels = [float(-2.2 * o + (0 if (o / half) % 1 == 0 else rough) + rng.normal(0, 3)) for o in orders]
        gain = 0.35 + drive * np.clip(np.abs(load), 0, 1.5)
        return _lines(road, orders, levels, road.engine_turns, modulation=gain, wander=3.0), {}
    if name == "accessory":
        base = float(rng.uniform(1.6, 3.1)) * float(rng.choice([1, 6, 8, 12, 18]))
        return _lines(
            road,
            [base, 2 * base, 3 * base],
            [0.0, float(rng.uniform(-15, -4)), float(rng.uniform(-20, -8))],
            road.engine_turns,
        ), {}
    if name == "gearbox":
        teeth = int(rng.integers(21, 41))
        base_turns = road.turns * r if rng.random() < 0.6 else road.engine_turns
        loud = road.gear == int(np.bincount(road.gear).argmax())
        gain = road.fast(ndimage.gaussian_filter1d(np.where(loud, 1.0, 0.15), 5)) * (drive + 0.3)
        return _lines(
            road,
            [teeth, 2.0 * teeth],
            [0.0, float(rng.uniform(-16, -4))],
            base_turns,
            modulation=gain * growth,
        ), {}
    if name == "brake":
        centre = float(rng.uniform(1400, 3800))
        slow = road.fast(road.accel)
        on = (
            1 / (1 + np.exp((slow + 0.5) / 0.15))
            if road.accel.min() < -0.8
            else (rng.random(road.n // RATE + 2) < 0.5)[np.arange(road.n) // RATE]
        )
        rub = 0.3 + (0.5 + 0.5 * np.cos(2 * np.pi * road.turns)) ** 2
        if rng.random() < 0.6:
            phase = (
                2
                * np.pi
                * np.cumsum(
                    centre
                    * (
                        1
                        + 0.004
                        * road.fast(ndimage.gaussian_filter1d(rng.normal(0, 1, len(road.speed)), 10) * 5)
                    )
                )
                / RATE
            )
            return np.asarray(np.cos(phase) * on * rub), {}
        return _shaped(rng, road.n, lambda f: 1 / (1 + (8 * (f / centre - centre / f)) ** 2)) * on * rub, {}
    if name == "differential":
        turn = road.fast(
            np.clip(ndimage.gaussian_filter1d(rng.normal(0, 1, len(road.speed)), SLOW * 1.5) * 9 - 0.2, 0, 1)
        )
        spider = np.cumsum(road.fast(road.speed / road.circumference) * turn * rng.uniform(0.15, 0.4)) / RATE
        teeth = int(rng.integers(14, 19))
        return _lines(
            road,
            [float(teeth), 2.0 * teeth],
            [0.0, -8.0],
            np.maximum.accumulate(spider) + 1e-9 * np.arange(road.n),
            modulation=turn,
        ), {}
    if name == "resonance":
        centre, quality = float(np.exp(rng.uniform(np.log(32), np.log(420)))), float(rng.uniform(7, 30))
        near = np.exp(-0.5 * ((speed - rng.uniform(12, 30)) / rng.uniform(2.5, 9)) ** 2) + 0.1
        return _shaped(
            rng, road.n, lambda f: 1 / (1 + (quality * (f / centre - centre / f)) ** 2)
        ) * near * growth, {"hz": centre}
    raise ValueError(name)


def _bearing(road: _Road, name: str, growth: FloatArray) -> tuple[FloatArray, dict[str, Any]]:
    """Impacts at one part's rate, slipping one way, ringing in the housing, swelling with the load zone."""
    rng = road.rng
    facts = next(b for b in road.bearings if b["name"] == name)
    orders = bearing_orders(
        facts["rollers"], facts["roller_diameter_mm"], facts["pitch_diameter_mm"], facts["contact_angle_deg"]
    )
    shaft = road.ring / road.pinion if name == "pinion bearing" else 1.0
    part = str(rng.choice(["outer", "inner", "element"], p=[0.45, 0.4, 0.15]))
    order = {"outer": orders.outer, "inner": orders.inner, "element": 2 * orders.element}[part] * shaft
    order *= 1 - float(rng.uniform(0.0, 0.025))
    zone = {"outer": 0.0, "inner": shaft, "element": orders.cage * shaft}[part]
    swell = 1 + (0.7 * np.cos(2 * np.pi * zone * road.turns) if zone else 0.0)
    if name == "wheel bearing":
        swell = swell * (
            1
            + 0.6
            * road.fast(ndimage.gaussian_filter1d(rng.normal(0, 1, len(road.speed)), SLOW * 2) * 9).clip(
                -0.8, 2
            )
        )
    tonal = float(rng.uniform(0, 1))
    h = [float(-2.5 * k + rng.normal(0, 3)) for k in range(6)]
    hum = _lines(road, [order * (k + 1) for k in range(6)], h, road.turns, modulation=growth * swell)
    phase = order * road.turns
    hits = np.flatnonzero(np.diff(np.floor(phase + rng.normal(0, 0.02))) > 0)
    hits = np.clip(hits + rng.normal(0, 3, len(hits)).astype(int), 0, road.n - 1)
    train = np.zeros(road.n)
    train[hits] = (swell * growth)[hits] * (1 + 0.3 * rng.normal(0, 1, len(hits)))
    centre = float(rng.uniform(500, 3500))
    sos = signal.butter(2, [centre * 0.75, min(centre * 1.3, 7600)], "bandpass", fs=RATE, output="sos")
    ring = signal.sosfilt(sos, train * rng.choice([1.0, 1.0]))
    growl = (
        signal.sosfilt(sos, rng.standard_normal(road.n))
        * (0.4 + (0.5 + 0.5 * np.cos(2 * np.pi * phase)) ** 3)
        * swell
        * growth
    )
    total = tonal * hum / (hum.std() + 1e-12) + (1 - tonal) * (
        ring / (ring.std() + 1e-12) + 0.5 * growl / (growl.std() + 1e-12)
    )
    return np.asarray(total), {"part": part}


def _band_power(x: FloatArray) -> FloatArray:
    """Power in critical bands over time, shape (frames, bands), smoothed over 1 s."""
    f, _t, spectrum = signal.stft(x.astype(np.float32), RATE, nperseg=4096, noverlap=2048, boundary=None)
    power = np.concatenate([np.zeros((1, spectrum.shape[1])), np.cumsum(np.abs(spectrum) ** 2, axis=0)])
    half = critical_bandwidth_hz(BANDS) / 2
    low = np.searchsorted(f, np.maximum(BANDS - half, 20.0))
    high = np.searchsorted(f, BANDS + half)
    return np.asarray(ndimage.uniform_filter1d((power[high] - power[low]).T, 8, axis=0))


def prominence_db(part: FloatArray, rest: FloatArray) -> float:
    """Source over everything else in its best critical band, in the loudest tenth of the drive [dB]."""
    a, b = _band_power(part), _band_power(rest)
    own = a.sum(axis=0) > 0.02 * a.sum(axis=0).max()
    ratio = (10 * np.log10((np.maximum(a, 0) + 1e-20) / (np.maximum(b, 0) + 1e-20)))[:, own].max(axis=1)
    return float(np.percentile(ratio, 90))


def _scaled(part: FloatArray, rest: FloatArray, level_db: float) -> FloatArray:
    return part * 10 ** ((level_db - prominence_db(part, rest)) / 20)


def _recorded(rng: np.random.Generator, sound: FloatArray) -> tuple[FloatArray, dict[str, Any]]:
    facts: dict[str, Any] = {}
    n = len(sound)
    sound = sound / sound.std()
    if rng.random() < 0.25:
        facts["speech"] = True
        for _ in range(int(rng.integers(1, 5))):
            at, length = int(rng.uniform(0, n - 4 * RATE)), int(RATE * rng.uniform(0.8, 3.5))
            voice = rng.uniform(95, 230)
            t = np.arange(length) / RATE
            tone = np.cumsum(voice * (1 + 0.08 * np.sin(2 * np.pi * rng.uniform(0.5, 2) * t))) / RATE
            syllables = np.clip(np.sin(2 * np.pi * rng.uniform(2.5, 4.5) * t), 0, 1)
            word = sum(np.cos(2 * np.pi * k * tone) / k**0.8 for k in range(1, 22))
            sound[at : at + length] += word * syllables * rng.uniform(0.3, 1.2)
    if rng.random() < 0.12:
        facts["radio"] = True
        t = np.arange(n) / RATE
        for _ in range(int(n / RATE * 1.5)):
            at, length = int(rng.uniform(0, n - 2 * RATE)), int(RATE * rng.uniform(0.2, 1.5))
            note = 110 * 2 ** (rng.integers(0, 36) / 12)
            s = np.arange(length) / RATE
            sound[at : at + length] += (
                np.cos(2 * np.pi * note * s)
                * np.sin(np.pi * np.arange(length) / length)
                * rng.uniform(0.02, 0.25)
            )
    cut = float(rng.choice([20, 40, 80, 120]))
    sound = np.asarray(signal.sosfilt(signal.butter(2, cut, "highpass", fs=RATE, output="sos"), sound))
    facts["low_cut_hz"] = cut
    if rng.random() < 0.5:
        envelope = np.sqrt(signal.sosfilt(signal.butter(1, 0.4, fs=RATE, output="sos"), sound**2).clip(1e-6))
        sound = sound / envelope ** rng.uniform(0.3, 0.9)
        facts["gain_control"] = True
    if rng.random() < 0.2:
        _f, _t, spectrum = signal.stft(sound, RATE, nperseg=512, noverlap=384)
        power = np.abs(spectrum) ** 2
        slow = ndimage.minimum_filter1d(ndimage.uniform_filter1d(power, 12, axis=1), 150, axis=1) * 2.0
        gain = np.clip(
            1 - rng.uniform(0.4, 0.9) * slow / (ndimage.uniform_filter1d(power, 4, axis=1) + 1e-12), 0.25, 1
        )
        sound = signal.istft(spectrum * gain, RATE, nperseg=512, noverlap=384)[1][:n]
        facts["noise_suppression"] = True
    peak = float(np.percentile(np.abs(sound), 99.99)) * float(rng.choice([1.3, 1.3, 1.3, 0.7]))
    return np.clip(sound / peak * 0.8, -0.99, 0.99), facts


def _told(road: _Road, rng: np.random.Generator, kind: str, duration: float) -> dict[str, Any]:
    t = np.arange(len(road.speed)) / SLOW
    if kind == "table":
        times = np.arange(0.0, duration, 1.0)
        shown = np.interp(times - rng.uniform(0.0, 1.6), t, road.speed) * (
            1 + rng.normal(0, 0.003) + rng.normal(0, 0.003, len(times))
        )
    elif kind == "marks":
        times = np.cumsum(rng.uniform(3.5, 8.0, 40))
        times = np.concatenate([[0.0], times[times < duration - 1]])
        late = np.clip(rng.normal(rng.uniform(0.1, 0.9), 0.3, len(times)), -0.2, 2.0)
        shown = np.interp(times - late, t, road.speed) * (1 + rng.normal(0, 0.025))
        if rng.random() < 0.6:
            unit = float(rng.choice([5 / 3.6, 1 / 3.6, 0.44704]))
            shown = np.round(shown / unit) * unit
    else:
        times, shown = np.array([0.0]), np.array([road.speed.mean() * (1 + rng.normal(0, 0.025))])
    return {
        "ring_teeth": road.ring, "pinion_teeth": road.pinion,
        "rolling_circumference_m": float(road.circumference * (1 + rng.normal(0, 0.005))),
        "cylinders": road.cylinders if rng.random() < 0.65 else None,
        "gear_ratios": [round(x, 3) for x in road.ratios] if rng.random() < 0.5 else None,
        "bearings": [b for b in road.bearings if rng.random() < 0.75],
        "joint_present": True,
        "speed": {"kind": kind,
                  "points": [(float(a), float(max(b, 1.0))) for a, b in zip(times, shown, strict=True)]},
    }  # fmt: skip
