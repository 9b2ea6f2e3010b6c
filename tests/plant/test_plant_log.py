"""Roll-test logs as spreadsheets write them, and what is said of wrong ones."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from axlewright.errors import InputError
from axlewright.plant import Roll, read_log, write_log

DESIGNS = ("TY-222", "TY-310")


def read(text: str, **more: object) -> object:
    return read_log(text.encode(), designs=DESIGNS, **more)  # type: ignore[arg-type]


def test_the_same_readings_in_four_dialects() -> None:
    # 0.002 in = 0.0508 mm exactly (25.4 mm to the inch, NIST SP 811).
    plain = "set_number,design,pinion_out_mm,drive_motion_error_urad\n7,TY-222,0.0508,31.5\n"
    semicolons = "Set;Design;Pinion out [mm];Drive motion error [µrad]\n7;ty-222;0,0508;31,5\n"
    inches = "set\tdesign\tpinion out (in)\tdrive motion error (urad)\n7\tTY-222\t+0.002\t31.5\n"
    in_cells = 'pair,design,position,motion error drive\n7,TY-222,+2 thou,"31,5 µrad"\n'
    first, *others = (read_log(t.encode(), designs=DESIGNS) for t in (plain, semicolons, inches, in_cells))
    assert first.problems == ()
    assert first.rolls[0].pinion_out_mm == pytest.approx(0.0508)
    for other in others:
        assert other.problems == ()
        assert other.rolls[0].pinion_out_mm == pytest.approx(first.rolls[0].pinion_out_mm, abs=1e-12)
        assert other.rolls[0].drive_motion_error_urad == 31.5
        assert other.rolls[0].design == "TY-222"


@pytest.mark.parametrize("code", ["utf-8-sig", "utf-16", "cp1252"])
def test_spreadsheet_encodings(code: str) -> None:
    text = "set;design;pinion out [mm];drive motion error [µrad];note\n7;TY-222;0,05;31,5;Prüfer\n"
    found = read_log(text.encode(code), designs=DESIGNS)
    assert found.problems == ()
    assert found.rolls[0].note == "Prüfer"


def test_each_problem_names_its_row_and_column_and_nothing_is_taken() -> None:
    text = (
        "set,design,pinion out [mm],drive motion error [µrad],date\n"
        "1,TY-222,0.05,31,2026-03-02\n"
        ",TY-222,0.05,31,2026-03-02\n"
        "2,TY-999,0.05,31,2026-03-02\n"
        "3,TY-222,five,31,2026-03-02\n"
        "4,TY-222,5,31,2026-03-02\n"
        "5,TY-222,0.05,,2026-03-02\n"
        "6,TY-222,0.05,31,02/03/2026\n"
        "7,TY-222,0.05,31,2026-03-02,spare\n"
    )
    found = read_log(text.encode(), designs=DESIGNS)
    assert found.rolls == ()
    assert [p.row for p in found.problems] == [3, 4, 5, 6, 7, 8, 9]
    said = [p.text() for p in found.problems]
    for words, one in zip(
        ("nothing stands here", "no design 'TY-999'", "'five' is not a number", "out of range",
         "a position without any figure", "not a date", "6 cells under 5 headings"), said, strict=True,
    ):  # fmt: skip
        assert words in one
    assert "pinion out [mm]" in said[2]


def test_a_unit_is_never_guessed() -> None:
    found = read_log(b"set,design,pinion out,drive motion error [urad]\n1,TY-222,0.05,31\n", designs=DESIGNS)
    assert "'0.05' has no unit" in found.problems[0].text()
    assert "pinion out [mm]" in found.problems[0].text()


def test_decimal_commas_between_commas_are_noticed() -> None:
    found = read_log(
        b"set,design,pinion out [mm],drive motion error [urad]\n1,TY-222,0,05,31\n", designs=DESIGNS
    )
    assert "decimal commas need semicolons" in found.problems[0].text()


def test_the_very_same_reading_is_left_out_and_named_but_a_repeat_is_kept() -> None:
    row = "1,TY-222,0.05,31,2026-03-02 07:00\n"
    again = "1,TY-222,0.05,32,2026-03-02 07:05\n"
    head = "set,design,pinion out [mm],drive motion error [urad],time\n"
    first = read_log((head + row + row + again).encode(), designs=DESIGNS)
    assert len(first.rolls) == 2
    assert first.repeated == (3,)
    second = read_log((head + row).encode(), designs=DESIGNS, known=first.rolls)
    assert second.rolls == ()
    assert second.problems == ()
    assert second.repeated == (2,)


@pytest.mark.parametrize("data", [b"", b"\n\n", b"one\ntwo\n", b"\x00\x01\x02", b'a,b\n"x,1\n'])
def test_what_is_no_table_is_refused_in_one_sentence(data: bytes) -> None:
    with pytest.raises(InputError):
        read_log(data, designs=DESIGNS)


def test_missing_and_doubled_columns_are_named() -> None:
    found = read_log(b"set,design,drive motion error [urad],Set number\n1,TY-222,31,1\n", designs=DESIGNS)
    said = " ".join(str(p.text()) for p in found.problems)
    assert "there twice" in said
    assert "no column 'Pinion out'" in said


length = st.floats(-2, 2).map(lambda v: round(v, 4))
figure = st.none() | st.floats(0, 2000).map(lambda v: round(v, 2))
word = st.text("abcdefgh ,;\"'äµ-0123456789", max_size=20).map(str.strip)


@given(
    st.lists(
        st.builds(
            Roll,
            word.filter(bool),
            st.sampled_from(DESIGNS),
            length,
            ring_away_mm=st.none() | length,
            drive_motion_error_urad=st.floats(0, 2000).map(lambda v: round(v, 2)),
            coast_motion_error_urad=figure,
            operator=word,
            note=word,
        ),
        min_size=1,
        max_size=6,
        unique_by=lambda roll: roll.content(),
    )
)
def test_what_is_written_is_read_again(rolls: list[Roll]) -> None:
    found = read_log(write_log(rolls).encode(), designs=DESIGNS)
    assert found.problems == ()
    assert list(found.rolls) == rolls


@given(st.binary(max_size=300))
def test_no_file_makes_it_fall_over(data: bytes) -> None:
    try:
        found = read_log(data, designs=DESIGNS)
    except InputError:
        return
    assert not (found.rolls and found.problems)
