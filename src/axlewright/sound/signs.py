"""What each possible source shows in a recording, as numbers.

Nothing is decided here. The signs are measured alike for every recording; `chances` weighs them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, special

from axlewright.sound.angle import refine, wheel_turns
from axlewright.sound.engine import Engine, follow_engine
from axlewright.sound.following import (
    COARSE,
    Course,
    ShapeDoubt,
    coarse_wheel_hz,
    follow_road,
    stated_course,
)
from axlewright.sound.orders import AxleOrders, Bearing
from axlewright.sound.recording import Recording
from axlewright.sound.segments import Vehicle, torque_sign_mps2
from axlewright.sound.speed import SpeedTrace, Tyre, prior_sigma
from axlewright.sound.line_map import HOP_S, OrderMap, frame_times, order_map
from axlewright.sound.turned import STEP, TurnSpectra, envelope_spectra, turn_spectra

FloatArray = NDArray[np.float64]
Signs = dict[str, float]

SHAPE_DOUBT: Final = {
    "typed": ShapeDoubt(0.03, 0.12, (0.3, 0.9)),
    "dashboard": ShapeDoubt(0.03, 0.12, (0.3, 0.9)),
    "satellite": ShapeDoubt(0.01, 0.05, (0.2, 0.7, 1.2, 1.7)),
    "wheel sensor": ShapeDoubt(0.004, 0.03, (0.0,)),
}
ENGINE_CLEAR: Final = 40.0
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
NEAR: Final = 0.004
SLIPS: Final = np.arange(-0.004, 0.0321, 0.0005)
PARTS: Final = ("outer", "inner", "element")


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
    spectra : TurnSpectra
    envelopes : list of TurnSpectra
    engine : Engine
    score : ndarray, shape (bins,)
        How much each order speaks for a line, where the engine's lines are not [nats].
    everything : ndarray, shape (bins,)
        The same with the engine's.
    scales : ndarray, shape (scales,)
        ln(true / followed wheel rate).
    log_prior : ndarray, shape (scales,)
        From what was stated.
    families : dict of str to ndarray
        Evidence of each family over `scales`.
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
    envelopes: list[TurnSpectra]
    engine: Engine
    score: FloatArray
    everything: FloatArray
    envelope_scores: FloatArray
    engine_spectra: TurnSpectra | None
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
    left_out = [s for flag in recording.flags if flag.kind in ("speech", "silent_stretch") for s in flag.spans_s]
    unknown = speed.unknown_spans(recording.duration_s)
    if recording.duration_s - sum(b - a for a, b in unknown) >= LEAST_KNOWN_S:
        left_out += list(unknown)
    map_ = order_map(samples, rate, stated, tuple(left_out))
    doubt = SHAPE_DOUBT[speed.source]
    first = follow_engine(stated_course(map_), coarse_wheel_hz(map_, np.zeros(len(times))))
    engine_hz = first.order * coarse_wheel_hz(map_, np.zeros(len(times))) if first.nats > ENGINE_CLEAR else None
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
        [e.persistent(mask=engine_mask(e, engine, coarse_times, axle.cylinders)) for e in envelopes]
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
    return Heard(map_, course, wheel, turns, spectra, envelopes, engine, score, everything, envelope_scores, engine_spectra, scales, log_prior,
                 families, chance, sigma)  # fmt: skip


def _engine_spectra(
    samples: FloatArray,
    rate_hz: int,
    engine: Engine,
    times_s: FloatArray,
    wheel_hz: FloatArray,
    keep: NDArray[np.bool_],
) -> TurnSpectra | None:
    """Spectra over turns of the engine, `ENGINE_UNIT` of them for each of the line followed; None without one."""
    if engine.nats < ENGINE_CLEAR:
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
    spectra: TurnSpectra, engine: Engine, times_s: FloatArray, cylinders: int | None
) -> NDArray[np.bool_]:
    """Mark where the engine's lines lie, shape (segments, bins).

    The line followed is the firing line or its octave, so that its multiples are crank half orders
    where the cylinders are known, and halves and quarters where they are not.
    """
    mask = np.zeros(spectra.power.shape, dtype=bool)
    if engine.nats < ENGINE_CLEAR:
        return mask
    grid = np.arange(spectra.power.shape[1]) * STEP
    part = cylinders if cylinders else 4
    at = np.clip(np.searchsorted(times_s, spectra.times_s), 0, len(engine.order) - 1)
    for row, order in enumerate(engine.order[at]):
        multiple = grid / (order / part)
        away = np.abs(multiple - np.rint(multiple)) * (order / part)
        mask[row] = (away < 1.5 * STEP + ENGINE_WIDTH * grid) & (multiple > 0.5) & (multiple < MOST_MULTIPLES * part)
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


def read(score: FloatArray, orders: FloatArray, near: float = 0.0) -> FloatArray:
    """Read a score at orders, the best within a relative nearness."""
    grid = np.arange(len(score))
    result = np.interp(orders / STEP, grid, score, right=0.0)
    if near:
        for shift in np.arange(-near, near + 1e-9, near / 2):
            result = np.maximum(result, np.interp(orders * (1 + shift) / STEP, grid, score, right=0.0))
    return np.asarray(result)


def _comb(score: FloatArray, bases: FloatArray, multiples: tuple[float, ...], near: float = 0.0) -> FloatArray:
    """Score of a lead line and overtones that may be absent."""
    total = read(score, bases * multiples[0], near)
    for k in multiples[1:]:
        total = total + np.logaddexp(math.log(1 - OVERTONE), math.log(OVERTONE) + read(score, bases * k, near))
    return np.asarray(total)


def _families(score: FloatArray, axle: AxleOrders, scales: FloatArray) -> dict[str, FloatArray]:
    """Evidence of each family over the scales, above what the clutter round it reaches elsewhere."""
    e, z, r = np.exp(scales), float(axle.ring_teeth), axle.ratio
    elsewhere = np.concatenate([np.arange(-0.38, -0.1, 0.001), np.arange(0.1, 0.38, 0.001)])
    result = {}
    for name, base, multiples in (("mesh", z, MESH_LINES), ("propshaft", r, SHAFT_LINES), ("joint", r, JOINT_LINES)):
        clutter = np.percentile(_comb(score, base * np.exp(elsewhere), multiples), 92)
        result[name] = _comb(score, base * e, multiples) - max(float(clutter), 0.0)
    middle = float(scales.mean())
    wide = np.exp(middle + np.arange(-0.08, 0.08, SCALE_STEP))
    for name, whole in (("tread", np.arange(39, 99)), ("wheel", np.arange(1, 16))):
        def total(at: FloatArray, whole: FloatArray = whole) -> FloatArray:
            return np.asarray(np.clip(read(score, whole[:, None] * at) - 1.0, 0.0, 12.0).sum(axis=0))
        result[name] = total(e) - float(np.percentile(total(wide), 92))
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


def _loudest(audibility: FloatArray) -> FloatArray:
    """Loudest stretch of each line: the mean of two neighbouring segments."""
    if audibility.shape[1] < 2:
        return np.asarray(audibility.max(axis=1))
    return np.asarray(((audibility[:, 1:] + audibility[:, :-1]) / 2).max(axis=1))


def _squash(nats: float) -> float:
    return math.copysign(math.log1p(abs(nats)), nats)


def measure(heard: Heard, axle: AxleOrders, tyre: Tyre) -> Signs:
    """Measure all signs."""
    found: Signs = {}
    spectra, engine = heard.spectra, heard.engine
    best_scale = float(heard.scales[int(np.argmax(heard.scale_chance))])
    spread = math.sqrt(float((heard.scale_chance * (heard.scales - best_scale) ** 2).sum()))
    seg_t, seg_hz = spectra.times_s, spectra.wheel_hz
    coarse_t = heard.map.times_s[: len(heard.course.scores) * COARSE].reshape(-1, COARSE).mean(axis=1)
    at_seg = np.clip(np.searchsorted(coarse_t, seg_t), 0, len(engine.order) - 1)
    engine_order = engine.order[at_seg]
    times = heard.map.times_s
    force = torque_sign_mps2(times, heard.wheel_hz * tyre.circumference_m, Vehicle())
    force_seg = np.interp(seg_t, times, force)
    drive, coast = force_seg > 0.15, force_seg < -0.1
    minutes = float(times[-1]) / 60
    found["sweep"] = math.log(float(np.percentile(seg_hz, 97) / np.percentile(seg_hz, 3)))
    found["sigma"] = heard.sigma * 100
    found["spread"] = spread * 100
    found["gears"] = float(heard.families["gears"].max())
    found["speed"] = math.log(float(seg_hz.mean()))
    found["follow"] = _squash(heard.course.nats / minutes)
    found["minutes"] = minutes * float(heard.map.scores.any(axis=1).mean())
    found["coast"] = float(coast.mean())
    # The engine.
    firing = np.stack([engine_order * k for k in (0.5, 1.0, 1.5, 2.0, 3.0)])
    heard_engine = spectra.audibility_db(firing)
    found["engine.nats"] = _squash(engine.nats / minutes)
    found["engine.more"] = _squash((engine.nats - engine.constant_nats) / minutes)
    found["engine.steps"] = float(min(engine.steps, 4))
    found["engine.aud"] = float(_loudest(heard_engine).max())
    found["engine.mean"] = float(np.median(heard_engine[1:].max(axis=0)))
    off = np.exp(np.arange(math.log(2.2), math.log(30), 0.002))
    lead = np.log(engine.order)
    locked = _locked(heard.course, lead, off)
    away = np.abs(off * 2 - np.rint(off * 2)) / 2 / off > 0.006
    found["engine.locked"] = _squash(float((locked * away).max()))
    at = int(np.argmax(locked * away))
    found["engine.locked_at"] = float(off[at])
    found["engine.locked_aud"] = float(_loudest(spectra.audibility_db((engine_order * off[at])[None]))[0])
    # Families of lines.
    z, r = float(axle.ring_teeth), axle.ratio
    tonal = {"mesh": (z, MESH_LINES), "propshaft": (r, SHAFT_LINES), "joint": (r, JOINT_LINES)}
    explained: list[tuple[str, FloatArray]] = []
    for name, (base, multiples) in tonal.items():
        own = OWN_TEMPER * heard.families[name] + heard.log_prior
        index = int(np.argmax(own))
        scale = float(heard.scales[index])
        lines = base * np.asarray(multiples)
        for tag, s in (("own", scale), ("joint", best_scale)):
            orders = lines * math.exp(s)
            loud = spectra.audibility_db(orders)
            top = _loudest(loud)
            scores = read(heard.score, orders, 0.001)
            plain = read(heard.everything, orders, 0.001)
            found[f"{name}.{tag}.plain"] = _squash(float(plain[0]))
            found[f"{name}.{tag}.lead"] = _squash(float(scores[0]))
            found[f"{name}.{tag}.all"] = _squash(float(np.maximum(scores, 0).sum()))
            found[f"{name}.{tag}.aud"] = float(top.max())
            if tag == "own":
                top_own = top
                k = int(np.argmax(top))
                found[f"{name}.which"] = float(k)
                found[f"{name}.count"] = float((scores > 4).sum())
                found[f"{name}.share"] = float((loud[k] > -2).mean())
                found[f"{name}.median"] = float(np.median(loud[k]))
                found[f"{name}.shift"] = abs(float((scale - _prior_mean(heard)) / heard.sigma))
                found[f"{name}.engine"] = _in_engine(orders[k], engine_order, loud[k])
                found[f"{name}.gears"] = _through_gears(heard.course, engine, orders[k])
                found[f"{name}.side"] = _contrast(loud[k], drive, coast)
        # How many other bases would do as well, looking within as wide a window.
        off = np.concatenate([np.arange(-0.4, -0.06, 0.0015), np.arange(0.06, 0.4, 0.0015)])
        every = _comb(heard.score, base * np.exp(off), multiples)
        mine = float(_comb(heard.score, np.array([base * math.exp(scale)]), multiples)[0])
        mine_joint = float(_comb(heard.score, np.array([base * math.exp(best_scale)]), multiples)[0])
        wide = ndimage.maximum_filter1d(every, 9)[4::9]
        found[f"{name}.rank"] = float((wide >= mine).mean())
        found[f"{name}.joint_rank"] = float((wide >= mine_joint).mean())
        found[f"{name}.excess"] = _squash(mine - float(np.percentile(wide, 90)))
        others = _loudest(spectra.audibility_db(base * multiples[0] * np.exp(off[::6])))
        found[f"{name}.loud_excess"] = float(top_own[0]) - float(np.percentile(others, 90))
        found[f"{name}.loud_rank"] = float((others >= top_own[0]).mean())
        explained.append((name, lines * math.exp(best_scale)))
    found.update(_sidebands(heard, z * math.exp(best_scale), r * math.exp(best_scale)))
    # Whole orders: wheels and treads.
    for name, low, high in (("wheel", 1, 12), ("scallop", 6, 38), ("tread", 39, 98)):
        orders = np.arange(low, high + 1) * math.exp(best_scale)
        scores = read(heard.score, orders, 0.0008)
        half = read(heard.score, orders + 0.5 * math.exp(best_scale), 0.0008)
        loud = spectra.audibility_db(orders)
        top = _loudest(loud)
        clear = scores > 3
        found[f"{name}.sum"] = _squash(float(np.minimum(np.maximum(scores, 0), 25).sum()))
        found[f"{name}.over_half"] = _squash(float((np.clip(scores, 0, 25) - np.clip(half, 0, 25)).sum()))
        found[f"{name}.count"] = float(clear.mean())
        found[f"{name}.aud"] = float(top[clear].max()) if clear.any() else -20.0
        found[f"{name}.second"] = float(np.sort(top)[-3])
        together = 10 * np.log10((10 ** (np.maximum(loud, -20) / 10)).sum(axis=0) + 1e-3)
        found[f"{name}.together"] = float(np.percentile(together, 90))
        explained.append((name, orders[clear]))
    # Envelopes at whole turns of wheel and pinion.
    env = heard.envelope_scores.max(axis=0)
    k = np.arange(1, 7) * math.exp(best_scale)
    found["envelope.wheel"] = _squash(float(np.clip(read(env, k, 0.001), 0, 30).sum()))
    found["envelope.once"] = _squash(float(read(env, k[:1], 0.002)[0]))
    found["envelope.pinion"] = _squash(float(np.clip(read(env, k[:3] * r, 0.001), 0, 30).sum()))
    for index, scores in enumerate(heard.envelope_scores):
        found[f"envelope.once{index}"] = _squash(float(read(scores, k[:2], 0.002).max()))
    found.update(_whine(heard))
    found.update(_bearing_signs(heard, axle.bearings, r, best_scale))
    found.update(_unexplained(heard, explained, engine_order))
    found.update(_fixed(heard, force))
    return found


def _prior_mean(heard: Heard) -> float:
    return float(heard.scales[int(np.argmax(heard.log_prior))])


def _locked(course: Course, lead: FloatArray, multiples: FloatArray) -> FloatArray:
    """Score of lines at multiples of a moving order [nats]."""
    step = float(course.log_orders[1] - course.log_orders[0])
    columns = np.rint((lead[:, None] + np.log(multiples)[None, :] - course.log_orders[0]) / step).astype(int)
    inside = (columns >= 0) & (columns < course.scores.shape[1])
    taken = np.take_along_axis(course.scores, np.clip(columns, 0, course.scores.shape[1] - 1), axis=1)
    odds = np.expm1(np.minimum(np.where(inside, taken, 0.0), 6.0))
    return np.asarray(np.max([0.3 * np.log1p(a * odds).sum(axis=0) for a in (0.15, 0.4, 0.8)], axis=0))


def _in_engine(order: float, engine_order: FloatArray, loud: FloatArray) -> float:
    """Share of a line's loud time in which it lies on a multiple of half the firing line."""
    multiple = order / engine_order * 2
    near = (np.abs(multiple - np.rint(multiple)) / multiple < 0.007) & (multiple < 24)
    weight = 10 ** (np.clip(loud, -20, 20) / 10)
    return float((near * weight).sum() / weight.sum())


def _through_gears(course: Course, engine: Engine, order: float) -> float:
    """Weakest over strongest presence of a line in the engine's pieces; 1 when there is one piece."""
    at = int(np.clip(np.searchsorted(course.log_orders, math.log(order)), 2, course.scores.shape[1] - 3))
    presence = np.log1p(0.5 * np.expm1(np.minimum(course.scores[:, at - 1 : at + 2].max(axis=1), 6.0)))
    means = [float(presence[a:b].mean()) for a, b in engine.pieces if b - a >= 20]
    if len(means) < 2:
        return 1.0
    return float(np.clip((min(means) + 0.1) / (max(means) + 0.1), -0.5, 1.0))


def _contrast(loud: FloatArray, drive: NDArray[np.bool_], coast: NDArray[np.bool_]) -> float:
    if drive.sum() < 3 or coast.sum() < 3:
        return 0.0
    def level(mask: NDArray[np.bool_]) -> float:
        return float(10 * np.log10((10 ** (np.clip(loud[mask], -15, 30) / 10)).mean()))
    return level(drive) - level(coast)


def _sidebands(heard: Heard, carrier: float, pinion: float) -> Signs:
    """Score of lines beside the mesh's at turns of the pinion and of the ring gear, against other spacings."""
    spacings = np.arange(0.55, 7.5, STEP)
    score = ndimage.maximum_filter1d(heard.score, 3)
    total = np.zeros(len(spacings))
    for line in (carrier, 2 * carrier):
        total += np.clip(np.minimum(read(score, line + spacings), read(score, line - spacings)), 0, 20)
    found = {}
    for name, spacing in (("pinion", pinion), ("ring", 1.0)):
        value = float(total[int(np.argmin(np.abs(spacings - spacing)))])
        found[f"sideband.{name}"] = _squash(value)
        found[f"sideband.{name}.rank"] = float((total >= max(value, 0.5)).mean())
    return found


def _bearing_signs(heard: Heard, bearings: tuple[Bearing, ...], ratio: float, scale: float) -> Signs:
    """Signs of each place's bearing: at its own orders where they are known, else at any like them.

    Every band's envelope is judged against its own clutter, and what keeps whole turns of wheel or
    pinion is left out: treads, tyres and shafts swell at those.
    """
    found: Signs = {}
    turns = np.concatenate([np.arange(1, 61), ratio * np.arange(1, 21)]) * math.exp(scale)

    def hide(score: FloatArray) -> FloatArray:
        score = np.maximum(score - max(float(np.percentile(score[64:], 98)), 0.0), 0.0)
        for order in turns:
            at = int(round(order / STEP))
            score[max(at - 3, 0) : at + 4] = 0.0
        return np.minimum(score, 40.0)

    bands = [hide(band) for band in heard.envelope_scores]
    lines = hide(heard.score)

    def evidence(bases: FloatArray) -> tuple[FloatArray, FloatArray]:
        swell = np.max([read(b, bases) + sum(np.minimum(read(b, bases * k), 10.0) for k in (2, 3)) for b in bands], axis=0)
        tone = np.minimum(sum(read(lines, bases * k) for k in (1, 2, 3, 4)), 40.0)
        return np.asarray(swell), np.asarray(tone)

    for place, shaft in (("wheel", 1.0), ("pinion", ratio), ("side", 1.0)):
        own = [b for b in bearings if b.place == place]
        best = (0.0, 0.0, 1.0, -20.0)
        turn = shaft * math.exp(scale)
        wide = np.exp(np.arange(math.log(3.2), math.log(14.5), 0.0007)) * turn
        every_swell, every_tone = evidence(wide)
        every = every_swell + 0.5 * every_tone
        spread = ndimage.maximum_filter1d(every, 51)[25::51]
        for bearing in own:
            for name, order in (
                ("outer", bearing.orders.outer), ("inner", bearing.orders.inner), ("element", 2 * bearing.orders.element),
            ):  # fmt: skip
                tried = order * turn * (1 + SLIPS if name == "inner" else 1 - SLIPS)
                a, b = evidence(tried)
                both = a + 0.5 * b
                at = int(np.argmax(both))
                if both[at] > best[0] + 0.5 * best[1]:
                    loud = heard.spectra.audibility_db(tried[at] * np.arange(1.0, 5.0))
                    best = (float(a[at]), float(b[at]), float((spread >= both[at]).mean()), float(_loudest(loud).max()))
        found[f"{place}_bearing.known"] = float(bool(own))
        found[f"{place}_bearing.envelope"] = _squash(best[0])
        found[f"{place}_bearing.lines"] = _squash(best[1])
        found[f"{place}_bearing.rank"] = best[2]
        found[f"{place}_bearing.aud"] = best[3]
        top = int(np.argmax(every_swell))
        found[f"{place}_bearing.any"] = _squash(float(every.max()))
        found[f"{place}_bearing.any_env"] = _squash(float(every_swell[top]))
        found[f"{place}_bearing.any_aud"] = float(
            _loudest(heard.spectra.audibility_db(wide[top] * np.arange(1.0, 5.0))).max()
        )
        found[f"{place}_bearing.not_own"] = _squash(float(every_swell[top]) - best[0]) if own else 0.0
    return found


def _whine(heard: Heard) -> Signs:
    """Loudest line that keeps step with the engine and is none of its firing: gearbox or accessory."""
    spectra = heard.engine_spectra
    if spectra is None:
        return {"whine.nats": 0.0, "whine.aud": -20.0, "whine.order": 0.0, "whine.pieces": 1.0, "whine.share": 0.0}
    score = spectra.persistent()
    grid = np.arange(len(score)) * STEP
    halves = grid / (ENGINE_UNIT / 2)
    near = np.abs(halves - np.rint(halves)) / np.maximum(halves, 1e-9) < 0.004
    score[(grid < 1.7 * ENGINE_UNIT) | (near & (grid < 6 * ENGINE_UNIT))] = -5.0
    peaks = np.argsort(-score)[:400]
    chosen: list[int] = []
    for at in peaks:
        if all(abs(int(at) - other) > 30 for other in chosen):
            chosen.append(int(at))
        if len(chosen) == 8:
            break
    loud = spectra.audibility_db(grid[chosen])
    top = _loudest(loud)
    value = top + 0.2 * np.minimum(score[chosen], 30)
    k = int(np.argmax(value))
    times = heard.map.times_s[: len(heard.course.scores) * COARSE : COARSE]
    level = []
    for a, b in heard.engine.pieces:
        inside = (spectra.times_s >= times[a]) & (spectra.times_s <= times[min(b, len(times) - 1)])
        if inside.sum() >= 2:
            level.append(float(np.percentile(loud[k][inside], 75)))
    return {
        "whine.nats": _squash(float(score[chosen[k]])),
        "whine.aud": float(top[k]),
        "whine.order": math.log(float(grid[chosen[k]]) / ENGINE_UNIT),
        "whine.pieces": float(np.clip(max(level) - min(level), 0, 25)) if len(level) > 1 else 0.0,
        "whine.share": float((loud[k] > -1).mean()),
    }


def _unexplained(heard: Heard, explained: list[tuple[str, FloatArray]], engine_order: FloatArray) -> Signs:
    """Loudest lines, and the loudest that nothing explains."""
    score = heard.score
    peaks = np.flatnonzero((score > 4) & (score >= ndimage.maximum_filter1d(score, 9)))
    peaks = peaks[peaks > int(1.5 / STEP)]
    peaks = peaks[np.argsort(-score[peaks])][:80]
    found: Signs = {"lines.count": float(len(peaks))}
    if len(peaks) == 0:
        return found | {"lines.aud": -20.0, "lines.free": -20.0, "lines.free_order": 0.0, "lines.free_gears": 1.0,
                        "lines.free_engine": 0.0, "lines.free_nats": 0.0, "lines.free_low": -20.0, "lines.free_mid": -20.0,
                        "lines.free_high": -20.0}  # fmt: skip
    orders = peaks * STEP
    audible = heard.spectra.audibility_db(orders)
    loud = _loudest(audible)
    free = np.ones(len(orders), dtype=bool)
    for _name, lines in explained:
        for line in lines:
            free &= np.abs(orders / line - 1) > np.maximum(NEAR, 1.5 * STEP / line)
    shares = np.array([_in_engine(o, engine_order, a) for o, a in zip(orders, audible, strict=True)])
    found["lines.aud"] = float(loud.max())
    off = free & (shares < 0.5)
    found["lines.free"] = float(loud[off].max()) if off.any() else -20.0
    at = int(np.argmax(np.where(off, loud, -99)))
    found["lines.free_order"] = math.log(float(orders[at])) if off.any() else 0.0
    found["lines.free_nats"] = _squash(float(score[peaks[at]])) if off.any() else 0.0
    found["lines.free_gears"] = _through_gears(heard.course, heard.engine, float(orders[at])) if off.any() else 1.0
    found["lines.free_engine"] = float(shares[at]) if off.any() else 0.0
    for name, low, top in (("low", 1.5, 20.0), ("mid", 20.0, 75.0), ("high", 75.0, 300.0)):
        part = off & (orders > low) & (orders <= top)
        found[f"lines.free_{name}"] = float(loud[part].max()) if part.any() else -20.0
    return found


def _fixed(heard: Heard, force: FloatArray) -> Signs:
    """What stands at a fixed frequency: a humming body, a squeal, a fan."""
    map_ = heard.map
    power = 10 ** (map_.ratio_db / 10) * map_.floor
    smooth = ndimage.uniform_filter1d(power, 15, axis=0)[::5]
    slowing = ndimage.uniform_filter1d(force, 15)[::5] < -0.5
    total = np.concatenate([np.zeros((len(smooth), 1)), np.cumsum(smooth, axis=1)], axis=1)
    df = float(map_.frequency_hz[1])
    found: Signs = {"fixed.count": float(min(len(map_.fixed_hz), 5))}

    def peak(centres: FloatArray, inner: float, near: float, far: float) -> FloatArray:
        def density(low: FloatArray, high: FloatArray) -> FloatArray:
            a = np.clip(low / df, 1, len(map_.frequency_hz) - 2).astype(int)
            b = np.clip(high / df + 1, a + 1, len(map_.frequency_hz) - 1).astype(int)
            return np.asarray((total[:, b] - total[:, a]) / (b - a))
        own = density(centres * (1 - inner), centres * (1 + inner))
        beside = np.maximum(density(centres * (1 - far), centres * (1 - near)),
                            density(centres * (1 + near), centres * (1 + far)))  # fmt: skip
        return np.asarray(10 * np.log10((own + 1e-30) / (beside + 1e-30)))

    low = np.exp(np.arange(math.log(26), math.log(450), 0.03))
    boom = peak(low, 0.06, 0.15, 0.4)
    found["boom.p95"] = float(np.percentile(boom, 95, axis=0).max())
    found["boom.mean"] = float(boom.mean(axis=0).max())
    found["boom.swing"] = float((np.percentile(boom, 95, axis=0) - np.median(boom, axis=0)).max())
    found["boom.hz"] = math.log(float(low[int(np.argmax(np.percentile(boom, 90, axis=0)))]))
    high = np.exp(np.arange(math.log(900), math.log(3600), 0.02))
    squeal = peak(high, 0.025, 0.05, 0.12)
    top = squeal.max(axis=1)
    found["squeal.p97"] = float(np.percentile(top, 97))
    found["squeal.mean"] = float(squeal.mean(axis=0).max())
    found["squeal.slowing"] = float(top[slowing].mean() - top[~slowing].mean()) if 3 < slowing.sum() < len(top) - 3 else 0.0
    band = smooth[:, int(1200 / df) : int(3800 / df)].mean(axis=1)
    level = 10 * np.log10(band + 1e-30)
    found["squeal.level"] = float(level[slowing].mean() - level[~slowing].mean()) if 3 < slowing.sum() < len(top) - 3 else 0.0
    mean = 10 * np.log10(smooth.mean(axis=0) + 1e-30)
    def band_db(a: float, b: float) -> float:
        return float(mean[int(a / df) : int(b / df) + 1].mean())
    found["tilt.low"] = band_db(28, 60) - band_db(100, 300)
    found["tilt.high"] = band_db(1000, 3000) - band_db(100, 300)
    return found
