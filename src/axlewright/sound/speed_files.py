"""Read speed from files: typed marks, tables and satellite tracks."""

from __future__ import annotations

import csv
import io
import math
import re
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Final
from xml.etree import ElementTree

import numpy as np

from axlewright.errors import InputError
from axlewright.language import eager as _
from axlewright.sound.speed import SpeedSource, SpeedTrace, make_trace
from axlewright.units import MPS_PER_MPH, as_typed, parse_number, parse_speed

EARTH_RADIUS_M: Final = 6371008.8
"""Mean radius of the Earth (IUGG)."""
LARGEST_BYTES: Final = 50_000_000

_CLOCK: Final = re.compile(r"(?:(\d++):)?(\d++):(\d{1,2}(?:[.,]\d++)?)")


def parse_clock(text: str, where: str = "time") -> float:
    """Read ``1:05``, ``0:01:05`` or ``65`` (with or without ``s``) and return seconds."""
    clean = as_typed(text, where=where)
    match = _CLOCK.fullmatch(clean)
    if match:
        return float(match[1] or 0) * 3600 + float(match[2]) * 60 + float(match[3].replace(",", "."))
    try:
        return parse_number(clean.removesuffix("s"))
    except InputError:
        raise InputError(
            _("'{text}' is no time").format(text=text), where=where, fix=_("type 65 or 1:05")
        ) from None


def parse_marks(text: str, *, source: SpeedSource = "typed", where: str = "speed marks") -> SpeedTrace:
    """Read typed marks, one a line: a time and a speed with its unit.

    Parameters
    ----------
    text : str
        Lines such as ``0:10 45 mph``; ``#`` starts a remark; ``;``, ``,`` or ``=`` may stand between.
    source : str
        Where the speeds were read.
    where : str
        Used in messages.

    Returns
    -------
    SpeedTrace
    """
    times: list[float] = []
    speeds: list[float] = []
    for number, line in enumerate(text.splitlines(), start=1):
        place = f"{where}, line {number}"
        body = as_typed(line.split("#", 1)[0], where=place)
        if not body:
            continue
        parts = re.split(" ?[;=] ?| ?, | ", body, maxsplit=1)
        if len(parts) != 2:
            raise InputError(
                _("'{body}' is no mark").format(body=body),
                where=place,
                fix=_("type a time and a speed: 0:10 45 mph"),
            )
        times.append(parse_clock(parts[0], place))
        speeds.append(parse_speed(parts[1], where=place))
    if not times:
        raise InputError(
            _("there is no mark in it"), where=where, fix=_("type a time and a speed: 0:10 45 mph")
        )
    return make_trace(times, speeds, source, where=where)


def read_speed(path: str | Path, *, source: SpeedSource | None = None) -> SpeedTrace:
    """Read a speed file: ``.gpx`` as a satellite track, a table with a header, or typed marks.

    Parameters
    ----------
    path : str or Path
        The file.
    source : str, optional
        Overrides where the speed is taken to come from.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    path = Path(path)
    if not path.is_file():
        raise InputError(_("there is no such file"), where=str(path))
    if path.stat().st_size > LARGEST_BYTES:
        raise InputError(_("the file is too large to be a speed trace"), where=path.name)
    raw = path.read_bytes()
    if b"\x00" in raw[:4096]:
        raise InputError(
            _("this is no text file"), where=path.name, fix=_("give a CSV, a GPX or typed marks")
        )
    text = raw.decode("utf-8-sig", errors="replace")
    if path.suffix.lower() == ".gpx" or text.lstrip()[:200].lower().find("<gpx") >= 0:
        return parse_gpx(text, where=path.name, source=source or "satellite")
    header = next((line for line in text.splitlines() if line.strip()), "")
    if re.search(r"[a-z]", header, re.I) and re.search(r"time|speed|^t\b", header, re.I):
        return parse_table(text, where=path.name, source=source or "satellite")
    return parse_marks(text, source=source or "typed", where=path.name)


def parse_table(text: str, *, where: str = "speed table", source: SpeedSource = "satellite") -> SpeedTrace:
    """Read a table with a header naming time and speed.

    The speed column's header must name its unit (``speed_mph``, ``speed km/h``, ``speed_mps``), or the
    cells must. Separators may be comma, semicolon or tab.
    """
    lines = [line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")]
    if not lines:
        raise InputError(_("the table is empty"), where=where)
    separator = max(";\t,", key=lines[0].count)
    try:
        rows = list(csv.reader(io.StringIO("\n".join(lines)), delimiter=separator))
    except csv.Error as error:
        raise InputError(
            _("the table cannot be taken apart ({reason})").format(reason=error),
            where=where,
            fix=_("look for a quotation mark without its partner"),
        ) from error
    names = [name.strip().lower() for name in rows[0]]
    time_at = next((i for i, name in enumerate(names) if name.startswith(("time", "t", "sec"))), None)
    speed_at = next((i for i, name in enumerate(names) if "speed" in name or name.startswith("v")), None)
    if time_at is None or speed_at is None:
        raise InputError(
            _("no columns for time and speed among: {names}").format(names=", ".join(names)),
            where=where,
            fix=_("name them time_s and speed_mph, speed_kmh or speed_mps"),
        )
    head = names[speed_at]
    unit = ""
    for mark, name in (("mph", "mph"), ("km", "km/h"), ("kph", "km/h"), ("mps", "m/s"), ("m/s", "m/s")):
        if mark in head:
            unit = name
            break
    times: list[float] = []
    speeds: list[float] = []
    for number, row in enumerate(rows[1:], start=2):
        place = f"{where}, row {number}"
        if len(row) <= max(time_at, speed_at):
            raise InputError(_("the row is too short"), where=place)
        cell = row[speed_at].strip()
        if not cell:
            continue
        times.append(_table_time(row[time_at], place))
        speeds.append(parse_speed(cell, default_unit=unit, where=place))
    if times and times[0] > 1e6:
        times = [t - times[0] for t in times]
    return make_trace(times, speeds, source, where=where)


def _table_time(cell: str, place: str) -> float:
    if "T" in cell or "-" in cell.strip()[1:]:
        try:
            return datetime.fromisoformat(cell.strip().replace("Z", "+00:00")).timestamp()
        except (ValueError, OverflowError):
            raise InputError(
                _("'{cell}' is no time").format(cell=cell), where=place, fix=_("use seconds or ISO 8601")
            ) from None
    return parse_clock(cell, place)


def parse_gpx(text: str, *, where: str = "GPX", source: SpeedSource = "satellite") -> SpeedTrace:
    """Read a satellite track; speed from its own speed tags where there are any, else from the way.

    The way between two points is the great-circle distance; speeds are smoothed over three points.
    Times count from the first point.
    """
    if "<!DOCTYPE" in text or "<!ENTITY" in text:
        raise InputError(_("the track declares entities, which are not read"), where=where)
    try:
        root = ElementTree.fromstring(text)
    except (ElementTree.ParseError, ValueError) as error:
        raise InputError(_("the track is damaged ({error})").format(error=error), where=where) from None
    stamps: list[float] = []
    places: list[tuple[float, float]] = []
    tagged: list[float | None] = []
    for point in root.iter():
        if not point.tag.endswith("trkpt"):
            continue
        stamp = next((e.text for e in point.iter() if e.tag.endswith("}time") or e.tag == "time"), None)
        if not stamp:
            continue
        speed = next((e.text for e in point.iter() if e.tag.rsplit("}", 1)[-1] == "speed"), None)
        try:
            moment = datetime.fromisoformat(stamp.strip().replace("Z", "+00:00")).timestamp()
            place = (
                math.radians(parse_number(point.attrib["lat"])),
                math.radians(parse_number(point.attrib["lon"])),
            )
            value = parse_number(speed) if speed else None
        except (ValueError, KeyError, OverflowError):
            raise InputError(_("a track point has no proper time or place"), where=where) from None
        if stamps and moment <= stamps[-1]:
            continue
        stamps.append(moment)
        places.append(place)
        tagged.append(value)
    if len(stamps) < 3:
        raise InputError(_("the track has fewer than three timed points"), where=where)
    t = np.asarray(stamps) - stamps[0]
    known = [value for value in tagged if value is not None]
    if len(known) == len(tagged):
        return make_trace(t, known, source, where=where)
    way = np.array([_distance_m(a, b) for a, b in pairwise(places)])
    middle = (t[1:] + t[:-1]) / 2
    speeds = way / np.diff(t)
    if len(speeds) >= 3:
        speeds[1:-1] = (speeds[:-2] + speeds[1:-1] + speeds[2:]) / 3
    if speeds.max() > 90.0:
        raise InputError(
            _("the track jumps ({max} mph)").format(max=f"{speeds.max() / MPS_PER_MPH:.0f}"),
            where=where,
            fix=_("record a new track"),
        )
    return make_trace(middle, speeds, source, where=where)


def _distance_m(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Great-circle distance [m] by the haversine formula."""
    h = math.sin((b[0] - a[0]) / 2) ** 2 + math.cos(a[0]) * math.cos(b[0]) * math.sin((b[1] - a[1]) / 2) ** 2
    return 2 * EARTH_RADIUS_M * math.asin(math.sqrt(min(h, 1.0)))
