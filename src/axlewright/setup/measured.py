"""A length with its uncertainty, and a sum that can be written out.

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
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

from axlewright.errors import InputError
from axlewright.language import Shown, _
from axlewright.units import MM_PER_INCH, System

LEVEL_95: Final = 0.95


@dataclass(frozen=True, slots=True)
class MeasuredLength:
    """A length and how well it is known.

    Parameters
    ----------
    label : str
        What it is, in the trade's words: "axis to housing shoulder".
    value_mm : float
        Best estimate [mm].
    standard_uncertainty_mm : float
        One standard uncertainty [mm], ≥ 0.
    degrees_of_freedom : float
        Degrees of freedom behind the uncertainty; infinity when it is taken as exactly known.
    source : str
        Where the number comes from: an instrument, a stamped mark, a manual, who typed it in.

    Raises
    ------
    InputError
        If the value is not finite, the uncertainty negative, or the degrees of freedom not above zero.
    """

    label: str
    value_mm: float
    standard_uncertainty_mm: float = 0.0
    degrees_of_freedom: float = math.inf
    source: str = ""

    def __post_init__(self) -> None:
        if not math.isfinite(self.value_mm):
            raise InputError(
                _("{value_mm} is not a length").format(value_mm=self.value_mm),
                where=self.label,
                fix=_("type a finite number"),
            )
        if not (math.isfinite(self.standard_uncertainty_mm) and self.standard_uncertainty_mm >= 0.0):
            raise InputError(
                _("{standard_uncertainty_mm} is not an uncertainty").format(
                    standard_uncertainty_mm=self.standard_uncertainty_mm
                ),
                where=self.label,
                fix=_("give zero or a positive length"),
            )
        if not self.degrees_of_freedom > 0.0:
            raise InputError(
                _("{degrees_of_freedom} degrees of freedom").format(
                    degrees_of_freedom=self.degrees_of_freedom
                ),
                where=self.label,
                fix=_("give a number above 0"),
            )

    def shifted(self, by_mm: float, label: str | None = None) -> MeasuredLength:
        """Return the length moved by an exactly known amount [mm]."""
        return replace(self, value_mm=self.value_mm + by_mm, label=self.label if label is None else label)


@dataclass(frozen=True, slots=True)
class Term:
    """One signed part of a written sum.

    Parameters
    ----------
    quantity : MeasuredLength
        The length.
    factor : float
        What it counts in the sum: +1 added, −1 taken away, ½ for half a diameter.
    """

    quantity: MeasuredLength
    factor: float = 1.0

    @property
    def label(self) -> str:
        """What the term is."""
        return self.quantity.label

    @property
    def value_mm(self) -> float:
        """The length itself, before its factor [mm]."""
        return self.quantity.value_mm

    @property
    def sign(self) -> int:
        """+1 when the term is added, −1 when it is taken away."""
        return -1 if self.factor < 0 else 1

    @property
    def contribution_mm(self) -> float:
        """What the term adds to the sum, sign included [mm]."""
        return self.factor * self.quantity.value_mm

    @property
    def standard_uncertainty_mm(self) -> float:
        """The term's share of the standard uncertainty [mm]."""
        return abs(self.factor) * self.quantity.standard_uncertainty_mm

    @property
    def degrees_of_freedom(self) -> float:
        """Degrees of freedom behind the term's uncertainty."""
        return self.quantity.degrees_of_freedom

    @property
    def source(self) -> str:
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
class WrittenSum:
    """A sum of measured lengths that can be shown as it would be written on paper.

    The terms are taken as independent of each other, except that terms of one and the same quantity are
    added before they are squared.

    Parameters
    ----------
    label : str
        What the sum is: "spacer under the pinion head".
    terms : tuple of Term
        At least one term, in the order in which they are written.
    """

    label: str
    terms: tuple[Term, ...]

    def __post_init__(self) -> None:
        if not self.terms:
            raise InputError(
                _("there is nothing to add up"), where=self.label, fix=_("give at least one reading")
            )

    @property
    def value_mm(self) -> float:
        """The result [mm]."""
        return math.fsum(term.contribution_mm for term in self.terms)

    @property
    def standard_uncertainty_mm(self) -> float:
        """Combined standard uncertainty [mm], GUM equation (10)."""
        return math.hypot(*(u for u, _value in self._shares()))

    @property
    def degrees_of_freedom(self) -> float:
        """Effective degrees of freedom, GUM equation (G.2b)."""
        return effective_degrees_of_freedom(self._shares())

    def _shares(self) -> list[tuple[float, float]]:
        """Share of the uncertainty and degrees of freedom of each distinct quantity."""
        factors: dict[MeasuredLength, float] = {}
        for term in self.terms:
            factors[term.quantity] = factors.get(term.quantity, 0.0) + term.factor
        return [
            (abs(factor) * quantity.standard_uncertainty_mm, quantity.degrees_of_freedom)
            for quantity, factor in factors.items()
        ]

    @property
    def expanded_uncertainty_mm(self) -> float:
        """Half-width of the 95 % interval [mm]."""
        u = self.standard_uncertainty_mm
        return 0.0 if u == 0.0 else coverage_factor(self.degrees_of_freedom) * u

    @property
    def interval_95_mm(self) -> tuple[float, float]:
        """The 95 % interval (low, high) [mm]."""
        half = self.expanded_uncertainty_mm
        return self.value_mm - half, self.value_mm + half

    def as_length(self, source: str = "") -> MeasuredLength:
        """Return the result as one length, to use in a further sum."""
        return MeasuredLength(
            self.label,
            self.value_mm,
            self.standard_uncertainty_mm,
            self.degrees_of_freedom,
            source or "; ".join(dict.fromkeys(t.source for t in self.terms if t.source)),
        )

    def text(self, system: System = "inch") -> str:
        """Return the sum written out, for example ``4.3125 − 3.0000 − 1.2490 − 0.0020 = 0.0615 in``.

        Parameters
        ----------
        system : {"inch", "metric"}
            Inches start with four decimals, millimetres with three. More are shown, up to six, where the
            rounded numbers would not add up as written; if even that fails the line ends in "(rounded)".
        """
        divisor, unit, decimals = (MM_PER_INCH, "in", 4) if system == "inch" else (1.0, "mm", 3)
        parts = [term.contribution_mm / divisor for term in self.terms]
        total = self.value_mm / divisor
        note = " (rounded)"
        for places in range(decimals, 7):
            if abs(sum(round(p, places) for p in parts) - round(total, places)) < 0.5 * 10.0**-places:
                decimals, note = places, ""
                break
        pieces = []
        for index, (term, part) in enumerate(zip(self.terms, parts, strict=True)):
            shown = f"{Shown(abs(part)):.{decimals}f}"
            # A zero keeps the sign it would have: "− 0.0000" says that the term is taken away.
            minus = part < 0.0 or (part == 0.0 and term.factor < 0.0)
            if index == 0:
                pieces.append(f"−{shown}" if minus else shown)
            else:
                pieces.append(f"{'−' if minus else '+'} {shown}")
        sign = "−" if round(total, decimals) < 0.0 else ""
        return f"{' '.join(pieces)} = {sign}{Shown(abs(total)):.{decimals}f} {unit}{note}"


def plus(quantity: MeasuredLength, factor: float = 1.0) -> Term:
    """Return a term that is added."""
    return Term(quantity, factor)


def minus(quantity: MeasuredLength, factor: float = 1.0) -> Term:
    """Return a term that is taken away."""
    return Term(quantity, -factor)
