"""A recording of a job or of none: which parts fit the sound, kept with the job when there is one.

Passes before and after a change are compared here too.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from axlewright.job.designs import find_design
from axlewright.language import Text, _, encode, joined, n_
from axlewright.steps.answers import Answers, FieldError, answered, in_field
from axlewright.steps.field import Choice, Field
from axlewright.units import System

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from axlewright.gearset import GearSetDesign
    from axlewright.records import Entry, JobStore
    from axlewright.sound import AxleOrders, Listening, SpeedTrace, Tyre


@dataclass(frozen=True, slots=True)
class Heard:
    """What a recording says.

    Attributes
    ----------
    report : dict
        As `axlewright.sound.listening_as_dict` gives it.
    picture : bytes
        PNG of order map, speed and sources.
    evidence : bytes
        PNG of how well each source fits over the error of the stated speed.
    level : bytes
        PNG of the mesh tone over the noise against speed; empty when the mesh could not be followed.
    entry : Entry or None
        Where it is kept, when it belongs to a job.
    """

    report: dict[str, Any]
    picture: bytes
    evidence: bytes
    level: bytes
    entry: Entry | None = None


def tyre_of(text: str, system: System = "inch") -> Tyre:
    """Read a tyre as typed: roll-out such as ``"2.10 m"`` or size such as ``"205/55 R16"``."""
    from axlewright.sound import tyre_from_rollout, tyre_from_size

    return tyre_from_size(text) if "/" in text or "x" in text.lower() else tyre_from_rollout(text)


def trace_of(text: str, system: System = "inch") -> SpeedTrace:
    """Read a speed as typed or pasted: one speed, lines of marks, or a table with a header."""
    from axlewright.sound.vehicle import told_speed

    return told_speed(text)


def _bearings_of(text: str, system: System) -> Any:
    from axlewright.sound.vehicle import parse_bearings

    return parse_bearings(text)


def _cylinders_of(text: str, system: System) -> Any:
    from axlewright.sound.vehicle import parse_cylinders

    return parse_cylinders(text)


def _gears_of(text: str, system: System) -> Any:
    from axlewright.sound.vehicle import parse_gears

    return parse_gears(text)


def traces_of(text: str, system: System) -> list[SpeedTrace]:
    """Read the speeds of several passes: blocks as `trace_of` reads them, apart by an empty line."""
    lines = "\n".join(line.strip() for line in text.splitlines())
    return [trace_of(block) for block in lines.split("\n\n") if block.strip()]


DESIGN: Final = Field("design", n_("Gear set design"), "text")
TYRE: Final = Field(
    "tyre", n_("Tyre"), "other", n_("Roll-out, 2.10 m, or size, 205/55 R16."),
    missing=n_("give its roll-out, 2.10 m, or size, 205/55 R16"), read=tyre_of,
)  # fmt: skip
NO_SPEED: Final = n_("give one speed, 45 mph, or marks: 0:10 45 mph")
LISTEN_FIELDS: Final = (
    DESIGN,
    TYRE,
    Field("job", n_("Keep with job"), "count", usual=(1, 10**9)),
    Field(
        "speed", n_("Speed"), "other",
        n_("One speed, 45 mph, or marks, one on a line: 0:10 45 mph, one every five seconds; or a table with "
           "the columns time_s and speed_mph or speed_kmh."),
        missing=NO_SPEED, read=trace_of, lines=3,
    ),
    Field(
        "speed_from", n_("Where the speed was read"), "choice",
        choices=(
            Choice("dashboard", n_("dashboard")),
            Choice("satellite", n_("satellite")),
            Choice("wheel sensor", n_("wheel sensor")),
        ),
    ),
    Field("cylinders", n_("Cylinders"), "other", n_("Of the engine: 4."), read=_cylinders_of),
    Field("gears", n_("Gear ratios"), "other", n_("First gear first: 4.1 2.3 1.5 1.0."), read=_gears_of),
    Field(
        "bearings", n_("Bearings"), "other",
        n_("One on a line: place (wheel, pinion or side), rollers, roller diameter, pitch diameter, contact "
           "angle: wheel:17:12:70:15."),
        read=_bearings_of, lines=3,
    ),
)  # fmt: skip
SEVERAL: Final = n_(
    "Marks, one on a line: 0:10 45 mph. One block counts for all passes; or one block for each pass, with an "
    "empty line between."
)
COMPARE_FIELDS: Final = (
    DESIGN,
    TYRE,
    Field("speed_before", n_("Speed before"), "other", SEVERAL, missing=NO_SPEED, read=traces_of, lines=3),
    Field("speed_after", n_("Speed after"), "other", SEVERAL, missing=NO_SPEED, read=traces_of, lines=3),
)


def axle_of(design: GearSetDesign, answers: Answers) -> AxleOrders:
    """Return the orders of an axle with this design and what was typed of the vehicle besides."""
    from axlewright.sound import AxleOrders

    return AxleOrders(
        design.ring_teeth,
        design.pinion_teeth,
        answers.other("bearings") or (),
        cylinders=answers.other("cylinders"),
        gears=answers.other("gears") or (),
    )


def listen_to(
    design: GearSetDesign,
    data: bytes,
    name: str,
    wheel: Tyre,
    trace: SpeedTrace,
    axle: AxleOrders | None = None,
) -> Listening:
    """Listen to a sound file of an axle with this design."""
    from axlewright.sound import AxleOrders, listen, read_recording

    with tempfile.TemporaryDirectory(prefix="axlewright-") as folder:
        file = Path(folder) / f"recording{_suffix(name)}"
        file.write_bytes(data)
        recording = read_recording(file)
    return listen(recording, axle or AxleOrders(design.ring_teeth, design.pinion_teeth), wheel, trace)


def _suffix(name: str) -> str:
    suffix = Path(name).suffix.lower()
    return suffix if suffix[1:].isalnum() and len(suffix) <= 6 else ""


def _picture(draw: Callable[[Path], None]) -> bytes:
    with tempfile.TemporaryDirectory(prefix="axlewright-") as folder:
        drawn = Path(folder) / "heard.png"
        draw(drawn)
        return drawn.read_bytes()


def hear(
    store: JobStore,
    data: bytes,
    name: str,
    typed: Mapping[str, str],
    system: System,
    *,
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
    typed : mapping
        `LISTEN_FIELDS`; with a job, recording and report are kept there.

    Raises
    ------
    FieldError
        Naming file, design, tyre or speed.
    """
    from axlewright.sound import listening_as_dict
    from axlewright.sound.pictures import draw_evidence, draw_listening, draw_mesh_level
    from axlewright.sound.vehicle import read_at

    answers = answered(LISTEN_FIELDS, typed, system)
    design = _design(store, answers)
    answers.need("tyre", "speed")
    wheel, trace, job = answers.other("tyre"), answers.other("speed"), answers.count("job")
    if answers.text("speed_from"):
        trace = in_field("speed", _("speed"), lambda: read_at(trace, answers.text("speed_from")))
    axle = in_field("gears", _("vehicle"), lambda: axle_of(design, answers))
    result = in_field("file", _("recording"), lambda: listen_to(design, data, name, wheel, trace, axle))
    picture = _picture(lambda path: draw_listening(result, path))
    report = listening_as_dict(result)
    entry = None
    if job is not None:
        files = (store.store_file(data, _suffix(name)), store.store_file(picture, ".png"))
        short = {k: v for k, v in report.items() if k != "speed"}
        entry = store.add_entry(
            job,
            "recording",
            "complaint",
            encode(
                {
                    "report": short,
                    "design": design.name,
                    "tyre": answers.text("tyre"),
                    "speed": answers.text("speed"),
                    "text": _sentence(report),
                }
            ),
            who=who,
            files=files,
            idempotency_key=idempotency_key,
        )
    evidence = _picture(lambda path: draw_evidence(result, path))
    level = _picture(lambda path: draw_mesh_level(result, path)) if result.tracks else b""
    return Heard(report, picture, evidence, level, entry)


def _design(store: JobStore, answers: Answers) -> GearSetDesign:
    return in_field("design", _("design"), lambda: find_design(store, answers.text("design")))


def _sentence(report: dict[str, Any]) -> Text:
    """Return the finding in one line, for lists."""
    from axlewright.sound.sources import source_name

    names = joined(
        *(
            _("{source} ({percent} %)").format(
                source=source_name(s["name"]), percent=round(100 * s["probability"])
            )
            for s in report["sources"][:3]
            if s["probability"] >= 0.05
        ),
        between=", ",
    )
    return _("fits best: {names}").format(names=names) if names else _("no source fits")


@dataclass(frozen=True, slots=True)
class Passes:
    """Passes before and after, compared.

    Attributes
    ----------
    report : dict
        As `axlewright.sound.comparison.BeforeAfter.as_dict` gives it.
    picture : bytes
        PNG of the changes with their intervals.
    spectra : bytes
        PNG of the order spectra of the first pass before and the first one after.
    """

    report: dict[str, Any]
    picture: bytes
    spectra: bytes


def compare_passes(
    store: JobStore,
    before: list[tuple[bytes, str]],
    after: list[tuple[bytes, str]],
    typed: Mapping[str, str],
    system: System,
) -> Passes:
    """Compare passes before and after a change.

    Parameters
    ----------
    before, after : list of (bytes, str)
        Sound files and their names.
    typed : mapping
        `COMPARE_FIELDS`; one block of marks counts for all passes of its side.

    Raises
    ------
    FieldError
        Naming file, design, tyre or speed.
    """
    from axlewright.sound.comparison import compare_before_after
    from axlewright.sound.pictures import draw_before_after, draw_order_spectra

    answers = answered(COMPARE_FIELDS, typed, system)
    design = _design(store, answers)
    answers.need("tyre")
    wheel = answers.other("tyre")
    heard: dict[str, list[Listening]] = {}
    for side, files in (("before", before), ("after", after)):
        field = f"speed_{side}"
        if not files:
            raise FieldError(
                side,
                _("recordings before") if side == "before" else _("recordings after"),
                _("no file chosen"),
                _("choose one pass or more; three or more make the spread known"),
            )
        answers.need(field)
        traces: list[SpeedTrace] = answers.other(field)
        if len(traces) not in (1, len(files)):
            raise answers.error(
                field,
                _("{blocks} blocks of marks for {files} passes").format(blocks=len(traces), files=len(files)),
                _("give one block for all passes or one for each, with an empty line between"),
            )
        traces = traces if len(traces) == len(files) else traces * len(files)
        heard[side] = [
            in_field(side, name, partial(listen_to, design, data, name, wheel, trace))
            for (data, name), trace in zip(files, traces, strict=True)
        ]
    result = in_field("after", _("passes"), lambda: compare_before_after(heard["before"], heard["after"]))
    return Passes(
        result.as_dict(),
        _picture(lambda path: draw_before_after(result, path)),
        _picture(lambda path: draw_order_spectra(heard["before"][0], heard["after"][0], path)),
    )
