"""Listening to simulated drives: right sources, honest doubt, figures that agree with the analytic ones."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from axlewright.sound.wording import speed_asked

from axlewright.errors import InputError, SoundError
from axlewright.sound import (
    NONE,
    UNKNOWN,
    AxleOrders,
    Bearing,
    Drive,
    DrivePlan,
    DriveSource,
    Listening,
    Tyre,
    bearing_orders,
    constant_speed,
    listen,
    make_recording,
    make_trace,
    read_recording,
    save_drive,
    simulate_drive,
    tone_to_noise_ratio,
)
from axlewright.sound.figures import critical_bandwidth_hz

Hear = Callable[..., tuple[Drive, Listening]]
MESH = "ring and pinion mesh"
RATIO = 41 / 11


def speed_error(drive: Drive, heard: Listening) -> float:
    true = np.interp(heard.times_s, drive.times_s, drive.true_speed_mps)
    return float(np.median(np.abs(heard.speed_mps / true - 1)))


def test_mesh_is_found_with_its_proof(mesh_drive: tuple[Drive, Listening]) -> None:
    drive, heard = mesh_drive
    best = heard.sources[0]
    assert best.name == MESH
    assert best.word == "likely"
    assert heard.top == (MESH,)
    assert any("11 pinion teeth, whatever the speed" in text for text in best.evidence)
    assert speed_error(drive, heard) < 0.001
    runout = next(s for s in heard.sources if s.name == "pinion runout")
    assert runout.probability > 0.9
    assert next(b for b in heard.sidebands if b.name == "pinion").modulation == pytest.approx(0.3, abs=0.06)


def test_nothing_is_found_in_road_noise(quiet_drive: tuple[Drive, Listening]) -> None:
    _, heard = quiet_drive
    assert heard.sources[0].name == NONE
    assert heard.sources[0].probability > 0.8
    assert not [s for s in heard.sources if s.word == "likely" and s.name != NONE]
    assert heard.harmonics == ()
    assert heard.as_dict()["mesh"]["tone_to_noise_db"] is None
    assert any("heard best" in a.do for a in heard.next_recording)


@pytest.mark.parametrize(
    ("source", "name"),
    [
        (DriveSource("joint", 2 * RATIO, 9.0, (-8.0,)), "universal joint"),
        (DriveSource("propshaft", RATIO, 9.0, (-3.0, -8.0)), "propeller shaft or pinion, once per turn"),
        (DriveSource("tread", 64, 10.0, ()), "tyre tread"),
        (
            DriveSource("bearing", bearing_orders(17, 12.0, 70.0).outer, 9.0, (-4.0, -8.0)),
            "wheel bearing, outer race",
        ),
    ],
)
def test_other_sources_are_found(hear: Hear, source: DriveSource, name: str) -> None:
    _, heard = hear(source, seed=3, codec="flac")
    assert name in heard.top
    assert heard.sources[0].name == name


def test_two_sources_at_once(hear: Hear) -> None:
    _, heard = hear(DriveSource("mesh", 41, 9.0), DriveSource("joint", 2 * RATIO, 9.0, (-8.0,)), seed=6)
    assert {MESH, "universal joint"} <= set(heard.top)
    mesh = next(s for s in heard.sources if s.name == MESH)
    assert any("asks for the same speed" in text for text in mesh.evidence)


def test_phone_codec_and_gain_control(hear: Hear) -> None:
    pytest.importorskip("av")
    drive, heard = hear(DriveSource("mesh", 41, 6.0), seed=8, codec="m4a")
    assert heard.sources[0].name == MESH
    assert speed_error(drive, heard) < 0.001


def test_speech_codec_follows_the_mesh_but_gives_no_roughness(tmp_path: Path) -> None:
    pytest.importorskip("av")
    drive = simulate_drive((DriveSource("mesh", 41, 9.0),), Tyre(2.1, 0.005, ""), DrivePlan(duration_s=30), 2)
    recording = read_recording(save_drive(drive, tmp_path, "memo", "amr"))
    heard = listen(recording, AxleOrders(41, 11), Tyre(2.1, 0.005, ""), drive.stated, roughness=True)
    assert MESH in heard.top
    assert heard.roughness_asper is None
    assert any("as WAV" in a.do for a in heard.next_recording)


def test_wrong_ratio_is_noticed(hear: Hear) -> None:
    plan = DrivePlan(duration_s=32.0, stated="satellite", speed_scatter=0.0)
    _, heard = hear(DriveSource("mesh", 46, 10.0), axle=AxleOrders(41, 11), plan=plan, seed=5)
    assert heard.sources[0].name == UNKNOWN
    assert not [s for s in heard.sources if s.word == "likely"]
    assert any("instead of 41" in n and "46" in n for n in heard.notices)


def test_another_set_is_thought_of_where_the_speed_would_have_to_be_far_off(hear: Hear) -> None:
    # 37 teeth instead of 41 are 10 % apart; a typed speed has a standard deviation of 3 %.
    plan = DrivePlan(duration_s=32.0, speed_scatter=0.0)
    _, heard = hear(DriveSource("mesh", 37, 10.0), axle=AxleOrders(41, 11), plan=plan, seed=5)
    assert not [s for s in heard.sources if s.word == "likely"]
    said = " ".join(heard.notices)
    assert "instead of 41" in said
    low, high = map(int, re.findall(r"with (\d+) to (\d+) teeth", said)[0])
    assert low <= 37 <= high < 41


def test_kilometres_taken_for_miles_are_noticed(hear: Hear) -> None:
    drive, _ = hear(DriveSource("mesh", 41, 10.0), seed=5)
    wrong = make_trace(drive.stated.times_s, drive.stated.speed_mps / 1.609344, "typed")
    recording = make_recording(drive.samples, drive.rate_hz)
    heard = listen(recording, AxleOrders(41, 11, joint=False), Tyre(2.1, 0.005, ""), wrong)
    assert heard.sources[0].name != MESH
    assert any("check the unit of the speed" in n for n in heard.notices)


def test_a_fixed_tone_is_not_the_axles(hear: Hear) -> None:
    _, heard = hear(seed=9, plan=DrivePlan(duration_s=32.0, fixed_tone_hz=333.0))
    assert heard.sources[0].name == NONE
    assert any("stays put" in n for n in heard.notices)


def test_constant_speed_never_makes_a_source_likely(hear: Hear) -> None:
    plan = DrivePlan(duration_s=30.0, speeds_mph=(45.0, 45.0))
    drive, _ = hear(DriveSource("mesh", 41, 12.0, pinion_runout=0.3, pinion_order=RATIO), plan=plan, seed=2)
    recording = make_recording(drive.samples, drive.rate_hz)
    heard = listen(recording, AxleOrders(41, 11), Tyre(2.1, 0.005, ""), constant_speed("45 mph"))
    assert MESH in heard.top
    assert not [s for s in heard.sources if s.word == "likely" and s.kind != "none"]
    assert any("fixed frequency" in a.second for a in heard.cannot_separate)
    assert any("sweep" in a.do for a in heard.next_recording)
    # What is found of the speed rests on its having been steady, and says so.
    words = heard.as_dict()["speed"]["words"]
    assert heard.said_steady
    held = "If the speed was held steady as said"
    assert words.startswith(held if heard.speed_found else "The sound does not")


def test_typed_speed_cannot_tell_near_orders_apart(hear: Hear) -> None:
    # Candidates within about two standard deviations of the speed stay together; a good trace parts them.
    from axlewright.sound import Bearing, BearingOrders

    near = Bearing("wheel", BearingOrders(0.4, 40.2, 60.0, 30.0), "test bearing")
    axle = AxleOrders(41, 11, (near,))
    source = DriveSource("mesh", 41, 9.0)
    _, typed = hear(source, axle=axle, seed=12, plan=DrivePlan(duration_s=32.0))
    assert {MESH, "test bearing, outer race"} <= set(typed.top)
    assert any({a.first, a.second} == {MESH, "test bearing, outer race"} for a in typed.cannot_separate)
    assert next(s for s in typed.sources if s.name == MESH).word == "possible"


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
    assert heard.harmonics[1].tone_to_noise_db == pytest.approx(6.0, abs=0.3)


def test_the_report_is_the_contract(mesh_drive: tuple[Drive, Listening]) -> None:
    report = json.loads(json.dumps(mesh_drive[1].as_dict(), allow_nan=False))
    assert {"sources", "segments", "mesh", "cannot_separate", "next_recording"} <= set(report)
    assert {"name", "probability", "order", "evidence"} <= set(report["sources"][0])
    assert {"tone_to_noise_db", "audibility_db", "roughness_asper", "harmonics"} <= set(report["mesh"])
    assert len(report["mesh"]["harmonics"]) == 3
    assert report["mesh"]["harmonics"][0]["audible"]
    assert all(0 <= s["probability"] <= 1 for s in report["sources"])
    probabilities = [s["probability"] for s in report["sources"]]
    assert probabilities == sorted(probabilities, reverse=True)


def test_roughness_is_computed_on_request(mesh_drive: tuple[Drive, Listening]) -> None:
    pytest.importorskip("mosqito")
    drive, heard = mesh_drive
    again = listen(heard.recording, heard.axle, heard.tyre, drive.stated, roughness=True)
    assert again.roughness_asper is not None
    assert 0.0 < again.roughness_asper < 3.0


def test_the_interval_holds_the_true_speed(mesh_drive: tuple[Drive, Listening]) -> None:
    drive, heard = mesh_drive
    assert heard.speed_found
    true = np.interp(heard.times_s, drive.times_s, drive.true_speed_mps)
    left = float(np.median(np.log(true / heard.speed_mps)))
    low, high = heard.speed_interval
    assert low <= left <= high
    assert high - low < 0.004


def test_an_unnamed_order_leaves_the_speed_as_stated(hear: Hear) -> None:
    # Order 26.2 fits no part of an 11/41 axle; a satellite speed leaves no room for any.
    drive, heard = hear(
        DriveSource("unknown", 26.2, 12.0), plan=DrivePlan(duration_s=24.0, stated="satellite")
    )
    assert heard.top == (UNKNOWN,)
    assert not heard.speed_found
    stated = drive.stated.at(heard.times_s)
    assert abs(float(np.log(heard.speed_mps / stated).mean())) < 0.002
    low, high = heard.speed_interval
    assert high == pytest.approx(1.645 * heard.prior_sigma, rel=0.1)
    assert low == pytest.approx(-high, rel=0.1)


def test_a_bearing_tells_the_speed_no_better_than_its_slip(hear: Hear) -> None:
    bearing = Bearing("wheel", bearing_orders(17, 12.0, 70.0), "wheel bearing")
    source = DriveSource("bearing", bearing.orders.outer, 14.0)
    _, heard = hear(source, axle=AxleOrders(41, 11, (bearing,)))
    assert "wheel bearing, outer race" in heard.top
    assert not heard.speed_found


def test_a_speed_that_fits_is_said_to_fit() -> None:
    assert speed_asked(0.0004, 0.01) == speed_asked(-0.0004, 0.01) == "fits the stated speed as it is"
    assert speed_asked(0.006, 0.01).startswith("needs the stated speed to be 0.6 % too low (0.6 of")
    assert "0.1 % too high" in speed_asked(-0.0006, 0.01)
