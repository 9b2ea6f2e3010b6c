"""The command that reads photos of both flanks: from what is seen to what should be changed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from axlewright.cli.options import COMPOUND, lengths_of, print_json
from axlewright.errors import InputError
from axlewright.language import eager as _
from axlewright.units import parse_length, show_length

if TYPE_CHECKING:
    from axlewright.job.photos import FlankLook, FlankName
    from axlewright.job.rounds import Judged
    from axlewright.steps.answers import FieldError

    Refused = dict[FlankName, list[tuple[FlankLook, FieldError]]]


def _unit_of(mark: str) -> str | None:
    """Return the unit a depth mark was taken in, so that the other one can be thought of as well."""
    if not mark:
        return None
    return "0.01 mm" if mark.rstrip().lower().endswith(("mm", "µm", "um")) else "0.001 in"


def _length_of(text: str, option: str, default_unit: str = "") -> float | None:
    return parse_length(text, default_unit=default_unit, where=option) if text else None


def _looks(
    flank: str,
    photo: Path | None,
    corners: str,
    words: str,
    again: list[Path] | None,
    again_corners: list[str] | None,
) -> list[FlankLook]:
    """Return what is given of a flank; the same file twice tells nothing new."""
    from axlewright.job.photos import FlankLook

    photos, taps = again or [], again_corners or []
    if len(photos) != len(taps):
        raise InputError(
            _("photos and sets of corners differ in number ({photos} and {taps})").format(
                photos=len(photos), taps=len(taps)
            ),
            where=f"--{flank}-again-corners",
            fix=_("give four corners for each photo, in the same order"),
        )
    if photos and photo is None:
        raise InputError(
            _("there is no first photo of this flank"),
            where=f"--{flank}-again",
            fix=_("give the first one with --{flank}").format(flank=flank),
        )
    for k, other in enumerate(photos):
        if other.exists() and any(o is not None and _same_file(other, o) for o in (photo, *photos[:k])):
            raise InputError(
                _("the same photo is given twice"),
                where=f"--{flank}-again",
                fix=_("photograph another tooth"),
            )
    first = [] if photo is None else [FlankLook(photo, corners, called=f"--{flank} {photo.name}")]
    more = [
        FlankLook(other, tapped, called=f"--{flank}-again {other.name}")
        for other, tapped in zip(photos, taps, strict=True)
    ]
    return [*first, *more, FlankLook(words=words, called=f"--{flank}-words")]


def _same_file(one: Path, other: Path) -> bool:
    return other.exists() and (one.samefile(other) or one.read_bytes() == other.read_bytes())


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
    drive_again: Annotated[
        list[Path] | None,
        typer.Option(help="One more photo of the drive flank at this setting, another tooth."),
    ] = None,
    drive_again_corners: Annotated[
        list[str] | None, typer.Option(help="Its corners, one for each --drive-again.")
    ] = None,
    coast_again: Annotated[list[Path] | None, typer.Option(help="As for drive.")] = None,
    coast_again_corners: Annotated[list[str] | None, typer.Option(help="As for drive.")] = None,
    compound: COMPOUND = "auto",
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
    from axlewright.gearset import load_design
    from axlewright.job.photos import read_looks
    from axlewright.job.rounds import PHOTOGRAPHED, Setting, judge_looks

    if more and not backlash:
        raise InputError(
            _("'{word}' belongs to no option").format(word=more[0]),
            fix=_("backlash readings stand after --backlash; see --help for the rest"),
        )
    loaded = load_design(design)
    shims = lengths_of(side_shims, "mm", "--side-shims") if side_shims else ()
    if shims and len(shims) != 2:
        raise InputError(
            _("two thicknesses are needed"),
            where="--side-shims",
            fix=_("give the thickness on the ring gear's side, then that on the other side"),
        )
    given: dict[FlankName, list[FlankLook]] = {
        "drive": _looks("drive", drive, drive_corners, drive_words, drive_again, drive_again_corners),
        "coast": _looks("coast", coast, coast_corners, coast_words, coast_again, coast_again_corners),
    }
    how: Any = compound
    seen, refused = read_looks(loaded, given, how)
    readings = [
        mm for text in [*(backlash or []), *(more or [])] for mm in lengths_of(text, "mm", "--backlash")
    ]
    setting = Setting(
        place=place,  # type: ignore[arg-type]
        spacer_now_mm=_length_of(spacer_now, "--spacer-now"),
        mark_mm=_length_of(mark, "--mark"),
        mark_unit=_unit_of(mark),
        backlash_mm=sum(readings) / len(readings) if readings else None,
        backlash_tightest_mm=min(readings, default=None),
        backlash_target_mm=_length_of(backlash_target, "--backlash-target", "mm"),
        condition=condition,  # type: ignore[arg-type]
        drives_on=drives_on,  # type: ignore[arg-type]
        side_shims_mm=(shims[0], shims[1]) if shims else None,
    )
    looks = {flank: [one.look for one in several] for flank, several in seen.items()}
    judged = judge_looks(
        loaded,
        looks,
        setting,
        refused=[
            flank
            for flank in refused
            if not any(look.reading.source in PHOTOGRAPHED for look in looks.get(flank, ()))
        ],
        spacer_stock=lengths_of(stock, "mm", "--stock") if stock else None,
        spacer_step_mm=_length_of(spacer_step, "--spacer-step", "mm"),
        shim_step_mm=parse_length(shim_step, default_unit="mm", where="--shim-step"),
    )
    if as_json:
        print_json({"design": loaded.name, **_as_json(judged, refused)})
    else:
        _print(judged, refused)


def _as_json(judged: Judged, refused: Refused) -> dict[str, Any]:
    from axlewright.job.photos import FLANKS

    measured: dict[str, Any] = {
        flank: None
        if (reading := judged.readings.get(flank)) is None
        else {**reading.summary(), "acceptance": [one.to_json() for one in judged.verdicts[flank]]}
        for flank in FLANKS
    }
    unread = {
        flank: {
            "photo": _file_of(look),
            "what": error.what,
            "where": getattr(error.__cause__, "where", error.where),
            "fix": error.fix,
        }
        for flank, ((look, error), *_more) in refused.items()
    }
    return {**measured, "refused": unread, **judged.diagnosis.to_json()}


def _file_of(look: FlankLook) -> str:
    return look.photo.name if isinstance(look.photo, Path) else ""


def _print(judged: Judged, refused: Refused) -> None:
    """Print what was seen, the cause, the cure and the first three ways of bringing it right."""
    from axlewright.diagnosis import show_chance
    from axlewright.job.pattern_shown import backlash_then
    from axlewright.job.photos import FLANKS

    for name in FLANKS:
        for look, error in refused.get(name, ()):
            told = _("photo refused: {reason}").format(reason=f"{_file_of(look)}: {error.__cause__}")
            typer.echo(f"{_(name):5}: {told}")
        reading = judged.readings.get(name)
        if reading is None:
            continue
        typer.echo(f"{_(name):5}: {reading.pattern.describe()}")
        for note in reading.quality:
            typer.echo(f"       {note}")
        for verdict in judged.verdicts[name]:
            sign = {"inside": "✓", "outside": "✕"}.get(verdict.kind, "?")
            typer.echo(f"       {sign} {verdict.text}")
    found = judged.diagnosis
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
        for flank, pattern in item.expected.items():
            typer.echo(
                _("   expected, {flank} flank: {pattern}").format(flank=_(flank), pattern=pattern.describe())
            )
        if then := backlash_then(item.to_json()):
            typer.echo(_("   expected backlash: {length}").format(length=then))
