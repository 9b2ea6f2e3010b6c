"""Killed programs and two benches at once: nothing lost, nothing half-written."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from record_places import Place

from axlewright.errors import RecordError
from axlewright.records import JobConflictError, JobStore

WRITER = """
import random, sys
from axlewright.records import open_store

folder, database, seed = sys.argv[1], sys.argv[2] or None, int(sys.argv[3])
dice = random.Random(seed)
store = open_store(folder, database=database)
numbers = [store.new_job(design_name="TY-222", who="bench one").number for _ in range(3)]
print("ready", *numbers, flush=True)
for place in range(5000):  # far more than it gets to before it is killed
    number = dice.choice(numbers)
    what = dice.random()
    if what < 0.2:
        files = [store.store_file(dice.randbytes(dice.randrange(1, 200_000)), ".jpg")]
        entry = store.add_entry(number, "photo", "pattern", {"place": place}, who="bench one", files=files)
    elif what < 0.3:
        entry = store.entries(store.set_state(number, "stopped", who="bench one").number)[-1]
    else:
        payload = {"place": place, "text": "x" * dice.randrange(2000)}
        entry = store.add_entry(number, "reading", "depth", payload, who="bench one")
    print(number, entry.seq, entry.hash, flush=True)
"""


@pytest.mark.skipif(os.name != "posix", reason="needs kill -9")
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_killed_in_the_middle_of_random_writes_loses_nothing_said_to_be_written(
    place: Place, seed: int
) -> None:
    dice = random.Random(seed)
    stop_after = dice.randrange(20, 200)
    command = [sys.executable, "-c", WRITER, str(place.folder), place.database or "", str(seed)]
    written: dict[tuple[int, int], str] = {}
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as writer:
        assert writer.stdout is not None
        numbers = [int(word) for word in writer.stdout.readline().split()[1:]]
        assert len(numbers) == 3
        for line in writer.stdout:
            number, seq, digest = line.split()
            written[int(number), int(seq)] = digest
            if len(written) == stop_after:
                writer.send_signal(signal.SIGKILL)
    assert writer.returncode == -signal.SIGKILL, "it must have been killed while writing"
    assert len(written) >= stop_after
    with place.open() as store:
        for number in numbers:
            entries = store.entries(number)
            assert store.verify(number).holds
            assert store.get_job(number).entry_count == len(entries)
            kept = {(number, entry.seq): entry.hash for entry in entries}
            assert {
                key: digest for key, digest in written.items() if key[0] == number
            }.items() <= kept.items()
            for entry in entries:
                for sha256 in entry.files:
                    store.read_file(sha256)
        for stored in store.files.list():
            store.read_file(stored.sha256)
        store.add_entry(numbers[0], "note", "", {"text": "work goes on"}, who="bench one")


def test_two_benches_writing_at_once_lose_nothing(place: Place) -> None:
    with place.open() as one, place.open() as two:
        number = one.new_job(design_name="TY-222").number

        def write(store: JobStore, who: str) -> None:
            for value in range(25):
                store.add_entry(number, "reading", "backlash", {"value": value}, who=who)

        with ThreadPoolExecutor(4) as pool:
            jobs = [pool.submit(write, store, f"bench {k}") for k, store in enumerate((one, two, one, two))]
            for job in jobs:
                job.result()
        assert one.verify(number).holds
        entries = two.entries(number, kind="reading")
        assert len(entries) == 100
        for k in range(4):
            own = [entry.payload["value"] for entry in entries if entry.who == f"bench {k}"]
            assert own == list(range(25)), "each bench's readings are in their order"


def test_of_two_benches_with_the_same_head_one_gets_the_choice(place: Place) -> None:
    with place.open() as one, place.open() as two:
        number = one.new_job(design_name="TY-222").number
        head = one.get_job(number).head

        def write(store: JobStore, who: str) -> JobConflictError | None:
            try:
                store.add_entry(number, "reading", "backlash", {"by": who}, who=who, expected_head=head)
            except JobConflictError as conflict:
                return conflict
            return None

        with ThreadPoolExecutor(2) as pool:
            answers = list(pool.map(write, (one, two), ("bench one", "bench two")))
        conflicts = [answer for answer in answers if answer is not None]
        assert len(conflicts) == 1
        (winner,) = one.entries(number, kind="reading")
        assert conflicts[0].others == (winner,)
        assert conflicts[0].head == winner.hash


def test_two_programs_may_open_a_new_store_at_once(place: Place) -> None:
    def start(_: int) -> int:
        with place.open() as store:
            return store.new_job(design_name="TY-222").number

    with ThreadPoolExecutor(4) as pool:
        assert sorted(pool.map(start, range(4))) == [1, 2, 3, 4]


def test_full_disk_is_said_in_one_sentence_and_leaves_nothing(
    store: JobStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(RecordError, match=r"cannot be written \(No space left"):
        store.store_file(b"picture", ".jpg")
    assert [path for path in Path(store.folder).rglob("*") if path.is_file() and "files" in path.parts] == []
    assert store.files.list() == []
