"""What each possible source shows in a recording, as numbers.

Nothing is decided here. The signs are measured alike for every recording; `chances` weighs them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from axlewright.sound.engine import Engine
from axlewright.sound.following import COARSE, Course
from axlewright.sound.hearing import ENGINE_UNIT, JOINT_LINES, MESH_LINES, SHAFT_LINES, Heard, comb, read
from axlewright.sound.orders import AxleOrders, Bearing
from axlewright.sound.segments import Vehicle, torque_sign_mps2
from axlewright.sound.speed import Tyre
from axlewright.sound.turned import STEP

FloatArray = NDArray[np.float64]
Signs = dict[str, float]

NEAR: Final = 0.004
"""Nearer than this to a line that is explained, another is explained with it (relative)."""
NO_LINES: Final = {
    "lines.aud": -20.0,
    "lines.free": -20.0,
    "lines.free_order": 0.0,
    "lines.free_gears": 1.0,
    "lines.free_engine": 0.0,
    "lines.free_nats": 0.0,
    "lines.free_low": -20.0,
    "lines.free_mid": -20.0,
    "lines.free_high": -20.0,
}
SLIPS: Final = (-0.004, 0.032)
"""How far a bearing's rollers may lag behind rolling: 1 to 3 % (common practice)."""


def _loudest(audibility: FloatArray) -> FloatArray:
    """Loudest stretch of each line: the mean of two neighbouring segments."""
    if audibility.shape[1] < 2:
        return np.asarray(audibility.max(axis=1))
    return np.asarray(((audibility[:, 1:] + audibility[:, :-1]) / 2).max(axis=1))


def _squash(nats: float) -> float:
    return math.copysign(math.log1p(abs(nats)), nats)


@dataclass(frozen=True, slots=True)
class _Scene:
    """What every sign is measured against, segment by segment."""

    scale: float
    engine_order: FloatArray
    force_mps2: FloatArray
    drive: NDArray[np.bool_]
    coast: NDArray[np.bool_]


def measure(heard: Heard, axle: AxleOrders, tyre: Tyre) -> Signs:
    """Measure all signs.

    Returns
    -------
    dict of str to float
        By the name of what they are signs of. Audibilities in dB, evidence in ln(1 + nats), shares
        from 0 to 1.
    """
    engine, times = heard.engine, heard.map.times_s
    coarse_t = times[: len(heard.course.scores) * COARSE].reshape(-1, COARSE).mean(axis=1)
    at_segment = np.clip(np.searchsorted(coarse_t, heard.spectra.times_s), 0, len(engine.order) - 1)
    force = torque_sign_mps2(times, heard.wheel_hz * tyre.circumference_m, Vehicle())
    at = np.interp(heard.spectra.times_s, times, force)
    best = float(heard.scales[int(np.argmax(heard.scale_chance))])
    scene = _Scene(best, engine.order[at_segment], force, at > 0.15, at < -0.1)
    found = _drive_signs(heard, scene)
    found.update(_engine_signs(heard, scene))
    z, r = float(axle.ring_teeth), axle.ratio
    explained: list[FloatArray] = []
    for name, base, multiples in (
        ("mesh", z, MESH_LINES),
        ("propshaft", r, SHAFT_LINES),
        ("joint", r, JOINT_LINES),
    ):
        found.update(_family_signs(heard, scene, name, base, multiples))
        explained.append(base * np.asarray(multiples) * math.exp(best))
    found.update(_sidebands(heard, z * math.exp(best), r * math.exp(best)))
    for name, low, high in (("wheel", 1, 12), ("scallop", 6, 38), ("tread", 39, 98)):
        signs, lines = _whole_orders(heard, scene, name, low, high)
        found.update(signs)
        explained.append(lines)
    found.update(_swelling(heard, scene, r))
    found.update(_whine(heard))
    found.update(_bearing_signs(heard, axle.bearings, r, best, found["spread"] / 100))
    found.update(_unexplained(heard, explained, scene.engine_order))
    found.update(_fixed(heard, force))
    return {
        name: float(np.nan_to_num(value, nan=0.0, posinf=60.0, neginf=-60.0)) for name, value in found.items()
    }


def _drive_signs(heard: Heard, scene: _Scene) -> Signs:
    """How the drive went and how well it could be followed."""
    rate = heard.spectra.wheel_hz
    minutes = float(heard.map.times_s[-1]) / 60
    spread = math.sqrt(float((heard.scale_chance * (heard.scales - scene.scale) ** 2).sum()))
    return {
        "sweep": math.log(float(np.percentile(rate, 97) / np.percentile(rate, 3))),
        "sigma": heard.sigma * 100,
        "spread": spread * 100,
        "gears": float(heard.families["gears"].max()),
        "speed": math.log(float(rate.mean())),
        "follow": _squash(heard.course.nats / minutes),
        "minutes": minutes * float(heard.map.scores.any(axis=1).mean()),
        "coast": float(scene.coast.mean()),
    }


def _engine_signs(heard: Heard, scene: _Scene) -> Signs:
    """How loud the engine is, and the clearest line in step with it that is none of its halves."""
    engine, spectra = heard.engine, heard.spectra
    minutes = float(heard.map.times_s[-1]) / 60
    lines = spectra.audibility_db(np.stack([scene.engine_order * k for k in (0.5, 1.0, 1.5, 2.0, 3.0)]))
    off = np.exp(np.arange(math.log(2.2), math.log(30), 0.002))
    away = np.abs(off * 2 - np.rint(off * 2)) / 2 / off > 0.006
    locked = _locked(heard.course, np.log(engine.order), off) * away
    at = int(np.argmax(locked))
    return {
        "engine.nats": _squash(engine.nats / minutes),
        "engine.more": _squash((engine.nats - engine.constant_nats) / minutes),
        "engine.steps": float(min(engine.steps, 4)),
        "engine.aud": float(_loudest(lines).max()),
        "engine.mean": float(np.median(lines[1:].max(axis=0))),
        "engine.locked": _squash(float(locked[at])),
        "engine.locked_at": float(off[at]),
        "engine.locked_aud": float(_loudest(spectra.audibility_db((scene.engine_order * off[at])[None]))[0]),
    }


def _family_signs(heard: Heard, scene: _Scene, name: str, base: float, multiples: tuple[float, ...]) -> Signs:
    """A family of lines: at the scale that suits it, at that which suits all, against other orders."""
    found: Signs = {}
    spectra = heard.spectra
    scale = heard.family_scale(name)
    lines = base * np.asarray(multiples)
    for tag, s in (("joint", scene.scale), ("own", scale)):
        orders = lines * math.exp(s)
        loud = spectra.audibility_db(orders)
        top = _loudest(loud)
        scores = read(heard.score, orders, 0.001)
        found[f"{name}.{tag}.plain"] = _squash(float(read(heard.everything, orders, 0.001)[0]))
        found[f"{name}.{tag}.lead"] = _squash(float(scores[0]))
        found[f"{name}.{tag}.all"] = _squash(float(np.maximum(scores, 0).sum()))
        found[f"{name}.{tag}.aud"] = float(top.max())
    k = int(np.argmax(top))
    found[f"{name}.which"] = float(k)
    found[f"{name}.count"] = float((scores > 4).sum())
    found[f"{name}.share"] = float((loud[k] > -2).mean())
    found[f"{name}.median"] = float(np.median(loud[k]))
    found[f"{name}.shift"] = abs(scale - float(heard.scales[int(np.argmax(heard.log_prior))])) / heard.sigma
    found[f"{name}.engine"] = _in_engine(float(orders[k]), scene.engine_order, loud[k])
    found[f"{name}.gears"] = _through_gears(heard.course, heard.engine, float(orders[k]))
    found[f"{name}.side"] = _contrast(loud[k], scene.drive, scene.coast)
    # How many other bases would do as well, looking within a like window.
    off = np.concatenate([np.arange(-0.4, -0.06, 0.0015), np.arange(0.06, 0.4, 0.0015)])
    every = ndimage.maximum_filter1d(comb(heard.score, base * np.exp(off), multiples), 9)[4::9]
    mine, joint = comb(heard.score, base * np.exp(np.array([scale, scene.scale])), multiples)
    found[f"{name}.rank"] = float((every >= mine).mean())
    found[f"{name}.joint_rank"] = float((every >= joint).mean())
    found[f"{name}.excess"] = _squash(float(mine) - float(np.percentile(every, 90)))
    others = _loudest(spectra.audibility_db(base * multiples[0] * np.exp(off[::6])))
    found[f"{name}.loud_excess"] = float(top[0]) - float(np.percentile(others, 90))
    found.update(_loudest_in_window(heard, name, base, multiples, off))
    found[f"{name}.loud_rank"] = float((others >= top[0]).mean())
    return found


def _loudest_in_window(
    heard: Heard, name: str, base: float, multiples: tuple[float, ...], off: FloatArray
) -> Signs:
    """Loudest line that may be the family's, anywhere the speed allows, against windows as wide elsewhere."""
    middle = float(heard.scales[int(np.argmax(heard.log_prior))])
    half = max(round(1.3 * heard.sigma / 0.0015), 1)
    inside = middle + np.arange(-half, half + 1) * 0.0015
    excess, rank = -30.0, 1.0
    for multiple in multiples[:2]:
        own = float(_loudest(heard.spectra.audibility_db(base * multiple * np.exp(inside))).max())
        others = _loudest(heard.spectra.audibility_db(base * multiple * np.exp(off)))
        others = ndimage.maximum_filter1d(others, 2 * half + 1)
        if own - float(np.percentile(others, 75)) > excess:
            excess = own - float(np.percentile(others, 75))
            rank = float((others >= own).mean())
    return {f"{name}.window_excess": excess, f"{name}.window_rank": rank}


def _whole_orders(heard: Heard, scene: _Scene, name: str, low: int, high: int) -> tuple[Signs, FloatArray]:
    """Lines at whole wheel orders, against halfway between; also which of them are clear."""
    orders = np.arange(low, high + 1) * math.exp(scene.scale)
    scores = read(heard.score, orders, 0.0008)
    half = read(heard.score, orders + 0.5 * math.exp(scene.scale), 0.0008)
    loud = heard.spectra.audibility_db(orders)
    top = _loudest(loud)
    clear = scores > 3
    together = 10 * np.log10((10 ** (np.maximum(loud, -20) / 10)).sum(axis=0) + 1e-3)
    found = {
        f"{name}.sum": _squash(float(np.clip(scores, 0, 25).sum())),
        f"{name}.over_half": _squash(float((np.clip(scores, 0, 25) - np.clip(half, 0, 25)).sum())),
        f"{name}.count": float(clear.mean()),
        f"{name}.aud": float(top[clear].max()) if clear.any() else -20.0,
        f"{name}.second": float(np.sort(top)[-3]),
        f"{name}.together": float(np.percentile(together, 90)),
    }
    return found, np.asarray(orders[clear], dtype=np.float64)


def _swelling(heard: Heard, scene: _Scene, ratio: float) -> Signs:
    """How much the bands swell at whole turns of the wheel and of the pinion."""
    every = heard.envelope_scores.max(axis=0)
    turns = np.arange(1, 7) * math.exp(scene.scale)
    found = {
        "envelope.wheel": _squash(float(np.clip(read(every, turns, 0.001), 0, 30).sum())),
        "envelope.once": _squash(float(read(every, turns[:1], 0.002)[0])),
        "envelope.pinion": _squash(float(np.clip(read(every, turns[:3] * ratio, 0.001), 0, 30).sum())),
    }
    for index, scores in enumerate(heard.envelope_scores):
        found[f"envelope.once{index}"] = _squash(float(read(scores, turns[:2], 0.002).max()))
    return found


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
    """Lines beside the mesh's at turns of the pinion and of the ring gear, against other spacings."""
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


def _bearing_signs(
    heard: Heard, bearings: tuple[Bearing, ...], ratio: float, scale: float, spread: float
) -> Signs:
    """Signs of each place's bearing: at its own orders where they are known, else at any like them.

    Every band's envelope is judged against its own clutter, and what keeps whole turns of wheel or
    pinion is left out: treads, tyres and shafts swell at those.
    """
    found: Signs = {}
    room = min(1.3 * spread, 0.03)
    slips = np.arange(SLIPS[0] - room, SLIPS[1] + room, 0.0005)
    turns = np.concatenate([np.arange(1, 61), ratio * np.arange(1, 21)]) * math.exp(scale)

    def hide(score: FloatArray) -> FloatArray:
        score = np.maximum(score - max(float(np.percentile(score[64:], 98)), 0.0), 0.0)
        for order in turns:
            at = round(order / STEP)
            score[max(at - 3, 0) : at + 4] = 0.0
        return np.minimum(score, 120.0)

    bands = [hide(band) for band in heard.envelope_scores[1:]]
    lines = hide(heard.score)

    def evidence(bases: FloatArray) -> tuple[FloatArray, FloatArray]:
        swell = np.max(
            [read(b, bases) + sum(np.minimum(read(b, bases * k), 10.0) for k in (2, 3)) for b in bands],
            axis=0,
        )
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
            parts = bearing.orders
            for order, sign in ((parts.outer, -1), (parts.inner, 1), (2 * parts.element, -1)):
                tried = order * turn * (1 + sign * slips)
                a, b = evidence(tried)
                both = a + 0.5 * b
                at = int(np.argmax(both))
                if both[at] > best[0] + 0.5 * best[1]:
                    loud = heard.spectra.audibility_db(tried[at] * np.arange(1.0, 5.0))
                    best = (
                        float(a[at]),
                        float(b[at]),
                        float((spread >= both[at]).mean()),
                        float(_loudest(loud).max()),
                    )
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
        return {
            "whine.nats": 0.0,
            "whine.aud": -20.0,
            "whine.order": 0.0,
            "whine.pieces": 1.0,
            "whine.share": 0.0,
        }
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


def _unexplained(heard: Heard, explained: list[FloatArray], engine_order: FloatArray) -> Signs:
    """Loudest lines, and the loudest that nothing explains."""
    score = heard.score
    peaks = np.flatnonzero((score > 4) & (score >= ndimage.maximum_filter1d(score, 9)))
    peaks = peaks[peaks > int(1.5 / STEP)]
    peaks = peaks[np.argsort(-score[peaks])][:80]
    found: Signs = {"lines.count": float(len(peaks))}
    if len(peaks) == 0:
        return found | NO_LINES
    orders = peaks * STEP
    audible = heard.spectra.audibility_db(orders)
    loud = _loudest(audible)
    free = np.ones(len(orders), dtype=bool)
    for lines in explained:
        for line in lines:
            free &= np.abs(orders / line - 1) > np.maximum(NEAR, 1.5 * STEP / line)
    shares = np.array([_in_engine(o, engine_order, a) for o, a in zip(orders, audible, strict=True)])
    found["lines.aud"] = float(loud.max())
    off = free & (shares < 0.5)
    found["lines.free"] = float(loud[off].max()) if off.any() else -20.0
    at = int(np.argmax(np.where(off, loud, -99)))
    found["lines.free_order"] = math.log(float(orders[at])) if off.any() else 0.0
    found["lines.free_nats"] = _squash(float(score[peaks[at]])) if off.any() else 0.0
    found["lines.free_gears"] = (
        _through_gears(heard.course, heard.engine, float(orders[at])) if off.any() else 1.0
    )
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
    found["squeal.slowing"] = (
        float(top[slowing].mean() - top[~slowing].mean()) if 3 < slowing.sum() < len(top) - 3 else 0.0
    )
    band = smooth[:, int(1200 / df) : int(3800 / df)].mean(axis=1)
    level = 10 * np.log10(band + 1e-30)
    found["squeal.level"] = (
        float(level[slowing].mean() - level[~slowing].mean()) if 3 < slowing.sum() < len(top) - 3 else 0.0
    )
    mean = 10 * np.log10(smooth.mean(axis=0) + 1e-30)

    def band_db(a: float, b: float) -> float:
        return float(mean[int(a / df) : int(b / df) + 1].mean())

    found["tilt.low"] = band_db(28, 60) - band_db(100, 300)
    found["tilt.high"] = band_db(1000, 3000) - band_db(100, 300)
    return found
