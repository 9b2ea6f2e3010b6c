"""Photos that must not be read: does the reader notice, and what does it say?

Drawn photos of bare flanks, painted flanks that were never rolled, blurred, dark and flat pictures, other
designs than named, the other flank, teeth cut by the picture's edge. A good photo of the same seed stands
beside each kind: what is refused there is refused in vain.

    python benchmarks/reading_refusals.py [--count 12] [--seed 3000] [--results refusals.jsonl]
"""

from __future__ import annotations

import argparse
import io
import json
import sys
from collections import Counter, defaultdict
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image, ImageFilter

sys.path.insert(0, str(Path(__file__).parents[1] / "examples"))

import axlewright as aw
from axlewright.errors import AxlewrightError
from axlewright.pattern import load_picture, read_photo
from photo_scene import make_photo, random_request

DESIGNS = ("TY-222", "TY-310", "TY-205H", "TY-176B")
TAP_SHARE = 0.004


def _changed(jpeg: bytes, change: Any) -> bytes:
    image = Image.fromarray(load_picture(jpeg).pixels)
    out = io.BytesIO()
    change(image).save(out, "JPEG", quality=88)
    return out.getvalue()


def cases(seed: int) -> Any:
    """Yield (kind, file, corners, design, flank) of one seed."""
    name = DESIGNS[seed % 4]
    design = aw.load_design(name)
    rng = np.random.default_rng([seed, 31])
    photo = make_photo(random_request(design, seed, width=1200))
    if not photo.mask.any():
        return
    flank = photo.request.flank
    other_flank = "coast" if flank == "drive" else "drive"
    length = float(np.linalg.norm(photo.corners[1] - photo.corners[0]))
    taps = photo.corners + rng.normal(0.0, TAP_SHARE * length, (4, 2))
    yield "good photo", photo.jpeg, taps, design, flank
    for kind, mode, used in (
        ("bare flank, new set", "none", False),
        ("bare flank, used set with wear trace", "none", True),
        ("painted, never rolled", "painted", False),
    ):
        # Compound and everything else as in the good photo.
        empty = make_photo(random_request(design, seed, width=1200, mode=mode, used=used))
        yield kind, empty.jpeg, empty.corners + (taps - photo.corners), design, flank
    for share in (0.01, 0.02, 0.04):
        blur = ImageFilter.GaussianBlur(share * length)
        yield (
            f"blurred by {share:.0%} of the tooth's length",
            _changed(photo.jpeg, lambda im, b=blur: im.filter(b)),
            taps,
            design,
            flank,
        )
    yield (
        "very dark (1/60 of the light)",
        _changed(photo.jpeg, lambda im: im.point(lambda v: round(255 * (v / 255) * 60 ** (-1 / 2.2)))),
        taps,
        design,
        flank,
    )
    yield (
        "flat: contrast cut to 1/12",
        _changed(photo.jpeg, lambda im: im.point(lambda v: 117 + (v - 117) / 12)),
        taps,
        design,
        flank,
    )
    for step in (1, 2, 3):
        wrong = DESIGNS[(seed + step) % 4]
        yield f"read as {wrong}, is {name}", photo.jpeg, taps, aw.load_design(wrong), flank
    yield "the other flank named", photo.jpeg, taps, design, other_flank
    yield "corners one step round", photo.jpeg, np.roll(taps, 1, 0), design, flank
    cut = taps.mean(0)[0]
    yield (
        "tooth cut by the picture's edge",
        _changed(photo.jpeg, lambda im: im.crop((int(cut), 0, im.width, im.height))),
        taps - [int(cut), 0],
        design,
        flank,
    )


def one(seed: int) -> list[tuple[str, str, str]]:
    """Return (kind, what came, sentence) of one seed."""
    out = []
    try:
        for kind, file, corners, design, flank in cases(seed):
            try:
                reading = read_photo(file, corners, design, flank)
            except AxlewrightError as error:
                out.append((kind, "refused", f"{error.what}; {error.fix}"))
                continue
            doubt = any("bend" in q for q in reading.quality) or bool(reading.outline_doubts)
            out.append((kind, "read with a doubt" if doubt else "read", ""))
    except AxlewrightError:
        pass  # these random settings take the teeth out of contact
    return out


def main() -> None:
    """Run and print the table."""
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("--count", type=int, default=12)
    p.add_argument("--seed", type=int, default=3000)
    p.add_argument("--results", type=Path, help="JSON lines, appended to: a long run in pieces")
    a = p.parse_args()
    kept: dict[int, list[tuple[str, str, str]]] = {}
    if a.results is not None and a.results.exists():
        for line in a.results.read_text(encoding="utf-8").splitlines():
            row = json.loads(line)
            kept[row["seed"]] = row["came"]
    for seed in range(a.seed, a.seed + a.count):
        if seed in kept:
            continue
        kept[seed] = one(seed)
        if a.results is not None:
            with a.results.open("a", encoding="utf-8") as file:
                file.write(json.dumps({"seed": seed, "came": kept[seed]}) + "\n")
    came: dict[str, Counter[str]] = defaultdict(Counter)
    said: dict[str, Counter[str]] = defaultdict(Counter)
    for kind, what, sentence in (row for rows in kept.values() for row in rows):
        groups = [kind, "another design named"] if kind.startswith("read as") else [kind]
        for group in groups:
            came[group][what] += 1
            if sentence:
                said[group][sentence] += 1
    print("\n| picture | refused | read with a doubt | read without | most usual sentence |")
    print("|---|---|---|---|---|")
    for kind, counts in came.items():
        often = said[kind].most_common(1)[0][0] if said[kind] else ""
        numbers = " | ".join(str(counts[k]) for k in ("refused", "read with a doubt", "read"))
        print(f"| {kind} | {numbers} | {often} |")


if __name__ == "__main__":
    main()
