"""Read a recording and say what is wrong with it before anything is concluded from it.

WAV, FLAC, OGG and MP3 are read by soundfile; m4a, mp4, opus, webm and 3gp by the optional decoder
PyAV. Levels are relative to the largest value the file can hold; nothing here is calibrated.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from axlewright.errors import SoundError
from axlewright.language import Shown
from axlewright.language import eager as _
from axlewright.sound.decoding import BLOCK_S, open_sound
from axlewright.sound.defects import Flag, inspect_samples

FloatArray = NDArray[np.float64]

WORKING_RATE_HZ: Final = 16000
"""Rate of the mono signal that is tracked: the mesh family of an axle ends below 4 kHz."""
LONGEST_S: Final = 600.0
"""Only this much of a file is read unless more is asked for; ten minutes hold many sweeps."""
SHORTEST_S: Final = 2.0
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
        raise SoundError(_("there is no such file"), where=str(path), fix=_("give the path of a recording"))
    if path.stat().st_size == 0:
        raise SoundError(_("the file is empty"), where=where, fix=_("record again"))
    if start_s < 0 or longest_s <= 0:
        raise SoundError(_("start must not be negative and length must be positive"), where=where)
    if _is_text(path):
        raise SoundError(_("this is not a recording"), where=where, fix=_("give a sound file, not a text"))
    source = open_sound(path, start_s, longest_s)
    mono = _one_channel(source.blocks, source.channels, source.flags)
    if mono.size == 0 and not source.by_decoder:
        raise SoundError(
            _("there is no sound after {start:g} s").format(start=Shown(start_s)),
            where=where,
            fix=_("begin earlier in the file"),
        )
    if mono.size == 0:
        raise SoundError(_("the file holds no sound that can be read"), where=where, fix=_("record again"))
    return _judged(mono, source.rate_hz, source.channels, source.codec, where, start_s, source.flags)


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
    block = np.asarray(data)
    if block.ndim == 1:
        block = block[:, None]
    size = int(BLOCK_S * rate_hz) + 1

    def blocks() -> Iterator[NDArray[np.floating]]:
        for first in range(0, len(block), size):
            yield block[first : first + size]

    found = list(flags or [])
    mono = _one_channel(blocks, block.shape[1], found)
    return _judged(mono, int(rate_hz), block.shape[1], codec, name, start_s, found)


def _judged(
    mono: FloatArray, rate_hz: int, channels: int, codec: str, name: str, start_s: float, found: list[Flag]
) -> Recording:
    """Refuse what is no recording of a drive; flag what is doubtful; bring to the working rate."""
    if rate_hz < 4000:
        raise SoundError(_("a rate of {rate} Hz is too low for gear sound").format(rate=rate_hz), where=name)
    if not np.isfinite(mono).all():
        raise SoundError(
            _("the recording holds values that are no numbers"), where=name, fix=_("record again")
        )
    seconds = len(mono) / rate_hz
    if seconds < SHORTEST_S:
        raise SoundError(
            _("the recording is {seconds:.1f} s long, too short to follow a tone").format(
                seconds=Shown(seconds)
            ),
            where=name,
            fix=_("record at least 20 s while the speed changes"),
        )
    power = float(np.dot(mono, mono)) / len(mono)
    level_db = 10 * math.log10(power + 1e-30)
    if power == 0.0:
        raise SoundError(
            _("the recording is silent: it holds nothing but zeros"),
            where=name,
            fix=_("check the microphone and record again"),
        )
    if level_db < -75.0:
        raise SoundError(
            _("the recording is silent (level {level:.0f} dB re full scale)").format(level=Shown(level_db)),
            where=name,
            fix=_("check the microphone and record again"),
        )
    found.extend(inspect_samples(mono, rate_hz, codec in SPEECH_CODECS))
    found.sort(key=lambda flag: -flag.weight)
    return Recording(
        samples=_to_working_rate(mono, rate_hz),
        rate_hz=WORKING_RATE_HZ,
        full_samples=mono,
        full_rate_hz=rate_hz,
        channels=channels,
        codec=codec,
        flags=tuple(found),
        name=name,
        start_s=start_s,
    )


def _one_channel(
    blocks: Callable[[], Iterator[NDArray[np.floating]]], channels: int, flags: list[Flag]
) -> FloatArray:
    """Join the channels, or keep the louder one when two of them would cancel; the mean is taken out."""
    weight = np.ones(1)
    if channels > 1:
        count, total = 0, np.zeros(channels)
        product = np.zeros((channels, channels))
        for block in blocks():
            wide = block.astype(np.float64)
            count += len(wide)
            total += wide.sum(axis=0)
            product += wide.T @ wide
        mean = total / max(count, 1)
        covariance = product / max(count, 1) - np.outer(mean, mean)
        weight = _channel_weights(covariance, flags)
    joined: list[NDArray[np.float32]] = []
    for block in blocks():
        joined.append((block[:, 0] if channels == 1 else block @ weight).astype(np.float32))
    mono = np.empty(sum(map(len, joined)))
    at = 0
    while joined:
        piece = joined.pop(0)
        mono[at : at + len(piece)] = piece
        at += len(piece)
    if len(mono):
        mono -= mono.mean()
    return mono


def _channel_weights(covariance: FloatArray, flags: list[Flag]) -> FloatArray:
    """Return each channel's share in the one that is kept, from the channels' covariance."""
    power = np.diag(covariance)
    channels = len(power)
    alone = np.zeros(channels)
    alone[int(np.argmax(power))] = 1.0
    if channels == 2 and power.min() > 0.01 * power.max() > 0:
        correlation = float(covariance[0, 1] / math.sqrt(power[0] * power[1]))
        if correlation < -0.3:
            flags.append(
                Flag(
                    "out_of_phase",
                    _("the two channels are out of phase and would cancel; only the louder one is used"),
                    2,
                )
            )
            return alone
    # NaN compares as false and is refused later.
    return alone if power.min() < 0.01 * power.max() else np.full(channels, 1.0 / channels)


def _to_working_rate(mono: FloatArray, rate_hz: int) -> FloatArray:
    if rate_hz == WORKING_RATE_HZ:
        return mono
    from scipy.signal import resample_poly

    common = math.gcd(rate_hz, WORKING_RATE_HZ)
    up, down = WORKING_RATE_HZ // common, rate_hz // common
    # In blocks with a margin longer than the filter's reach of 10 max(up, down) / up samples.
    size, margin = down * (int(BLOCK_S * rate_hz) // down + 1), down * (20 * max(up, down) // (up * down) + 2)
    result = np.empty(-(-len(mono) * up // down))
    for first in range(0, len(mono), size):
        begin = max(first - margin, 0)
        part = resample_poly(mono[begin : first + size + margin].astype(np.float32), up, down)
        skip, to = (first - begin) // down * up, first // down * up
        piece = part[skip : skip + size // down * up]
        result[to : to + len(piece)] = piece
    return result


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
