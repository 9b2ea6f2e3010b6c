"""Practice at the bench: attempts kept beside the records, played through, told in words and numbers."""

from __future__ import annotations

import json
import re
import secrets
import threading
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from axlewright.errors import InputError, RecordError
from axlewright.job.designs import find_design
from axlewright.language import _
from axlewright.records.files import write_atomically

if TYPE_CHECKING:
    from axlewright.records import JobStore
    from axlewright.training import Action, Attempt, ExerciseName, Played, Review

_ID: Final = re.compile(r"[0-9a-f]{16}")
_WRITING: Final = threading.Lock()


@dataclass(frozen=True, slots=True)
class KeptAttempt:
    """An attempt with the name it is kept under and when it was begun and last changed."""

    key: str
    attempt: Attempt
    begun: datetime
    changed: datetime


def _folder(store: JobStore) -> Path:
    return store.folder / "practice"


def _path(store: JobStore, key: str) -> Path:
    if not _ID.fullmatch(key):
        raise RecordError(
            _("there is no such exercise"), where=_("practice"), fix=_("choose one from the list")
        )
    return _folder(store) / f"{key}.json"


def _write(store: JobStore, kept: KeptAttempt) -> None:
    path = _path(store, kept.key)
    path.parent.mkdir(parents=True, exist_ok=True)
    data = {
        "form": "axlewright practice 1",
        "begun": kept.begun.isoformat(),
        "changed": kept.changed.isoformat(),
        **kept.attempt.to_json(),
    }
    write_atomically(path, json.dumps(data, indent=1, sort_keys=True).encode())


def start_practice(store: JobStore, name: ExerciseName, who: str) -> KeptAttempt:
    """Begin an exercise.

    Parameters
    ----------
    store : JobStore
    name : ExerciseName
        Its design must be known to the store or shipped.
    who : str
        Who practises.
    """
    from axlewright.training import Attempt, play

    play(Attempt(name), find_design(store, name.design))  # says now when this axle cannot be made
    now = datetime.now(UTC)
    kept = KeptAttempt(secrets.token_hex(8), Attempt(name, who), now, now)
    _write(store, kept)
    return kept


def practice_attempt(store: JobStore, key: str) -> KeptAttempt:
    """Return one kept attempt.

    Raises
    ------
    RecordError
        When there is none, or its file is damaged.
    """
    from axlewright.training import Attempt

    path = _path(store, key)
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
        return KeptAttempt(
            key,
            Attempt.from_json(data),
            datetime.fromisoformat(data["begun"]),
            datetime.fromisoformat(data["changed"]),
        )
    except FileNotFoundError:
        raise RecordError(
            _("there is no such exercise"), where=_("practice"), fix=_("choose one from the list")
        ) from None
    except (OSError, ValueError, KeyError, TypeError) as problem:
        raise RecordError(
            _("the kept exercise cannot be read ({problem})").format(problem=problem),
            where=path.name,
            fix=_("start it again"),
        ) from None


def practice_attempts(store: JobStore, limit: int = 200) -> list[KeptAttempt]:
    """List kept attempts, the last changed first; damaged files are left out."""
    folder = _folder(store)
    if not folder.is_dir():
        return []
    out = []
    for path in folder.glob("*.json"):
        try:
            out.append(practice_attempt(store, path.stem))
        except RecordError:
            continue
    out.sort(key=lambda k: k.changed, reverse=True)
    return out[:limit]


def practise(store: JobStore, key: str, action: Action, seen: int | None = None) -> KeptAttempt:
    """Do one thing in a kept attempt.

    Parameters
    ----------
    seen : int, optional
        How many actions there were when the choice was made; the same choice sent twice then counts once.

    Raises
    ------
    InputError
        When something else was done in the meantime, or the attempt is over.
    """
    with _WRITING:
        kept = practice_attempt(store, key)
        count = len(kept.attempt.actions)
        if seen is not None and seen != count:
            if seen == count - 1 and kept.attempt.actions[-1] == action:
                return kept
            raise InputError(
                _("something else was done to this axle in the meantime"),
                where=_("action"),
                fix=_("look at what it shows now and choose again"),
            )
        kept = KeptAttempt(key, kept.attempt.then(action), kept.begun, datetime.now(UTC))
        _write(store, kept)
        return kept


def played_attempt(store: JobStore, attempt: Attempt) -> Played:
    """Play an attempt with the store's designs."""
    from axlewright.training import play

    return play(attempt, find_design(store, attempt.name.design))


@dataclass(frozen=True, slots=True)
class ClassLine:
    """One attempt in an instructor's list.

    Attributes
    ----------
    kept : KeptAttempt
    hours : float
        Its own, without a comeback.
    review : Review or None
        None while it is not over.
    press_offs : int
    asked : int
        How often the program was asked.
    """

    kept: KeptAttempt
    hours: float
    review: Review | None
    press_offs: int
    asked: int


def class_list(store: JobStore, name: ExerciseName | None = None, limit: int = 60) -> list[ClassLine]:
    """List attempts with what came of them.

    Parameters
    ----------
    name : ExerciseName, optional
        Only attempts at this exercise.
    """
    from axlewright.training import review

    out = []
    for kept in practice_attempts(store):
        if name is not None and kept.attempt.name != name:
            continue
        try:
            played = played_attempt(store, kept.attempt)
        except (InputError, RecordError):
            continue  # its design was taken away
        came = review(played) if kept.attempt.over else None
        out.append(ClassLine(kept, played.hours, came, played.count("press"), played.count("ask")))
        if len(out) >= limit:
            break
    return out


def review_json(played: Played) -> dict[str, Any]:
    """Return the end of an exercise as plain data."""
    from axlewright.training import review

    came = review(played)
    return {
        "fault": played.axle.kind,
        "settings_as_found": {
            "pinion_out_mm": round(played.axle.settings.pinion_out_mm, 4),
            "ring_away_mm": round(played.axle.settings.ring_away_mm, 4),
            "offset_error_mm": round(played.axle.settings.offset_error_mm, 4),
            "shaft_angle_error_deg": round(played.axle.settings.shaft_angle_error_deg, 4),
        },
        "right": came.right,
        "hours": round(came.hours, 2),
        "comeback_hours": came.comeback_hours,
        "best_hours": round(came.best_hours, 2),
        "share_of_best": round(came.share, 3),
        "best_course": [a.to_json() for a in came.best],
        "left": {"pinion_mm": round(came.pinion_left_mm, 4), "ring_mm": round(came.ring_left_mm, 4)},
        "outside": list(came.judged.faults),
    }
