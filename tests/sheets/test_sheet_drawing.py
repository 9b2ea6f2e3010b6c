"""Outlines of masks and plots as SVG."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from axlewright.sheets import RoundPlot, round_plot_svg, tooth_svg
from axlewright.sheets.drawing import mask_outlines


def area(outlines: list[np.ndarray]) -> float:
    """Return the area inside closed outlines; those of holes run the other way round."""
    total = 0.0
    for line in outlines:
        x, y = line[:, 0], line[:, 1]
        total += 0.5 * float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))
    return abs(total)


def as_mask(cells: np.ndarray) -> tuple[tuple[bool, ...], ...]:
    return tuple(map(tuple, cells.tolist()))


@pytest.mark.parametrize("rows", [20, 61])
def test_outline_encloses_the_area_of_the_mask(rows: int) -> None:
    v, u = np.mgrid[0:rows, 0 : 3 * rows]
    u, v = (u + 0.5) / (3 * rows), (v + 0.5) / rows
    cells = ((u - 0.4) / 0.3) ** 2 + ((v - 0.5) / 0.35) ** 2 < 1
    cells &= ~(((u - 0.4) / 0.12) ** 2 + ((v - 0.5) / 0.15) ** 2 < 1)
    outlines = mask_outlines(as_mask(cells))
    assert len(outlines) == 2, "the area and its hole"
    assert area(outlines) == pytest.approx(cells.mean(), rel=0.06)


def test_mask_that_fills_the_flank_is_outlined_by_the_flank() -> None:
    (outline,) = mask_outlines(as_mask(np.ones((12, 30), dtype=bool)))
    assert area([outline]) == pytest.approx(1.0, abs=1e-4)


def test_small_spots_do_not_vanish() -> None:
    cells = np.zeros((20, 40), dtype=bool)
    cells[3, 5] = cells[12, 20:22] = True
    assert len(mask_outlines(as_mask(cells))) == 2


@given(st.integers(2, 12), st.integers(2, 20), st.floats(0, 1), st.integers(0, 2**32 - 1))
def test_any_mask_gives_closed_outlines_inside_the_flank(
    rows: int, columns: int, density: float, seed: int
) -> None:
    mask = as_mask(np.random.default_rng(seed).random((rows, columns)) < density)
    outlines = mask_outlines(mask)
    for line in outlines:
        assert np.array_equal(line[0], line[-1])
        assert line.min() >= 0
        assert line.max() <= 1
    assert bool(outlines) == any(map(any, mask))
    ET.fromstring(tooth_svg(measured=mask, computed=mask, ghost=mask))


def test_plot_with_equal_values_and_strange_texts_can_be_drawn() -> None:
    plot = RoundPlot(
        title="<x>", unit='mm & "in"', angles_deg=(0, 90, 180), values=(0.0, 0.0, 0.0), limit=0.0
    )
    root = ET.fromstring(round_plot_svg(plot))
    texts = [node.text for node in root.iter("{http://www.w3.org/2000/svg}text")]
    assert any(text and text.startswith('mm & "in"') for text in texts)
    assert len(list(root.iter("{http://www.w3.org/2000/svg}circle"))) == 3
