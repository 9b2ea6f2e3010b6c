"""Commands about sound: listen to a recording, and let a setting be heard."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from axlewright.cli.command import new_file, print_json, write
from axlewright.cli.options import DESIGN, FLANK, JSON, OVERWRITE, PNG, SYSTEM
from axlewright.errors import InputError
from axlewright.language import Shown
from axlewright.language import eager as _
from axlewright.units import MPS_PER_MPH, parse_length, parse_speed, parse_torque, show_speed

if TYPE_CHECKING:
    from axlewright.sound.orders import AxleOrders
    from axlewright.sound.speed import SpeedTrace, Tyre


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
    as_json: JSON = False,
    png: PNG = None,
    evidence_png: Annotated[
        Path | None, typer.Option(help="Draw how well each source fits over the error of the speed.")
    ] = None,
    overwrite: OVERWRITE = False,
    system: SYSTEM = "inch",
) -> None:
    """Say which parts fit a sound, which cannot be told apart, and what to record next."""
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
    from axlewright.sound.report import listening_as_dict

    recording = read_recording(file, start_s=start)
    result = listen_to(recording, axle, tyre, trace, roughness=roughness)
    if png is not None:
        from axlewright.sound.pictures import draw_listening

        draw_listening(result, png)
    if evidence_png is not None:
        from axlewright.sound.pictures import draw_evidence

        draw_evidence(result, evidence_png)
    report = listening_as_dict(result)
    if as_json:
        print_json(report)
        return
    typer.echo(_text(report))
    if png is not None:
        typer.echo(_("drawn in {png}").format(png=png))


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


def sound(
    design: DESIGN,
    out: Annotated[Path, typer.Option(help="WAV file; the one to compare with goes to NAME-compared.wav.")],
    pinion_out: Annotated[str, typer.Option(help="Pinion out, such as 0.005in.")] = "0 mm",
    ring_away: Annotated[str, typer.Option(help="Ring gear away, such as 0.1mm.")] = "0 mm",
    flank: FLANK = "drive",
    torque: Annotated[str, typer.Option(help="Torque at the ring gear.")] = "60 Nm",
    speed: Annotated[str, typer.Option(help="One speed or a sweep, such as 30mph..60mph.")] = "30mph..60mph",
    tyre_rollout: Annotated[str, typer.Option(help="Way of one wheel turn.")] = "2.10m",
    seconds: Annotated[float, typer.Option(help="How long, in seconds.")] = 8.0,
    against: Annotated[str, typer.Option(help="Pinion setting to compare with.")] = "0 mm",
    tone_to_noise: Annotated[
        float, typer.Option(help="Strongest mesh tone of the setting over the road noise, dB.")
    ] = 6.0,
    pinion_runout: Annotated[
        float, typer.Option(help="How far the mesh tone swells once per pinion turn, %.")
    ] = 0.0,
    ring_runout: Annotated[
        float, typer.Option(help="How far the mesh tone swells once per ring gear turn, %.")
    ] = 0.0,
    overwrite: OVERWRITE = False,
    as_json: JSON = False,
) -> None:
    """Make the sound of a setting and, at equal gain, of another one to compare with.

    It is a comparison, not the sound in a car.
    """
    beside = new_file(out.with_name(out.stem + "-compared" + out.suffix), overwrite)
    if out.suffix.lower() != ".wav":
        raise InputError(_("a WAV file is written"), where=str(out), fix=_("let its name end in .wav"))
    speeds = tuple(parse_speed(part, where="--speed") for part in speed.split(".."))
    pinion = parse_length(pinion_out, where="--pinion-out")
    ring = parse_length(ring_away, where="--ring-away")
    other = parse_length(against, where="--against")
    way = parse_length(tyre_rollout, default_unit="m", where="--tyre-rollout") / 1000.0
    load = parse_torque(torque, where="--torque")
    if abs(pinion - other) < 1e-9 and abs(ring) < 1e-9:
        raise InputError(
            _("both settings are the same"),
            where="--pinion-out",
            fix=_("give a setting, such as --pinion-out 0.005in"),
        )
    from axlewright.contact import Settings
    from axlewright.gearset import load_design
    from axlewright.sound.settings import sounds_of_settings, wav_bytes
    from axlewright.sound.synthesis import Runout

    made = sounds_of_settings(
        load_design(design),
        {"setting": Settings(pinion, ring), "compared": Settings(other)},
        flank=flank,
        torque_nm=load,
        speeds_mps=speeds,
        circumference_m=way,
        duration_s=seconds,
        tone_to_noise_db=tone_to_noise,
        runout=Runout(pinion_runout / 100.0, ring_runout / 100.0),
    )
    write(out, wav_bytes(made["setting"]))
    write(beside, wav_bytes(made["compared"]))
    report = {
        name: {
            "file": str(path),
            "harmonic_urad": [round(float(v), 3) for v in made[name].harmonic_urad],
            "tone_to_noise_db": [
                round(float(v), 2) if v > -200 else None for v in made[name].tone_to_noise_db
            ],
            "label": made[name].label,
        }
        for name, path in (("setting", out), ("compared", beside))
    }
    if as_json:
        print_json(report)
        return
    for one in report.values():
        first = made["setting" if one is report["setting"] else "compared"]
        tone = ", ".join(f"{Shown(v):+.1f}" for v in first.tone_to_noise_db[:3])
        typer.echo(
            _("{file}: first three mesh harmonics {tone} dB over the road noise").format(
                file=one["file"], tone=tone
            )
        )
    typer.echo(made["setting"].label)
