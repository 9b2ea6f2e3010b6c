"""The roll-test log in the records: kept once, taken back by writing so, in the backup, changes noticed."""

from __future__ import annotations

from pathlib import Path

import pytest

from axlewright.errors import AxlewrightError, InputError, RecordError
from axlewright.job import FieldError, batch, matching
from axlewright.job.batch import practice_of, rolls_of
from axlewright.plant import Practice, Roll
from axlewright.records import JobStore, backup, open_store, restore

LOG = b"""set;design;pinion out [mm];drive motion error [urad]
1;TY-222;-0,1;60
1;TY-222;0;30
1;TY-222;0,1;62
"""


@pytest.fixture
def log_store(tmp_path: Path) -> JobStore:
    return open_store(tmp_path / "records")


def test_what_is_imported_survives_a_restart_and_the_same_file_adds_nothing(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        assert len(batch.import_log(store, LOG, name="a.csv", who="tester").rolls) == 3
    with open_store(tmp_path) as store:
        again = batch.import_log(store, LOG, name="a.csv", who="tester")
        assert (again.rolls, again.repeated) == ((), (2, 3, 4))
        assert len(batch.all_rolls(store)) == 3
        assert batch.all_rolls(store)[0].operator == "tester"


def test_a_form_sent_twice_is_kept_once(log_store: JobStore) -> None:
    for _time in range(2):
        batch.import_log(log_store, LOG, name="a.csv", who="tester", key="k1")
    assert len([s for s in batch.sheets(log_store) if s.kind == "rolls"]) == 1


def test_one_bad_row_keeps_everything_out(log_store: JobStore) -> None:
    read = batch.import_log(log_store, LOG + b"2;TY-222;x;5\n", name="a.csv", who="tester")
    assert len(read.problems) == 1
    assert batch.all_rolls(log_store) == []
    assert log_store.files.list() == []


def test_a_sheet_taken_back_counts_no_longer_but_stays(log_store: JobStore) -> None:
    batch.import_log(log_store, LOG, name="a.csv", who="tester")
    sheet = batch.sheets(log_store)[0]
    batch.take_back(log_store, sheet.sha256, who="tester")
    assert batch.all_rolls(log_store) == []
    assert sheet in batch.sheets(log_store, all_of_them=True)
    with pytest.raises(RecordError):
        batch.take_back(log_store, sheet.sha256, who="tester")
    assert len(batch.import_log(log_store, LOG, name="a.csv", who="tester").rolls) == 3


def test_the_log_is_in_the_backup(tmp_path: Path, log_store: JobStore) -> None:
    batch.import_log(log_store, LOG, name="a.csv", who="tester")
    batch.put_practice(log_store, Practice("0.01 mm", "plus_means_thicker_spacer"), who="tester")
    backup(log_store, tmp_path / "all.zip")
    with open_store(tmp_path / "other") as other:
        restore(other, tmp_path / "all.zip")
        assert batch.all_rolls(other) == batch.all_rolls(log_store)
        assert batch.practice(other).mark_unit == "0.01 mm"


def test_a_sheet_changed_behind_the_programs_back_is_noticed(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        batch.import_log(store, LOG, name="a.csv", who="tester")
        sheet = next((tmp_path / "files").rglob("*.rolls"))
    batch._READ.clear()
    sheet.write_bytes(sheet.read_bytes().replace(b"60", b"20"))
    with open_store(tmp_path) as store, pytest.raises(RecordError, match="was changed"):
        batch.all_rolls(store)


def test_each_sheet_names_the_one_before(log_store: JobStore) -> None:
    import json

    batch.import_log(log_store, LOG, name="a.csv", who="tester")
    batch.put_practice(log_store, Practice("0.01 mm", "plus_means_thicker_spacer"), who="tester")
    first, second = batch.sheets(log_store)
    assert json.loads(log_store.read_file(second.sha256))["previous"] == first.sha256


def test_the_demonstration_fills_an_empty_log_only(log_store: JobStore) -> None:
    assert batch.fill_with_demo(log_store, who="tester") == len(batch.all_rolls(log_store)) > 500
    with pytest.raises(InputError, match="readings already"):
        batch.fill_with_demo(log_store, who="tester")
    views = batch.set_views(log_store, latest=12)
    assert len(views) == 12
    assert sum(v.decided for v in views) >= 6
    page = batch.labels_pdf(log_store, views)
    assert page.startswith(b"%PDF")


def test_labels_carry_the_mark_with_its_meaning(log_store: JobStore) -> None:
    batch.import_log(log_store, LOG, name="a.csv", who="tester")
    view = batch.set_view(log_store, "TY-222", "1")
    assert view.decided
    assert batch.mark_text(view) == "", "no mark while nobody said what plus means"
    with pytest.raises(InputError, match="no set has a mark"):
        batch.labels_pdf(log_store, [view])
    batch.put_practice(log_store, Practice("0.001 in", "plus_means_larger_mounting_distance"), who="tester")
    view = batch.set_view(log_store, "TY-222", "1")
    assert str(batch.mark_text(view)) in ("0", "+1", "−1")


def test_typed_positions_become_readings(log_store: JobStore) -> None:
    fields = {
        "number": "7", "design": "ty-222", "kind": "error",
        "position-0": "+0.002", "drive-0": "31,5", "coast-0": "28",
        "position-1": "0,1 mm", "drive-1": "", "coast-1": "30", "backlash-1": "0.007",
        "position-2": "0.004", "drive-2": "", "coast-2": "",
    }  # fmt: skip
    first, second = rolls_of(fields, log_store, "inch", who="tester")
    assert first.pinion_out_mm == pytest.approx(0.0508)  # 0.002 in, 25.4 mm to the inch
    assert (first.drive_motion_error_urad, first.coast_motion_error_urad) == (31.5, 28.0)
    assert second.pinion_out_mm == pytest.approx(0.1)
    assert second.drive_motion_error_urad is None
    assert second.backlash_mm == pytest.approx(0.1778)  # 0.007 in


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"number": ""}, "number"),
        ({"design": "NONE"}, "design"),
        ({"position-0": ""}, "position-0"),
        ({"position-0": "two"}, "position-0"),
        ({"position-0": "9"}, "position-0"),
        ({"drive-0": "loud"}, "drive-0"),
        ({"drive-0": "99999"}, "drive-0"),
        ({"drive-0": "", "coast-0": ""}, "drive-0"),
        ({"backlash-0": "-1"}, "backlash-0"),
        ({"kind": "smell"}, "kind"),
    ],
)
def test_what_is_wrong_is_said_at_its_field(log_store: JobStore, change: dict[str, str], field: str) -> None:
    fields = {"number": "7", "design": "TY-222", "kind": "error", "position-0": "0", "drive-0": "30"}
    with pytest.raises(FieldError) as caught:
        rolls_of(fields | change, log_store, "inch", who="tester")
    assert caught.value.field == field


def test_the_shops_ways_are_read_in_either_unit() -> None:
    ways = practice_of({"drive_weight": "60 %", "needed": "0.001"}, Practice(), "inch")
    assert ways.drive_weight == pytest.approx(0.6)
    assert ways.needed_mm == pytest.approx(0.0254)
    with pytest.raises(FieldError):
        practice_of({"drive_weight": "most"}, Practice(), "inch")
    with pytest.raises(AxlewrightError):
        practice_of({"drive_weight": "160"}, Practice(), "inch")


def test_a_ring_gear_that_stayed_is_told_from_a_kept_backlash() -> None:
    def rolled(places: list[float | None]) -> list[Roll]:
        return [
            Roll("1", "X", 0.05 * n, ring_away_mm=place, drive_motion_error_urad=30.0)
            for n, place in enumerate(places)
        ]

    assert batch.held_by(rolled([0.0, 0.0, 0.0])) == "ring position"
    assert batch.held_by(rolled([0.0, -0.03, -0.06])) == "backlash"
    assert batch.held_by(rolled([None, None])) == "backlash"


def test_carriers_and_spacers_as_people_type_them() -> None:
    carriers = matching.read_carriers("C-1 1.522 mm\n\nC-2; 0.0600\nC-3\t1,55mm\n", "inch")
    assert [c.number for c in carriers] == ["C-1", "C-2", "C-3"]
    assert [c.zero_spacer_mm for c in carriers] == pytest.approx([1.522, 1.524, 1.55])
    spacers = matching.read_spacers("1.500mm*3 0.060 1.55 mm×2", "inch")
    assert [(round(s.thickness_mm, 3), s.count) for s in spacers] == [(1.5, 3), (1.524, 1), (1.55, 2)]
    for text, said in (("C-1", "no spacer"), ("C-1 x", "not a number"), ("C-1 1 m", "is no spacer")):
        with pytest.raises(FieldError, match=said):
            matching.read_carriers(text, "inch")


def test_a_table_of_carriers_is_read_with_its_heading() -> None:
    table = "carrier;zero_spacer_mm;design\nC-1;1,522;TY-222\nC-2;0.060 in;TY-310\n"
    assert [(c.number, c.design) for c in matching.read_carriers(table, "inch")] == [
        ("C-1", "TY-222"),
        ("C-2", "TY-310"),
    ]
    assert matching.read_carriers(table, "inch")[0].zero_spacer_mm == pytest.approx(1.522)
    for text, said in (
        ("carrier,spacer\nC-1,1.5", "no column"),
        ("carrier,zero_spacer_mm\nC-1,", "no spacer"),
    ):
        with pytest.raises(FieldError, match=said):
            matching.read_carriers(text, "inch")


def test_the_carriers_of_the_demonstration_go_into_the_command_as_they_are(tmp_path: Path) -> None:
    import json

    from typer.testing import CliRunner

    from axlewright.cli.batch import batch as command

    _log, carriers = batch.demo_files()
    (tmp_path / "demo-carriers.csv").write_bytes(carriers)
    with open_store(tmp_path) as store:
        batch.fill_with_demo(store, who="tester")
    shelf = " ".join(f"{1.37 + 0.0254 * n:.3f}mm*3" for n in range(16))
    arguments = [
        "match", "--design", "TY-222", "--carriers", str(tmp_path / "demo-carriers.csv"),
        "--place", "under_head", "--spacers", shelf, "--home", str(tmp_path), "--json",
    ]  # fmt: skip
    done = CliRunner().invoke(command, arguments)
    assert done.exit_code == 0, done.output
    told = json.loads(done.output)
    assert len(told["matches"]) == 24
    assert told["within"]["as_they_came"] < told["within"]["matched"] == told["within"]["most"]
