"""Make audible what a computed motion error would sound like, one setting against another.

Each harmonic of the motion error goes through the same linear path, so it changes by 20 lg of the
ratio of its amplitudes: +6.02 dB per doubling. This holds while the teeth stay in contact. It is a
comparison of settings, not the sound in a car: the true path from mesh to ear is not known unless
it was learned from the user's own recording.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from pathlib import Path as FilePath
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from axlewright.errors import SoundError
from axlewright.language import eager as _
from axlewright.sound.figures import critical_bandwidth_hz
from axlewright.sound.listening import Listening
from axlewright.sound.road_noise import noise_density, road_noise

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
PathKind = Literal["flat", "acceleration", "learned"]

LABEL: Final = "A comparison of settings, not the sound in a car"
HARMONICS: Final = 8
RATE_HZ: Final = 48000
HEADROOM_DB: Final = -12.0
FADE_S: Final = 0.1
DEFAULT_TONE_TO_NOISE_DB: Final = 6.0


@dataclass(frozen=True, slots=True)
class SoundPath:
    """How the mesh reaches the ear, relative: sound pressure per motion error by frequency.

    Parameters
    ----------
    kind : str
        ``flat``, ``acceleration`` (rising with frequency) or ``learned``.
    frequency_hz, gain_db : ndarray, shape (n,)
        Of a learned path; held at its ends.
    """

    kind: PathKind = "flat"
    frequency_hz: FloatArray = field(default_factory=lambda: np.zeros(0))
    gain_db: FloatArray = field(default_factory=lambda: np.zeros(0))

    def gain(self, frequency_hz: FloatArray) -> FloatArray:
        """Return the amplitude gain at each frequency."""
        if self.kind == "learned":
            db = np.interp(np.log(np.maximum(frequency_hz, 1.0)), np.log(self.frequency_hz), self.gain_db)
            learned: FloatArray = 10 ** (db / 20)
            return learned
        if self.kind == "acceleration":
            rising: FloatArray = frequency_hz / 500.0
            return rising
        return np.ones_like(frequency_hz)

    @property
    def label(self) -> str:
        """What is assumed, in a sentence."""
        if self.kind == "learned":
            low, high = self.frequency_hz[0], self.frequency_hz[-1]
            return _(
                "path learned from your recording between {low} and {high} Hz, held constant beyond"
            ).format(low=f"{low:.0f}", high=f"{high:.0f}")
        shape = (
            _("rising with frequency") if self.kind == "acceleration" else _("the same at all frequencies")
        )
        return _("path assumed {shape}").format(shape=shape)


@dataclass(frozen=True, slots=True)
class Runout:
    """Amplitude modulation by runout; it cannot be computed from the gears alone.

    Parameters
    ----------
    pinion, ring : float
        Modulation once per pinion and once per ring-gear turn, 0 to 1.
    """

    pinion: float = 0.0
    ring: float = 0.0

    def __post_init__(self) -> None:
        if not (0.0 <= self.pinion <= 1.0 and 0.0 <= self.ring <= 1.0):
            raise SoundError(
                _("a tone cannot swell by less than nothing or by more than itself"),
                where=_("runout"),
                fix=_("give 0 to 100 %"),
            )


@dataclass(frozen=True, slots=True)
class MadeSound:
    """A made sound.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Full scale 1.
    rate_hz : int
    label : str
        What it is and is not.
    harmonic_urad : ndarray, shape (harmonics,)
        Amplitudes of the motion error [µrad].
    tone_to_noise_db : ndarray, shape (harmonics,)
        Mean over the drive; −inf for a harmonic that is not there.
    gain : float
        Playback gain; the same for all sounds of a comparison.
    """

    samples: FloatArray
    rate_hz: int
    label: str
    harmonic_urad: FloatArray
    tone_to_noise_db: FloatArray
    gain: float


def motion_harmonics(motion_error_urad: FloatArray, count: int = HARMONICS) -> ComplexArray:
    """Return the complex amplitudes of a motion-error curve over one pitch.

    Parameters
    ----------
    motion_error_urad : ndarray, shape (n,)
        Motion error of the ring gear at even steps over one pitch, the end not repeated [µrad].
    count : int
        Harmonics 1 to `count`; those above n/2 − 1 are zero.

    Returns
    -------
    ndarray, shape (count,)
        c_k with error(x) = mean + Σ Re(c_k e^{2πikx}).
    """
    curve = np.asarray(motion_error_urad, dtype=np.float64)
    if curve.ndim != 1 or len(curve) < 8:
        raise SoundError(
            _("a motion-error curve needs at least eight points over one pitch"), where=_("motion error")
        )
    if not np.all(np.isfinite(curve)):
        raise SoundError(_("the motion error holds values that are no numbers"), where=_("motion error"))
    spectrum = np.fft.rfft(curve) / len(curve) * 2
    result = np.zeros(count, dtype=np.complex128)
    usable = min(count, (len(curve) - 1) // 2)
    result[:usable] = spectrum[1 : usable + 1]
    return result


def speed_profile(speeds_mps: tuple[float, ...], duration_s: float, rate_hz: int = RATE_HZ) -> FloatArray:
    """Return a speed at every sample, passing through `speeds_mps` at even times."""
    if not speeds_mps or min(speeds_mps) <= 0:
        raise SoundError(
            _("speeds must be above zero"), where=_("speed"), fix=_("for example 30 mph to 60 mph")
        )
    if not 0.5 <= duration_s <= 120:
        raise SoundError(_("a made sound lasts between 0.5 and 120 s"), where=_("length"))
    knots = np.linspace(0, duration_s, max(len(speeds_mps), 2))
    values = speeds_mps if len(speeds_mps) > 1 else (speeds_mps[0], speeds_mps[0])
    result: FloatArray = np.interp(np.arange(int(duration_s * rate_hz)) / rate_hz, knots, values)
    return result


def _mesh_tone(
    harmonics: ComplexArray,
    ring_teeth: int,
    ratio: float,
    turns: FloatArray,
    wheel_hz: FloatArray,
    path: SoundPath,
    runout: Runout,
    rate_hz: int,
) -> FloatArray:
    angle = 2 * np.pi * turns
    swell = 1 + runout.pinion * np.cos(ratio * angle + 0.7) + runout.ring * np.cos(angle)
    total = np.zeros(len(turns))
    for k, amplitude in enumerate(harmonics, start=1):
        if abs(amplitude) == 0:
            continue
        frequency = k * ring_teeth * wheel_hz
        fade = np.clip((0.45 * rate_hz - frequency) / (0.05 * rate_hz), 0, 1)
        total += fade * path.gain(frequency) * np.real(amplitude * np.exp(1j * k * ring_teeth * angle))
    result: FloatArray = total * swell
    return result


def make_sounds(
    curves: dict[str, FloatArray],
    ring_teeth: int,
    pinion_teeth: int,
    speed_mps: FloatArray,
    circumference_m: float,
    *,
    tone_to_noise_db: float = DEFAULT_TONE_TO_NOISE_DB,
    path: SoundPath | None = None,
    runout: Runout | dict[str, Runout] | None = None,
    noise: bool = True,
    rate_hz: int = RATE_HZ,
    seed: int = 0,
) -> dict[str, MadeSound]:
    """Make one sound for each setting, with the same path, noise and playback gain.

    Parameters
    ----------
    curves : dict of str to ndarray
        Motion error over one pitch [µrad] by name of setting; the first one sets the level.
    ring_teeth, pinion_teeth : int
    speed_mps : ndarray, shape (n,)
        Speed at each sample, from `speed_profile`.
    circumference_m : float
        Rolling circumference of the tyre.
    tone_to_noise_db : float
        Tone-to-noise ratio of the first setting's strongest harmonic, mean over the drive.
    path : SoundPath, optional
        Flat when left out.
    runout : Runout or dict, optional
        The same for all, or by setting.
    noise : bool
        Whether road noise masks the tone.
    rate_hz : int
    seed : int
        Of the noise, the same for all settings.

    Returns
    -------
    dict of str to MadeSound
    """
    if not curves:
        raise SoundError(_("there is no motion error to make a sound of"), where=_("motion error"))
    if not 0 < pinion_teeth < ring_teeth:
        raise SoundError(_("the pinion must have fewer teeth than the ring gear"), where=_("teeth"))
    path = path or SoundPath()
    wheel_hz = np.asarray(speed_mps) / circumference_m
    turns = np.cumsum(wheel_hz) / rate_hz
    spectra = {name: motion_harmonics(curve) for name, curve in curves.items()}
    ratios = {name: _level_db(c, ring_teeth, wheel_hz, path, speed_mps) for name, c in spectra.items()}
    first = next(iter(curves))
    if not np.any(np.isfinite(ratios[first])):
        raise SoundError(
            _("the first setting has no motion error, so no level can be set by it"), where=_("motion error")
        )
    scale = 10 ** ((tone_to_noise_db - float(np.max(ratios[first]))) / 20)
    background = road_noise(np.asarray(speed_mps), rate_hz, seed) if noise else np.zeros(len(turns))
    raw = {}
    for name, spectrum in spectra.items():
        own = runout.get(name, Runout()) if isinstance(runout, dict) else (runout or Runout())
        tone = _mesh_tone(
            spectrum, ring_teeth, ring_teeth / pinion_teeth, turns, wheel_hz, path, own, rate_hz
        )
        raw[name] = scale * tone + background
    peak = max(float(np.max(np.abs(x))) for x in raw.values())
    rms = max(float(np.sqrt((x**2).mean())) for x in raw.values())
    # Equal gain for all: the loudest at −12 dB rms re full scale, no peak above 0.95.
    gain = min(10 ** (HEADROOM_DB / 20) / rms / math.sqrt(2), 0.95 / peak)
    fade = _fade(len(turns), rate_hz)
    return {
        name: MadeSound(
            x * gain * fade,
            rate_hz,
            _("{label}; {label2}; equal gain for {curves}").format(
                label=LABEL, label2=path.label, curves=", ".join(curves)
            ),
            np.abs(spectra[name]),
            ratios[name] + 20 * math.log10(scale),
            gain,
        )
        for name, x in raw.items()
    }


def _level_db(
    harmonics: ComplexArray, ring_teeth: int, wheel_hz: FloatArray, path: SoundPath, speed_mps: FloatArray
) -> FloatArray:
    """Return the mean tone-to-noise ratio of each harmonic before scaling [dB]."""
    result = np.full(len(harmonics), -np.inf)
    step = max(len(wheel_hz) // 400, 1)
    wheel, speed = wheel_hz[::step], np.asarray(speed_mps)[::step]
    for k, amplitude in enumerate(np.abs(harmonics), start=1):
        if amplitude <= 0:
            continue
        f = k * ring_teeth * wheel
        tone = (amplitude * path.gain(f)) ** 2 / 2
        result[k - 1] = 10 * math.log10(
            float(np.mean(tone / (noise_density(f, speed) * critical_bandwidth_hz(f))))
        )
    return result


def _fade(count: int, rate_hz: int) -> FloatArray:
    length = min(int(FADE_S * rate_hz), count // 2)
    shape = np.ones(count)
    ramp = np.sin(np.linspace(0, np.pi / 2, length)) ** 2
    shape[:length], shape[count - length :] = ramp, ramp[::-1]
    return shape


def level_change_db(before_urad: FloatArray, after_urad: FloatArray) -> FloatArray:
    """Return the change of each harmonic from one motion error to another [dB], shape (harmonics,)."""
    before, after = np.abs(motion_harmonics(before_urad)), np.abs(motion_harmonics(after_urad))
    with np.errstate(divide="ignore", invalid="ignore"):
        result: FloatArray = 20 * np.log10(after / before)
    return result


def join_sounds(sounds: list[MadeSound], pause_s: float = 0.5) -> MadeSound:
    """Put sounds one after the other with a pause, gains untouched."""
    if not sounds:
        raise SoundError(_("there is no sound to join"), where=_("sounds"))
    pause = np.zeros(int(pause_s * sounds[0].rate_hz))
    parts = [sounds[0].samples]
    for item in sounds[1:]:
        parts.extend([pause, item.samples])
    return replace(sounds[0], samples=np.concatenate(parts))


def same_loudness(sounds: dict[str, MadeSound]) -> dict[str, MadeSound]:
    """Bring all sounds to the same rms, to hear the character alone; the label says so."""
    rms = {name: float(np.sqrt((s.samples**2).mean())) for name, s in sounds.items()}
    least = min(rms.values())
    return {
        name: replace(
            s, samples=s.samples * (least / rms[name]), label=f"{s.label}; brought to the same level"
        )
        for name, s in sounds.items()
    }


def learn_path(before: Listening, before_error_urad: FloatArray) -> SoundPath:
    """Learn the path from a recording and the motion error computed for the same setting.

    Parameters
    ----------
    before : Listening
        In which the mesh could be followed.
    before_error_urad : ndarray, shape (n,)
        Motion error of the setting that was recorded.

    Returns
    -------
    SoundPath
        Tracked amplitude over motion error in third octaves (median), relative to the road noise model
        of the same speed, so that it may be used with `make_sounds`.
    """
    amplitudes = np.abs(motion_harmonics(before_error_urad))
    places: list[FloatArray] = []
    gains: list[FloatArray] = []
    for track in before.tracks:
        amplitude = amplitudes[track.harmonic - 1]
        good = np.isfinite(track.tone_to_noise_db) & (track.tone_to_noise_db > -12.0)
        if amplitude <= 1e-6 * amplitudes.max() or good.sum() < 20:
            continue
        f = track.frequency_hz[good]
        noise = noise_density(f, track.speed_mps[good]) * critical_bandwidth_hz(f)
        tone_db = track.tone_to_noise_db[good] + 10 * np.log10(noise)
        places.append(f)
        gains.append(tone_db - 20 * np.log10(amplitude / math.sqrt(2)))
    if not places:
        raise SoundError(
            _("the mesh tone is not clear enough in the recording to learn the path from"),
            where=before.recording.name,
            fix=_("use a recording in which the whine is heard, or the assumed path"),
        )
    frequency, gain = np.concatenate(places), np.concatenate(gains)
    third = np.round(3 * np.log2(frequency / 1000.0))
    centres, medians = [], []
    for number in np.unique(third):
        inside = third == number
        if inside.sum() >= 10:
            centres.append(1000.0 * 2 ** (number / 3))
            medians.append(float(np.median(gain[inside])))
    return SoundPath("learned", np.asarray(centres), np.asarray(medians))


def write_wav(sound: MadeSound, path: str | FilePath) -> None:
    """Write a made sound as 24-bit WAV with its label in the file."""
    import soundfile

    target = FilePath(path)
    if target.suffix.lower() != ".wav":
        raise SoundError(
            _("'{name}' is no WAV name").format(name=target.name),
            where=_("output"),
            fix=_("end it with .wav"),
        )
    if not target.parent.is_dir():
        raise SoundError(_("the folder does not exist"), where=str(target.parent))
    with soundfile.SoundFile(str(target), "w", sound.rate_hz, 1, subtype="PCM_24") as handle:
        handle.comment = sound.label
        handle.title = "axlewright comparison"
        handle.write(sound.samples)
