"""From drawn photos to the advice: random sets photographed, read, changed as advised first, rolled again.

Every case is one set of gears with habits and a settings error of its own and a photo of each flank; lens,
light, dirt, oil, wear, compound and taps are drawn at random by `examples/photo_scene`, which shares no code
with the reader. A photo that is refused is taken again, as the first advice says: the same set, compound and
wear, another tooth (dirt, oil), camera and lamp, up to three photos of a flank. Where the first advice asks
for one more photo of the drive flank, because it saves more than its minutes, that is taken, once, and both
count; what two photos alone come to is told beside it. Cases are numbered: the same number is the same case.
Results are appended to a file, so that a long run can be done in pieces; cases from 1000 to 2999 were used to
set things in reader and diagnosis, or to choose between ways.

    python benchmarks/reading_photos.py --first 4000 --count 400 --results results.jsonl [--minutes 8]
        [--keep drawings/] [--workers 2]
    python benchmarks/reading_photos.py --results results.jsonl --table
"""

from __future__ import annotations

import argparse
import hashlib
import json
import pickle
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[1] / "examples"))  # the renderer of photos

import axlewright as aw
from axlewright.contact import Settings
from axlewright.diagnosis import Diagnosis, Evidence, Goal, Priors, diagnose
from axlewright.errors import AxlewrightError
from axlewright.gearset import FlankName, GearSetDesign
from axlewright.pattern import combine_looks, read_photo, settle_pair
from photo_scene import make_photo, random_request
from reading import information_limit, judge_case
from reading_photos_table import Rows, table
from simulated_sets import DESIGNS, RealSet, draw_set, draw_settings, lies

TAP_SHARE = 0.004  # a tap's standard deviation as a share of the tooth's length in the picture
FLANKS: tuple[FlankName, FlankName] = ("drive", "coast")
TRIES = 3  # photos of one flank until it is given up
SAME = ("compound", "mode", "used")  # for both flanks of one axle and for a photo taken again


@dataclass
class Drawn:
    """One case drawn: the set, its settings and a photo of each flank."""

    number: int
    design: str
    real: RealSet
    settings: Settings
    wide: bool
    backlash_mm: float
    photos: dict[str, dict[str, Any]]

    def again(self, flank: str, attempt: int) -> dict[str, Any]:
        """Return the photo that is taken of a flank after one was refused; `attempt` counts from 2."""
        rng = np.random.default_rng([self.number, 777, FLANKS.index(flank), attempt])
        conditions = self.photos[flank]["conditions"]
        design = aw.load_design(self.design)
        return take(rng, design, flank, self.real, self.settings, {k: conditions[k] for k in SAME})


def take(
    rng: np.random.Generator,
    design: GearSetDesign,
    flank: str,
    real: RealSet,
    settings: Settings,
    fixed: dict[str, Any],
) -> dict[str, Any]:
    """Photograph one flank: tooth, camera, lamp and taps at random, what is `fixed` as given."""
    request = random_request(
        design,
        int(rng.integers(1 << 30)),
        flank=flank,
        pinion_out_mm=settings.pinion_out_mm,
        ring_away_mm=settings.ring_away_mm,
        offset_error_mm=settings.offset_error_mm,
        shaft_angle_error_deg=settings.shaft_angle_error_deg,
        ease_off=real.ease_off,
        **fixed,
    )
    photo = make_photo(request)
    length = float(np.linalg.norm(photo.corners[1] - photo.corners[0]))
    names = (*SAME, "glare", "oil", "dirt", "shadow_depth", "blur_px")
    return {
        "jpeg": photo.jpeg,
        "corners": photo.corners,
        "taps": photo.corners + rng.normal(0.0, TAP_SHARE * length, (4, 2)),
        "mask": photo.mask,
        "pattern": photo.pattern,
        "conditions": {k: getattr(request, k) for k in names},
    }


def draw(number: int, keep: Path | None) -> Drawn | None:
    """Draw one case, or take it from where drawings are kept; None when the teeth are out of contact."""
    path = None if keep is None else keep / f"case-{number}.pickle"
    if path is not None and path.exists():
        return pickle.loads(path.read_bytes())  # type: ignore[no-any-return]
    design, priors = aw.load_design(DESIGNS[number % len(DESIGNS)]), Priors()
    rng = np.random.default_rng([number, 4242])
    real, (settings, wide) = draw_set(rng, design, priors), draw_settings(rng, priors)
    photos: dict[str, dict[str, Any]] = {}
    try:
        _, backlash = real.look(settings)
        first: dict[str, Any] = {}
        for flank in FLANKS:
            photos[flank] = take(rng, design, flank, real, settings, first)
            first = {k: photos[flank]["conditions"][k] for k in SAME}
    except AxlewrightError:
        return None
    drawn = Drawn(
        number, design.name, real, settings, wide, max(0.0, backlash + 0.02 * float(rng.normal())), photos
    )
    if path is not None:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(pickle.dumps(drawn))
    return drawn


def read(case: Drawn) -> dict[str, Any]:
    """Read both photos, diagnose, change as advised first, roll again; return plain data."""
    design = aw.load_design(case.design)
    out: dict[str, Any] = {
        "case": case.number,
        "design": case.design,
        "design_data": hashlib.sha256(repr(design).encode()).hexdigest()[
            :12
        ],  # data may change between pieces
        "photos": {},
    }
    readings: dict[str, Any] = {}
    taken: dict[str, dict[str, Any]] = {}
    for flank in FLANKS:
        out["photos"][flank] = []
        _photograph(case, flank, design, readings, taken, out["photos"][flank])
    _settle(readings, design)
    if not readings:
        return out
    first = _diagnosed(case, design, readings)
    decides = Goal().deciding_flank
    asked = decides in readings and first.explained and first.advice[0].look_again
    photos_read(readings, taken, out["photos"])
    out["one_more_asked"] = asked
    if asked:
        out["saves_hours"] = first.advice[0].saves_hours
        # What two photos alone come to, then one more of the deciding flank, as the first advice says.
        alone = judged(case, readings, _diagnosed(case, design, readings, again=True), 0.0)
        out["two_photos"] = alone.get("trial")
        more: dict[str, Any] = {}
        tries = out["photos"][decides]
        _photograph(case, decides, design, more, taken, tries, most=len(tries) + 2)
        if more:
            settled = {**readings, **more}
            _settle(settled, design)
            photos_read({decides: settled[decides]}, taken, out["photos"])
            readings[decides] = combine_looks([readings[decides], settled[decides]])
            found, true = readings[decides].pattern, taken[decides]["pattern"]
            out["together"] = {
                "error": [found.center[k] - true.center[k] for k in (0, 1)],
                "sd": list(readings[decides].center_sd),
            }
    start = time.process_time()
    diagnosis = _diagnosed(case, design, readings, again=asked)
    out |= judged(case, readings, diagnosis, time.process_time() - start)
    return out


def photos_read(
    readings: dict[str, Any], taken: dict[str, dict[str, Any]], photos: dict[str, list[dict[str, Any]]]
) -> None:
    """Note how well each flank's photo was read."""
    for flank, reading in readings.items():
        photo = taken[flank]
        said = next(t for t in reversed(photos[flank]) if "refused" not in t)
        found, true = reading.pattern, photo["pattern"]
        both = (found.mask & photo["mask"]).sum()
        said |= {
            "overlap": float(both / max(1, (found.mask | photo["mask"]).sum())),
            "error": [found.center[k] - true.center[k] for k in (0, 1)],
            "sd": list(reading.center_sd),
            "area": [found.area_fraction, true.area_fraction],
            "compound_found": reading.compound_found,
            "other_chance": reading.other_chance,
            "contrast": reading.contrast,
            "likely": reading.likely,
            "doubted": bool(reading.outline_doubts),
        }


def judged(case: Drawn, readings: dict[str, Any], diagnosis: Diagnosis, seconds: float) -> dict[str, Any]:
    """Change as advised first, roll again; return the trial as plain data, or why there is none."""
    priors = Priors()
    sd = [s for f in FLANKS for s in (readings[f].center_sd if f in readings else (9.0, 9.0))]
    lie_cov = _lie_covariance(case.design)
    try:
        limit = information_limit(case.real, case.settings, np.array([*sd, 0.02]), lie_cov, priors, case.wide)
        trial = judge_case(
            case.real,
            case.settings,
            diagnosis,
            np.random.default_rng([case.number, 99]),
            limit=limit,
            seconds=seconds,
        )
    except AxlewrightError as error:
        return {"lost": error.what}
    plain = {k: getattr(trial, k) for k in trial.__dataclass_fields__}
    return {"trial": {k: v.tolist() if isinstance(v, np.ndarray) else v for k, v in plain.items()}}


def _photograph(
    case: Drawn,
    flank: str,
    design: GearSetDesign,
    readings: dict[str, Any],
    taken: dict[str, dict[str, Any]],
    tries: list[dict[str, Any]],
    most: int = TRIES,
) -> None:
    """Photograph a flank until a photo is read, up to `most` in all; nothing is lost when none is."""
    for attempt in range(len(tries) + 1, most + 1):
        photo = case.photos[flank] if attempt == 1 else case.again(flank, attempt)
        said: dict[str, Any] = {"conditions": photo["conditions"]}
        tries.append(said)
        start = time.process_time()
        try:
            readings[flank] = read_photo(photo["jpeg"], photo["taps"], design, flank)
        except AxlewrightError as error:
            said["refused"] = error.what
            continue
        said["seconds"] = time.process_time() - start
        taken[flank] = photo
        break


def _settle(readings: dict[str, Any], design: GearSetDesign) -> None:
    if len(readings) == 2:
        readings["drive"], readings["coast"] = settle_pair(readings["drive"], readings["coast"], design)


def _diagnosed(
    case: Drawn, design: GearSetDesign, readings: dict[str, Any], *, again: bool = False
) -> Diagnosis:
    return diagnose(
        Evidence(
            design,
            readings.get("drive"),
            readings.get("coast"),
            backlash_mm=case.backlash_mm,
            refused=tuple(f for f in FLANKS if f not in readings),
            looked_again=again,
        )
    )


@lru_cache(maxsize=8)
def _lie_covariance(design: str) -> NDArray[np.float64]:
    return np.cov(lies(aw.load_design(design), 120).T)


def one(task: tuple[int, Path | None]) -> dict[str, Any]:
    """Draw and read one case."""
    number, keep = task
    case = draw(number, keep)
    return {"case": number, "lost": "teeth out of contact"} if case is None else read(case)


def kept_rows(path: Path) -> Rows:
    """Return the results of a file, by case."""
    if not path.exists():
        return []
    rows = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines() if line.strip()]
    return sorted(rows, key=lambda r: int(r["case"]))


def main() -> None:
    """Run a piece of the trial, or print its table."""
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("--first", type=int, default=4000)
    p.add_argument("--count", type=int, default=24)
    p.add_argument("--results", type=Path, help="JSON lines, appended to; a passing file when not given")
    p.add_argument("--keep", type=Path, help="directory to keep drawings in, to read them again")
    p.add_argument("--minutes", type=float, default=60.0, help="start no new case after this time")
    p.add_argument("--workers", type=int, default=2)
    p.add_argument("--table", action="store_true", help="print the table of what is there and stop")
    a = p.parse_args()
    if a.results is None:
        a.results = Path(tempfile.mkdtemp()) / "results.jsonl"
    if not a.table:
        done = {int(r["case"]) for r in kept_rows(a.results)}
        todo = [(n, a.keep) for n in range(a.first, a.first + a.count) if n not in done]
        end = time.monotonic() + 60.0 * a.minutes
        with (
            ProcessPoolExecutor(a.workers, mp_context=get_context("spawn")) as pool,
            a.results.open("a", encoding="utf-8") as file,
        ):
            for start in range(0, len(todo), 2 * a.workers):
                if time.monotonic() > end:
                    print(f"time is up; {len(todo) - start} cases are left, run again for them")
                    break
                for row in pool.map(one, todo[start : start + 2 * a.workers]):
                    file.write(json.dumps(row, default=lambda v: v.item()) + "\n")
                    file.flush()
    table(kept_rows(a.results))


if __name__ == "__main__":
    main()
