"""Several teeth around the ring gear, photographed: is runout found, and kept apart from the setting?

Each case is a set with a settings error and, in two of three cases, face and radial runout of the ring gear
(`contact.roll_runout`: each tooth carries a pattern of its own). Six teeth are photographed on both flanks,
every photo with light and camera of its own; in one photo of each flank the teeth beside are read as well.

    python benchmarks/reading_teeth.py --first 0 --count 12 --results teeth.jsonl [--minutes 8]
    python benchmarks/reading_teeth.py --results teeth.jsonl --table
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "examples"))

import axlewright as aw
from axlewright.contact import Settings
from axlewright.contact.runout import Runout, roll_runout
from axlewright.errors import AxlewrightError
from axlewright.pattern import ToothPhoto, estimate_runout, read_several
from photo_scene import make_photo, random_request, rolled_with_runout
from simulated_sets import DESIGNS

TEETH = 6
TAP_SHARE = 0.004


def one(number: int) -> dict[str, Any]:
    """Draw one ring gear, read it, return plain data."""
    design = aw.load_design(DESIGNS[number % len(DESIGNS)])
    rng = np.random.default_rng([number, 606])
    size = design.ring_outer_diameter_mm / 222.0
    settings = Settings(
        float(rng.normal(0, 0.05) * size),
        float(rng.normal(0, 0.05) * size),
        float(rng.normal(0, 0.02) * size),
        float(rng.normal(0, 0.01)),
    )
    runout = Runout()
    if number % 3:
        runout = Runout(
            ring_face_tir_mm=float(rng.uniform(0.0, 0.2)),
            ring_radial_tir_mm=float(rng.uniform(0.0, 0.15)),
            ring_face_high_deg=float(rng.uniform(0, 360)),
            ring_radial_high_deg=float(rng.uniform(0, 360)),
        )
    around = rolled_with_runout(design, runout, settings)
    still = roll_runout(design, Runout(), settings)
    z = design.ring_teeth
    numbers = [1 + round(k * z / TEETH) for k in range(TEETH)]
    out: dict[str, Any] = {"case": number, "design": design.name, "flanks": {}}
    out["face"] = [runout.ring_face_tir_mm, 1 + (-runout.ring_face_high_deg / 360 * z) % z]
    out["radial"] = [runout.ring_radial_tir_mm, 1 + (-runout.ring_radial_high_deg / 360 * z) % z]
    both = {}
    look: dict[str, Any] = {}
    for flank in ("drive", "coast"):
        photos, beside = [], []
        for k, tooth in enumerate(numbers):
            request = random_request(
                design,
                int(rng.integers(1 << 30)),
                width=1000,
                flank=flank,
                tooth=tooth,
                runout=runout,
                pinion_out_mm=settings.pinion_out_mm,
                ring_away_mm=settings.ring_away_mm,
                offset_error_mm=settings.offset_error_mm,
                shaft_angle_error_deg=settings.shaft_angle_error_deg,
                ease_off={},
                **look,
            )
            look = {key: getattr(request, key) for key in ("compound", "mode", "used")}
            photo = make_photo(request)

            def tapped(corners: Any) -> Any:
                length = float(np.linalg.norm(corners[1] - corners[0]))
                return corners + rng.normal(0.0, TAP_SHARE * length, (4, 2))

            photos.append(ToothPhoto(photo.jpeg, tapped(photo.corners), tooth))
            if k == 0:
                beside = [
                    ToothPhoto(photo.jpeg, tapped(photo.neighbours[n]), (tooth - 1 + n) % z + 1)
                    for n in (-1, 1)
                ]
        turn = 2 * np.pi * np.arange(z) / z
        centers = np.array([p.center for p in around.flank(flank).patterns])  # type: ignore[arg-type]
        quiet = np.mean([p.center for p in still.flank(flank).patterns], axis=0)  # type: ignore[arg-type]
        true = [float(2 * abs(np.mean(c * np.exp(1j * turn)))) for c in centers.T]
        said: dict[str, Any] = {"true": true, "wanted": quiet.tolist()}
        out["flanks"][flank] = said
        try:
            several = read_several(photos, design, flank)
        except AxlewrightError as error:
            said["refused"] = str(error)
            continue
        both[flank] = several
        waves = (several.lengthwise, several.profile)
        said |= {
            "read": len(several.readings),
            "found": [None if w is None else w.amplitude for w in waves],
            "sd": [None if w is None else w.amplitude_sd for w in waves],
            "sure": several.runout,
            "mean": list(several.mean.pattern.center),
            "mean_sd": list(several.mean.center_sd),
            "single": list(several.readings[0].pattern.center),
        }
        try:
            three = read_several([photos[0], *beside], design, flank)
            said["beside"] = {
                "read": len(three.readings),
                "error": [
                    [r.pattern.center[k] - centers[t - 1][k] for k in (0, 1)]
                    for r, t in zip(three.readings, three.teeth, strict=True)
                ],
                "z": [
                    [(r.pattern.center[k] - centers[t - 1][k]) / r.center_sd[k] for k in (0, 1)]
                    for r, t in zip(three.readings, three.teeth, strict=True)
                ],
            }
        except AxlewrightError as error:
            said["beside"] = {"read": 0, "why": str(error)}
    try:
        estimate = estimate_runout(design, **both)
        out["estimate"] = estimate.summary()
    except AxlewrightError as error:
        out["estimate"] = {"why": str(error)}
    return out


def table(rows: list[dict[str, Any]]) -> None:
    """Print what came out."""
    flanks = [(r, f) for r in rows for f in r["flanks"].values()]
    read = [(r, f) for r, f in flanks if "found" in f and f["found"][0] is not None]
    runs = [(r, f) for r, f in read if r["face"][0] or r["radial"][0]]
    quiet = [(r, f) for r, f in read if not (r["face"][0] or r["radial"][0])]
    print(f"\nring gears {len(rows)}, flanks {len(flanks)}, read with six teeth "
          f"{sum(f['read'] == TEETH for _, f in read)}, with four or five "
          f"{sum(f['read'] < TEETH for _, f in read)}, not {len(flanks) - len(read)}")  # fmt: skip
    large = [(r, f) for r, f in runs if max(f["true"]) >= 0.06]
    print("\n| | |\n|---|---|")
    print(f"| runout called where the pattern wanders by ±0.06 or more | "
          f"{sum(f['sure'] for _, f in large)} of {len(large)} |")  # fmt: skip
    print(f"| runout called where there is none | {sum(f['sure'] for _, f in quiet)} of {len(quiet)} |")
    for k, what in enumerate(("lengthwise", "profile")):
        e = np.array([f["found"][k] - f["true"][k] for _, f in runs])
        s = np.array([f["sd"][k] for _, f in runs])
        print(f"| wander {what}: median true, median error, within 2 sd | "
              f"±{np.median([f['true'][k] for _, f in runs]):.3f}, {np.median(np.abs(e)):.3f}, "
              f"{np.mean(np.abs(e) < 2 * s):.0%} |")  # fmt: skip
    for k, what in enumerate(("lengthwise", "profile")):
        many = [abs(f["mean"][k] - f["wanted"][k]) for _, f in runs]
        one_tooth = [abs(f["single"][k] - f["wanted"][k]) for _, f in runs]
        z = [abs(f["mean"][k] - f["wanted"][k]) / f["mean_sd"][k] for _, f in runs]
        print(f"| setting's place {what}, with runout: median error of one tooth, of all, within 2 sd | "
              f"{np.median(one_tooth):.3f}, {np.median(many):.3f}, "
              f"{np.mean(np.array(z) < 2):.0%} |")  # fmt: skip
    for name in ("face", "radial"):
        some = [r for r in rows if name in r["estimate"] and r["estimate"]["told_apart"]]
        true = np.array([r[name][0] for r in some])
        found = np.array([r["estimate"][name]["tir_mm"] for r in some])
        sd = np.array([r["estimate"][name]["sd_mm"] for r in some])
        if len(some):
            print(f"| {name} runout, total reading [mm], {len(some)} told apart: median true, error, "
                  f"stated sd, within 2 sd | {np.median(true):.3f}, {np.median(np.abs(found - true)):.3f}, "
                  f"{np.median(sd):.3f}, {np.mean(np.abs(found - true) < 2 * sd):.0%} |")  # fmt: skip
    beside = [f["beside"] for _, f in flanks if "beside" in f]
    errors = [e for b in beside for e in b.get("error", [])]
    z = np.array([e for b in beside for e in b.get("z", [])])
    print(f"| three teeth in one picture: read of {3 * len(beside)}, median profile error, within 2 sd | "
          f"{sum(b['read'] for b in beside)}, {np.median(np.abs(np.array(errors)[:, 1])):.3f}, "
          f"{np.mean(np.abs(z) < 2):.0%} |")  # fmt: skip


def main() -> None:
    """Run a piece of the trial, or print its table."""
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("--first", type=int, default=0)
    p.add_argument("--count", type=int, default=12)
    p.add_argument("--results", type=Path, help="JSON lines, appended to; a passing file when not given")
    p.add_argument("--minutes", type=float, default=60.0)
    p.add_argument("--table", action="store_true")
    a = p.parse_args()
    if a.results is None:
        a.results = Path(tempfile.mkdtemp()) / "results.jsonl"
    rows: list[dict[str, Any]] = []
    if a.results.exists():
        rows = [json.loads(line) for line in a.results.read_text(encoding="utf-8").splitlines() if line]
    end = time.monotonic() + 60.0 * a.minutes
    done = {r["case"] for r in rows}
    for number in () if a.table else range(a.first, a.first + a.count):
        if number in done:
            continue
        if time.monotonic() > end:
            print("time is up; run again for the rest")
            break
        rows.append(one(number))
        with a.results.open("a", encoding="utf-8") as file:
            file.write(json.dumps(rows[-1], default=lambda v: v.item()) + "\n")
    table(rows)


if __name__ == "__main__":
    main()
