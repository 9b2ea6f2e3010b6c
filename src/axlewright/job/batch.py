"""The roll-test log kept with the records: written once, never changed, taken back by writing so.

Every import, every typed set and every choice is one sheet: a small JSON file in the store's own file store,
named by its content. So it survives a restart, is in every backup, and a change behind the program's back is
noticed when it is read. Each sheet carries the name of the one before.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import TYPE_CHECKING, Any, Final

from axlewright.errors import InputError, RecordError
from axlewright.language import _, n_
from axlewright.plant.practice import Practice
from axlewright.plant.reading_log import ReadLog, read_log
from axlewright.plant.rolls import Roll

if TYPE_CHECKING:
    from axlewright.records import JobStore

SUFFIX: Final = ".rolls"
ROLLS, PRACTICE, MATCHING, BACK = "rolls", "practice", "matching", "taken back"
ROWS_PER_SHEET: Final = 5_000
DEMO_SOURCE: Final = n_("demonstration log")


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet of the log.

    Attributes
    ----------
    sha256 : str
        Its name.
    kind : {"rolls", "practice", "matching", "taken back"}
    at, who, source : str
        When (UTC), by whom, from what file or "typed".
    key : str
        Idempotency key of the form it came with; the same key again writes nothing.
    content : mapping
    rolls : tuple of Roll
    """

    sha256: str
    kind: str
    at: str
    who: str
    source: str
    key: str
    content: Mapping[str, Any]
    rolls: tuple[Roll, ...] = ()


@lru_cache(maxsize=20_000)
def _sheet(sha256: str, data: bytes) -> Sheet:
    try:
        told = json.loads(data)
        rolls = tuple(Roll.of(one) for one in told.get("rolls", ()))
        kind, at, who, source, key = (str(told[n]) for n in ("kind", "at", "who", "source", "key"))
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise RecordError(
            _("a sheet of the roll-test log cannot be read"), where=sha256[:12], fix=_("restore a backup")
        ) from error
    return Sheet(sha256, kind, at, who, source, key, told.get("content", {}), rolls)


_READ: Final[dict[tuple[str, str], bytes]] = {}


def _data(store: JobStore, sha256: str) -> bytes:
    """Read a sheet once for each store: what it says cannot change without changing its name."""
    known = _READ.get((store.place, sha256))
    if known is None:
        known = _READ[(store.place, sha256)] = store.read_file(sha256)
    return known


def sheets(store: JobStore, *, all_of_them: bool = False) -> list[Sheet]:
    """Return the sheets that count, oldest first.

    Parameters
    ----------
    all_of_them : bool
        With those that were taken back, and the notes that say so.
    """
    found = [
        _sheet(file.sha256, _data(store, file.sha256)) for file in store.files.list() if file.suffix == SUFFIX
    ]
    found.sort(key=lambda sheet: (sheet.at, sheet.sha256))
    once: dict[str, Sheet] = {}
    for sheet in found:
        once.setdefault(sheet.key or sheet.sha256, sheet)
    kept = list(once.values())
    if all_of_them:
        return kept
    back = {str(sheet.content.get("sheet")) for sheet in kept if sheet.kind == BACK}
    return [sheet for sheet in kept if sheet.kind != BACK and sheet.sha256 not in back]


def _write(
    store: JobStore,
    kind: str,
    *,
    who: str,
    source: str = "",
    key: str = "",
    content: Mapping[str, Any] | None = None,
    rolls: Sequence[Roll] = (),
) -> Sheet:
    from axlewright.records.chain import canonical_json, utc_now, write_time

    before = sheets(store, all_of_them=True)
    if key:
        for sheet in before:
            if sheet.key == key:
                return sheet
    told = {
        "kind": kind,
        "at": write_time(utc_now()),
        "who": who.strip()[:80],
        "source": source.strip()[:200],
        "key": key,
        "previous": before[-1].sha256 if before else "",
        "content": dict(content or {}),
        "rolls": [roll.plain() for roll in rolls],
    }
    data = canonical_json(told, where=_("roll-test log")).encode()
    return _sheet(store.store_file(data, SUFFIX), data)


def all_rolls(store: JobStore, design: str = "") -> list[Roll]:
    """Return the readings that count, oldest sheet first; of one design where it is named."""
    return [
        roll
        for sheet in sheets(store)
        for roll in sheet.rolls
        if not design or roll.design.casefold() == design.casefold()
    ]


def add_rolls(store: JobStore, rolls: Sequence[Roll], *, who: str, source: str, key: str = "") -> int:
    """Keep readings and return how many are new; the very same reading is kept once."""
    known = {roll.content() for roll in all_rolls(store)}
    new = []
    for roll in rolls:
        if roll.content() not in known:
            known.add(roll.content())
            new.append(roll)
    for part, start in enumerate(range(0, len(new), ROWS_PER_SHEET)):
        own = f"{key}-{part}" if key and part else key
        _write(store, ROLLS, who=who, source=source, key=own, rolls=new[start : start + ROWS_PER_SHEET])
    return len(new)


def import_log(store: JobStore, data: bytes, *, name: str, who: str, key: str = "") -> ReadLog:
    """Read a log file and keep its readings: all of them, or none when there is any problem."""
    from axlewright.job.designs import design_names

    if key and any(sheet.key == key for sheet in sheets(store, all_of_them=True)):
        return ReadLog()
    read = read_log(data, designs=design_names(store), known=all_rolls(store), operator=who)
    if read.rolls:
        add_rolls(store, read.rolls, who=who, source=name or _("file"), key=key)
    return read


def take_back(store: JobStore, sha256: str, *, who: str) -> None:
    """Let a sheet count no longer; it stays in the record."""
    if sha256 not in {sheet.sha256 for sheet in sheets(store)}:
        raise RecordError(
            _("there is no such sheet in the log"), where=_("roll-test log"), fix=_("look at the list")
        )
    _write(store, BACK, who=who, content={"sheet": sha256})


def practice(store: JobStore) -> Practice:
    """Return the shop's ways as said last; the defaults while nothing was said."""
    said = [sheet for sheet in sheets(store) if sheet.kind == PRACTICE]
    return Practice.of(said[-1].content) if said else Practice()


def put_practice(store: JobStore, ways: Practice, *, who: str) -> None:
    """Keep the shop's ways."""
    _write(store, PRACTICE, who=who, content=ways.plain())


def matching_fields(store: JobStore, design: str) -> dict[str, str]:
    """Return what was typed last into the matching of a design; empty while nothing was."""
    said = [s for s in sheets(store) if s.kind == MATCHING and s.content.get("design") == design]
    return {key: str(value) for key, value in said[-1].content.items()} if said else {}


def put_matching_fields(store: JobStore, fields: Mapping[str, str], *, who: str) -> None:
    """Keep what was typed into the matching of a design, unless it is what is kept already."""
    kept = {key: str(value)[:100_000] for key, value in fields.items()}
    if kept != matching_fields(store, kept.get("design", "")):
        _write(store, MATCHING, who=who, content=kept)


def demo_files() -> tuple[bytes, bytes]:
    """Return the roll-test log and the carriers of the invented shop."""
    folder = resources.files("axlewright.plant").joinpath("data")
    return (
        folder.joinpath("demo-roll-log.csv").read_bytes(),
        folder.joinpath("demo-carriers.csv").read_bytes(),
    )


def fill_with_demo(store: JobStore, *, who: str, key: str = "") -> int:
    """Put the invented shop's log into an empty log, with its ways and carriers; return the readings.

    Raises
    ------
    InputError
        When there are readings already: a real log is not mixed with an invented one.
    """
    if all_rolls(store):
        raise InputError(
            _("there are readings already"),
            where=_(n_("demonstration log")),
            fix=_("take them back first, or use another folder of records"),
        )
    log, carriers = demo_files()
    read = read_log(log)
    put_practice(
        store,
        Practice(mark_unit="0.001 in", mark_meaning="plus_means_larger_mounting_distance"),
        who=who,
    )
    rows = list(csv.DictReader(io.StringIO(carriers.decode())))
    put_matching_fields(
        store,
        {
            "design": "TY-222",
            "place": "under_head",
            "carriers": "\n".join(f"{row['carrier']} {row['zero_spacer_mm']} mm" for row in rows),
            "spacers": " ".join(f"{1.37 + 0.0254 * n:.3f}mm*3" for n in range(16)),
            "sets": "",
            "coming": "40",
            "step": "0.001 in",
            "service": "95",
        },
        who=who,
    )
    return add_rolls(store, read.rolls, who=who, source=DEMO_SOURCE, key=key)
