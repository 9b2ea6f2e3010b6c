"""The command that lets a setting be heard."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from axlewright.cli.options import new_file, plain_errors, print_json
from axlewright.errors import InputError
from axlewright.language import Shown
from axlewright.language import eager as _
from axlewright.units import parse_length, parse_speed, parse_torque


@plain_errors
def sound(
    design: Annotated[str, typer.Option(help="Name of a design or path of a design file.")],
    out: Annotated[Path, typer.Option(help="WAV file; the one to compare with goes to NAME-compared.wav.")],
    pinion_out: Annotated[str, typer.Option(help="Pinion out, such as 0.005in.")] = "0 mm",
    ring_away: Annotated[str, typer.Option(help="Ring gear away, such as 0.1mm.")] = "0 mm",
    flank: Annotated[str, typer.Option(help="drive or coast.")] = "drive",
    torque: Annotated[str, typer.Option(help="Torque at the ring gear.")] = "60 Nm",
    speed: Annotated[str, typer.Option(help="One speed or a sweep, such as 30mph..60mph.")] = "30mph..60mph",
    tyre_rollout: Annotated[str, typer.Option(help="Way of one wheel turn.")] = "2.10m",
    seconds: Annotated[float, typer.Option(help="Length.")] = 8.0,
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
    overwrite: Annotated[bool, typer.Option(help="Overwrite the files.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Make the sound of a setting and, at equal gain, of another one to compare with.

    It is a comparison, not the sound in a car.
    """
    beside = out.with_name(out.stem + "-compared" + out.suffix)
    for path in (out, beside):
        new_file(path, overwrite)
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
    from axlewright.contact.once import write_atomically
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
    write_atomically(out, wav_bytes(made["setting"]))
    write_atomically(beside, wav_bytes(made["compared"]))
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
