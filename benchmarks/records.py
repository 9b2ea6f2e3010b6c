"""Time opening, searching and writing with 10,000 jobs, on SQLite and on PostgreSQL.

Prints a table. Without ``--database`` it starts a PostgreSQL server of its own where one is installed.
The aim is 0.2 s for opening and for every search; nothing fails when it is missed.

    python benchmarks/records.py [--jobs 10000] [--database postgresql://…]
"""

from __future__ import annotations

import argparse
import random
import statistics
import sys
import tempfile
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

from axlewright.records import JobStore, journal, open_store
from axlewright.records.chain import first_link
from axlewright.records.models import JobRow

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "records"))
from postgresql_server import running_server, server_programs

DESIGNS = ("TY-222", "TY-310", "TY-205H", "TY-176B")
VEHICLES = ("milk lorry", "valley bus", "hill farm truck", "hay tractor", "delivery car")
COMPLAINTS = ("whines on drive at {} mph", "howls on coast below {} mph", "rebuilt, check at {} mph")
AIM_S = 0.2


def fill(store: JobStore, count: int) -> None:
    """Write jobs of five entries each, several hundred to a transaction."""
    dice = random.Random(1)
    start = datetime(2024, 1, 1, tzinfo=UTC)
    for first in range(0, count, 500):
        with store.sessions.writing() as session:
            for place in range(first, min(first + 500, count)):
                at = start + timedelta(hours=place)
                uid = uuid.UUID(int=dice.getrandbits(128)).hex
                design = dice.choice(DESIGNS)
                header = {
                    "design_name": design,
                    "vehicle": f"{dice.choice(VEHICLES)} {dice.randrange(1000)}",
                    "complaint": dice.choice(COMPLAINTS).format(dice.randrange(20, 60)),
                    "set_number": f"S-{dice.randrange(100_000):05d}",
                    "reference": f"R{place}",
                }
                row = JobRow(
                    uid=uid,
                    **header,
                    design_sha256=journal.keep_design_text(session, f"name = '{design}'\n" * 30),
                    state="open",
                    head=first_link(uid),
                    entry_count=0,
                    search_text="",
                    created_at=at,
                    changed_at=at,
                )
                session.add(row)
                session.flush()
                payload = {name: getattr(row, name) for name in journal.HEADER_FIELDS}
                journal.append(session, row, kind="header", step="", payload=payload, who="bench one", at=at)
                for step in ("as-found", "depth", "backlash", "pattern"):
                    reading = {"value": round(dice.random(), 4), "unit": "mm", "remark": "as read"}
                    journal.append(
                        session, row, kind="reading", step=step, payload=reading, who="bench one", at=at
                    )


def timed(work: Callable[[], object], repeats: int) -> tuple[float, float]:
    """Return the first and the median time in seconds."""
    times = []
    for _ in range(repeats):
        begun = time.perf_counter()
        work()
        times.append(time.perf_counter() - begun)
    return times[0], statistics.median(times)


def measure(folder: Path, database: str | None, count: int) -> list[tuple[str, float, float]]:
    """Fill an empty place and time what a bench does."""
    begun = time.perf_counter()
    with open_store(folder, database=database) as store:
        fill(store, count)
    filled = time.perf_counter() - begun
    rows = [(f"write {count} jobs of 5 entries", filled, filled)]
    rows.append(("open the store", *timed(lambda: open_store(folder, database=database).close(), 5)))
    with open_store(folder, database=database) as store:
        middle = count // 2
        wanted = store.get_job(middle)
        work: list[tuple[str, Callable[[], object]]] = [
            ("list the last 100 jobs", lambda: store.list_jobs(limit=100)),
            ("list open jobs", lambda: store.list_jobs(state="open", limit=100)),
            ("search: set number", lambda: store.search(set_number=wanted.set_number)),
            ("search: two words, many hits", lambda: store.search("valley whines")),
            ("search: three words, few hits", lambda: store.search(f"{wanted.reference} {wanted.vehicle}")),
            ("search: no hit", lambda: store.search("nowhere to be found")),
            ("search: design and vehicle", lambda: store.search(design="TY-310", vehicle="bus 77")),
            ("open one job with its entries", lambda: (store.get_job(middle), store.entries(middle))),
            ("next step of one job", lambda: store.next_step(middle)),
            ("verify one job", lambda: store.verify(middle)),
            (
                "add one reading",
                lambda: store.add_entry(middle, "reading", "depth", {"value": 1}, who="bench one"),
            ),
        ]
        rows += [(name, *timed(job, 9)) for name, job in work]
    return rows


@contextmanager
def servers(address: str | None) -> Iterator[str | None]:
    """Give the address of a database server, started here if need be."""
    programs = server_programs()
    if address or programs is None:
        yield address
        return
    with running_server(programs) as started:
        yield started


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=10_000)
    parser.add_argument("--database", help="address of an empty PostgreSQL database")
    choice = parser.parse_args()
    results = {}
    with tempfile.TemporaryDirectory() as folder:
        results["SQLite"] = measure(Path(folder), None, choice.jobs)
    with servers(choice.database) as address, tempfile.TemporaryDirectory() as folder:
        if address:
            results["PostgreSQL"] = measure(Path(folder), address, choice.jobs)
        else:
            print("PostgreSQL is not installed; SQLite only")
    print(f"{choice.jobs} jobs; seconds, first call and median of 9\n")
    print(f"{'':36}" + "".join(f"{name + ' first':>18}{'median':>10}" for name in results))
    for place, (name, *_) in enumerate(next(iter(results.values()))):
        line = "".join(f"{rows[place][1]:18.4f}{rows[place][2]:10.4f}" for rows in results.values())
        print(f"{name:36}{line}")
    slowest = max(row[1] for rows in results.values() for row in rows[1:])
    print(f"\nslowest single call after filling: {slowest:.3f} s (aim: {AIM_S} s)")


if __name__ == "__main__":
    main()
