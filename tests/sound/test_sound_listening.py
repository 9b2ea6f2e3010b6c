"""Listening to simulated drives: what stands out is named, what does not is not, doubt is said."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from axlewright.errors import InputError, SoundError
from axlewright.sound import (
    NONE,
    AxleOrders,
    Drive,
    DrivePlan,
    DriveSource,
    Listening,
    Tyre,
    constant_speed,
    listen,
    listening_as_dict,
    make_recording,
    make_trace,
    read_recording,
    save_drive,
    simulate_drive,
    tone_to_noise_ratio,
)
from axlewright.sound.advice import DRIVES, MOST, advise, parted
from axlewright.sound.chances import GROUPS, chances, columns, row
from axlewright.sound.figures import critical_bandwidth_hz
from axlewright.sound.sources import BY_KEY, SOURCES

Hear = Callable[..., tuple[Drive, Listening]]
MESH = "ring and pinion mesh"
RATIO = 41 / 11


def left_over(drive: Drive, heard: Listening) -> float:
    """Return ln of the true speed over the one given out, in the middle."""
    true = np.interp(heard.times_s, drive.times_s, drive.true_speed_mps)
    return float(np.median(np.log(true / heard.speed_mps)))


def test_a_loud_mesh_is_named_first_with_its_reasons(mesh_drive: tuple[Drive, Listening]) -> None:
    _, heard = mesh_drive
    best = heard.sources[0]
    assert best.name == MESH
    assert heard.top[0] == MESH
    assert any("above what can just be heard" in text for text in best.evidence)
    assert any("11 pinion teeth, whatever the speed" in text for text in best.evidence)
    assert next(b for b in heard.sidebands if b.name == "pinion").modulation == pytest.approx(0.3, abs=0.08)


def test_nothing_stands_out_in_road_noise(quiet_drive: tuple[Drive, Listening]) -> None:
    _, heard = quiet_drive
    assert heard.top[0] == NONE
    assert not [s for s in heard.sources if s.word == "likely" and s.name != NONE]
    assert heard.harmonics == ()
    assert listening_as_dict(heard)["mesh"]["tone_to_noise_db"] is None
    assert any("heard best" in a.do for a in heard.next_recording)


@pytest.mark.parametrize(
    ("source", "name"),
    [
        (DriveSource("joint", 2 * RATIO, 12.0, (-8.0,)), "universal joint"),
        (DriveSource("propshaft", RATIO, 12.0, (-3.0, -8.0)), "propeller shaft or pinion, once per turn"),
    ],
)
def test_other_lines_of_the_axle_are_named(hear: Hear, source: DriveSource, name: str) -> None:
    _, heard = hear(source, seed=3, codec="flac")
    assert name in heard.top
    assert MESH not in heard.top


def test_a_line_too_soft_to_hear_is_not_blamed(hear: Hear) -> None:
    # Order tracking finds it all the same: what counts is heard, not detectable.
    _, heard = hear(DriveSource("mesh", 41, -8.0, (-30.0, -30.0)), seed=6)
    assert next(s for s in heard.sources if s.name == MESH).word != "likely"
    assert heard.chances["mesh"] < 0.5


def test_phone_codec_and_gain_control(hear: Hear) -> None:
    pytest.importorskip("av")
    _, heard = hear(DriveSource("mesh", 41, 9.0), seed=8, codec="m4a")
    assert heard.sources[0].name == MESH


def test_speech_codec_follows_the_mesh_but_gives_no_roughness(tmp_path: Path) -> None:
    pytest.importorskip("av")
    drive = simulate_drive((DriveSource("mesh", 41, 9.0),), Tyre(2.1, 0.005, ""), DrivePlan(duration_s=30), 2)
    recording = read_recording(save_drive(drive, tmp_path, "memo", "amr"))
    heard = listen(recording, AxleOrders(41, 11), Tyre(2.1, 0.005, ""), drive.stated, roughness=True)
    assert MESH in heard.top
    assert heard.roughness_asper is None
    assert any("as WAV" in a.do for a in heard.next_recording)


def test_a_fixed_tone_is_not_the_axles(hear: Hear) -> None:
    _, heard = hear(seed=9, plan=DrivePlan(duration_s=32.0, fixed_tone_hz=333.0))
    assert not [s for s in heard.sources if s.word == "likely" and s.kind in ("mesh", "bearing", "joint")]
    assert any("stays put" in n for n in heard.notices)


def test_constant_speed_never_makes_a_source_likely(hear: Hear) -> None:
    plan = DrivePlan(duration_s=30.0, speeds_mph=(45.0, 45.0))
    drive, _ = hear(DriveSource("mesh", 41, 12.0, pinion_runout=0.3, pinion_order=RATIO), plan=plan, seed=2)
    recording = make_recording(drive.samples, drive.rate_hz)
    heard = listen(recording, AxleOrders(41, 11), Tyre(2.1, 0.005, ""), constant_speed("45 mph"))
    assert not [s for s in heard.sources if s.word == "likely" and s.kind != "none"]
    assert any("sweep" in a.do for a in heard.next_recording)
    # What is found of the speed rests on its having been steady, and says so.
    words = listening_as_dict(heard)["speed"]["words"]
    assert heard.said_steady
    held = "If the speed was held steady as said"
    assert words.startswith(held if heard.speed_found else "The sound does not")


def test_impossible_speed_is_refused(mesh_drive: tuple[Drive, Listening]) -> None:
    _, heard = mesh_drive
    with pytest.raises(InputError, match="cannot be"):
        listen(heard.recording, heard.axle, Tyre(1.0, 0.005, ""), constant_speed("100 mph"))


def test_too_few_wheel_turns_are_refused(mesh_drive: tuple[Drive, Listening]) -> None:
    _, heard = mesh_drive
    short = replace(heard.recording, samples=heard.recording.samples[: 3 * 16000])
    with pytest.raises(SoundError, match="turns"):
        listen(short, heard.axle, heard.tyre, constant_speed("20 mph"))


def test_segments_follow_the_speed(mesh_drive: tuple[Drive, Listening]) -> None:
    _, heard = mesh_drive
    assert heard.segments[0].kind == "drive"
    assert heard.segments[0].sure
    assert "drive" not in {s.kind for s in heard.segments if s.start_s > 18.0}
    assert all(a.end_s <= b.start_s for a, b in zip(heard.segments, heard.segments[1:], strict=False))


def test_segments_marked_by_the_driver_go_first(mesh_drive: tuple[Drive, Listening]) -> None:
    _, heard = mesh_drive
    from axlewright.sound import find_segments

    marked = find_segments(heard.times_s, heard.speed_mps, marked=((0.0, 8.0, "coast"),))
    assert marked[0].kind == "coast"
    assert marked[0].sure


def test_tracked_tone_to_noise_ratio_agrees_with_the_steady_one() -> None:
    # A steady tone in white noise, once through the tracker and once by ECMA-418-1's steady method.
    rate, seconds = 16000, 30
    t = np.arange(rate * seconds) / rate
    wheel_hz = 20.1168 / 2.1
    noise = 0.02
    rng = np.random.default_rng(11)
    x = noise * rng.standard_normal(len(t))
    density = noise**2 / (rate / 2)
    for harmonic, ratio in ((1, 10.0), (2, 6.0)):
        f = 41 * wheel_hz * harmonic
        x += np.sqrt(2 * 10 ** (ratio / 10) * density * critical_bandwidth_hz(f)) * np.sin(2 * np.pi * f * t)
    trace = make_trace([0.0], [20.1168], "wheel sensor")
    heard = listen(make_recording(x, rate), AxleOrders(41, 11), Tyre(2.1, 0.002, ""), trace)
    steady = tone_to_noise_ratio(x, rate, 41 * wheel_hz).ratio_db
    assert steady == pytest.approx(10.0, abs=0.3)
    assert heard.harmonics[0].tone_to_noise_db == pytest.approx(steady, abs=0.3)
    # The higher the harmonic, the more what is left of the course's wander takes from it.
    assert heard.harmonics[1].tone_to_noise_db == pytest.approx(6.0, abs=0.5)


def test_the_report_is_the_contract(mesh_drive: tuple[Drive, Listening]) -> None:
    report = json.loads(json.dumps(listening_as_dict(mesh_drive[1]), allow_nan=False))
    assert {"sources", "segments", "mesh", "cannot_separate", "next_recording"} <= set(report)
    assert {"name", "probability", "order", "evidence"} <= set(report["sources"][0])
    assert {"tone_to_noise_db", "audibility_db", "roughness_asper", "harmonics"} <= set(report["mesh"])
    assert len(report["mesh"]["harmonics"]) == 3
    assert report["mesh"]["harmonics"][0]["audible"]
    assert len(report["next_recording"]) <= 2
    assert all(0 <= s["probability"] <= 1 for s in report["sources"])
    probabilities = [s["probability"] for s in report["sources"]]
    assert probabilities == sorted(probabilities, reverse=True)


def test_roughness_is_computed_on_request(mesh_drive: tuple[Drive, Listening]) -> None:
    pytest.importorskip("mosqito")
    drive, heard = mesh_drive
    again = listen(heard.recording, heard.axle, heard.tyre, drive.stated, roughness=True)
    assert again.roughness_asper is not None
    assert 0.0 < again.roughness_asper < 3.0


@pytest.mark.parametrize("name", ["mesh_drive", "quiet_drive"])
def test_the_interval_holds_the_true_speed(name: str, request: pytest.FixtureRequest) -> None:
    drive, heard = request.getfixturevalue(name)
    low, high = heard.speed_interval
    assert low < 0 < high
    assert low <= left_over(drive, heard) <= high


def test_far_marks_are_pointed_out(mesh_drive: tuple[Drive, Listening]) -> None:
    drive, heard = mesh_drive
    sparse = make_trace([2.0, 30.0], np.interp([2.0, 30.0], drive.times_s, drive.true_speed_mps), "typed")
    again = listen(heard.recording, heard.axle, heard.tyre, sparse)
    assert any("no mark is near enough" in text for text in again.notices)


def test_the_weights_fit_the_signs(mesh_drive: tuple[Drive, Listening]) -> None:
    _, heard = mesh_drive
    for group, members in GROUPS.items():
        for source in members:
            assert len(row(heard.signs, group, source)) >= len(columns(group))
    assert set(chances(heard.signs)) == {source.key for source in SOURCES}
    assert all(0 < p < 1 for p in chances(heard.signs).values())


def test_advice_parts_what_is_open(mesh_drive: tuple[Drive, Listening]) -> None:
    _, heard = mesh_drive
    signs = {**heard.signs, "sweep": 0.8}
    open_ = dict.fromkeys(BY_KEY, 0.01) | {"mesh": 0.5, "tread": 0.4}
    found = advise(open_, signs, replace(heard.recording, flags=()), 0.005, 0.1)
    assert 1 <= len(found) <= MOST
    drive = next(d for d in DRIVES if d.words()[0] == found[0].do)
    assert drive.answers(BY_KEY["mesh"]) != drive.answers(BY_KEY["tread"])
    assert parted(drive, open_) == max(parted(d, open_) for d in DRIVES[1:])


@pytest.mark.parametrize("nothing", [0.05, 0.9])
@pytest.mark.parametrize("sweep", [0.05, 0.8])
def test_never_more_than_two_things_to_record(
    mesh_drive: tuple[Drive, Listening], nothing: float, sweep: float
) -> None:
    _, heard = mesh_drive
    every = dict.fromkeys(BY_KEY, 0.3)
    assert len(advise(every, {**heard.signs, "sweep": sweep}, heard.recording, 0.05, nothing)) <= MOST
