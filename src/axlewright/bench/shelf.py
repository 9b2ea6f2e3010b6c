"""Spacers and shims on the shelf, as the sums want them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from axlewright.errors import InputError
from axlewright.units import MM_PER_INCH, System

if TYPE_CHECKING:
    from axlewright.records import JobStore
    from axlewright.setup import StockItem

PINION_SPACER: Final = "pinion spacer"
PINION_LEAF: Final = "pinion shim leaf"
SIDE_SHIM: Final = "side shim"
PRELOAD_SPACER: Final = "preload spacer"
KINDS: Final = (PINION_SPACER, PINION_LEAF, SIDE_SHIM, PRELOAD_SPACER)


def spacers(store: JobStore, design_name: str = "", kind: str = PINION_SPACER) -> tuple[StockItem, ...]:
    """Return the pieces on the shelf that fit a design: its own and those for any."""
    from axlewright.setup import StockItem

    out = []
    for item in store.stock.list(kind=kind, in_stock_only=True):
        if item.design_name and design_name and item.design_name != design_name:
            continue
        word = {PINION_SPACER: "the spacer"}.get(kind, kind)
        label = item.part or f"{word} {(item.nominal_mm or item.thickness_mm) / MM_PER_INCH:.4f}"
        out.append(StockItem(label, item.thickness_mm, item.count))
    return tuple(out)


def put_on_shelf(
    store: JobStore,
    kind: str,
    thicknesses: str,
    *,
    count: int = 1,
    part: str = "",
    design_name: str = "",
    who: str,
    system: System = "inch",
) -> int:
    """Put pieces on the shelf, several thicknesses in one field; return how many sizes.

    Raises
    ------
    InputError
    """
    from axlewright.bench.typed import Typed

    typed = Typed({"thickness": thicknesses}, {"thickness": "thickness"}, system)
    if kind not in KINDS:
        raise InputError(f"unknown kind '{kind}'", where="kind", fix=f"use {' or '.join(KINDS)}")
    sizes = typed.lengths("thickness", low=0.05, high=15.0, required="type the measured thickness")
    for size in sizes:
        store.stock.add(kind, size, count=count, part=part, design_name=design_name, who=who)
    return len(sizes)
