"""Matching against trying everything, and orders against the binomial distribution."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy import stats

from axlewright.errors import InputError
from axlewright.plant import Carrier, MarkedSet, match, stock_to_order
from axlewright.setup.stock import StockItem


def problem(seed: int, n: int, pieces: int) -> tuple[list[Carrier], list[MarkedSet], list[StockItem]]:
    rng = np.random.default_rng(seed)
    carriers = [Carrier(f"C{k}", 1.55 + rng.normal(0, 0.05)) for k in range(n)]
    sets = [MarkedSet(str(k), rng.normal(0, 0.05)) for k in range(n)]
    return carriers, sets, [StockItem(str(k), 1.55 + rng.normal(0, 0.07)) for k in range(pieces)]


def best_by_trying(
    carriers: list[Carrier], sets: list[MarkedSet], stock: list[StockItem], sign: int
) -> float:
    n = len(carriers)
    least = np.inf
    for order in itertools.permutations(range(n)):
        wanted = [carriers[i].zero_spacer_mm + sign * sets[j].best_mm for i, j in enumerate(order)]
        # For given pairs the least sum of squares puts sizes in order, over every choice of n pieces.
        for pieces in itertools.combinations(sorted(s.thickness_mm for s in stock), n):
            cost = sum((a - b) ** 2 for a, b in zip(sorted(wanted), pieces, strict=True))
            least = min(least, cost)
    return float(np.sqrt(least / n))


def test_small_problems_come_out_as_by_trying_everything() -> None:
    off = []
    for seed in range(12):
        carriers, sets, stock = problem(seed, 4, 6)
        found = match(carriers, sets, stock, place="under_head")
        best = best_by_trying(carriers, sets, stock, -1)
        assert found.bound_mm <= best + 1e-12
        assert found.rms_mm >= best - 1e-12
        off.append(found.rms_mm - best)
    assert sum(one < 1e-9 for one in off) >= 10, "the best one is found in nearly all"
    assert max(off) < 0.004


@pytest.mark.parametrize("seed", range(5))
def test_matching_is_never_worse_than_the_order_they_came_in(seed: int) -> None:
    carriers, sets, stock = problem(seed, 15, 20)
    found = match(carriers, sets, stock, place="cage_flange")
    came = np.sqrt(np.mean([m.misfit_mm**2 for m in found.first_come.matches if m.misfit_mm is not None]))
    assert found.bound_mm <= found.rms_mm + 1e-12
    assert found.rms_mm <= came + 1e-12
    numbers = [m.carrier.number for m in found.best.matches], [m.set.number for m in found.best.matches]
    assert all(len(set(one)) == 15 for one in numbers)
    used = [m.spacer.label for m in found.best.matches if m.spacer]
    assert len(set(used)) == len(used), "a piece is used once"


def test_the_place_of_the_spacer_turns_the_sign() -> None:
    carriers, sets = [Carrier("C", 1.5)], [MarkedSet("1", 0.05)]
    stock = [StockItem("a", 1.45), StockItem("b", 1.55)]
    under = match(carriers, sets, stock, place="under_head").best.matches[0]
    cage = match(carriers, sets, stock, place="cage_flange").best.matches[0]
    assert (under.wanted_mm, cage.wanted_mm) == pytest.approx((1.45, 1.55))
    assert under.spacer is not None
    assert cage.spacer is not None
    assert (under.spacer.label, cage.spacer.label) == ("a", "b")


def test_a_short_shelf_leaves_some_without_and_counts_them() -> None:
    carriers, sets, stock = problem(1, 6, 4)
    found = match(carriers, sets, stock, place="under_head")
    assert found.best.short == found.first_come.short == 2
    assert len(found.best.matches) == 6


def test_more_carriers_than_sets_leaves_carriers_over() -> None:
    carriers, sets, stock = problem(2, 8, 12)
    found = match(carriers, sets[:5], stock, place="under_head")
    assert len(found.best.matches) == 5


def test_orders_are_the_quantile_of_the_binomial_distribution() -> None:
    """Twelve equal carriers and sets that want two sizes, half each: 40 sets, 95 %."""
    carriers = [Carrier(str(k), 1.50) for k in range(12)]
    sets = [MarkedSet(str(k), 0.0 if k % 2 else -0.05) for k in range(12)]
    order = stock_to_order(
        carriers, sets, [StockItem("x", 1.5, 7)], place="under_head", coming=40, step_mm=0.05
    )
    assert [round(line.thickness_mm, 3) for line in order.lines] == [1.5, 1.55]
    hold = int(stats.binom.ppf(0.95, 40, 0.5))
    assert [line.wanted for line in order.lines] == [hold, hold]
    assert [line.order for line in order.lines] == [hold - 7, hold]
    # Both are enough when the first size is wanted between 40 − hold and hold times.
    both = stats.binom.cdf(hold, 40, 0.5) - stats.binom.cdf(40 - hold - 1, 40, 0.5)
    assert order.all_served == pytest.approx(both, abs=0.02)


def test_a_forecast_from_too_little_is_refused() -> None:
    with pytest.raises(InputError, match="too few for a forecast"):
        stock_to_order([Carrier("1", 1.5)], [], [], place="under_head", coming=10, step_mm=0.05)


@pytest.mark.parametrize(
    ("place", "stock", "said"),
    [("", [StockItem("a", 1.5)], "not known"), ("under_head", [], "no spacer")],
)
def test_what_is_missing_is_said(place: str, stock: list[StockItem], said: str) -> None:
    with pytest.raises(InputError, match=said):
        match([Carrier("1", 1.5)], [MarkedSet("1", 0.0)], stock, place=place)  # type: ignore[arg-type]
