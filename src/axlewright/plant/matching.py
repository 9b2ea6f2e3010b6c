"""Match carriers, sets and spacers: most spacers that fit first, then the least misfit.

The spacer a set needs in a carrier is the carrier's spacer for a zero mark, and the set's deviation added or
taken away by where the shim sits (see `axlewright.setup.marks`). With free choice of which set goes into
which carrier, sizes that are not on the shelf can be avoided.

What is optimised is what is printed, in this order: as many pairs as possible whose spacer is within the
tolerance; of such matchings one with the least sum of squared misfits. Where the shelf has fewer pieces than
there are pairs, as few as possible go without one.

Choosing all three at once is the three-dimensional assignment problem. It is solved as an integer program
(HiGHS through `scipy.optimize.milp`): the count up to `MOST_FITTING` ways to fit, the misfit up to
`MOST_TRIPLES` ways to put one of each together. Beyond that two of the three are matched at a time, the third
held, in turn and from several starts, the order in which things came being one of them; each such step is
exact (Kuhn, Naval Research Logistics Quarterly 2 (1955) 83; scipy's rectangular assignment). Then exchanges
of two sets are tried. Bounds tell how much better any other matching could be at most.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, linear_sum_assignment, milp
from scipy.sparse import coo_array

from axlewright.errors import InputError
from axlewright.language import _
from axlewright.setup.marks import ShimPlace, place_sign
from axlewright.setup.stock import StockItem

Array = NDArray[np.float64]
STARTS: Final = 24
ROUNDS: Final = 30
EXCHANGED: Final = 40
"""Up to so many pairs every exchange of two sets is tried as well."""
MOST: Final = 400
MOST_FITTING: Final = 12_000
"""Ways to fit up to which the count is made as large as it can be: about two seconds."""
MOST_TRIPLES: Final = 10_000
"""Carriers times sets times sizes up to which the misfit is made as small as it can be: two seconds."""
MOST_NODES: Final = 1_000
ROUNDING_MM: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Carrier:
    """A measured carrier.

    Attributes
    ----------
    number : str
    zero_spacer_mm : float
        Spacer it needs for a set with a zero mark [mm]: axis to shoulder − mounting distance − bearing.
    """

    number: str
    zero_spacer_mm: float


@dataclass(frozen=True, slots=True)
class MarkedSet:
    """A set with its best position.

    Attributes
    ----------
    number : str
    best_mm : float
        Unrounded best position [mm], positive out.
    """

    number: str
    best_mm: float


@dataclass(frozen=True, slots=True)
class Match:
    """One carrier with its set and its spacer.

    Attributes
    ----------
    wanted_mm : float
        Spacer the pair needs [mm].
    spacer : StockItem or None
        None when the shelf ran out.
    """

    carrier: Carrier
    set: MarkedSet
    wanted_mm: float
    spacer: StockItem | None

    @property
    def misfit_mm(self) -> float | None:
        """Spacer minus wanted [mm]."""
        return None if self.spacer is None else self.spacer.thickness_mm - self.wanted_mm


@dataclass(frozen=True, slots=True)
class Matching:
    """A way of putting carriers, sets and spacers together.

    Attributes
    ----------
    matches : tuple of Match
    mean_misfit_mm, worst_misfit_mm : float
        Of those with a spacer; NaN without any.
    within : int
        Matches whose spacer is within the tolerance.
    short : int
        Matches without a spacer.
    """

    matches: tuple[Match, ...]
    mean_misfit_mm: float
    worst_misfit_mm: float
    within: int
    short: int


@dataclass(frozen=True, slots=True)
class MatchingAnswer:
    """The best matching found beside the order in which things came.

    Attributes
    ----------
    best, first_come : Matching
    most_within : int
        No matching can have more within the tolerance.
    bound_mm : float
        Root mean square misfit no matching can be below, however few are within the tolerance [mm].
    rms_mm : float
        That of the best one found.
    tolerance_mm : float
    """

    best: Matching
    first_come: Matching
    most_within: int
    bound_mm: float
    rms_mm: float
    tolerance_mm: float


def _pieces(stock: Sequence[StockItem], most: int) -> list[StockItem]:
    return [item for item in stock for _n in range(min(item.count, most))]


def _sum_up(matches: Sequence[Match], tolerance: float) -> Matching:
    off = np.array([abs(m.misfit_mm) for m in matches if m.misfit_mm is not None])
    return Matching(
        tuple(matches),
        float(off.mean()) if len(off) else float("nan"),
        float(off.max()) if len(off) else float("nan"),
        int((off <= tolerance + ROUNDING_MM).sum()),
        len(matches) - len(off),
    )


def match(
    carriers: Sequence[Carrier],
    sets: Sequence[MarkedSet],
    stock: Sequence[StockItem],
    *,
    place: ShimPlace,
    tolerance_mm: float = 0.0127,
    seed: int = 3,
) -> MatchingAnswer:
    """Match carriers, sets and spacers.

    Parameters
    ----------
    carriers, sets : sequence
        In the order they came; of the longer list some are left over.
    stock : sequence of StockItem
    place : {"under_head", "behind_cup", "cage_flange"}
        Where the spacer sits.
    tolerance_mm : float
        A spacer this near counts as fitting [mm]; half a thousandth of an inch by default, common practice,
        no source.

    Returns
    -------
    MatchingAnswer
        Never worse than the order in which things came: neither in the count within the tolerance nor, at
        the same count, in the misfit.
    """
    sign = place_sign(place)
    for name, many in ((_("carriers"), carriers), (_("sets"), sets)):
        if not many:
            raise InputError(_("there are none"), where=name, fix=_("enter at least one"))
        if len(many) > MOST:
            raise InputError(
                _("{count} are too many at once").format(count=len(many)),
                where=name,
                fix=_("match {most} at most").format(most=MOST),
            )
    pairs = min(len(carriers), len(sets))
    pieces = _pieces(stock, pairs)
    if not pieces:
        raise InputError(
            _("no spacer is on the shelf"),
            where=_("stock"),
            fix=_("put the measured spacers on the shelf first"),
        )
    need = np.array([c.zero_spacer_mm for c in carriers])[:, None] + sign * np.array(
        [s.best_mm for s in sets]
    )
    shelf = _Shelf.of(pieces, tolerance_mm, need)
    at = np.searchsorted(shelf.sizes, need)
    thinner, thicker = (shelf.sizes[np.clip(at + k, 0, len(shelf.sizes) - 1)] for k in (-1, 0))
    free = np.minimum((need - thinner) ** 2, (need - thicker) ** 2)  # as if there were enough of every size
    rows, cols = linear_sum_assignment(free)
    # With too few pieces it is open who goes without: the best each carrier could have, the best of them.
    least = free[rows, cols] if len(pieces) >= pairs else np.sort(free.min(axis=1))[: len(pieces)]

    fitting, most_within = _most_fitting(need, shelf, min(pairs, len(pieces)))
    triples = None
    if fitting is not None and len(fitting) == most_within and need.size * len(shelf.sizes) <= MOST_TRIPLES:
        triples = _least_misfit(need, shelf, most_within, min(pairs, len(pieces)))
    triples = _improved(need, shelf, triples) if triples else _in_turn(need, shelf, free, fitting or [], seed)
    left = {size: [p for p in pieces if p.thickness_mm == size] for size in shelf.sizes.tolist()}
    matches = [
        Match(carriers[i], sets[j], float(need[i, j]), left[float(shelf.sizes[k])].pop(0))
        for i, j, k in sorted(triples)
    ]
    used_rows, used_cols = {i for i, _j, _k in triples}, {j for _i, j, _k in triples}
    spare = zip(
        [i for i in range(len(carriers)) if i not in used_rows],
        [j for j in range(len(sets)) if j not in used_cols],
        strict=False,
    )
    matches += [Match(carriers[i], sets[j], float(need[i, j]), None) for i, j in spare]
    return MatchingAnswer(
        _sum_up(matches, tolerance_mm),
        _sum_up(_first_come(carriers, sets, need, pieces, pairs), tolerance_mm),
        most_within,
        float(np.sqrt(least.mean())),
        float(np.sqrt(np.mean([m.misfit_mm**2 for m in matches if m.misfit_mm is not None]))),
        tolerance_mm,
    )


Triple = tuple[int, int, int]
"""Carrier, set and size."""


@dataclass(frozen=True, slots=True, eq=False)
class _Shelf:
    """The sizes there are, thin ones first, and what a misfit counts.

    Attributes
    ----------
    sizes : array, shape (sizes,)
        Thicknesses [mm].
    count : array of int, shape (sizes,)
    piece : array of int, shape (pieces,)
        The size of each piece.
    tolerance : float
    outside : float
        What one pair outside the tolerance counts more than its squared misfit: more than all squared
        misfits together; 0 where squares alone count.
    """

    sizes: Array
    count: NDArray[np.int64]
    piece: NDArray[np.int64]
    tolerance: float
    outside: float

    @classmethod
    def of(cls, pieces: Sequence[StockItem], tolerance: float, need: Array) -> _Shelf:
        sizes, count = np.unique([p.thickness_mm for p in pieces], return_counts=True)
        worst = float(max(sizes[-1] - need.min(), need.max() - sizes[0], 0.0)) ** 2
        piece = np.repeat(np.arange(len(sizes)), count)
        return cls(sizes, count, piece, tolerance + ROUNDING_MM, 1.0 + min(need.shape) * worst)

    def cost(self, misfit: Array) -> Array:
        """Return what misfits count, so that the least sum is the most within, then the least misfit."""
        return misfit**2 + self.outside * (np.abs(misfit) > self.tolerance)

    def rank(self, need: Array, triples: Sequence[Triple]) -> tuple[int, float]:
        """Return how many are outside the tolerance and the sum of squared misfits: less is better."""
        off = np.array([self.sizes[k] - need[i, j] for i, j, k in triples])
        outside = int((np.abs(off) > self.tolerance).sum()) if self.outside else 0
        return outside, float((off**2).sum())


def _chosen(
    places: tuple[NDArray[np.int64], ...],
    need: Array,
    shelf: _Shelf,
    cost: Array,
    *more: LinearConstraint,
) -> tuple[list[Triple] | None, float, bool]:
    """Choose triples with the least cost, each carrier and set once, each size as often as it is there.

    Returns
    -------
    list of triples, or None when none was found
    float
        No choice can cost less.
    bool
        Whether this is the least.
    """
    across = np.arange(len(cost))
    limits = np.concatenate([np.ones(sum(need.shape)), shelf.count])
    first = np.array([0, need.shape[0], sum(need.shape)])
    row = np.concatenate([one + start for one, start in zip(places, first, strict=True)])
    table = coo_array((np.ones(3 * len(cost)), (row, np.tile(across, 3))), shape=(len(limits), len(cost)))
    found = milp(
        cost,
        integrality=np.ones(len(cost)),
        bounds=Bounds(0, 1),
        constraints=[LinearConstraint(table.tocsr(), -np.inf, limits), *more],
        options={"node_limit": MOST_NODES, "mip_rel_gap": 0.0},
    )
    if found.x is None:
        return None, -np.inf, False
    taken = np.flatnonzero(found.x > 0.5)
    i, j, k = (one[taken].tolist() for one in places)
    return list(zip(i, j, k, strict=True)), float(found.mip_dual_bound), found.status == 0


def _most_fitting(need: Array, shelf: _Shelf, pairs: int) -> tuple[list[Triple] | None, int]:
    """Return as many triples within the tolerance as possible, and how many any matching can have at most."""
    first = np.searchsorted(shelf.sizes, need - shelf.tolerance)
    ways = np.searchsorted(shelf.sizes, need + shelf.tolerance, side="right") - first
    rows, cols = linear_sum_assignment(ways > 0, maximize=True)
    most = min(pairs, int((ways[rows, cols] > 0).sum()))
    if not most:
        return [], 0
    if ways.sum() > MOST_FITTING:
        return None, most
    i, j = np.nonzero(ways)
    k = np.concatenate(
        [np.arange(start, start + n) for start, n in zip(first[i, j], ways[i, j], strict=True)]
    )
    places = (np.repeat(i, ways[i, j]), np.repeat(j, ways[i, j]), k)
    found, bound, _sure = _chosen(places, need, shelf, np.full(len(k), -1.0))
    return found, min(most, int(np.floor(-bound + 1e-6))) if found is not None else most


def _least_misfit(need: Array, shelf: _Shelf, within: int, pairs: int) -> list[Triple] | None:
    """Return the matching with the least misfit of those with so many within the tolerance, when proven."""
    misfit = (shelf.sizes - need[:, :, None]).ravel()
    places = tuple(one.ravel() for one in np.indices((*need.shape, len(shelf.sizes))))
    scale = 1e-4 * max(float((misfit**2).max()), ROUNDING_MM)  # the solver stops at a gap of 1e-6
    found, _bound, sure = _chosen(
        places,
        need,
        shelf,
        misfit**2 / scale,
        LinearConstraint(np.ones((1, len(misfit))), pairs, pairs),
        LinearConstraint((np.abs(misfit) <= shelf.tolerance).astype(float)[None, :], within, np.inf),
    )
    return found if sure else None


def _in_turn(need: Array, shelf: _Shelf, free: Array, fitting: Sequence[Triple], seed: int) -> list[Triple]:
    """Match two of the three at a time from several starts, and return the best that came of it."""
    rng = np.random.default_rng(seed)
    count = min(need.shape)
    held = np.full(need.shape, 0.0)
    for i, j, _k in fitting:
        held[i, j] = -shelf.outside
    starts = [[(n, n) for n in range(count)]]  # as they came
    for blurred in (free, free + held):
        rows, cols = linear_sum_assignment(blurred)
        starts.append(list(zip(rows.tolist(), cols.tolist(), strict=True)))
    while len(starts) < STARTS:  # blurred less and more, up to any pairing at all
        size = float(np.median(free)) * 10.0 ** rng.uniform(-2.0, 1.0)
        rows, cols = linear_sum_assignment(free + rng.exponential(size, free.shape))
        starts.append(list(zip(rows.tolist(), cols.tolist(), strict=True)))
    found = []
    for counts in (shelf, replace(shelf, outside=0.0)):  # squares alone often find the way to both
        one = min((_improved(need, counts, start) for start in starts), key=partial(counts.rank, need))
        found.append(_exchanged(need, counts, one) if len(one) <= EXCHANGED else one)
    return min((_improved(need, shelf, one) for one in found), key=partial(shelf.rank, need))


def _improved(need: Array, shelf: _Shelf, start: Sequence[tuple[int, ...]]) -> list[Triple]:
    """Give pieces to pairs, then sets to (carrier, piece), then carriers to (set, piece), until it stays."""
    i, j = (np.array([one[n] for one in start]) for n in (0, 1))
    best: list[Triple] = []
    for turn in range(ROUNDS):
        a, b = linear_sum_assignment(shelf.cost(shelf.sizes[shelf.piece] - need[i, j][:, None]))
        i, j, k = i[a], j[a], shelf.piece[b]
        if turn % 2 == 0:  # carrier and piece stay together, every set may come
            a, j = linear_sum_assignment(shelf.cost(shelf.sizes[k][:, None] - need[i, :]))
            i, k = i[a], k[a]
        else:
            a, i = linear_sum_assignment(shelf.cost(shelf.sizes[k][:, None] - need[:, j].T))
            j, k = j[a], k[a]
        triples = list(zip(i.tolist(), j.tolist(), k.tolist(), strict=True))
        if best and turn > 1 and shelf.rank(need, triples) >= shelf.rank(need, best):
            break
        best = triples
    return best


def _exchanged(need: Array, shelf: _Shelf, best: list[Triple]) -> list[Triple]:
    """Try every exchange of the sets of two carriers, pieces given anew each time, while that helps."""
    helped = True
    while helped:
        helped = False
        for p, q in itertools.combinations(range(len(best)), 2):
            i, j, _k = (np.array(one) for one in zip(*best, strict=True))
            j[[p, q]] = j[[q, p]]
            a, b = linear_sum_assignment(shelf.cost(shelf.sizes[shelf.piece] - need[i, j][:, None]))
            found = list(zip(i[a].tolist(), j[a].tolist(), shelf.piece[b].tolist(), strict=True))
            if shelf.rank(need, found) < _less(shelf.rank(need, best)):
                best, helped = found, True
    return best


def _less(rank: tuple[int, float]) -> tuple[int, float]:
    """Return a rank better by more than rounding, so that exchanges come to an end."""
    return rank[0], rank[1] - 1e-12


def _first_come(
    carriers: Sequence[Carrier],
    sets: Sequence[MarkedSet],
    need: Array,
    pieces: Sequence[StockItem],
    pairs: int,
) -> list[Match]:
    """Take carriers and sets as they came, each with the nearest piece still there."""
    left = list(pieces)
    out = []
    for n in range(pairs):
        wanted = float(need[n, n])
        spacer = None
        if left:
            at = min(range(len(left)), key=lambda k: abs(left[k].thickness_mm - wanted))
            spacer = left.pop(at)
        out.append(Match(carriers[n], sets[n], wanted, spacer))
    return out
