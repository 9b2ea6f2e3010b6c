"""A recording of a job or of none: which parts fit the sound, kept with the job when there is one."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from axlewright.bench.designs import find_design
from axlewright.bench.typed import FieldError
from axlewright.errors import AxlewrightError

if TYPE_CHECKING:
    from collections.abc import Callable

    from axlewright.records import Entry, JobStore

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Heard:
    """What a recording says.

    Attributes
    ----------
    report : dict
        As `axlewright.sound.listening_as_dict` gives it.
    picture : bytes
        PNG of order map, speed and sources.
    entry : Entry or None
        Where it is kept, when it belongs to a job.
    """

    report: dict[str, Any]
    picture: bytes
    entry: Entry | None = None


def _field(name: str, label: str, work: Callable[[], T]) -> T:
    try:
        return work()
    except AxlewrightError as error:
        raise FieldError.of(name, label, error) from error


def hear(
    store: JobStore,
    data: bytes,
    name: str,
    *,
    design_name: str,
    tyre: str,
    speed: str,
    job: int | None = None,
    who: str,
    idempotency_key: str = "",
) -> Heard:
    """Listen to a recording.

    Parameters
    ----------
    data : bytes
        Sound file.
    name : str
        Its name; only the ending matters.
    tyre : str
        Roll-out such as ``"2.10 m"`` or size such as ``"205/55 R16"``.
    speed : str
        One speed, ``"45 mph"``, or lines of marks, ``"0:10 45 mph"``.
    job : int, optional
        Job with which recording and report are kept.

    Raises
    ------
    FieldError
        Naming file, design, tyre or speed.
    """
    from axlewright.sound import (
        AxleOrders,
        constant_speed,
        listen,
        parse_marks,
        read_recording,
        tyre_from_rollout,
        tyre_from_size,
    )
    from axlewright.sound.pictures import draw_listening

    design = _field("design", "design", lambda: find_design(store, design_name))
    if not tyre.strip():
        raise FieldError("tyre", "tyre", "nothing typed", "give its roll-out, 2.10 m, or size, 205/55 R16")
    if not speed.strip():
        raise FieldError("speed", "speed", "nothing typed", "give one speed, 45 mph, or marks: 0:10 45 mph")
    wheel = _field(
        "tyre",
        "tyre",
        lambda: tyre_from_size(tyre) if "/" in tyre or "x" in tyre.lower() else tyre_from_rollout(tyre),
    )
    trace = _field(
        "speed",
        "speed",
        lambda: (
            parse_marks(speed) if ":" in speed or "\n" in speed.strip() else constant_speed(speed.strip())
        ),
    )
    suffix = Path(name).suffix.lower()
    suffix = suffix if suffix[1:].isalnum() and len(suffix) <= 6 else ""
    with tempfile.TemporaryDirectory(prefix="axlewright-") as folder:
        file = Path(folder) / f"recording{suffix}"
        file.write_bytes(data)
        recording = _field("file", "recording", lambda: read_recording(file))
        axle = AxleOrders(design.ring_teeth, design.pinion_teeth)
        result = _field("file", "recording", lambda: listen(recording, axle, wheel, trace))
        drawn = Path(folder) / "heard.png"
        draw_listening(result, drawn)
        picture = drawn.read_bytes()
    report = result.as_dict()
    entry = None
    if job is not None:
        files = (store.store_file(data, suffix), store.store_file(picture, ".png"))
        short = {k: v for k, v in report.items() if k != "speed"}
        entry = store.add_entry(
            job,
            "recording",
            "complaint",
            {"report": short, "design": design.name, "tyre": tyre, "speed": speed, "text": _sentence(report)},
            who=who,
            files=files,
            idempotency_key=idempotency_key,
        )
    return Heard(report, picture, entry)


def _sentence(report: dict[str, Any]) -> str:
    """Return the finding in one line, for lists."""
    names = [
        f"{s['name']} ({s['probability']:.0%})" for s in report["sources"][:3] if s["probability"] >= 0.05
    ]
    return "fits best: " + ", ".join(names) if names else "no source fits"
