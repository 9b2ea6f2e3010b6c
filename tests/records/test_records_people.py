"""People, PINs, waivers, signatures, instruments, stock and files."""

from __future__ import annotations

import hashlib
import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta

import pytest

from axlewright.errors import ConflictError, RecordError
from axlewright.records import (
    STEP_KEYS,
    Entry,
    Instrument,
    JobConflictError,
    JobStore,
    StockItem,
    people,
)
from axlewright.records.chain import utc_now


def test_scrypt_gives_the_published_value() -> None:
    """RFC 7914 section 12, third vector: the cost, block and order we use come from the standard."""
    found = hashlib.scrypt(
        b"pleaseletmein", salt=b"SodiumChloride", n=16384, r=8, p=1, dklen=64, maxmem=64 * 1024 * 1024
    )
    assert found.hex().startswith("7023bdcb3afd7348461c06cd81fd38ebfda8fbba904f8e3ea9b543f6545da1f2")
    kept = people.hash_pin("2580")
    assert kept.startswith("scrypt$16384$8$1$")
    assert "2580" not in kept
    assert people.pin_fits("2580", kept)
    assert not people.pin_fits("2581", kept)
    assert people.hash_pin("2580") != kept, "every PIN has its own salt"


def test_wrong_pins_lock_for_a_while(store: JobStore, monkeypatch: pytest.MonkeyPatch) -> None:
    store.people.add("office", "admin", "9631")
    store.people.add("bench one", "technician", "2580")
    for _ in range(people.WRONG_TRIES):
        with pytest.raises(RecordError, match="the PIN is wrong"):
            store.people.check_pin("bench one", "1111")
    with pytest.raises(RecordError, match="wait 5 min"):
        store.people.check_pin("bench one", "2580")
    later = utc_now() + timedelta(minutes=6)
    monkeypatch.setattr(people, "utc_now", lambda: later)
    assert store.people.check_pin("bench one", "2580").role == "technician"


def test_sign_off_needs_the_pin_and_names_what_was_signed(store: JobStore) -> None:
    number = store.new_job(design_name="TY-222").number
    store.people.add("office", "admin", "9631")
    store.people.add("bench one", "technician", "2580")
    head = store.get_job(number).head
    with pytest.raises(RecordError, match="the PIN is wrong"):
        store.sign_off(number, who="bench one", pin="0000", statement="built as written", head=head)
    with pytest.raises(RecordError, match="nobody is called 'tester'"):
        store.sign_off(number, who="tester", pin="2580", statement="built as written", head=head)
    assert store.get_job(number).entry_count == 1
    with pytest.raises(RecordError, match="needs the state of the job that was seen"):
        store.sign_off(number, who="bench one", pin="2580", statement="built as written")
    assert store.get_job(number).entry_count == 1
    with pytest.raises(RecordError, match="10 steps are not done: Complaint and road test, As-found"):
        store.sign_off(number, who="bench one", pin="2580", statement="built as written", head=head)
    for key in STEP_KEYS[:-2]:
        store.add_entry(number, "result", key, {"verdict": "ok"}, who="bench one")
    store.add_entry(number, "result", "final", {"verdict": "ask"}, who="bench one")
    store.add_entry(number, "result", "close", {"verdict": "ok"}, who="bench one")
    store.add_entry(number, "result", "depth", {"verdict": "ok"}, who="bench one")
    store.waive(number, "backlash", "screw adjusters sealed", who="office", pin="9631")
    store.add_entry(number, "result", "preload", {"verdict": "ok"}, who="bench one")
    head = store.get_job(number).head
    signed = store.sign_off(
        number,
        who="bench one",
        pin="2580",
        statement="built as written",
        head=head,
        although="goes to a lead",
    )
    assert signed.payload == {
        "statement": "built as written",
        "role": "technician",
        "signed_head": head,
        "although": "goes to a lead",
        "not_done": [{"step": "pattern", "state": "again"}, {"step": "final", "state": "ask"}],
    }
    with pytest.raises(JobConflictError):
        store.sign_off(number, who="bench one", pin="2580", statement="x", head=head)
    with pytest.raises(RecordError, match="no kind of entry to add"):
        store.add_entry(number, "sign-off", "close", {}, who="bench one")
    assert store.verify(number).holds
    assert store.steps(number)[-1].state == "ok"


def test_waiver_needs_a_reason_and_a_role_that_may(store: JobStore) -> None:
    number = store.new_job(design_name="TY-222").number
    with pytest.raises(RecordError, match="with a reason only"):
        store.waive(number, "as-found", " ", who="bench one")
    assert store.waive(number, "as-found", "came in pieces", who="bench one").kind == "waiver"
    store.people.add("office", "admin", "9631")
    store.people.add("bench one", "technician", "2580")
    store.people.add("tester", "lead", "1470")
    with pytest.raises(RecordError, match="with a PIN here"):
        store.add_entry(number, "waiver", "fits", {"reason": "new case"}, who="tester")
    with pytest.raises(RecordError, match="a technician may not waive"):
        store.waive(number, "fits", "new case", who="bench one", pin="2580")
    assert store.waive(number, "fits", "new case", who="tester", pin="1470").who == "tester"


def test_bad_people_get_one_sentence(store: JobStore) -> None:
    store.people.add("office", "admin", "9631")
    store.people.add("bench one", "technician", "2580")
    with pytest.raises(RecordError, match="here already"):
        store.people.add("bench one", "lead", "2580")
    with pytest.raises(RecordError, match="4 to 12 digits"):
        store.people.add("bench two", "lead", "25a0")
    with pytest.raises(RecordError, match="is no role"):
        store.people.add("bench two", "boss", "2580")  # type: ignore[arg-type]
    store.people.set_active("bench one", False)
    assert [one.name for one in store.people.list()] == ["office"]
    with pytest.raises(RecordError, match="the PIN is wrong"):
        store.people.check_pin("bench one", "2580")


def test_reading_keeps_the_calibration_it_was_made_under(store: JobStore) -> None:
    number = store.new_job(design_name="TY-222").number
    dial = Instrument("dial 3", "dial indicator", "0.01 mm", date(2026, 2, 1), date(2027, 2, 1))
    store.instruments.put(dial)
    first = store.add_entry(number, "reading", "backlash", {"value": 1}, who="a", instrument="dial 3")
    store.instruments.put(Instrument("dial 3", "dial indicator", "0.01 mm", date(2027, 2, 3)))
    second = store.add_entry(number, "reading", "backlash", {"value": 1}, who="a", instrument="dial 3")
    unknown = store.add_entry(number, "reading", "backlash", {"value": 1}, who="a", instrument="borrowed")
    dates = [entry.calibrated_on for entry in store.entries(number, kind="reading")]
    assert dates == [date(2026, 2, 1), date(2027, 2, 3), None]
    assert [first.calibrated_on, second.calibrated_on, unknown.calibrated_on] == dates
    assert store.verify(number).holds
    assert [tool.name for tool in store.instruments.list()] == ["dial 3"]
    store.instruments.put(dial)
    assert store.instruments.overdue(date(2027, 2, 2)) == [dial]
    assert store.instruments.overdue(date(2027, 2, 1)) == []


def test_stock_never_goes_below_nothing_and_knows_its_moves(store: JobStore) -> None:
    number = store.new_job(design_name="TY-222").number
    thin = store.stock.add("pinion spacer", 1.562, nominal_mm=1.56, count=2, design_name="TY-222")
    thick = store.stock.add("pinion spacer", 1.689, count=1)
    store.stock.add("side shim", 0.5, count=0)
    assert store.stock.list(kind="pinion spacer", design_name="TY-222") == [thin, thick]
    assert store.stock.list(kind="pinion spacer", design_name="TY-310") == [thick]
    assert len(store.stock.list(in_stock_only=True)) == 2
    assert store.stock.move(thin.id, -2, who="bench one", job=number).count == 0
    with pytest.raises(RecordError, match="only 0 of the pinion spacer"):
        store.stock.move(thin.id, -1, who="bench one", job=number)
    assert [(move.change, move.job_number) for move in store.stock.moves(thin.id)] == [
        (2, None),
        (-2, number),
    ]
    with pytest.raises(RecordError, match="no thickness"):
        store.stock.add("side shim", float("nan"))
    with pytest.raises(RecordError, match="no stock item 99"):
        store.stock.move(99, 1, who="bench one")


def test_files_are_kept_once_and_checked(store: JobStore) -> None:
    number = store.new_job(design_name="TY-222").number
    sha256 = store.store_file(b"picture", ".JPG")
    assert store.store_file(b"picture", "jpeg") == sha256
    assert [stored.suffix for stored in store.files.list()] == [".jpg"]
    assert store.read_file(sha256) == b"picture"
    entry = store.add_entry(number, "photo", "pattern", {"flank": "drive"}, who="a", files=[sha256])
    assert entry.files == (sha256,)
    path = store.files.path(sha256, ".jpg")
    assert list(path.parent.iterdir()) == [path], "no half files are left"
    path.write_bytes(b"retouched")
    with pytest.raises(RecordError, match="was changed"):
        store.read_file(sha256)
    assert store.store_file(b"picture", ".jpg") == sha256, "storing again heals it"
    assert store.read_file(sha256) == b"picture"
    path.unlink()
    with pytest.raises(RecordError, match="is missing"):
        store.read_file(sha256)
    with pytest.raises(RecordError, match="there is no file"):
        store.add_entry(number, "photo", "pattern", {}, who="a", files=["0" * 64])
    with pytest.raises(RecordError, match="no file ending"):
        store.store_file(b"x", "../../x")
    with pytest.raises(RecordError, match="not the name of a stored file"):
        store.files.path("../../etc/passwd", "")


def test_signing_and_closing_is_one_and_happens_once(store: JobStore) -> None:
    number = store.new_job(design_name="TY-222").number
    store.people.add("office", "admin", "9631")
    head = store.get_job(number).head

    def sign(key: str, head: str = head) -> Entry:
        return store.sign_off(
            number,
            who="office",
            pin="9631",
            statement="done",
            head=head,
            close=True,
            although="scrapped",
            idempotency_key=key,
        )

    first = sign("form 1")
    job = store.get_job(number)
    assert (job.state, job.entry_count) == ("closed", 3)
    assert sign("form 1") == first
    assert store.get_job(number) == job
    with pytest.raises(JobConflictError):
        sign("form 2")
    assert store.get_job(number) == job, "neither signed nor closed"
    store.set_state(number, "open", who="office")
    assert sign("form 1") == first
    assert store.get_job(number).state == "open", "an old form closes nothing"
    assert store.verify(number).holds


def test_a_finished_job_is_signed_without_a_reason(store: JobStore) -> None:
    number = store.new_job(design_name="TY-222").number
    store.people.add("office", "admin", "9631")
    for key in STEP_KEYS:
        store.add_entry(number, "result", key, {"verdict": "ok"}, who="bench one")
    head = store.get_job(number).head
    signed = store.sign_off(number, who="office", pin="9631", statement="done", head=head, close=True)
    assert "not_done" not in signed.payload


def test_a_closed_job_takes_entries_only_after_it_was_opened_again(store: JobStore) -> None:
    number = store.new_job(design_name="TY-222").number
    sent = store.add_entry(number, "note", "fits", {"text": "a"}, who="b", idempotency_key="note 1")
    store.people.add("office", "admin", "9631")
    with pytest.raises(RecordError, match="the job is not closed"):
        store.reopen(number, "a leak", who="office", pin="9631")
    head = store.get_job(number).head
    store.sign_off(
        number, who="office", pin="9631", statement="done", head=head, close=True, although="scrapped"
    )
    count = store.get_job(number).entry_count
    with pytest.raises(RecordError, match="the job is closed"):
        store.add_entry(number, "result", "fits", {"verdict": "ok"}, who="b")
    with pytest.raises(RecordError, match="the job is closed"):
        store.waive(number, "fits", "new case", who="office", pin="9631")
    again = store.add_entry(number, "note", "fits", {"text": "a"}, who="b", idempotency_key="note 1")
    assert again == sent, "what was taken before it was closed stays taken"
    with pytest.raises(RecordError, match="the PIN is wrong"):
        store.reopen(number, "a leak", who="office", pin="1111")
    with pytest.raises(RecordError, match="with a reason only"):
        store.reopen(number, "  ", who="office", pin="9631")
    assert store.get_job(number).entry_count == count
    opened = store.reopen(number, "a leak", who="office", pin="9631", idempotency_key="form 3")
    assert (opened.kind, opened.who) == ("state", "office")
    assert store.reopen(number, "a leak", who="office", pin="9631", idempotency_key="form 3") == opened
    assert store.get_job(number).state == "open"
    store.add_entry(number, "result", "fits", {"verdict": "ok"}, who="b")
    assert store.verify(number).holds


def test_waiver_sent_again_is_written_once(store: JobStore) -> None:
    number = store.new_job(design_name="TY-222").number
    first = store.waive(number, "as-found", "came in pieces", who="a", idempotency_key="k")
    assert store.waive(number, "as-found", "came in pieces", who="a", idempotency_key="k") == first
    assert store.get_job(number).entry_count == 2


def test_stock_sent_again_is_counted_once(store: JobStore) -> None:
    item = store.stock.add("side shim", 0.5, count=3, idempotency_key="a")
    assert store.stock.add("side shim", 0.5, count=3, idempotency_key="a") == item
    assert store.stock.list() == [item]
    assert store.stock.move(item.id, -1, who="bench one", idempotency_key="b").count == 2
    assert store.stock.move(item.id, -1, who="bench one", idempotency_key="b").count == 2
    assert store.stock.move(item.id, -1, who="bench one").count == 1
    assert store.stock.move(item.id, -1, who="bench one").count == 0, "without a key every move counts"
    assert store.stock.move(item.id, -1, who="bench one", idempotency_key="b").count == 0
    with pytest.raises(ConflictError, match="used already for something else"):
        store.stock.move(item.id, -2, who="bench one", idempotency_key="b")
    with pytest.raises(ConflictError, match="used already for something else"):
        store.stock.add("side shim", 0.6, count=3, idempotency_key="a")
    assert [move.change for move in store.stock.moves(item.id)] == [3, -1, -1, -1]


def test_stock_sent_at_the_same_time_is_counted_once(store: JobStore) -> None:
    start = threading.Barrier(4)

    def add(_: int) -> StockItem:
        start.wait()
        return store.stock.add("side shim", 0.5, count=3, who="a", idempotency_key="a")

    with ThreadPoolExecutor(4) as pool:
        found = list(pool.map(add, range(4)))
    assert len(set(found)) == 1
    assert store.stock.list() == found[:1]
    assert len(store.stock.moves(found[0].id)) == 1


def test_there_is_always_an_admin(store: JobStore) -> None:
    first = store.people.add("bench one", "technician", "2580")
    assert first.role == "admin"
    assert "the role is admin, not technician" in first.note
    second = store.people.add("tester", "lead", "1470")
    assert (second.role, second.note) == ("lead", "")
    for change in (
        lambda: store.people.set_role("bench one", "lead"),
        lambda: store.people.set_active("bench one", False),
    ):
        with pytest.raises(RecordError, match="bench one is the only admin"):
            change()
    store.people.set_role("tester", "admin")
    assert store.people.set_role("bench one", "technician").role == "technician"


def test_nobody_waits_while_a_pin_is_hashed(store: JobStore, monkeypatch: pytest.MonkeyPatch) -> None:
    store.people.add("office", "admin", "9631")
    real = people.pin_fits

    def slow(pin: str, kept: str) -> bool:
        store.new_job(design_name="TY-222")  # would wait for the writing place for ten seconds and fail
        return real(pin, kept)

    monkeypatch.setattr(people, "pin_fits", slow)
    assert store.people.check_pin("office", "9631").name == "office"
    assert len(store.list_jobs()) == 1


def test_tries_at_the_same_time_count_as_well(store: JobStore, monkeypatch: pytest.MonkeyPatch) -> None:
    store.people.add("office", "admin", "9631")
    real = people.pin_fits

    def meanwhile(pin: str, kept: str) -> bool:
        monkeypatch.setattr(people, "pin_fits", real)
        for _ in range(people.WRONG_TRIES):
            with pytest.raises(RecordError, match="the PIN is wrong"):
                store.people.check_pin("office", "0000")
        return real(pin, kept)

    monkeypatch.setattr(people, "pin_fits", meanwhile)
    with pytest.raises(RecordError, match="wait 5 min"):
        store.people.check_pin("office", "9631")


def test_pin_changed_while_it_is_checked_is_wrong(store: JobStore, monkeypatch: pytest.MonkeyPatch) -> None:
    store.people.add("office", "admin", "9631")

    def meanwhile(pin: str, kept: str) -> bool:
        store.people.set_pin("office", "1111")
        return True

    monkeypatch.setattr(people, "pin_fits", meanwhile)
    with pytest.raises(RecordError, match="the PIN is wrong"):
        store.people.check_pin("office", "9631")
