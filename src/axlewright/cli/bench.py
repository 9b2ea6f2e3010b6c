"""Commands of the bench: the depth spacer, and the page."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from axlewright.cli.options import lengths_of, plain_errors, print_json
from axlewright.errors import InputError
from axlewright.language import eager as _
from axlewright.units import Length, parse_length, using_system

if TYPE_CHECKING:
    from axlewright.setup import SpacerResult, StockChoice


@plain_errors
def spacer(
    carrier: Annotated[
        str, typer.Option(help="Axis to cup shoulder, one or more readings: '4.3125 4.3130 4.3125'.")
    ],
    bearing: Annotated[str, typer.Option(help="Assembled bearing width, one or more readings.")],
    mounting_distance: Annotated[str, typer.Option(help="Mounting distance of a zero-marked set.")],
    place: Annotated[str, typer.Option(help="under_head, behind_cup or cage_flange.")],
    mark: Annotated[str, typer.Option(help="The set's depth mark, such as +2; 0 when marked 0.")] = "",
    mark_unit: Annotated[str, typer.Option(help="'0.001 in', '0.01 mm' or '0.001 mm'.")] = "",
    mark_meaning: Annotated[
        str,
        typer.Option(help="plus_means_larger_mounting_distance or plus_means_thicker_spacer."),
    ] = "",
    cage_height: Annotated[
        str, typer.Option(help="Cage flange face to cup shoulder, cage_flange only.")
    ] = "",
    unit: Annotated[str, typer.Option(help="Unit of bare numbers: in or mm.")] = "in",
    resolution: Annotated[str, typer.Option(help="Smallest step of the gauge.")] = "0.0005 in",
    stock: Annotated[str, typer.Option(help="Measured spacers on the shelf.")] = "",
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Work out the pinion depth spacer from readings and the set's mark."""
    from axlewright.setup import (
        DepthMark,
        Instrument,
        RepeatedReadings,
        StockItem,
        nearest_spacer,
        spacer_from_carrier,
    )

    gauge = Instrument("gauge", resolution_mm=parse_length(resolution, where="--resolution"))

    def quantity(label: str, text: str, where: str) -> Any:
        return RepeatedReadings(label, lengths_of(text, unit, where), gauge).quantity

    depth_mark = None
    if mark:
        try:
            value = float(mark.replace("−", "-").replace(",", "."))
        except ValueError:
            raise InputError(
                _("'{mark}' is no mark").format(mark=mark), where="--mark", fix=_("type for example +2 or -3")
            ) from None
        depth_mark = DepthMark(value, mark_unit, mark_meaning)  # type: ignore[arg-type]
    md = Length(
        parse_length(mounting_distance, default_unit=unit, where="--mounting-distance"),
        label=_("mounting distance"),
    )
    result = spacer_from_carrier(
        quantity(_("carrier, axis to cup shoulder"), carrier, "--carrier"),
        quantity(_("bearing width"), bearing, "--bearing"),
        md,
        depth_mark,
        place=place,  # type: ignore[arg-type]
        cage_height=quantity(_("cage height"), cage_height, "--cage-height") if cage_height else None,
    )
    choice = None
    if stock:
        shelf = [StockItem(f"{k + 1}", mm) for k, mm in enumerate(lengths_of(stock, unit, "--stock"))]
        choice = nearest_spacer(result.value_mm, shelf, place=result.place)
    with using_system("metric" if unit == "mm" else "inch"):
        if as_json:
            _print_json(result, choice)
        else:
            _print(result, choice)


def _print_json(result: SpacerResult, choice: StockChoice | None) -> None:
    low, high = result.interval_95_mm
    print_json(
        {
            "spacer_mm": round(result.value_mm, 5),
            "standard_uncertainty_mm": round(result.standard_uncertainty_mm, 5),
            "interval_95_mm": [round(low, 5), round(high, 5)],
            "sum": str(result.total),
            "terms": [
                {
                    "label": str(t.label),
                    "value_mm": t.quantity.value,
                    "sign": t.sign,
                    "standard_uncertainty_mm": t.standard_uncertainty,
                }
                for t in result.terms
            ],
            "other_convention": str(result.other_convention_text()) or None,
            "questions": [str(question) for question in result.questions],
            "stock": None
            if choice is None
            else {
                "thickness_mm": choice.thickness_mm,
                "remainder_mm": choice.remainder_mm,
                "pinion_out_mm": choice.pinion_out_mm,
                "text": str(choice.text()),
            },
        }
    )


def _print(result: SpacerResult, choice: StockChoice | None) -> None:
    typer.echo(_("Spacer: {sum}").format(sum=result.total))
    low, high = result.interval_95_mm
    typer.echo("  " + _("95 % between {low} and {high}").format(low=Length(low), high=Length(high)))
    if result.other_convention is not None:
        typer.echo(f"  {result.other_convention_text()}")
    for question in result.questions:
        typer.echo(f"  ? {question}")
    if choice is not None:
        typer.echo(f"  {choice.text()}")


@plain_errors
def serve(
    host: Annotated[
        str, typer.Option(help="Address to listen on; this machine only by default.")
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option(help="Port; 0 takes a free one.")] = 8420,
    home: Annotated[Path | None, typer.Option(help="Folder of the records.")] = None,
) -> None:
    """Open the page for this machine."""
    from axlewright.web import serve as serve_page

    serve_page(host=host, port=port, store_folder=home)
