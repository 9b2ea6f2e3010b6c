"""Reading recordings, and what is said about bad ones."""

from __future__ import annotations

import builtins
import sys
import tracemalloc
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray
from scipy import signal

from axlewright.errors import OptionalPartMissingError, SoundError
from axlewright.sound import (
    DrivePlan,
    DriveSource,
    Tyre,
    make_recording,
    read_recording,
    simulate_drive,
)
from axlewright.sound.simulated_drive import Codec, encode

RATE = 48000
FloatArray = NDArray[np.float64]


def noise(seconds: float = 8.0, seed: int = 0, rate: int = RATE) -> FloatArray:
    """Cabin-like noise at a moderate level."""
    rng = np.random.default_rng(seed)
    sos = signal.butter(1, 200, fs=rate, output="sos")
    return np.asarray(0.3 * signal.sosfilt(sos, rng.standard_normal(int(seconds * rate))))


def tone(seconds: float = 4.0, frequency: float = 440.0) -> FloatArray:
    return np.asarray(0.2 * np.sin(2 * np.pi * frequency * np.arange(int(seconds * RATE)) / RATE))


@pytest.mark.parametrize("codec", ["wav", "flac", "mp3", "m4a", "opus", "amr"])
def test_formats_keep_a_tone(tmp_path: Path, codec: Codec) -> None:
    if codec in ("m4a", "opus", "amr"):
        pytest.importorskip("av")
    data, suffix = encode(tone() + 0.02 * noise(4.0), RATE, codec)
    path = tmp_path / f"tone{suffix}"
    path.write_bytes(data)
    recording = read_recording(path)
    assert recording.rate_hz == 16000
    assert recording.duration_s == pytest.approx(4.0, abs=0.15)
    spectrum = np.abs(np.fft.rfft(recording.samples[8000:40000] * np.hanning(32000)))
    assert np.argmax(spectrum) * 16000 / 32000 == pytest.approx(440.0, abs=1.0)
    assert recording.harshness_allowed == (codec != "amr")


@pytest.mark.parametrize("codec", ["opus", "amr"])
def test_coding_from_44100_keeps_the_pitch(tmp_path: Path, codec: Codec) -> None:
    pytest.importorskip("av")
    x = 0.2 * np.sin(2 * np.pi * 440.0 * np.arange(4 * 44100) / 44100)
    data, suffix = encode(x, 44100, codec)
    path = tmp_path / f"tone{suffix}"
    path.write_bytes(data)
    samples = read_recording(path).samples[16000:48000]
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(32000), 320000))
    assert np.argmax(spectrum) * 16000 / 320000 == pytest.approx(440.0, abs=0.2)


def test_good_noise_has_no_flag() -> None:
    assert make_recording(noise(12.0), RATE).flags == ()


def test_clipping_is_said() -> None:
    assert make_recording(np.clip(3 * noise(), -0.3, 0.3), RATE).has("clipping")


def test_two_channels_out_of_phase_do_not_cancel() -> None:
    x = noise()
    recording = make_recording(np.stack([x, -0.9 * x], axis=1), RATE)
    assert recording.has("out_of_phase")
    assert np.std(recording.full_samples) == pytest.approx(np.std(x), rel=0.01)


def test_two_channels_in_phase_are_joined() -> None:
    x = noise()
    recording = make_recording(np.stack([x, 0.5 * x], axis=1), RATE)
    assert not recording.has("out_of_phase")
    assert np.std(recording.full_samples) == pytest.approx(0.75 * np.std(x), rel=0.01)


def test_one_dead_channel_is_left_out() -> None:
    x = noise()
    recording = make_recording(np.stack([x, np.zeros_like(x)], axis=1), RATE)
    assert np.std(recording.full_samples) == pytest.approx(np.std(x), rel=0.01)


def test_speech_is_found_where_it_is() -> None:
    x = noise(20.0)
    t = np.arange(len(x)) / RATE
    sos = signal.butter(2, [500, 2500], "bandpass", fs=RATE, output="sos")
    voice = signal.sosfilt(sos, np.random.default_rng(2).standard_normal(len(x)))
    # Syllables: four a second, nothing between them.
    syllables = np.clip(np.sin(2 * np.pi * 4 * t), 0, None) ** 2 * ((t > 6) & (t < 12))
    recording = make_recording(x + 2 * voice * syllables, RATE)
    spans = next(f.spans_s for f in recording.flags if f.kind == "speech")
    assert sum(b - a for a, b in spans) == pytest.approx(6.0, abs=2.1)
    assert all(a >= 5.0 and b <= 13.0 for a, b in spans)


@pytest.mark.parametrize(
    ("level", "pinion", "ring", "speeds"),
    [
        (9.0, 0.3, 0.3, (32.0, 60.0, 40.0)),
        (25.0, 0.9, 0.0, (32.0, 60.0, 40.0)),  # at 60 mph the pinion turns 47.6 times a second
        (25.0, 0.0, 0.9, (15.0, 25.0, 15.0)),  # at 20 mph the wheel turns 4.3 times a second, as syllables do
    ],
)
def test_a_swelling_tone_is_no_speech(
    level: float, pinion: float, ring: float, speeds: tuple[float, ...]
) -> None:
    source = DriveSource("mesh", 41, level, pinion_runout=pinion, ring_runout=ring, pinion_order=41 / 11)
    plan = DrivePlan(duration_s=20.0, speeds_mph=speeds, gain_control=False)
    drive = simulate_drive((source,), Tyre(2.1, 0.005, "roll-out"), plan, seed=8)
    assert not make_recording(drive.samples, drive.rate_hz).has("speech")


def test_a_loud_pure_tone_is_not_overdriven() -> None:
    assert not make_recording(4 * tone(frequency=250.0), RATE).has("clipping")


def test_gain_pumping_is_said() -> None:
    x = noise(20.0)
    steps = np.repeat([1.0, 0.3, 1.0, 0.25, 0.9], len(x) // 5)
    assert make_recording(x[: len(steps)] * steps, RATE).has("gain_pumping")


def test_telephone_band_in_a_wide_file_is_seen() -> None:
    sos = signal.butter(12, 3400, fs=RATE, output="sos")
    white = 0.1 * np.random.default_rng(0).standard_normal(8 * RATE)
    recording = make_recording(signal.sosfilt(sos, white), RATE)
    assert recording.has("narrow_band")
    assert not recording.harshness_allowed


def test_silence_is_refused() -> None:
    for x in (np.zeros(5 * RATE), 1e-6 * noise()):
        with pytest.raises(SoundError, match="silent"):
            make_recording(x, RATE)


def test_a_silent_stretch_is_said() -> None:
    x = noise(10.0)
    x[3 * RATE : 5 * RATE] = 0
    flag = next(f for f in make_recording(x, RATE).flags if f.kind == "silent_stretch")
    assert flag.spans_s[0] == pytest.approx((3.0, 5.0), abs=0.3)


def test_values_that_are_no_numbers_are_refused() -> None:
    x = noise()
    x[100] = np.nan
    with pytest.raises(SoundError, match="no numbers"):
        make_recording(x, RATE)


def test_too_short_is_refused() -> None:
    with pytest.raises(SoundError, match="too short"):
        make_recording(noise(1.0), RATE)


def test_an_hour_is_read_in_part(tmp_path: Path) -> None:
    path = tmp_path / "hour.wav"
    soundfile.write(path, np.tile(noise(10.0, rate=8000), 360), 8000)
    recording = read_recording(path, longest_s=30.0)
    assert recording.duration_s == pytest.approx(30.0, abs=0.1)
    assert recording.has("too_long")
    assert read_recording(path, start_s=3590.0).duration_s == pytest.approx(10.0, abs=0.1)
    with pytest.raises(SoundError, match="no sound after"):
        read_recording(path, start_s=4000.0)


HOUR_S = 3600


@pytest.fixture(scope="module")
def hour(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An hour of stereo at 16 kHz, 230 MB, written block by block."""
    path = tmp_path_factory.mktemp("hour") / "hour.wav"
    left = noise(10.0, rate=16000)
    block = np.stack([left, 0.8 * left], axis=1).astype(np.float32)
    with soundfile.SoundFile(path, "w", 16000, 2, subtype="PCM_16") as file:
        for _ in range(HOUR_S // 10):
            file.write(block)
    return path


def test_memory_does_not_grow_with_the_file(hour: Path) -> None:
    used = {}
    for seconds in (60.0, 600.0):
        tracemalloc.start()
        recording = read_recording(hour, longest_s=seconds)
        used[seconds] = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert recording.duration_s == pytest.approx(seconds, abs=0.1)
        assert recording.has("too_long")
    # Ten minutes of one channel as float64 are 77 MB; the hour as float64 stereo would be 920 MB.
    assert used[600.0] < 200e6
    assert used[60.0] < 60e6


def test_a_high_rate_is_read_for_a_shorter_time(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("axlewright.sound.decoding.MOST_FRAMES", 5 * RATE)
    path = tmp_path / "long.wav"
    soundfile.write(path, noise(9.0), RATE)
    recording = read_recording(path)
    assert recording.duration_s == pytest.approx(5.0)
    assert recording.has("too_long")


def test_blocks_join_without_a_seam() -> None:
    x = np.sin(2 * np.pi * 440 * np.arange(35 * 44100) / 44100) * 0.3
    samples = make_recording(x, 44100).samples
    expected = signal.resample_poly((x - x.mean()).astype(np.float32), 160, 441)
    assert len(samples) == len(expected)
    assert np.abs(samples - expected).max() < 1e-6


@pytest.mark.parametrize("suffix", [".wav", ".m4a", ".mp3", ".xyz", ""])
def test_garbage_is_refused(tmp_path: Path, suffix: str) -> None:
    pytest.importorskip("av")
    path = tmp_path / f"garbage{suffix}"
    path.write_bytes(np.random.default_rng(1).bytes(5000))
    with pytest.raises(SoundError):
        read_recording(path)


def test_empty_and_missing_files(tmp_path: Path) -> None:
    (tmp_path / "empty.wav").touch()
    with pytest.raises(SoundError, match="empty"):
        read_recording(tmp_path / "empty.wav")
    with pytest.raises(SoundError, match="no such file"):
        read_recording(tmp_path / "none.wav")


@pytest.mark.parametrize("codec", ["wav", "opus"])
def test_a_cut_file_is_read_as_far_as_it_goes(tmp_path: Path, codec: Codec) -> None:
    if codec == "opus":
        pytest.importorskip("av")
    data, suffix = encode(noise(10.0), RATE, codec)
    path = tmp_path / f"cut{suffix}"
    path.write_bytes(data[: int(0.6 * len(data))])
    recording = read_recording(path)
    assert 4.0 < recording.duration_s < 8.0
    if codec == "wav":
        assert recording.has("truncated")


def test_missing_decoder_is_said_plainly(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "phone.m4a"
    path.write_bytes(b"\x00" * 2000)
    real = builtins.__import__

    def no_av(name: str, *args: Any, **kwargs: Any) -> Any:
        if name == "av":
            raise ImportError(name)
        return real(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", no_av)
    with pytest.raises(OptionalPartMissingError, match=r"axlewright\[phone-audio\]"):
        read_recording(path)


@pytest.mark.parametrize(
    "text",
    [
        "#EXTM3U\n#EXTINF:10,\nother.wav\n",
        "ffconcat version 1.0\nfile other.wav\n",
        "Tränk " * 2000,
        "a,b\r\n1,2\r\n",
    ],
)
@pytest.mark.parametrize("suffix", [".wav", ".m4a", ".m3u8", ""])
def test_a_text_is_not_a_recording(
    tmp_path: Path, text: str, suffix: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "av", None)  # the answer does not depend on the optional decoder
    soundfile.write(tmp_path / "other.wav", noise(4.0), RATE)
    path = tmp_path / f"list{suffix}"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SoundError, match="this is not a recording"):
        read_recording(path)


def test_the_decoder_opens_no_list_of_other_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The lists would be read otherwise: the decoder without our limits finds the sound they name."""
    av = pytest.importorskip("av")
    monkeypatch.setattr("axlewright.sound.recording._is_text", lambda path: False)
    soundfile.write(tmp_path / "other.wav", noise(4.0), RATE)
    path = tmp_path / "list.xyz"
    path.write_text("ffconcat version 1.0\nfile other.wav\n")
    with av.open(str(path)) as container:
        assert container.streams.audio[0].codec_context.sample_rate == RATE
    with pytest.raises(SoundError, match="no recording that can be read"):
        read_recording(path)


@pytest.mark.parametrize(("channels", "rate"), [(9, 8000), (1, 200_000)])
@pytest.mark.parametrize("suffix", [".wav", ".xyz"])
def test_more_than_fits_is_refused(tmp_path: Path, channels: int, rate: int, suffix: str) -> None:
    if suffix == ".xyz":
        pytest.importorskip("av")
    path = tmp_path / f"many{suffix}"
    soundfile.write(path, np.zeros((rate * 3, channels), dtype=np.int16), rate, format="WAV")
    with pytest.raises(SoundError, match=f"the file has {channels} channels at {rate} Hz"):
        read_recording(path)


def test_eight_channels_are_read(tmp_path: Path) -> None:
    path = tmp_path / "eight.wav"
    soundfile.write(path, np.tile(noise(4.0)[:, None], (1, 8)), RATE)
    assert read_recording(path).channels == 8
