"""Follow a recording: the road's course, the engine, the spectra over their turns, and the speed's scale.

The course is known from the sound up to a constant factor. The factor, here the scale, is weighed with
what was stated, with the axle's lines where they stand clear of the clutter, and with the engine's
order in each gear where gears and cylinders are told. A doubt about all of them stays in.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, special

from axlewright.sound.angle import refine, wheel_turns
from axlewright.sound.engine import Engine, follow_engine
from axlewright.sound.following import COARSE, Course, ShapeDoubt, coarse_wheel_hz, follow_road, stated_course
from axlewright.sound.line_map import HOP_S, OrderMap, frame_times, order_map
from axlewright.sound.orders import AxleOrders
from axlewright.sound.recording import Recording
from axlewright.sound.speed import SpeedTrace, Tyre, prior_sigma
from axlewright.sound.turned import STEP, TurnSpectra, envelope_spectra, turn_spectra

FloatArray = NDArray[np.float64]

SHAPE_DOUBT: Final = {
    "typed": ShapeDoubt(0.03, 0.12, (0.3, 0.9)),
    "dashboard": ShapeDoubt(0.03, 0.12, (0.3, 0.9)),
    "satellite": ShapeDoubt(0.01, 0.05, (0.2, 0.7, 1.2, 1.7)),
    "wheel sensor": ShapeDoubt(0.004, 0.03, (0.0,)),
}
ENGINE_UNIT: Final = 16.0
ENGINE_HIGHEST: Final = 480.0
ENGINE_WIDTH: Final = 0.0015
MOST_MULTIPLES: Final = 8
LEAST_KNOWN_S: Final = 10.0
SATELLITE_SMOOTH_S: Final = 0.9
SCALE_STEP: Final = 0.0005
SCALE_TEMPER: Final = 0.4
OWN_TEMPER: Final = 0.5
PRESENT: Final = 0.3
GEARS_TEMPER: Final = 0.7
CLUTTER_NATS: Final = 12.0
"""Above the clutter elsewhere: less says nothing of the speed. With the next three settled on drives of two
simulators so that the 90 % interval held the truth in about nine of ten."""
PRIOR_WIDER: Final = 1.2
DOUBT: Final = 0.15
SCALE_FLOOR: Final = 0.004
OVERTONE: Final = 0.5
MESH_LINES: Final = (1.0, 2.0, 3.0)
SHAFT_LINES: Final = (1.0, 2.0, 3.0)
JOINT_LINES: Final = (2.0, 4.0, 6.0)
GEAR_FRAMES: Final = 15
GEAR_SIGMA: Final = 0.002


@dataclass(frozen=True, slots=True)
class Heard:
    """A recording, followed and turned.

    Parameters
    ----------
    map : OrderMap
    course : Course
    wheel_hz : ndarray, shape (frames,)
        As followed.
    turns : ndarray, shape (n,)
        Wheel turns at the samples, as followed.
    spectra : TurnSpectra
    envelope_scores : ndarray, shape (bands, bins)
        How much each order speaks for a swelling, band by band, where the engine's orders are not [nats].
    engine : Engine
    engine_spectra : TurnSpectra or None
        Over turns of the engine, `ENGINE_UNIT` orders to the line followed; None where none was.
    score : ndarray, shape (bins,)
        How much each order speaks for a line, where the engine's lines are not [nats].
    everything : ndarray, shape (bins,)
        The same with the engine's.
    scales : ndarray, shape (scales,)
        ln(true / followed wheel rate).
    log_prior : ndarray, shape (scales,)
        From what was stated.
    families : dict of str to ndarray
        Evidence of each family of lines over `scales`.
    scale_chance : ndarray, shape (scales,)
        Chance of each scale, all families considered.
    sigma : float
        Relative standard deviation of the stated wheel rate.
    """

    map: OrderMap
    course: Course
    wheel_hz: FloatArray
    turns: FloatArray
    spectra: TurnSpectra
    envelope_scores: FloatArray
    engine: Engine
    engine_spectra: TurnSpectra | None
    score: FloatArray
    everything: FloatArray
    scales: FloatArray
    log_prior: FloatArray
    families: dict[str, FloatArray]
    scale_chance: FloatArray
    sigma: float

    @property
    def scale_interval(self) -> tuple[float, tuple[float, float]]:
        """Median scale, and the ends of the 90 % interval from it."""
        total = np.cumsum(self.scale_chance)
        low, middle, high = (float(np.interp(q, total, self.scales)) for q in (0.05, 0.5, 0.95))
        return middle, (low - middle, high - middle)

    def family_scale(self, name: str) -> float:
        """Scale at which a family fits best, within what was stated."""
        return float(self.scales[int(np.argmax(OWN_TEMPER * self.families[name] + self.log_prior))])


def follow(recording: Recording, axle: AxleOrders, tyre: Tyre, speed: SpeedTrace) -> Heard:
    """Follow the road, the engine, and weigh the speed's scale."""
    samples, rate = recording.samples, recording.rate_hz
    times = frame_times(len(samples), rate)
    stated = np.maximum(speed.at(times) / tyre.circumference_m, 0.3)
    if speed.source == "satellite":
        stated = ndimage.gaussian_filter1d(stated, SATELLITE_SMOOTH_S / HOP_S, mode="nearest")
    left_out = [
        s for flag in recording.flags if flag.kind in ("speech", "silent_stretch") for s in flag.spans_s
    ]
    unknown = speed.unknown_spans(recording.duration_s)
    if recording.duration_s - sum(b - a for a, b in unknown) >= LEAST_KNOWN_S:
        left_out += list(unknown)
    map_ = order_map(samples, rate, stated, tuple(left_out))
    doubt = SHAPE_DOUBT[speed.source]
    first = follow_engine(stated_course(map_), coarse_wheel_hz(map_, np.zeros(len(times))))
    engine_hz = first.order * coarse_wheel_hz(map_, np.zeros(len(times))) if first.clear else None
    course = follow_road(map_, doubt, engine_hz)
    wheel = stated * np.exp(course.error)
    turns = wheel_turns(times, wheel, len(samples), rate)
    keep = np.ones(len(samples), dtype=bool)
    for start, stop in left_out:
        keep[int(max(start, 0) * rate) : int(stop * rate)] = False
    coarse_wheel = coarse_wheel_hz(map_, course.error)
    engine = follow_engine(course, coarse_wheel)
    spectra = turn_spectra(samples, rate, turns, keep)
    lines = _strongest(spectra.persistent(), 2)
    if lines and course.nats > 20:
        better, _ = refine(samples, rate, turns, lines, rounds=2)
        again = turn_spectra(samples, rate, better, keep)
        if np.maximum(again.persistent(), 0).sum() > np.maximum(spectra.persistent(), 0).sum():
            turns, spectra = better, again
    everything = spectra.persistent()
    mask = engine_mask(spectra, engine, times[: len(coarse_wheel) * COARSE : COARSE], axle.cylinders)
    score = spectra.persistent(mask=mask)
    envelopes = envelope_spectra(samples, rate, turns, keep)
    coarse_times = times[: len(coarse_wheel) * COARSE : COARSE]
    envelope_scores = np.stack(
        [e.persistent(mask=engine_mask(e, engine, coarse_times, axle.cylinders, 3.0)) for e in envelopes]
    )
    engine_spectra = _engine_spectra(samples, rate, engine, coarse_times, coarse_wheel, keep)
    sigma = PRIOR_WIDER * prior_sigma(speed, tyre)
    late = np.log(np.maximum(np.interp(times + course.late_s, times, stated), 0.3) / stated)
    found = float((course.error - late).mean())
    reach = 3 * sigma + 0.005
    scales = np.arange(-reach, reach + SCALE_STEP, SCALE_STEP) - found
    log_prior = -0.5 * ((scales + found) / sigma) ** 2
    log_prior -= special.logsumexp(log_prior)
    families = _families(score, axle, scales)
    families["gears"] = _gears(engine, axle, scales)
    chance = _scale_chance(families, log_prior)
    return Heard(
        map_,
        course,
        wheel,
        turns,
        spectra,
        envelope_scores,
        engine,
        engine_spectra,
        score,
        everything,
        scales,
        log_prior,
        families,
        chance,
        sigma,
    )


def _engine_spectra(
    samples: FloatArray,
    rate_hz: int,
    engine: Engine,
    times_s: FloatArray,
    wheel_hz: FloatArray,
    keep: NDArray[np.bool_],
) -> TurnSpectra | None:
    """Spectra over turns of the engine, `ENGINE_UNIT` for each of the line followed; None without one."""
    if not engine.clear:
        return None
    smooth = np.log(engine.order)
    for a, b in engine.pieces:
        smooth[a:b] = ndimage.gaussian_filter1d(smooth[a:b], 2.0, mode="nearest")
    unit_hz = np.exp(smooth) * wheel_hz / ENGINE_UNIT
    at = np.arange(len(samples)) / rate_hz
    turns = np.cumsum(np.interp(at, times_s, unit_hz)) / rate_hz
    return turn_spectra(samples, rate_hz, turns, keep, highest=ENGINE_HIGHEST, hop_turns=16)


def _scale_chance(families: dict[str, FloatArray], log_prior: FloatArray) -> FloatArray:
    """Weigh the scales by every family that may be there, and keep a doubt about all of them."""
    total = log_prior + GEARS_TEMPER * families["gears"]
    for name in ("mesh", "propshaft", "joint"):
        value = SCALE_TEMPER * np.maximum(families[name] - CLUTTER_NATS, 0.0)
        total = total + np.logaddexp(math.log(1 - PRESENT), math.log(PRESENT) + value)
    chance = np.exp(total - special.logsumexp(total))
    stated = np.exp(log_prior - special.logsumexp(log_prior))
    chance = (1 - DOUBT) * chance + DOUBT * stated
    reach = round(4 * SCALE_FLOOR / SCALE_STEP)
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) * SCALE_STEP / SCALE_FLOOR) ** 2)
    chance = ndimage.convolve1d(chance, kernel / kernel.sum(), mode="constant")
    return np.asarray(chance / chance.sum())


def engine_mask(
    spectra: TurnSpectra, engine: Engine, times_s: FloatArray, cylinders: int | None, wider: float = 1.0
) -> NDArray[np.bool_]:
    """Mark where the engine's lines lie, shape (segments, bins).

    The line followed is the firing line or its octave, so that its multiples are crank half orders
    where the cylinders are known, and halves and quarters where they are not.
    """
    mask = np.zeros(spectra.power.shape, dtype=bool)
    if not engine.clear:
        return mask
    grid = np.arange(spectra.power.shape[1]) * STEP
    part = cylinders if cylinders else 4
    at = np.clip(np.searchsorted(times_s, spectra.times_s), 0, len(engine.order) - 1)
    for row, order in enumerate(engine.order[at]):
        multiple = grid / (order / part)
        away = np.abs(multiple - np.rint(multiple)) * (order / part)
        mask[row] = (
            (away < 1.5 * STEP + wider * ENGINE_WIDTH * grid)
            & (multiple > 0.5)
            & (multiple < MOST_MULTIPLES * part)
        )
        # Halves of the line itself are the strongest: they spread further.
        halves = grid / (order / 2)
        mask[row] |= (np.abs(halves - np.rint(halves)) * order / 2 < 2.5 * STEP + 2 * ENGINE_WIDTH * grid) & (
            halves > 0.5) & (halves < 2 * MOST_MULTIPLES)  # fmt: skip
    return mask


def _strongest(score: FloatArray, count: int) -> tuple[float, ...]:
    from_bin = int(4.0 / STEP)
    order = np.argsort(-score[from_bin:])[:300] + from_bin
    chosen: list[int] = []
    for at in order:
        if score[at] < 12 or len(chosen) == count:
            break
        if all(abs(at - other) > 40 for other in chosen):
            chosen.append(int(at))
    return tuple(sorted(at * STEP for at in chosen))


def read(score: FloatArray, orders: NDArray[np.floating[Any]], near: float = 0.0) -> FloatArray:
    """Read a score at orders, the best within a relative nearness."""
    grid = np.arange(len(score))
    result = np.interp(orders / STEP, grid, score, right=0.0)
    if near:
        for shift in np.arange(-near, near + 1e-9, near / 2):
            result = np.maximum(result, np.interp(orders * (1 + shift) / STEP, grid, score, right=0.0))
    return np.asarray(result)


def comb(score: FloatArray, bases: FloatArray, multiples: tuple[float, ...], near: float = 0.0) -> FloatArray:
    """Score of a lead line and overtones that may be absent."""
    total = read(score, bases * multiples[0], near)
    for k in multiples[1:]:
        total = total + np.logaddexp(
            math.log(1 - OVERTONE), math.log(OVERTONE) + read(score, bases * k, near)
        )
    return np.asarray(total)


def _families(score: FloatArray, axle: AxleOrders, scales: FloatArray) -> dict[str, FloatArray]:
    """Evidence of each family over the scales, above what the clutter round it reaches elsewhere."""
    e, z, r = np.exp(scales), float(axle.ring_teeth), axle.ratio
    elsewhere = np.concatenate([np.arange(-0.38, -0.1, 0.001), np.arange(0.1, 0.38, 0.001)])
    result = {}
    for name, base, multiples in (
        ("mesh", z, MESH_LINES),
        ("propshaft", r, SHAFT_LINES),
        ("joint", r, JOINT_LINES),
    ):
        clutter = np.percentile(comb(score, base * np.exp(elsewhere), multiples), 92)
        result[name] = comb(score, base * e, multiples) - max(float(clutter), 0.0)
    return result


def _gears(engine: Engine, axle: AxleOrders, scales: FloatArray) -> FloatArray:
    """Evidence for each scale from the engine's order in each gear, where cylinders and gears are told.

    A converter slips one way; the line followed is the firing line or its octave.
    """
    total = np.zeros(len(scales))
    gears, cylinders = axle.gears, axle.cylinders
    if not gears or not cylinders:
        return total
    for a, b in engine.pieces:
        if b - a < GEAR_FRAMES:
            continue
        order = float(np.median(engine.order[a:b]))
        chance = np.zeros(len(scales))
        for octave in (1.0, 2.0):
            crank = order / cylinders * octave
            for gear in gears:
                off = scales - math.log(crank / (axle.ratio * gear))
                chance += np.exp(-0.5 * (off / GEAR_SIGMA) ** 2) / (GEAR_SIGMA * math.sqrt(2 * math.pi))
                chance += 0.3 * np.where((off < 0) & (off > -0.05), np.exp(off / 0.015) / 0.015, 0.0)
        # A chance piece may fall anywhere in an octave of orders.
        total += np.log(0.4 + 0.6 * chance / 2.0 * math.log(4.0) / len(gears))
    return total
