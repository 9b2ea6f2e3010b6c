"""What a step's readings gave: values and messages, as the record keeps them and page and sheet draw them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from axlewright.language import Drawn, Text, _, decode, encode, joined, keep, keeps_as, read_kept
from axlewright.setup import Limit, Term, Verdict, WrittenSum
from axlewright.setup.limits import told
from axlewright.units import Length, chosen_system

VerdictWord = Literal["ok", "not ok", "ask"]
Origin = Literal["default", "typed in", "design file"]


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


def plain_sum(label: Text, terms: Sequence[float], note: Text = "") -> WrittenSum:
    """Return a sum of plain lengths [mm], each with its own sign."""
    return WrittenSum(label, tuple(Term(Length(abs(t)), -1.0 if t < 0.0 else 1.0) for t in terms), note)


def numbers(values: Sequence[float]) -> list[float]:
    """Return plain floats, rounded to a nanometre so that records stay short."""
    return [round(float(v), 6) for v in values]
