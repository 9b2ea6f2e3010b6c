"""Write the records of this version for those to come: ``python tests/records/make_kept.py``.

Run once with axlewright 0.1.0; it needs the source of that version and refuses any other. Do not run it to
make a test pass: what stands in ``kept/`` is what people have, and later versions must go on reading it.
``test_records_kept.py`` does not import it. Everything in it is invented.
"""

from __future__ import annotations

import io
import json
import shutil
import sys
import tempfile
from datetime import date
from pathlib import Path
from typing import Any, Final

import numpy as np
from PIL import Image

from axlewright import __version__
from axlewright.demo import scenario
from axlewright.job import batch as log
from axlewright.job import enter, put_on_shelf, start_job, take_back
from axlewright.job.pattern import answer_advice, enter_patterns
from axlewright.job.photos import FlankLook
from axlewright.job.pictures import add_picture
from axlewright.job.practice import practise, start_practice
from axlewright.job.shelf import take_for_job
from axlewright.language import using_language
from axlewright.records import HeaderChange, Instrument, JobStore, backup, export_job, open_store
from axlewright.training import Action, ExerciseName

KEPT: Final = Path(__file__).parent / "kept"
WRITTEN_WITH: Final = "0.1.0"
PHOTO_WIDTH: Final = 420  # px, a fifth of the demonstration photos'; both are still read
LEAD, LEAD_PIN = "lead", "2580"
BENCH, BENCH_PIN = "bench one", "1357"

GERMAN: Final = (
    ("complaint", {"heard": "Heulen", "when": "coast", "speed": "70 km/h", "others_out": "yes"}),
    ("as-found", {"backlash": "0,25 0,28 0,26 0,27", "turning": "1,4 N·m", "end_play": "0"}),
    ("identity", {"pinion_number": "7", "ring_number": "7", "mark": "-5", "mark_unit": "0.01 mm",
                  "mark_meaning": "plus_means_thicker_spacer", "timing": "none"}),
    ("fits", {"bearings": "gut", "flange_runout": "0,02", "ring_face_runout": "0,05"}),
    ("depth", {"place": "behind_cup", "carrier": "142,89 142,88 142,89", "bearing": "31,75 31,76",
               "mounting_distance": "109,54", "mark": "-5", "mark_unit": "0.01 mm",
               "mark_meaning": "plus_means_thicker_spacer", "fitted": "1,55",
               "instrument": "Tiefenmikrometer", "resolution": "0,01", "note": "kalt gemessen"}),
    ("preload", {"bearings": "new", "kind": "spacer", "torque": "2,2 N·m", "seal": "0,3 N·m",
                 "between": "cones", "spacer": "11,43"}),
    ("backlash", {"readings": "0,17 0,18 0,20 0,19", "stem": "in_rotation", "axle": "light", "sides": "cups",
                  "ring_side": "6,35", "other_side": "6,73", "rise": "0,3 N·m"}),
)  # fmt: skip


def small(photo: bytes, corners: str) -> tuple[bytes, str]:
    """Return a photo scaled down, with its corners."""
    with Image.open(io.BytesIO(photo)) as whole:
        scale = PHOTO_WIDTH / whole.width
        less = whole.convert("RGB").resize(
            (PHOTO_WIDTH, round(whole.height * scale)), Image.Resampling.LANCZOS
        )
    out = io.BytesIO()
    less.save(out, "JPEG", quality=45)
    points = np.array([[float(v) for v in one.split(",")] for one in corners.split()]) * scale
    return out.getvalue(), " ".join(f"{x:.1f},{y:.1f}" for x, y in points)


def tag_photo() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (320, 240), "#7a6a55").save(out, "JPEG", quality=40)
    return out.getvalue()


def demo_job(store: JobStore) -> int:
    """The demonstration job to its end: photos, advice followed, read again, signed and opened again."""
    number = start_job(
        store,
        design_name=scenario.DESIGN,
        vehicle=scenario.VEHICLE,
        complaint=scenario.COMPLAINT,
        set_number=scenario.SET_NUMBER,
        reference="ML-204",
        who=BENCH,
    ).number
    outcomes = {
        step: enter(store, number, step, fields, who=BENCH, idempotency_key=f"demo {step}")
        for step, fields in scenario.STEPS
    }
    add_picture(store, number, "as-found", piece="ring_side_cap", photo=tag_photo(), tag="left", who=BENCH)
    looks = {}
    for photo in scenario.demo_photos():
        data, corners = small(photo.path.read_bytes(), photo.corners)
        looks[photo.flank] = FlankLook(photo=data, corners=corners)
    read = enter_patterns(store, number, looks, who=BENCH, idempotency_key="demo pattern")
    advice = next(one for one in read.entries if one.kind == "advice")
    answer_advice(store, number, advice.seq, True, "", who=BENCH)
    take_for_job(store, number, outcomes["depth"].entries[0].seq, who=BENCH)
    enter(store, number, "fits", {"bearings": "good", "flange_runout": "0.001"}, who=BENCH)
    enter(store, number, "depth", {**dict(scenario.STEPS)["depth"], "fitted": "0.0595"}, who=BENCH)
    preload = {"bearings": "new", "kind": "sleeve", "torque": "20", "seal": "3", "nut": "10"}
    enter(store, number, "preload", preload, who=BENCH)
    even = {"readings": "0.0070 0.0072 0.0075 0.0070", "axle": "light", "target": "0.0070"}
    enter(store, number, "backlash", even, who=BENCH)
    words: dict[Any, FlankLook] = {
        "drive": FlankLook(words="centred, about half"),
        "coast": FlankLook(words="centred, about half"),
    }
    enter_patterns(store, number, words, who=BENCH)
    seen = {"accepted": "yes", "reason": "both flanks lie in the middle"}
    enter(store, number, "pattern", seen, who=BENCH)
    final = {"backlash": "0.0070 0.0072 0.0075 0.0070", "torque": "24", "pattern": "same"}
    enter(store, number, "final", final, who=BENCH)
    enter(store, number, "close", {"locks": "yes", "oil": "yes", "road": "quiet", "gone": "gone"}, who=BENCH)
    sign(store, number, "no as-found readings were taken")
    store.reopen(number, "a leak at the pinion seal", who=LEAD, pin=LEAD_PIN)
    return number


def sign(store: JobStore, number: int, although: str) -> None:
    store.sign_off(
        number,
        who=LEAD,
        pin=LEAD_PIN,
        statement="As written on this sheet.",
        head=store.get_job(number).head,
        close=True,
        although=although,
    )


def german_job(store: JobStore) -> int:
    with using_language("de"):
        number = start_job(
            store,
            design_name="TY-222",
            vehicle="Milchwagen, Hinterachse",
            complaint="heult im Schub",
            who=BENCH,
        ).number
        for step, fields in GERMAN:
            enter(store, number, step, fields, who=BENCH, system="metric")
        words: dict[Any, FlankLook] = {"drive": FlankLook(words="high, toward heel")}
        enter_patterns(store, number, words, who=BENCH, system="metric")
    return number


def corrected_job(store: JobStore) -> int:
    """Entries waived, taken back, superseded; stopped and answered; the header corrected."""
    number = start_job(store, design_name="TY-222", vehicle="hay lory", complaint="growls", who=BENCH).number
    store.amend_job(number, HeaderChange(vehicle="hay lorry"), who=BENCH)
    wrong = enter(store, number, "identity", {"pinion_number": "1", "ring_number": "2"}, who=BENCH)
    pair = {"pinion_number": "2", "ring_number": "2"}
    enter(store, number, "identity", pair, who=BENCH, supersedes=wrong.entries[0].seq)
    back = enter(store, number, "as-found", {"turning": "12", "note": "other axle"}, who="bench two")
    take_back(store, number, back.entries[0].seq, "read on another axle", who="bench two")
    add_picture(
        store, number, "as-found", piece="depth_spacer", photo=tag_photo(), tag="0.0605 in", who=BENCH
    )
    store.waive(number, "complaint", "came without a driver", who=LEAD, pin=LEAD_PIN)
    slip = {"readings": "0.0123 0.0120", "axle": "light", "limit_high": "0.0080", "limit_source": "own data"}
    first = enter(store, number, "backlash", slip, who=BENCH)
    again = {**slip, "readings": "0.0070 0.0072", "note": "slip of the pen"}
    enter(store, number, "backlash", again, who=BENCH, supersedes=first.entries[0].seq)
    return number


def signed_job(store: JobStore) -> int:
    number = start_job(store, design_name="TY-310", vehicle="tipper", complaint="clunks", who=BENCH).number
    enter(store, number, "complaint", {"heard": "clunk", "when": "float", "others_out": "no"}, who=BENCH)
    sign(store, number, "sold for parts")
    return number


def fill(store: JobStore) -> dict[str, int]:
    store.people.add(LEAD, "admin", LEAD_PIN)
    store.people.add(BENCH, "technician", BENCH_PIN)
    store.instruments.put(
        Instrument(
            "depth micrometer 2",
            resolution="0.0001 in",
            uncertainty="0.0004 in, k = 2",
            calibrated_on=date(2025, 3, 1),
            due_on=date(2026, 3, 1),
        )
    )
    sizes = " ".join(f"0.{one:04d}" for one in range(540, 640, 5))
    put_on_shelf(store, "pinion spacer", sizes, count=2, part="P-7", design_name="TY-222", who=BENCH)
    put_on_shelf(store, "side shim", "0.244 0.279", who=BENCH)
    jobs = {
        "demo": demo_job(store),
        "german": german_job(store),
        "corrected": corrected_job(store),
        "signed": signed_job(store),
    }
    kept = start_practice(store, ExerciseName("TY-222", 1, 3), BENCH)
    for kind in ("identity", "backlash", "roll", "sign"):
        kept = practise(store, kept.key, Action(kind))  # type: ignore[arg-type]
    rows = [
        f"{n},TY-222,{x},{30 * (1 + ((x - 0.02) / 0.08) ** 2):.1f}"
        for n in (1, 2, 3)
        for x in (-0.1, -0.05, 0.0, 0.05, 0.1)
    ]
    text = "\n".join(["set,design,pinion out [mm],drive motion error [µrad]", *rows, ""])
    read = log.import_log(store, text.encode(), name="log.csv", who=BENCH)
    assert len(read.rolls) == len(rows), read
    return jobs


def main() -> int:
    if __version__ != WRITTEN_WITH:
        print(
            f"this is axlewright {__version__}; the kept records are those of {WRITTEN_WITH}", file=sys.stderr
        )
        return 2
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder) / "records"
        with open_store(home) as store:
            jobs = fill(store)
            shutil.rmtree(KEPT, ignore_errors=True)
            KEPT.mkdir()
            backup(store, KEPT / "backup.zip")
            export_job(store, jobs["corrected"], KEPT / "job.zip")
            told = {
                "written_with": __version__,
                "jobs": jobs,
                "heads": {name: store.get_job(number).head for name, number in jobs.items()},
            }
        shutil.copytree(home, KEPT / "records")
    (KEPT / "told.json").write_text(json.dumps(told, indent=1, sort_keys=True) + "\n", encoding="utf-8")
    size = sum(path.stat().st_size for path in KEPT.rglob("*") if path.is_file())
    print(f"{KEPT.name}/ holds {size / 1024:.0f} kB")
    return 0


if __name__ == "__main__":
    sys.exit(main())
