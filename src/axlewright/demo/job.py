"""Run the demo job through the same rooms as a real one."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from axlewright.cli.command import sum_text
from axlewright.demo import scenario


@dataclass(frozen=True, slots=True)
class DemoResult:
    """What the demo made.

    Attributes
    ----------
    number : int
        Job number.
    home : Path
        Folder of the records.
    sheet : Path
        The printed sheet.
    outcomes : dict
        Outcome of each step.
    """

    number: int
    home: Path
    sheet: Path
    outcomes: dict[str, Any]


def run_demo(folder: Path, say: Callable[[str], None]) -> DemoResult:
    """Run the demo job and write its sheet.

    Parameters
    ----------
    folder : Path
        Records go into ``folder/records``, the sheet beside them.
    say : callable
        Gets each line of what was found.

    Returns
    -------
    DemoResult

    Raises
    ------
    AxlewrightError
        When a folder cannot be written or a photo cannot be read.
    """
    from axlewright.contact.once import write_atomically
    from axlewright.job import enter, job_sheet_pdf, put_on_shelf, spacers, start_job
    from axlewright.job.pattern import enter_patterns
    from axlewright.job.photos import FlankLook
    from axlewright.records import open_store

    home = folder / "records"
    outcomes: dict[str, Any] = {}
    with open_store(home) as store:
        if not spacers(store, scenario.DESIGN):
            put_on_shelf(
                store,
                "pinion spacer",
                scenario.SPACERS_IN,
                design_name=scenario.DESIGN,
                who=scenario.WHO,
                system="inch",
            )
        job = start_job(
            store,
            design_name=scenario.DESIGN,
            vehicle=scenario.VEHICLE,
            complaint=scenario.COMPLAINT,
            set_number=scenario.SET_NUMBER,
            who=scenario.WHO,
        )
        number = job.number
        say(f"Job {number} at {scenario.SHOP}: {scenario.VEHICLE}. {scenario.COMPLAINT}.")
        say("")
        for step, fields in scenario.STEPS:
            outcome = enter(store, number, step, fields, who=scenario.WHO, system="inch")
            outcomes[step] = outcome
            say(f"{step}: {outcome.verdict}. {outcome.why}")
            for line in outcome.sums:
                say(f"    {line.label}: {sum_text(line)}")
            for note in outcome.notes:
                say(f"    {note}")
        say("")
        looks = {
            photo.flank: FlankLook(photo=photo.path.read_bytes(), corners=photo.corners)
            for photo in scenario.demo_photos()
        }
        pattern = enter_patterns(store, number, looks, who=scenario.WHO)
        outcomes["pattern"] = pattern
        say(f"pattern: {pattern.verdict}. {pattern.why}")
        for note in pattern.notes:
            say(f"    {note}")
        kept = store.current(number, "pattern", kind="result")[-1].payload
        pdf = job_sheet_pdf(store, number, system="inch", shop=scenario.SHOP)
    sheet = folder / f"job-{number}-sheet.pdf"
    write_atomically(sheet, pdf)
    say("")
    _sounds(folder, number, kept["diagnosis"], say)
    return DemoResult(number, home, sheet, outcomes)


def _sounds(folder: Path, number: int, told: Mapping[str, Any], say: Callable[[str], None]) -> None:
    """Make the sound of the set as it is believed to be and as it will be after the advice."""
    from axlewright.contact import Settings
    from axlewright.contact.once import write_atomically
    from axlewright.gearset import load_design
    from axlewright.sound.settings import sounds_of_settings, wav_bytes
    from axlewright.units import parse_length, parse_speed, show_number

    cause = {key: float(value["mean"]) for key, value in told["cause"].items()}
    first = told["advice"][0]
    before = Settings(**cause)
    after = before.plus(Settings(float(first["pinion_move_mm"]), float(first["shim_move_mm"])))
    made = sounds_of_settings(
        load_design(scenario.DESIGN),
        {"before": before, "after": after},
        torque_nm=scenario.ROAD_TORQUE_NM,
        speeds_mps=tuple(parse_speed(v) for v in scenario.SOUND_SPEEDS),
        circumference_m=parse_length(scenario.TYRE_ROLLOUT) / 1000.0,
    )
    for name, sound in made.items():
        write_atomically(folder / f"job-{number}-sound-{name}.wav", wav_bytes(sound))
    change = made["after"].tone_to_noise_db[0] - made["before"].tone_to_noise_db[0]
    say(
        "sound on drive, computed: the mesh tone changes by "
        f"{show_number(change, 0, signed=True)} dB with the "
        "change. A comparison of settings, not the sound in the lorry."
    )
    say(f"    {folder / f'job-{number}-sound-before.wav'} and …-after.wav, at equal gain")
