"""Many sets on the roll tester: the log kept with the records, best positions, charts, labels, studies.

The log is written once, never changed, taken back by writing so. Every import, every typed set and every
choice is one sheet: a small JSON file in the store's own file store, named by its content. So it survives a
restart, is in every backup, and a change behind the program's back is noticed when it is read. Each sheet
carries the name of the one before.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache, partial
from importlib import resources
from typing import TYPE_CHECKING, Any, Final

from axlewright import plant
from axlewright.errors import AxlewrightError, InputError, RecordError
from axlewright.job.designs import design_names, find_design
from axlewright.language import Number, Text, _, joined, n_, plural
from axlewright.plant.practice import Practice
from axlewright.plant.reading_log import ReadLog, read_log, read_number
from axlewright.plant.rolls import COLUMN, Roll, by_set
from axlewright.setup.marks import MARK_UNITS
from axlewright.steps.answers import Answers, FieldError, answered, in_field
from axlewright.steps.field import Choice, Field
from axlewright.units import MM_PER_INCH, Length, System, parse_number

if TYPE_CHECKING:
    from axlewright.gearset import GearSetDesign
    from axlewright.plant.curves import DesignCurve, Held
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


def write_sheet(
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
    data = canonical_json(told, where="roll-test log").encode()
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
        write_sheet(store, ROLLS, who=who, source=source, key=own, rolls=new[start : start + ROWS_PER_SHEET])
    return len(new)


def import_log(store: JobStore, data: bytes, *, name: str, who: str, key: str = "") -> ReadLog:
    """Read a log file and keep its readings: all of them, or none when there is any problem."""
    if key and any(sheet.key == key for sheet in sheets(store, all_of_them=True)):
        return ReadLog()
    read = read_log(data, designs=design_names(store), known=all_rolls(store), operator=who)
    if read.rolls:
        add_rolls(store, read.rolls, who=who, source=name or n_("file"), key=key)
    return read


def take_back(store: JobStore, sha256: str, *, who: str) -> None:
    """Let a sheet count no longer; it stays in the record."""
    if sha256 not in {sheet.sha256 for sheet in sheets(store)}:
        raise RecordError(
            _("there is no such sheet in the log"), where=_("roll-test log"), fix=_("look at the list")
        )
    write_sheet(store, BACK, who=who, content={"sheet": sha256})


def practice(store: JobStore) -> Practice:
    """Return the shop's ways as said last; the defaults while nothing was said."""
    said = [sheet for sheet in sheets(store) if sheet.kind == PRACTICE]
    return Practice.of(said[-1].content) if said else Practice()


def put_practice(store: JobStore, ways: Practice, *, who: str) -> None:
    """Keep the shop's ways."""
    write_sheet(store, PRACTICE, who=who, content=ways.plain())


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
            where=_(DEMO_SOURCE),
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
    write_sheet(
        store,
        MATCHING,
        who=who,
        content={
            "design": "TY-222",
            "place": "under_head",
            "carriers": "\n".join(f"{row['carrier']} {row['zero_spacer_mm']} mm" for row in rows),
            "spacers": " ".join(f"{1.37 + 0.0254 * n:.3f}mm*3" for n in range(16)),
            "sets": "",
            "coming": "40",
            "step": "0.001 in",
            "service": "95",
        },
    )
    return add_rolls(store, read.rolls, who=who, source=DEMO_SOURCE, key=key)


# --- what the log says -------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class SetView:
    """One set of the log.

    Attributes
    ----------
    best : BestPosition or None
        None when the readings do not allow one; then `trouble` says why.
    pattern : PatternPosition or None
    question : Text
        When figures and patterns disagree, or a reading does not fit.
    """

    design: str
    number: str
    rolls: tuple[Roll, ...]
    best: plant.BestPosition | None
    trouble: Text
    pattern: plant.PatternPosition | None
    question: Text

    @property
    def decided(self) -> bool:
        """Whether the set may be marked."""
        return self.best is not None and self.best.decided

    @property
    def last_at(self) -> str:
        """When it was read last."""
        return max((roll.at for roll in self.rolls), default="")


def held_by(rolls: Sequence[Roll]) -> Held:
    """Tell whether the ring gear stayed in its place or was reset to keep the backlash.

    It stayed when its place is written down at every position and is always the same.
    """
    places = {roll.ring_away_mm for roll in rolls}
    still = None not in places and len(places) == 1
    return "ring position" if still and len({r.pinion_out_mm for r in rolls}) > 1 else "backlash"


def _curve(design: GearSetDesign | None, held: Held) -> DesignCurve | None:
    if design is None:
        return None
    try:
        return plant.design_curve(design, held)
    except AxlewrightError:
        return None


@lru_cache(maxsize=5_000)
def _view(rolls: tuple[Roll, ...], design: GearSetDesign | None, ways: Practice) -> SetView:
    curve = _curve(design, held_by(rolls))
    best: plant.BestPosition | None = None
    trouble: Text = ""
    try:
        best = plant.best_position(rolls, curve, ways)
    except AxlewrightError as error:
        trouble = error.text
    pattern = None if curve is None else plant.pattern_position(rolls, curve, ways)
    return SetView(
        rolls[0].design, rolls[0].set_number, rolls, best, trouble, pattern, _question(best, pattern)
    )


def _question(best: plant.BestPosition | None, pattern: plant.PatternPosition | None) -> Text:
    if best is None:
        return ""
    if best.doubtful:
        places = joined(*(Length(r.pinion_out_mm, signed=True) for r in best.doubtful), between=", ")
        return plural(
            "The reading at {places} does not fit the others: read it again.",
            "The readings at {places} do not fit the others: read them again.",
            len(best.doubtful),
        ).format(places=places)
    if pattern is not None and best.decided:
        apart = abs(pattern.best_mm - best.best_mm)
        room = (pattern.interval_95_mm[1] - pattern.interval_95_mm[0]) / 2.0 + best.half_width_mm
        # How a set's own pattern lies is worth about a tenth of the flank, that is 0.05 mm of depth.
        if apart > room + 0.05:
            return _(
                "The patterns lie best at {place}, far from the quietest position: look at the patterns."
            ).format(place=Length(pattern.best_mm, signed=True))
    return ""


LATEST: Final = 400
"""Sets that are worked out at once: the latest; each takes some milliseconds the first time."""


def set_views(store: JobStore, design: str = "", *, latest: int = LATEST) -> list[SetView]:
    """Return the latest sets of the log with their answers, the last entered first."""
    ways = practice(store)
    designs: dict[str, GearSetDesign | None] = {}
    out = []
    found = list(by_set(all_rolls(store, design)).items())
    for (name, _number), rolls in found[-latest:]:
        if name not in designs:
            try:
                designs[name] = find_design(store, name)
            except AxlewrightError:
                designs[name] = None
        out.append(_view(tuple(rolls), designs[name], ways))
    out.reverse()
    return out


def set_view(store: JobStore, design: str, number: str) -> SetView:
    """Return one set.

    Raises
    ------
    InputError
        When it is not in the log.
    """
    rolls = tuple(r for r in all_rolls(store, design) if r.set_number == number)
    if rolls:
        try:
            known = find_design(store, rolls[0].design)
        except AxlewrightError:
            known = None
        return _view(rolls, known, practice(store))
    raise InputError(
        _("no readings of set {number}").format(number=number[:40]),
        where=_("roll-test log"),
        fix=_("look at the list of sets"),
    )


SERIES: Final[Mapping[str, str]] = {
    "best": n_("Best position"),
    "drive": n_("Smallest motion error, drive"),
    "coast": n_("Smallest motion error, coast"),
    "backlash": n_("Backlash nearest the best position"),
}
LENGTHS: Final = ("best", "backlash")


def series(views: Sequence[SetView], what: str) -> tuple[list[float], list[str]]:
    """Return a figure of each decided set, oldest first, with the set numbers.

    Lengths in mm, motion errors in µrad.
    """
    if what not in SERIES:
        raise InputError(
            _("unknown series '{what}'").format(what=what[:40]),
            where=_("chart"),
            fix=_("use one of {names}").format(names=", ".join(SERIES)),
        )
    values, names = [], []
    for view in reversed(views):
        if view.best is None or not view.decided:
            continue
        value = _figure(view, view.best, what)
        if value is not None:
            values.append(value)
            names.append(view.number)
    return values, names


def _figure(view: SetView, best: plant.BestPosition, what: str) -> float | None:
    if what == "best":
        return best.best_mm
    if what == "backlash":
        read = [r for r in view.rolls if r.backlash_mm is not None]
        near = min(read, key=lambda r: abs(r.pinion_out_mm - best.best_mm), default=None)
        return None if near is None else near.backlash_mm
    read_errors = [getattr(r, f"{what}_motion_error_urad") for r in view.rolls]
    return min((v for v in read_errors if v is not None), default=None)


def chart_fields(what: str) -> tuple[Field, ...]:
    """Return the fields of the form of a chart; the limits are in the unit of its figure."""
    kind: Any = "length" if what in LENGTHS else "number"
    return (
        Field("design", n_("Design"), "text"),
        Field(
            "what", n_("Figure"), "choice",
            choices=tuple(Choice(key, label) for key, label in SERIES.items()), default="best",
        ),
        Field("subgroup", n_("Points are"), "count", usual=(1, 10)),
        Field("low", n_("Lower limit"), kind, signed=True),
        Field(
            "high", n_("Upper limit"), kind,
            n_("Limits are the shop's own or the customer's; none is given here."), signed=True,
        ),
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class ChartAnswer:
    """A control chart with the capability that goes with it.

    Attributes
    ----------
    capability : Capability or None
        None without limits or with too few values; then `trouble` says why.
    """

    what: str
    chart: plant.ControlChart
    values: tuple[float, ...]
    capability: plant.Capability | None
    trouble: Text


def chart_answer(
    views: Sequence[SetView],
    what: str,
    *,
    subgroup: int = 1,
    low: float | None = None,
    high: float | None = None,
) -> ChartAnswer:
    """Chart one figure of the decided sets, and its capability where limits are given."""
    values, names = series(views, what)
    title = _(SERIES[what])
    chart = (
        plant.individuals_chart(values, names, title)
        if subgroup <= 1
        else plant.averages_chart(values, names, subgroup, title)
    )
    found: plant.Capability | None = None
    trouble: Text = ""
    if low is not None or high is not None:
        try:
            found = plant.capability(values, low=low, high=high, stable=chart.stable)
        except AxlewrightError as error:
            trouble = error.text
    return ChartAnswer(what, chart, tuple(values), found, trouble)


def mark_text(view: SetView) -> Text:
    """Return the mark as it is written on a set, such as "+2"; empty when there is none."""
    mark = view.best.mark if view.best is not None else None
    if mark is None:
        return ""
    return Number(mark.value, "+g") if mark.value else "0"


def labels_pdf(
    store: JobStore, views: Sequence[SetView], *, width_mm: float = 62.0, height_mm: float = 29.0
) -> bytes:
    """Set the labels of the decided sets among `views` as one PDF, a page each.

    Raises
    ------
    InputError
        When no set has a mark.
    """
    from axlewright.sheets import SetLabelData, set_labels

    out = []
    for view in views:
        if view.best is None or view.best.mark is None:
            continue
        about: dict[str, Any] = {}
        try:
            design = find_design(store, view.design)
            about = {
                "ratio": f"{design.pinion_teeth}/{design.ring_teeth}",
                "tooth_form": design.tooth_form,
                "hand": str(_("{hand}-hand pinion").format(hand=design.hand)),
            }
        except AxlewrightError:
            pass
        backlash = _figure(view, view.best, "backlash")
        who = next((r.operator for r in reversed(view.rolls) if r.operator), "")
        out.append(
            SetLabelData(
                width_mm=width_mm,
                height_mm=height_mm,
                set_number=view.number[:80],
                design=view.design[:80],
                depth_mark=str(mark_text(view)),
                mark_meaning=str(view.best.mark.text())[:80],
                backlash="" if backlash is None else str(Length(backlash)),
                tested=" ".join(t for t in (view.last_at[:10], who) if t)[:80],
                **about,
            )
        )
    if not out:
        raise InputError(
            _("no set has a mark"),
            where=_("labels"),
            fix=_("enter the shop's mark, and readings until a best position is decided"),
        )
    return set_labels(out)


# --- what is typed -------------------------------------------------------------------------------------

ROWS: Final = 6
KIND: Final = Field(
    "kind", n_("Figures are"), "choice",
    choices=(Choice("error", n_("motion error, µrad")), Choice("sound", n_("sound level, dB"))),
    default="error",
)  # fmt: skip
SET_FIELDS: Final = (
    Field(
        "number", n_("Set number"), "text", n_("As etched on both members; a scanner may type it."),
        missing=n_("type what is on the set"),
    ),
    Field("design", n_("Design"), "text"),
    KIND,
    Field("note", n_("Note"), "text"),
)  # fmt: skip
ENDING: Final = {"error": "motion_error_urad", "sound": "sound_db"}
"""How the columns of a log end, by what is read."""


def _read_figure(name: str, text: str, system: System) -> float:
    return COLUMN[name].taken(read_number(text, COLUMN[name], 1.0), text)


def row_fields(kind: str) -> tuple[Field, ...]:
    """Return the fields of one position, by what is read there; names in a form end in "-0", "-1" …"""
    ending = ENDING[kind]
    return (
        Field(
            "position", n_("Pinion out"), "length", signed=True,
            missing=n_("type where the pinion sat, such as +0.002 in"),
        ),
        Field("drive", n_("Drive"), "other", read=partial(_read_figure, f"drive_{ending}")),
        Field("coast", n_("Coast"), "other", read=partial(_read_figure, f"coast_{ending}")),
        Field("backlash", n_("Backlash"), "length"),
    )  # fmt: skip


def usual_positions(system: System, ways: Practice) -> list[str]:
    """Return the positions a form offers: −4 to +4 marks in steps of two, in the person's unit."""
    divisor, digits = (MM_PER_INCH, 4) if system == "inch" else (1.0, 3)
    places = (n * ways.step_mm / divisor for n in (-4, -2, 0, 2, 4))
    return [f"{place:+.{digits}f}".rstrip("0") if place else "0" for place in places]


def rolls_of(typed: Mapping[str, str], store: JobStore, system: System, *, who: str) -> list[Roll]:
    """Return the readings of a typed form.

    Parameters
    ----------
    typed : mapping
        `SET_FIELDS`, and for each row n `row_fields` with ``-n``. A row without figures is passed over.

    Raises
    ------
    FieldError
        With the name of the field.
    """
    head = answered(SET_FIELDS, typed, system)
    head.need("number")
    number, kind = head.text("number"), head.choice("kind")
    if len(number) > 40:
        raise head.error("number", _("more than 40 characters"), _("shorten it"))
    design = in_field("design", _("Design"), lambda: find_design(store, head.text("design"))).name
    told = {
        "set_number": number,
        "design": design,
        "operator": who,
        "at": datetime.now().strftime("%Y-%m-%dT%H:%M:%S"),
        "note": head.text("note")[:400],
    }
    fields, out = row_fields(kind), []
    for n in range(ROWS):
        try:
            row = answered(fields, {one.name: typed.get(f"{one.name}-{n}", "") for one in fields}, system)
            figures = {f"{flank}_{ENDING[kind]}": row.other(flank) for flank in ("drive", "coast")}
            if any(value is not None for value in figures.values()):
                row.need("position")
                out.append(Roll.of({**told, **figures, **_places(row)}))
        except FieldError as error:
            raise FieldError.of(f"{error.field}-{n}", _("Position {n}").format(n=n + 1), error) from error
    if not out:
        raise FieldError(
            "drive-0", _("Position {n}").format(n=1), _("no figure typed"),
            _("type what was read, drive or coast"),
        )  # fmt: skip
    return out


def _places(row: Answers) -> dict[str, float]:
    out = {}
    for name, column in (("position", "pinion_out_mm"), ("backlash", "backlash_mm")):
        value = row.length(name)
        if value is not None:
            out[column] = in_field(name, "", partial(COLUMN[column].taken, value, row.text(name)))
    return out


def keep_typed(store: JobStore, typed: Mapping[str, str], system: System, *, who: str, key: str) -> Roll:
    """Keep the readings of a typed form and return the last of them."""
    rolls = rolls_of(typed, store, system, who=who)
    add_rolls(store, rolls, who=who, source=n_("typed"), key=key)
    return rolls[-1]


def percent(text: str, system: System) -> float:
    """Read a share typed as percent, with or without its sign; 0 to 100."""
    share = parse_number(text.strip().rstrip("%"), fix=_("type one like 70")) / 100.0
    if not 0.0 <= share <= 1.0:
        raise InputError(_("'{text}' is no share").format(text=text[:20]), fix=_("type 0 to 100 %"))
    return share


WAYS_FIELDS: Final = (
    Field(
        "mark_unit", n_("One of the mark is"), "choice",
        choices=tuple(Choice(unit, unit) for unit in MARK_UNITS),
    ),
    Field(
        "mark_meaning", n_("Plus means"), "choice",
        choices=(
            Choice("plus_means_larger_mounting_distance", n_("pinion farther out")),
            Choice("plus_means_thicker_spacer", n_("thicker spacer under the head, pinion farther in")),
        ),
    ),
    Field(
        "drive_weight", n_("Weight of the drive flank"), "other", n_("The coast flank counts the rest."),
        read=percent,
    ),
    Field(
        "needed", n_("Decided within ±"), "length", n_("Half the 95 % interval at which a set may be marked.")
    ),
    Field(
        "reading_urad", n_("Motion error read again"), "number",
        n_("Standard deviation of the same position read again."),
    ),
    Field("reading_db", n_("Sound level read again"), "number"),
    Field("source", n_("Where these come from"), "text"),
)  # fmt: skip


def practice_of(typed: Mapping[str, str], before: Practice, system: System) -> Practice:
    """Return the shop's ways as typed; an empty field keeps what was there.

    Raises
    ------
    FieldError
    """
    answers = answered(WAYS_FIELDS, typed, system)
    changes: dict[str, Any] = {
        "mark_unit": answers.choice("mark_unit") or None,
        "mark_meaning": answers.choice("mark_meaning") or None,
        "drive_weight": answers.other("drive_weight"),
        "needed": answers.length("needed"),
        "reading_urad": answers.number("reading_urad"),
        "reading_db": answers.number("reading_db"),
    }
    ways = before
    for name, value in changes.items():
        if value is not None:
            change = {"needed_mm" if name == "needed" else name: value}
            label = _(answers.fields[name].label)
            ways = in_field(name, label, partial(replace, ways, **change))
    source = answers.text("source")[:200]
    return replace(ways, source=source or before.source) if source or ways != before else ways


STUDY_MOST: Final = 200_000
"""Settings a page draws at most; the command draws more."""
STUDY_FIELDS: Final = (
    Field("design", n_("Design"), "text"),
    Field("pinion_out_mm", n_("Pinion depth, standard deviation"), "length"),
    Field("pinion_mean_mm", n_("Pinion depth, mean out"), "length", signed=True),
    Field("ring_away_mm", n_("Ring-gear position, standard deviation"), "length"),
    Field("offset_error_mm", n_("Offset, standard deviation"), "length"),
    Field("shaft_angle_error_deg", n_("Shaft angle, standard deviation"), "number"),
    Field(
        "lie", n_("How sets' own patterns lie, standard deviation"), "number",
        n_("In half face widths and half working depths."),
    ),
    Field("count", n_("Settings to draw"), "count", usual=(1000, 2_000_000)),
    Field("seed", n_("Seed"), "count", n_("The same seed gives the same answer."), usual=(0, 10**8)),
)  # fmt: skip
SPREADS: Final = STUDY_FIELDS[1:7]


def study(store: JobStore, typed: Mapping[str, str], system: System) -> plant.StudyResult:
    """Draw settings with the spreads typed, the usual ones where nothing is, and count patterns outside.

    Raises
    ------
    FieldError
    """
    answers = answered(STUDY_FIELDS, typed, system)
    design = in_field("design", _("Design"), lambda: find_design(store, answers.text("design")))
    spread = plant.SettingSpread()
    for one in SPREADS:
        if answers.given(one.name):
            value = answers.length(one.name) if one.kind == "length" else answers.number(one.name)
            change: dict[str, Any] = {one.name: value}
            spread = in_field(one.name, _(one.label), partial(replace, spread, **change))
    count, seed = answers.count("count"), answers.count("seed")
    if count is not None and count > STUDY_MOST:
        raise answers.error(
            "count",
            _("{count} settings are too many for the page").format(count=count),
            _("use the command for more than {most}").format(most=STUDY_MOST),
        )
    return plant.tolerance_study(design, spread, count=count or 40_000, seed=1 if seed is None else seed)
