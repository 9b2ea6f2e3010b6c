"""What to have on the shelf for the coming week: how many spacers of each size, at a stated service level.

Every carrier seen is thought together with every set seen: that gives the spread of spacers wanted. Of `sets`
sets to come, the number that wants one size is binomial with the share of that size; the shelf should hold
the quantile of the service level. Textbook newsvendor reasoning; carriers and sets are taken as independent.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import stats

from axlewright.errors import InputError
from axlewright.language import Number, _
from axlewright.plant.matching import Carrier, MarkedSet
from axlewright.setup.marks import ShimPlace, place_sign
from axlewright.setup.stock import StockItem

FEWEST: Final = 10
SIMULATED_WEEKS: Final = 4000


@dataclass(frozen=True, slots=True)
class OrderLine:
    """One size.

    Attributes
    ----------
    thickness_mm : float
    share : float
        Share of builds that want this size.
    expected : float
        Wanted in the week on average.
    wanted : int
        To have on the shelf.
    there, order : int
    """

    thickness_mm: float
    share: float
    expected: float
    wanted: int
    there: int
    order: int


@dataclass(frozen=True, slots=True)
class Order:
    """What to order.

    Attributes
    ----------
    lines : tuple of OrderLine
        Sizes somebody may want, thin ones first.
    sets : int
        Sets to be built.
    service_level : float
        Chance for each size that it does not run out.
    all_served : float
        Chance that no size at all runs out, by simulation.
    carriers_seen, sets_seen : int
        What the forecast rests on.
    """

    lines: tuple[OrderLine, ...]
    sets: int
    service_level: float
    all_served: float
    carriers_seen: int
    sets_seen: int


def stock_to_order(
    carriers: Sequence[Carrier],
    sets: Sequence[MarkedSet],
    stock: Sequence[StockItem],
    *,
    place: ShimPlace,
    coming: int,
    step_mm: float,
    service_level: float = 0.95,
    seed: int = 4,
) -> Order:
    """Forecast the spacers wanted and what is missing.

    Parameters
    ----------
    carriers, sets : sequence
        Those seen lately, at least `FEWEST` of each.
    coming : int
        Sets to be built in the week.
    step_mm : float
        Step of the sizes that can be bought [mm].
    service_level : float
        For each size, 0.5 to 0.999.
    """
    for name, many in ((_("carriers"), carriers), (_("sets"), sets)):
        if len(many) < FEWEST:
            raise InputError(
                _("{count} are too few for a forecast").format(count=len(many)),
                where=name,
                fix=_("measure at least {fewest}").format(fewest=FEWEST),
            )
    if not 1 <= coming <= 10_000:
        raise InputError(
            _("{count} sets").format(count=coming),
            where=_("sets to build"),
            fix=_("give a number from 1 to 10000"),
        )
    if not 0.005 <= step_mm <= 1.0:
        raise InputError(
            _("step {step} mm").format(step=Number(step_mm, "g")),
            where=_("step of sizes"),
            fix=_("give one from 0.005 to 1 mm"),
        )
    if not 0.5 <= service_level <= 0.999:
        raise InputError(
            _("service level {level}").format(level=service_level),
            where=_("service level"),
            fix=_("give a share from 0.5 to 0.999"),
        )
    zero = np.array([c.zero_spacer_mm for c in carriers])
    best = np.array([s.best_mm for s in sets])
    wanted = (zero[:, None] + place_sign(place) * best).ravel()
    size, count = np.unique(np.round(wanted / step_mm).astype(int), return_counts=True)
    share = count / count.sum()
    there = {int(k): 0 for k in size}
    for item in stock:
        k = round(item.thickness_mm / step_mm)
        if k in there and abs(item.thickness_mm - k * step_mm) <= step_mm / 2 + 1e-9:
            there[k] += item.count
    hold = [math.ceil(stats.binom.ppf(service_level, coming, p)) for p in share]
    weeks = np.random.default_rng(seed).multinomial(coming, share, SIMULATED_WEEKS)
    lines = tuple(
        OrderLine(
            float(k * step_mm), float(p), float(coming * p), n, there[int(k)], max(0, n - there[int(k)])
        )
        for k, p, n in zip(size, share, hold, strict=True)
    )
    served = float(np.mean((weeks <= np.array([max(one.wanted, one.there) for one in lines])).all(axis=1)))
    return Order(lines, coming, service_level, served, len(carriers), len(sets))
