"""Made sounds: the linear law, equal gain, stated ratios, learned paths; and before/after."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from axlewright.errors import SoundError
from axlewright.sound import Drive, DrivePlan, DriveSource, Listening, tone_to_noise_ratio
from axlewright.sound.comparison import compare_before_after
from axlewright.sound.synthesis import (
    LABEL,
    Runout,
    SoundPath,
    join_sounds,
    learn_path,
    level_change_db,
    make_sounds,
    motion_harmonics,
    same_loudness,
    speed_profile,
    write_wav,
)

FloatArray = NDArray[np.float64]
Hear = Callable[..., tuple[Drive, Listening]]
X = np.arange(64) / 64


def curve(*amplitudes: float) -> FloatArray:
    """Motion error with these harmonics [µrad]."""
    parts = [a * np.cos(2 * np.pi * k * X + 0.4 * k) for k, a in enumerate(amplitudes, start=1)]
    return np.asarray(np.sum(parts, axis=0))


def amplitude(x: FloatArray, frequency: float, rate: int = 48000) -> float:
    t = np.arange(len(x)) / rate
    return float(abs(2 * np.mean(x * np.exp(-2j * np.pi * frequency * t))))


def test_harmonics_of_a_curve() -> None:
    c = motion_harmonics(curve(20.0, 7.0, 0.0, 1.5))
    assert np.abs(c[:5]) == pytest.approx([20.0, 7.0, 0.0, 1.5, 0.0], abs=1e-9)
    assert np.angle(c[0]) == pytest.approx(0.4)


@pytest.mark.parametrize("bad", [np.zeros(4), np.full(64, np.nan), np.zeros((8, 8))])
def test_curves_that_are_none(bad: FloatArray) -> None:
    with pytest.raises(SoundError, match="motion error"):
        motion_harmonics(bad)


def test_doubling_the_motion_error_is_6_02_db_in_the_sound() -> None:
    # The linear law: 20 lg 2 = 6.02 dB for each harmonic by itself.
    sounds = make_sounds(
        {"one": curve(20, 5), "two": curve(40, 5)}, 41, 11, speed_profile((20.0,), 4.0), 2.0, noise=False
    )
    one, two = sounds["one"].samples, sounds["two"].samples
    change = [20 * np.log10(amplitude(two, f) / amplitude(one, f)) for f in (410, 820)]
    assert change == pytest.approx([6.02, 0.0], abs=0.03)
    assert level_change_db(curve(20, 5), curve(40, 5))[:2] == pytest.approx([6.02, 0.0], abs=0.01)
    assert sounds["one"].gain == sounds["two"].gain


def test_stated_ratio_is_the_measured_one() -> None:
    # By the made noise's own density, checked with the steady method of ECMA-418-1.
    sounds = make_sounds(
        {"before": curve(20.0), "after": curve(10.0)}, 41, 11, speed_profile((20.0,), 16.0), 2.0,
        tone_to_noise_db=9.0, seed=3,
    )  # fmt: skip
    assert sounds["before"].tone_to_noise_db[0] == pytest.approx(9.0)
    assert sounds["after"].tone_to_noise_db[0] == pytest.approx(2.98, abs=0.01)
    for name, ratio in (("before", 9.0), ("after", 2.98)):
        measured = tone_to_noise_ratio(sounds[name].samples, 48000, 410.0).ratio_db
        assert measured == pytest.approx(ratio, abs=0.7)


def test_runout_makes_sidebands_at_the_pinions_rate() -> None:
    sounds = make_sounds(
        {"a": curve(20.0)}, 41, 11, speed_profile((22.0,), 8.0), 2.0, noise=False, runout=Runout(pinion=0.3)
    )
    x = sounds["a"].samples[24000:-24000]
    carrier, side = 41 * 11.0, 41 * 11.0 + 11.0 * 41 / 11
    assert 20 * np.log10(amplitude(x, side) / amplitude(x, carrier)) == pytest.approx(-16.5, abs=0.2)


def test_nothing_clips_and_the_label_says_what_it_is(tmp_path: Path) -> None:
    sounds = make_sounds(
        {"a": curve(20, 20, 20), "b": curve(200, 0, 3)}, 39, 14, speed_profile((13.0, 27.0), 3.0), 2.4,
        path=SoundPath("acceleration"),
    )  # fmt: skip
    assert max(np.abs(s.samples).max() for s in sounds.values()) <= 0.95 + 1e-9
    write_wav(sounds["b"], tmp_path / "b.wav")
    with soundfile.SoundFile(tmp_path / "b.wav") as handle:
        assert handle.comment.startswith(LABEL)
        assert handle.samplerate == 48000
        assert handle.read() == pytest.approx(sounds["b"].samples, abs=1e-6)
    with pytest.raises(SoundError, match="WAV"):
        write_wav(sounds["a"], tmp_path / "a.mp3")
    with pytest.raises(SoundError, match="folder"):
        write_wav(sounds["a"], tmp_path / "none" / "a.wav")


def test_same_loudness_and_joining() -> None:
    sounds = make_sounds(
        {"a": curve(20), "b": curve(80)}, 41, 11, speed_profile((20.0,), 2.0), 2.0, tone_to_noise_db=20
    )
    even = same_loudness(sounds)
    assert np.std(even["a"].samples) == pytest.approx(np.std(even["b"].samples), rel=1e-3)
    assert "same level" in even["a"].label
    assert len(join_sounds(list(sounds.values())).samples) == 2 * 96000 + 24000


@pytest.mark.parametrize(
    ("curves", "teeth"), [({}, (41, 11)), ({"flat": np.zeros(32)}, (41, 11)), ({"a": curve(1.0)}, (11, 41))]
)
def test_sounds_that_cannot_be_made(curves: dict[str, FloatArray], teeth: tuple[int, int]) -> None:
    with pytest.raises(SoundError):
        make_sounds(curves, *teeth, speed_profile((20.0,), 1.0), 2.0)


@pytest.mark.parametrize(("speeds", "seconds"), [((), 3.0), ((0.0,), 3.0), ((20.0,), 0.0), ((20.0,), 9999.0)])
def test_profiles_that_cannot_be(speeds: tuple[float, ...], seconds: float) -> None:
    with pytest.raises(SoundError):
        speed_profile(speeds, seconds)


def test_path_learned_from_a_recording(mesh_drive: tuple[Drive, Listening]) -> None:
    _, heard = mesh_drive
    before = curve(20.0, 8.0, 4.0)
    path = learn_path(heard, before)
    assert path.kind == "learned"
    assert "learned from your recording" in path.label
    # Beyond what was heard the path is held, not continued.
    assert path.gain(np.array([20.0])) == pytest.approx(path.gain(path.frequency_hz[:1]))
    # With the path learned, the setting that was recorded sounds as prominent as it was recorded.
    speed = np.interp(np.arange(16 * 48000) / 48000, np.linspace(0, 16, len(heard.times_s)), heard.speed_mps)
    made = make_sounds(
        {"before": before}, 41, 11, speed, 2.1, path=path,
        tone_to_noise_db=heard.harmonics[0].tone_to_noise_db,
    )["before"]  # fmt: skip
    heard_steps = [h.tone_to_noise_db - heard.harmonics[0].tone_to_noise_db for h in heard.harmonics]
    made_steps = made.tone_to_noise_db[:3] - made.tone_to_noise_db[0]
    assert made_steps == pytest.approx(heard_steps, abs=3.0)


def test_nothing_is_learned_from_noise(quiet_drive: tuple[Drive, Listening]) -> None:
    with pytest.raises(SoundError, match="not clear enough"):
        learn_path(quiet_drive[1], curve(20.0))


@pytest.fixture(scope="module")
def passes(hear: Hear) -> tuple[list[Listening], list[Listening]]:
    """Return three passes with a mesh tone of 10 dB and three with one of 4 dB."""
    plan = DrivePlan(duration_s=24.0, stated="satellite", speed_scatter=0.0)
    sides = []
    for level, first in ((10.0, 20), (4.0, 30)):
        sides.append([hear(DriveSource("mesh", 41, level), seed=first + i, plan=plan)[1] for i in range(3)])
    return sides[0], sides[1]


def test_a_change_of_6_db_is_shown(passes: tuple[list[Listening], list[Listening]]) -> None:
    change = compare_before_after(*passes).changes[0]
    assert change.verdict == "quieter"
    assert change.low_db <= -6.0 + 2.0
    assert change.change_db == pytest.approx(-6.0, abs=2.5)
    assert change.low_db < change.change_db < change.high_db < 0
    assert compare_before_after(passes[1], passes[0]).changes[0].verdict == "louder"


def test_no_change_is_said_when_there_is_none(passes: tuple[list[Listening], list[Listening]]) -> None:
    result = compare_before_after(passes[0][:1], passes[0][1:])
    assert result.changes[0].verdict == "no change shown"
    assert any("passes" in note for note in result.notes)
    assert any("assumed" in note for note in result.notes)


def test_comparisons_that_cannot_be_made(
    passes: tuple[list[Listening], list[Listening]], quiet_drive: tuple[Drive, Listening]
) -> None:
    with pytest.raises(SoundError, match="no recording"):
        compare_before_after([], passes[0])
    with pytest.raises(SoundError, match="not clearly heard both before and after"):
        compare_before_after([quiet_drive[1]], [quiet_drive[1]])
    other = replace(passes[0][0], axle=replace(passes[0][0].axle, ring_teeth=43))
    with pytest.raises(SoundError, match="different tooth counts"):
        compare_before_after([other], passes[1])
