"""Reading whole photos. Truth comes from the renderer's own rolling of the set, not from the reader."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pytest
from PIL import Image, ImageFilter

import axlewright as aw
from axlewright.contact import ContactPattern
from axlewright.errors import InputError, PhotoError
from axlewright.gearset import GearSetDesign
from axlewright.pattern import PhotoReading, apply_correction, read_photo


def overlap(reading: PhotoReading, truth: ContactPattern) -> float:
    a, b = reading.pattern.mask, truth.mask
    return float((a & b).sum() / (a | b).sum())


@pytest.fixture(scope="module")
def drive(job: dict[str, Any], design: GearSetDesign) -> PhotoReading:
    return read_photo(job["drive"].path, job["drive"].text, design, "drive")


@pytest.mark.parametrize("flank", ["drive", "coast"])
def test_job_photos(job: dict[str, Any], design: GearSetDesign, flank: str) -> None:
    photo = job[flank]
    reading = read_photo(photo.path, photo.text, design, flank)
    assert overlap(reading, photo.pattern) > 0.85
    for k in range(2):
        assert abs(reading.pattern.center[k] - photo.pattern.center[k]) < 3.0 * reading.center_sd[k]
        assert 0.003 < reading.center_sd[k] < 0.15
    assert reading.pattern.center[1] > 0.1  # the pinion sits too far out: high on both flanks
    assert reading.compound_found == "rubbed"
    assert reading.unrolled.dtype == np.uint8
    assert reading.pattern.mask.shape == (48, 96)
    assert reading.edge_confidence.shape == (48, 96)
    assert reading.source == "photo"
    assert reading.camera_residual_px < 3.0
    assert reading.summary()["flank"] == flank


def test_tap_errors_are_covered(job: dict[str, Any], design: GearSetDesign) -> None:
    """With taps off by 3 px the centre stays within what is stated, and the spread of taps is part of it."""
    rng = np.random.default_rng(3)
    photo = job["coast"]
    centers = []
    for _ in range(4):
        reading = read_photo(photo.path, photo.corners + rng.normal(0, 3.0, (4, 2)), design, "coast")
        centers.append(reading.pattern.center)
        assert abs(reading.pattern.center[1] - photo.pattern.center[1]) < 3.0 * reading.center_sd[1]
    assert np.std([c[0] for c in centers]) < 0.02


def test_unrolled_picture_has_root_first(drive: PhotoReading) -> None:
    """Rows run from root to top: the mark of this job lies in the upper half of the profile."""
    rows = drive.level.shape[0]
    assert drive.level[rows // 2 :].sum() > drive.level[: rows // 2].sum()


@pytest.mark.parametrize(
    ("name", "flank", "compound", "mode", "orientation"),
    [
        ("TY-310", "coast", "blue", "print", 6),
        ("TY-205H", "drive", "yellow", "rubbed", 3),
        ("TY-176B", "coast", "yellow", "print", 8),
        ("TY-222", "drive", "blue", "rubbed", 1),
    ],
)
def test_compounds_designs_and_orientations(
    name: str, flank: str, compound: str, mode: str, orientation: int
) -> None:
    from photo_scene import PhotoRequest, make_photo

    d = aw.load_design(name)
    photo = make_photo(
        PhotoRequest(
            d, flank=flank, compound=compound, mode=mode, orientation=orientation, width=1000, height=750,
            pinion_out_mm=-0.04, seed=21, location=True, glare=0.1, shadow_depth=0.5,
        )
    )  # fmt: skip
    reading = read_photo(photo.jpeg, photo.corners, d, flank)
    assert overlap(reading, photo.pattern) > 0.85
    assert reading.compound_found == mode
    told = read_photo(photo.jpeg, photo.corners, d, flank, compound=mode)  # type: ignore[arg-type]
    assert overlap(told, photo.pattern) > 0.85


def _with(path: object, change: object) -> bytes:
    image = Image.open(path)  # type: ignore[arg-type]
    out = io.BytesIO()
    change(image.convert("RGB")).save(out, "JPEG", quality=90)  # type: ignore[operator]
    return out.getvalue()


def test_glare_dark_and_flat_pictures_are_refused(job: dict[str, Any], design: GearSetDesign) -> None:
    photo = job["coast"]
    white = _with(photo.path, lambda im: Image.new("RGB", im.size, (255, 255, 255)))
    with pytest.raises(PhotoError):
        read_photo(white, photo.text, design, "coast")
    black = _with(photo.path, lambda im: im.point(lambda v: v // 60))
    with pytest.raises(PhotoError, match="black"):
        read_photo(black, photo.text, design, "coast")
    flat = _with(photo.path, lambda im: Image.new("RGB", im.size, (120, 118, 110)))
    with pytest.raises(PhotoError, match="no mark stands out") as caught:
        read_photo(flat, photo.text, design, "coast")
    assert "paint" in caught.value.fix


def test_blur_is_refused(job: dict[str, Any], design: GearSetDesign) -> None:
    photo = job["coast"]
    blurred = _with(photo.path, lambda im: im.filter(ImageFilter.GaussianBlur(55)))
    with pytest.raises(PhotoError, match=r"blurred|stands out"):
        read_photo(blurred, photo.text, design, "coast")


def test_unknown_words(job: dict[str, Any], design: GearSetDesign) -> None:
    with pytest.raises(InputError, match="unknown flank"):
        read_photo(job["drive"].path, job["drive"].text, design, "front")
    with pytest.raises(PhotoError, match="unknown compound"):
        read_photo(job["drive"].path, job["drive"].text, design, "drive", compound="red")  # type: ignore[arg-type]


def test_outline_is_corrected_by_hand(drive: PhotoReading) -> None:
    square = [(-0.5, -0.5), (0.1, -0.5), (0.1, 0.3), (-0.5, 0.3)]
    new = apply_correction(drive, outline=square)
    assert new.pattern.center == pytest.approx((-0.2, -0.1), abs=0.02)
    assert any("by hand" in q for q in new.quality)
    less = apply_correction(new, remove=[[(-0.6, -0.6), (-0.2, -0.6), (-0.2, 0.4), (-0.6, 0.4)]])
    assert less.pattern.center[0] == pytest.approx(-0.05, abs=0.02)
    more = apply_correction(new, add=[[(0.1, -0.5), (0.7, -0.5), (0.7, 0.3), (0.1, 0.3)]])
    assert more.pattern.center[0] == pytest.approx(0.1, abs=0.02)
    mask = np.zeros((48, 96), bool)
    mask[10:20, 40:60] = True
    given = apply_correction(drive, mask=mask)
    assert (given.pattern.mask ^ mask).sum() < 70
    with pytest.raises(InputError, match="nothing is left"):
        apply_correction(drive, remove=[[(-1.2, -1.2), (1.2, -1.2), (1.2, 1.2), (-1.2, 1.2)]])
    with pytest.raises(InputError, match="shape"):
        apply_correction(drive, mask=np.zeros((3, 3)))
    with pytest.raises(InputError, match="crosses itself"):
        apply_correction(drive, outline=[(-0.5, -0.5), (0.5, 0.5), (0.5, -0.5), (-0.5, 0.5)])


def test_a_finger_may_cross_its_own_line(drive: PhotoReading) -> None:
    """Rubbing over a place twice adds it once; an outline that replaces the mark must not cross itself."""
    turn = np.linspace(0.0, 4.0 * np.pi, 90)
    twice = np.stack([0.3 * np.cos(turn) - 0.4, 0.3 * np.sin(turn) - 0.4], 1)
    empty = apply_correction(drive, outline=twice[:45])
    again = apply_correction(drive, outline=twice[:45], add=[twice])
    assert (again.pattern.mask ^ empty.pattern.mask).sum() <= 12
    gone = apply_correction(drive, remove=[[(-0.2, -1.1), (0.2, 1.1), (0.2, -1.1), (-0.2, 1.1)]])
    assert gone.pattern.area_fraction < drive.pattern.area_fraction


def test_a_correction_settles_the_doubts_about_the_outline(drive: PhotoReading) -> None:
    from dataclasses import replace

    doubt, camera = "Another outline is nearly as likely.", "No clear edge was found at: toe."
    unsure = replace(
        drive, quality=(camera, doubt), outline_doubts=(doubt,), other=drive.pattern.mask, other_chance=0.4,
        length_sd=0.4, area_sd=0.3,
    )  # fmt: skip
    new = apply_correction(unsure, add=[[(0.0, 0.0), (0.1, 0.0), (0.1, 0.1)]])
    assert camera in new.quality
    assert doubt not in new.quality
    assert new.other is None
    assert new.other_chance == 0.0
    assert new.length_sd < 0.1
    assert new.area_sd < 0.1
    assert sum("by hand" in q for q in apply_correction(new, remove=[]).quality) == 1
