"""Orders of axle and bearings, and what is typed of the vehicle."""

from __future__ import annotations

import pytest

from axlewright.errors import InputError
from axlewright.sound import AxleOrders, bearing_orders
from axlewright.sound.vehicle import parse_bearing, told_axle, told_speed


@pytest.mark.parametrize(("ring", "pinion"), [(11, 41), (41, 2), (0, 0), (200, 11), (30, 30)])
def test_teeth_that_make_no_axle(ring: int, pinion: int) -> None:
    with pytest.raises(InputError, match="teeth"):
        AxleOrders(ring, pinion)


@pytest.mark.parametrize("blocks", [0, 5, 500])
def test_tread_blocks_that_cannot_be(blocks: int) -> None:
    with pytest.raises(InputError, match="tread blocks"):
        AxleOrders(41, 11, tread_blocks=blocks)


@pytest.mark.parametrize(
    "text", ["wheel:17:12:70", "Wheel, 17 rollers, 12 mm, 70 mm", "wheel 17 12,0 70 0", "wheel: 17 12 70"]
)
def test_a_bearing_is_read_from_rollers_and_sizes(text: str) -> None:
    bearing = parse_bearing(text)
    assert bearing.place == "wheel"
    assert bearing.orders == bearing_orders(17, 12.0, 70.0)


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("wheel", "no bearing"),
        ("door:17:12:70", "no bearing"),
        ("wheel:17.5:12:70", "number of rollers"),
        ("wheel:2:12:70", "too few"),
        ("wheel:17:80:70", "smaller than the pitch"),
        ("wheel:40:12:70", "do not fit round"),
        ("wheel:17:12:70:75", "contact angle"),
        ("", "no bearing"),
    ],
)
def test_a_bearing_that_cannot_be_is_refused_plainly(text: str, match: str) -> None:
    with pytest.raises(InputError, match=match):
        parse_bearing(text)


def test_cylinders_and_gears_are_taken_as_typed() -> None:
    axle = told_axle(41, 11, cylinders="4", gears="4.1 2.3 1.5, 1.0", bearings=("", "side:18:10:80:16"))
    assert axle.cylinders == 4
    assert axle.gears == (4.1, 2.3, 1.5, 1.0)
    assert [b.place for b in axle.bearings] == ["side"]
    assert told_axle(41, 11).cylinders is None
    assert told_axle(41, 11).gears == ()


@pytest.mark.parametrize(
    ("typed", "match"),
    [
        ({"cylinders": "99"}, "make no engine"),
        ({"cylinders": "4.5"}, "number of cylinders"),
        ({"cylinders": "four"}, "number"),
        ({"gears": "4.1 0.01"}, "no gear ratios"),
        ({"gears": "first second"}, "number"),
    ],
)
def test_engines_and_gears_that_cannot_be(typed: dict[str, str], match: str) -> None:
    with pytest.raises(InputError, match=match):
        told_axle(41, 11, **typed)  # type: ignore[arg-type]


def test_a_speed_is_one_speed_marks_or_a_table() -> None:
    assert told_speed("45 mph").constant
    marks = told_speed("0:05 45 mph\n0:10 50 mph", "dashboard")
    assert marks.source == "dashboard"
    assert len(marks.times_s) == 2
    table = told_speed("time_s;speed_kmh\n0;50\n1;52\n2;54", "satellite")
    assert table.source == "satellite"
    assert table.speed_mps[0] == pytest.approx(50 / 3.6)
    assert told_speed("time_s;speed_kmh\n0;50\n1;52").source == "typed", "a table need not be a satellite's"
    with pytest.raises(InputError, match="no place a speed comes from"):
        told_speed("45 mph", "moon")


def test_far_from_any_mark_the_speed_is_unknown() -> None:
    trace = told_speed("0:05 45 mph\n0:12 50 mph\n0:40 60 mph")
    spans = trace.unknown_spans(60.0)
    # 4 s on either side of a mark are known, all between marks up to 10 s apart, and an end up to 6 s away.
    assert spans == ((16.0, 36.0), (44.0, 60.0))
    assert told_speed("45 mph").unknown_spans(60.0) == ()
