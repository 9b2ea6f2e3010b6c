"""Match carriers, sets and spacers so that the spacers on the shelf fit best.

The spacer a set needs in a carrier is the carrier's spacer for a zero mark, and the set's deviation added or
taken away by where the shim sits (see `axlewright.setup.marks`). With free choice of which set goes into
which carrier, sizes that are not on the shelf can be avoided.

Choosing all three at once is the three-dimensional assignment problem, which no quick method solves for sure.
Here two of the three are matched at a time, the third held, in turn and from several starts; each such step
is solved exactly (Kuhn, Naval Research Logistics Quarterly 2 (1955) 83; scipy's rectangular assignment). A
bound tells how much better any other matching could be at most.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from axlewright.errors import InputError
from axlewright.language import eager as _
from axlewright.setup.marks import ShimPlace, place_sign
from axlewright.setup.stock import StockItem

Array = NDArray[np.float64]
STARTS: Final = 24
ROUNDS: Final = 30
EXCHANGED: Final = 40
"""Up to so many pairs every exchange of two sets is tried as well."""
MOST: Final = 400


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
    bound_mm : float
        Root mean square misfit no matching can be below [mm].
    rms_mm : float
        That of the best one found.
    tolerance_mm : float
    """

    best: Matching
    first_come: Matching
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
        int((off <= tolerance + 1e-9).sum()),
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
        The squared misfit is made least; where the shelf has fewer pieces than pairs, as few as possible go
        without one.
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
    sizes = np.array([p.thickness_mm for p in pieces])
    nearest = np.sort(sizes)
    at = np.searchsorted(nearest, need)
    low, high = nearest[np.maximum(at - 1, 0)], nearest[np.minimum(at, len(nearest) - 1)]
    free = np.minimum((need - low) ** 2, (need - high) ** 2)  # as if there were enough of every size
    rows, cols = linear_sum_assignment(free)
    # With too few pieces it is open who goes without: the best each carrier could have, the best of them.
    enough = len(pieces) >= pairs
    least = free[rows, cols] if enough else np.sort(free.min(axis=1))[: len(pieces)]
    bound = float(np.sqrt(least.mean()))

    rng = np.random.default_rng(seed)
    best: tuple[float, list[tuple[int, int, int]]] | None = None
    for start in range(STARTS):
        pairing = [*zip(rows.tolist(), cols.tolist(), strict=True)]
        if start:  # blurred less and more, up to any pairing at all
            size = float(np.median(free)) * 10.0 ** rng.uniform(-2.0, 1.0)
            r, c = linear_sum_assignment(free + rng.exponential(size, free.shape))
            pairing = [*zip(r.tolist(), c.tolist(), strict=True)]
        found = _improve(need, sizes, pairing)
        cost = float(sum((sizes[k] - need[i, j]) ** 2 for i, j, k in found))
        if best is None or cost < best[0] - 1e-12:
            best = (cost, found)
    assert best is not None
    if pairs <= EXCHANGED:
        best = _exchange(need, sizes, best)
    taken = {(i, j): k for i, j, k in best[1]}
    used_rows, used_cols = {i for i, _j in taken}, {j for _i, j in taken}
    spare = zip(
        [i for i in range(len(carriers)) if i not in used_rows],
        [j for j in range(len(sets)) if j not in used_cols],
        strict=False,
    )
    matches = [
        Match(carriers[i], sets[j], float(need[i, j]), pieces[k]) for (i, j), k in sorted(taken.items())
    ]
    matches += [Match(carriers[i], sets[j], float(need[i, j]), None) for i, j in spare]
    return MatchingAnswer(
        _sum_up(matches, tolerance_mm),
        _sum_up(_first_come(carriers, sets, need, pieces, pairs), tolerance_mm),
        bound,
        float(np.sqrt(best[0] / len(taken))),
        tolerance_mm,
    )


def _improve(need: Array, sizes: Array, pairing: list[tuple[int, int]]) -> list[tuple[int, int, int]]:
    """Give pieces to pairs, then sets to (carrier, piece), then carriers to (set, piece), until it stays."""
    triples: list[tuple[int, int, int]] = []
    last = np.inf
    for turn in range(ROUNDS):
        wanted = np.array([need[i, j] for i, j in pairing])
        a, k = linear_sum_assignment((wanted[:, None] - sizes) ** 2)
        triples = [(*pairing[p], int(q)) for p, q in zip(a, k, strict=True)]
        i, j, k = (np.array(v) for v in zip(*triples, strict=True))
        if turn % 2 == 0:  # carrier and piece stay together, every set may come
            a, b = linear_sum_assignment((need[i, :] - sizes[k][:, None]) ** 2)
            triples = [(int(i[p]), int(q), int(k[p])) for p, q in zip(a, b, strict=True)]
        else:
            a, b = linear_sum_assignment((need[:, j].T - sizes[k][:, None]) ** 2)
            triples = [(int(q), int(j[p]), int(k[p])) for p, q in zip(a, b, strict=True)]
        cost = float(sum((sizes[k] - need[i, j]) ** 2 for i, j, k in triples))
        if turn > 1 and cost >= last - 1e-12:
            break
        last = cost
        pairing = [(i, j) for i, j, _k in triples]
    return triples


def _exchange(
    need: Array, sizes: Array, best: tuple[float, list[tuple[int, int, int]]]
) -> tuple[float, list[tuple[int, int, int]]]:
    """Try every exchange of the sets of two carriers, pieces given anew each time, while that helps."""
    cost, triples = best
    helped = True
    while helped:
        helped = False
        for p, q in itertools.combinations(range(len(triples)), 2):
            pairing = [(i, j) for i, j, _k in triples]
            (a, b), (c, d) = pairing[p], pairing[q]
            pairing[p], pairing[q] = (a, d), (c, b)
            wanted = np.array([need[i, j] for i, j in pairing])
            misfit = (wanted[:, None] - sizes) ** 2
            rows, cols = linear_sum_assignment(misfit)
            found = float(misfit[rows, cols].sum())
            if len(rows) == len(triples) and found < cost - 1e-12:
                cost = found
                triples = [(*pairing[r], int(k)) for r, k in zip(rows, cols, strict=True)]
                helped = True
    return cost, triples


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
