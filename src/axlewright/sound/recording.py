"""Read a recording and say what is wrong with it before anything is concluded from it.

WAV, FLAC, OGG and MP3 are read by soundfile; m4a, mp4, opus, webm and 3gp by the optional decoder
PyAV. Levels are relative to the largest value the file can hold; nothing here is calibrated.
"""

from __future__ import annotations

import contextlib
import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from axlewright.errors import OptionalPartMissingError, SoundError
from axlewright.sound.defects import Flag, inspect_samples

FloatArray = NDArray[np.float64]

WORKING_RATE_HZ: Final = 16000
"""Rate of the mono signal that is tracked: the mesh family of an axle ends below 4 kHz."""
LONGEST_S: Final = 600.0
"""Only this much of a file is read unless more is asked for; ten minutes hold many sweeps."""
SHORTEST_S: Final = 2.0
SOUNDFILE_SUFFIXES: Final = frozenset({".wav", ".flac", ".ogg", ".mp3", ".oga", ".aif", ".aiff"})
MOST_CHANNELS: Final = 8
HIGHEST_RATE_HZ: Final = 192_000
"""More is no recording of a drive but a file made to fill the memory."""
DECODER_FORMATS: Final = "mov,mp4,m4a,3gp,3g2,matroska,webm,ogg,amr,aac,mp3,wav,w64,flac,aiff,caf,asf,au"
"""Formats the optional decoder may open: only such as hold the sound themselves, no list of other files."""
SPEECH_CODECS: Final = frozenset({"amrnb", "amr_nb", "gsm", "pcm_alaw", "pcm_mulaw", "speex"})


@dataclass(frozen=True, slots=True)
class Recording:
    """One recording, mono.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Mono signal at `rate_hz`, full scale 1.
    rate_hz : int
        Working rate, 16 000 Hz.
    full_samples : ndarray, shape (m,)
        Mono signal at the file's own rate, for loudness and sharpness.
    full_rate_hz : int
        The file's own rate [Hz].
    channels : int
        Channels of the file.
    codec : str
        Name of the coding as the decoder calls it.
    flags : tuple of Flag
        What is wrong with the recording, worst first.
    name : str
        File name, for messages and titles.
    start_s : float
        Where in the file this stretch begins [s].
    """

    samples: FloatArray
    rate_hz: int
    full_samples: FloatArray
    full_rate_hz: int
    channels: int = 1
    codec: str = ""
    flags: tuple[Flag, ...] = field(default_factory=tuple)
    name: str = "recording"
    start_s: float = 0.0

    @property
    def duration_s(self) -> float:
        """Length [s]."""
        return len(self.samples) / self.rate_hz

    @property
    def harshness_allowed(self) -> bool:
        """Whether the band is wide enough for sharpness and roughness figures."""
        return not any(flag.kind == "narrow_band" for flag in self.flags)

    def has(self, kind: str) -> bool:
        """Say whether a flag of this kind is set."""
        return any(flag.kind == kind for flag in self.flags)


def read_recording(path: str | Path, *, start_s: float = 0.0, longest_s: float = LONGEST_S) -> Recording:
    """Read a sound file.

    Parameters
    ----------
    path : str or Path
        The file.
    start_s : float
        Skip this much [s].
    longest_s : float
        Read no more than this [s]; a longer file is flagged ``too_long``.

    Returns
    -------
    Recording

    Raises
    ------
    SoundError
        If there is no such file, it is no sound, it is silent or shorter than two seconds.
    OptionalPartMissingError
        If the format needs the optional decoder and it is not installed.
    """
    path = Path(path)
    where = path.name
    if not path.is_file():
        raise SoundError("there is no such file", where=str(path), fix="give the path of a recording")
    if path.stat().st_size == 0:
        raise SoundError("the file is empty", where=where, fix="record again")
    if start_s < 0 or longest_s <= 0:
        raise SoundError("start must not be negative and length must be positive", where=where)
    if _is_text(path):
        raise SoundError("this is not a recording", where=where, fix="give a sound file, not a text")
    flags: list[Flag] = []
    decoded = None
    if path.suffix.lower() in SOUNDFILE_SUFFIXES or not path.suffix:
        decoded = _read_soundfile(path, start_s, longest_s, flags)
    if decoded is None:
        decoded = _read_av(path, start_s, longest_s, flags)
    data, rate, codec = decoded
    if data.size == 0:
        raise SoundError(
            f"there is no sound after {start_s:g} s", where=where, fix="begin earlier in the file"
        )
    return make_recording(data, rate, codec=codec, name=where, start_s=start_s, flags=flags)


def make_recording(
    data: NDArray[np.floating],
    rate_hz: int,
    *,
    codec: str = "",
    name: str = "recording",
    start_s: float = 0.0,
    flags: list[Flag] | None = None,
) -> Recording:
    """Turn samples into a `Recording`: one channel, working rate, flags.

    Parameters
    ----------
    data : ndarray, shape (n,) or (n, channels)
        Samples, full scale 1.
    rate_hz : int
        Rate of `data` [Hz].
    codec, name, start_s
        Kept for messages.
    flags : list of Flag, optional
        Flags already found when reading.

    Returns
    -------
    Recording
    """
    rate_hz = int(rate_hz)
    if rate_hz < 4000:
        raise SoundError(f"a rate of {rate_hz} Hz is too low for gear sound", where=name)
    block = np.asarray(data, dtype=np.float64)
    if block.ndim == 1:
        block = block[:, None]
    if not np.all(np.isfinite(block)):
        raise SoundError("the recording holds values that are no numbers", where=name, fix="record again")
    found = list(flags or [])
    seconds = block.shape[0] / rate_hz
    if seconds < SHORTEST_S:
        raise SoundError(
            f"the recording is {seconds:.1f} s long, too short to follow a tone",
            where=name,
            fix="record at least 20 s while the speed changes",
        )
    mono = _one_channel(block, found)
    peak = float(np.max(np.abs(mono)))
    level_db = 10 * math.log10(float(np.mean(mono**2)) + 1e-30)
    if peak == 0.0 or level_db < -75.0:
        raise SoundError(
            f"the recording is silent (level {level_db:.0f} dB re full scale)",
            where=name,
            fix="check the microphone and record again",
        )
    found.extend(inspect_samples(mono, rate_hz, codec in SPEECH_CODECS))
    found.sort(key=lambda flag: -flag.weight)
    return Recording(
        samples=_to_working_rate(mono, rate_hz),
        rate_hz=WORKING_RATE_HZ,
        full_samples=mono,
        full_rate_hz=rate_hz,
        channels=block.shape[1],
        codec=codec,
        flags=tuple(found),
        name=name,
        start_s=start_s,
    )


def _one_channel(block: FloatArray, flags: list[Flag]) -> FloatArray:
    """Join the channels, or keep the louder one when two of them would cancel."""
    block = block - block.mean(axis=0)
    if block.shape[1] == 1:
        return np.ascontiguousarray(block[:, 0])
    power = (block**2).mean(axis=0)
    loudest = int(np.argmax(power))
    joined = block.mean(axis=1)
    if block.shape[1] == 2 and power.min() > 0.01 * power.max() > 0:
        correlation = float((block[:, 0] * block[:, 1]).mean() / math.sqrt(power[0] * power[1]))
        if correlation < -0.3:
            flags.append(
                Flag(
                    "out_of_phase",
                    "the two channels are out of phase and would cancel; only the louder one is used",
                    2,
                )
            )
            return np.ascontiguousarray(block[:, loudest])
    if power.min() < 0.01 * power.max():
        return np.ascontiguousarray(block[:, loudest])
    result: FloatArray = joined
    return result


def _to_working_rate(mono: FloatArray, rate_hz: int) -> FloatArray:
    if rate_hz == WORKING_RATE_HZ:
        return mono
    from scipy.signal import resample_poly

    common = math.gcd(rate_hz, WORKING_RATE_HZ)
    up, down = WORKING_RATE_HZ // common, rate_hz // common
    result: FloatArray = np.asarray(resample_poly(mono.astype(np.float32), up, down), dtype=np.float64)
    return result


def _too_long(total_s: float, used_s: float) -> Flag:
    return Flag(
        "too_long",
        f"the file is {total_s / 60:.0f} min long; only {used_s / 60:.0f} min of it were used",
        1,
    )


def _is_text(path: Path) -> bool:
    """Say whether the file begins as text does; every sound format has other bytes in its header."""
    with path.open("rb") as handle:
        head = handle.read(4096)
    try:
        text = head.decode("utf-8")
    except UnicodeDecodeError as problem:
        if problem.start < len(head) - 3:  # else only the last letter was cut
            return False
        text = head[: problem.start].decode("utf-8")
    return bool(text) and all(sign.isprintable() or sign in "\t\n\r\f\ufeff" for sign in text)


def _check_size(channels: int, rate: int, where: str) -> None:
    if channels > MOST_CHANNELS or rate > HIGHEST_RATE_HZ:
        raise SoundError(
            f"the file has {channels} channels at {rate} Hz",
            where=where,
            fix=f"at most {MOST_CHANNELS} channels and {HIGHEST_RATE_HZ} Hz are read",
        )


def _read_soundfile(
    path: Path, start_s: float, longest_s: float, flags: list[Flag]
) -> tuple[NDArray[np.floating], int, str] | None:
    import soundfile

    try:
        with soundfile.SoundFile(str(path)) as handle:
            rate = int(handle.samplerate)
            _check_size(int(handle.channels), rate, path.name)
            total = int(handle.frames)
            codec = str(handle.subtype).lower()
            handle.seek(min(int(start_s * rate), total))
            wanted = min(int(longest_s * rate), max(total - int(start_s * rate), 0))
            data = handle.read(wanted, dtype="float32", always_2d=True)
    except (soundfile.LibsndfileError, RuntimeError):
        return None
    if total - start_s * rate > longest_s * rate + rate:
        flags.append(_too_long(total / rate, longest_s))
    if len(data) < wanted - rate // 10 or _cut_short(path):
        flags.append(
            Flag("truncated", f"the file breaks off; {len(data) / rate:.1f} s of it could be read", 2)
        )
    codec = {"alaw": "pcm_alaw", "ulaw": "pcm_mulaw", "gsm610": "gsm"}.get(codec.replace("_", ""), codec)
    return data, rate, codec


def _cut_short(path: Path) -> bool:
    """Say whether a RIFF file is shorter than its own header states."""
    with path.open("rb") as handle:
        head = handle.read(12)
    if head[:4] != b"RIFF" or head[8:12] != b"WAVE":
        return False
    stated = int.from_bytes(head[4:8], "little")
    # Recorders that stream leave the length empty or at its largest value; that is no damage.
    return 0 < stated < 0xFFFFFF00 and stated + 8 > path.stat().st_size + 1


def _read_av(
    path: Path, start_s: float, longest_s: float, flags: list[Flag]
) -> tuple[NDArray[np.floating], int, str]:
    try:
        import av
    except ImportError:
        raise OptionalPartMissingError(
            f"recordings of kind '{path.suffix or 'unknown'}' need the optional decoder, which is missing",
            where=path.name,
            fix="install axlewright[phone-audio], or save the recording as WAV",
        ) from None
    blocks: list[NDArray[np.float64]] = []
    codec = ""
    rate = 0
    got = 0
    try:
        guard = {"format_whitelist": DECODER_FORMATS, "protocol_whitelist": "file"}
        with av.open(str(path.absolute()), options=guard) as container:
            if not container.streams.audio:
                raise SoundError("the file holds no sound", where=path.name, fix="give a recording")
            stream = container.streams.audio[0]
            codec = str(stream.codec_context.name)
            rate = int(stream.codec_context.sample_rate or 0)
            channels = int(stream.codec_context.channels)
            if rate <= 0:
                raise SoundError("the sound in the file cannot be read", where=path.name)
            _check_size(channels, rate, path.name)
            resampler = av.AudioResampler(
                format="fltp", layout=stream.codec_context.layout.name if channels else "mono", rate=rate
            )
            total_s = float(container.duration or 0) / 1e6
            need = int((start_s + longest_s) * rate)
            try:
                for frame in container.decode(stream):
                    for piece in resampler.resample(frame):
                        array = np.asarray(piece.to_ndarray().T, dtype=np.float64)
                        blocks.append(array)
                        got += array.shape[0]
                    if got >= need:
                        break
            except (av.error.FFmpegError, EOFError):
                flags.append(
                    Flag("truncated", f"the file is damaged; {got / rate:.1f} s of it could be read", 2)
                )
            if total_s > start_s + longest_s + 1:
                flags.append(_too_long(total_s, longest_s))
            elif total_s and got and total_s - got / rate > 1.0:
                with contextlib.suppress(IndexError):
                    if not any(flag.kind == "truncated" for flag in flags):
                        flags.append(Flag("truncated", f"the file breaks off after {got / rate:.1f} s", 2))
    except (av.error.FFmpegError, UnicodeDecodeError) as error:
        raise SoundError(
            f"this is no recording that can be read ({type(error).__name__})",
            where=path.name,
            fix="give a WAV, FLAC, OGG, MP3, m4a, mp4, opus, webm or 3gp file",
        ) from None
    if not blocks:
        raise SoundError("the file holds no sound that can be read", where=path.name, fix="record again")
    data = np.concatenate(blocks)[int(start_s * rate) : need]
    return data, rate, codec
