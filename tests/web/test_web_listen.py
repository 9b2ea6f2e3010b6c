"""Listening to an uploaded recording."""

from __future__ import annotations

import html
import io
import re
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy import signal
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
        ({"bearings": "wheel:40:12:70"}, "do not fit round"),
        ({"bearings": "door"}, "no bearing"),
        ({"cylinders": "99"}, "make no engine"),
        ({"gears": "4.1 900"}, "no gear ratios"),
        ({"speed": "time_s;speed_kmh\n0;50\n0;60"}, "times must rise"),
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


def players(page: str) -> dict[str, str]:
    """Return the addresses of both players, before and after."""
    found = re.findall(r'<audio[^>]* src="([^"]+)"', page)
    return {"before": html.unescape(found[0]), "after": html.unescape(found[1])}


def level_db(data: bytes, frequency: float) -> float:
    """Return the level of one tone in a WAV file [dB re full scale]."""
    samples, rate = soundfile.read(io.BytesIO(data))
    t = np.arange(len(samples)) / rate
    window = np.hanning(len(samples))
    return float(20 * np.log10(abs((samples * window * np.exp(-2j * np.pi * frequency * t)).mean()) * 4))


def test_both_settings_play_at_equal_gain(warm: Visitor) -> None:
    page = warm.get("/listen/made?design=TY-222&pinion=0.15&speed=45+mph&tyre=2.10+m&ratio=12")
    assert "not the sound in a car" in page
    row = re.search(r'<th scope="row">1</th><td>[^<]+</td><td>[^<]+</td><td>([^<]+)<', page)
    assert row is not None
    change = float(row[1])
    sounds = {name: warm.client.get(path) for name, path in players(page).items()}
    assert all(one.headers["content-type"] == "audio/wav" for one in sounds.values())
    # 41 mesh periods a wheel turn at 45 mph (20.117 m/s) on 2.10 m: 392.8 Hz (arithmetic).
    heard = {name: level_db(one.content, 41 * 45 * 0.44704 / 2.10) for name, one in sounds.items()}
    assert heard["after"] - heard["before"] == pytest.approx(change, abs=1.0)
    assert abs(change) > 1.0
    # Equal gain: the road noise, well above the mesh tones, is the same in both.
    noise = {name: soundfile.read(io.BytesIO(one.content))[0] for name, one in sounds.items()}
    sos = signal.butter(8, [5500, 9000], "bandpass", fs=48000, output="sos")
    rms = {name: float(np.std(signal.sosfilt(sos, x))) for name, x in noise.items()}
    assert rms["after"] == pytest.approx(rms["before"], rel=0.01)


def test_a_player_may_ask_for_a_part(warm: Visitor) -> None:
    path = players(warm.get("/listen/made?design=TY-222&pinion=0.15"))["after"]
    whole = warm.client.get(path).content
    part = warm.client.get(path, headers={"range": "bytes=100-199"})
    assert part.status_code == 206
    assert part.content == whole[100:200]
    assert part.headers["content-range"] == f"bytes 100-199/{len(whole)}"
    assert warm.client.get(path, headers={"range": f"bytes={len(whole)}-"}).status_code == 416


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("pinion=0.1&ratio=loud", "not a number"),
        ("pinion=0.1&ratio=90", "out of reach"),
        ("pinion=0.1&speed=fast", "fast"),
        ("pinion=0.1&tyre=round", "round"),
        ("pinion=0.1&path=5:x", "path cannot be read"),
    ],
)
def test_a_sound_that_cannot_be_made(warm: Visitor, query: str, said: str) -> None:
    assert said in warm.get(f"/listen/made?design=TY-222&{query}", status=422)


def test_the_same_setting_twice_makes_no_sound(warm: Visitor) -> None:
    page = warm.get("/listen/made?design=TY-222")
    assert "<audio" not in page
    assert "Both settings are the same so far" in page


def test_the_path_is_learned_from_the_recording_before(
    warm: Visitor, drive: tuple[bytes, str, Drive]
) -> None:
    data, marks, _ = drive
    page = warm.post(
        "/listen/made?design=TY-222&pinion=0.15",
        {"marks": marks},
        files={"file": ("whine.wav", data)},
        follow_redirects=True,
    )
    assert "learned from your recording" in page
    assert "path=" in players(page)["after"]
    assert warm.client.get(players(page)["after"]).status_code == 200
    page = warm.post("/listen/made?design=TY-222&pinion=0.15", {"marks": marks}, status=422)
    assert 'href="#f-file"' in page


def test_before_and_after_are_compared_with_their_spread(
    visitor: Visitor, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("passes")
    files, marks = [], {}
    for side, level in (("before", 12.0), ("after", 3.0)):
        blocks = []
        for number in (1, 2):
            source = DriveSource("mesh", 41, level, pinion_runout=0.3, pinion_order=41 / 11)
            plan = DrivePlan(duration_s=24.0, gain_control=False)
            made = simulate_drive((source,), tyre_from_rollout(TYRE), plan, seed=30 + number)
            path = save_drive(made, folder, f"{side}{number}")
            files.append((side, (path.name, path.read_bytes())))
            blocks.append((folder / f"{side}{number}.marks").read_text().strip())
        marks[side] = "\n\n".join(blocks)
    fields = {
        "design": "TY-222",
        "tyre": TYRE,
        "speed_before": marks["before"],
        "speed_after": marks["after"],
    }
    page = visitor.post("/listen/compare", fields, files=files)
    row = re.search(r'<th scope="row">1</th><td>([^<]+)</td><td>([−+0-9.]+) ', page)
    assert row is not None
    assert row[1] == "quieter"
    assert float(row[2].replace("−", "-")) == pytest.approx(-9.0, abs=2.0)
    assert "2 before, 2 after" in page
    assert "three or more each" in page
    wrong = {**fields, "speed_after": "0:00 30 mph\n0:20 60 mph\n\n0:00 30 mph\n\n0:00 30 mph"}
    page = visitor.post("/listen/compare", wrong, files=files, status=422)
    assert "3 blocks of marks for 2 passes" in page
    assert "no file chosen" in visitor.post("/listen/compare", fields, status=422)
