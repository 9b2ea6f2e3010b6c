"""What a step's readings gave: texts to show, numbers to go on with, a verdict with its reason."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

from axlewright.language import Shown, _
from axlewright.units import MM_PER_INCH, System, chosen_system, show_length

if TYPE_CHECKING:
    from axlewright.bench.fitted import LastFitted
    from axlewright.gearset import GearSetDesign
    from axlewright.records import Entry, Instrument, Job
    from axlewright.setup import Limit, ShimPlace, StockItem, Verdict, WrittenSum

VerdictWord = Literal["ok", "not ok", "ask"]


@dataclass(frozen=True, slots=True)
class ShownReading:
    """A reading as it is shown again; `place` is its letter in the drawing of the axle."""

    name: str
    value: str
    unit: str = ""
    place: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class ShownSum:
    """A sum written out in both systems.

    Attributes
    ----------
    text, result, uncertainty : mapping of system to str
    terms : tuple of (label, value in mm, sign)
    """

    name: str
    text: Mapping[str, str]
    result: Mapping[str, str]
    uncertainty: Mapping[str, str]
    note: str = ""
    terms: tuple[tuple[str, float, int], ...] = ()


@dataclass(frozen=True, slots=True)
class ShownLimit:
    """A limit beside what was read, with where it comes from."""

    name: str
    value: Mapping[str, str]
    read: Mapping[str, str]
    source: str
    origin: Literal["default", "typed in", "design file"]
    verdict: VerdictWord


@dataclass(frozen=True, slots=True)
class Known:
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
        """Return the numbers of the last result of a step; empty when there is none."""
        for entry in reversed(self.entries):
            if entry.step == step and entry.kind == "result":
                return dict(entry.payload.get("values", {}))
        return {}

    def all_values(self, step: str) -> list[dict[str, Any]]:
        """Return the numbers of every result of a step that counts, oldest first."""
        return [
            dict(e.payload.get("values", {})) for e in self.entries if e.step == step and e.kind == "result"
        ]


@dataclass(slots=True)
class Found:
    """What a step's readings gave."""

    verdict: VerdictWord = "ok"
    why: str = ""
    readings: list[ShownReading] = field(default_factory=list)
    sums: list[ShownSum] = field(default_factory=list)
    limits: list[ShownLimit] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    questions: list[str] = field(default_factory=list)
    values: dict[str, Any] = field(default_factory=dict)

    def read_length(self, name: str, value_mm: float | None, system: System, *, place: str = "") -> None:
        """Add a length that was read, if there is one."""
        if value_mm is not None:
            self.readings.append(ShownReading(name, show_length(value_mm, system), place=place))

    def judged(self, verdict: Verdict) -> None:
        """Add a limit with its verdict."""
        self.limits.append(shown_limit(verdict))

    def settle(self, ok_text: str) -> None:
        """Set verdict and reason from questions and limits; what is outside weighs more than a question."""
        outside = [limit for limit in self.limits if limit.verdict == "not ok"]
        near = [limit for limit in self.limits if limit.verdict == "ask"]
        if outside:
            self.verdict = "not ok"
            self.why = "; ".join(
                _("{name}: {inch} is outside").format(name=_(limit.name), inch=limit.read[chosen_system()])
                for limit in outside
            )
        elif self.questions:
            self.verdict, self.why = "ask", self.questions[0]
        elif near:
            self.verdict = "ask"
            self.why = "; ".join(
                _("{name}: {inch} is near the edge, measure again").format(
                    name=_(limit.name), inch=limit.read[chosen_system()]
                )
                for limit in near
            )
        else:
            self.verdict, self.why = "ok", ok_text

    def payload(self) -> dict[str, Any]:
        """Return the result as it is kept in the record."""
        return {
            "verdict": self.verdict,
            "why": self.why,
            "sums": [
                {
                    "name": s.name,
                    "text": dict(s.text),
                    "result": dict(s.result),
                    "uncertainty": dict(s.uncertainty),
                    "note": s.note,
                    "terms": [list(t) for t in s.terms],
                }
                for s in self.sums
            ],
            "limits": [
                {
                    "name": one.name,
                    "value": dict(one.value),
                    "read": dict(one.read),
                    "source": one.source,
                    "origin": one.origin,
                    "verdict": one.verdict,
                }
                for one in self.limits
            ],
            "notes": list(self.notes),
            "questions": list(self.questions),
            "values": dict(self.values),
        }


def shown_sum(name: str, total: WrittenSum, note: str = "") -> ShownSum:
    """Return a written sum in both systems."""
    systems: tuple[System, System] = ("inch", "metric")
    return ShownSum(
        name,
        {s: total.text(s) for s in systems},
        {s: show_length(total.value_mm, s) for s in systems},
        {s: f"± {show_length(total.expanded_uncertainty_mm, s)}, 95 %" for s in systems},
        note,
        tuple((t.label, t.value_mm, t.sign) for t in total.terms),
    )


def plain_sum(name: str, terms: tuple[float, ...], result: float, note: str = "") -> ShownSum:
    """Return a sum of plain lengths [mm] in both systems, each term with its own sign."""

    def line(system: System) -> str:
        per, unit, places = (MM_PER_INCH, "in", 4) if system == "inch" else (1.0, "mm", 3)
        # More decimals are shown where the rounded numbers would not add up as written.
        for digits in range(places, 7):
            off = math.fsum(round(t / per, digits) for t in terms) - round(result / per, digits)
            if abs(off) < 0.5 * 10.0**-digits:
                places = digits
                break
        words = [f"{Shown(abs(t) / per):.{places}f}" for t in terms]
        text = ("−" if terms[0] < 0 else "") + words[0]
        for term, word in zip(terms[1:], words[1:], strict=True):
            text += f" {'−' if term < 0 else '+'} {word}"
        return f"{text} = {Shown(result / per):.{places}f} {unit}"

    systems: tuple[System, System] = ("inch", "metric")
    return ShownSum(
        name,
        {s: line(s) for s in systems},
        {s: show_length(result, s) for s in systems},
        dict.fromkeys(systems, ""),
        note,
    )


def pinion_out_of_spacers(before_mm: float, after_mm: float, place: ShimPlace) -> float:
    """Return how far the pinion moved out [mm] when one spacer was exchanged for another."""
    from axlewright.setup import pinion_out_of_shim_change_mm

    return pinion_out_of_shim_change_mm(after_mm - before_mm, place)


def shown_limit(verdict: Verdict) -> ShownLimit:
    """Return a limit with what was held against it, in both systems."""
    limit = verdict.limit
    word: VerdictWord = "ask"
    if verdict.kind == "inside":
        word = "ok"
    elif verdict.kind == "outside":
        word = "not ok"
    systems: tuple[System, System] = ("inch", "metric")
    return ShownLimit(
        limit.name,
        {s: band_text(limit, s) for s in systems},
        {s: limit.show_value(verdict.value, s) for s in systems},
        limit.source,
        origin_of(limit),
        word,
    )


def band_text(limit: Limit, system: System) -> str:
    """Return the band alone, in words."""
    if limit.low is None:
        return _("at most {show_value}").format(show_value=limit.show_value(limit.middle, system))
    if limit.high is None:
        return _("at least {show_value}").format(show_value=limit.show_value(limit.middle, system))
    return _("{low} to {high}").format(
        low=limit.show_value(limit.low, system), high=limit.show_value(limit.high, system)
    )


def origin_of(limit: Limit) -> Literal["default", "typed in", "design file"]:
    """Say whether a limit is a default, was typed in, or comes from the design file."""
    if limit.is_default:
        return "default"
    return "design file" if limit.source.startswith("design") else "typed in"


def numbers(values: Sequence[float]) -> list[float]:
    """Return plain floats, rounded to a nanometre so that records stay short."""
    return [round(float(v), 6) for v in values]
