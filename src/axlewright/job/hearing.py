"""A recording of a job or of none: which parts fit the sound, kept with the job when there is one."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from axlewright.job.designs import find_design
from axlewright.language import eager as _
from axlewright.steps.answers import FieldError, in_field

if TYPE_CHECKING:
    from collections.abc import Callable

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


def tyre_of(text: str) -> Tyre:
    """Read a tyre as typed: roll-out such as ``"2.10 m"`` or size such as ``"205/55 R16"``."""
    from axlewright.sound import tyre_from_rollout, tyre_from_size

    if not text.strip():
        raise FieldError(
            "tyre", _("tyre"), _("nothing typed"), _("give its roll-out, 2.10 m, or size, 205/55 R16")
        )
    return tyre_from_size(text) if "/" in text or "x" in text.lower() else tyre_from_rollout(text)


def trace_of(text: str, name: str = "speed", source: str = "") -> SpeedTrace:
    """Read a speed as typed or pasted: one speed, lines of marks, or a table with a header."""
    from axlewright.sound.vehicle import told_speed

    if not text.strip():
        raise FieldError(
            name, _("speed"), _("nothing typed"), _("give one speed, 45 mph, or marks: 0:10 45 mph")
        )
    return told_speed(text, source)


@dataclass(frozen=True, slots=True)
class Told:
    """What was typed of the vehicle besides the design; all of it may be left empty.

    Attributes
    ----------
    cylinders, gears : str
        Number of cylinders; ratios apart by blanks.
    bearings : str
        One on a line, as `axlewright.sound.vehicle.parse_bearing` reads them.
    speed_from : str
        Where the speed was read.
    """

    cylinders: str = ""
    gears: str = ""
    bearings: str = ""
    speed_from: str = ""


def axle_of(design: GearSetDesign, told: Told) -> AxleOrders:
    """Return the orders of an axle with this design and what was typed besides."""
    from axlewright.sound.vehicle import parse_bearing, told_axle

    lines = tuple(line for line in told.bearings.splitlines() if line.strip())
    in_field("bearings", _("bearings"), lambda: [parse_bearing(line) for line in lines])
    in_field("cylinders", _("cylinders"), lambda: told_axle(41, 11, cylinders=told.cylinders))
    return in_field(
        "gears",
        _("gears"),
        lambda: told_axle(
            design.ring_teeth,
            design.pinion_teeth,
            bearings=lines,
            cylinders=told.cylinders,
            gears=told.gears,
        ),
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
    *,
    design_name: str,
    tyre: str,
    speed: str,
    told: Told = Told(),
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
        One speed, ``"45 mph"``, lines of marks, ``"0:10 45 mph"``, or a table with a header.
    told : Told
        What else is known of the vehicle.
    job : int, optional
        Job with which recording and report are kept.

    Raises
    ------
    FieldError
        Naming file, design, tyre or speed.
    """
    from axlewright.sound.pictures import draw_evidence, draw_listening, draw_mesh_level

    design = in_field("design", _("design"), lambda: find_design(store, design_name))
    wheel = in_field("tyre", _("tyre"), lambda: tyre_of(tyre))
    trace = in_field("speed", _("speed"), lambda: trace_of(speed, source=told.speed_from))
    axle = axle_of(design, told)
    result = in_field("file", _("recording"), lambda: listen_to(design, data, name, wheel, trace, axle))
    picture = _picture(lambda path: draw_listening(result, path))
    report = result.as_dict()
    entry = None
    if job is not None:
        files = (store.store_file(data, _suffix(name)), store.store_file(picture, ".png"))
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
    evidence = _picture(lambda path: draw_evidence(result, path))
    level = _picture(lambda path: draw_mesh_level(result, path)) if result.tracks else b""
    return Heard(report, picture, evidence, level, entry)


def _sentence(report: dict[str, Any]) -> str:
    """Return the finding in one line, for lists."""
    from axlewright.sound.sources import source_name

    names = [
        f"{source_name(s['name'])} ({100 * s['probability']:.0f} %)"
        for s in report["sources"][:3]
        if s["probability"] >= 0.05
    ]
    return _("fits best: {names}").format(names=", ".join(names)) if names else _("no source fits")


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
    *,
    design_name: str,
    tyre: str,
    speed_before: str,
    speed_after: str,
) -> Passes:
    """Compare passes before and after a change.

    Parameters
    ----------
    before, after : list of (bytes, str)
        Sound files and their names.
    speed_before, speed_after : str
        Speed or marks of the passes, a block for each, blocks apart by an empty line; one block counts
        for all passes of its side.

    Raises
    ------
    FieldError
        Naming file, design, tyre or speed.
    """
    from axlewright.sound.comparison import compare_before_after
    from axlewright.sound.pictures import draw_before_after, draw_order_spectra

    design = in_field("design", _("design"), lambda: find_design(store, design_name))
    wheel = in_field("tyre", _("tyre"), lambda: tyre_of(tyre))
    heard: dict[str, list[Listening]] = {}
    for side, files, speed in (("before", before, speed_before), ("after", after, speed_after)):
        field = f"speed_{side}"
        if not files:
            raise FieldError(
                side,
                _("recordings before") if side == "before" else _("recordings after"),
                _("no file chosen"),
                _("choose one pass or more; three or more make the spread known"),
            )
        lines = "\n".join(line.strip() for line in speed.splitlines())
        blocks = [block for block in lines.split("\n\n") if block.strip()] or [""]
        if len(blocks) not in (1, len(files)):
            raise FieldError(
                field,
                _("speed"),
                _("{blocks} blocks of marks for {files} passes").format(blocks=len(blocks), files=len(files)),
                _("give one block for all passes or one for each, with an empty line between"),
            )
        blocks = blocks if len(blocks) == len(files) else blocks * len(files)
        heard[side] = []
        for (data, name), block in zip(files, blocks, strict=True):
            trace = in_field(field, _("speed"), lambda text=block: trace_of(text))  # type: ignore[misc]
            heard[side].append(
                in_field(
                    side,
                    name,
                    lambda d=data, n=name, t=trace: listen_to(design, d, n, wheel, t),  # type: ignore[misc]
                )
            )
    result = in_field("after", _("passes"), lambda: compare_before_after(heard["before"], heard["after"]))
    return Passes(
        result.as_dict(),
        _picture(lambda path: draw_before_after(result, path)),
        _picture(lambda path: draw_order_spectra(heard["before"][0], heard["after"][0], path)),
    )
