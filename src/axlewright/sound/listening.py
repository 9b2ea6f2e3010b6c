"""Listen to one recording: from samples to sources, segments and figures.

The result is a set of sources with probabilities, what cannot be told apart, and what to record
next. A source is called likely only with more than 0.9 and a check that needs no speed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from axlewright.errors import SoundError
from axlewright.language import eager as _
from axlewright.sound.advice import (
    Advice,
    Ambiguity,
    advise,
    find_ambiguities,
    notices_when_nothing_fits,
)
from axlewright.sound.angle import OrderSpectra, order_spectra, refine, wheel_turns
from axlewright.sound.evidence import Posterior, weigh
from axlewright.sound.findings import MESH, POSSIBLE, SourceFinding, source_findings
from axlewright.sound.mesh_figures import (
    HarmonicFigure,
    HarmonicTrack,
    harmonic_figure,
    track_harmonic,
)
from axlewright.sound.orders import AxleOrders, Candidate, candidate_sources
from axlewright.sound.recording import Recording
from axlewright.sound.segments import Segment, SegmentKind, Vehicle, find_segments
from axlewright.sound.settling import FOUND_SPEED, settle
from axlewright.sound.sidebands import Sidebands, measure_sidebands
from axlewright.sound.speed import SpeedTrace, Tyre, check_wheel_rate, prior_sigma
from axlewright.sound.tracking import (
    OrderMap,
    Path,
    Tracker,
    follow,
    frame_times,
    order_map,
    without_fixed_tones,
)

FloatArray = NDArray[np.float64]

PRESENCE_OFFSET: Final = 40.0
"""More than the best of all trackers reaches in road noise alone [nats]: up to 27 in simulated drives."""
LOWEST_LINE_HZ: Final = 15.0
LITTLE_SWEEP: Final = 0.06
HEARD_FROM_HZ: Final = 40.0
STEADY_SHARE: Final = 0.5
"""Part of the best path's evidence from which a steady tone may be what was followed; our judgement."""
KNOWN_SPEED: Final = 0.004
"""Below this relative standard deviation a mesh level can be tracked even if no mesh was named."""


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
        The set of sources that explain the recording about equally well.
    segments : tuple of Segment
    harmonics : tuple of HarmonicFigure
        Mesh harmonics; empty when the speed is not known well enough to follow them.
    tracks : tuple of HarmonicTrack
    sidebands : tuple of Sidebands
    cannot_separate : tuple of Ambiguity
    next_recording : tuple of Advice
    notices : tuple of str
    times_s, speed_mps : ndarray, shape (frames,)
        Tracked speed.
    speed_sigma : float
        Its relative standard deviation.
    speed_interval : tuple of float
        The true speed lies between these, relative to the tracked one, with a chance of 90 %.
    prior_sigma : float
        Relative standard deviation of the stated speed.
    posterior : Posterior or None
    order_map : OrderMap
    spectra : OrderSpectra or None
    roughness_asper : float or None
    said_steady : bool
        The speed was stated as one for the whole recording; what is found of it holds only if it was.
    """

    recording: Recording
    axle: AxleOrders
    tyre: Tyre
    sources: tuple[SourceFinding, ...]
    top: tuple[str, ...]
    segments: tuple[Segment, ...]
    harmonics: tuple[HarmonicFigure, ...]
    tracks: tuple[HarmonicTrack, ...]
    sidebands: tuple[Sidebands, ...]
    cannot_separate: tuple[Ambiguity, ...]
    next_recording: tuple[Advice, ...]
    notices: tuple[str, ...]
    times_s: FloatArray
    speed_mps: FloatArray
    speed_sigma: float
    speed_interval: tuple[float, float]
    prior_sigma: float
    posterior: Posterior
    order_map: OrderMap
    spectra: OrderSpectra
    roughness_asper: float | None = None
    said_steady: bool = False

    @property
    def speed_found(self) -> bool:
        """Whether the sound fixes the speed: the interval is within ±`FOUND_SPEED` of what was tracked."""
        return max(abs(end) for end in self.speed_interval) <= FOUND_SPEED

    def as_dict(self) -> dict[str, Any]:
        """Return the report as plain data; see `axlewright.sound.report`."""
        from axlewright.sound.report import listening_as_dict

        return listening_as_dict(self)


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
        Tooth counts and what else is known.
    tyre : Tyre
    speed : SpeedTrace
        As stated; its error is found from the sound.
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
    sigma = prior_sigma(speed, tyre)
    samples, rate = recording.samples, recording.rate_hz
    leave_out = tuple(
        span for flag in recording.flags if flag.kind in ("speech", "silent_stretch") for span in flag.spans_s
    )
    times = frame_times(len(samples), rate)
    stated = speed.at(times) / tyre.circumference_m
    map_ = order_map(samples, rate, stated, leave_out)
    samples = without_fixed_tones(samples, rate, map_.fixed_hz)
    candidates = candidate_sources(axle)
    paths = follow(map_, make_trackers(candidates, sigma))
    best = max(paths, key=lambda path: path.evidence)
    turns, spectra, reference_error = _reference(samples, rate, times, stated, best, leave_out)
    posterior = weigh(
        spectra,
        candidates,
        sigma=sigma,
        reference_error=reference_error,
        presence_nats=best.evidence - PRESENCE_OFFSET,
        lowest_order=LOWEST_LINE_HZ / float(stated.mean()),
    )
    winner = posterior.sets[0]
    by_name = {c.name: c for c in candidates}
    reference_turns = turns
    settled = settle(samples, rate, times, turns, spectra, posterior, by_name, winner, sigma)
    turns, wheel, spread = settled.turns, settled.wheel_hz, settled.sigma
    mesh_turns, heard = turns, spread < KNOWN_SPEED
    if posterior.probability[MESH] > POSSIBLE:
        # The mesh figures hold if the mesh it is, so they follow the best set with the mesh in it.
        with_mesh = next(item for item in posterior.sets if MESH in item.members)
        heard = True
        if with_mesh is not winner:
            mesh_turns = settle(
                samples, rate, times, reference_turns, spectra, posterior, by_name, with_mesh, sigma
            ).turns
    speed_mps = (wheel if winner.members else stated) * tyre.circumference_m
    segments = find_segments(times, speed_mps, vehicle, marked)
    used = np.ones(len(times), dtype=bool)
    for start, stop in leave_out:
        used &= (times < start) | (times > stop)
    tracks: list[HarmonicTrack] = []
    if heard:
        for harmonic in (1, 2, 3):
            track = track_harmonic(
                samples, rate, mesh_turns, map_, float(axle.ring_teeth), harmonic, tyre.circumference_m, used
            )
            if track is not None:
                tracks.append(track)
    figures = tuple(f for f in map(harmonic_figure, tracks) if f is not None)
    bands = _mesh_sidebands(samples, rate, mesh_turns, leave_out, axle, posterior) if heard else ()
    steady = map_.fixed_nats > STEADY_SHARE * best.evidence
    ambiguities = find_ambiguities(posterior, candidates, axle, sigma, map_.sweep, speed.constant or steady)
    sources = source_findings(
        posterior,
        candidates,
        axle,
        bands,
        tracks,
        segments,
        sigma,
        map_,
        [a.first for a in ambiguities if a.blocking],
    )
    notices = notices_when_nothing_fits(posterior, axle, reference_error, sigma, map_, winner)
    return Listening(
        recording,
        axle,
        tyre,
        sources,
        posterior.top,
        segments,
        figures,
        tuple(tracks),
        bands,
        ambiguities,
        advise(posterior, candidates, ambiguities, recording, map_, sigma),
        notices,
        times,
        speed_mps,
        spread,
        settled.interval,
        sigma,
        posterior,
        map_,
        spectra,
        _roughness(recording, tracks) if roughness else None,
        speed.constant,
    )


def make_trackers(candidates: tuple[Candidate, ...], sigma: float) -> list[Tracker]:
    """Return the families to follow: the candidates' own, and single lines at any order."""
    named = [
        Tracker(c.name, c.orders, math.hypot(sigma, c.slip))
        for c in candidates
        if c.orders and c.kind not in ("tread", "wheel")
    ]
    orders = np.exp(np.arange(math.log(1.5), math.log(130.0), max(3 * sigma, 0.015)))
    return named + [Tracker(f"order {o:.1f}", (float(o),), max(sigma, 0.005), free=True) for o in orders]


def _reference(
    samples: FloatArray,
    rate: int,
    times: FloatArray,
    stated: FloatArray,
    best: Path,
    leave_out: tuple[tuple[float, float], ...],
) -> tuple[FloatArray, OrderSpectra, float]:
    """Return wheel turns after the best path, order spectra on them, and the path's mean error."""
    turns = wheel_turns(times, stated * np.exp(best.error), len(samples), rate)
    if best.evidence > PRESENCE_OFFSET:
        turns, _rest = refine(samples, rate, turns, best.tracker.orders[:2])
    spectra = order_spectra(samples, rate, turns, leave_out)
    if spectra is None:
        raise SoundError(
            _("the wheel makes only {turns} turns in the recording, too few to judge").format(
                turns=f"{turns[-1]:.0f}"
            ),
            where=_("recording"),
            fix=_("record at least 20 s of driving"),
        )
    at = np.clip((times * rate).astype(int), 0, len(turns) - 1)
    wheel = np.gradient(turns[at], times)
    return turns, spectra, float(np.log(np.maximum(wheel, 1e-6) / np.maximum(stated, 1e-6)).mean())


def _mesh_sidebands(
    samples: FloatArray,
    rate: int,
    turns: FloatArray,
    leave_out: tuple[tuple[float, float], ...],
    axle: AxleOrders,
    posterior: Posterior,
) -> tuple[Sidebands, ...]:
    """Measure pinion-turn and ring-turn sidebands on turns that are exact for the winner."""
    if posterior.probability[MESH] < POSSIBLE:
        return ()
    from axlewright.sound.evidence import TEMPER
    from axlewright.sound.lines import persistent_score

    spectra = order_spectra(samples, rate, turns, leave_out)
    if spectra is None:
        return ()
    scores = persistent_score(spectra.scores, TEMPER)
    carrier = float(axle.ring_teeth)
    return (
        measure_sidebands(scores, spectra.level, carrier, axle.ratio, "pinion"),
        measure_sidebands(scores, spectra.level, carrier, 1.0, "ring gear"),
    )


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
