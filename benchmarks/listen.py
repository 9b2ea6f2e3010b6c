"""How well a recording tells where a sound comes from, on simulated drives.

    python benchmarks/listen.py [--drives 240] [--seed 1] [--machine FILE] [--jobs 2]

Each drive has one of six kinds of source, or an order nobody named, or none; a design of the shop; a
phone's codec and gain control; at times a universal joint besides; and typed speeds wrong by 3 %
(one standard deviation) or a satellite trace wrong by 0.5 %. The last lines time a 60 s recording of
48 kHz and, where the file is at hand, listen to a real machine that is no axle. No real axle
recording has been available: what these figures say about real cars is unproven.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from axlewright.sound.evidence import NONE, UNKNOWN
from axlewright.sound.listening import listen
from axlewright.sound.orders import AxleOrders, Bearing, bearing_orders, candidate_sources
from axlewright.sound.recording import read_recording
from axlewright.sound.simulated_drive import (
    Codec,
    DrivePlan,
    DriveSource,
    encode,
    save_drive,
    simulate_drive,
)
from axlewright.sound.speed import Tyre, constant_speed, make_trace

DESIGNS = (
    ("TY-222", 11, 41, 2.10),
    ("TY-310", 9, 39, 2.95),
    ("TY-205H", 12, 41, 1.98),
    ("TY-176B", 14, 39, 2.40),
)
KINDS = ("mesh", "propshaft", "joint", "tread", "wheel bearing", "pinion bearing", "unknown", "none")
CODECS: tuple[Codec, ...] = ("m4a", "opus", "mp3", "wav")
NAMES = {
    "mesh": "ring and pinion mesh",
    "propshaft": "propeller shaft or pinion, once per turn",
    "joint": "universal joint",
    "tread": "tyre tread",
    "unknown": UNKNOWN,
    "none": NONE,
}
RIGID = ("mesh", "propshaft", "joint", "tread")
MACHINE = Path("node_modules/supersonic-scsynth-samples/samples/loop_3d_printer.flac")
WHEEL = Bearing("wheel", bearing_orders(17, 12.0, 70.0), "wheel bearing")
PINION = Bearing("pinion", bearing_orders(17, 9.5, 60.0, 15.0), "pinion head bearing")


@dataclass(frozen=True)
class Outcome:
    """What came of one drive."""

    kind: str
    truth: str
    second: str
    stated: str
    top: tuple[str, ...]
    probability: dict[str, float]
    words: dict[str, str]
    credible: float
    speed_error: float
    sideband_ratio_error: float | None
    seconds: float
    runout: bool
    runout_p: float
    found: bool = False
    mean_error: float = 0.0
    interval: tuple[float, float] = (0.0, 0.0)
    flags: tuple[str, ...] = ()


def one_drive(seed: int) -> Outcome:
    """Make and hear one drive."""
    rng = np.random.default_rng(seed)
    kind = KINDS[seed % len(KINDS)]
    _, zp, zr, circumference = DESIGNS[int(rng.integers(len(DESIGNS)))]
    axle = AxleOrders(zr, zp, (WHEEL, PINION))
    stated = "satellite" if rng.random() < 0.4 else "typed"
    sigma = 0.005 if stated == "satellite" else 0.03
    level = float(rng.uniform(3.0, 15.0))
    ratio = axle.ratio
    runout = kind == "mesh" and rng.random() < 0.5
    truth = NAMES.get(kind, "")
    source: tuple[DriveSource, ...] = ()
    overtones = (float(rng.uniform(-14, -4)), float(rng.uniform(-20, -8)))
    if kind == "mesh":
        depth = float(rng.uniform(0.15, 0.4)) if runout else 0.0
        source = (DriveSource("mesh", zr, level, overtones, pinion_runout=depth, pinion_order=ratio),)
    elif kind == "propshaft":
        source = (DriveSource("propshaft", ratio, level, (float(rng.uniform(-6, 3)), overtones[0])),)
    elif kind == "joint":
        source = (DriveSource("joint", 2 * ratio, level, (overtones[0],)),)
    elif kind == "tread":
        source = (DriveSource("tread", float(rng.integers(52, 79)), level + 3, ()),)
    elif kind in ("wheel bearing", "pinion bearing"):
        bearing = WHEEL if kind == "wheel bearing" else PINION
        part = ("outer race", "inner race", "rolling element")[int(rng.integers(3))]
        own = bearing.orders
        order = {"outer race": own.outer, "inner race": own.inner, "rolling element": 2 * own.element}[part]
        order *= ratio if kind == "pinion bearing" else 1.0
        truth = f"{bearing.label}, {part}"
        source = (DriveSource("bearing", order, level, overtones),)
    elif kind == "unknown":
        source = (DriveSource("unknown", _odd_order(rng, axle, sigma), level, overtones[:1]),)
    second = ""
    if kind in ("mesh", "tread", "wheel bearing") and rng.random() < 0.2:
        second = NAMES["joint"]
        source += (DriveSource("joint", 2 * ratio, float(rng.uniform(3, 9)), (-8.0,)),)
    plan = DrivePlan(
        duration_s=float(rng.uniform(35, 60)),
        speeds_mph=tuple(float(v) for v in rng.permutation([32.0, 60.0, 42.0])),
        speed_bias=float(rng.normal(0, sigma)),
        stated=stated,  # type: ignore[arg-type]
        gain_control=bool(rng.random() < 0.7),
        fixed_tone_hz=float(rng.uniform(120, 700)) if rng.random() < 0.25 else 0.0,
        rate_hz=48000 if rng.random() < 0.7 else 44100,
    )
    drive = simulate_drive(source, Tyre(circumference, 0.005, "roll-out"), plan, seed)
    codec = CODECS[int(rng.integers(len(CODECS)))]
    tyre = Tyre(circumference * (1 + float(rng.normal(0, 0.005))), 0.005, "roll-out")
    with tempfile.TemporaryDirectory() as folder:
        path = save_drive(drive, Path(folder), "drive", codec)
        begin = time.perf_counter()
        result = listen(read_recording(path), axle, tyre, drive.stated)
        seconds = time.perf_counter() - begin
    true = (
        np.interp(result.times_s, drive.times_s, drive.true_speed_mps) * tyre.circumference_m / circumference
    )
    error = float(np.median(np.abs(result.speed_mps / true - 1)))
    # What is still wrong with the speed once it was tracked, true over tracked.
    left = float(np.median(np.log(true / result.speed_mps)))
    band = next((b for b in result.sidebands if b.name == "pinion" and b.evidence > 5), None)
    norm = sum(np.exp(s.log_posterior) for s in result.posterior.sets)
    right = (
        sum(np.exp(s.log_posterior) for s in result.posterior.sets if truth in (s.members or (NONE,))) / norm
    )
    runout_p = next((s.probability for s in result.sources if s.name == "pinion runout"), 0.0)
    return Outcome(
        kind, truth, second, stated, result.top, result.posterior.probability,
        {s.name: s.word for s in result.sources}, float(right), error,
        None if band is None or not runout else band.ratio - zp, seconds, runout, runout_p,
        result.speed_found, left, result.speed_interval, tuple(f.kind for f in result.recording.flags),
    )  # fmt: skip


def _odd_order(rng: np.random.Generator, axle: AxleOrders, sigma: float) -> float:
    """Draw an order that is none of the candidates' lines (outside 1.5 %)."""
    lines = [o for c in candidate_sources(axle) for o in c.orders if o < 130]
    while True:
        order = float(np.exp(rng.uniform(np.log(5.0), np.log(90.0))))
        if all(abs(np.log(order / line)) > 0.015 for line in lines) and abs(order - round(order)) > 0.1:
            return order


def table(outcomes: list[Outcome]) -> None:
    """Print the table."""
    print(f"{'source':16s} {'drives':>6s} {'in top set':>10s} {'top size':>8s} {'likely':>7s} "
          f"{'likely+wrong':>12s} {'median p(true)':>14s} {'median speed error':>18s}")  # fmt: skip
    for kind in KINDS:
        rows = [o for o in outcomes if o.kind == kind]
        if rows:
            print(_row(kind, rows))
    print(_row("all", outcomes))
    speeds(outcomes)
    bands = [o.sideband_ratio_error for o in outcomes if o.sideband_ratio_error is not None]
    if bands:
        print(f"tone over sideband spacing less pinion teeth: median {np.median(bands):+.3f}, rms "
              f"{np.sqrt(np.mean(np.square(bands))):.3f} in {len(bands)} drives")  # fmt: skip
    meshes = [o for o in outcomes if o.kind == "mesh"]
    caught = sum(o.runout_p > 0.5 for o in meshes if o.runout)
    false = sum(o.runout_p > 0.5 for o in meshes if not o.runout)
    print(f"pinion runout seen in {caught} of {sum(o.runout for o in meshes)}, wrongly in {false} of "
          f"{sum(not o.runout for o in meshes)} mesh drives")  # fmt: skip
    calibration(outcomes)


def speeds(outcomes: list[Outcome]) -> None:
    """Print how well the speed is known where the program says that it was found, and where not."""
    for title, rows in (
        ("speed called found", [o for o in outcomes if o.found]),
        ("speed not called found", [o for o in outcomes if not o.found]),
        ("source fixed by teeth or whole turns", [o for o in outcomes if o.kind in RIGID]),
        ("all", outcomes),
    ):
        if not rows:
            continue
        inside = [o.interval[0] <= o.mean_error <= o.interval[1] for o in rows]
        width = np.median([o.interval[1] - o.interval[0] for o in rows]) / 2
        print(
            f"{title}: {len(rows)} of {len(outcomes)} drives, median error "
            f"{np.median([o.speed_error for o in rows]) * 100:.3f} %, interval (90 %) of "
            f"\u00b1{width * 100:.2f} % (median) holds the truth in {np.mean(inside) * 100:.0f} %"
        )
    for kind in ("speech", "clipping", "gain_pumping"):
        rate = np.mean([kind in o.flags for o in outcomes])
        print(f"flag '{kind}' raised in {rate * 100:.1f} % of drives in which there is none of it")


def _wrong(o: Outcome) -> bool:
    return any(
        word == "likely" and name not in (o.truth, o.second) and "runout" not in name
        for name, word in o.words.items()
    )


def _row(name: str, rows: list[Outcome]) -> str:
    top = np.mean([o.truth in o.top for o in rows])
    return (
        f"{name:16s} {len(rows):6d} {top * 100:9.1f}% {np.mean([len(o.top) for o in rows]):8.2f} "
        f"{np.mean([o.words.get(o.truth) == 'likely' for o in rows]) * 100:6.1f}% "
        f"{np.mean([_wrong(o) for o in rows]) * 100:11.1f}% {np.median([o.credible for o in rows]):14.3f} "
        f"{np.median([o.speed_error for o in rows]) * 100:17.3f}%"
    )


def calibration(outcomes: list[Outcome]) -> None:
    """Compare stated probabilities with how often they were true."""
    pairs = [(p, name in (o.truth, o.second)) for o in outcomes for name, p in o.probability.items()]
    print("stated probability: how often true")
    for low, high in ((0.02, 0.1), (0.1, 0.3), (0.3, 0.6), (0.6, 0.8), (0.8, 0.97), (0.97, 1.01)):
        inside = [(p, t) for p, t in pairs if low <= p < high]
        if inside:
            print(f"  {low:.2f} to {min(high, 1):.2f}: stated {np.mean([p for p, _ in inside]):.3f}, true "
                  f"{np.mean([t for _, t in inside]):.3f} ({len(inside)} statements)")  # fmt: skip


def timing() -> None:
    """Time a 60 s recording of 48 kHz."""
    axle = AxleOrders(41, 11, (WHEEL, PINION))
    tyre = Tyre(2.1, 0.005, "roll-out")
    drive = simulate_drive(
        (DriveSource("mesh", 41, 9.0),), tyre, DrivePlan(duration_s=60, speed_bias=0.02), 5
    )
    with tempfile.TemporaryDirectory() as folder:
        path = save_drive(drive, Path(folder), "drive", "m4a")
        listen(read_recording(path), axle, tyre, drive.stated)
        times, spent = [], []
        for _ in range(3):
            begin, used = time.perf_counter(), time.process_time()
            listen(read_recording(path), axle, tyre, drive.stated)
            times.append(time.perf_counter() - begin)
            spent.append(time.process_time() - used)
    print(
        f"60 s of 48 kHz m4a, reading and listening: {min(times):.2f} s, of it {min(spent):.2f} s of "
        f"processor time (best of three)"
    )


def machine(path: Path | None) -> None:
    """Listen to a real machine that is no axle, said to be driven at two speeds."""
    if path is None or not path.is_file():
        print("real machine recording: not at hand, skipped (see docs/sound.md)")
        return
    recording = read_recording(path)
    axle = AxleOrders(41, 11, (WHEEL, PINION))
    end = recording.duration_s
    told = {speed: constant_speed(speed) for speed in ("35 mph", "45 mph", "60 mph")}
    told["30 to 45 mph"] = make_trace([0.0, end], [13.4, 20.1], "typed")
    told["60 to 45 mph by satellite"] = make_trace([0.0, end], [26.8, 20.1], "satellite")
    for speed, trace in told.items():
        result = listen(recording, axle, Tyre(2.1, 0.005, "roll-out"), trace)
        words = [f"{s.name} ({s.word}, {s.probability:.2f})" for s in result.sources if s.probability > 0.05]
        print(f"{path.name} said to be an axle at {speed}: {'; '.join(words)}")


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--drives", type=int, default=240)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--machine", type=Path, default=MACHINE)
    parser.add_argument("--failures", action="store_true")
    options = parser.parse_args()
    encode(np.zeros(4800), 48000, "wav")
    seeds = range(options.seed * 10000, options.seed * 10000 + options.drives)
    with ProcessPoolExecutor(options.jobs, mp_context=get_context("spawn")) as pool:
        outcomes = list(pool.map(one_drive, seeds, chunksize=4))
    table(outcomes)
    if options.failures:
        for seed, o in zip(seeds, outcomes, strict=True):
            if o.truth not in o.top or _wrong(o):
                best = sorted(o.probability.items(), key=lambda item: -item[1])[:3]
                print(seed, o.kind, o.stated, "|", o.truth, "|", o.top, [(n, round(p, 3)) for n, p in best])
    timing()
    machine(options.machine)


if __name__ == "__main__":
    main()
