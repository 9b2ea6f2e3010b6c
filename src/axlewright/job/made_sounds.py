"""What two settings of a set sound like at equal gain, and the way from mesh to ear learned from a recording.

A comparison of settings, not the sound in a car.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from axlewright.errors import InputError
from axlewright.job.listening import NO_SPEED, TYRE, listen_to, trace_of, tyre_of
from axlewright.language import Text, _, n_
from axlewright.steps.answers import FieldError, answered, in_field
from axlewright.steps.field import Field
from axlewright.units import System, parse_speed

if TYPE_CHECKING:
    from axlewright.contact import Settings
    from axlewright.gearset import GearSetDesign
    from axlewright.sound.synthesis import MadeSound, SoundPath

NOW: Final = "now"
BESIDE: Final = "beside"
SECONDS: Final = 8.0
MOST_BANDS: Final = 40


@dataclass(frozen=True, slots=True)
class Wish:
    """How the sounds are to be made.

    Attributes
    ----------
    flank : {"drive", "coast"}
    torque_nm : float
        At the ring gear, for both settings.
    speed : str
        ``"45 mph"`` or a sweep, ``"30 mph .. 60 mph"``.
    tyre : str
        Roll-out or size.
    ratio_db : float
        Strongest mesh tone of the setting beside over the road noise, mean over the drive.
    path : str
        A learned path, ``"250:-3.1,315:0.4"`` (Hz:dB); empty for the assumed one.
    same_level : bool
        Bring both to the same level, to hear the character alone.
    pinion_runout, ring_runout : float
        How far the mesh tone swells once per pinion and once per ring gear turn, in both sounds [%].
    """

    flank: str = "drive"
    torque_nm: float = 0.0
    speed: str = "30 mph .. 60 mph"
    tyre: str = "2.10 m"
    ratio_db: float = 6.0
    path: str = ""
    same_level: bool = False
    pinion_runout: float = 0.0
    ring_runout: float = 0.0


@dataclass(frozen=True, slots=True)
class HarmonicLine:
    """One mesh harmonic of both settings: tone over road noise [dB], None where there is none."""

    harmonic: int
    beside_db: float | None
    now_db: float | None

    @property
    def change_db(self) -> float | None:
        """Now less beside [dB]."""
        if self.beside_db is None or self.now_db is None:
            return None
        return self.now_db - self.beside_db


@dataclass(frozen=True, slots=True)
class Pair:
    """Both sounds.

    Attributes
    ----------
    wav : dict of str to bytes
        By `NOW` and `BESIDE`.
    lines : tuple of HarmonicLine
    label : Text
        What it is and is not.
    """

    wav: dict[str, bytes]
    lines: tuple[HarmonicLine, ...]
    label: Text


def path_text(path: SoundPath) -> str:
    """Write a learned path so that it fits into an address."""
    return ",".join(f"{f:.0f}:{g:.1f}" for f, g in zip(path.frequency_hz, path.gain_db, strict=True))


def path_of(text: str, system: System = "inch") -> SoundPath | None:
    """Read a learned path back; None when there is none.

    Raises
    ------
    InputError
        If it is none.
    """
    import numpy as np

    from axlewright.sound.synthesis import SoundPath

    if not text:
        return None
    try:
        pairs = [tuple(map(float, part.split(":"))) for part in text.split(",")]
        frequency, gain = (np.array(column) for column in zip(*pairs, strict=True))
    except ValueError:
        frequency = gain = np.zeros(0)
    if (
        not 1 <= len(frequency) <= MOST_BANDS
        or not np.all(np.isfinite(gain) & (np.abs(gain) < 300) & (frequency > 0) & (frequency < 24000))
        or np.any(np.diff(frequency) <= 0)
    ):
        raise InputError(
            _("the learned path cannot be read"), where=_("path"), fix=_("learn it again from the recording")
        )
    return SoundPath("learned", frequency, gain)


def speeds_of(text: str, system: System = "inch") -> tuple[float, ...]:
    """Read one speed or a sweep, ``"30 mph .. 60 mph"`` [m/s]."""
    return tuple(parse_speed(part) for part in text.split(".."))


MADE_FIELDS: Final = (
    Field("speed", n_("Speed or sweep"), "other", n_("45 mph, or 30 mph .. 60 mph."), read=speeds_of),
    replace(TYRE, missing="", needed=False),
    Field(
        "ratio", n_("Tone over road noise before, dB"), "number",
        n_("How far the strongest mesh tone stands out of the road noise before the change."),
    ),
    Field("path", n_("path"), "other", read=path_of),
    Field("same", n_("Play at the same level"), "yes"),
    Field(
        "pinion_runout", n_("Swells once per pinion turn, %"), "number",
        n_(
            "As a runout of the pinion does; it cannot be computed from the gears. The same in both sounds."
        ),
    ),
    Field(
        "ring_runout", n_("Swells once per ring gear turn, %"), "number",
        n_("As a runout of the ring gear does."),
    ),
)  # fmt: skip
LEARN_FIELDS: Final = (
    Field(
        "marks",
        n_("Its speed"),
        "other",
        n_("Marks, one on a line: 0:10 45 mph."),
        missing=NO_SPEED,
        read=trace_of,
    ),
)


def wish_of(typed: Mapping[str, str], flank: str, torque_nm: float, system: System) -> Wish:
    """Return how the sounds are to be made, from `MADE_FIELDS`; what is left empty is as usual."""
    answers, usual = answered(MADE_FIELDS, typed, system), Wish()
    ratio = answers.number("ratio")
    return Wish(
        flank or usual.flank,
        torque_nm,
        answers.text("speed") or usual.speed,
        answers.text("tyre") or usual.tyre,
        usual.ratio_db if ratio is None else ratio,
        answers.text("path"),
        answers.ticked("same"),
        answers.number("pinion_runout") or 0.0,
        answers.number("ring_runout") or 0.0,
    )


def make_pair(design: GearSetDesign, now: Settings, beside: Settings, wish: Wish) -> Pair:
    """Make the sounds of a setting and of one to compare with, at equal gain.

    Raises
    ------
    FieldError
        Naming speed, tyre or setting.
    """
    if now == beside:
        raise FieldError("now", _("setting"), _("both settings are the same"), _("change one of them"))
    from axlewright.sound.settings import RATIO_RANGE_DB

    low, high = RATIO_RANGE_DB
    if not low <= wish.ratio_db <= high:
        raise FieldError(
            "ratio",
            _("tone over road noise"),
            _("{value:g} dB is out of reach").format(value=wish.ratio_db),
            _("give a figure from {low:g} to {high:g} dB").format(low=low, high=high),
        )
    for name, percent in (("pinion_runout", wish.pinion_runout), ("ring_runout", wish.ring_runout)):
        if not 0.0 <= percent <= 100.0:
            raise FieldError(
                name,
                _("runout"),
                _("a tone cannot swell by less than nothing or by more than itself"),
                _("give 0 to 100 %"),
            )
    speeds = in_field("speed", _("speed"), lambda: speeds_of(wish.speed))
    path_of(wish.path)
    return in_field("now", _("setting"), lambda: _made(design, now, beside, wish, speeds))


@lru_cache(maxsize=6)
def _made(
    design: GearSetDesign, now: Settings, beside: Settings, wish: Wish, speeds: tuple[float, ...]
) -> Pair:
    from axlewright.sound.settings import sounds_of_settings, wav_bytes
    from axlewright.sound.synthesis import Runout, same_loudness

    made = sounds_of_settings(
        design,
        {BESIDE: beside, NOW: now},
        flank=wish.flank,
        torque_nm=wish.torque_nm,
        speeds_mps=speeds,
        circumference_m=tyre_of(wish.tyre).circumference_m,
        duration_s=SECONDS,
        tone_to_noise_db=wish.ratio_db,
        path=path_of(wish.path),
        runout=Runout(wish.pinion_runout / 100.0, wish.ring_runout / 100.0),
    )
    if wish.same_level:
        made = same_loudness(made)
    return Pair({name: wav_bytes(one) for name, one in made.items()}, _lines(made), made[NOW].label)


def _lines(made: dict[str, MadeSound]) -> tuple[HarmonicLine, ...]:
    def shown(value: float) -> float | None:
        return float(value) if math.isfinite(value) and value > -60.0 else None

    rows = zip(made[BESIDE].tone_to_noise_db, made[NOW].tone_to_noise_db, strict=True)
    return tuple(
        HarmonicLine(k, shown(before), shown(after)) for k, (before, after) in enumerate(rows, 1) if k <= 4
    )


def learn_from_recording(
    design: GearSetDesign, recorded: Settings, wish: Wish, data: bytes, name: str, typed: Mapping[str, str]
) -> tuple[str, float]:
    """Learn the path from a recording of one setting.

    Parameters
    ----------
    recorded : Settings
        The setting that was recorded.
    wish : Wish
        Flank, torque and tyre.
    data, name
        The sound file.
    typed : mapping
        `LEARN_FIELDS`: speed or marks of the recording.

    Returns
    -------
    tuple of str and float
        The path as text, and the strongest harmonic's tone-to-noise ratio in the recording [dB].
    """
    from axlewright.contact import roll
    from axlewright.sound.settings import RATIO_RANGE_DB
    from axlewright.sound.synthesis import learn_path

    wheel = in_field("tyre", _("tyre"), lambda: tyre_of(wish.tyre))
    answers = answered(LEARN_FIELDS, typed, "inch")
    answers.need("marks")
    trace = answers.other("marks")
    heard = in_field("file", _("recording"), lambda: listen_to(design, data, name, wheel, trace))
    curve = in_field(
        "beside",
        _("setting"),
        lambda: (
            roll(
                design,
                wish.flank,
                recorded.pinion_out_mm,
                recorded.ring_away_mm,
                recorded.offset_error_mm,
                recorded.shaft_angle_error_deg,
                wish.torque_nm,
            ).motion_error_urad
        ),
    )
    path = in_field("file", _("recording"), lambda: learn_path(heard, curve))
    low, high = RATIO_RANGE_DB
    loudest = max((h.tone_to_noise_db for h in heard.harmonics), default=6.0)
    return path_text(path), round(min(max(loudest, low), high), 1)
