"""The command that listens to a recording."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from axlewright.cli.job_options import check_system
from axlewright.cli.options import plain_errors, print_json
from axlewright.errors import InputError
from axlewright.language import Shown
from axlewright.language import eager as _
from axlewright.units import MPS_PER_MPH, show_speed

if TYPE_CHECKING:
    from axlewright.sound.orders import AxleOrders
    from axlewright.sound.speed import SpeedTrace, Tyre


@plain_errors
def listen(
    file: Annotated[
        Path, typer.Argument(help="Recording: WAV, FLAC, OGG, MP3, or a phone's m4a, mp4, opus, 3gp.")
    ],
    design: Annotated[str, typer.Option(help="Design whose tooth counts are taken.")] = "",
    ring_teeth: Annotated[int, typer.Option(help="Ring-gear teeth.")] = 0,
    pinion_teeth: Annotated[int, typer.Option(help="Pinion teeth.")] = 0,
    tyre_rollout: Annotated[str, typer.Option(help="Way of one wheel turn, for example 2.10m.")] = "",
    tyre_size: Annotated[str, typer.Option(help="Tyre size, for example '205/55 R16'.")] = "",
    tyre_revs_per_mile: Annotated[float, typer.Option(help="Tyre revolutions per mile.")] = 0.0,
    speed: Annotated[str, typer.Option(help="One speed for all of it, for example 45mph.")] = "",
    speed_marks: Annotated[
        Path | None, typer.Option(help="File of marks (0:10 45 mph), a table, or a GPX track.")
    ] = None,
    speed_from: Annotated[
        str, typer.Option(help="typed, dashboard, satellite or 'wheel sensor': how far it may be wrong.")
    ] = "",
    bearing: Annotated[
        list[str] | None,
        typer.Option(help="PLACE:ROLLERS:ROLLER:PITCH[:ANGLE], place pinion, side or wheel; repeatable."),
    ] = None,
    cylinders: Annotated[int, typer.Option(help="Cylinders of the engine, if known.")] = 0,
    gears: Annotated[
        str, typer.Option(help="Ratios of the gearbox, first gear first, for example '4.1 2.3 1.5 1.0'.")
    ] = "",
    tread_blocks: Annotated[int, typer.Option(help="Tread blocks round the tyre, if counted.")] = 0,
    no_joint: Annotated[
        bool, typer.Option("--no-joint", help="No universal joint drives the pinion.")
    ] = False,
    start: Annotated[float, typer.Option(help="Begin at this second of the file.")] = 0.0,
    roughness: Annotated[bool, typer.Option(help="Also compute roughness (optional part).")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
    png: Annotated[Path | None, typer.Option(help="Draw what was heard into this PNG file.")] = None,
    evidence_png: Annotated[
        Path | None, typer.Option(help="Draw how well each source fits over the error of the speed.")
    ] = None,
    overwrite: Annotated[bool, typer.Option(help="Overwrite the PNG file.")] = False,
    system: Annotated[str, typer.Option(help="inch or metric: what is shown first.")] = "inch",
) -> None:
    """Say which parts fit a sound, which cannot be told apart, and what to record next."""
    check_system(system)
    _check_output(png, overwrite, "--png")
    _check_output(evidence_png, overwrite, "--evidence-png")
    axle = _axle(
        design,
        ring_teeth,
        pinion_teeth,
        tuple(bearing or ()),
        cylinders,
        gears,
        tread_blocks,
        not no_joint,
    )
    tyre = _tyre(tyre_rollout, tyre_size, tyre_revs_per_mile)
    trace = _speed(speed, speed_marks, speed_from)
    from axlewright.sound.listening import listen as listen_to
    from axlewright.sound.recording import read_recording

    recording = read_recording(file, start_s=start)
    result = listen_to(recording, axle, tyre, trace, roughness=roughness)
    if png is not None:
        from axlewright.sound.pictures import draw_listening

        draw_listening(result, png)
    if evidence_png is not None:
        from axlewright.sound.pictures import draw_evidence

        draw_evidence(result, evidence_png)
    report = result.as_dict()
    if as_json:
        print_json(report)
        return
    typer.echo(_text(report))
    if png is not None:
        typer.echo(_("drawn in {png}").format(png=png))


def _check_output(path: Path | None, overwrite: bool, where: str) -> None:
    if path is None:
        return
    if path.exists() and not overwrite:
        raise InputError(_("exists already"), where=str(path), fix=_("name another file or add --overwrite"))
    if not path.parent.is_dir():
        raise InputError(
            _("the folder does not exist"),
            where=where,
            fix=_("make {parent} first").format(parent=path.parent),
        )


def _axle(
    design: str,
    ring_teeth: int,
    pinion_teeth: int,
    bearings: tuple[str, ...],
    cylinders: int,
    gears: str,
    tread_blocks: int,
    joint: bool,
) -> AxleOrders:
    from axlewright.sound.vehicle import told_axle

    if design:
        ring_teeth, pinion_teeth = _design_teeth(design)
    if not ring_teeth or not pinion_teeth:
        raise InputError(
            _("the tooth counts are missing"),
            where=_("listen"),
            fix=_("give --design or --ring-teeth and --pinion-teeth"),
        )
    return told_axle(
        ring_teeth,
        pinion_teeth,
        bearings=bearings,
        cylinders=str(cylinders or ""),
        gears=gears,
        tread_blocks=tread_blocks or None,
        joint=joint,
    )


def _design_teeth(design: str) -> tuple[int, int]:
    from axlewright.gearset import load_design

    loaded = load_design(design)
    return loaded.ring_teeth, loaded.pinion_teeth


def _tyre(rollout: str, size: str, revolutions: float) -> Tyre:
    from axlewright.sound.speed import tyre_from_revolutions_per_mile, tyre_from_rollout, tyre_from_size

    given = [bool(rollout), bool(size), bool(revolutions)]
    if sum(given) != 1:
        raise InputError(
            _("the tyre must be given once"),
            where=_("listen"),
            fix=_("give --tyre-rollout 2.10m, --tyre-size '205/55 R16' or --tyre-revs-per-mile 780"),
        )
    if rollout:
        return tyre_from_rollout(rollout)
    return tyre_from_size(size) if size else tyre_from_revolutions_per_mile(revolutions)


def _speed(typed: str, marks: Path | None, source: str) -> SpeedTrace:
    from axlewright.sound.speed import SPEED_SIGMA, constant_speed
    from axlewright.sound.speed_files import read_speed

    if source and source not in SPEED_SIGMA:
        raise InputError(
            _("'{source}' is no place a speed comes from").format(source=source),
            where="--speed-from",
            fix=_("use {speed_sigma}").format(speed_sigma=", ".join(SPEED_SIGMA)),
        )
    if bool(typed) == (marks is not None):
        raise InputError(
            _("the speed must be given once"),
            where=_("listen"),
            fix=_("give --speed 45mph or --speed-marks FILE"),
        )
    if marks is not None:
        return read_speed(marks, source=source or None)  # type: ignore[arg-type]
    return constant_speed(typed, source or "typed")  # type: ignore[arg-type]


def _text(report: dict[str, Any]) -> str:
    from axlewright.sound.sources import source_name

    lines = []
    for flag in report["recording"]["flags"]:
        lines.append(f"! {flag['text']}")
    lines.append(_("What fits:"))
    for source in report["sources"]:
        if source["probability"] < 0.02:
            continue
        name, chance = source_name(source["name"]), 100 * source["probability"]
        if source["order"]:
            name = _("{source}, order {order}").format(source=name, order=f"{Shown(source['order']):g}")
        lines.append(f"  {_(source['word']):<9} {Shown(chance):5.1f} %  {name}")
        lines.extend(f"             - {text}" for text in source["evidence"])
    lines.append(report["speed"]["words"])
    mesh = report["mesh"]
    if mesh["harmonics"]:
        lines.append(_("Mesh tone over the road noise, at the speed where it is clearest:"))
        for h in mesh["harmonics"]:
            heard = _("prominent") if h["prominent"] else _("audible") if h["audible"] else _("not audible")
            lines.append(
                _(
                    "  harmonic {harmonic}: tone-to-noise {tone_to_noise_db} dB (prominent from "
                    "{limit_db}), audibility {audibility_db} dB at {speed}: {heard}"
                ).format(
                    harmonic=h["harmonic"],
                    tone_to_noise_db=f"{Shown(h['tone_to_noise_db']):+.1f}",
                    limit_db=f"{Shown(h['limit_db']):.1f}",
                    audibility_db=f"{Shown(h['audibility_db']):+.1f}",
                    speed=show_speed(h["loudest_mph"] * MPS_PER_MPH),
                    heard=heard,
                )
            )
    if mesh["roughness_asper"] is not None:
        lines.append(
            _("  roughness {roughness_asper} asper, played at 60 dB").format(
                roughness_asper=f"{Shown(mesh['roughness_asper']):.2f}"
            )
        )
    for notice in report["notices"]:
        lines.append(_("Note: {notice}").format(notice=notice))
    if report["cannot_separate"]:
        lines.append(_("Cannot be told apart:"))
        for item in report["cannot_separate"]:
            lines.append(
                _("  {sources} / {sources2}: {why}. Would tell: {tell_apart}").format(
                    sources=source_name(item["sources"][0]),
                    sources2=source_name(item["sources"][1]),
                    why=item["why"],
                    tell_apart=item["tell_apart"],
                )
            )
    if report["next_recording"]:
        lines.append(_("Record next:"))
        lines.extend(f"  {item['do']} ({item['why']})" for item in report["next_recording"])
    return "\n".join(lines)
