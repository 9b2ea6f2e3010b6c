"""Matching carriers, sets and spacers from what was typed and what the roll-test log knows."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from axlewright.errors import AxlewrightError
from axlewright.job.batch_answers import set_views
from axlewright.job.designs import find_design
from axlewright.language import _
from axlewright.plant import Carrier, MarkedSet, MatchingAnswer, Order, match, stock_to_order
from axlewright.setup.stock import StockItem
from axlewright.steps.answers import FieldError, in_field
from axlewright.units import LONGEST_LIST, System, as_typed, check_text, parse_length, show_length

if TYPE_CHECKING:
    from axlewright.records import JobStore


def read_carriers(text: str, system: System) -> tuple[Carrier, ...]:
    """Read carriers, one on a line: number and spacer for a zero mark, ``C-101 1.522 mm``."""
    out, seen = [], set()
    for row, typed in enumerate(text.splitlines(), start=1):
        label = _("Carriers, line {row}").format(row=row)
        line = in_field("carriers", label, lambda one=typed: as_typed(one))  # type: ignore[misc]
        if not line:
            continue
        parts = re.split("[; ]", line, maxsplit=1)
        if len(parts) < 2:
            raise FieldError(
                "carriers", label, _("'{line}' has no spacer").format(line=line[:40]),
                _("type the carrier's number and its spacer for a zero mark, such as C-101 1.522 mm"),
            )  # fmt: skip
        number = parts[0].strip(" ,;")
        if number in seen:
            raise FieldError(
                "carriers", label, _("{number} is there twice").format(number=number), _("leave one out")
            )
        seen.add(number)
        thickness = _spacer(parts[1], "carriers", label, system)
        out.append(Carrier(number, thickness))
    return tuple(out)


def _spacer(text: str, field: str, label: str, system: System) -> float:
    unit = "in" if system == "inch" else "mm"
    thickness = in_field(field, label, lambda: parse_length(text.strip(" ;"), default_unit=unit))
    if not 0.05 <= thickness <= 15.0:
        raise FieldError(
            field, label, _("{length} is no spacer").format(length=show_length(thickness, system)),
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
        thickness = _spacer(size, "spacers", label, system)
        out.append(StockItem(show_length(thickness, system), thickness, int(count or 1)))
    return tuple(out)


@dataclass(frozen=True, eq=False)
class MatchAnswer:
    """A matching, and the order for the week or why there is none."""

    matching: MatchingAnswer
    order: Order | None
    order_trouble: str
    sets: int
    from_shelf: bool


def match_answer(store: JobStore, fields: Mapping[str, str], system: System) -> MatchAnswer:
    """Match carriers, decided sets and spacers as typed; see the form for the fields."""
    from axlewright.job.shelf import spacers

    design = find_design(store, fields.get("design", "")).name
    place = fields.get("place", "")
    if place not in ("under_head", "behind_cup", "cage_flange"):
        raise FieldError(
            "place", _("Where the spacer sits"), _("nothing chosen"),
            _("say where it sits: it decides whether plus makes it thinner or thicker"),
        )  # fmt: skip
    carriers = read_carriers(fields.get("carriers", ""), system)
    if not carriers:
        raise FieldError(
            "carriers", _("Carriers"), _("nothing typed"), _("type number and spacer, one carrier on a line")
        )
    views = [v for v in reversed(set_views(store, design)) if v.decided and v.best is not None]
    every = [MarkedSet(v.number, v.best.best_mm) for v in views if v.best is not None]
    chosen = _chosen(every, fields.get("sets", ""), len(carriers), design)
    typed = fields.get("spacers", "").strip()
    stock = read_spacers(typed, system) if typed else spacers(store, design)
    answer = match(carriers, chosen, stock, place=place)  # type: ignore[arg-type]
    order, trouble = None, ""
    try:
        order = stock_to_order(
            carriers,
            every,
            stock,
            place=place,  # type: ignore[arg-type]
            coming=_number(fields.get("coming", ""), "coming", _("Sets in the coming week"), 40),
            step_mm=in_field(
                "step",
                _("Step of sizes"),
                lambda: parse_length(
                    fields.get("step", "") or "0.001 in", default_unit="in" if system == "inch" else "mm"
                ),
            ),
            service_level=_number(fields.get("service", ""), "service", _("Service level"), 95) / 100.0,
        )
    except FieldError:
        raise
    except AxlewrightError as error:
        trouble = str(error)
    return MatchAnswer(answer, order, trouble, len(chosen), not typed)


def _number(text: str, field: str, label: str, default: int) -> int:
    clean = text.strip().rstrip("%").strip()
    if not clean:
        return default
    if not (clean.isascii() and clean.isdecimal() and len(clean) < 7):
        raise FieldError(
            field, label, _("'{text}' is no whole number").format(text=clean[:20]), _("type one like 40")
        )
    return int(clean)


def _chosen(every: Sequence[MarkedSet], text: str, most: int, design: str) -> list[MarkedSet]:
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
