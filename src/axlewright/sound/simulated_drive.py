"""Make recordings of drives that never took place, with a known source in them.

They serve the benchmark, the tests and the demonstration. The background has a cabin-like slope, a
level that grows with speed and wanders, and broad resonances; the recorder has a low cut, gain
control and a phone's codec. All of it is our own guess at a cabin: no real axle recording was at hand.
"""

from __future__ import annotations

import io
import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy import signal
from scipy.interpolate import CubicSpline

from axlewright.sound.figures import critical_bandwidth_hz
from axlewright.sound.speed import SpeedTrace, Tyre, make_trace
from axlewright.units import MPS_PER_MPH

FloatArray = NDArray[np.float64]
Codec = Literal["wav", "flac", "m4a", "opus", "mp3", "amr"]
SourceKind = Literal["mesh", "propshaft", "joint", "tread", "bearing", "unknown"]


@dataclass(frozen=True, slots=True)
class DriveSource:
    """One source in a simulated drive.

    Parameters
    ----------
    kind : str
        ``mesh``, ``propshaft``, ``joint``, ``tread``, ``bearing`` or ``unknown``.
    order : float
        Leading order per wheel turn (tread: number of blocks).
    tone_to_noise_db : float
        Level of the leading line over its critical band.
    harmonics_db : tuple of float
        Levels of the overtones 2, 3 … re the leading line.
    pinion_runout, ring_runout : float
        Amplitude modulation once per pinion turn (at `pinion_order`) and once per wheel turn.
    pinion_order : float
        Pinion turns per wheel turn.
    """

    kind: SourceKind
    order: float
    tone_to_noise_db: float = 9.0
    harmonics_db: tuple[float, ...] = (-8.0, -14.0)
    pinion_runout: float = 0.0
    ring_runout: float = 0.0
    pinion_order: float = 3.7


@dataclass(frozen=True, slots=True)
class DrivePlan:
    """How the drive goes and how it is recorded.

    Parameters
    ----------
    duration_s : float
        Length [s].
    speeds_mph : tuple of float
        Speeds passed through at even times.
    speed_bias, speed_scatter : float
        Relative error of the stated speed: the same all along, and from mark to mark.
    stated : str
        ``typed`` marks or a ``satellite`` trace.
    gain_control : bool
        Whether the recorder evens out the level.
    fixed_tone_hz : float
        A tone that does not follow road speed; 0 for none.
    rate_hz : int
        Rate of the recording.
    """

    duration_s: float = 40.0
    speeds_mph: tuple[float, ...] = (32.0, 60.0, 40.0)
    speed_bias: float = 0.0
    speed_scatter: float = 0.01
    stated: Literal["typed", "satellite"] = "typed"
    gain_control: bool = True
    fixed_tone_hz: float = 0.0
    rate_hz: int = 48000


@dataclass(frozen=True, slots=True)
class Drive:
    """A simulated drive.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The recording, full scale 1.
    rate_hz : int
        Its rate.
    stated : SpeedTrace
        What the person would have noted.
    times_s, true_speed_mps : ndarray, shape (m,)
        The truth.
    sources : tuple of DriveSource
        What is in it.
    """

    samples: FloatArray
    rate_hz: int
    stated: SpeedTrace
    times_s: FloatArray
    true_speed_mps: FloatArray
    sources: tuple[DriveSource, ...] = field(default_factory=tuple)


def simulate_drive(
    sources: tuple[DriveSource, ...], tyre: Tyre, plan: DrivePlan | None = None, seed: int = 0
) -> Drive:
    """Make a drive with these sources.

    Parameters
    ----------
    sources : tuple of DriveSource
        Empty for road noise alone.
    tyre : Tyre
        True rolling circumference.
    plan : DrivePlan, optional
    seed : int
        Seed of all random parts.

    Returns
    -------
    Drive
    """
    plan = plan or DrivePlan()
    rng = np.random.default_rng(seed)
    rate = plan.rate_hz
    n = int(plan.duration_s * rate)
    t = np.arange(n) / rate
    knots = np.linspace(0, plan.duration_s, len(plan.speeds_mph))
    steps = int(plan.duration_s / 2) + 2
    wander = CubicSpline(2.0 * np.arange(steps), rng.normal(0, 0.006, steps))(t)
    coarse_t = np.arange(0.0, plan.duration_s + 0.05, 0.05)
    coarse = signal.savgol_filter(np.interp(coarse_t, knots, plan.speeds_mph), 41, 2)
    smooth = CubicSpline(coarse_t, coarse)(t)
    speed = np.maximum(smooth * (1 + wander), 1.0) * MPS_PER_MPH
    turns = np.cumsum(speed / tyre.circumference_m) / rate
    noise, density = _background(speed, rate, rng)
    sound = noise.copy()
    for source in sources:
        sound += _source(source, turns, speed / tyre.circumference_m, density, rate, rng)
    if plan.fixed_tone_hz:
        level = np.sqrt(
            2 * 10**0.9 * _at(density, plan.fixed_tone_hz, 0.5) * critical_bandwidth_hz(plan.fixed_tone_hz)
        )
        sound += level * np.sin(2 * np.pi * plan.fixed_tone_hz * t)
    sos = signal.butter(2, 80.0, "highpass", fs=rate, output="sos")
    sound = np.asarray(signal.sosfilt(sos, sound))
    if plan.gain_control:
        envelope = np.sqrt(signal.sosfilt(signal.butter(1, 0.4, fs=rate, output="sos"), sound**2).clip(1e-12))
        sound /= envelope**0.8
    sound *= 0.25 / np.max(np.abs(sound)) * 2
    return Drive(sound, rate, _stated(plan, t, speed, rng), t[:: rate // 20], speed[:: rate // 20], sources)


def _stated(plan: DrivePlan, t: FloatArray, speed: FloatArray, rng: np.random.Generator) -> SpeedTrace:
    if plan.stated == "satellite":
        times = np.arange(0.0, plan.duration_s, 1.0)
        shown = np.interp(times, t, speed) * (1 + plan.speed_bias + rng.normal(0, 0.003, len(times)))
        return make_trace(times, shown, "satellite")
    times = np.arange(0.0, plan.duration_s + 1e-9, 5.0)
    shown = np.interp(times, t, speed) * (1 + plan.speed_bias + rng.normal(0, plan.speed_scatter, len(times)))
    return make_trace(times, shown, "typed")


def _at(
    density: tuple[FloatArray, FloatArray, FloatArray], f: FloatArray | float, gain: float = 1.0
) -> FloatArray:
    """Return the background's power density at frequency `f`, scaled."""
    frequency, shape, _ = density
    result: FloatArray = np.asarray(np.interp(f, frequency, shape) * gain)
    return result


def _background(
    speed: FloatArray, rate: int, rng: np.random.Generator
) -> tuple[FloatArray, tuple[FloatArray, FloatArray, FloatArray]]:
    """Return noise and (frequency, power density, gain over time)."""
    n = len(speed)
    frequency = np.fft.rfftfreq(n, 1 / rate)
    amplitude = 1 / np.sqrt(1 + (frequency / 120.0) ** 2) / (1 + (frequency / 900.0) ** 2) ** 0.75
    for _ in range(3):
        centre, height, quality = rng.uniform(90, 700), rng.uniform(0.3, 1.0), rng.uniform(3, 8)
        amplitude *= 1 + height / (1 + (quality * (frequency / centre - centre / (frequency + 1e-9))) ** 2)
    white = np.fft.rfft(rng.standard_normal(n))
    noise = np.fft.irfft(white * amplitude, n)
    level_db = 33.0 * np.log10(speed / speed.mean())
    steps = int(n / rate / 1.5) + 2
    level_db += np.interp(np.arange(n) / rate, np.arange(steps) * 1.5, rng.normal(0, 1.5, steps))
    gain = 10 ** (level_db / 20)
    shape = np.asarray(amplitude**2 / (rate / 2), dtype=np.float64)
    return np.asarray(noise * gain), (np.asarray(frequency, dtype=np.float64), shape, np.asarray(gain))


def _source(
    source: DriveSource,
    turns: FloatArray,
    wheel_hz: FloatArray,
    density: tuple[FloatArray, FloatArray, FloatArray],
    rate: int,
    rng: np.random.Generator,
) -> FloatArray:
    gain = density[2]
    angle = 2 * np.pi * turns
    if source.kind == "tread":
        return _tread(source, angle, wheel_hz, density, rng)
    slip = 1.0
    total = np.zeros_like(turns)
    if source.kind == "bearing":
        slip = 1 + rng.normal(0, 0.007)
    modulation = np.ones_like(turns)
    if source.pinion_runout:
        modulation += source.pinion_runout * np.cos(source.pinion_order * angle + rng.uniform(0, 6))
    if source.ring_runout:
        modulation += source.ring_runout * np.cos(angle + rng.uniform(0, 6))
    # A path that lets some frequencies through better than others: a few dB over the sweep.
    knots = np.geomspace(20, 8000, 14)
    path_db = rng.normal(0, 2.0, len(knots))
    for index, level_db in enumerate((0.0, *source.harmonics_db)):
        order = source.order * slip * (index + 1)
        f = order * wheel_hz
        local = np.sqrt(2 * _at(density, f) * critical_bandwidth_hz(f)) * gain
        path = 10 ** (np.interp(np.log(f), np.log(knots), path_db) / 20)
        strength = 10 ** ((source.tone_to_noise_db + level_db) / 20)
        total += strength * local * path * modulation * np.cos(order * angle + rng.uniform(0, 6))
    return total


def _tread(
    source: DriveSource,
    angle: FloatArray,
    wheel_hz: FloatArray,
    density: tuple[FloatArray, FloatArray, FloatArray],
    rng: np.random.Generator,
) -> FloatArray:
    """Blocks of three lengths in a random sequence, the same every turn: lines at whole orders."""
    blocks = round(source.order)
    lengths = rng.choice([0.85, 1.0, 1.17], blocks)
    edges = np.cumsum(lengths) / lengths.sum()
    orders = np.arange(int(0.8 * blocks), int(1.2 * blocks) + 1)
    weight = np.abs(np.exp(-2j * np.pi * orders[:, None] * edges[None, :]).sum(axis=1))
    weight /= np.sqrt((weight**2).sum())
    f = source.order * wheel_hz
    local = np.sqrt(2 * _at(density, f) * critical_bandwidth_hz(f)) * density[2]
    total = np.zeros_like(angle)
    for order, w in zip(orders, weight, strict=True):
        if w > 0.05:
            total += w * np.cos(order * angle + rng.uniform(0, 2 * np.pi))
    result: FloatArray = total * local * 10 ** (source.tone_to_noise_db / 20)
    return result


def encode(samples: FloatArray, rate_hz: int, codec: Codec, kbit_s: int = 48) -> tuple[bytes, str]:
    """Code samples as a phone would.

    Parameters
    ----------
    samples : ndarray, shape (n,)
    rate_hz : int
    codec : str
        ``wav``, ``flac``, ``mp3`` (soundfile); ``m4a``, ``opus`` and ``amr`` need the optional decoder.
    kbit_s : int
        Bit rate of the lossy ones.

    Returns
    -------
    tuple of bytes and str
        The file and its suffix.
    """
    buffer = io.BytesIO()
    if codec in ("wav", "flac", "mp3"):
        import soundfile

        soundfile.write(buffer, samples.astype(np.float32), rate_hz, format=codec.upper())
        return buffer.getvalue(), f".{codec}"
    import av

    name, container, rate, suffix = {
        "m4a": ("aac", "mp4", rate_hz, ".m4a"),
        "opus": ("libopus", "ogg", 48000, ".opus"),
        "amr": ("libopencore_amrnb", "3gp", 8000, ".3gp"),
    }[codec]
    if rate != rate_hz:
        common = math.gcd(rate, rate_hz)
        samples = np.asarray(signal.resample_poly(samples, rate // common, rate_hz // common))
    with av.open(buffer, "w", format=container) as out:
        # Any: the decoder's types cannot tell an audio stream from the others here.
        stream: Any = out.add_stream(name, rate=rate, layout="mono")
        stream.bit_rate = 12200 if codec == "amr" else kbit_s * 1000
        frame = av.AudioFrame.from_ndarray(
            (np.clip(samples, -1, 1) * 32767).astype(np.int16)[None, :], format="s16", layout="mono"
        )
        frame.sample_rate = rate
        resampler = av.AudioResampler(
            format=stream.codec_context.format.name,
            layout="mono",
            rate=rate,
            frame_size=stream.codec_context.frame_size or 0,
        )
        for piece in [*resampler.resample(frame), *resampler.resample(None)]:
            for packet in stream.encode(piece):
                out.mux(packet)
        for packet in stream.encode(None):
            out.mux(packet)
    return buffer.getvalue(), suffix


def save_drive(drive: Drive, folder: Path, name: str, codec: Codec = "wav", kbit_s: int = 48) -> Path:
    """Write the recording and, beside it, the speed marks; return the recording's path."""
    data, suffix = encode(drive.samples, drive.rate_hz, codec, kbit_s)
    path = folder / f"{name}{suffix}"
    path.write_bytes(data)
    marks = "".join(
        f"{t:.1f} {v / MPS_PER_MPH:.2f} mph\n"
        for t, v in zip(drive.stated.times_s, drive.stated.speed_mps, strict=True)
    )
    (folder / f"{name}.marks").write_text(marks, encoding="utf-8")
    return path
