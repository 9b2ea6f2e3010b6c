"""Is the pattern good? Acceptance criteria as data, each with its source, and verdicts with uncertainty.

The numbers are defaults; service data typed in replace them. Manuals give most criteria in words ("centred",
"toward the toe", "clear of all edges"); where a number had to be put to such words it is ours and says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from axlewright.contact import ContactPattern
from axlewright.contact.marks import EDGE_WORDS, edge_words
from axlewright.errors import InputError
from axlewright.gearset.design import ToothForm
from axlewright.language import Number, Text, _, joined, n_
from axlewright.pattern.readings import SURE, PatternReading, hard_lines, read_edges
from axlewright.setup.limits import Limit, Verdict, told
from axlewright.setup.limits import judge as judge_limit
from axlewright.setup.sources import CIVIL, manual

Measure = Literal["lengthwise", "profile", "length", "edges"]
Condition = Literal["new", "used"]
Role = Literal["working", "other"]
VerdictKind = Literal["inside", "outside", "near the edge: measure again", "look yourself"]
T21 = "government manual TM 5-3810-300-24&P2 ch 4"
T30 = "government manual TM 5-4210-230-14&P-1"
EXACT = 1e-3  # how well a computed outline is known [cells]
OURS = "the number is this program's own, common practice, no source"


@dataclass(frozen=True, slots=True)
class Criterion:
    """One acceptance criterion for a pattern rolled by hand under drag.

    Attributes
    ----------
    key : str
    text : str
        What is wanted, in words.
    measure : {"lengthwise", "profile", "length", "edges"}
    limit : Limit or None
        Band of the measure; None for "edges".
    role : {"working", "other"} or None
        The flank that pulls, the other one, or both. The working flank is the drive flank unless the axle
        drives on the coast flank, as many front axles do.
    condition : {"new", "used"} or None
    tooth_form : {"face-milled", "face-hobbed"} or None
    edges : tuple of str
        For "edges": those that must stay clear.
    source : str
    """

    key: str
    text: str
    measure: Measure
    limit: Limit | None
    source: str
    role: Role | None = None
    condition: Condition | None = None
    tooth_form: ToothForm | None = None
    edges: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PatternVerdict:
    """What one criterion says of a pattern.

    Attributes
    ----------
    criterion : Criterion
    kind : {"inside", "outside", "near the edge: measure again", "look yourself"}
    says : Text
        Value, uncertainty and wanted band in words.
    source : Text
        Where what is wanted comes from.
    verdict : Verdict or None
        The numbers, where there are any.
    """

    criterion: Criterion
    kind: VerdictKind
    says: Text
    source: Text
    verdict: Verdict | None = None

    @property
    def text(self) -> Text:
        """One sentence with all of it."""
        return _("{says} ({source}).").format(says=self.says, source=self.source)

    def to_json(self) -> dict[str, Any]:
        """Return plain data; its words are not drawn yet."""
        return {
            "criterion": self.criterion.key,
            "verdict": self.kind,
            "text": self.text,
            "says": self.says,
            "source": self.source,
        }


def _band(name: str, low: float | None, high: float | None, source: str) -> Limit:
    return Limit(name, low, high, "1", source, is_default=True)


_PROFILE = f"{manual('T9', 'T13')}: centred between top and root; {OURS}"
_TOE = f"{manual('T13')}; {T30}: toward the toe, no heel bias unloaded; {OURS}"
_LENGTH = f"{CIVIL} (two texts): half to two thirds of the tooth"
_CLEAR = f"{manual('T9', 'T13')}: clear of all edges, no hard line"
_COAST = f"{T21}: same width, centred lengthwise, may sit slightly to the toe; {OURS}"
_USED = f"{T21}: match the old wear trace, smaller, at its toe end; do not chase the new-set picture"

DEFAULT_CRITERIA: tuple[Criterion, ...] = (
    Criterion(
        "profile", n_("centred between top and root"), "profile",
        _band(n_("Pattern centre in profile"), -0.25, 0.25, _PROFILE), _PROFILE, condition="new",
    ),
    Criterion(
        "working-lengthwise", n_("at the middle or toward the toe, never toward the heel"), "lengthwise",
        _band(n_("Pattern centre lengthwise, working flank"), -0.45, 0.10, _TOE), _TOE, role="working",
        condition="new",
    ),
    Criterion(
        "other-lengthwise", n_("centred lengthwise or slightly toward the toe"), "lengthwise",
        _band(n_("Pattern centre lengthwise, other flank"), -0.35, 0.20, _COAST), _COAST, role="other",
        condition="new",
    ),
    Criterion(
        "length", n_("half to two thirds of the tooth length"), "length",
        _band(
            n_("Pattern length over face width"), 0.45, 0.75, f"{_LENGTH}; widened by 0.05 to 0.08, {OURS}"
        ), _LENGTH, condition="new",
    ),
    Criterion(
        "clear", n_("clear of top, root and heel, no hard line at an edge"), "edges", None, _CLEAR,
        edges=("top", "root", "heel"),
    ),
    Criterion(
        "used", n_("smaller than the old wear trace and at its toe end"), "edges", None, _USED,
        condition="used",
    ),
)  # fmt: skip


def judge(
    reading: PatternReading | ContactPattern,
    criteria: Sequence[Criterion] | None = None,
    *,
    tooth_form: ToothForm = "face-milled",
    condition: Condition = "new",
    drives_on: str = "drive",
) -> list[PatternVerdict]:
    """Hold a pattern against acceptance criteria.

    Parameters
    ----------
    reading : PatternReading or ContactPattern
        A computed pattern has no uncertainty.
    criteria : sequence of Criterion, optional
        `DEFAULT_CRITERIA` when None.
    tooth_form : {"face-milled", "face-hobbed"}
        Criteria for the other form are left out. The defaults are the same for both: the forms differ in what
        moves the pattern, not in where it belongs.
    condition : {"new", "used"}
        A used set is held against its own wear trace.
    drives_on : {"drive", "coast"}
        Ring-gear flank that pulls going forward; "coast" for axles that drive on the concave flank.

    Returns
    -------
    list of PatternVerdict
    """
    if drives_on not in ("drive", "coast"):
        raise InputError(
            _("unknown flank '{drives_on}'").format(drives_on=drives_on),
            where="drives_on",
            fix=_("use drive or coast"),
        )
    if condition not in ("new", "used"):
        raise InputError(
            _("unknown condition '{condition}'").format(condition=condition),
            where=_("condition"),
            fix=_("use new or used"),
        )
    pattern = reading.pattern if isinstance(reading, PatternReading) else reading
    role = "working" if pattern.flank == drives_on else "other"
    out = []
    for c in DEFAULT_CRITERIA if criteria is None else criteria:
        if c.role not in (None, role) or c.condition not in (None, condition):
            continue
        if c.tooth_form not in (None, tooth_form):
            continue
        out.append(_judge_one(reading, pattern, c))
    return out


def _judge_one(
    reading: PatternReading | ContactPattern, pattern: ContactPattern, c: Criterion
) -> PatternVerdict:
    if pattern.empty:
        words = _("Nothing is marked; wanted: {text}")
        return PatternVerdict(c, "look yourself", words.format(text=_(c.text)), c.source)
    if c.limit is not None:
        return _judge_number(reading, pattern, c, c.limit)
    if c.condition == "used":
        words = _("Used set: wanted {text}")
        return PatternVerdict(c, "look yourself", words.format(text=_(c.text)), c.source)
    return _judge_edges(reading, pattern, c)


def _judge_number(
    reading: PatternReading | ContactPattern, pattern: ContactPattern, c: Criterion, limit: Limit
) -> PatternVerdict:
    read = reading if isinstance(reading, PatternReading) else None
    value, sd = {
        "lengthwise": (pattern.center[0], 0.0 if read is None else read.center_sd[0]),
        "profile": (pattern.center[1], 0.0 if read is None else read.center_sd[1]),
        "length": (pattern.length_fraction, 0.0 if read is None else read.length_sd),
    }[c.measure]
    verdict = judge_limit(value, limit, expanded_uncertainty=2.0 * sd)
    words = {
        "inside": _("{name}: {value} is inside; wanted: {text}, {low} to {high}"),
        "outside": _("{name}: {value} is outside; wanted: {text}, {low} to {high}"),
        "near the edge: measure again": _(
            "{name}: {value} is too near the edge to say; wanted: {text}, {low} to {high}"
        ),
    }[verdict.kind]
    form = ".2f" if c.measure == "length" else "+.2f"
    low, high = ("…" if edge is None else Number(edge, form) for edge in (limit.low, limit.high))
    shown: Text = Number(round(value, 2) + 0.0, form)
    if sd:
        shown = joined(shown, Number(2.0 * sd, ".2f"), between=" ± ")
    source = _("default, {source}").format(source=c.source) if limit.is_default else limit.source
    says = words.format(name=told(limit.name), value=shown, text=_(c.text), low=low, high=high)
    return PatternVerdict(c, verdict.kind, says, source, verdict)


def _judge_edges(
    reading: PatternReading | ContactPattern, pattern: ContactPattern, c: Criterion
) -> PatternVerdict:
    """Hold the edges against those that must stay clear: a reading knows how sure it is of each."""
    if isinstance(reading, PatternReading):
        edges = reading.edges()
    else:
        edges = read_edges(pattern.mask, EXACT, (0.0, 0.0))
    named = {name: edges[name] for name in c.edges}
    touched = [name for name, one in named.items() if one.chance >= SURE]
    near = [name for name, one in named.items() if 1.0 - SURE < one.chance < SURE]
    cut_off = [name for name in hard_lines(named) if name in touched]
    if cut_off:
        words = _("The {where} cuts the pattern off, a hard line there; wanted: {text}")
        where = edge_words(cut_off)
    elif touched:
        words = _("The pattern reaches the {where}; wanted: {text}")
        where = edge_words(touched)
    elif near:
        words = _("The pattern comes as near to the {where} as the reading is sure; wanted: {text}")
        where = edge_words(near)
    else:
        words = _("Clear of {where}")
        where = joined(*(_(EDGE_WORDS[e]) for e in c.edges), between=", ")
    kind: VerdictKind = "outside" if touched else ("near the edge: measure again" if near else "inside")
    return PatternVerdict(c, kind, words.format(where=where, text=_(c.text)), c.source)
