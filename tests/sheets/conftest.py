"""A full sheet to test on; the shop and all its figures are invented."""

from __future__ import annotations

import io
import math

import pytest
from PIL import Image, ImageDraw

from axlewright.sheets import (
    Advice,
    Cause,
    JobSheetData,
    PatternPicture,
    Photo,
    ReadingBlock,
    RoundPlot,
    Signature,
    StepBlock,
)


def oval(u0: float, v0: float, a: float, b: float, rows: int = 24, columns: int = 60) -> tuple:
    """Return an oval mask round (u0, v0) with half axes a and b, all in shares of the flank."""
    return tuple(
        tuple(
            ((column + 0.5) / columns - u0) ** 2 / a**2 + ((row + 0.5) / rows - v0) ** 2 / b**2 < 1
            for column in range(columns)
        )
        for row in range(rows)
    )


def jpeg(width: int = 640, height: int = 420) -> bytes:
    picture = Image.new("RGB", (width, height), "#8a8f86")
    ImageDraw.Draw(picture).ellipse((150, 120, 420, 300), fill="#d9b23c")
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=85)
    return out.getvalue()


@pytest.fixture(scope="session")
def full_sheet() -> JobSheetData:
    angles = tuple(45.0 * k for k in range(8))
    fit = tuple(5.0 * k for k in range(73))
    wave = [0.012 + 0.011 * math.cos(math.radians(angle - 80)) for angle in fit]
    return JobSheetData(
        shop="Thistledown Yard",
        number="17",
        reference="ML-204",
        set_number="4417",
        design="TY-222 · face-milled hypoid 11/41, offset 38 mm",
        vehicle="Milk lorry, rear axle",
        complaint="Whines on drive at 45 mph, quiet on coast; rear axle rebuilt last month.",
        opened="2026-03-02",
        state="open",
        people=("bench one", "bench two"),
        steps=(
            StepBlock(
                title="Pinion depth and spacer",
                verdict="not ok",
                why="The old spacer was put back: the pinion sits 0.005 in too far out.",
                rounds=tuple(
                    ReadingBlock(
                        readings=(
                            {
                                "name": f"Carrier depth {k}",
                                "value": value,
                                "unit": "in",
                                "note": "face to bearing seat",
                            },
                        ),
                        instrument="depth micrometer 2, calibrated 2026-01-12",
                        who="bench one",
                        when=f"2026-03-02 09:1{k}",
                    )
                    for k, value in enumerate(("4.3125", "4.3127", "4.3124", "4.3126", "4.3125"), start=1)
                ),
                sums=(
                    {
                        "label": "Spacer",
                        "text": "4.3125 − 3.0000 − 1.2490 − 0.0020 = 0.0615",
                        "result": "0.0615 in",
                        "sure": "± 0.0006 in (k = 2)",
                        "note": "Mark +2 means: pinion further out than nominal by 0.002 in; the other "
                        "meaning would give 0.0655 in.",
                    },
                ),
                limits=(
                    {
                        "name": "Depth reached",
                        "read": "+0.0050 in",
                        "allowed": "± 0.0010 in",
                        "source": "common practice, no source",
                        "origin": "default",
                        "verdict": "not ok",
                    },
                ),
                cautions=("Press and driver work: eye protection and a guard.",),
            ),
            StepBlock(
                title="Side bearings and backlash",
                verdict="ok",
                rounds=(
                    ReadingBlock(
                        readings=tuple(
                            {
                                "name": "Backlash",
                                "value": value,
                                "unit": "mm",
                                "note": f"tooth {tooth}, heel",
                            }
                            for tooth, value in ((1, "0.17"), (11, "0.19"), (21, "0.20"), (31, "0.18"))
                        ),
                        instrument="dial 3, calibrated 2026-02-01",
                        who="bench two",
                    ),
                ),
                limits=(
                    {
                        "name": "Backlash",
                        "read": "0.17 to 0.20 mm",
                        "allowed": "0.15 to 0.20 mm",
                        "source": "typed in by bench two from the axle's service data",
                        "origin": "typed in",
                        "verdict": "ok",
                    },
                ),
            ),
            StepBlock(title="Final build re-check", verdict="open"),
        ),
        patterns=(
            PatternPicture(
                flank="drive",
                measured=oval(0.36, 0.72, 0.24, 0.2),
                computed=oval(0.45, 0.5, 0.25, 0.24),
                measured_caption="Photo of 09:40, mean of three teeth.",
                computed_caption="After a spacer 0.005 in thicker.",
            ),
            PatternPicture(
                flank="coast",
                measured=oval(0.66, 0.74, 0.22, 0.2),
                computed=oval(0.5, 0.52, 0.25, 0.24),
                measured_caption="Photo of 09:42.",
                computed_caption="After a spacer 0.005 in thicker.",
            ),
        ),
        plots=(
            RoundPlot(
                title="Ring gear back face runout",
                unit="mm",
                angles_deg=angles,
                values=(0.013, 0.022, 0.024, 0.017, 0.010, 0.003, 0.0, 0.006),
                fit_angles_deg=fit,
                fit_values=tuple(wave),
                limit=0.05,
                caption="First harmonic 0.022 mm, high at 80°.",
            ),
        ),
        causes=(
            Cause(
                name="Pinion too far out",
                probability=0.86,
                value="+0.0051 in",
                uncertainty="± 0.0012 in",
                note="both flanks move to the top",
            ),
            Cause(name="Ring gear too close", probability=0.09, value="−0.002 in", uncertainty="± 0.003 in"),
        ),
        cause_note="A set whose own pattern lies high would look alike; the tester's photo decides it.",
        advice=(
            Advice(text="Fit spacer 0.0665 in from stock, keep backlash.", taken="taken", who="bench one"),
            Advice(
                text="Measure the carrier once more before pressing.",
                taken="not taken",
                who="bench one",
                reason="five readings within 0.0003 in",
            ),
        ),
        photos=(
            Photo(jpeg=jpeg(), caption="Drive side, three teeth, 09:40"),
            Photo(jpeg=jpeg(), caption="Coast side, 09:42"),
        ),
        cautions=("Defer to the maker's service data, local rules and licensed practice.",),
        signatures=(
            Signature(
                role="technician", name="bench one", when="2026-03-02 16:20", statement="Built as written."
            ),
            Signature(role="lead"),
        ),
        link="http://bench.local:8000/jobs/17",
        fingerprint="86690e3a04847962",
    )
