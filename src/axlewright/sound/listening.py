"""Listen to one recording: from samples to sources, segments and figures.

What is always there (engine, tyres, road, wind, the body) is followed first; what is left is looked
at source by source, and each gets a chance of its own. What cannot be told is said.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from axlewright.errors import SoundError
from axlewright.language import Shown
from axlewright.language import eager as _
from axlewright.sound.advice import Advice, Ambiguity, advise, ambiguities
from axlewright.sound.angle import refine
from axlewright.sound.chances import chances as weigh
from axlewright.sound.chances import nothing_stands_out
from axlewright.sound.findings import SourceFinding, named, source_findings
from axlewright.sound.hearing import Heard, follow, read
from axlewright.sound.line_map import OrderMap
from axlewright.sound.mesh_figures import HarmonicFigure, HarmonicTrack, harmonic_figure, track_harmonic
from axlewright.sound.orders import AxleOrders
from axlewright.sound.recording import Recording
from axlewright.sound.segments import Segment, SegmentKind, Vehicle, find_segments
from axlewright.sound.sidebands import Sidebands, measure_sidebands
from axlewright.sound.signs import Signs, measure
from axlewright.sound.sources import BY_KEY, NONE
from axlewright.sound.speed import SpeedTrace, Tyre, check_wheel_rate

FloatArray = NDArray[np.float64]

FOUND_SPEED: Final = 0.01
"""A speed known to within this is called found."""
FEWEST_TURNS: Final = 32.0
CLEAR: Final = 6.0
"""Nats from which a mesh line's phase is trusted."""
MESH_FOLLOWED: Final = 0.1
"""Chance of the mesh from which its level is shown."""


@dataclass(frozen=True, slots=True)
class Listening:
    """Everything one recording says.

    Parameters
    ----------
    recording : Recording
    axle : AxleOrders
    tyre : Tyre
    sources : tuple of SourceFinding
        Most probable first, runouts included.
    top : tuple of str
        Names of the sources that may be what is heard; `NONE` first where nothing stands out.
    chances : dict of str to float
        Chance of each source by key.
    signs : dict of str to float
        What the chances were weighed from.
    segments : tuple of Segment
    harmonics : tuple of HarmonicFigure
        Mesh harmonics; empty when the mesh is hardly possible.
    tracks : tuple of HarmonicTrack
        Followed in any case, for before and after.
    sidebands : tuple of Sidebands
    cannot_separate : tuple of Ambiguity
    next_recording : tuple of Advice
        At most two.
    notices : tuple of str
    times_s, speed_mps : ndarray, shape (frames,)
        Followed speed.
    speed_interval : tuple of float
        The true speed lies between these, relative to the one followed, with a chance of 90 %.
    heard : Heard
        Course, spectra and engine.
    roughness_asper : float or None
    said_steady : bool
        The speed was stated as one for the whole recording; what is found of it holds only if it was.
    """

    recording: Recording
    axle: AxleOrders
    tyre: Tyre
    sources: tuple[SourceFinding, ...]
    top: tuple[str, ...]
    chances: dict[str, float]
    signs: Signs
    segments: tuple[Segment, ...]
    harmonics: tuple[HarmonicFigure, ...]
    tracks: tuple[HarmonicTrack, ...]
    sidebands: tuple[Sidebands, ...]
    cannot_separate: tuple[Ambiguity, ...]
    next_recording: tuple[Advice, ...]
    notices: tuple[str, ...]
    times_s: FloatArray
    speed_mps: FloatArray
    speed_interval: tuple[float, float]
    heard: Heard
    roughness_asper: float | None = None
    said_steady: bool = False

    @property
    def speed_found(self) -> bool:
        """Whether the sound fixes the speed: the interval is within ±`FOUND_SPEED`."""
        return max(abs(end) for end in self.speed_interval) <= FOUND_SPEED

    @property
    def order_map(self) -> OrderMap:
        """Level over time and frequency."""
        return self.heard.map


def listen(
    recording: Recording,
    axle: AxleOrders,
    tyre: Tyre,
    speed: SpeedTrace,
    *,
    vehicle: Vehicle | None = None,
    marked: tuple[tuple[float, float, SegmentKind], ...] = (),
    roughness: bool = False,
) -> Listening:
    """Listen to a recording of a drive.

    Parameters
    ----------
    recording : Recording
    axle : AxleOrders
        Tooth counts and what else is known of the vehicle.
    tyre : Tyre
    speed : SpeedTrace
        As stated; its error is weighed with the sound.
    vehicle : Vehicle, optional
        For drive and coast.
    marked : tuple of (start_s, end_s, kind)
        Drive, coast and float as noted by the driver.
    roughness : bool
        Also compute roughness, which needs the optional part and some seconds.

    Returns
    -------
    Listening

    Raises
    ------
    InputError
        If the speed cannot be meant with this tyre.
    SoundError
        If too little of the recording can be used.
    """
    check_wheel_rate(speed, tyre)
    _check_turns(recording, tyre, speed)
    heard = follow(recording, axle, tyre, speed)
    signs = measure(heard, axle, tyre)
    chances = weigh(signs)
    nothing = nothing_stands_out(chances, signs)
    scale, interval = heard.scale_interval
    speed_mps = heard.wheel_hz * np.exp(scale) * tyre.circumference_m
    segments = find_segments(heard.map.times_s, speed_mps, vehicle, marked)
    tracks, bands = _mesh(recording, heard, axle, tyre)
    shown = chances["mesh"] >= MESH_FOLLOWED
    figures = tuple(f for f in map(harmonic_figure, tracks) if f is not None) if shown else ()
    keys = named(chances)
    quiet = (NONE,) if nothing >= max(chances.values()) or not keys else ()
    advice = advise(chances, signs, recording, heard.sigma, nothing)
    return Listening(
        recording,
        axle,
        tyre,
        source_findings(chances, nothing, signs, axle, bands if shown else (), tracks, segments),
        (*quiet, *(BY_KEY[key].name for key in keys)),
        chances,
        signs,
        segments,
        figures,
        tuple(tracks),
        bands if shown else (),
        ambiguities(keys, chances),
        advice,
        _notices(heard, speed, recording),
        heard.map.times_s,
        speed_mps,
        interval,
        heard,
        _roughness(recording, tracks if shown else []) if roughness else None,
        speed.constant,
    )


def _check_turns(recording: Recording, tyre: Tyre, speed: SpeedTrace) -> None:
    times = np.arange(0.0, recording.duration_s, 0.1)
    turns = float(speed.at(times).sum() * 0.1 / tyre.circumference_m)
    if turns < FEWEST_TURNS:
        raise SoundError(
            _("the wheel makes only {turns} turns in the recording, too few to judge").format(
                turns=f"{turns:.0f}"
            ),
            where=_("recording"),
            fix=_("record at least 20 s of driving"),
        )


def _mesh(
    recording: Recording, heard: Heard, axle: AxleOrders, tyre: Tyre
) -> tuple[list[HarmonicTrack], tuple[Sidebands, ...]]:
    """Follow the mesh harmonics where the mesh fits best, and measure what stands beside them."""
    teeth, scale = float(axle.ring_teeth), float(np.exp(heard.family_scale("mesh")))
    turns = heard.turns * scale
    orders = np.array([1.0, 2.0, 3.0]) * teeth
    clear = read(heard.everything, orders * scale, 0.001) > CLEAR
    if clear.any():
        # The scale is known to a step of its grid only: the phase of the mesh's own lines says the rest.
        turns, _ = refine(
            recording.samples, recording.rate_hz, turns, tuple(orders[clear][:2].tolist()), rounds=3
        )
    used = np.asarray(heard.map.scores.any(axis=1))
    tracks = []
    for harmonic in (1, 2, 3):
        track = track_harmonic(
            recording.samples,
            recording.rate_hz,
            turns,
            heard.map,
            teeth,
            harmonic,
            tyre.circumference_m,
            used,
        )
        if track is not None:
            tracks.append(track)
    level = heard.spectra.power.mean(axis=0)
    bands = (
        measure_sidebands(heard.everything, level, teeth * scale, axle.ratio * scale, "pinion"),
        measure_sidebands(heard.everything, level, teeth * scale, scale, "ring gear"),
    )
    return tracks, bands


def _notices(heard: Heard, speed: SpeedTrace, recording: Recording) -> tuple[str, ...]:
    notices = [
        _("a tone at {tone} Hz stays put while the speed changes: it is not from the axle's gears").format(
            tone=f"{tone:.0f}"
        )
        for tone in heard.map.fixed_hz[:5]
    ]
    unknown = sum(b - a for a, b in speed.unknown_spans(recording.duration_s))
    if unknown > 3.0:
        notices.append(
            _("for {unknown} s no mark is near enough to know the speed; give one every five seconds").format(
                unknown=f"{Shown(unknown):.0f}"
            )
        )
    return tuple(notices)


def _roughness(recording: Recording, tracks: list[HarmonicTrack]) -> float | None:
    """Return the roughness of the stretch in which the mesh tone is loudest."""
    if not recording.harshness_allowed:
        return None
    from axlewright.sound.quality import roughness_asper

    length = int(4.0 * recording.full_rate_hz)
    start = 0
    if tracks:
        ratio = np.nan_to_num(tracks[0].tone_to_noise_db, nan=-40.0)
        width = min(40, len(ratio))
        start = int(
            np.argmax(np.convolve(ratio, np.ones(width), mode="valid")) * 0.1 * recording.full_rate_hz
        )
    piece = recording.full_samples[start : start + length]
    return roughness_asper(piece, recording.full_rate_hz)
