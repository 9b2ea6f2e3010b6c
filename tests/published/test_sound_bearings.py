"""Bearing frequencies against worked examples.

None is "published" in the sense of the notes: the sources are withheld or remembered. Every figure also
follows from the kinematics FTF = (1 − k)/2, BPFO = n (1 − k)/2, BPFI = n (1 + k)/2, BSF = (1 − k²) D/(2 d),
k = d cos α/D.
"""

from __future__ import annotations

import pytest

from axlewright.sound.orders import bearing_orders


def test_calculator_page() -> None:
    # A calculator page's example, source withheld; recomputed: n 9, d 7.94, D 38.5 mm, α 0, 1500 rpm gives
    # FTF 9.92, BPFO 89.31, BPFI 135.69 Hz; BSF 58.03 Hz by the formula.
    b = bearing_orders(9, 7.94, 38.5)
    assert 25 * b.cage == pytest.approx(9.92, abs=0.01)
    assert 25 * b.outer == pytest.approx(89.31, abs=0.02)
    assert 25 * b.inner == pytest.approx(135.69, abs=0.02)
    assert 25 * b.element == pytest.approx(58.03, abs=0.01)


def test_round_numbers() -> None:
    # A printed table, source withheld; exact by the kinematics: n 8, d 10, D 50, α 0, 1800 rpm gives 12, 96,
    # 144 and 72 Hz exactly.
    b = bearing_orders(8, 10.0, 50.0)
    assert [30 * v for v in (b.cage, b.outer, b.inner, b.element)] == pytest.approx([12, 96, 144, 72])


def test_catalogue_orders() -> None:
    # A bearing catalogue's example, source withheld, of a nine-element unit bearing: FTF 0.398, BSF 2.339,
    # BPFO 3.578, BPFI 5.422 per turn; its geometry is not printed. The ratio d/D that gives its BPFI gives
    # the rest.
    k = 2 * 5.422 / 9 - 1
    b = bearing_orders(9, k * 100.0, 100.0)
    assert b.cage == pytest.approx(0.398, abs=0.001)
    assert b.outer == pytest.approx(3.578, abs=0.001)
    assert b.element == pytest.approx(2.339, abs=0.005)
    assert 1200 / 60 * b.cage == pytest.approx(7.96, abs=0.02)  # Hz at 1200 rpm, as the example has it


def test_university_data_set_bearing() -> None:
    # Orders stated with a widely used university data set (from memory for the source; arithmetic by
    # the formula): n 9, d 0.3126, D 1.537 in: 0.3983, 3.5848, 5.4152, twice BSF 4.713.
    b = bearing_orders(9, 0.3126, 1.537)
    assert (b.cage, b.outer, b.inner) == pytest.approx((0.3983, 3.5848, 5.4152), abs=6e-5)
    assert 2 * b.element == pytest.approx(4.7135, abs=1e-3)


def test_angled_contact() -> None:
    # Same grade as above (from memory, recomputed): n 16, d 0.331, D 2.815 in, α 15.17°, 2000 rpm: 14.78,
    # 236.4, 296.9, 139.9 Hz.
    b = bearing_orders(16, 0.331, 2.815, 15.17)
    turns = 2000 / 60
    assert turns * b.cage == pytest.approx(14.78, abs=0.01)
    assert turns * b.outer == pytest.approx(236.4, abs=0.1)
    assert turns * b.inner == pytest.approx(296.9, abs=0.1)
    assert turns * b.element == pytest.approx(139.9, abs=0.1)


@pytest.mark.parametrize("elements", [7, 12, 20])
def test_sum_rules(elements: int) -> None:
    # BPFO + BPFI = n f and BPFO = n FTF, from the formulas.
    b = bearing_orders(elements, 8.0, 60.0, 12.0)
    assert b.outer + b.inner == pytest.approx(elements)
    assert b.outer == pytest.approx(elements * b.cage)
    turned = bearing_orders(elements, 8.0, 60.0, 12.0, outer_turns=True)
    assert turned.cage == pytest.approx(1 - b.cage)
