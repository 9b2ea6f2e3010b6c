"""What a step is made of: its fields, the rule that judges what was typed, and the result it gives.

A step stands in one file of this room. Its fields are declared once (`Field`); the form, `job add`, the check
of every field, the record, the sheet and the docs follow from the declaration. Its rule takes the answers,
typed, and what is known of the job, and returns a `Result` of values and messages.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final, Literal

from axlewright.language import Drawn, Text, _, decode, encode, joined, keep, keeps_as, n_, read_kept
from axlewright.setup import Limit, Term, Verdict, WrittenSum
from axlewright.setup.limits import told
from axlewright.units import Length, System, chosen_system

if TYPE_CHECKING:
    from axlewright.bench.fitted import LastFitted
    from axlewright.gearset import GearSetDesign
    from axlewright.records import Entry, Instrument, Job
    from axlewright.setup import ShimPlace, StockItem
    from axlewright.steps.answers import Answers

VerdictWord = Literal["ok", "not ok", "ask"]
Origin = Literal["default", "typed in", "design file"]

Kind = Literal[
    "text",
    "long text",
    "number",
    "count",
    "length",
    "lengths",
    "temperature",
    "torque",
    "force",
    "choice",
    "yes",
]


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer of a choice; `short` is how the record says it, the label where empty."""

    key: str
    label: str
    short: str = ""


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a step, said once for page, command line, record, sheet and docs.

    Attributes
    ----------
    name, label, kind : str
    help : str
        One sentence under the field.
    choices : tuple of Choice
        For kind "choice".
    missing : str
        What to do where it is empty; a field with it is needed.
    needed : bool
        Whether the page marks it as needed; true wherever `missing` is given.
    usual : (float, float) or None
        Usual band in the kind's base unit (mm, N·m, N); a value outside is asked about and let through when
        it is confirmed. For a count these are firm limits.
    place : str
        Letter of its place in the drawing of the axle, empty for none.
    sticky : bool
        Whether the last answer of this job is filled in again next time.
    group : str
        Heading under which it stands.
    only : str
        "field:key,key": the field belongs to these answers of an earlier choice; empty for all.
    default : str
        Answer that counts when none is chosen.
    signed : bool
        Whether a number in it may be below zero: number pads of some phones have no minus.
    short : str
        Its name among the readings on record and sheet; the label where empty.
    listed : bool
        Whether it stands among the readings; not for what is shown elsewhere (the note, the instrument).
    """

    name: str
    label: str
    kind: Kind
    help: str = ""
    choices: tuple[Choice, ...] = ()
    needed: bool = False
    place: str = ""
    sticky: bool = False
    group: str = ""
    only: str = ""
    default: str = ""
    signed: bool = False
    missing: str = ""
    usual: tuple[float, float] | None = None
    short: str = ""
    listed: bool = True

    def __post_init__(self) -> None:
        if self.missing and not self.needed:
            object.__setattr__(self, "needed", True)

    def belongs(self, answers: Mapping[str, str]) -> bool:
        """Whether the field belongs to the answers chosen; without an answer it may."""
        name, _colon, keys = self.only.partition(":")
        chosen = answers.get(name, "").strip()
        return not name or not chosen or chosen in keys.split(",")


@dataclass(frozen=True, slots=True)
class StepForm:
    """A step as it is entered: its fields and its rule.

    Attributes
    ----------
    step : str
        Key of the step in the order of the job.
    lead : str
        What to do, one or two sentences.
    button : str
        What the button says.
    folded : tuple of str
        Headings whose fields are folded away as long as nothing stands in them; none is needed.
    rule : callable or None
        ``rule(answers, context) -> Result``.
    """

    step: str
    lead: str
    fields: tuple[Field, ...]
    button: str = n_("Work it out and keep it")
    folded: tuple[str, ...] = ()
    rule: Callable[[Answers, Context], Result] | None = None

    def labels(self) -> dict[str, Text]:
        """Return the label of each field."""
        return {f.name: _(f.label) for f in self.fields}

    def field(self, name: str) -> Field:
        """Return the field with this name; `KeyError` where there is none."""
        for one in self.fields:
            if one.name == name:
                return one
        raise KeyError(name)

    def groups(self) -> list[tuple[str, list[Field]]]:
        """Return the fields by heading, in order."""
        out: list[tuple[str, list[Field]]] = []
        for one in self.fields:
            if not out or out[-1][0] != one.group:
                out.append((one.group, []))
            out[-1][1].append(one)
        return out


NOTE: Final = Field(
    "note", n_("Note"), "long text", n_("Anything the next person should know."), listed=False
)
WITH: Final = Field(
    "instrument",
    n_("Measured with"),
    "text",
    n_("Such as: depth micrometer 2. One entered in Settings brings its step and calibration with it."),
    sticky=True,
    group=n_("Instrument"),
    listed=False,
)
RESOLUTION: Final = Field(
    "resolution",
    n_("Smallest step it shows"),
    "length",
    n_("Goes into the uncertainty. Leave empty when not known or when it stands in Settings."),
    sticky=True,
    group=n_("Instrument"),
    usual=(0.0, 1.0),
    listed=False,
)
LIMIT_FIELDS: Final = (
    Field(
        "limit_source",
        n_("Where your limit comes from"),
        "text",
        n_("Such as: service data of this axle. Empty uses the default, which says that it is one."),
        sticky=True,
        group=n_("Limits from the axle's service data"),
        listed=False,
    ),
)
UNUSUAL: Final = Field(
    "really",
    n_("The numbers are really so"),
    "yes",
    n_("Tick when asked about an unusual value."),
    listed=False,
)
"""Belongs to every step: confirms that unusual values were meant."""


@dataclass(frozen=True, slots=True)
class InBoth(Drawn):
    """Words that an older record kept in both unit systems; drawn in the reader's."""

    words: Mapping[str, str]

    def __str__(self) -> str:
        return str(self.words.get(chosen_system()) or next(iter(self.words.values()), ""))

    def to_json(self) -> dict[str, Any]:
        """Return the words of both systems."""
        return {"in_both": dict(self.words)}


keeps_as("in_both", lambda kept: InBoth(kept["in_both"]))


@dataclass(frozen=True, slots=True)
class Reading:
    """A reading as it is shown again; `place` is its letter in the drawing of the axle."""

    name: Text
    value: Text
    unit: str = ""
    place: str = ""
    note: Text = ""


@dataclass(frozen=True, slots=True)
class OldSum:
    """A written sum of an older record, where only its words were kept; else a sum is a `WrittenSum`."""

    label: str
    words: InBoth
    result: InBoth
    sure: InBoth
    note: str = ""

    def __str__(self) -> str:
        return str(self.words)


@dataclass(frozen=True, slots=True)
class JudgedLimit:
    """A limit beside what was read, with where it comes from."""

    name: Text
    allowed: Text
    read: Text
    source: Text
    origin: Origin
    verdict: VerdictWord


@dataclass(frozen=True, slots=True)
class Context:
    """What is already known when a step is entered.

    Attributes
    ----------
    entries : tuple of Entry
        Those of the job that count, oldest first.
    shelf, leaves, side_shims : tuple of StockItem
        Spacers, leaves for packs and side shims on the shelf.
    instrument : Instrument or None
        The one named at the step, where it stands in the list of instruments.
    fitted : LastFitted or None
        The depth spacer last said to be fitted, also where that entry was taken back.
    """

    job: Job
    design: GearSetDesign | None
    entries: tuple[Entry, ...]
    shelf: tuple[StockItem, ...]
    who: str
    system: System
    leaves: tuple[StockItem, ...] = ()
    side_shims: tuple[StockItem, ...] = ()
    instrument: Instrument | None = None
    fitted: LastFitted | None = None

    def last_values(self, step: str) -> dict[str, Any]:
        """Return the values of the last result of a step; empty when there is none."""
        return next(iter(reversed(self.all_values(step))), {})

    def all_values(self, step: str) -> list[dict[str, Any]]:
        """Return the values of every result of a step that counts, oldest first."""
        return [
            dict(decode(e.payload.get("values", {})))
            for e in self.entries
            if e.step == step and e.kind == "result"
        ]


@dataclass(slots=True)
class Result:
    """What a step's readings gave: readings, sums, limits, notes, questions and a verdict with its reason.

    The rule returns it, the record keeps it (`payload`), page and sheet draw it (`of_payload`).

    Attributes
    ----------
    values : dict
        What later steps go on with: plain numbers, lengths in mm.
    """

    verdict: VerdictWord = "ok"
    why: Text = ""
    readings: list[Reading] = field(default_factory=list)
    sums: list[WrittenSum | OldSum] = field(default_factory=list)
    limits: list[JudgedLimit] = field(default_factory=list)
    notes: list[Text] = field(default_factory=list)
    questions: list[Text] = field(default_factory=list)
    values: dict[str, Any] = field(default_factory=dict)

    def read_length(
        self, name: Text, value_mm: float | None, system: System | None = None, *, place: str = ""
    ) -> None:
        """Add a length that was read, if there is one."""
        if value_mm is not None:
            self.readings.append(Reading(name, Length(value_mm), place=place))

    def judged(self, verdict: Verdict) -> None:
        """Add a limit with its verdict."""
        limit = verdict.limit
        word: VerdictWord = (
            "ok" if verdict.kind == "inside" else "not ok" if verdict.kind == "outside" else "ask"
        )
        self.limits.append(
            JudgedLimit(
                told(limit.name),
                limit.band,
                limit.shown(verdict.value),
                told(limit.source),
                origin_of(limit),
                word,
            )
        )

    def settle(self, ok_text: Text) -> None:
        """Set verdict and reason from questions and limits; what is outside weighs more than a question."""
        outside = [limit for limit in self.limits if limit.verdict == "not ok"]
        near = [limit for limit in self.limits if limit.verdict == "ask"]
        if outside:
            self.verdict = "not ok"
            self.why = joined(
                *(_("{name}: {read} is outside").format(name=one.name, read=one.read) for one in outside),
                between="; ",
            )
        elif self.questions:
            self.verdict, self.why = "ask", self.questions[0]
        elif near:
            self.verdict = "ask"
            self.why = joined(
                *(
                    _("{name}: {read} is near the edge, measure again").format(name=one.name, read=one.read)
                    for one in near
                ),
                between="; ",
            )
        else:
            self.verdict, self.why = "ok", ok_text

    def payload(self) -> dict[str, Any]:
        """Return the result as it is kept in the record; the readings are kept beside what was typed."""
        kept: dict[str, Any] = encode(
            {
                "verdict": self.verdict,
                "why": self.why,
                "sums": self.sums,
                "limits": [
                    {
                        "name": one.name,
                        "allowed": one.allowed,
                        "read": one.read,
                        "source": one.source,
                        "origin": one.origin,
                        "verdict": one.verdict,
                    }
                    for one in self.limits
                ],
                "notes": self.notes,
                "questions": self.questions,
                "values": self.values,
            }
        )
        return kept

    @classmethod
    def of_payload(cls, payload: Mapping[str, Any], readings: Sequence[Reading] = ()) -> Result:
        """Return a kept result, also one kept by an older version of the program."""
        return cls(
            payload.get("verdict", "ask"),
            read_kept(payload.get("why", "")),
            list(readings),
            [_kept_sum(one) for one in payload.get("sums", ())],
            [_kept_limit(one) for one in payload.get("limits", ())],
            [read_kept(one) for one in payload.get("notes", ())],
            [read_kept(one) for one in payload.get("questions", ())],
            dict(decode(payload.get("values", {}))),
        )


def kept_readings(payload: Mapping[str, Any]) -> tuple[Reading, ...]:
    """Return the readings of a kept entry."""
    return tuple(
        Reading(
            read_kept(one.get("name", "")),
            read_kept(one.get("value", "")),
            str(one.get("unit", "")),
            str(one.get("place", "")),
            read_kept(one.get("note", "")),
        )
        for one in payload.get("readings", ())
    )


def keep_readings(readings: Sequence[Reading]) -> list[dict[str, Any]]:
    """Return readings as the record keeps them."""
    return [
        {"name": keep(r.name), "value": keep(r.value), "unit": r.unit, "place": r.place, "note": keep(r.note)}
        for r in readings
    ]


def _kept_sum(kept: Mapping[str, Any]) -> WrittenSum | OldSum:
    if isinstance(kept.get("text"), Mapping):  # kept in words, by versions before 0.9
        return OldSum(
            str(kept["name"]),
            InBoth(kept["text"]),
            InBoth(kept["result"]),
            InBoth(kept.get("uncertainty", {})),
            str(kept.get("note", "")),
        )
    total = read_kept(kept)
    if isinstance(total, WrittenSum):
        return total
    shown = InBoth({"inch": str(total)})
    return OldSum("", shown, shown, InBoth({}))


def _kept_limit(kept: Mapping[str, Any]) -> JudgedLimit:
    def words(name: str) -> Text:
        value = kept.get(name, "")
        return InBoth(value) if isinstance(value, Mapping) and "inch" in value else read_kept(value)

    return JudgedLimit(
        _named(kept.get("name", "")),
        words("allowed" if "allowed" in kept else "value"),
        words("read"),
        _named(kept.get("source", "")),
        kept.get("origin", "typed in"),
        kept.get("verdict", "ask"),
    )


def _named(kept: Any) -> Text:
    """Return a name; an older record kept it in the program's own language, untranslated."""
    return _(kept) if isinstance(kept, str) else read_kept(kept)


def origin_of(limit: Limit) -> Origin:
    """Say whether a limit is a default, was typed in, or comes from the design file."""
    if limit.is_default:
        return "default"
    return "design file" if str(limit.source).startswith("design") else "typed in"


def pinion_out_of_spacers(before_mm: float, after_mm: float, place: ShimPlace) -> float:
    """Return how far the pinion moved out [mm] when one spacer was exchanged for another."""
    from axlewright.setup import pinion_out_of_shim_change_mm

    return pinion_out_of_shim_change_mm(after_mm - before_mm, place)


def plain_sum(label: Text, terms: Sequence[float], note: Text = "") -> WrittenSum:
    """Return a sum of plain lengths [mm], each with its own sign."""
    return WrittenSum(label, tuple(Term(Length(abs(t)), -1.0 if t < 0.0 else 1.0) for t in terms), note)


def numbers(values: Sequence[float]) -> list[float]:
    """Return plain floats, rounded to a nanometre so that records stay short."""
    return [round(float(v), 6) for v in values]
