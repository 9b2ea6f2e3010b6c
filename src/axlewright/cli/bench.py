"""Commands of the bench: spacer, photos, jobs and the page."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from axlewright.cli.options import check_compound, plain_errors, print_json
from axlewright.errors import InputError
from axlewright.language import _
from axlewright.units import parse_length, show_length


def _lengths(text: str, unit: str, where: str) -> tuple[float, ...]:
    """Read one or several lengths, as the fields of the page understand them."""
    from axlewright.bench.typed import split_readings

    try:
        parts = split_readings(text)
    except InputError as error:
        raise InputError(error.what, where=where, fix=error.fix) from error
    out = [parse_length(f"{number} {own}".strip(), default_unit=unit, where=where) for number, own in parts]
    if not out:
        raise InputError(_("nothing was typed"), where=where, fix=_("give at least one length"))
    return tuple(out)


def _unit_of(mark: str) -> str | None:
    """Return the unit a depth mark was taken in, so that the other one can be thought of as well."""
    if not mark:
        return None
    return "0.01 mm" if mark.rstrip().lower().endswith(("mm", "µm", "um")) else "0.001 in"


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
        MeasuredLength,
        RepeatedReadings,
        StockItem,
        nearest_spacer,
        spacer_from_carrier,
    )

    gauge = Instrument("gauge", resolution_mm=parse_length(resolution, where="--resolution"))

    def quantity(label: str, text: str, where: str) -> Any:
        return RepeatedReadings(label, _lengths(text, unit, where), gauge).quantity

    depth_mark = None
    if mark:
        try:
            value = float(mark.replace("−", "-").replace(",", "."))
        except ValueError:
            raise InputError(
                _("'{mark}' is no mark").format(mark=mark), where="--mark", fix=_("type for example +2 or -3")
            ) from None
        depth_mark = DepthMark(value, mark_unit, mark_meaning)  # type: ignore[arg-type]
    md = MeasuredLength(
        _("mounting distance"),
        parse_length(mounting_distance, default_unit=unit, where="--mounting-distance"),
    )
    result = spacer_from_carrier(
        quantity(_("carrier, axis to cup shoulder"), carrier, "--carrier"),
        quantity(_("bearing width"), bearing, "--bearing"),
        md,
        depth_mark,
        place=place,  # type: ignore[arg-type]
        cage_height=quantity(_("cage height"), cage_height, "--cage-height") if cage_height else None,
    )
    system: Any = "metric" if unit == "mm" else "inch"
    choice = None
    if stock:
        shelf = [StockItem(f"{k + 1}", mm) for k, mm in enumerate(_lengths(stock, unit, "--stock"))]
        choice = nearest_spacer(result.value_mm, shelf, place=result.place)
    if as_json:
        low, high = result.interval_95_mm
        print_json(
            {
                "spacer_mm": round(result.value_mm, 5),
                "standard_uncertainty_mm": round(result.standard_uncertainty_mm, 5),
                "interval_95_mm": [round(low, 5), round(high, 5)],
                "sum": result.text(system),
                "terms": [
                    {
                        "label": t.label,
                        "value_mm": t.value_mm,
                        "sign": t.sign,
                        "standard_uncertainty_mm": t.standard_uncertainty_mm,
                    }
                    for t in result.terms
                ],
                "other_convention": result.other_convention_text(system) if result.other_convention else None,
                "questions": list(result.questions),
                "stock": None
                if choice is None
                else {
                    "thickness_mm": choice.thickness_mm,
                    "remainder_mm": choice.remainder_mm,
                    "pinion_out_mm": choice.pinion_out_mm,
                    "text": choice.text(system),
                },
            }
        )
        return
    typer.echo(_("Spacer: {sum}").format(sum=result.text(system)))
    low, high = result.interval_95_mm
    typer.echo(
        "  "
        + _("95 % between {low} and {high}").format(
            low=show_length(low, system), high=show_length(high, system)
        )
    )
    if result.other_convention is not None:
        typer.echo(f"  {result.other_convention_text(system)}")
    for question in result.questions:
        typer.echo(f"  ? {question}")
    if choice is not None:
        typer.echo(f"  {choice.text(system)}")


@plain_errors
def read(
    design: Annotated[str, typer.Option(help="Name of a design or path of a design file.")],
    more: Annotated[list[str] | None, typer.Argument(hidden=True, metavar="[READING]")] = None,
    drive: Annotated[Path | None, typer.Option(help="Photo of the drive (convex) flank.")] = None,
    drive_corners: Annotated[
        str, typer.Option(help="'x,y x,y x,y x,y': toe-top heel-top heel-root toe-root, pixels.")
    ] = "",
    drive_words: Annotated[
        str, typer.Option(help="In place of a photo: 'high, toward heel, about half'.")
    ] = "",
    coast: Annotated[Path | None, typer.Option(help="Photo of the coast (concave) flank.")] = None,
    coast_corners: Annotated[str, typer.Option(help="As for drive.")] = "",
    coast_words: Annotated[str, typer.Option(help="As for drive.")] = "",
    compound: Annotated[str, typer.Option(help="rubbed, print or auto.")] = "auto",
    backlash: Annotated[
        list[str] | None,
        typer.Option(help="Backlash round the ring gear: 0.15mm 0.17mm, or '0.15 0.17 mm'."),
    ] = None,
    backlash_target: Annotated[str, typer.Option(help="Stamped or wanted backlash.")] = "",
    mark: Annotated[
        str, typer.Option(help="What the depth mark asks of the mounting distance, such as +0.002in.")
    ] = "",
    spacer_now: Annotated[str, typer.Option(help="Thickness of the spacer fitted now.")] = "",
    place: Annotated[str, typer.Option(help="under_head, behind_cup or cage_flange.")] = "under_head",
    stock: Annotated[str, typer.Option(help="Measured spacers on the shelf, with units or in mm.")] = "",
    spacer_step: Annotated[
        str, typer.Option(help="Step in which depth spacers are to be had; 0.0005 in when not given.")
    ] = "",
    side_shims: Annotated[
        str, typer.Option(help="Side shims fitted now, ring gear's side then the other: '0.250in 0.265in'.")
    ] = "",
    shim_step: Annotated[str, typer.Option(help="Step in which side shims can be changed.")] = "0.001in",
    condition: Annotated[
        str, typer.Option(help="new or used: a used set is held against its own wear trace.")
    ] = "new",
    drives_on: Annotated[
        str, typer.Option(help="Flank that pulls going forward: drive, or coast as on many front axles.")
    ] = "drive",
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Read photos of both flanks and say what is wrong and what to change."""
    from axlewright.diagnosis import Evidence, Goal, diagnose, show_chance
    from axlewright.gearset import load_design
    from axlewright.pattern import (
        PhotoReading,
        RefusedPhotoError,
        judge,
        pattern_from_words,
        read_photo,
        settle_pair,
    )

    if more and not backlash:
        raise InputError(
            _("'{word}' belongs to no option").format(word=more[0]),
            fix=_("backlash readings stand after --backlash; see --help for the rest"),
        )
    loaded = load_design(design)
    goal = Goal.for_axle(drives_on)
    shims = _lengths(side_shims, "mm", "--side-shims") if side_shims else ()
    if shims and len(shims) != 2:
        raise InputError(
            _("two thicknesses are needed"),
            where="--side-shims",
            fix=_("give the thickness on the ring gear's side, then that on the other side"),
        )
    refused: dict[Any, RefusedPhotoError] = {}

    def reading(flank: Any, photo: Path | None, corners: str, words: str) -> Any:
        if photo is not None:
            if not corners:
                raise InputError(
                    _("four corners are needed"),
                    where=f"--{flank}-corners",
                    fix=_("tap toe-top, heel-top, heel-root, toe-root"),
                )
            try:
                return read_photo(photo, corners, loaded, flank, compound=check_compound(compound))
            except RefusedPhotoError as error:
                refused[flank] = error
        return pattern_from_words(words, flank) if words else None

    looks = {
        "drive": reading("drive", drive, drive_corners, drive_words),
        "coast": reading("coast", coast, coast_corners, coast_words),
    }
    if refused and not any(looks.values()):
        raise next(iter(refused.values()))
    one, two = looks["drive"], looks["coast"]
    if isinstance(one, PhotoReading) and isinstance(two, PhotoReading):
        looks["drive"], looks["coast"] = settle_pair(one, two, loaded)
    readings = [
        mm for text in [*(backlash or []), *(more or [])] for mm in _lengths(text, "mm", "--backlash")
    ]
    found = diagnose(
        Evidence(
            loaded,
            looks["drive"],
            looks["coast"],
            backlash_mm=sum(readings) / len(readings) if readings else None,
            backlash_tightest_mm=min(readings, default=None),
            backlash_target_mm=parse_length(backlash_target, default_unit="mm", where="--backlash-target")
            if backlash_target
            else None,
            mark_mm=parse_length(mark, where="--mark") if mark else None,
            mark_unit=_unit_of(mark),
            spacer_now_mm=parse_length(spacer_now, where="--spacer-now") if spacer_now else None,
            place=place,  # type: ignore[arg-type]
            refused=tuple(refused),
            side_shims_mm=(shims[0], shims[1]) if shims else None,
        ),
        spacer_stock=_lengths(stock, "mm", "--stock") if stock else None,
        spacer_step_mm=parse_length(spacer_step, default_unit="mm", where="--spacer-step")
        if spacer_step
        else None,
        shim_step_mm=parse_length(shim_step, default_unit="mm", where="--shim-step"),
        goal=goal,
    )
    form, state = loaded.tooth_form, condition
    verdicts = {
        flank: judge(look, tooth_form=form, condition=state, drives_on=drives_on)  # type: ignore[arg-type]
        for flank, look in looks.items()
        if look is not None
    }
    if as_json:
        measured = {
            k: None if v is None else {**v.summary(), "acceptance": [one.to_json() for one in verdicts[k]]}
            for k, v in looks.items()
        }
        unread = {k: {"what": e.what, "where": e.where, "fix": e.fix} for k, e in refused.items()}
        print_json({"design": loaded.name, **measured, "refused": unread, **found.to_json()})
        return
    for name, look in looks.items():
        if name in refused:
            typer.echo(f"{_(name):5}: " + _("photo refused: {reason}").format(reason=str(refused[name])))
        if look is not None:
            typer.echo(f"{_(name):5}: {look.pattern.describe()}")
            for note in look.quality:
                typer.echo(f"       {note}")
            for one in verdicts[name]:
                sign = {"inside": "✓", "outside": "✕"}.get(one.kind, "?")
                typer.echo(f"       {sign} {one.text}")
    typer.echo(_("Cause: {words}").format(words=found.words))
    pinion, ring = found.cure["pinion_move_mm"], found.cure["ring_move_mm"]
    typer.echo(
        _(
            "Cure, known better: pinion {pinion} ± {pinion_sd} out, ring gear {ring} ± {ring_sd} away; with "
            "a minus in, or closer."
        ).format(
            pinion=show_length(pinion.mean, signed=True),
            pinion_sd=show_length(pinion.sd),
            ring=show_length(ring.mean, signed=True),
            ring_sd=show_length(ring.sd),
        )
    )
    typer.echo(found.figures)
    for k, item in enumerate(found.advice[:3], start=1):
        typer.echo(f"{k}. {item.text}")
        if item.look_again:
            typer.echo(f"   {item.cost_words}")
            continue
        chance = show_chance(item.chance_last_teardown)
        typer.echo(
            _("   {cost_words}; chance of being the last teardown {chance}").format(
                cost_words=item.cost_words, chance=chance
            )
        )
        for name, pattern in item.expected.items():
            typer.echo(
                _("   expected, {flank} flank: {pattern}").format(flank=_(name), pattern=pattern.describe())
            )
        if item.expected_backlash_mm is not None:
            mean, tight = item.expected_backlash_mm, item.expected_tightest_mm
            typer.echo(
                _("   expected backlash: {length}").format(length=show_length(mean))
                if tight is None or tight == mean
                else _("   expected backlash: mean {mean}, at the tightest place {tightest}").format(
                    mean=show_length(mean), tightest=show_length(tight)
                )
            )


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
