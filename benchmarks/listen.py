"""How well a recording tells where a sound comes from, on simulated drives of any simulator.

    python benchmarks/listen.py --simulator road_drives --seed 20000 --count 260 [--pairs 60] [--kept FOLDER]

`own` is `own_drives`. Each line of the table gives a share, the numbers behind it and an exact binomial
interval of 90 %. The last lines time a 60 s recording of 48 kHz and, where the files are at hand,
listen to real machines that are no axle. No real axle recording has been available: what these figures
say about real vehicles is unproven.
"""

from __future__ import annotations

import argparse
import json
import tempfile
import time
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from scipy import stats

from axlewright.errors import AxlewrightError
from axlewright.sound import (
    AxleOrders,
    Listening,
    Tyre,
    constant_speed,
    listen,
    make_recording,
    make_trace,
    read_recording,
)
from axlewright.sound.advice import DRIVES
from axlewright.sound.comparison import compare_before_after
from axlewright.sound.findings import NAMED, louder_side, named
from axlewright.sound.sources import BY_KEY, NONE
from axlewright.sound.speed import prior_sigma
from told_drives import ToldDrive, common_form, made, told_drive

BANDS: Final = ((0.02, 0.1), (0.1, 0.3), (0.3, 0.5), (0.5, 0.8), (0.8, 1.01))
CLEAR: Final = 6.0
HEARD: Final = 3.0


@dataclass(frozen=True)
class Outcome:
    """What came of one drive."""

    seed: int
    kind: str
    complaint: tuple[str, ...]
    prominence: dict[str, float]
    side: str
    chances: dict[str, float]
    named: tuple[str, ...]
    words: dict[str, str]
    nothing: float
    quiet: bool
    interval: tuple[float, float]
    mean_error: float
    shape_error: float
    stated_sigma: float
    louder_on_drive_db: float | None
    advice: tuple[str, ...]
    seconds: float
    duration_s: float
    failed: str = ""


def one_drive(drive: ToldDrive, seed: int) -> Outcome:
    """Hear one drive."""
    prominence = {name: drive.prominence_db(name) for name in {s["name"] for s in drive.sources}}
    side = next((str(s.get("side") or "") for s in drive.sources if s["name"] == "mesh"), "")
    begin = time.process_time()
    try:
        heard = listen(drive.recording(), drive.axle, drive.tyre, drive.speed)
    except AxlewrightError as error:
        return Outcome(
            seed, drive.kind, drive.complaint, prominence, side, {}, (), {}, 1.0, True, (0, 0), 0.0, 0.0, 0.0,
            None, (), time.process_time() - begin, 1.0, str(error),
        )  # fmt: skip
    spent = time.process_time() - begin
    used = heard.heard.map.scores.any(axis=1)
    true = np.interp(heard.times_s, drive.times_s, drive.wheel_hz)
    used &= true > 1.5
    off = (
        np.log(true[used] * drive.tyre.circumference_m / heard.speed_mps[used]) if used.any() else np.zeros(1)
    )
    middle = float(np.median(off))
    return Outcome(
        seed,
        drive.kind,
        drive.complaint,
        prominence,
        side,
        heard.chances,
        named(heard.chances),
        {s.name: s.word for s in heard.sources if s.kind not in ("runout", "none")},
        next(s.probability for s in heard.sources if s.kind == "none"),
        heard.top[0] == NONE,
        heard.speed_interval,
        middle,
        float(np.median(np.abs(off - middle))),
        prior_sigma(drive.speed, drive.tyre),
        louder_side(list(heard.tracks), heard.segments),
        _drives(heard),
        spent,
        heard.recording.duration_s,
    )


def _drives(heard: Listening) -> tuple[str, ...]:
    """Return the keys of the drives advised, other advice as its own words."""
    words = {drive.words()[0]: drive.key for drive in DRIVES}
    return tuple(words.get(a.do, a.do) for a in heard.next_recording)


def share(name: str, hits: Iterable[bool], wanted: str = "") -> None:
    """Print a share with its exact interval of 90 %."""
    values = list(hits)
    if not values:
        print(f"{name:58s}  none")
        return
    k, n = sum(values), len(values)
    low = stats.beta.ppf(0.05, k, n - k + 1) if k else 0.0
    high = stats.beta.ppf(0.95, k + 1, n - k) if k < n else 1.0
    print(
        f"{name:58s} {k:4d} of {n:4d}  {k / n * 100:5.1f} %  [{low * 100:.1f} to {high * 100:.1f}]  {wanted}"
    )


def table(outcomes: list[Outcome]) -> None:
    """Print the table."""
    failed = [o for o in outcomes if o.failed]
    for o in failed:
        print(f"seed {o.seed} was refused: {o.failed}")
    heard = [o for o in outcomes if not o.failed]
    cases = [(o, s, o.prominence.get(s, 0.0)) for o in outcomes for s in o.complaint]
    print(
        f"{len(outcomes)} drives, {len(failed)} refused, "
        f"{sum(not o.complaint for o in outcomes)} with nothing to find"
    )
    for title, low, high, wanted in (
        ("right source named, prominence of 6 dB or more", CLEAR, 99, "wanted 90"),
        ("right source named, 3 dB or more", HEARD, 99, "wanted 75"),
        ("right source named, 3 to 6 dB", HEARD, CLEAR, ""),
        ("right source named, below 3 dB", -99, HEARD, ""),
    ):
        share(title, (s in o.named for o, s, p in cases if low <= p < high), wanted)
        share("    and first", (o.named[:1] == (s,) for o, s, p in cases if low <= p < high))
    sizes = [len(o.named) for o in heard]
    print(f"sources named: mean {np.mean(sizes):.2f}, of {len(heard[0].chances) if heard else 0}")
    print("by class, 3 dB or more:")
    for key in BY_KEY:
        share(f"    {key}", (key in o.named for o, s, p in cases if s == key and p >= HEARD))
        share(
            "        named where it is not the complaint",
            (key in o.named for o in heard if key not in o.complaint),
        )
    print("by kind of speed, 3 dB or more:")
    for kind in ("marks", "held", "table"):
        share(f"    {kind}", (s in o.named for o, s, p in cases if o.kind == kind and p >= HEARD))
    by_name = {source.name: key for key, source in BY_KEY.items()}
    likely = [(o, by_name[n]) for o in heard for n, word in o.words.items() if word == "likely"]
    share(
        "'likely' and wrong, of all drives",
        (any(p is o and k not in o.complaint for p, k in likely) for o in outcomes),
        "wanted 2 at most",
    )
    share("    of what was called likely, wrong", (k not in o.complaint for o, k in likely))
    innocent = [o for o in heard if not o.complaint]
    share("innocent vehicles: nothing stands out", (o.quiet for o in innocent), "wanted 90")
    share(
        "    and nothing of the axle called possible or likely",
        (not any(BY_KEY[k].axle for k in o.named) for o in innocent),
    )
    guilty = [o for o in heard if any(o.prominence.get(s, 0) >= CLEAR for s in o.complaint)]
    share("complaint of 6 dB or more: 'nothing stands out' all the same", (o.quiet for o in guilty))
    print("chances stated, and how often so:")
    pairs = [(p, k in o.complaint) for o in heard for k, p in o.chances.items()]
    pairs_nothing = [(o.nothing, not o.complaint) for o in heard]
    for title, these in (("sources", pairs), ("nothing stands out", pairs_nothing)):
        for low, high in BANDS:
            inside = [(p, t) for p, t in these if low <= p < high]
            if inside:
                print(f"    {title}, {low:.2f} to {min(high, 1):.2f}: "
                      f"stated {np.mean([p for p, _ in inside]):.3f}, so "
                      f"{np.mean([t for _, t in inside]):.3f} ({len(inside)})")  # fmt: skip
    share(
        "speed interval (90 %) holds the truth",
        (o.interval[0] <= o.mean_error <= o.interval[1] for o in heard),
        "wanted 85 to 95",
    )
    for kind in ("marks", "held", "table"):
        told = [o for o in heard if o.kind == kind]
        if told:
            share(f"    {kind}", (o.interval[0] <= o.mean_error <= o.interval[1] for o in told))
            print(f"        median error {np.median([abs(o.mean_error) for o in told]) * 100:.2f} %, "
                  f"half width "
                  f"{np.median([o.interval[1] - o.interval[0] for o in told]) * 50:.2f} %, course off by "
                  f"{np.median([o.shape_error for o in told]) * 100:.2f} %")  # fmt: skip
    meshes = [o for o in heard if o.side in ("drive", "coast") and o.prominence.get("mesh", -99) >= HEARD
              and o.louder_on_drive_db is not None and abs(o.louder_on_drive_db) >= 1.0]  # fmt: skip
    share(
        "side of the mesh, where both were driven and one is louder",
        (((o.louder_on_drive_db or 0.0) > 0) == (o.side == "drive") for o in meshes),
    )
    open_ = [
        (o, s)
        for o in heard
        for s in o.complaint
        if o.prominence.get(s, 0) >= HEARD and o.named and o.named != (s,)
    ]
    share(
        "first advice would part the truth from the best wrong one",
        (_parts(o, s) for o, s in open_),
        "wanted 80",
    )
    share("two suggestions at most", (len(o.advice) <= 2 for o in heard))
    print(
        f"processor time for 60 s: median {np.median([o.seconds / o.duration_s * 60 for o in heard]):.2f} s"
    )


def _parts(outcome: Outcome, truth: str) -> bool:
    """Whether the first drive advised changes one of the two and not the other, by the table of sources."""
    wrong = next((k for k in outcome.named if k != truth), None)
    if wrong is None or not outcome.advice:
        return False
    drive = next((d for d in DRIVES if d.key == outcome.advice[0]), None)
    return drive is not None and drive.answers(BY_KEY[truth]) != drive.answers(BY_KEY[wrong])


def pairs(simulator: str, seeds: range, folder: Path | None) -> None:
    """Print how a change of the mesh is told before and after."""
    right, wrong, answered = [], [], []
    inside = []
    for seed in seeds:
        try:
            before, after, truth = made(simulator, seed, folder, "make_pair")
        except AttributeError:
            print("before and after: this simulator makes no pairs")
            return
        change = float(truth["mesh_change_db"])
        sides = []
        try:
            for part in (before, after):
                drive = common_form(part, seed)
                sides.append(listen(drive.recording(), drive.axle, drive.tyre, drive.speed))
            result = compare_before_after([sides[0]], [sides[1]])
        except AxlewrightError:
            answered.append(False)
            continue
        first = result.changes[0]
        answered.append(True)
        said = {"quieter": -1, "louder": 1}.get(first.verdict, 0)
        inside.append(first.low_db <= change <= first.high_db)
        wrong.append(said * change < 0 or (said != 0 and abs(change) < 0.5))
        right.append(said == (0 if abs(change) < 2 else int(np.sign(change))))
    share("before and after: answered", answered, "wanted 80")
    share("    right, of the answered", right)
    share("    wrong way round, of the answered", wrong, "wanted 1 at most")
    share("    interval holds the change", inside)


def timing() -> None:
    """Time a 60 s recording of 48 kHz."""
    rng = np.random.default_rng(1)
    t = np.arange(60 * 48000) / 48000
    speed = 14 + 6 * np.sin(2 * np.pi * t / 60)
    turns = np.cumsum(speed / 2.1) / 48000
    sound = 0.05 * rng.standard_normal(len(t)) + 0.02 * np.cos(2 * np.pi * 41 * turns)
    trace = make_trace(np.arange(0.0, 60.0), np.interp(np.arange(0.0, 60.0), t, speed), "satellite")
    with tempfile.TemporaryDirectory() as folder:
        import soundfile

        path = Path(folder) / "drive.flac"
        soundfile.write(path, sound, 48000)
        spent = []
        for _ in range(3):
            begin = time.process_time()
            listen(read_recording(path), AxleOrders(41, 11), Tyre(2.1, 0.005, "roll-out"), trace)
            spent.append(time.process_time() - begin)
    print(f"60 s of 48 kHz, reading and listening: {min(spent):.2f} s of processor time (best of three)")


def machines(files: list[Path]) -> None:
    """Listen to real machines that are no axle, said to be driven at several speeds."""
    alarms, stated = 0, 0
    for path in files:
        whole = read_recording(path, longest_s=60.0)
        times = max(1, round(25 / whole.duration_s))
        recording = make_recording(np.tile(whole.full_samples, times), whole.full_rate_hz)
        end = recording.duration_s
        told = {speed: constant_speed(speed) for speed in ("35 mph", "45 mph", "60 mph")}
        told["30 to 45 mph"] = make_trace(np.linspace(0, end, 9), np.linspace(13.4, 20.1, 9), "typed")
        told["60 to 45 mph by satellite"] = make_trace(
            np.linspace(0, end, 30), np.linspace(26.8, 20.1, 30), "satellite"
        )
        for speed, trace in told.items():
            result = listen(recording, AxleOrders(41, 11), Tyre(2.1, 0.005, "roll-out"), trace)
            shown = [s for s in result.sources if s.probability > NAMED and s.kind != "runout"]
            words = [f"{s.name} ({s.word}, {s.probability:.2f})" for s in shown]
            print(f"{path.name} said to be an axle at {speed}: {'; '.join(words)}")
            alarms += any(s.word == "likely" and s.name != NONE for s in shown)
            stated += 1
    if files:
        print(f"real machines that are no axle: called likely in {alarms} of {stated}")


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--simulator", default="own")
    parser.add_argument("--count", type=int, default=60)
    parser.add_argument("--seed", type=int, default=50000)
    parser.add_argument("--pairs", type=int, default=0)
    parser.add_argument("--kept", type=Path, help="folder in which drives are kept")
    parser.add_argument("--machines", type=Path, nargs="*", default=[], help="recordings of no axle")
    parser.add_argument("--out", type=Path, help="write every outcome as a line of JSON")
    parser.add_argument("--no-extras", action="store_true")
    options = parser.parse_args()
    simulator = "own_drives" if options.simulator == "own" else options.simulator
    outcomes = []
    for seed in range(options.seed, options.seed + options.count):
        outcomes.append(one_drive(told_drive(simulator, seed, options.kept), seed))
    table(outcomes)
    if options.out:
        lines = (json.dumps(_plain(o)) for o in outcomes)
        options.out.write_text("\n".join(lines) + "\n", encoding="utf-8")
    if options.pairs:
        pairs(simulator, range(options.seed, options.seed + options.pairs), options.kept)
    if not options.no_extras:
        timing()
        machines(options.machines)


def _plain(outcome: Outcome) -> dict[str, Any]:
    return {name: getattr(outcome, name) for name in Outcome.__dataclass_fields__}


if __name__ == "__main__":
    main()
