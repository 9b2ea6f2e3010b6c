"""Many settings in one table."""

import csv
import io
from dataclasses import replace
from threading import Event

import pytest

import axlewright as aw
from axlewright.contact import Settings
from axlewright.errors import InputError

SMALL = {"lengthwise": 40, "profile": 20, "roll_angles": 64}


@pytest.fixture(scope="module")
def design():
    return aw.load_design("TY-222")


def test_rows_come_in_the_order_asked_for_and_equal_single_rolls(design):
    places = [Settings(0.0), Settings(0.05), Settings(-0.05)]
    table = aw.sweep(design, places, progress=False, **SMALL)
    assert [(r["pinion_out_mm"], r["flank"]) for r in table.rows] == [
        (p.pinion_out_mm, f) for p in places for f in ("drive", "coast")
    ]
    alone = aw.roll(design, "drive", 0.05, **SMALL)
    assert table.rows[2]["profile"] == alone.pattern.center[1]
    assert table.rows[2]["motion_error_pp_urad"] == alone.motion_error_pp_urad
    assert not table.stopped


def test_workers_do_not_change_the_result(design):
    places = [Settings(k / 50) for k in range(-3, 4)]
    assert (
        aw.sweep(design, places, workers=1, progress=False, **SMALL).rows
        == aw.sweep(design, places, workers=3, progress=False, **SMALL).rows
    )


def test_progress_counts_to_the_end(design):
    seen = []
    aw.sweep(design, [Settings(), Settings(0.02)], progress=lambda d, t: seen.append((d, t)), **SMALL)
    assert seen == [(0, 4), (1, 4), (2, 4), (3, 4), (4, 4)]


@pytest.mark.parametrize("workers", [1, 2])
def test_cancel_keeps_what_is_done(design, workers):
    stop = Event()

    def watch(done, _total):
        if done >= 3:
            stop.set()

    table = aw.sweep(
        design, [Settings(k / 100) for k in range(20)], progress=watch, cancel=stop, workers=workers, **SMALL
    )
    assert table.stopped
    assert 3 <= len(table.rows) < 40
    assert table.planned == 40


def test_csv_reads_back(design, tmp_path):
    table = aw.sweep(design, [Settings(0.05)], progress=False, **SMALL)
    path = tmp_path / "sweep.csv"
    table.write_csv(path)
    rows = list(csv.DictReader(io.StringIO(path.read_text())))
    assert [r["flank"] for r in rows] == ["drive", "coast"]
    assert float(rows[0]["profile"]) == table.rows[0]["profile"]


def test_bar_is_drawn_on_request(design, capsys):
    aw.sweep(design, [Settings()], progress=True, **SMALL)
    assert "2/2" in capsys.readouterr().err


def test_no_mark_is_a_row_with_a_sentence(design):
    dry = replace(design, compound_film_mm=-0.001)  # nothing is squeezed thinner than nothing
    table = aw.sweep(dry, [Settings(offset_error_mm=0.3)], progress=False, **SMALL)
    for row in table.rows:
        assert row["lengthwise"] is None
        assert "film" in row["problem"]
        assert row["offset_error_mm"] == 0.3


def test_no_workers_is_refused(design):
    with pytest.raises(InputError, match="workers"):
        aw.sweep(design, [], workers=0)
    assert aw.sweep(design, [], progress=False).rows == []
