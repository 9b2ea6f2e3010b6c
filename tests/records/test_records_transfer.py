"""Backups and jobs carried over: whole, checked, or refused in one sentence."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from axlewright.errors import ConflictError, RecordError
from axlewright.records import (
    HeaderChange,
    Instrument,
    Job,
    JobStore,
    backup,
    export_job,
    import_job,
    job_file_schema,
    open_store,
    restore,
)
from axlewright.records.chain import sha256_hex
from axlewright.records.database import HEAD_REVISION
from axlewright.records.models import Base


@pytest.fixture
def other(tmp_path: Path) -> Iterator[JobStore]:
    """Give a second store, always SQLite: what is carried over goes from either database to it."""
    with open_store(tmp_path / "other shop") as opened:
        yield opened


def fill(store: JobStore) -> Job:
    store.instruments.put(Instrument("dial 3", calibrated_on=date(2026, 2, 1)))
    store.people.add("bench one", "admin", "2580")
    store.new_job(design_name="TY-310", vehicle="Valley bus")
    job = store.new_job(
        design_name="TY-222", design_text="a = 1\n", vehicle="Milk lorry ä", set_number="4417"
    )
    sha256 = store.store_file(b"\xff\xd8 picture", ".jpg")
    store.add_entry(job.number, "photo", "pattern", {"flank": "drive"}, who="bench one", files=[sha256])
    at = datetime(2026, 3, 2, 9, 11, 12, 345678, tzinfo=UTC)
    store.add_entry(
        job.number, "reading", "depth", {"value": 0.1}, who="bench one", at=at, instrument="dial 3"
    )
    store.amend_job(job.number, HeaderChange(design_text="a = 2\n"), who="bench two")
    store.add_entry(
        job.number, "reading", "depth", {"value": 0.2}, who="bench one", supersedes=3, idempotency_key="k"
    )
    item = store.stock.add("pinion spacer", 1.562, count=3)
    store.stock.move(item.id, -1, who="bench one", job=job.number)
    store.set_state(job.number, "stopped", who="bench one")
    return store.get_job(job.number)


def dump(store: JobStore) -> dict[str, list[Any]]:
    with store.sessions.reading() as session:
        return {
            table.name: [tuple(row) for row in session.execute(sa.select(table).order_by(*table.primary_key))]
            for table in Base.metadata.sorted_tables
        }


# --- backups ------------------------------------------------------------------------------------------


def test_restored_backup_holds_everything(store: JobStore, other: JobStore, tmp_path: Path) -> None:
    job = fill(store)
    path = backup(store, tmp_path / "shop.backup")
    assert restore(other, path) == 2
    assert dump(other) == dump(store)
    assert other.verify(job.number).holds
    for stored in store.files.list():
        assert other.read_file(stored.sha256) == store.read_file(stored.sha256)
    assert other.people.check_pin("bench one", "2580").name == "bench one"
    assert other.new_job(design_name="TY-222").number == 3, "numbers go on"


def test_backup_of_sqlite_goes_into_either_database(store: JobStore, other: JobStore, tmp_path: Path) -> None:
    fill(other)
    restore(store, backup(other, tmp_path / "shop.backup"))
    assert dump(store) == dump(other)
    assert store.new_job(design_name="TY-222").number == 3
    assert store.stock.add("side shim", 0.5).id == 2


def test_restore_asks_before_it_overwrites(store: JobStore, other: JobStore, tmp_path: Path) -> None:
    fill(other)
    path = backup(other, tmp_path / "shop.backup")
    mine = store.new_job(design_name="TY-176B", vehicle="Farm machine")
    with pytest.raises(RecordError, match="would be overwritten"):
        restore(store, path)
    assert store.list_jobs() == [mine]
    restore(store, path, overwrite=True)
    assert dump(store) == dump(other)


def test_backup_asks_before_it_overwrites(store: JobStore, tmp_path: Path) -> None:
    path = backup(store, tmp_path / "shop.backup")
    with pytest.raises(RecordError, match="there already"):
        backup(store, path)
    assert backup(store, path, overwrite=True) == path
    with pytest.raises(RecordError, match="cannot be written"):
        backup(store, tmp_path / "no such folder" / "shop.backup")


def test_backup_does_not_hide_a_lost_photo(store: JobStore, tmp_path: Path) -> None:
    fill(store)
    (stored,) = store.files.list()
    store.files.path(stored.sha256, stored.suffix).unlink()
    with pytest.raises(RecordError, match="is missing"):
        backup(store, tmp_path / "shop.backup")
    assert [path.name for path in tmp_path.iterdir() if path.is_file()] == [], "no half backup is left"


@pytest.mark.parametrize("place", [60, 0.3, 0.5, 0.9])
def test_damaged_backup_changes_nothing(other: JobStore, tmp_path: Path, place: float) -> None:
    with open_store(tmp_path / "one") as one:
        fill(one)
        data = bytearray(backup(one, tmp_path / "shop.backup").read_bytes())
    at = int(place if place > 1 else place * len(data))
    data[at] ^= 0xFF
    (tmp_path / "damaged").write_bytes(data)
    empty = dump(other)
    with pytest.raises(RecordError) as caught:
        restore(other, tmp_path / "damaged")
    assert "\n" not in str(caught.value)
    assert dump(other) == empty


def test_incomplete_backup_changes_nothing(other: JobStore, tmp_path: Path) -> None:
    with open_store(tmp_path / "one") as one:
        fill(one)
        path = backup(one, tmp_path / "shop.backup")
    with zipfile.ZipFile(path) as archive:
        facts = json.loads(archive.read("manifest.json"))
        parts = {name: archive.read(name) for name in archive.namelist() if name != "manifest.json"}
    facts = {key: facts[key] for key in ("kind", "version", "revision")}
    empty = dump(other)
    for change, message in (
        ({name: data for name, data in parts.items() if not name.startswith("files/")}, "are missing"),
        ({**parts, "tables/recipes/00000.jsonl": b"{}"}, "no part of a backup"),
        ({**parts, "tables/files/00001.jsonl": b'{"sha256":1}'}, "other columns"),
        ({**parts, "files/../evil.jpg": b"x"}, "not what its name says"),
    ):
        (tmp_path / "changed").write_bytes(pack(change, **facts))
        with pytest.raises(RecordError, match=message):
            restore(other, tmp_path / "changed")
        assert dump(other) == empty
    for newer in ("9999", "", None):
        (tmp_path / "changed").write_bytes(pack(parts, **{**facts, "revision": newer}))
        with pytest.raises(RecordError, match="a newer axlewright made this backup"):
            restore(other, tmp_path / "changed")
        assert dump(other) == empty
    (tmp_path / "changed").write_bytes(pack(parts, **facts))
    assert restore(other, tmp_path / "changed") == 2


def as_first_revision(path: Path) -> bytes:
    """Return a backup as the first revision of the tables wrote it: instruments without uncertainty."""
    with zipfile.ZipFile(path) as archive:
        facts = json.loads(archive.read("manifest.json"))
        parts = {name: archive.read(name) for name in archive.namelist() if name != "manifest.json"}
    name = "tables/instruments/00000.jsonl"
    rows = [json.loads(line) for line in parts[name].decode().split("\n")]
    for row in rows:
        del row["uncertainty"]
    parts[name] = "\n".join(json.dumps(row) for row in rows).encode()
    return pack(parts, kind=facts["kind"], version=facts["version"], revision="0001")


def test_a_backup_of_an_older_revision_is_brought_up_to_date(
    store: JobStore, other: JobStore, tmp_path: Path
) -> None:
    job = fill(other)
    old = tmp_path / "old.backup"
    old.write_bytes(as_first_revision(backup(other, tmp_path / "shop.backup")))
    assert restore(store, old) == 2
    assert dump(store) == dump(other)
    assert store.verify(job.number).holds
    assert store.instruments.list() == [Instrument("dial 3", calibrated_on=date(2026, 2, 1))]
    assert store.new_job(design_name="TY-222").number == 3, "numbers go on"


def test_a_damaged_row_in_an_older_backup_changes_nothing(other: JobStore, tmp_path: Path) -> None:
    with open_store(tmp_path / "one") as one:
        fill(one)
        old = as_first_revision(backup(one, tmp_path / "shop.backup"))
    with zipfile.ZipFile(io.BytesIO(old)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist() if name != "manifest.json"}
    name = "tables/instruments/00000.jsonl"
    row = json.loads(parts[name])
    bad: tuple[dict[str, Any], ...] = ({**row, "uncertainty": ""}, {**row, "calibrated_on": "soon"})
    empty = dump(other)
    for changed in bad:
        parts[name] = json.dumps(changed).encode()
        path = tmp_path / "changed"
        path.write_bytes(pack(parts, kind="axlewright backup", version=1, revision="0001"))
        with pytest.raises(RecordError, match="make the backup again"):
            restore(other, path)
        assert dump(other) == empty


Tables = dict[str, list[dict[str, Any]]]


def _entry(tables: Tables, seq: int) -> dict[str, Any]:
    return next(row for row in tables["entries"] if row["seq"] == seq and row["job_number"] == 2)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda t: _entry(t, 3).update(who="nobody"), "job 2 does not hold: entry 3 was changed"),
        (lambda t: _entry(t, 3).update(payload='{"value":0.3}'), "job 2 does not hold: entry 3 was changed"),
        (lambda t: _entry(t, 3).update(payload="{"), "job 2 cannot be read"),
        (lambda t: _entry(t, 3).update(payload="[1]"), "job 2"),
        (lambda t: _entry(t, 3).update(seq="three"), "line 4 has no good seq"),
        (lambda t: _entry(t, 3).update(at="noon"), r"'tables/entries/00000.jsonl' cannot be read"),
        (lambda t: _entry(t, 3).update(who=None), "line 4 has no good who"),
        (lambda t: t["entries"].remove(_entry(t, 6)), "entries after number 5 are missing"),
        (lambda t: t["jobs"][1].update(state="closed"), "state of the job changed outside its entries"),
        (lambda t: t["design_texts"][0].update(text="a = 3"), "a design text was changed"),
        (lambda t: t["people"][0].update(pin_hash="scrypt$9$8$1$a$b"), "'bench one' is not as it should be"),
        (lambda t: t["people"][0].update(role="owner"), "'bench one' is not as it should be"),
        (lambda t: t["instruments"][0].update(calibrated_on="soon"), "cannot be read"),
        (lambda t: t["stock"][0].update(thickness_mm="thin"), "has no good thickness_mm"),
        (lambda t: t["stock"].append([1]), "other columns"),  # type: ignore[arg-type]
    ],
)
def test_changed_backup_with_fitting_hashes_changes_nothing(
    other: JobStore, tmp_path: Path, change: Callable[[Tables], None], message: str
) -> None:
    with open_store(tmp_path / "one") as one:
        fill(one)
        path = backup(one, tmp_path / "shop.backup")
    with zipfile.ZipFile(path) as archive:
        facts = json.loads(archive.read("manifest.json"))
        parts = {name: archive.read(name) for name in archive.namelist() if name != "manifest.json"}
    tables = {
        name.split("/")[1]: [json.loads(line) for line in data.decode().split("\n")]
        for name, data in parts.items()
        if name.startswith("tables/") and data
    }
    change(tables)
    for table, rows in tables.items():
        parts[f"tables/{table}/00000.jsonl"] = "\n".join(json.dumps(row) for row in rows).encode()
    (tmp_path / "changed").write_bytes(pack(parts, **{k: facts[k] for k in ("kind", "version", "revision")}))
    empty = dump(other)
    with pytest.raises(RecordError, match=message) as caught:
        restore(other, tmp_path / "changed")
    assert "\n" not in str(caught.value)
    assert dump(other) == empty
    assert not list(other.folder.rglob("*.jpg")), "no photo of a refused backup is left"


@pytest.mark.parametrize("rows", [b"{", b"\xff\xfe", b"[" * 100_000, b"null", b"5"])
def test_backup_with_rows_that_are_none_is_refused(other: JobStore, tmp_path: Path, rows: bytes) -> None:
    facts = {"kind": "axlewright backup", "version": 1, "revision": HEAD_REVISION}
    (tmp_path / "changed").write_bytes(pack({"tables/people/00000.jsonl": rows}, **facts))
    with pytest.raises(RecordError, match=r"00000\.jsonl' (cannot be read|has other columns)"):
        restore(other, tmp_path / "changed")


@pytest.mark.parametrize("method", [zipfile.ZIP_LZMA, zipfile.ZIP_BZIP2])
def test_other_ways_of_packing_are_refused(other: JobStore, members: Members, method: int) -> None:
    data = bytearray(pack(members, method=method))
    with pytest.raises(RecordError, match="packed in a way that is not taken here"):
        import_job(other, bytes(data))
    data[60] ^= 0xFF
    with pytest.raises(RecordError):
        import_job(other, bytes(data))


def test_every_damaged_byte_of_a_packed_member_gets_one_sentence(other: JobStore, members: Members) -> None:
    data = pack({"job.json": members["job.json"]})
    for at in range(30, min(len(data), 400), 7):
        damaged = bytearray(data)
        damaged[at] ^= 0xFF
        with pytest.raises(RecordError):
            import_job(other, bytes(damaged))


# --- jobs ---------------------------------------------------------------------------------------------


def test_carried_job_is_the_same_with_its_files(store: JobStore, other: JobStore, tmp_path: Path) -> None:
    job = fill(store)
    path = export_job(store, job.number, tmp_path / "job.zip")
    came = import_job(other, path.read_bytes())
    assert came.number == 1, "it gets the next number of this shop"
    assert (came.uid, came.head, came.state, came.vehicle) == (job.uid, job.head, job.state, job.vehicle)
    assert other.entries(came.number) == store.entries(job.number)
    assert other.verify(came.number).holds
    assert other.design_text(came.number) == "a = 2\n"
    assert other.search("4417") == [came]
    (photo,) = other.entries(came.number, kind="photo")
    assert other.read_file(photo.files[0]) == b"\xff\xd8 picture"


def test_carrying_again_adds_only_what_is_new(store: JobStore, other: JobStore, tmp_path: Path) -> None:
    job = fill(store)
    early = export_job(store, job.number, tmp_path / "early.zip")
    import_job(other, early)
    store.add_entry(job.number, "note", "", {"text": "found the cap"}, who="bench one")
    late = export_job(store, job.number, tmp_path / "late.zip")
    assert import_job(other, late).head == store.get_job(job.number).head
    assert import_job(other, early).head == store.get_job(job.number).head, "an old file takes nothing away"
    assert len(other.list_jobs()) == 1
    back = import_job(store, late)
    assert back.number == job.number


def test_job_that_went_on_separately_is_a_conflict(store: JobStore, other: JobStore, tmp_path: Path) -> None:
    job = fill(store)
    came = import_job(other, export_job(store, job.number, tmp_path / "early.zip"))
    store.add_entry(job.number, "note", "", {"text": "here"}, who="bench one")
    other.add_entry(came.number, "note", "", {"text": "there"}, who="bench two")
    before = dump(other)
    with pytest.raises(ConflictError, match="went on here and there separately"):
        import_job(other, export_job(store, job.number, tmp_path / "late.zip"))
    assert dump(other) == before


def test_changed_record_is_not_carried_over(store: JobStore, tmp_path: Path) -> None:
    job = fill(store)
    with store.sessions.writing() as session:
        session.execute(sa.text("UPDATE entries SET who = 'nobody' WHERE seq = 3"))
    with pytest.raises(RecordError, match="entry 3 was changed"):
        export_job(store, job.number, tmp_path / "job.zip")


def test_job_file_follows_its_schema(tmp_path: Path) -> None:
    schema = job_file_schema()
    assert set(schema["required"]) == {
        "version", "uid", "created_at", "state", "head", "designs", "files", "entries",
    }  # fmt: skip
    with open_store(tmp_path / "one") as one:
        path = export_job(one, fill(one).number, tmp_path / "job.zip")
    with zipfile.ZipFile(path) as archive:
        content = json.loads(archive.read("job.json"))
        assert set(content) == set(schema["required"])
        assert set(content["entries"][0]) == set(schema["$defs"]["JobEntryFile"]["required"])
        for one_file in json.loads(archive.read("manifest.json"))["members"]:
            assert sha256_hex(archive.read(one_file["name"])) == one_file["sha256"]


Members = dict[str, bytes]


def pack(
    members: Members,
    *,
    listed: list[dict[str, Any]] | None = None,
    method: int = zipfile.ZIP_DEFLATED,
    **manifest: Any,
) -> bytes:
    """Pack members with a manifest that fits them, unless told otherwise."""
    if listed is None:
        listed = [{"name": n, "size": len(d), "sha256": sha256_hex(d)} for n, d in members.items()]
    head = {"kind": "axlewright job", "version": 1, "members": listed, **manifest}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
        archive.writestr("manifest.json", json.dumps(head))
    return out.getvalue()


@pytest.fixture
def members(tmp_path: Path) -> Members:
    with open_store(tmp_path / "one") as one:
        path = export_job(one, fill(one).number, tmp_path / "job.zip")
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist() if name != "manifest.json"}


def edited(members: Members, change: Callable[[dict[str, Any]], None]) -> Members:
    content = json.loads(members["job.json"])
    change(content)
    return {**members, "job.json": json.dumps(content).encode()}


def test_repacked_job_is_taken(other: JobStore, members: Members) -> None:
    """The files the following tests refuse differ from a good one only in what they change."""
    assert import_job(other, pack(members)).vehicle == "Milk lorry ä"


def _set(path: str, value: Any) -> Callable[[dict[str, Any]], None]:
    *steps, last = path.split(".")

    def change(content: Any) -> None:
        for step in steps:
            content = content[int(step) if step.isdigit() else step]
        content[last] = value

    return change


@pytest.mark.parametrize(
    ("path", "value", "message"),
    [
        ("entries.2.payload", {"value": 0.11}, "entry 3 was changed"),
        ("entries.2.who", "nobody", "entry 3 was changed"),
        ("entries.0.payload", {}, "entry 1 was changed"),
        ("entries", [], "do not fit its entries"),
        ("head", "0" * 64, "do not fit its entries"),
        ("state", "closed", "do not fit its entries"),
        ("created_at", "2020-01-01T00:00:00.000000Z", "do not fit its entries"),
        ("uid", "0" * 32, "entry 1 was changed"),
        ("uid", "../../etc/passwd", "not as it should be at uid"),
        ("designs", {}, "design of entry 1 is missing"),
        ("files", {}, "file of entry 2 is missing"),
        ("version", 2, "not as it should be at version"),
        ("surprise", 1, "not as it should be at surprise"),
        ("entries.1.kind", "poem", "not as it should be at entries.1.kind"),
    ],
)
def test_changed_job_file_is_refused(
    other: JobStore, members: Members, path: str, value: Any, message: str
) -> None:
    empty = dump(other)
    with pytest.raises(RecordError, match=message) as caught:
        import_job(other, pack(edited(members, _set(path, value))))
    assert "\n" not in str(caught.value)
    assert dump(other) == empty


def test_names_that_lead_out_of_the_folder_are_refused(
    other: JobStore, members: Members, tmp_path: Path
) -> None:
    evil = {**members, "files/../../../evil.jpg": b"x"}
    with pytest.raises(RecordError, match="missing or too many"):
        import_job(other, pack(evil))
    digest = sha256_hex(b"x")
    named = edited(members, _set(f"files.{digest}", "/../../../../evil.jpg"))
    with pytest.raises(RecordError):
        import_job(other, pack({**named, f"files/{digest}/../../../../evil.jpg": b"x"}))
    assert not list(tmp_path.rglob("evil*"))


def test_bombs_are_refused_before_they_unpack(other: JobStore, members: Members) -> None:
    zeros = b"\0" * 5_000_000
    lying = [{"name": n, "size": len(d), "sha256": sha256_hex(d)} for n, d in members.items()]
    lying.append({"name": "files/bomb", "size": 10, "sha256": sha256_hex(zeros)})
    with pytest.raises(RecordError):
        import_job(other, pack({**members, "files/bomb": zeros}, listed=lying))
    with pytest.raises(RecordError, match="would unpack to 4 MB"):
        import_job(other, pack({**members, "files/bomb": zeros}), max_total_bytes=1 << 20)
    short = [{"name": "job.json", "size": 10, "sha256": sha256_hex(zeros)}]
    with pytest.raises(RecordError, match="damaged or was changed"):
        import_job(other, pack({"job.json": zeros}, listed=short))
    huge = [{"name": "job.json", "size": 10**12, "sha256": "0" * 64}]
    with pytest.raises(RecordError, match="this is no axlewright job"):
        import_job(other, pack({"job.json": b"{}"}, listed=huge))


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"no zip at all",
        b"PK\x05\x06" + b"\0" * 18,
        pack({}, kind="axlewright backup"),
        pack({}, version="1"),
        pack({}, listed=[{"name": 1}]),
        pack({}, listed=5),  # type: ignore[arg-type]
    ],
)
def test_other_files_are_no_jobs(other: JobStore, data: bytes) -> None:
    with pytest.raises(RecordError, match="this is no axlewright job"):
        import_job(other, data)


def test_newer_job_file_says_so(other: JobStore) -> None:
    with pytest.raises(RecordError, match="a newer axlewright wrote this"):
        import_job(other, pack({}, version=2))
    with pytest.raises(RecordError, match="more or less than it says"):
        import_job(other, pack({"job.json": b"{}"}, listed=[]))
    with pytest.raises(RecordError, match=r"'job\.json' is missing"):
        import_job(other, pack({}))
    with pytest.raises(RecordError, match="cannot be read"):
        import_job(other, Path("no such file.zip"))
