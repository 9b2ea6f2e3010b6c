"""Spacers and shims on the shelf, as the sums want them."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from axlewright.errors import InputError
from axlewright.language import Number, Text, _, joined, n_, read_kept
from axlewright.steps.answers import REALLY, Answers, one_or_all, typed_readings
from axlewright.steps.field import Choice, Field
from axlewright.units import Length, System

if TYPE_CHECKING:
    from axlewright.job.view import JobView
    from axlewright.records import Entry, JobStore
    from axlewright.setup import StockItem

PINION_SPACER: Final = "pinion spacer"
PINION_LEAF: Final = "pinion shim leaf"
SIDE_SHIM: Final = "side shim"
PRELOAD_SPACER: Final = "preload spacer"
SAME_MM: Final = 1e-5
OTHER_MM: Final = 0.005
"""A piece measured this far off is another one (common practice, no source)."""
USUAL_MM: Final = {
    PINION_SPACER: (0.1, 20.0),
    PINION_LEAF: (0.02, 3.0),
    SIDE_SHIM: (0.07, 20.0),
    PRELOAD_SPACER: (0.1, 80.0),
}
"""Usual thickness of each kind [mm] (this program's own, common practice, no source)."""
KINDS: Final = (PINION_SPACER, PINION_LEAF, SIDE_SHIM, PRELOAD_SPACER)
STOCK_FIELDS: Final = (
    Field(
        "kind",
        n_("What"),
        "choice",
        choices=tuple(Choice(kind, kind) for kind in KINDS),
        default=KINDS[0],
    ),
    Field(
        "thickness",
        n_("Measured thickness"),
        "lengths",
        n_("Several sizes at once, separated by spaces."),
        needed=True,
    ),
    Field("count", n_("How many of each"), "count", default="1"),
    Field("part", n_("Written on it or its bin"), "text"),
)
"""What is typed when pieces are put on the shelf."""


def spacers(store: JobStore, design_name: str = "", kind: str = PINION_SPACER) -> tuple[StockItem, ...]:
    """Return the pieces on the shelf that fit a design: its own and those for any."""
    from axlewright.setup import StockItem

    out = []
    for item in store.stock.list(kind=kind, in_stock_only=True):
        if item.design_name and design_name and item.design_name != design_name:
            continue
        word = _(n_("the spacer") if kind == PINION_SPACER else kind)
        nominal = joined(word, Length(item.nominal_mm)) if item.nominal_mm else ""
        out.append(StockItem(item.part or nominal, item.thickness_mm, item.count, word))
    return tuple(out)


def shelf_sizes(kind: str, thicknesses: str, *, system: System = "inch", really: bool = False) -> list[float]:
    """Return the thicknesses [mm] in one text, as the shelf understands them.

    Parameters
    ----------
    really : bool
        Unusual thicknesses were asked about and are meant.

    Raises
    ------
    InputError
        A `FieldError` when it is about the thickness: nothing typed, no reading, unusual, or a unit written
        onto one of several, which may be meant for that one alone.
    """
    if kind not in KINDS:
        raise InputError(
            _("unknown kind '{kind}'").format(kind=kind),
            where=_("kind"),
            fix=_("use {kinds}").format(kinds=", ".join(KINDS)),
        )
    typed = {"thickness": thicknesses, REALLY: "yes" if really else ""}
    field = Field("thickness", n_("thickness"), "lengths", missing=n_("type the measured thickness"))
    answers = Answers([field], typed, system)
    answers.need("thickness")
    readings = typed_readings(thicknesses)
    with_unit = [one for one in readings if one.unit]
    if len(with_unit) == 1 and with_unit[0].glued and len(readings) > 1:
        question = one_or_all(with_unit[0], len(readings))
        raise answers.error("thickness", question.what, question.fix)
    return list(Answers([replace(field, usual=USUAL_MM[kind])], typed, system).lengths("thickness"))


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
    really: bool = False,
) -> int:
    """Put pieces on the shelf, several thicknesses in one field; return how many sizes.

    Raises
    ------
    InputError
        See `shelf_sizes`; nothing is put there then.
    """
    sizes = shelf_sizes(kind, thicknesses, system=system, really=really)
    for size in sizes:
        store.stock.add(kind, size, count=count, part=part, design_name=design_name, who=who)
    return len(sizes)


def to_take(view: JobView, step: str) -> Text:
    """Name the pieces that a step's newest answer wants from the shelf; empty once they are taken."""
    latest = view.step(step).latest
    if latest is None or latest.result is None or not latest.result.values.get("shelf_leaves_mm"):
        return ""
    values = latest.result.values
    notes = [e for e in view.entries if e.kind == "note"]
    if values.get("fitted"):
        another = abs(float(values["spacer_now_mm"]) - float(values["shelf_mm"])) > OTHER_MM
        if another and not values.get("fitted_from"):
            return ""  # something else went in
        if not another and values.get("fitted_from") and any(e.payload.get("taken_for") for e in notes):
            return ""  # it is in already
    taken = any(e.payload.get("taken_for") == latest.seq for e in notes)
    return "" if taken else read_kept(latest.result.values.get("shelf_label", ""))


def take_for_job(store: JobStore, number: int, seq: int, *, who: str) -> Entry:
    """Take from the shelf what the answer to a reading named, once, and write it down.

    Parameters
    ----------
    seq : int
        Of the reading.

    Raises
    ------
    InputError
        The answer named nothing, or a piece is not there any more.
    """
    job = store.get_job(number)
    results = [e for e in store.entries(number, kind="result") if e.payload.get("of") == seq]
    leaves = results[-1].payload.get("values", {}).get("shelf_leaves_mm", []) if results else []
    if not leaves:
        raise InputError(
            _("nothing from the shelf was named there"), where=_("shelf"), fix=_("work the spacer out first")
        )
    pieces = [item for kind in (PINION_SPACER, PINION_LEAF) for item in store.stock.list(kind=kind)]
    for place, thickness in enumerate(leaves):
        fitting = [item for item in pieces if abs(item.thickness_mm - float(thickness)) < SAME_MM]
        own = [item for item in fitting if item.design_name in ("", job.design_name)]
        if not own:
            raise InputError(
                _("the piece of {size} mm is not on the shelf").format(size=Number(float(thickness), "g")),
                where=_("shelf"),
                fix=_("count the shelf in Settings"),
            )
        there = max(own, key=lambda item: item.count)
        key = f"{job.uid}-{seq}-{place}"
        store.stock.move(there.id, -1, who=who, job=number, idempotency_key=key)
    label = read_kept(results[-1].payload["values"].get("shelf_label", ""))
    return store.add_entry(
        number,
        "note",
        results[-1].step,
        {"text": _("taken from the shelf: {pieces}").format(pieces=label), "taken_for": seq},
        who=who,
        idempotency_key=f"shelf-{seq}",
    )
