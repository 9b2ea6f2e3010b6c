"""The command that reads photos of both flanks: from what is seen to what should be changed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from axlewright.cli.options import check_compound, lengths_of, plain_errors, print_json
from axlewright.errors import InputError, PhotoError
from axlewright.language import eager as _
from axlewright.units import parse_length, show_length

if TYPE_CHECKING:
    from axlewright.pattern import PatternReading, PhotoReading


def _unit_of(mark: str) -> str | None:
    """Return the unit a depth mark was taken in, so that the other one can be thought of as well."""
    if not mark:
        return None
    return "0.01 mm" if mark.rstrip().lower().endswith(("mm", "µm", "um")) else "0.001 in"


def _once_more(
    flank: str,
    first: Path | None,
    photos: list[Path] | None,
    corners: list[str] | None,
) -> list[tuple[Path, str]]:
    """Return the further photos of a flank with their corners; the same file twice tells nothing new."""
    photos, corners = photos or [], corners or []
    if len(photos) != len(corners):
        raise InputError(
            _("photos and sets of corners differ in number ({photos} and {taps})").format(
                photos=len(photos), taps=len(corners)
            ),
            where=f"--{flank}-again-corners",
            fix=_("give four corners for each photo, in the same order"),
        )
    if photos and first is None:
        raise InputError(
            _("there is no first photo of this flank"),
            where=f"--{flank}-again",
            fix=_("give the first one with --{flank}").format(flank=flank),
        )
    for k, photo in enumerate(photos):
        if photo.exists() and any(o is not None and _same_file(photo, o) for o in (first, *photos[:k])):
            raise InputError(
                _("the same photo is given twice"),
                where=f"--{flank}-again",
                fix=_("photograph another tooth"),
            )
    return list(zip(photos, corners, strict=True))


def _same_file(one: Path, other: Path) -> bool:
    return other.exists() and (one.samefile(other) or one.read_bytes() == other.read_bytes())


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
    drive_again: Annotated[
        list[Path] | None,
        typer.Option(help="One more photo of the drive flank at this setting, another tooth."),
    ] = None,
    drive_again_corners: Annotated[
        list[str] | None, typer.Option(help="Its corners, one for each --drive-again.")
    ] = None,
    coast_again: Annotated[list[Path] | None, typer.Option(help="As for drive.")] = None,
    coast_again_corners: Annotated[list[str] | None, typer.Option(help="As for drive.")] = None,
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
    from axlewright.job.pattern_looks import FLANKS
    from axlewright.pattern import (
        RefusedPhotoError,
        combine_looks,
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
    shims = lengths_of(side_shims, "mm", "--side-shims") if side_shims else ()
    if shims and len(shims) != 2:
        raise InputError(
            _("two thicknesses are needed"),
            where="--side-shims",
            fix=_("give the thickness on the ring gear's side, then that on the other side"),
        )
    refused: dict[str, list[tuple[Path, RefusedPhotoError]]] = {"drive": [], "coast": []}

    def photographed(flank: str, photo: Path, corners: str, option: str) -> PhotoReading | None:
        try:
            return read_photo(photo, corners, loaded, flank, compound=check_compound(compound))
        except RefusedPhotoError as error:
            refused[flank].append((photo, error))
            return None
        except PhotoError as error:
            raise type(error)(
                error.what, where=f"{option} {photo.name}, {error.where}", fix=error.fix
            ) from error

    given = (
        ("drive", drive, drive_corners, drive_words, drive_again, drive_again_corners),
        ("coast", coast, coast_corners, coast_words, coast_again, coast_again_corners),
    )
    photos: dict[str, list[PhotoReading]] = {}
    looks: dict[str, PatternReading | None] = {}
    for flank, photo, corners, words, again, again_corners in given:
        taken = [(f"--{flank}-again", *one) for one in _once_more(flank, photo, again, again_corners)]
        if photo is not None:
            if not corners:
                raise InputError(
                    _("four corners are needed"),
                    where=f"--{flank}-corners",
                    fix=_("tap toe-top, heel-top, heel-root, toe-root"),
                )
            taken.insert(0, (f"--{flank}", photo, corners))
        found_here = [photographed(flank, path, taps, option) for option, path, taps in taken]
        photos[flank] = [one for one in found_here if one is not None]
        looks[flank] = pattern_from_words(words, flank) if words and not photos[flank] else None
    if not any(looks.values()) and not any(photos.values()):
        for several in refused.values():
            if several:
                raise several[0][1]
    pairs = list(zip(photos["drive"], photos["coast"], strict=False))
    for k, (one, two) in enumerate(pairs):
        photos["drive"][k], photos["coast"][k] = settle_pair(one, two, loaded)
    for flank, read_here in photos.items():
        if read_here:
            looks[flank] = combine_looks(read_here)
    readings = [
        mm for text in [*(backlash or []), *(more or [])] for mm in lengths_of(text, "mm", "--backlash")
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
            refused=tuple(f for f in FLANKS if refused[f] and not photos[f]),
            looked_again=len(photos[goal.deciding_flank]) > 1,
            side_shims_mm=(shims[0], shims[1]) if shims else None,
        ),
        spacer_stock=lengths_of(stock, "mm", "--stock") if stock else None,
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
        unread = {
            flank: {"photo": several[0][0].name, "what": e.what, "where": e.where, "fix": e.fix}
            for flank, several in refused.items()
            if several and (e := several[0][1])
        }
        print_json({"design": loaded.name, **measured, "refused": unread, **found.to_json()})
        return
    for name, look in looks.items():
        for photo_refused, reason in refused[name]:
            told = _("photo refused: {reason}").format(reason=f"{photo_refused.name}: {reason}")
            typer.echo(f"{_(name):5}: {told}")
        if look is not None:
            typer.echo(f"{_(name):5}: {look.pattern.describe()}")
            for note in look.quality:
                typer.echo(f"       {note}")
            for verdict in verdicts[name]:
                sign = {"inside": "✓", "outside": "✕"}.get(verdict.kind, "?")
                typer.echo(f"       {sign} {verdict.text}")
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
