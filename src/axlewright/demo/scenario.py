"""The demo scenario: Thistledown Yard, an invented axle shop. All of it is made up.

A milk lorry's rear axle whines on drive at 45 mph. The new set is marked +2 and somebody fitted the old
spacer, so that the pinion sits 0.005 in too far out. The photos are drawn by examples/make_photos.py.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from axlewright.errors import PhotoError
from axlewright.gearset import FlankName

DESIGN: Final = "TY-222"
SHOP: Final = "Thistledown Yard"
WHO: Final = "bench one"
VEHICLE: Final = "milk lorry, rear axle"
COMPLAINT: Final = "whines on drive at 45 mph, quiet on coast"
SET_NUMBER: Final = "TY 4471"

ROAD_TORQUE_NM: Final = 60.0  # at the ring gear, light drive
SOUND_SPEEDS: Final = ("35 mph", "55 mph")
TYRE_ROLLOUT: Final = "2.10 m"
SPACERS_IN: Final = " ".join(f"0.{thousandths:04d}" for thousandths in range(500, 701, 5))
STEPS: Final = (
    (
        "complaint",
        {
            "heard": "whine",
            "when": "drive",
            "speed": "40 to 50 mph, loudest at 45",
            "others_out": "yes",
            "note": "tyres changed round, no difference; quiet on coast",
        },
    ),
    (
        "identity",
        {
            "pinion_number": "4471",
            "ring_number": "4471",
            "pinion_teeth": "11",
            "ring_teeth": "41",
            "hand": "left",
            "mark": "+2",
            "mark_unit": "0.001 in",
            "mark_meaning": "plus_means_larger_mounting_distance",
        },
    ),
    (
        "depth",
        {
            "place": "under_head",
            "carrier": "5.6230 5.6235 5.6225 5.6230 5.6230",
            "bearing": "1.2490",
            "mounting_distance": "4.3125",
            "mounting_distance_of": "design",
            "mark": "+2",
            "mark_unit": "0.001 in",
            "mark_meaning": "plus_means_larger_mounting_distance",
            "fitted": "0.0545",
            "instrument": "depth micrometer 2",
            "resolution": "0.0005",
        },
    ),
    (
        "backlash",
        {
            "readings": "0.0090 0.0090 0.0095 0.0100 0.0100 0.0095 0.0090 0.0085",
            "stem": "in_rotation",
            "axle": "light",
            "target": "0.0070",
            "instrument": "dial 3",
            "resolution": "0.0005",
        },
    ),
)


@dataclass(frozen=True, slots=True)
class DemoPhoto:
    """One demo photo and where its corners were tapped."""

    flank: FlankName
    path: Path
    corners: str


def photo_folder() -> Path:
    """Return the folder of the demo photos: in the package, else in the checkout's examples."""
    here = Path(__file__).resolve()
    for folder in (here.parent / "photos", here.parents[3] / "examples" / "photos"):
        if (folder / "ty-222-job-drive.jpg").exists():
            return folder
    raise PhotoError(
        "the demo photos are missing",
        where="examples/photos",
        fix="make them with 'python examples/make_photos.py'",
    )


def demo_photos() -> tuple[DemoPhoto, ...]:
    """Return the drive and coast photo of the demo job."""
    folder = photo_folder()
    out = []
    names: tuple[FlankName, ...] = ("drive", "coast")
    for flank in names:
        side = json.loads((folder / f"ty-222-job-{flank}.json").read_text(encoding="utf-8"))
        out.append(DemoPhoto(flank, folder / f"ty-222-job-{flank}.jpg", str(side["corners_text"])))
    return tuple(out)
