"""Whatever is typed, every parser answers at once: with a value, or with a sentence that can be shown.

Texts are made of the letters each parser knows, up to 10,000 characters of runs with a failing end. The
limit counts the processor time of this process, a thousand times what is needed: a slow machine does not
reach it, a rule that backtracks does (`test_one_pass` shows the same from the rules themselves).
"""

from __future__ import annotations

import itertools
import random
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import pytest

from axlewright.errors import AxlewrightError
from axlewright.gearset import parse_design
from axlewright.gearset.points import POINT_COLUMNS, read_table
from axlewright.job.listening import trace_of, tyre_of
from axlewright.job.matching import read_carriers, read_spacers
from axlewright.job.photos import edges_of
from axlewright.job.rolling import state_of, state_of_form
from axlewright.language import accepted
from axlewright.pattern.corners import parse_corners
from axlewright.pattern.words import pattern_from_words
from axlewright.plant.reading_log import read_log, read_moment, read_number
from axlewright.plant.rolls import COLUMNS
from axlewright.setup.marks import parse_mark
from axlewright.setup.torque import printed_pair_question
from axlewright.sound.speed_files import parse_clock, parse_gpx, parse_marks, parse_table
from axlewright.steps.answers import Answers, FieldError, split_readings
from axlewright.steps.field import Field, Kind
from axlewright.units import (
    LONGEST_LIST,
    LONGEST_NOTE,
    LONGEST_QUANTITY,
    LONGEST_TEXT,
    parse_angle,
    parse_force,
    parse_length,
    parse_number,
    parse_speed,
    parse_torque,
)

LONG = 10_000
"""Characters of the longest text; what a field takes is less."""
MOST_CPU_S = 10.0
"""Some 1,000 times what the slowest of them needs; the rules this is about took minutes."""

NUMBERS = (
    "1",
    "9",
    " ",
    "  ",
    "\t",
    "\u00a0",
    "\u2009",
    "\n",
    "+",
    "-",
    "−",
    ".",
    ",",
    "/",
    "e",
    "_",
    "٣",
    "１",
)
UNITS = (
    "mm",
    "in",
    "lb-in",
    "µ",
    '"',
    "°",
    "·",
    "(",
    ")",
    "=",
    "[",
    "]",
    ":",
    ";",
    "*",
    "x",
    "m",
    "%",
    "#",
    "T",
)
ODD = (
    "", " ", "\0", "\ud800", "1\udfff mm", "+\u00a05 mm", "-\u20095", "−\u202f5 thou", "nan",
    "inf", "-inf", "1e999", "1e308 m", "9" * 150, "9" * 199, "1/" + "9" * 190, "9" * 190 + "/1",
    "1 9/0", "9" * 5000, "1_000", "0x10", "１２", "٣", "²", "½", "5\u200bmm", "\ufeff5", "1,5,5",
    "1..5", "--5", "1e", "1e+", "()", "1 ()", "( )", "=", "1 = 2", "1 mm (2",
    "9" * 400 + " mm = 1 in", "2:1e9", "0001-01-01", "9999-12-31T23:59:59", "\u2028", "1\x1c2",
)  # fmt: skip


@dataclass(frozen=True)
class Reader:
    """A parser, what it knows besides numbers and units, and a text that it takes."""

    read: Callable[[str], object]
    good: str
    pieces: tuple[str, ...] = ()


def _typed(kind: Kind) -> Callable[[str], object]:
    return lambda text: Answers([Field("field", "Field", kind)], {"field": text}, "inch")


def _last_digit(text: str) -> float:
    return Answers([Field("field", "Field", "lengths")], {"field": text}, "inch").last_digit_mm("field")


def _log(text: str) -> object:
    return read_log(f"{text}\tset number\n1\t{text}\n".encode("utf-8", "surrogatepass"))


LENGTH = next(column for column in COLUMNS if column.kind == "length")
PLACE = next(column for column in COLUMNS if column.kind == "place")
READERS = MappingProxyType(
    {
        "length": Reader(lambda t: parse_length(t, default_unit="mm"), "1 3/8 in"),
        "torque": Reader(lambda t: parse_torque(t, default_unit="nm"), "17 lb-in", ("nm",)),
        "angle": Reader(parse_angle, "0.05 deg", ("deg", "mrad")),
        "speed": Reader(parse_speed, "45 mph", ("mph", "km/h")),
        "force": Reader(parse_force, "33 N", ("lbf",)),
        "number": Reader(parse_number, "−0,3"),
        "mark": Reader(parse_mark, "m+8 (+3)", ("m+", "pc", "cm")),
        "readings": Reader(split_readings, "0.006 0.007 in"),
        "printed pair": Reader(lambda t: printed_pair_question("1 in", t, "length"), "25.4 mm"),
        "field: torque": Reader(_typed("torque"), "17 lb-in (1.9 Nm)"),
        "field: length": Reader(_typed("length"), "0.002 in = 0.05 mm"),
        "field: lengths": Reader(_typed("lengths"), "0.006 0.007 in"),
        "field: last digit": Reader(_last_digit, "0.006 0.007 in"),
        "field: force": Reader(_typed("force"), "7 lbf"),
        "field: temperature": Reader(_typed("temperature"), "20 °C", ("deg", "C", "F")),
        "field: number": Reader(_typed("number"), "12,5"),
        "field: count": Reader(_typed("count"), "12"),
        "log cell, length": Reader(lambda t: read_number(t, LENGTH, 1.0), "+2 thou"),
        "log cell, place": Reader(lambda t: read_number(t, PLACE, None), "40 %"),
        "log date": Reader(read_moment, "2026-03-31 14:05", ("2026-", "03-31", "Z")),
        "log": Reader(_log, "pinion out [mm]", ("pinion", "out", "mm]", '"')),
        "carriers": Reader(lambda t: read_carriers(t, "inch"), "C-101 1.522 mm", ("C-", "1.5mm")),
        "spacers": Reader(lambda t: read_spacers(t, "inch"), "1.500mm*3 1.525mm*2", ("1.5mm", "×")),
        "clock": Reader(parse_clock, "0:01:05", ("s",)),
        "speed marks": Reader(parse_marks, "0:10 45 mph", ("0:1", "mph")),
        "speed, typed": Reader(trace_of, "45 mph", ("0:1", "mph")),
        "speed table": Reader(
            lambda t: parse_table(f"time_s;speed_mph\n0;10\n{t};{t}\n"), "1", ("2026-", "T", '"', "11 mph")
        ),
        "speed table's heading": Reader(lambda t: parse_table(f"{t}\n0;10\n"), "t;v mph", ("t;", "v", '"')),
        "satellite track": Reader(
            lambda t: parse_gpx(f'<gpx><trkpt lat="{t}" lon="{t}"><time>{t}</time></trkpt></gpx>'),
            "<",
            ("<", "&", "<trkpt>", "2026-01-01T00:00:00Z"),
        ),
        "tyre": Reader(tyre_of, "205/55 R16", ("205/", "R16", "31x", "P")),
        "corners": Reader(parse_corners, "10,20 200,20 200,90 10,90", ("310,", "220")),
        "words": Reader(
            lambda t: pattern_from_words(t, "drive"),
            "very slightly high, a bit toward the heel, about half",
            ("high", "between ", " and ", "the ", "half", "40 %", "percent", "toe"),
        ),
        "nudges": Reader(lambda t: edges_of((t, "0", "0", "0"), "outline"), "5"),
        "rolling": Reader(lambda t: state_of({"pinion": t}, ["TY-222"]), "0.1"),
        "rolling form": Reader(lambda t: state_of_form({"show_pinion": t}, ["TY-222"], "inch"), "5"),
        "language": Reader(accepted, "de-CH, en;q=0.7", ("de", "q=", "*")),
        "design": Reader(
            lambda t: parse_design(f"name = 'X'\nring_teeth = {t}\n"), "[", ("[", "{", "a=", "'")
        ),
        "points": Reader(
            lambda t: read_table(f"x_mm,y_mm,z_mm\n{t},{t},1\n", POINT_COLUMNS, "points"), "1", ('"', "\r")
        ),
    }
)


def answer(read: Callable[[str], object], text: str) -> None:
    """Read a text; what is wrong with it must be a sentence that can be written out and is soon read."""
    with suppress(AxlewrightError):
        try:
            read(text)
        except AxlewrightError as error:
            str(error).encode()
            raise


@contextmanager
def processor_time(most_s: float) -> Iterator[None]:
    """Fail when the block takes this process more than so much processor time."""

    def over(_signal: int, _frame: Any) -> None:
        raise AssertionError(f"more than {most_s:g} s of processor time")

    before = signal.signal(signal.SIGPROF, over)
    signal.setitimer(signal.ITIMER_PROF, most_s)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, before)


def runs(reader: Reader, length: int) -> Iterator[str]:
    """Texts of about that length: a good beginning, one run or two side by side, and an end that fails."""
    pieces = (*NUMBERS, *UNITS, *reader.pieces)
    choose = random.Random(length)
    bodies = [(piece,) for piece in pieces]
    bodies += choose.sample(list(itertools.product(pieces, repeat=2)), 25)
    bodies += [tuple(choose.choices(pieces, k=3)) for _each in range(15)]
    for body in bodies:
        run = "".join(body)
        beginning = choose.choice(("", "1", "1 (", "a ", reader.good))
        alternating = run * (length // len(run))
        in_turn = "".join(piece * (length // len(body) // len(piece)) for piece in body)
        for text in {alternating, in_turn}:
            yield beginning + text + choose.choice(("x", "!", "(", "\n"))


@pytest.mark.parametrize("name", READERS)
def test_long_runs_are_answered_at_once(name: str) -> None:
    reader = READERS[name]
    answer(reader.read, reader.good)  # what is loaded and compiled once does not count
    for length in (LONGEST_QUANTITY - 40, LONGEST_LIST - 100, LONG):
        for text in runs(reader, length):
            with processor_time(MOST_CPU_S):
                answer(reader.read, text)


@pytest.mark.parametrize("name", READERS)
def test_odd_texts_are_answered_with_a_sentence(name: str) -> None:
    for text in ODD:
        answer(READERS[name].read, text)


@pytest.mark.parametrize("name", READERS)
def test_chance_texts_are_answered_with_a_sentence(name: str) -> None:
    reader = READERS[name]
    choose = random.Random(name)
    pieces = (*NUMBERS, *UNITS, *reader.pieces, *ODD[:40], reader.good)
    for _each in range(200):
        answer(reader.read, "".join(choose.choices(pieces, k=choose.randint(1, 8))))


@pytest.mark.parametrize("space", [" ", "\u00a0", "\u2009", "\u202f", "\t"])
def test_spaces_of_any_width_part_sign_number_and_unit(space: str) -> None:
    assert parse_length(f"−{space}5{space}mm") == -5.0
    assert parse_length(f"1{space}3/8{space}in") == pytest.approx(1.375 * 25.4)
    assert parse_number(f"+{space}0,5") == 0.5
    assert parse_mark(f"−{space}3")[0].value == -3.0
    assert read_number(f"+{space}2{space}mm", LENGTH, None) == 2.0
    assert split_readings(f"0.006{space}0.007{space}in") == (("0.006", "in"), ("0.007", "in"))


@pytest.mark.parametrize("text", ["1e308 m", "1e999", "nan", "inf", "9" * 199 + "e199"])
def test_no_number_is_endless(text: str) -> None:
    with pytest.raises(AxlewrightError):
        parse_length(text, default_unit="mm")


def test_a_huge_whole_number_is_refused() -> None:
    with pytest.raises(AxlewrightError, match="finite"):
        parse_length(10**400, default_unit="mm")


@pytest.mark.parametrize(
    ("kind", "longest"),
    [
        ("length", LONGEST_QUANTITY),
        ("lengths", LONGEST_LIST),
        ("text", LONGEST_TEXT),
        ("long text", LONGEST_NOTE),
    ],
)
def test_a_text_too_long_is_refused_at_its_field_with_the_limit(kind: Kind, longest: int) -> None:
    with pytest.raises(
        FieldError, match=f"Field: {longest + 1} characters .*shorten it to {longest}"
    ) as told:
        _typed(kind)("1" * (longest + 1))
    assert told.value.field == "field"


def test_a_text_as_long_as_allowed_is_read() -> None:
    assert parse_length("1" + " " * (LONGEST_QUANTITY - 3) + "mm") == 1.0
    assert len(split_readings("1.5 " * (LONGEST_LIST // 4))) == LONGEST_LIST // 4
