"""What a job keeps besides numbers: photographs and tags, instruments, a stop, labels."""

from __future__ import annotations

import io
import re
from datetime import UTC, date, datetime, timedelta, timezone

import pytest
import zxingcpp
from PIL import Image

from axlewright.errors import AxlewrightError, InputError, PhotoError, RecordError
from axlewright.job import FieldError, enter, job_view, put_on_shelf, sheet_data, take_back
from axlewright.job.labels import blank_sheet_pdf, set_label_data, spacer_label_data
from axlewright.job.pictures import add_picture
from axlewright.job.shelf import take_for_job, to_take
from axlewright.language import local_time, zoned_time
from axlewright.records import Instrument, Job, JobStore
from axlewright.sheets import read_label_code, set_label, set_label_code, spacer_label_code
from axlewright.sheets.codes import datamatrix_svg

PAIR = {"pinion_number": "41-117", "ring_number": "41-117"}
WRONG = {**PAIR, "ring_number": "41-118"}


def photo_with_place() -> bytes:
    exif = Image.Exif()
    exif[0x010F] = "somebody's phone"
    gps = exif.get_ifd(0x8825)
    gps[1], gps[2] = "N", (51.0, 30.0, 12.5)
    out = io.BytesIO()
    Image.new("RGB", (640, 480), "#7a6a55").save(out, "JPEG", exif=exif)
    return out.getvalue()


def test_a_photograph_is_kept_without_its_place_and_printed(store: JobStore, job: Job) -> None:
    raw = photo_with_place()
    with Image.open(io.BytesIO(raw)) as before:
        assert before.getexif().get_ifd(0x8825), "the picture does say where it was taken"
    entry = add_picture(
        store, job.number, "as-found", piece="ring_side_cap", photo=raw, tag="left", who="bench one"
    )
    kept = store.read_file(entry.files[0])
    with Image.open(io.BytesIO(kept)) as after:
        assert not after.getexif()
    (picture,) = job_view(store, job.number).step("as-found").pictures
    assert str(picture.what) == "bearing cap, ring gear side; tag: left"
    photo = sheet_data(store, job.number).photos[0]
    assert photo.jpeg == kept
    assert "tag: left" in photo.caption
    assert "bench one" in photo.caption
    take_back(store, job.number, entry.seq, "wrong cap", who="b")
    assert job_view(store, job.number).pictures == ()
    assert sheet_data(store, job.number).photos == ()
    assert store.verify(job.number).holds


def test_a_tag_may_stand_without_a_photograph(store: JobStore, job: Job) -> None:
    add_picture(store, job.number, "as-found", piece="depth_spacer", tag="0.0605 in", who="b")
    (block,) = [s for s in sheet_data(store, job.number).steps if s.title.startswith("As-found")]
    assert "Tag: depth spacer or shims; tag: 0.0605 in" in block.notes


def test_photographs_sent_twice_are_kept_once(store: JobStore, job: Job) -> None:
    for _ in range(2):
        add_picture(
            store, job.number, "fits", piece="gears", photo=photo_with_place(), who="b", idempotency_key="k"
        )
    assert len(job_view(store, job.number).pictures) == 1


def test_what_is_no_photograph_is_refused(store: JobStore, job: Job) -> None:
    with pytest.raises(InputError, match="neither photograph nor tag"):
        add_picture(store, job.number, "as-found", piece="gears", who="b")
    with pytest.raises(InputError, match="not said what this shows"):
        add_picture(store, job.number, "as-found", piece="boots", tag="x", who="b")
    with pytest.raises(PhotoError):
        add_picture(store, job.number, "as-found", piece="gears", photo=b"no picture", who="b")
    with pytest.raises(RecordError, match="no step"):
        add_picture(store, job.number, "polish", piece="gears", tag="x", who="b")
    assert len(store.entries(job.number)) == 1


def test_a_mismatch_stops_what_follows_until_it_is_answered(store: JobStore, job: Job) -> None:
    wrong = enter(store, job.number, "identity", WRONG, who="b")
    view = job_view(store, job.number)
    assert view.stopping is not None
    assert view.waits("depth")
    assert not view.waits("as-found")
    with pytest.raises(InputError, match="the job is stopped"):
        enter(store, job.number, "fits", {"bearings": "good"}, who="b")
    enter(store, job.number, "as-found", {"turning": "12"}, who="b")
    enter(store, job.number, "identity", PAIR, who="b", supersedes=wrong.entries[0].seq)
    assert job_view(store, job.number).stopping is None
    enter(store, job.number, "fits", {"bearings": "good"}, who="b")


def test_only_a_lead_lets_a_stopped_job_go_on(store: JobStore, job: Job) -> None:
    store.people.add("lead", "admin", "2580")
    store.people.add("bench one", "technician", "1357")
    enter(store, job.number, "identity", WRONG, who="b")
    with pytest.raises(RecordError, match="may not waive"):
        store.waive(job.number, "identity", "numbers worn", who="bench one", pin="1357")
    head = store.get_job(job.number).head
    with pytest.raises(RecordError, match="the job is stopped"):
        store.sign_off(job.number, who="lead", pin="2580", statement="done", head=head, close=True)
    assert store.get_job(job.number).state == "open"
    store.waive(job.number, "identity", "numbers worn, teeth compared", who="lead", pin="2580")
    enter(store, job.number, "fits", {"bearings": "good"}, who="b")
    notes = [n for s in sheet_data(store, job.number).steps for n in s.notes]
    assert any("numbers worn, teeth compared" in note for note in notes), "the reason stands on the sheet"


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"tooth_form": "face-hobbed"}, "face-hobbed"),
        ({"mark": "+2", "ring_mark": "+3", "mark_unit": "unknown", "mark_meaning": "unknown"}, "marked +3"),
        ({"ring_mark": "+3"}, "the pinion is not"),
    ],
)
def test_more_that_does_not_match_stops_too(
    store: JobStore, job: Job, change: dict[str, str], why: str
) -> None:
    outcome = enter(store, job.number, "identity", {**PAIR, **change}, who="b")
    assert outcome.verdict == "not ok"
    assert why in outcome.why


def test_a_thicker_ring_gear_and_missing_timing_marks_are_asked_about(store: JobStore, job: Job) -> None:
    thick = {**PAIR, "ring_thickness": "1.90", "ring_thickness_before": "1.70", "timing": "none"}
    outcome = enter(store, job.number, "identity", thick, who="b")
    assert outcome.verdict == "ask"
    assert "0.2000 in" in outcome.why
    # 11/41 share no factor: every tooth meets every other (NAVEDTRA 14264, number from memory).
    assert any("no timing marks needed" in note for note in outcome.notes)
    same = {**PAIR, "mark": "−2", "ring_mark": "-2", "mark_unit": "0.001 in"}
    same["mark_meaning"] = "plus_means_larger_mounting_distance"
    assert enter(store, job.number, "identity", same, who="b").verdict == "ok"


DEPTH = {
    "place": "under_head",
    "carrier": "5.6255 5.6250 5.6254 5.6256 5.6255",
    "bearing": "1.2500 1.2501",
    "mounting_distance": "4.3125",
    "instrument": "depth micrometer 2",
}


def test_an_instrument_brings_step_and_calibration_with_it(store: JobStore, job: Job) -> None:
    bare = enter(store, job.number, "depth", DEPTH, who="b").values["spacer_standard_uncertainty_mm"]
    store.instruments.put(
        Instrument(
            "depth micrometer 2",
            resolution="0.0001 in",
            uncertainty="0.0004 in, k = 2",
            calibrated_on=date(2025, 3, 1),
            due_on=date.today() + timedelta(days=30),
        )
    )
    known = enter(store, job.number, "depth", DEPTH, who="b")
    # Certificate 0.0004 in at k = 2 and step/√12 in both readings, added in squares (GUM 5.1.2, F.2.2.1).
    more = 2.0 * ((0.0002 * 25.4) ** 2 + (0.0001 * 25.4) ** 2 / 12.0)
    assert known.values["spacer_standard_uncertainty_mm"] ** 2 - bare**2 == pytest.approx(more, rel=1e-6)
    typed = enter(store, job.number, "depth", {**DEPTH, "calibration": "0.001"}, who="b")
    assert typed.values["spacer_standard_uncertainty_mm"] > known.values["spacer_standard_uncertainty_mm"], (
        "what is typed wins"
    )
    rows = [block for s in sheet_data(store, job.number).steps for block in s.rounds]
    assert rows[-1].instrument == "depth micrometer 2, calibrated 2025-03-01"
    assert not any("calibration was due" in note for note in known.notes)


def test_an_overdue_calibration_is_said(store: JobStore, job: Job) -> None:
    due = date.today() - timedelta(days=1)
    store.instruments.put(Instrument("depth micrometer 2", due_on=due))
    outcome = enter(store, job.number, "depth", DEPTH, who="b")
    assert any(f"calibration was due on {due.isoformat()}" in note for note in outcome.notes)


def test_the_set_label_says_what_the_record_knows_and_reads_back(store: JobStore, job: Job) -> None:
    with pytest.raises(InputError, match="no set number"):
        set_label_data(store, job.number)
    mark = {"mark": "+2", "mark_unit": "0.001 in", "mark_meaning": "plus_means_larger_mounting_distance"}
    enter(store, job.number, "identity", {**PAIR, **mark}, who="b")
    enter(store, job.number, "backlash", {"readings": "0.0060 0.0065", "axle": "light"}, who="b")
    data = set_label_data(store, job.number)
    assert data.set_number == "41-117"
    assert data.mark_meaning == "pinion farther out by 0.0020 in (0.051 mm)"
    assert data.backlash == "0.0060 in (0.152 mm)"
    facts = read_label_code(decoded(set_label_code(data)))
    assert facts["number"] == "41-117"
    assert facts["mark"] == "+2"
    assert set_label(data) == set_label(data)


def decoded(text: str) -> str:
    """Return a DataMatrix's text as a reader sees it: drawn from the SVG's own cells, then read."""
    svg = datamatrix_svg(text)
    size = int(re.search(r'width="(\d+)"', svg)[1])  # type: ignore[index]
    picture = Image.new("L", (size, size), 255)
    for x, y, length in re.findall(r"M(\d+) (\d+)h(\d+)v1", svg):
        for k in range(int(length)):
            picture.putpixel((int(x) + k, int(y)), 0)
    (code,) = zxingcpp.read_barcodes(picture.resize((size * 8, size * 8), Image.Resampling.NEAREST))
    return code.text


def test_the_label_of_a_piece_on_the_shelf(store: JobStore, job: Job) -> None:
    put_on_shelf(store, "pinion spacer", "0.0615", part="P-7 ä", who="b")
    item = store.stock.list()[0]
    data = spacer_label_data(store, item.id)
    facts = read_label_code(decoded(spacer_label_code(data)))
    assert facts == {
        "label": "axle-spacer",
        "id": str(item.id),
        "kind": "pinion spacer",
        "mm": "1.562",
        "part": "P-7 ä",
    }
    with pytest.raises(InputError, match="no piece 99"):
        spacer_label_data(store, 99)


def test_the_blank_sheet_carries_the_job(store: JobStore, job: Job) -> None:
    assert blank_sheet_pdf().startswith(b"%PDF-")
    assert blank_sheet_pdf(store, job.number) == blank_sheet_pdf(store, job.number)
    assert blank_sheet_pdf(store, job.number) != blank_sheet_pdf()


def test_times_are_shown_where_the_reader_is(monkeypatch: pytest.MonkeyPatch) -> None:
    at = datetime(2026, 3, 2, 23, 30, tzinfo=UTC)
    here = at.astimezone()
    assert local_time(at) == f"{here:%Y-%m-%d %H:%M}"
    elsewhere = datetime(2026, 3, 3, 5, 0, tzinfo=timezone(timedelta(hours=5, minutes=30)))
    assert local_time(elsewhere) == local_time(at)
    assert zoned_time(at).startswith(local_time(at) + " UTC")


def test_a_signature_says_when_more_was_written_after_it(store: JobStore, job: Job) -> None:
    store.people.add("lead", "admin", "2580")
    head = store.get_job(job.number).head
    signing = {"who": "lead", "pin": "2580", "statement": "Checked.", "close": True}
    with pytest.raises(RecordError, match="10 steps are not done"):
        store.sign_off(job.number, head=head, **signing)  # type: ignore[arg-type]
    store.sign_off(job.number, head=head, although="sold for parts", **signing)  # type: ignore[arg-type]
    (signature,) = sheet_data(store, job.number).signatures
    assert signature.statement == "Checked."
    assert signature.note.startswith("Signed with 10 steps open: Complaint and road test (open), As-found")
    assert signature.note.endswith("Reason: sold for parts")
    with pytest.raises(AxlewrightError, match="the job is closed"):
        enter(store, job.number, "as-found", {"turning": "12"}, who="b")
    store.reopen(job.number, "a noise after all", who="lead", pin="2580")
    enter(store, job.number, "as-found", {"turning": "12"}, who="b")
    (signature,) = sheet_data(store, job.number).signatures
    assert signature.statement == "Checked. Since then 2 entries were added to the record."
    assert "Opened again by lead, " in signature.note
    assert signature.note.endswith(": a noise after all")


def test_a_field_error_keeps_nothing_for_every_step(store: JobStore, job: Job) -> None:
    for step, fields in (
        ("fits", {"bearings": "good", "flange_runout": "a lot"}),
        ("preload", {"bearings": "new", "kind": "sleeve", "torque": "20 lbs"}),
        ("backlash", {"readings": "0.006, x", "axle": "light"}),
        ("as-found", {"end_play": "0.1 furlong"}),
    ):
        with pytest.raises(FieldError):
            enter(store, job.number, step, fields, who="b")
    assert len(store.entries(job.number)) == 1


def test_what_was_named_is_taken_from_the_shelf_once(store: JobStore, job: Job) -> None:
    put_on_shelf(store, "pinion spacer", "0.0630", count=2, who="b")
    outcome = enter(store, job.number, "depth", DEPTH, who="b")
    seq = outcome.entries[0].seq
    other = enter(store, job.number, "depth", {**DEPTH, "fitted": "0.0640"}, who="b")
    assert to_take(job_view(store, job.number), "depth") == "", "something else went in"
    take_back(store, job.number, other.entries[0].seq, "not fitted", who="b")
    assert to_take(job_view(store, job.number), "depth") == "the spacer 0.0630 in (1.600 mm)"
    for _ in range(2):
        take_for_job(store, job.number, seq, who="b")
    (item,) = store.stock.list()
    assert item.count == 1
    assert store.stock.moves(item.id)[-1].job_number == job.number
    assert to_take(job_view(store, job.number), "depth") == ""
    view = job_view(store, job.number).step("depth")
    assert view.status.state == outcome.verdict, "a note changes no verdict"
    with pytest.raises(InputError, match="nothing from the shelf"):
        take_for_job(store, job.number, 1, who="b")


def test_a_unit_on_one_of_several_pieces_is_asked_about(store: JobStore) -> None:
    for text in ("0.0540 0.0555 0,0600 0.0625 1,55mm", "0.0540 1,55 mm 0.0600"):
        with pytest.raises(FieldError, match="1,55 may count for that one alone or for all"):
            put_on_shelf(store, "pinion spacer", text, who="b")
    with pytest.raises(FieldError, match="unusual") as caught:
        put_on_shelf(store, "pinion spacer", "1.55", who="b")  # 39 mm
    assert caught.value.confirmable
    assert not store.stock.list()
    assert put_on_shelf(store, "pinion spacer", "1.55", who="b", really=True) == 1
    assert put_on_shelf(store, "pinion spacer", "1,50 1,55 mm", who="b") == 2
    assert sorted(i.thickness_mm for i in store.stock.list()) == pytest.approx([1.5, 1.55, 39.37])
