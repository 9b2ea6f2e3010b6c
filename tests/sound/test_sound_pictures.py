"""Pictures are drawn, of a phone's width, and with something on them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from axlewright.sound import Drive, Listening
from axlewright.sound.comparison import BeforeAfter, Change
from axlewright.sound.pictures import (
    draw_before_after,
    draw_evidence,
    draw_listening,
    draw_mesh_level,
    draw_order_spectra,
)


def check(path: Path) -> None:
    with Image.open(path) as picture:
        assert picture.width == 780  # 390 px at twice the density
        grey = np.asarray(picture.convert("L"))
    assert 0.005 < (grey < 128).mean() < 0.5


def test_pictures_of_a_mesh_tone(mesh_drive: tuple[Drive, Listening], tmp_path: Path) -> None:
    heard = mesh_drive[1]
    draw_listening(heard, tmp_path / "map.png")
    draw_evidence(heard, tmp_path / "evidence.png")
    draw_mesh_level(heard, tmp_path / "level.png")
    draw_order_spectra(heard, heard, tmp_path / "spectra.png")
    for name in ("map", "evidence", "level", "spectra"):
        check(tmp_path / f"{name}.png")


def test_pictures_when_nothing_was_heard(quiet_drive: tuple[Drive, Listening], tmp_path: Path) -> None:
    heard = quiet_drive[1]
    draw_listening(heard, tmp_path / "map.png")
    draw_evidence(heard, tmp_path / "evidence.png")
    draw_mesh_level(heard, tmp_path / "level.png")
    check(tmp_path / "map.png")


@pytest.mark.parametrize("verdict", ["quieter", "no change shown"])
def test_picture_of_a_comparison(verdict: str, tmp_path: Path) -> None:
    change = Change(1, 8.0, 2.0, -6.0, -8.0, -4.0, (3, 3), (("drive", 42.5),), verdict)
    draw_before_after(BeforeAfter((change,), ()), tmp_path / "change.png")
    check(tmp_path / "change.png")
