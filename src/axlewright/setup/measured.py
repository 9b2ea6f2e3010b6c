"""A sum of measured quantities that can be written out.

Every result of this room is a `WrittenSum`: a list of signed terms, each with its own uncertainty and
source, so that a page or a sheet can show the arithmetic and not only the answer.

References
----------
JCGM 100:2008, Guide to the expression of uncertainty in measurement (GUM): 5.1.2 (combination of
uncorrelated input quantities), G.4.1 (Welch-Satterthwaite effective degrees of freedom), G.6.4
(expanded uncertainty from Student's distribution).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from axlewright.errors import InputError
from axlewright.language import Drawn, Shown, Text, _, joined, keeps_as, read_kept
from axlewright.units import Quantity, System, chosen_system

LEVEL_95: Final = 0.95


@dataclass(frozen=True, slots=True)
class Term:
    """One signed part of a written sum.

    Parameters
    ----------
    quantity : Quantity
        The length, or the torque.
    factor : float
        What it counts in the sum: +1 added, −1 taken away, ½ for half a diameter.
    divisor : float
        A ratio it is divided by, written out: "35.0 / 3.73".
    """

    quantity: Quantity
    factor: float = 1.0
    divisor: float = 1.0

    @property
    def label(self) -> Text:
        """What the term is."""
        return self.quantity.label

    @property
    def sign(self) -> int:
        """+1 when the term is added, −1 when it is taken away."""
        return -1 if self.factor < 0 else 1

    @property
    def weight(self) -> float:
        """What one unit of the quantity adds to the sum."""
        return self.factor / self.divisor

    @property
    def contribution(self) -> float:
        """What the term adds to the sum, sign included, in the quantity's base unit."""
        return self.weight * self.quantity.value

    @property
    def standard_uncertainty(self) -> float:
        """The term's share of the standard uncertainty."""
        return abs(self.weight) * self.quantity.standard_uncertainty

    @property
    def source(self) -> Text:
        """Where the number comes from."""
        return self.quantity.source


def effective_degrees_of_freedom(shares: Iterable[tuple[float, float]]) -> float:
    """Return the Welch-Satterthwaite effective degrees of freedom.

    Parameters
    ----------
    shares : iterable of (float, float)
        For each independent input its share of the standard uncertainty (any one unit) and its degrees of
        freedom (infinity allowed).

    Returns
    -------
    float
        ``u⁴ / Σ(uᵢ⁴/νᵢ)`` with ``u² = Σuᵢ²``; infinity when every share with weight is taken as exact.

    References
    ----------
    GUM, equation (G.2b).
    """
    kept = [(u, v) for u, v in shares if u > 0.0]
    if not kept:
        return math.inf
    # Divide by the largest share first: fourth powers of micrometres in metres would underflow.
    largest = max(u for u, _value in kept)
    total = sum((u / largest) ** 2 for u, _value in kept)
    lower = sum((u / largest) ** 4 / v for u, v in kept if math.isfinite(v))
    return total**2 / lower if lower > 0.0 else math.inf


def coverage_factor(degrees_of_freedom: float, level: float = LEVEL_95) -> float:
    """Return the two-sided Student factor for a coverage level.

    Parameters
    ----------
    degrees_of_freedom : float
        Effective degrees of freedom, > 0; not rounded down, infinity gives the normal distribution.
    level : float
        Probability of the interval, between 0 and 1.

    References
    ----------
    GUM, G.3.4 and table G.2.
    """
    from scipy import special  # here, so that the page starts without it

    if not 0.0 < level < 1.0:
        raise InputError(
            _("{level} is not a probability").format(level=level),
            where=_("coverage level"),
            fix=_("give 0.95 for 95 %"),
        )
    upper = 0.5 + level / 2.0
    if not math.isfinite(degrees_of_freedom):
        return float(special.ndtri(upper))
    return float(special.stdtrit(degrees_of_freedom, upper))


@dataclass(frozen=True, slots=True)
class WrittenSum(Drawn):
    """A sum of measured quantities of one kind that can be shown as it would be written on paper.

    The terms are taken as independent of each other, except that terms of one and the same quantity are
    added before they are squared. Drawn, it is the line ``4.3125 − 3.0000 − 1.2490 − 0.0020 = 0.0615 in`` in
    the reader's system.

    Parameters
    ----------
    label : Text
        What the sum is: "spacer under the pinion head".
    terms : tuple of Term
        At least one term, in the order in which they are written.
    note : Text
        A remark under it.
    """

    label: Text
    terms: tuple[Term, ...]
    note: Text = ""

    def __post_init__(self) -> None:
        if not self.terms:
            raise InputError(
                _("there is nothing to add up"), where=self.label, fix=_("give at least one reading")
            )

    @property
    def value(self) -> float:
        """The result in the quantities' base unit."""
        return math.fsum(term.contribution for term in self.terms)

    @property
    def standard_uncertainty(self) -> float:
        """Combined standard uncertainty, GUM equation (10)."""
        return math.hypot(*(u for u, _value in self._shares()))

    @property
    def degrees_of_freedom(self) -> float:
        """Effective degrees of freedom, GUM equation (G.2b)."""
        return effective_degrees_of_freedom(self._shares())

    def _shares(self) -> list[tuple[float, float]]:
        """Share of the uncertainty and degrees of freedom of each distinct quantity."""
        weights: dict[Quantity, float] = {}
        for term in self.terms:
            weights[term.quantity] = weights.get(term.quantity, 0.0) + term.weight
        return [
            (abs(weight) * quantity.standard_uncertainty, quantity.degrees_of_freedom)
            for quantity, weight in weights.items()
        ]

    @property
    def expanded_uncertainty(self) -> float:
        """Half-width of the 95 % interval."""
        u = self.standard_uncertainty
        return 0.0 if u == 0.0 else coverage_factor(self.degrees_of_freedom) * u

    @property
    def interval_95(self) -> tuple[float, float]:
        """The 95 % interval (low, high)."""
        half = self.expanded_uncertainty
        return self.value - half, self.value + half

    @property
    def kind(self) -> type[Quantity]:
        """What is added up."""
        return type(self.terms[0].quantity)

    def as_quantity(self, source: Text = "") -> Quantity:
        """Return the result as one quantity, to use in a further sum."""
        sources = dict.fromkeys(t.source for t in self.terms if t.source)
        return self.kind(
            self.value,
            self.standard_uncertainty,
            self.degrees_of_freedom,
            self.label,
            source or joined(*sources, between="; "),
        )

    @property
    def result(self) -> Text:
        """The result alone, in both systems."""
        return self.kind(self.value, signed=self.terms[0].quantity.signed)

    @property
    def sure(self) -> Text:
        """How sure the result is; empty for exact terms."""
        if self.standard_uncertainty == 0.0:
            return ""
        return _("± {half}, 95 %").format(half=self.kind(self.expanded_uncertainty))

    def text(self, system: System | None = None) -> str:
        """Return the sum written out.

        Parameters
        ----------
        system : {"inch", "metric"}, optional
            The chosen one where none is given. The usual decimals are shown, and more, up to six, where the
            rounded numbers would not add up as written; if even that fails the line ends in "(rounded)".
        """
        kind = self.kind
        unit, divisor, decimals = kind.INCH if (system or chosen_system()) == "inch" else kind.METRIC
        parts = [term.contribution / divisor for term in self.terms]
        total = self.value / divisor
        ratios = {term.divisor for term in self.terms}
        shared = ratios.pop() if len(ratios) == 1 else 1.0
        note = " (rounded)"
        if shared != 1.0 or ratios:
            note = ""  # a division on the line need not come out even
        else:
            for places in range(decimals, 7):
                if abs(sum(round(p, places) for p in parts) - round(total, places)) < 0.5 * 10.0**-places:
                    decimals, note = places, ""
                    break
        pieces = []
        for index, (term, part) in enumerate(zip(self.terms, parts, strict=True)):
            shown = f"{Shown(abs(part) * term.divisor):.{decimals}f}"
            if term.divisor not in (1.0, shared):
                shown += f" / {Shown(term.divisor):.2f}"
            # A zero keeps the sign it would have: "− 0.0000" says that the term is taken away.
            minus = part < 0.0 or (part == 0.0 and term.factor < 0.0)
            if index == 0:
                pieces.append(f"−{shown}" if minus else shown)
            else:
                pieces.append(f"{'−' if minus else '+'} {shown}")
        line = " ".join(pieces)
        if shared != 1.0:
            line = f"({line}) / {Shown(shared):.2f}"
        sign = "−" if round(total, decimals) < 0.0 else "+" if self.terms[0].quantity.signed else ""
        return f"{line} = {sign}{Shown(abs(total)):.{decimals}f} {unit}{note}"

    def __str__(self) -> str:
        return self.text()

    def to_json(self) -> dict[str, Any]:
        """Return the sum as plain data, its result beside its terms."""

        def plain(text: Text) -> Any:
            return text.to_json() if isinstance(text, Drawn) else text

        return {
            "sum": plain(self.label),
            "terms": [
                {
                    **t.quantity.to_json(),
                    "factor": t.factor,
                    **({} if t.divisor == 1.0 else {"divisor": t.divisor}),
                }
                for t in self.terms
            ],
            "value": self.value,
            "note": plain(self.note),
        }


def _read_sum(kept: Mapping[str, Any]) -> WrittenSum:
    terms = []
    for one in kept["terms"]:
        quantity = read_kept({k: v for k, v in one.items() if k not in ("factor", "divisor")})
        if not isinstance(quantity, Quantity):
            raise ValueError("a term of a sum is no quantity")
        terms.append(Term(quantity, float(one.get("factor", 1.0)), float(one.get("divisor", 1.0))))
    return WrittenSum(read_kept(kept["sum"]), tuple(terms), read_kept(kept.get("note", "")))


keeps_as("sum", _read_sum)


def plus(quantity: Quantity, factor: float = 1.0) -> Term:
    """Return a term that is added."""
    return Term(quantity, factor)


def minus(quantity: Quantity, factor: float = 1.0) -> Term:
    """Return a term that is taken away."""
    return Term(quantity, -factor)
