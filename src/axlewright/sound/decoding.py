"""Decode a sound file block by block, so that an hour of sound needs no more memory than ten minutes.

Blocks come as float32 of shape (frames, channels). Where two or more channels have to be joined the
file is gone through twice: once to look at the channels, once to join them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from axlewright.errors import OptionalPartMissingError, SoundError
from axlewright.language import Shown
from axlewright.language import eager as _
from axlewright.sound.defects import Flag

Block = NDArray[np.float32]

BLOCK_S: Final = 10.0
SOUNDFILE_SUFFIXES: Final = frozenset({".wav", ".flac", ".ogg", ".mp3", ".oga", ".aif", ".aiff"})
MOST_CHANNELS: Final = 8
HIGHEST_RATE_HZ: Final = 192_000
"""More is no recording of a drive but a file made to fill the memory."""
MOST_FRAMES: Final = 600 * 48_000
"""Frames that are kept of one file, whatever its rate: ten minutes at 48 kHz."""
DECODER_FORMATS: Final = "mov,mp4,m4a,3gp,3g2,matroska,webm,ogg,amr,aac,mp3,wav,w64,flac,aiff,caf,asf,au"
"""Formats the optional decoder may open: only such as hold the sound themselves, no list of other files."""


@dataclass(slots=True)
class SoundSource:
    """A sound file that can be gone through more than once.

    Parameters
    ----------
    path : Path
    start_s, longest_s : float
        The stretch that is wanted [s].
    rate_hz : int
    channels : int
    codec : str
        Name of the coding as the decoder calls it.
    by_decoder : bool
        Whether the optional decoder reads it.
    total_s : float
        Length that the file states [s]; 0 if it states none.
    flags : list of Flag
        Filled by the first pass.
    """

    path: Path
    start_s: float
    longest_s: float
    rate_hz: int
    channels: int
    codec: str
    by_decoder: bool
    total_s: float
    flags: list[Flag] = field(default_factory=list)

    @property
    def wanted(self) -> int:
        """Most frames that are read."""
        return min(int(self.longest_s * self.rate_hz), MOST_FRAMES)

    def blocks(self) -> Iterator[Block]:
        """Go through the wanted stretch; the first pass says what was wrong with the file."""
        first = not self.flags
        got = 0
        broken = False
        for block, fault in _by_decoder(self) if self.by_decoder else _by_soundfile(self):
            broken |= fault
            got += len(block)
            if len(block):
                yield block
        if first:
            self._judge(got, broken)

    def _judge(self, got: int, broken: bool) -> None:
        rate = self.rate_hz
        left_s = self.total_s - self.start_s
        if left_s > self.wanted / rate + 1:
            self.flags.append(
                Flag(
                    "too_long",
                    _(
                        "the file is {total:.0f} min long; only {used:.0f} min of it were used, "
                        "from {start:.0f} s on"
                    ).format(total=self.total_s / 60, used=self.wanted / rate / 60, start=self.start_s),
                    1,
                )
            )
        short = min(left_s, self.wanted / rate) - got / rate
        if broken or short > (1.0 if self.by_decoder else 0.1) or _cut_short(self.path):
            self.flags.append(
                Flag(
                    "truncated",
                    _("the file breaks off; {seconds:.1f} s of it could be read").format(
                        seconds=Shown(got / rate)
                    ),
                    2,
                )
            )


def open_sound(path: Path, start_s: float, longest_s: float) -> SoundSource:
    """Find out what a sound file holds, without reading it through.

    Raises
    ------
    SoundError
        If it holds no sound that can be read.
    OptionalPartMissingError
        If the format needs the optional decoder and it is not installed.
    """
    source = None
    if path.suffix.lower() in SOUNDFILE_SUFFIXES or not path.suffix:
        source = _open_soundfile(path, start_s, longest_s)
    source = source or _open_decoder(path, start_s, longest_s)
    if source.channels > MOST_CHANNELS or source.rate_hz > HIGHEST_RATE_HZ:
        raise SoundError(
            _("the file has {channels} channels at {rate} Hz").format(
                channels=source.channels, rate=source.rate_hz
            ),
            where=path.name,
            fix=_("at most {channels} channels and {rate} Hz are read").format(
                channels=MOST_CHANNELS, rate=HIGHEST_RATE_HZ
            ),
        )
    return source


def _open_soundfile(path: Path, start_s: float, longest_s: float) -> SoundSource | None:
    import soundfile

    try:
        with soundfile.SoundFile(str(path)) as handle:
            rate = int(handle.samplerate)
            codec = str(handle.subtype).lower()
            codec = {"alaw": "pcm_alaw", "ulaw": "pcm_mulaw", "gsm610": "gsm"}.get(
                codec.replace("_", ""), codec
            )
            return SoundSource(
                path, start_s, longest_s, rate, int(handle.channels), codec, False, int(handle.frames) / rate
            )
    except (soundfile.LibsndfileError, RuntimeError):
        return None


def _by_soundfile(source: SoundSource) -> Iterator[tuple[Block, bool]]:
    import soundfile

    with soundfile.SoundFile(str(source.path)) as handle:
        first = min(int(source.start_s * source.rate_hz), int(handle.frames))
        left = min(source.wanted, int(handle.frames) - first)
        if left <= 0:
            return
        try:
            handle.seek(first)
            while left > 0:
                block = handle.read(min(left, int(BLOCK_S * source.rate_hz)), dtype="float32", always_2d=True)
                if not len(block):
                    break
                left -= len(block)
                yield block, False
        except (soundfile.LibsndfileError, RuntimeError):
            yield np.zeros((0, source.channels), dtype=np.float32), True


def _cut_short(path: Path) -> bool:
    """Say whether a RIFF file is shorter than its own header states."""
    with path.open("rb") as handle:
        head = handle.read(12)
    if head[:4] != b"RIFF" or head[8:12] != b"WAVE":
        return False
    stated = int.from_bytes(head[4:8], "little")
    # Recorders that stream leave the length empty or at its largest value; that is no damage.
    return 0 < stated < 0xFFFFFF00 and stated + 8 > path.stat().st_size + 1


def _open_decoder(path: Path, start_s: float, longest_s: float) -> SoundSource:
    try:
        import av
    except ImportError:
        raise OptionalPartMissingError(
            _("recordings of kind '{kind}' need the optional decoder, which is missing").format(
                kind=path.suffix or _("unknown")
            ),
            where=path.name,
            fix=_("install axlewright[phone-audio], or save the recording as WAV"),
        ) from None
    try:
        with av.open(str(path.absolute()), options=_guard()) as container:
            if not container.streams.audio:
                raise SoundError(_("the file holds no sound"), where=path.name, fix=_("give a recording"))
            context = container.streams.audio[0].codec_context
            rate = int(context.sample_rate or 0)
            if rate <= 0:
                raise SoundError(_("the sound in the file cannot be read"), where=path.name)
            return SoundSource(
                path,
                start_s,
                longest_s,
                rate,
                int(context.channels),
                str(context.name),
                True,
                float(container.duration or 0) / 1e6,
            )
    except (av.error.FFmpegError, UnicodeDecodeError) as error:
        raise SoundError(
            _("this is no recording that can be read ({kind})").format(kind=type(error).__name__),
            where=path.name,
            fix=_("give a WAV, FLAC, OGG, MP3, m4a, mp4, opus, webm or 3gp file"),
        ) from None


def _guard() -> dict[str, str]:
    return {"format_whitelist": DECODER_FORMATS, "protocol_whitelist": "file"}


def _by_decoder(source: SoundSource) -> Iterator[tuple[Block, bool]]:
    import av

    skip, left = int(source.start_s * source.rate_hz), source.wanted
    pieces: list[Block] = []
    broken = False
    with av.open(str(source.path.absolute()), options=_guard()) as container:
        stream = container.streams.audio[0]
        layout = stream.codec_context.layout.name if source.channels else "mono"
        resampler = av.AudioResampler(format="fltp", layout=layout, rate=source.rate_hz)
        try:
            for frame in container.decode(stream):
                for piece in resampler.resample(frame):
                    block = np.asarray(piece.to_ndarray().T, dtype=np.float32)
                    if skip:
                        drop = min(skip, len(block))
                        skip -= drop
                        block = block[drop:]
                    block = block[:left]
                    left -= len(block)
                    pieces.append(block)
                if sum(map(len, pieces)) > BLOCK_S * source.rate_hz:
                    yield np.concatenate(pieces), False
                    pieces.clear()
                if left <= 0:
                    break
        except (av.error.FFmpegError, EOFError):
            broken = True
    empty = np.zeros((0, max(source.channels, 1)), dtype=np.float32)
    yield np.concatenate(pieces) if pieces else empty, broken
