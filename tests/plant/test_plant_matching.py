"""Matching against trying everything, and orders against the binomial distribution."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from axlewright.errors import InputError
from axlewright.plant import Carrier, MarkedSet, MatchingAnswer, match, matching, stock_to_order
from axlewright.setup.stock import StockItem


def problem(
    seed: int, n: int, pieces: int, spread: float = 0.05
) -> tuple[list[Carrier], list[MarkedSet], list[StockItem]]:
    rng = np.random.default_rng(seed)
    carriers = [Carrier(f"C{k}", 1.55 + rng.normal(0, spread)) for k in range(n)]
    sets = [MarkedSet(str(k), rng.normal(0, spread)) for k in range(n)]
    return carriers, sets, [StockItem(str(k), 1.55 + rng.normal(0, 0.07)) for k in range(pieces)]


TOLERANCE = 0.0127


def best_by_trying(
    carriers: list[Carrier], sets: list[MarkedSet], stock: list[StockItem], sign: int
) -> tuple[int, float]:
    """Try every set in every carrier with every piece: most within the tolerance, then least squares."""
    pairs = min(len(carriers), len(sets))
    served = min(pairs, len(stock))
    sizes = np.array([s.thickness_mm for s in stock])
    pieces = sizes[list(itertools.permutations(range(len(stock)), served))]  # (ways, served)
    best = (0, np.inf)
    for rows in itertools.combinations(range(len(carriers)), served):
        zero = np.array([carriers[i].zero_spacer_mm for i in rows])
        for cols in itertools.permutations(range(len(sets)), served):
            off = pieces - (zero + sign * np.array([sets[j].best_mm for j in cols]))
            within = (np.abs(off) <= TOLERANCE + 1e-9).sum(axis=1)
            squares = np.where(within == within.max(), (off**2).sum(axis=1), np.inf)
            if (-within.max(), squares.min()) < (-best[0], best[1]):
                best = (int(within.max()), float(squares.min()))
    return best[0], float(np.sqrt(best[1] / served))


@pytest.mark.parametrize(
    ("n", "others", "pieces", "spread"),
    [(3, 3, 4, 0.05), (4, 4, 6, 0.05), (4, 4, 5, 0.02), (4, 3, 5, 0.05), (3, 5, 3, 0.03), (4, 4, 3, 0.05)],
)
@pytest.mark.parametrize("exact", [True, False])
def test_small_problems_come_out_as_by_trying_everything(
    n: int, others: int, pieces: int, spread: float, exact: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    if not exact:  # the way of large problems
        monkeypatch.setattr(matching, "MOST_TRIPLES", 0)
    for seed in range(4):
        carriers, sets, stock = problem(seed, max(n, others), pieces, spread)
        carriers, sets = carriers[:n], sets[:others]
        found = match(carriers, sets, stock, place="under_head")
        within, rms = best_by_trying(carriers, sets, stock, -1)
        assert found.best.within == found.most_within == within
        assert found.bound_mm <= rms + 1e-12
        if exact:
            assert found.rms_mm == pytest.approx(rms, abs=1e-6)
        else:
            assert rms - 1e-9 <= found.rms_mm <= rms + 0.004


def came_rms(found: MatchingAnswer) -> float:
    return float(
        np.sqrt(np.mean([m.misfit_mm**2 for m in found.first_come.matches if m.misfit_mm is not None]))
    )


@pytest.mark.parametrize("large", [False, True])
@given(
    seed=st.integers(0, 2**31 - 1),
    n=st.integers(1, 14),
    pieces=st.integers(1, 20),
    spread=st.sampled_from([0.0, 0.005, 0.03, 0.2]),
)
@settings(deadline=None, max_examples=30)
def test_never_worse_than_the_order_they_came_in_on_what_is_printed(
    large: bool, seed: int, n: int, pieces: int, spread: float
) -> None:
    carriers, sets, stock = problem(seed, n, pieces, spread)
    with pytest.MonkeyPatch.context() as patch:
        if large:
            patch.setattr(matching, "MOST_FITTING", 0)
            patch.setattr(matching, "MOST_TRIPLES", 0)
        found = match(carriers, sets, stock, place="cage_flange")
    assert found.first_come.within <= found.best.within <= found.most_within
    assert found.best.short == found.first_come.short
    if found.best.within == found.first_come.within:
        assert found.rms_mm <= came_rms(found) + 1e-9
    assert found.bound_mm <= found.rms_mm + 1e-12
    numbers = [m.carrier.number for m in found.best.matches], [m.set.number for m in found.best.matches]
    assert all(len(set(one)) == n for one in numbers)
    used = [m.spacer.label for m in found.best.matches if m.spacer]
    assert len(set(used)) == len(used), "a piece is used once"


def test_what_counts_is_the_number_within_where_least_squares_would_have_none() -> None:
    """Squares alone would take both 0.014 mm off; one that fits and one 0.028 mm off prints better."""
    carriers = [Carrier("1", 1.514), Carrier("2", 1.500)]
    sets = [MarkedSet("1", 0.0), MarkedSet("2", 0.0)]
    found = match(carriers, sets, [StockItem("a", 1.514), StockItem("b", 1.528)], place="under_head")
    assert (found.best.within, found.first_come.within, found.most_within) == (1, 1, 1)
    assert found.rms_mm == pytest.approx(0.028 / np.sqrt(2.0))


@pytest.mark.parametrize("seed", range(3))
def test_two_dozen_on_a_shelf_of_steps_are_matched_as_well_as_can_be(seed: int) -> None:
    carriers, sets, _stock = problem(seed, 24, 0)
    shelf = [StockItem(str(k), 1.37 + 0.0254 * k, 2) for k in range(16)]
    found = match(carriers, sets, shelf, place="under_head")
    assert found.first_come.within < found.best.within == found.most_within


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
