"""Pictures are drawn, of a phone's width, and with something on them."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure
from PIL import Image

from axlewright.language import using_language
from axlewright.sound import Drive, Listening, pictures
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


def test_long_names_stay_within_the_picture(
    mesh_drive: tuple[Drive, Listening], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    heard = mesh_drive[1]
    sources = tuple(replace(s, probability=0.4, word="unlikely") for s in heard.sources)
    monkeypatch.setattr(pictures, "_save", lambda figure, path: kept.append(figure))
    kept: list[Figure] = []
    with using_language("de"):
        draw_listening(replace(heard, sources=sources), tmp_path / "map.png")
        (figure,) = kept
        figure.canvas.draw()
    texts = figure.axes[2].texts
    assert len(texts) == 7
    assert any("\n" in text.get_text() for text in texts)
    boxes = [text.get_window_extent() for text in texts]
    assert max(box.x1 for box in boxes) <= figure.bbox.width
    assert all(upper.y0 > lower.y1 for upper, lower in pairwise(boxes)), "lines do not run into each other"
    assert figure.axes[0].get_position().width > 0.75
