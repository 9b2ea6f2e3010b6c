"""Marks of a design as a ground to judge outlines on, and two flanks deciding between outlines."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

import axlewright as aw
from axlewright.contact import measure_mask
from axlewright.errors import PhotoError
from axlewright.gearset import GearSetDesign
from axlewright.pattern import PhotoReading, read_photo, settle_pair
from axlewright.pattern.expected import expected_marks, figures_of, with_other


def _oval(x: float, y: float, a: float, b: float) -> np.ndarray[Any, np.dtype[np.bool_]]:
    X, Y = np.meshgrid(np.linspace(-1, 1, 96), np.linspace(-1, 1, 48))
    return ((X - x) / a) ** 2 + ((Y - y) / b) ** 2 < 1.0


def test_figures_of_an_oval() -> None:
    """An even ellipse has standard deviations of half its half axes."""
    figures = figures_of(_oval(0.2, -0.1, 0.5, 0.4))
    assert figures is not None
    assert figures[:2] == pytest.approx([0.2, -0.1], abs=0.01)
    assert np.exp(figures[2:4]) == pytest.approx([0.25, 0.20], rel=0.06)
    assert abs(figures[4]) < 0.02
    assert figures_of(np.zeros((48, 96), bool)) is None


@pytest.mark.parametrize("name", ["TY-222", "TY-205H"])
def test_marks_the_set_makes_are_likely_and_others_not(name: str) -> None:
    """Rolled at full resolution with other settings than the table's; thin strips at an edge are no marks."""
    design = aw.load_design(name)
    expected = expected_marks(design)
    for depth in (-0.4, -0.15, -0.05, 0.0, 0.08, 0.2, 0.4):
        for flank in ("drive", "coast"):
            figures = figures_of(aw.roll(design, flank, pinion_out_mm=depth, ring_away_mm=0.03).pattern.mask)
            assert figures is not None
            assert expected.log_density(flank, figures) > -5.0  # type: ignore[arg-type]
    for mask in (_oval(-0.1, -0.9, 0.9, 0.1), _oval(0.9, 0.0, 0.1, 0.9), _oval(0.0, 0.0, 0.15, 0.1)):
        figures = figures_of(mask)
        assert figures is not None
        assert expected.log_density("drive", figures) < -7.0


def test_flanks_of_one_set_go_together(design: GearSetDesign) -> None:
    """With the pinion out both marks rise: one high and one low is less likely than both high."""
    expected = expected_marks(design)
    out, inward = (
        {f: figures_of(aw.roll(design, f, pinion_out_mm=v).pattern.mask) for f in ("drive", "coast")}
        for v in (0.12, -0.12)
    )
    assert out["drive"] is not None
    assert inward["coast"] is not None
    assert out["coast"] is not None
    together = expected.log_pair(out["drive"], out["coast"])
    apart = expected.log_pair(out["drive"], inward["coast"])
    assert together > apart + 3.0


@pytest.fixture(scope="module")
def pair(job: dict[str, Any], design: GearSetDesign) -> tuple[PhotoReading, PhotoReading]:
    drive, coast = (read_photo(job[f].path, job[f].text, design, f) for f in ("drive", "coast"))
    return drive, coast


def _elsewhere(reading: PhotoReading, y: float) -> PhotoReading:
    """The same photo read as a mark at another height."""
    mask = _oval(0.0, y, 0.5, 0.35)
    return replace(reading, pattern=measure_mask(mask, reading.pattern.flank), other=None, other_chance=0.0)


def test_the_other_flank_decides_between_outlines(
    pair: tuple[PhotoReading, PhotoReading], design: GearSetDesign
) -> None:
    """Job photos: pinion too far out, both marks high. A low outline put first on drive is overruled."""
    drive, coast = pair
    wrong = with_other(_elsewhere(drive, -0.45), drive, 0.45)
    assert wrong.center_sd[1] > 0.2
    settled, same = settle_pair(wrong, coast, design)
    assert settled.pattern.center == drive.pattern.center
    assert settled.other_chance < 0.3
    assert settled.center_sd[1] < wrong.center_sd[1]
    assert same is coast or same.pattern is coast.pattern
    assert settle_pair(drive, coast, design) == (drive, coast)


def test_what_is_left_of_a_doubt_is_stated(pair: tuple[PhotoReading, PhotoReading]) -> None:
    """Variance of a mixture about the first outline: own variance plus chance times distance squared."""
    drive, _ = pair
    low = _elsewhere(drive, -0.4)
    both = with_other(drive, low, 0.2)
    away = low.pattern.center[1] - drive.pattern.center[1]
    assert both.center_sd[1] == pytest.approx(np.sqrt(drive.alone_sd[1] ** 2 + 0.2 * away**2))
    assert both.other is not None
    assert both.summary()["other_outline_chance"] == 0.2
    assert any("Another outline" in q for q in both.quality)
    assert with_other(both, None, 0.0).center_sd == pytest.approx(drive.alone_sd[:2])


@pytest.mark.parametrize("mode", ["none", "painted"])
def test_a_tooth_without_a_mark_is_refused(design: GearSetDesign, mode: str) -> None:
    from photo_scene import PhotoRequest, make_photo

    photo = make_photo(PhotoRequest(design, mode=mode, width=1000, height=750, seed=4, orientation=1))
    with pytest.raises(PhotoError, match=r"no mark stands out") as caught:
        read_photo(photo.jpeg, photo.corners, design, "drive")
    assert "paint" in caught.value.fix
    assert "by hand" in caught.value.fix
