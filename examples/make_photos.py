"""Draw photographs of painted ring-gear teeth for the demonstration and for trials of the photo reader.

Run without arguments it draws the demonstration pair again: the TY-222 of the milk lorry with its pinion
0.005 in too far out, drive and coast, yellow compound rubbed clear. Beside each picture lies a JSON file
with the true corners in pixels of the upright picture. With --design it draws one picture as asked.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))

import axlewright as aw
from axlewright.units import parse_length
from photo_scene import DrawnPhoto, PhotoRequest, make_photo
from photo_scene.surface import COMPOUNDS

HERE = Path(__file__).parent / "photos"
JOB_PINION_OUT_MM = 0.127  # 0.005 in


def demo_requests() -> dict[str, PhotoRequest]:
    """Return the demonstration pair, file name to request."""
    design = aw.load_design("TY-222")
    common: dict[str, Any] = {
        "design": design,
        "pinion_out_mm": JOB_PINION_OUT_MM,
        "compound": "yellow",
        "mode": "rubbed",
        "width": 1920,
        "height": 1280,
        "dirt": 0.7,
        "oil": 0.35,
        "unevenness": 0.75,
        "noise": 0.014,
        "exposure": 0.62,
        "quality": 84,
        "tint": (1.03, 1.0, 0.92),
    }
    return {
        "ty-222-job-drive.jpg": PhotoRequest(
            flank="drive", side_deg=-6, roll_deg=184, elevation_deg=30, glare=0.45, seed=5, **common
        ),
        "ty-222-job-coast.jpg": PhotoRequest(
            flank="coast", side_deg=5, roll_deg=-7, elevation_deg=31, glare=0.4, seed=13, fill=0.57, **common
        ),
    }


def describe(photo: DrawnPhoto) -> dict[str, Any]:
    """Return the truth behind a photograph as plain data."""
    r = photo.request
    return {
        "design": r.design.name,
        "flank": r.flank,
        "settings": {
            "pinion_out_mm": r.pinion_out_mm,
            "ring_away_mm": r.ring_away_mm,
            "offset_error_mm": r.offset_error_mm,
            "shaft_angle_error_deg": r.shaft_angle_error_deg,
        },
        "compound": r.compound,
        "mode": r.mode,
        "width": r.width,
        "height": r.height,
        "corner_order": ["toe-top", "heel-top", "heel-root", "toe-root"],
        "corners_px": [[round(float(v), 1) for v in c] for c in photo.corners],
        "corners_text": " ".join(f"{x:.1f},{y:.1f}" for x, y in photo.corners),
        "true_pattern": photo.pattern.summary(),
    }


def write(photo: DrawnPhoto, path: Path) -> None:
    """Write the picture and its truth beside it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(photo.jpeg)
    truth = describe(photo)
    path.with_suffix(".json").write_text(json.dumps(truth, indent=1) + "\n", encoding="utf-8")
    print(f"{path} ({len(photo.jpeg) / 1000:.0f} kB)")
    print(f"  corners {truth['corners_text']}")


def main() -> None:
    """Draw what the command line asks for."""
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("--design", help="design name or file; without it the demonstration pair is drawn")
    p.add_argument("--flank", choices=["drive", "coast"], default="drive")
    p.add_argument("--pinion-out", default="0 mm", help='for example "0.005 in"')
    p.add_argument("--ring-away", default="0 mm")
    p.add_argument("--offset-error", default="0 mm")
    p.add_argument("--shaft-angle-error-deg", type=float, default=0.0)
    p.add_argument("--compound", choices=sorted(COMPOUNDS), default="yellow")
    p.add_argument("--mode", choices=["rubbed", "print", "painted", "none"], default="rubbed")
    p.add_argument("--megapixels", type=float, default=2.5)
    p.add_argument("--focal-ratio", type=float, default=0.95, help="focal length over the longer side")
    p.add_argument("--fill", type=float, default=0.6, help="tooth length over the longer side")
    p.add_argument("--elevation-deg", type=float, default=30.0)
    p.add_argument("--side-deg", type=float, default=0.0)
    p.add_argument("--roll-deg", type=float, default=0.0)
    p.add_argument("--glare", type=float, default=0.35)
    p.add_argument("--dirt", type=float, default=0.4)
    p.add_argument("--oil", type=float, default=0.2)
    p.add_argument("--unevenness", type=float, default=0.6)
    p.add_argument("--blur-px", type=float, default=0.9)
    p.add_argument("--orientation", type=int, choices=[1, 3, 6, 8], default=1)
    p.add_argument("--used", action="store_true", help="an older wear trace lies under the pattern")
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--out", type=Path, default=None)
    a = p.parse_args()
    if a.design is None:
        for name, request in demo_requests().items():
            write(make_photo(request), (a.out or HERE) / name)
        return
    width = int((a.megapixels * 1e6 * 1.5) ** 0.5) // 2 * 2
    request = PhotoRequest(
        design=aw.load_design(a.design),
        flank=a.flank,
        pinion_out_mm=parse_length(a.pinion_out),
        ring_away_mm=parse_length(a.ring_away),
        offset_error_mm=parse_length(a.offset_error),
        shaft_angle_error_deg=a.shaft_angle_error_deg,
        compound=a.compound,
        mode=a.mode,
        width=width,
        height=width * 2 // 3,
        focal_ratio=a.focal_ratio,
        fill=a.fill,
        elevation_deg=a.elevation_deg,
        side_deg=a.side_deg,
        roll_deg=a.roll_deg,
        glare=a.glare,
        dirt=a.dirt,
        oil=a.oil,
        unevenness=a.unevenness,
        blur_px=a.blur_px,
        orientation=a.orientation,
        used=a.used,
        seed=a.seed,
    )
    write(make_photo(request), a.out or Path(f"{a.design.lower()}-{a.flank}.jpg"))


if __name__ == "__main__":
    main()
