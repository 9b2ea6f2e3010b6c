"""Commands about designs: list them, show one, roll one."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from axlewright.cli.command import print_json
from axlewright.cli.options import JSON, OVERWRITE, PNG, SYSTEM, choice
from axlewright.language import Shown
from axlewright.language import eager as _
from axlewright.units import parse_angle, parse_length, parse_torque, show_length


def designs(
    name: Annotated[str, typer.Argument(help="Show this design whole: a name or the path of a file.")] = "",
    as_json: JSON = False,
) -> None:
    """List the designs that come with the program, or show one with its estimates."""
    from axlewright.gearset import build_geometry, load_design, shipped_designs

    if not name:
        rows = [load_design(n) for n in shipped_designs()]
        if as_json:
            print_json([{"name": d.name, "title": d.title} for d in rows])
            return
        for d in rows:
            typer.echo(f"{d.name:10} {d.title}")
        return
    import math

    design = load_design(name)
    geometry = build_geometry(design)
    cones = geometry.cones
    derived = {
        "pinion_pitch_angle_deg": round(math.degrees(cones.delta1), 4),
        "ring_pitch_angle_deg": round(math.degrees(cones.delta2), 4),
        "pinion_mean_spiral_angle_deg": round(math.degrees(cones.spiral1), 4),
        "ring_mean_spiral_angle_deg": round(math.degrees(cones.spiral2), 4),
        "pinion_mean_radius_mm": round(cones.radius1, 4),
        "ring_mean_radius_mm": round(cones.radius2, 4),
        "limit_pressure_angle_deg": round(math.degrees(cones.limit_pressure_angle), 4),
        "mean_normal_module_mm": round(geometry.blank.mean_normal_module, 4),
        "working_depth_mm": round(geometry.blank.working_depth, 4),
        "ring_face_angle_deg": round(math.degrees(geometry.blank.face_angle2), 4),
        "ring_root_angle_deg": round(math.degrees(geometry.blank.root_angle2), 4),
    }
    if as_json:
        print_json(
            {
                "fields": design.fields(),
                "estimates": [{"field": e.field, "value": e.value, "rule": e.rule} for e in design.estimates],
                "derived": derived,
            }
        )
        return
    guessed = {e.field: e.rule for e in design.estimates}
    for key, value in design.fields().items():
        typer.echo(f"{key:38} {value!s:14}" + (f" estimated: {guessed[key]}" if key in guessed else ""))
    typer.echo("")
    for key, number in derived.items():
        typer.echo(f"{key:38} {number}")


def roll(
    design: Annotated[str, typer.Argument(help="Name of a design or path of a design file.")],
    pinion_out: Annotated[
        str, typer.Option(help="Pinion out from where it belongs, such as 0.002in; negative is in.")
    ] = "0 mm",
    ring_away: Annotated[str, typer.Option(help="Ring gear away from the pinion, such as 0.1mm.")] = "0 mm",
    offset_error: Annotated[str, typer.Option(help="Offset too large by this much.")] = "0 mm",
    shaft_angle_error: Annotated[
        str, typer.Option(help="Shaft angle open by this much, such as 0.02deg.")
    ] = "0",
    torque: Annotated[str, typer.Option(help="Torque at the ring gear, such as 200Nm or 150lb-ft.")] = "0 Nm",
    flank: Annotated[str, choice("drive", "coast", "both", help="Which flank to roll.")] = "both",
    measured_ring: Annotated[
        list[Path] | None,
        typer.Option(help="CSV with measured points of the ring gear's flanks; may be given twice."),
    ] = None,
    measured_pinion: Annotated[
        list[Path] | None,
        typer.Option(help="CSV with measured points of the pinion's flanks; may be given twice."),
    ] = None,
    as_json: JSON = False,
    png: PNG = None,
    overwrite: OVERWRITE = False,
    system: SYSTEM = "inch",
) -> None:
    """Roll a set at a setting: contact pattern and motion error of each flank."""
    settings = {
        "pinion_out_mm": parse_length(pinion_out, where="--pinion-out"),
        "ring_away_mm": parse_length(ring_away, where="--ring-away"),
        "offset_error_mm": parse_length(offset_error, where="--offset-error"),
        "shaft_angle_error_deg": parse_angle(shaft_angle_error, where="--shaft-angle-error"),
        "torque_nm": parse_torque(torque, where="--torque"),
    }
    from axlewright.contact import read_measured
    from axlewright.contact import roll as roll_set
    from axlewright.gearset import load_design

    loaded = load_design(design)
    measured = None
    if measured_ring or measured_pinion:
        measured = read_measured(loaded, measured_ring or (), measured_pinion or ())
    names = ("drive", "coast") if flank == "both" else (flank,)
    rollings = [
        roll_set(
            loaded,
            name,
            settings["pinion_out_mm"],
            settings["ring_away_mm"],
            settings["offset_error_mm"],
            settings["shaft_angle_error_deg"],
            settings["torque_nm"],
            measured=measured,
        )
        for name in names
    ]
    if png is not None:
        from axlewright.contact.drawing import draw_rolling

        draw_rolling(rollings, png)
    if as_json:
        print_json({r.flank: r.summary() for r in rollings})
        return
    typer.echo(
        _(
            "{name}: pinion {pinion_out_mm} out, ring gear {ring_away_mm} away, "
            "{torque_nm} N·m at the ring gear"
        ).format(
            name=loaded.name,
            pinion_out_mm=show_length(settings["pinion_out_mm"], signed=True),
            ring_away_mm=show_length(settings["ring_away_mm"], signed=True),
            torque_nm=f"{settings['torque_nm']:.0f}",
        )
    )
    for r in rollings:
        x, y = r.pattern.center
        typer.echo(
            _(
                "  {flank}: {describe} (centre {x} lengthwise, {y} profile); motion error "
                "{motion_error_pp_urad} µrad"
            ).format(
                flank=f"{_(r.flank):5}",
                describe=r.pattern.describe(),
                x=f"{Shown(x):+.2f}",
                y=f"{Shown(y):+.2f}",
                motion_error_pp_urad=f"{r.motion_error_pp_urad:.0f}",
            )
        )
    if measured is not None:
        for sentence in measured.sentences():
            typer.echo(f"  {sentence}")
    if loaded.estimates:
        fields = ", ".join(e.field for e in loaded.estimates)
        typer.echo("  " + _("estimated: {fields}").format(fields=fields))
    if png is not None:
        typer.echo(_("  drawn in {png}").format(png=png))
