"""Control charts and capability against printed tables and other ways of working them out."""

from __future__ import annotations

import re

import numpy as np
import pytest
from scipy import stats

from axlewright.errors import InputError
from axlewright.plant import averages_chart, capability, individuals_chart
from axlewright.plant.control import range_constants, run_signals
from axlewright.plant.drawing import histogram_svg, panel_svg, panel_text


@pytest.mark.parametrize(
    ("size", "d2", "d3"),
    # Table of control-chart constants as reprinted in every textbook (from memory).
    [(2, 1.128, 0.853), (3, 1.693, 0.888), (4, 2.059, 0.880), (5, 2.326, 0.864), (10, 3.078, 0.797)],
)
def test_the_computed_constants_are_those_of_the_tables(size: int, d2: float, d3: float) -> None:
    found = range_constants(size)
    assert found[0] == pytest.approx(d2, abs=6e-4)
    assert found[1] == pytest.approx(d3, abs=6e-4)


def test_two_values_in_closed_form() -> None:
    """The range of two normal values is |N(0, √2)|: mean 2/√π, variance 2 − 4/π (elementary)."""
    d2, d3 = range_constants(2)
    assert d2 == pytest.approx(2.0 / np.sqrt(np.pi), abs=1e-9)
    assert d3 == pytest.approx(np.sqrt(2.0 - 4.0 / np.pi), abs=1e-5)


def test_limits_of_single_values() -> None:
    """Mean ± 2.66 mean moving range, range limit 3.267 of it (textbook factors, from memory)."""
    x = np.random.default_rng(1).normal(10.0, 2.0, 40)
    chart = individuals_chart(list(x), [str(k) for k in range(40)])
    mean_range = np.abs(np.diff(x)).mean()
    assert chart.place.high == pytest.approx(x.mean() + 2.66 * mean_range, abs=0.005 * mean_range)
    assert chart.place.low == pytest.approx(x.mean() - 2.66 * mean_range, abs=0.005 * mean_range)
    assert chart.spread.high == pytest.approx(3.267 * mean_range, abs=5e-4 * mean_range)


def test_limits_of_averages_of_five() -> None:
    """A2 = 0.577, D4 = 2.114, D3 = 0 for five (textbook factors, from memory)."""
    x = np.random.default_rng(2).normal(0.0, 1.0, 125)
    chart = averages_chart(list(x), [str(k) for k in range(125)], 5)
    groups = x.reshape(25, 5)
    mean_range = np.ptp(groups, axis=1).mean()
    assert chart.place.high == pytest.approx(groups.mean() + 0.577 * mean_range, abs=2e-3)
    assert chart.spread.high == pytest.approx(2.114 * mean_range, abs=2e-3)
    assert chart.spread.low == 0.0


@pytest.mark.parametrize(
    ("values", "rule"),
    [
        ([0.1, -0.2, 3.5, 0.3], "control limits"),
        ([0.5, 0.1, 0.9, 0.2, 0.7, 0.3, 0.8, 0.2, 0.6], "nine in a row"),
        ([-0.9, -0.5, -0.1, 0.2, 0.5, 0.9], "six in a row"),
        ([0.1, 2.2, -0.3, 2.4, 0.2], "two of three"),
    ],
)
def test_each_test_fires_on_its_own_pattern(values: list[float], rule: str) -> None:
    found = run_signals(np.array(values), 0.0, 1.0)
    assert [rule in s.rule for s in found] == [True]


def test_one_less_does_not_fire() -> None:
    assert run_signals(np.array([0.5, 0.1, 0.9, 0.2, 0.7, 0.3, 0.8, 0.2]), 0.0, 1.0) == ()
    assert run_signals(np.array([-0.9, -0.5, -0.1, 0.2, 0.5]), 0.0, 1.0) == ()


def test_a_shift_is_signalled_and_steady_work_mostly_not() -> None:
    rng = np.random.default_rng(3)
    names = [str(k) for k in range(60)]
    quiet = [individuals_chart(list(rng.normal(size=60)), names) for _ in range(100)]
    shifted = [
        individuals_chart(list(np.r_[rng.normal(size=30), rng.normal(1.5, 1.0, 30)]), names)
        for _ in range(100)
    ]
    assert sum(not c.stable for c in shifted) > 80
    assert sum(not c.stable for c in quiet) < 75


def test_capability_of_a_worked_example() -> None:
    """U 20, L 8, mean 16, s 2 gives Cp 1.000 and Cpk 0.6667 (example of the NIST e-Handbook, 7.1.6)."""
    z = stats.norm.ppf((np.arange(60) + 0.5) / 60)
    x = 16.0 + 2.0 * (z - z.mean()) / z.std(ddof=1)
    found = capability(list(x), low=8.0, high=20.0)
    assert found.cp == pytest.approx(1.0, abs=1e-9)
    assert found.cpk == pytest.approx(0.6667, abs=1e-4)
    assert found.normal
    # The same interval through the quantiles of the standard deviation itself.
    chi = stats.chi2(59)
    assert found.cp_interval == pytest.approx((np.sqrt(chi.ppf(0.025) / 59), np.sqrt(chi.ppf(0.975) / 59)))


def test_the_intervals_hold_the_truth_as_often_as_they_say() -> None:
    """Normal work of known capability, 1000 lots of 50; at 95 % between 93 and 97 % is no surprise."""
    rng = np.random.default_rng(4)
    lots = [capability(list(rng.normal(1.0, 1.0, 50)), low=-3.0, high=4.5) for _ in range(1000)]
    cp, cpk = 7.5 / 6.0, 3.5 / 3.0
    held_cp = np.mean([c.cp_interval[0] <= cp <= c.cp_interval[1] for c in lots if c.cp_interval])
    held_cpk = np.mean([c.cpk_interval[0] <= cpk <= c.cpk_interval[1] for c in lots])
    assert 0.93 < held_cp < 0.97
    assert 0.92 < held_cpk < 0.97


def test_crooked_and_unsteady_work_is_said_to_be_so() -> None:
    x = np.random.default_rng(5).lognormal(0.0, 0.8, 200)
    found = capability(list(x), high=5.0, stable=False)
    assert not found.normal
    assert found.names == ("Pp", "Ppk")
    assert found.cp is None
    assert len(found.notes()) == 2
    assert found.outside == int((x > 5.0).sum())


@pytest.mark.parametrize(
    ("values", "low", "high", "said"),
    [
        ([1.0] * 10, 0.0, 2.0, "too few"),
        ([1.0] * 40, 0.0, 2.0, "all values are the same"),
        (list(range(40)), None, None, "no limit"),
        (list(range(40)), 3.0, 2.0, "not below"),
    ],
)
def test_what_cannot_be_worked_out_is_refused(
    values: list[float], low: float | None, high: float | None, said: str
) -> None:
    with pytest.raises(InputError, match=said):
        capability(values, low=low, high=high)


def test_too_few_points_for_a_chart_are_refused() -> None:
    with pytest.raises(InputError, match="too few"):
        individuals_chart([1.0, 2.0] * 9, [str(k) for k in range(18)])
    with pytest.raises(InputError, match="too few"):
        averages_chart([1.0, 2.0] * 20, [str(k) for k in range(40)], 5)


def test_the_drawing_says_in_words_what_it_shows() -> None:
    x = [*np.random.default_rng(6).normal(size=30), 9.0]
    names = [f"<{k}>" for k in range(31)]
    chart = individuals_chart(x, names, "best")
    said = panel_text(chart.place, names, "mm")
    assert "31 points" in said
    assert "<30>" in said
    picture = panel_svg(chart.place, names, "mm")
    assert picture.count("b-ring") == len(chart.place.flagged)
    assert "<30>" not in picture, "names are escaped"
    assert histogram_svg(x, "mm", low=-3, high=3).count("b-limit") == 2


@pytest.mark.parametrize(("unit", "shown"), [("mm", "centre −0.001 mm"), ("0.001 in", "centre 0.0 ×")])
def test_figures_of_a_chart_are_shown_no_finer_than_lengths_elsewhere(unit: str, shown: str) -> None:
    values = [-0.000909 + 0.01 * (-1) ** k for k in range(24)]
    names = [str(k) for k in range(24)]
    text = panel_text(individuals_chart(values, names, "best position").place, names, unit)
    assert shown in text
    assert "-" not in text


def test_the_title_of_the_upright_axis_keeps_clear_of_its_ticks() -> None:
    """Letters are 12 units high: the lowest the title reaches lies above the highest tick."""
    values = list(np.linspace(0.0, 5.0, 24))
    names = [str(k) for k in range(24)]
    picture = panel_svg(individuals_chart(values, names, "best position").place, names, "0.001 in")
    title = re.search(r'<text x="2" y="([\d.]+)">', picture)
    ticks = re.findall(r'y="([\d.]+)" text-anchor="end">−?[\d.]+<', picture)
    assert title is not None
    assert ticks
    assert min(float(y) for y in ticks) - 12.0 > float(title[1])
