"""Roll a set at many settings: a table, with a progress bar and a way to stop."""

from __future__ import annotations

import csv
import io
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from threading import Event
from typing import Any

from axlewright.contact.measured import MeasuredSet
from axlewright.contact.mesh import LENGTHWISE_POINTS, PROFILE_POINTS, ROLL_ANGLES, Settings
from axlewright.contact.once import write_atomically
from axlewright.contact.rolling import Rolling, check_flank, roll
from axlewright.errors import ContactError, InputError
from axlewright.gearset import FlankName, GearSetDesign
from axlewright.language import _

Progress = Callable[[int, int], None]
Row = dict[str, float | str | None]

COLUMNS = (
    "design",
    "flank",
    "pinion_out_mm",
    "ring_away_mm",
    "offset_error_mm",
    "shaft_angle_error_deg",
    "torque_nm",
    "lengthwise",
    "profile",
    "length_fraction",
    "height_fraction",
    "area_fraction",
    "slant_deg",
    "touches",
    "motion_error_pp_urad",
    "harmonic_1_urad",
    "harmonic_2_urad",
    "harmonic_3_urad",
    "shift_urad",
    "problem",
)


@dataclass(frozen=True, slots=True)
class SweepTable:
    """Results of a sweep, one row per setting, flank and torque in the order asked for.

    Attributes
    ----------
    rows : list of dict
        With the keys of `COLUMNS`; figures are None and ``problem`` says why where the teeth do not touch.
    planned : int
        Rows there would be without stopping.
    stopped : bool
        True when it was stopped before the end; the rows done so far are kept.
    """

    rows: list[Row]
    planned: int
    stopped: bool

    def csv_text(self) -> str:
        """Return the table as CSV with a header line."""
        out = io.StringIO()
        writer = csv.DictWriter(out, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(self.rows)
        return out.getvalue()

    def write_csv(self, path: Path | str) -> None:
        """Write `csv_text` to a file, all of it or nothing.

        Parameters
        ----------
        path : Path or str
        """
        write_atomically(Path(path), self.csv_text().encode("utf-8"))


def _row(rolling: Rolling) -> Row:
    pattern, s = rolling.pattern, rolling.settings
    harmonics = rolling.harmonics_urad(3)
    x, y = pattern.center
    return {
        "design": rolling.design.name,
        "flank": rolling.flank,
        "pinion_out_mm": s.pinion_out_mm,
        "ring_away_mm": s.ring_away_mm,
        "offset_error_mm": s.offset_error_mm,
        "shaft_angle_error_deg": s.shaft_angle_error_deg,
        "torque_nm": rolling.torque_nm,
        "lengthwise": None if pattern.empty else float(x),
        "profile": None if pattern.empty else float(y),
        "length_fraction": float(pattern.length_fraction),
        "height_fraction": float(pattern.height_fraction),
        "area_fraction": float(pattern.area_fraction),
        "slant_deg": float(pattern.slant_deg),
        "touches": " ".join(sorted(pattern.touches)),
        "motion_error_pp_urad": rolling.motion_error_pp_urad,
        "harmonic_1_urad": float(harmonics[0]),
        "harmonic_2_urad": float(harmonics[1]),
        "harmonic_3_urad": float(harmonics[2]),
        "shift_urad": rolling.shift_urad,
        "problem": str(_("nothing is squeezed as thin as the film")) if pattern.empty else "",
    }


@contextmanager
def _bar(progress: Progress | bool | None) -> Iterator[Progress]:
    """Give a function that shows progress: the caller's, a bar on a terminal, or nothing."""
    if callable(progress):
        yield progress
        return
    if progress is False or (progress is None and not sys.stderr.isatty()):
        yield lambda done, total: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    parts = (TextColumn("rolling"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*parts, console=Console(stderr=True)) as bar:
        task = bar.add_task("rolling", total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


def sweep(
    design: GearSetDesign,
    settings: Iterable[Settings],
    flanks: Sequence[str] = ("drive", "coast"),
    torque_nm: float | Sequence[float] = 0.0,
    *,
    progress: Progress | bool | None = None,
    cancel: Event | Callable[[], bool] | None = None,
    workers: int = 1,
    measured: MeasuredSet | None = None,
    lengthwise: int = LENGTHWISE_POINTS,
    profile: int = PROFILE_POINTS,
    roll_angles: int = ROLL_ANGLES,
) -> SweepTable:
    """Roll a set at many settings.

    Parameters
    ----------
    design : GearSetDesign
    settings : iterable of Settings
    flanks : sequence of {"drive", "coast"}
    torque_nm : float or sequence of float
        Torques at the ring gear [N·m]; every setting is rolled at each.
    progress : callable, bool, optional
        Called with (done, planned). None draws a bar on standard error when that is a terminal, True
        always, False never.
    cancel : threading.Event or callable, optional
        Looked at between rollings; when set or true the sweep ends and keeps what it has.
    workers : int
        Threads; the compiled kernels run beside each other. Results do not depend on it.
    measured : MeasuredSet, optional
        Measured flanks, as for `roll`.
    lengthwise, profile, roll_angles : int
        Resolution.

    Returns
    -------
    SweepTable

    Raises
    ------
    InputError
        For an unknown flank, a setting no set could be rolled at, or no workers.
    DesignError
        When the set cannot exist.

    Examples
    --------
    Pinion depth by thousandths of an inch, both flanks, one torque, to a file; a second call stops itself:

    >>> import axlewright as aw
    >>> design = aw.load_design("TY-222")
    >>> places = [aw.Settings(pinion_out_mm=0.0254 * k) for k in (-2, 0, 2)]
    >>> table = aw.sweep(design, places, progress=False)
    >>> [row["flank"] for row in table.rows[:2]], len(table.rows)
    (['drive', 'coast'], 6)
    >>> aw.sweep(design, places, progress=False, cancel=lambda: True).stopped
    True
    """
    if workers < 1:
        raise InputError(
            _("{workers} workers").format(workers=workers), where=_("workers"), fix=_("use 1 or more")
        )
    names: list[FlankName] = [check_flank(f) for f in flanks]
    torques = [float(torque_nm)] if isinstance(torque_nm, (int, float)) else [float(t) for t in torque_nm]
    plan = [(s, name, t) for s in settings for name in names for t in torques]
    stop = Event()

    def asked_to_stop() -> bool:
        if (
            cancel is not None
            and not stop.is_set()
            and (cancel.is_set() if isinstance(cancel, Event) else cancel())
        ):
            stop.set()
        return stop.is_set()

    def one(item: tuple[Settings, FlankName, float]) -> Row | None:
        s, name, torque = item
        if asked_to_stop():
            return None
        values: dict[str, Any] = {
            "pinion_out_mm": s.pinion_out_mm,
            "ring_away_mm": s.ring_away_mm,
            "offset_error_mm": s.offset_error_mm,
            "shaft_angle_error_deg": s.shaft_angle_error_deg,
            "torque_nm": torque,
        }
        try:
            rolling = roll(
                design,
                name,
                **values,
                measured=measured,
                lengthwise=lengthwise,
                profile=profile,
                roll_angles=roll_angles,
            )
        except ContactError as error:
            row: Row = dict.fromkeys(COLUMNS)
            return row | {"design": design.name, "flank": name, "touches": "", "problem": str(error)} | values
        return _row(rolling)

    rows: list[Row] = []
    with _bar(progress) as show:
        show(0, len(plan))
        # The first rolling prepares the mesh (and compiles) for all others.
        head = [one(plan[0])] if plan else []
        rows.extend(r for r in head if r is not None)
        show(len(rows), len(plan))
        if workers == 1:
            for item in plan[1:]:
                row = one(item)
                if row is None:
                    break
                rows.append(row)
                show(len(rows), len(plan))
        else:
            with ThreadPoolExecutor(workers) as pool:
                for row in pool.map(one, plan[1:]):
                    if row is not None:
                        rows.append(row)
                        show(len(rows), len(plan))
    return SweepTable(rows, len(plan), len(rows) < len(plan))
