"""Spacers and leaves from the shelf, against trying every pack."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from axlewright import setup
from axlewright.errors import InputError
from axlewright.units import using_system

INCH = 25.4
# Whole micrometres, as a shop measures them.
microns = st.integers(50, 900)
shelves = st.lists(microns, min_size=1, max_size=8)


def shelf_of(sizes: list[int]) -> list[setup.StockItem]:
    return [setup.StockItem(f"leaf {i}", s / 1000.0) for i, s in enumerate(sizes)]


@settings(max_examples=150)
@given(
    shelves,
    st.integers(100, 2500),
    st.sampled_from(["nearest", "nearest_but_not_thicker"]),
    st.integers(1, 3),
)
def test_best_pack_is_what_trying_every_pack_finds(
    sizes: list[int], wanted: int, rule: str, least: int
) -> None:
    most, close = 5, 5
    keys = []
    for count in range(least, most + 1):
        for pack in combinations(sizes, count):
            total = sum(pack)
            if rule == "nearest" or total <= wanted:
                off = abs(total - wanted)
                keys.append((max(0, off - close), count, off, total))
    arguments = {"place": "under_head", "rule": rule, "least_leaves": least, "most_leaves": most}
    if not keys:
        with pytest.raises(InputError):
            setup.best_pack(wanted / 1000.0, shelf_of(sizes), **arguments)
        return
    found = setup.best_pack(wanted / 1000.0, shelf_of(sizes), **arguments)
    total = round(found.thickness_mm * 1000.0)
    off = abs(total - wanted)
    assert (max(0, off - close), len(found.items), off, total) == min(keys)
    assert len({i.label for i in found.items}) == len(found.items), "no leaf is used twice"


@given(shelves, st.integers(100, 2500), st.sampled_from(["nearest", "nearest_but_not_thicker"]))
def test_nearest_spacer_is_nearest(sizes: list[int], wanted: int, rule: str) -> None:
    fitting = [s for s in sizes if rule == "nearest" or s <= wanted]
    if not fitting:
        with pytest.raises(InputError):
            setup.nearest_spacer(wanted / 1000.0, shelf_of(sizes), place="under_head", rule=rule)
        return
    found = setup.nearest_spacer(wanted / 1000.0, shelf_of(sizes), place="under_head", rule=rule)
    assert round(abs(found.remainder_mm) * 1000.0) == min(abs(s - wanted) for s in fitting)


def test_counts_on_the_shelf_are_kept() -> None:
    shelf = [
        setup.StockItem("0.010 in", 0.010 * INCH, count=2),
        setup.StockItem("0.003 in", 0.003 * INCH, count=0),
    ]
    found = setup.best_pack(0.033 * INCH, shelf, place="behind_cup")
    assert [i.label for i in found.items] == ["0.010 in", "0.010 in"]
    with pytest.raises(InputError, match="shelf"):
        setup.nearest_spacer(0.003 * INCH, shelf[1:], place="behind_cup")


def test_leaves_of_a_common_drawer() -> None:
    # Leaves of 0.003, 0.005, 0.010 in (TM 9-2320-266-34); pack worked by hand: 0.028 = 0.010 + 0.010 + 0.005
    # + 0.003.
    shelf = [setup.StockItem(f"{t:.3f} in", t * INCH, count=5) for t in (0.003, 0.005, 0.010)]
    found = setup.best_pack(0.028 * INCH, shelf, place="behind_cup")
    assert [i.label for i in found.items] == ["0.010 in", "0.010 in", "0.005 in", "0.003 in"]
    assert "exactly" in found.text()


def test_thin_leaves_go_outside_where_asked() -> None:
    # Cage packs: at least three, the thinnest on both outer faces (TM 10-3930-660-34 p 9-20).
    shelf = [setup.StockItem(f"{t:.3f} in", t * INCH, count=3) for t in (0.003, 0.005, 0.010)]
    found = setup.best_pack(0.026 * INCH, shelf, place="cage_flange", least_leaves=3, thin_outside=True)
    sizes = [i.thickness_mm for i in found.items]
    assert len(sizes) >= 3
    assert max(sizes[0], sizes[-1]) <= min(sizes[1:-1])


@pytest.mark.parametrize(
    ("place", "fitted_in", "where"),
    [
        ("under_head", 0.061, "too thin, pinion that much too far out"),
        ("under_head", 0.062, "too thick, pinion that much too far in"),
        ("behind_cup", 0.061, "too thin, pinion that much too far out"),
        ("cage_flange", 0.061, "too thin, pinion that much too far in"),
        ("cage_flange", 0.062, "too thick, pinion that much too far out"),
    ],
)
def test_what_the_remainder_does(place: str, fitted_in: float, where: str) -> None:
    choice = setup.nearest_spacer(0.0615 * INCH, [setup.StockItem("spacer", fitted_in * INCH)], place=place)
    assert abs(choice.pinion_out_mm) == pytest.approx(0.0005 * INCH)
    assert where in choice.text()


def test_what_to_order() -> None:
    limit = setup.DEFAULT_LIMITS["depth_remainder"]
    near = setup.nearest_spacer(0.0952 * INCH, [setup.StockItem("a", 0.095 * INCH)], place="under_head")
    assert setup.what_to_order(near, near.wanted_mm, setup.PINION_SPACERS, limit) is None
    far = setup.nearest_spacer(0.0952 * INCH, [setup.StockItem("a", 0.090 * INCH)], place="under_head")
    advice = setup.what_to_order(far, far.wanted_mm, setup.PINION_SPACERS, limit)
    assert advice is not None
    assert advice.order_mm == pytest.approx(0.095 * INCH)
    assert "0.0950 in" in advice.text()
    beyond = setup.what_to_order(None, 0.2 * INCH, setup.PINION_SPACERS, limit)
    assert beyond is not None
    assert beyond.order_mm is None


def test_a_full_drawer_is_searched_at_once() -> None:
    # 60 sizes, ten of each, packs of up to 8: far beyond trying every pack. Result pack must be exact.
    shelf = [setup.StockItem(f"{i}", 0.1 + 0.0137 * i, count=10) for i in range(60)]
    found = setup.best_pack(3.3333, shelf, place="cage_flange", most_leaves=8, least_leaves=6)
    assert abs(found.remainder_mm) <= 0.005
    assert len(found.items) >= 6


@pytest.mark.parametrize("wanted", [0.0, -1.0, float("nan")])
def test_a_thickness_that_cannot_be_is_refused(wanted: float) -> None:
    with pytest.raises(InputError):
        setup.best_pack(wanted, shelf_of([100]), place="under_head")
    with pytest.raises(InputError):
        setup.nearest_spacer(wanted, shelf_of([100]), place="under_head")


def test_stock_that_cannot_be_is_refused() -> None:
    with pytest.raises(InputError):
        setup.StockItem("x", 0.0)
    with pytest.raises(InputError):
        setup.StockItem("x", 1.0, count=-1)
    with pytest.raises(InputError, match="rounding rule"):
        setup.nearest_spacer(1.0, shelf_of([100]), place="under_head", rule="up")


def test_a_spacer_known_by_its_size_alone_is_named_once() -> None:
    # 1 in = 25.4 mm exactly (NIST SP 811).
    shelf = [setup.StockItem("", 0.0600 * INCH, kind="the spacer")]
    words = str(setup.nearest_spacer(0.0595 * INCH, shelf, place="under_head").text())
    assert words.startswith("Take the spacer 0.0600 in (1.524 mm), 0.0005 in")
    assert words.count("0.0600") == 1
    exact = setup.nearest_spacer(0.0600 * INCH, shelf, place="under_head").text()
    with using_system("metric"):
        assert str(exact) == "Take the spacer 1.524 mm (0.0600 in): exactly what is asked for."
    bin_7 = [setup.StockItem("bin 7", 0.0600 * INCH)]
    found = setup.nearest_spacer(0.0600 * INCH, bin_7, place="under_head")
    assert str(found.text()).startswith("Take bin 7: exactly 0.0600")
