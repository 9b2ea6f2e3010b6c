"""The four taps and the camera fitted to them."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import axlewright as aw
from axlewright.errors import PhotoError
from axlewright.gearset import GearSetDesign
from axlewright.pattern import check_corners, guess_corners, load_picture, parse_corners, read_photo
from axlewright.pattern.camera import CORNER_X, CORNER_Y, fit_camera, flank_surface, winding

SIZE = (1920, 1280)


def test_text_is_read() -> None:
    np.testing.assert_allclose(parse_corners("1,2 3.5,4; 5,6\n7,8"), [[1, 2], [3.5, 4], [5, 6], [7, 8]])


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("1,2 3,4 5,6", "3 corners"),
        ("1,2 3,4 5,6 7", "'7' is not a place"),
        ("1,2 3,4 5,6 a,b", "'a,b' is not a place"),
        ("", "0 corners"),
        ("1,2,3 4,5 6,7 8,9", "not a place"),
    ],
)
def test_bad_text(text: str, words: str) -> None:
    with pytest.raises(PhotoError, match=words):
        parse_corners(text)


@settings(max_examples=60)
@given(st.text(alphabet="0123456789,. ;-e", max_size=40))
def test_any_text_gives_corners_or_a_sentence(text: str) -> None:
    try:
        assert parse_corners(text).shape == (4, 2)
    except PhotoError:
        return


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ([1, 0, 2, 3], "cross"),
        ([1, 0, 3, 2], "other way round"),
        ([3, 2, 1, 0], "other way round"),
        ([1, 2, 3, 0], "taller"),
    ],
)
def test_wrong_orders(job: dict[str, Any], design: GearSetDesign, change: list[int], words: str) -> None:
    with pytest.raises(PhotoError, match=words):
        check_corners(job["drive"].corners[change], SIZE, design, "drive")


def test_the_other_flank_is_noticed(job: dict[str, Any], design: GearSetDesign) -> None:
    with pytest.raises(PhotoError, match="coast flank"):
        check_corners(job["coast"].corners, SIZE, design, "drive")


def test_off_the_picture_and_too_small(job: dict[str, Any], design: GearSetDesign) -> None:
    c = job["drive"].corners
    with pytest.raises(PhotoError, match="outside the picture"):
        check_corners(c + 900.0, SIZE, design, "drive")
    with pytest.raises(PhotoError, match="only"):
        check_corners(c.mean(0) + 0.05 * (c - c.mean(0)), SIZE, design, "drive")
    with pytest.raises(PhotoError, match="four corners"):
        check_corners(c[:3], SIZE, design, "drive")
    with pytest.raises(PhotoError, match="four corners"):
        check_corners(c * np.nan, SIZE, design, "drive")


def test_flanks_of_a_right_hand_pinion_are_mirrored(design: GearSetDesign) -> None:
    from dataclasses import replace

    other = replace(design, hand="right")
    assert winding(design, "drive") == -winding(design, "coast")
    assert winding(other, "drive") == -winding(design, "drive")


@pytest.mark.parametrize("name", ["TY-222", "TY-310", "TY-205H", "TY-176B"])
@pytest.mark.parametrize("flank", ["drive", "coast"])
def test_camera_is_found_again(name: str, flank: str) -> None:
    """Corners of a known camera give that camera's view of the whole curved flank back."""
    from photo_scene import place_camera
    from photo_scene.gear import Gear

    d = aw.load_design(name)
    gear = Gear(d)
    camera = place_camera(
        gear, flank, width=1920, height=1280, focal_ratio=1.0, fill=0.6, elevation_deg=32.0, side_deg=8.0,
        roll_deg=5.0,
    )  # fmt: skip
    true = camera.project(gear.flank(flank, CORNER_X, CORNER_Y)[0])[0]
    fitted = fit_camera(d, flank, true, SIZE)  # type: ignore[arg-type]
    x, y = np.meshgrid(np.linspace(-1, 1, 9), np.linspace(-1, 1, 5))
    got = fitted.project(flank_surface(d, flank, x, y)[0])  # type: ignore[arg-type]
    want = camera.project(gear.flank(flank, x, y)[0])[0]
    assert fitted.residual_px < 1.2
    assert np.abs(got - want).max() < 4.0  # px of a tooth 1150 px long


def test_a_straight_quadrilateral_would_be_worse(design: GearSetDesign) -> None:
    """The top edge bows away from its chord by far more than the camera misses it."""
    from photo_scene import place_camera
    from photo_scene.gear import Gear

    gear = Gear(design)
    camera = place_camera(
        gear, "drive", width=1920, height=1280, focal_ratio=1.0, fill=0.6, elevation_deg=32.0, side_deg=8.0,
        roll_deg=5.0,
    )  # fmt: skip
    top = camera.project(gear.flank("drive", np.array([-1.0, 0.0, 1.0]), np.ones(3))[0])[0]
    chord = top[2] - top[0]
    bow = abs(chord[0] * (top[1] - top[0])[1] - chord[1] * (top[1] - top[0])[0]) / np.linalg.norm(chord)
    assert bow > 20.0


def test_taps_are_snapped_to_the_edges(job: dict[str, Any], design: GearSetDesign) -> None:
    c = job["drive"].corners
    off = c + np.array([[6.0, 4.0], [-6.0, 5.0], [4.0, -3.0], [-5.0, -4.0]])
    reading = read_photo(job["drive"].path, off, design, "drive")
    before, after = np.linalg.norm(off - c, axis=1), np.linalg.norm(reading.corners_used - c, axis=1)
    assert after[:2].max() < 4.0
    assert after.mean() < before.mean()
    assert reading.corner_moves_px.max() > 3.0


def test_wrong_design_is_noticed(job: dict[str, Any]) -> None:
    """A spiral bevel tooth of other proportions cannot look like this one from anywhere."""
    from axlewright.gearset import design_from_fields

    stubby = design_from_fields(
        {"name": "stubby", "pinion_teeth": 11, "ring_teeth": 23, "offset_mm": 0.0,
         "ring_outer_diameter_mm": 222.0, "face_width_mm": 12.0, "pinion_spiral_angle_deg": 35.0}
    )  # fmt: skip
    with pytest.raises(PhotoError, match=r"no camera position|other way round|taller"):
        read_photo(job["drive"].path, job["drive"].corners, stubby, "drive")
    for flank in ("drive", "coast"):
        with pytest.raises(PhotoError, match="no camera position"):
            read_photo(job[flank].path, job[flank].corners, aw.load_design("TY-205H"), flank)


def test_guess_is_a_usable_start(job: dict[str, Any], design: GearSetDesign) -> None:
    for flank, photo in job.items():
        picture = load_picture(photo.path)
        guess = guess_corners(picture, design, flank)
        check_corners(guess, (picture.width, picture.height), design, flank)  # type: ignore[arg-type]
        length = np.linalg.norm(photo.corners[1] - photo.corners[0])
        assert np.median(np.linalg.norm(guess - photo.corners, axis=1)) < 0.5 * length
