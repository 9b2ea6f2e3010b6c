"""From settings of a set to sounds: roll each, take its motion error, make the sounds at equal gain."""

from __future__ import annotations

import io
from collections.abc import Mapping
from typing import Final

import numpy as np
import soundfile

from axlewright.contact import Settings, roll
from axlewright.errors import InputError
from axlewright.gearset import GearSetDesign
from axlewright.language import Shown
from axlewright.language import eager as _
from axlewright.sound.speed import Tyre, check_wheel_rate, make_trace
from axlewright.sound.synthesis import MadeSound, Runout, SoundPath, make_sounds, speed_profile

RATIO_RANGE_DB: Final = (-10.0, 25.0)
"""Tone over road noise that is made: below, nothing is heard of it; above, nothing but it."""


def sounds_of_settings(
    design: GearSetDesign,
    settings: Mapping[str, Settings],
    *,
    flank: str = "drive",
    torque_nm: float = 60.0,
    speeds_mps: tuple[float, ...] = (13.4, 26.8),
    circumference_m: float = 2.1,
    duration_s: float = 8.0,
    tone_to_noise_db: float = 6.0,
    path: SoundPath | None = None,
    runout: Runout | None = None,
) -> dict[str, MadeSound]:
    """Make one sound for each setting.

    Parameters
    ----------
    design : GearSetDesign
    settings : mapping of str to Settings
        The first one's strongest harmonic is put at `tone_to_noise_db` over the road noise; all others
        follow from their own motion error at the same gain.
    flank : {"drive", "coast"}
    torque_nm : float
        Torque at the ring gear [N·m]; 0 rolls without load.
    speeds_mps : tuple of float
        Speeds passed through at even times [m/s].
    circumference_m : float
        Way of one wheel turn [m].
    duration_s : float
    tone_to_noise_db : float
    path : SoundPath, optional
        Flat when left out.
    runout : Runout, optional
        How far the mesh tone swells with each turn; none when left out.

    Returns
    -------
    dict of str to MadeSound

    Raises
    ------
    InputError
        If the speed cannot be meant with this tyre, or the ratio to the road noise is out of reach.

    Notes
    -----
    A comparison, not the sound in a car: sound pressure is taken as proportional to the motion error,
    harmonic by harmonic, which holds while the teeth stay in contact and the way to the ear is linear.
    """
    tyre = Tyre(circumference_m, 0.0, "")
    if speeds_mps:
        check_wheel_rate(make_trace([0.0], [max(speeds_mps)], "typed", where=_("speed")), tyre)
    low, high = RATIO_RANGE_DB
    if not low <= tone_to_noise_db <= high:
        raise InputError(
            _("{value:g} dB is out of reach").format(value=Shown(tone_to_noise_db)),
            where=_("tone over road noise"),
            fix=_("give a figure from {low:g} to {high:g} dB").format(low=Shown(low), high=Shown(high)),
        )
    curves = {
        name: roll(
            design,
            flank,
            one.pinion_out_mm,
            one.ring_away_mm,
            one.offset_error_mm,
            one.shaft_angle_error_deg,
            torque_nm,
        ).motion_error_urad
        for name, one in settings.items()
    }
    return make_sounds(
        curves,
        design.ring_teeth,
        design.pinion_teeth,
        speed_profile(speeds_mps, duration_s),
        circumference_m,
        tone_to_noise_db=tone_to_noise_db,
        path=path,
        runout=runout,
    )


def wav_bytes(sound: MadeSound) -> bytes:
    """Return a made sound as a WAV file, 16 bit, its label in the comment."""
    out = io.BytesIO()
    with soundfile.SoundFile(
        out, "w", samplerate=sound.rate_hz, channels=1, format="WAV", subtype="PCM_16"
    ) as file:
        file.comment = sound.label
        file.write(np.clip(sound.samples, -1.0, 1.0))
    return out.getvalue()
