"""Matching carriers, sets and spacers from what was typed and what the roll-test log knows."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, Final

from axlewright import plant
from axlewright.errors import AxlewrightError
from axlewright.job import batch
from axlewright.job.designs import find_design
from axlewright.language import Text, _, n_
from axlewright.setup.marks import PLACE_WORDS
from axlewright.setup.stock import StockItem
from axlewright.steps.answers import Answers, FieldError, answered, in_field
from axlewright.steps.field import Choice, Field
from axlewright.units import LONGEST_LIST, Length, System, as_typed, check_text, parse_length

if TYPE_CHECKING:
    from axlewright.records import JobStore


@dataclass(frozen=True, slots=True)
class TypedCarrier:
    """A carrier as typed or from a table; `design` is empty where the list does not say."""

    number: str
    zero_spacer_mm: float
    design: str = ""


def read_carriers(text: str, system: System) -> tuple[TypedCarrier, ...]:
    """Read carriers, one on a line: number and spacer for a zero mark, ``C-101 1.522 mm``.

    A table is read as well: cells apart by commas, semicolons or tabs, with the headings ``carrier``,
    ``zero_spacer_mm`` or ``zero_spacer_in`` and, where it holds several, ``design``.
    """
    lines = text.splitlines()
    heading = next((line for line in lines if line.strip()), "")
    if re.match(r"\s*carrier\s*[,;\t]", heading, re.IGNORECASE):
        rows = _table(lines)
    else:
        rows = _lines(lines, _unit(system))
    out: dict[tuple[str, str], TypedCarrier] = {}
    for label, number, spacer, unit, design in rows:
        if (number, design) in out:
            raise FieldError(
                "carriers", label, _("{number} is there twice").format(number=number), _("leave one out")
            )
        thickness = _spacer(spacer, "carriers", label, unit)
        out[number, design] = TypedCarrier(number, thickness, design)
    return tuple(out.values())


_Row = tuple[Text, str, str, str, str]
"""Where it stands, carrier, spacer, unit of a bare number, design."""


def _lines(lines: Sequence[str], unit: str) -> list[_Row]:
    out: list[_Row] = []
    for row, typed in enumerate(lines, start=1):
        label = _("Carriers, line {row}").format(row=row)
        line = in_field("carriers", label, partial(as_typed, typed))
        if not line:
            continue
        parts = re.split("[; ]", line, maxsplit=1)
        if len(parts) < 2:
            raise FieldError(
                "carriers", label, _("'{line}' has no spacer").format(line=line[:40]),
                _("type the carrier's number and its spacer for a zero mark, such as C-101 1.522 mm"),
            )  # fmt: skip
        out.append((label, parts[0].strip(" ,;"), parts[1], unit, ""))
    return out


_UNITS: Final = {"zero_spacer_mm": "mm", "zero_spacer_in": "in"}


def _table(lines: Sequence[str]) -> list[_Row]:
    first = next(k for k, line in enumerate(lines) if line.strip())
    delimiter = next(mark for mark in ";\t," if mark in lines[first])
    names = [name.strip().casefold() for name in lines[first].split(delimiter)]
    spacer = next((name for name in names if name in _UNITS), "")
    if not spacer:
        raise FieldError(
            "carriers", _("Carriers, line {row}").format(row=first + 1),
            _("no column holds the spacer for a zero mark"), _("head it zero_spacer_mm or zero_spacer_in"),
        )  # fmt: skip
    out: list[_Row] = []
    for row, line in enumerate(lines[first + 1 :], start=first + 2):
        label = _("Carriers, line {row}").format(row=row)
        in_field("carriers", label, partial(as_typed, line))
        if not line.strip(f" {delimiter}"):
            continue
        cells = dict(zip(names, (cell.strip() for cell in line.split(delimiter)), strict=False))
        if not cells.get(spacer):
            raise FieldError(
                "carriers", label, _("'{line}' has no spacer").format(line=line.strip()[:40]),
                _("fill it in or remove the row"),
            )  # fmt: skip
        out.append((label, cells["carrier"], cells[spacer], _UNITS[spacer], cells.get("design", "")))
    return out


def _unit(system: System) -> str:
    return "in" if system == "inch" else "mm"


def _spacer(text: str, field: str, label: Text, unit: str) -> float:
    thickness = in_field(field, label, lambda: parse_length(text.strip(" ;"), default_unit=unit))
    if not 0.05 <= thickness <= 15.0:
        raise FieldError(
            field, label, _("{length} is no spacer").format(length=Length(thickness)),
            _("type a thickness from 0.05 to 15 mm, with its unit"),
        )  # fmt: skip
    return thickness


def read_spacers(text: str, system: System) -> tuple[StockItem, ...]:
    """Read spacers there are, ``1.500mm*3 1.525mm*2``; a size without a count is there once."""
    out = []
    label = _("Spacers there are")
    in_field("spacers", label, lambda: check_text(text, longest=LONGEST_LIST))
    lines = (as_typed(line, longest=LONGEST_LIST) for line in text.splitlines())
    for token in (one for line in lines for one in re.split(r"; ?| (?![a-zµ\"])|, ", line)):
        if not token.strip():
            continue
        size, _sep, count = token.replace("×", "*").partition("*")
        if count and not (count.strip().isdecimal() and len(count) < 7 and int(count) <= 10_000):
            raise FieldError(
                "spacers", label, _("'{token}' has no count").format(token=token[:40]),
                _("write size*count, such as 1.500mm*3"),
            )  # fmt: skip
        thickness = _spacer(size, "spacers", label, _unit(system))
        out.append(StockItem(size.strip(), thickness, int(count or 1)))
    return tuple(out)


MATCH_FIELDS: Final = (
    Field("design", n_("Design"), "text"),
    Field(
        "place", n_("Where the spacer sits"), "choice",
        choices=tuple(Choice(key, label) for key, label in PLACE_WORDS.items()),
        missing=n_("say where it sits: it decides whether plus makes it thinner or thicker"),
    ),
    Field(
        "carriers", n_("Carriers"), "other",
        n_(
            "One on a line: number, then the spacer it needs for a zero mark (axis to shoulder − mounting "
            "distance − bearing), such as C-101 1.522 mm."
        ),
        missing=n_("type number and spacer, one carrier on a line"), read=read_carriers,
    ),
    Field(
        "sets", n_("Sets"), "text",
        n_(
            "Set numbers, separated by spaces; empty: as many of the last decided ones as there are carriers."
        ),
    ),
    Field(
        "spacers", n_("Spacers there are"), "other",
        n_("As 1.500mm*3 1.525mm*2; empty: those on the shelf (Settings)."), read=read_spacers,
    ),
    Field("coming", n_("Sets in the coming week"), "count", usual=(1, 10_000)),
    Field("step", n_("Step of sizes that can be bought"), "length"),
    Field("service", n_("Service level for each size"), "other", read=batch.percent),
)  # fmt: skip


def matching_fields(store: JobStore, design: str) -> dict[str, str]:
    """Return what was typed last into the matching of a design; empty while nothing was."""
    said = [s for s in batch.sheets(store) if s.kind == batch.MATCHING and s.content.get("design") == design]
    return {key: str(value) for key, value in said[-1].content.items()} if said else {}


def put_matching_fields(store: JobStore, fields: Mapping[str, str], *, who: str) -> None:
    """Keep what was typed into the matching of a design, unless it is what is kept already."""
    kept = {key: str(value)[:100_000] for key, value in fields.items()}
    if kept != matching_fields(store, kept.get("design", "")):
        batch.write_sheet(store, batch.MATCHING, who=who, content=kept)


@dataclass(frozen=True, eq=False)
class MatchAnswer:
    """A matching, and the order for the week or why there is none."""

    matching: plant.MatchingAnswer
    order: plant.Order | None
    order_trouble: Text
    sets: int
    from_shelf: bool


def match_answer(store: JobStore, typed: Mapping[str, str], system: System) -> MatchAnswer:
    """Match carriers, decided sets and spacers as typed into `MATCH_FIELDS`."""
    from axlewright.job.shelf import spacers

    answers = answered(MATCH_FIELDS, typed, system)
    design = in_field("design", _("Design"), lambda: find_design(store, answers.text("design"))).name
    answers.need("place", "carriers")
    place: Any = answers.choice("place")
    carriers = _carriers(answers, design)
    views = [v for v in reversed(batch.set_views(store, design)) if v.decided]
    every = [plant.MarkedSet(v.number, v.best.best_mm) for v in views if v.best is not None]
    chosen = _chosen(every, answers.text("sets"), len(carriers), design)
    typed_stock: tuple[StockItem, ...] | None = answers.other("spacers")
    stock = spacers(store, design) if typed_stock is None else typed_stock
    matching = plant.match(carriers, chosen, stock, place=place)
    order: plant.Order | None = None
    trouble: Text = ""
    try:
        order = plant.stock_to_order(
            carriers,
            every,
            stock,
            place=place,
            coming=answers.count("coming") or 40,
            step_mm=answers.length("step") or 0.0254,
            service_level=0.95 if not answers.given("service") else answers.other("service"),
        )
    except AxlewrightError as error:
        trouble = error.text
    return MatchAnswer(matching, order, trouble, len(chosen), typed_stock is None)


def _carriers(answers: Answers, design: str) -> list[plant.Carrier]:
    typed: tuple[TypedCarrier, ...] = answers.other("carriers")
    own = [one for one in typed if not one.design or one.design.casefold() == design.casefold()]
    if not own:
        raise answers.error(
            "carriers",
            _("no carrier of {design} is among them").format(design=design),
            _("type number and spacer, one carrier on a line"),
        )
    return [plant.Carrier(one.number, one.zero_spacer_mm) for one in own]


def _chosen(every: Sequence[plant.MarkedSet], text: str, most: int, design: str) -> list[plant.MarkedSet]:
    wanted = text.replace(",", " ").replace(";", " ").split()
    known = {one.number: one for one in every}
    missing = [n for n in wanted if n not in known]
    label = _("Sets")
    if missing:
        shown = ", ".join(number[:40] for number in missing[:8])
        raise FieldError(
            "sets", label,
            _("no decided best position of {numbers}").format(numbers=shown),
            _("run them first, or leave them out"),
        )  # fmt: skip
    found = [known[n] for n in dict.fromkeys(wanted)] if wanted else list(every[-most:])
    if not found:
        raise FieldError(
            "sets", label, _("no set of {design} has a decided best position").format(design=design),
            _("enter readings first"),
        )  # fmt: skip
    return found
