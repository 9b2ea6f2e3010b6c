"""Speeds, tyres and the files they come in."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from axlewright.errors import InputError
from axlewright.sound import (
    constant_speed,
    make_trace,
    parse_gpx,
    parse_marks,
    parse_table,
    read_speed,
    tyre_from_revolutions_per_mile,
    tyre_from_rollout,
    tyre_from_size,
)
from axlewright.sound.speed import check_wheel_rate, prior_sigma
from axlewright.sound.speed_files import parse_clock
from axlewright.units import MPS_PER_MPH


def test_rollout_in_both_systems() -> None:
    assert tyre_from_rollout("2.10m").circumference_m == pytest.approx(2.10)
    assert tyre_from_rollout("2,10 m").circumference_m == pytest.approx(2.10)
    assert tyre_from_rollout(2.1).circumference_m == pytest.approx(2.10)
    assert tyre_from_rollout("82.7 in").circumference_m == pytest.approx(2.1006, abs=1e-4)


def test_size_gives_the_geometry() -> None:
    # Outer diameter by geometry: 16 × 25.4 + 2 × 205 × 0.55 = 631.9 mm; factor 3.05 from memory.
    assert tyre_from_size("205/55 R16").circumference_m == pytest.approx(3.05 * 0.6319, abs=1e-4)
    assert tyre_from_size("P205/55R16 91V").circumference_m == pytest.approx(3.05 * 0.6319, abs=1e-4)
    assert tyre_from_size("31x10.5 R15").circumference_m == pytest.approx(3.05 * 31 * 0.0254, abs=1e-4)
    assert tyre_from_size("295/80 R22.5").circumference_m == pytest.approx(3.05 * 1.0435, abs=1e-3)


def test_revolutions_per_mile() -> None:
    assert tyre_from_revolutions_per_mile(766).circumference_m == pytest.approx(1609.344 / 766)


@pytest.mark.parametrize("text", ["hello", "", "205", "55/205 R16 R"])
def test_sizes_that_are_none(text: str) -> None:
    with pytest.raises(InputError, match="tyre"):
        tyre_from_size(text)


@pytest.mark.parametrize("text", ["2.10 mm", "21 m", "0.2 m"])
def test_rollouts_that_cannot_be(text: str) -> None:
    with pytest.raises(InputError, match="fits no road"):
        tyre_from_rollout(text)


def test_sources_of_speed_differ_in_trust() -> None:
    tyre = tyre_from_rollout("2.1 m")
    typed, satellite = constant_speed("45 mph"), constant_speed("45 mph", "satellite")
    assert prior_sigma(satellite, tyre) < 0.01 < prior_sigma(typed, tyre)
    # UN R39: a dashboard never reads low, so the truth is expected below it.
    assert constant_speed("45 mph", "dashboard").at(np.array([0.0]))[0] < 45 * MPS_PER_MPH


@pytest.mark.parametrize("text", ["45", "forty mph", "900 mph", "-3 mph", "0 mph"])
def test_speeds_that_cannot_be(text: str) -> None:
    with pytest.raises(InputError):
        constant_speed(text)


def test_a_speed_the_tyre_cannot_mean() -> None:
    with pytest.raises(InputError, match="wheel turns a second"):
        check_wheel_rate(constant_speed("150 mph"), tyre_from_rollout("1.2 m"))


def test_marks_are_read_with_remarks_and_units() -> None:
    trace = parse_marks("# test\n0:00 30 mph\n0:10; 60 km/h  # lorry\n20s = 25 m/s\n")
    assert trace.times_s == pytest.approx([0, 10, 20])
    assert trace.speed_mps == pytest.approx([30 * MPS_PER_MPH, 60 / 3.6, 25.0])
    assert trace.at(np.array([-5.0, 5.0, 99.0])) == pytest.approx([13.4112, 15.039, 25.0], abs=1e-3)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "no mark"),
        ("0:10", "line 1"),
        ("0:10 fast", "line 1"),
        ("0:00 30 mph\n0:10 30 wombats", "line 2"),
        ("0:10 30 mph\n0:05 40 mph", "rise"),
        ("0:00 20 mph\n0:01 90 mph", "jumps"),
        ("1:2:3:4 30 mph", "no time"),
    ],
)
def test_bad_marks(text: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        parse_marks(text)


@given(st.floats(0, 86000))
def test_clock_reads_back(seconds: float) -> None:
    hours, rest = divmod(seconds, 3600)
    text = f"{int(hours)}:{int(rest // 60):02d}:{rest % 60:09.6f}"
    if not rest % 60 >= 59.9999995:
        assert parse_clock(text) == pytest.approx(seconds, abs=1e-5)


def test_table_with_comma_as_decimal_sign() -> None:
    trace = parse_table("time_s;speed_kmh\n0;50,5\n1;51\n2;52\n")
    assert trace.speed_mps == pytest.approx(np.array([50.5, 51, 52]) / 3.6)
    assert trace.source == "satellite"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("a,b\n1,2\n", "columns"),
        ("time,speed\n0,30\n1,31\n", "unit"),
        ("time,speed_mph\n0,x\n", "row 2"),
        ("time,speed_mph\n0\n", "too short"),
        ("", "empty"),
    ],
)
def test_bad_tables(text: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        parse_table(text)


def gpx(points: str) -> str:
    return f'<gpx xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{points}</trkseg></trk></gpx>'


def test_gpx_speed_from_the_way() -> None:
    # One thousandth of a degree of latitude is 111.195 m on the mean sphere (radius 6371.0088 km).
    points = "".join(
        f'<trkpt lat="{50 + i * 0.0002:.4f}" lon="7.0"><time>2026-05-01T10:00:{i:02d}Z</time></trkpt>'
        for i in range(10)
    )
    trace = parse_gpx(gpx(points))
    assert trace.speed_mps == pytest.approx(22.239, abs=0.01)


def test_gpx_speed_from_its_tags() -> None:
    points = "".join(
        f'<trkpt lat="50" lon="7"><time>2026-05-01T10:00:{i:02d}Z</time><speed>{10 + i}</speed></trkpt>'
        for i in range(4)
    )
    assert parse_gpx(gpx(points)).speed_mps == pytest.approx([10, 11, 12, 13])


@pytest.mark.parametrize(
    "text",
    ["<gpx", gpx(""), '<!DOCTYPE x [<!ENTITY a "b">]><gpx/>', gpx('<trkpt lat="x"><time>1</time></trkpt>')],
)
def test_bad_gpx(text: str) -> None:
    with pytest.raises(InputError):
        parse_gpx(text)


def test_files_are_told_apart(tmp_path: Path) -> None:
    (tmp_path / "marks.txt").write_text("0 30 mph\n5 35 mph\n")
    (tmp_path / "table.csv").write_text("time_s,speed_mph\n0,30\n5,35\n")
    (tmp_path / "bad.csv").write_bytes(b"\x00\x01\x02")
    assert read_speed(tmp_path / "marks.txt").source == "typed"
    assert read_speed(tmp_path / "table.csv").source == "satellite"
    with pytest.raises(InputError, match="no text"):
        read_speed(tmp_path / "bad.csv")
    with pytest.raises(InputError, match="no such file"):
        read_speed(tmp_path / "none.csv")


def test_traces_must_rise() -> None:
    with pytest.raises(InputError):
        make_trace([0.0, 0.0], [10.0, 11.0], "typed")
