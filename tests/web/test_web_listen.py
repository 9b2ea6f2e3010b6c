"""Listening to an uploaded recording."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from web_visitor import Visitor

from axlewright.sound import Drive, DrivePlan, DriveSource, save_drive, simulate_drive, tyre_from_rollout

TYRE = "2.10 m"
# 41 mesh periods in one wheel turn: the mesh order of an 11/41 set (arithmetic).
WHINE = DriveSource("mesh", 41, 9.0, pinion_runout=0.3, pinion_order=41 / 11)


@pytest.fixture(scope="module")
def drive(tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, str, Drive]:
    """A simulated drive of a whining 11/41 axle, with the speeds somebody noted."""
    folder = tmp_path_factory.mktemp("drive")
    made = simulate_drive((WHINE,), tyre_from_rollout(TYRE), DrivePlan(duration_s=24.0), seed=5)
    path = save_drive(made, folder, "whine")
    marks = next(p for p in folder.iterdir() if p != path)
    return path.read_bytes(), marks.read_text(), made


def test_a_whine_is_put_down_to_the_mesh_and_kept_with_the_job(
    visitor: Visitor, drive: tuple[bytes, str, Drive]
) -> None:
    number = visitor.start_job()
    data, marks, _ = drive
    fields = {"design": "TY-222", "tyre": TYRE, "speed": marks, "job": str(number)}
    page = visitor.post("/listen", fields, files={"file": ("whine.wav", data)})
    first = re.search(r'<th scope="row">([^<]+)</th><td>(\d+) %', page)
    assert first is not None
    assert "mesh" in first[1]
    assert int(first[2]) > 50
    assert f"job {number}" in page
    assert "fits best" in visitor.get(f"/jobs/{number}?step=complaint")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"tyre": ""}, "Give its roll-out"),
        ({"speed": ""}, "Give one speed"),
        ({"speed": "fast"}, "fast"),
        ({"design": "NONE"}, "no design"),
    ],
)
def test_what_is_missing_is_said_at_its_field(visitor: Visitor, change: dict[str, str], said: str) -> None:
    fields = {"design": "TY-222", "tyre": TYRE, "speed": "45 mph", **change}
    page = visitor.post("/listen", fields, files={"file": ("x.wav", b"RIFF....WAVE")}, status=422)
    assert said in page
    assert 'id="problem"' in page


def test_no_sound_is_no_recording(visitor: Visitor) -> None:
    fields = {"design": "TY-222", "tyre": TYRE, "speed": "45 mph"}
    assert 'href="#f-file"' in visitor.post("/listen", fields, status=422)
    page = visitor.post("/listen", fields, files={"file": (Path("x.wav").name, b"not sound")}, status=422)
    assert 'href="#f-file"' in page
