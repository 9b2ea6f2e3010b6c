"""Capability: how the spread of the work stands to its limits, and how sure that is.

References
----------
ISO 22514-2:2017, Process capability and performance of time-dependent process models, and the NIST/SEMATECH
e-Handbook of Statistical Methods, 7.1.6 (definitions and intervals)::

    Cp  = (U − L)/(6 s),   Cpk = min(U − m, m − L)/(3 s)
    Cp:  Cp · sqrt(χ²(α/2, n−1)/(n−1)) … Cp · sqrt(χ²(1−α/2, n−1)/(n−1))
    Cpk: Cpk · (1 ± z sqrt(1/(9 n Cpk²) + 1/(2(n−1))))

Share outside: Clopper and Pearson, Biometrika 26 (1934) 404 (exact binomial interval, from memory).
Normality: Shapiro and Wilk, Biometrika 52 (1965) 591 (through scipy).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import stats

from axlewright.errors import InputError
from axlewright.language import Number, Text, _

FEWEST_VALUES: Final = 30
"""Fewest values a capability is worked out from (common practice, no source)."""
NORMAL_P: Final = 0.01
"""Below this probability the normal distribution is doubted."""


@dataclass(frozen=True, slots=True)
class Capability:
    """Capability figures of a series.

    Attributes
    ----------
    count : int
    mean, sd : float
    low, high : float or None
        Limits.
    cp, cpk : float or None
        Cp is None with one limit only.
    cp_interval, cpk_interval : (float, float) or None
        95 %.
    stable : bool
        Whether the control chart gave no signal; if it did, the figures say how it went (performance, Pp and
        Ppk), not what the process is able to do.
    normal_p : float
        Probability of so crooked a series from a normal distribution.
    outside : int
        Values outside the limits.
    outside_interval : (float, float)
        95 % for the share outside, from the count alone, whatever the distribution.
    """

    count: int
    mean: float
    sd: float
    low: float | None
    high: float | None
    cp: float | None
    cpk: float
    cp_interval: tuple[float, float] | None
    cpk_interval: tuple[float, float]
    stable: bool
    normal_p: float
    outside: int
    outside_interval: tuple[float, float]

    @property
    def names(self) -> tuple[str, str]:
        """Return what the two figures are called: Cp and Cpk, or Pp and Ppk when not stable."""
        return ("Cp", "Cpk") if self.stable else ("Pp", "Ppk")

    @property
    def normal(self) -> bool:
        """Whether nothing speaks against a normal distribution."""
        return self.normal_p >= NORMAL_P

    def notes(self) -> tuple[Text, ...]:
        """Return what to mind when reading the figures."""
        out: list[Text] = []
        if not self.stable:
            out.append(
                _(
                    "The control chart shows signals: these figures say how it went, not what to expect. "
                    "Look for the causes first."
                )
            )
        if not self.normal:
            out.append(
                _(
                    "The values do not follow a normal distribution (p = {p}): do not turn the figures into "
                    "shares; the counted share below holds whatever the distribution."
                ).format(p=Number(self.normal_p, ".2g"))
            )
        if self.count < 100:
            out.append(_("{count} values: the interval is wide.").format(count=self.count))
        return tuple(out)


def capability(
    values: Sequence[float], *, low: float | None = None, high: float | None = None, stable: bool = True
) -> Capability:
    """Work out the capability of a series.

    Parameters
    ----------
    values : sequence of float
        At least `FEWEST_VALUES`.
    low, high : float, optional
        Limits, at least one, in the unit of the values.
    stable : bool
        From the control chart of the same series.

    Raises
    ------
    InputError
        Too few values, no limit, or limits the wrong way round.
    """
    x = np.asarray(values, dtype=float)
    if len(x) < FEWEST_VALUES:
        raise InputError(
            _("{count} values are too few for a capability").format(count=len(x)),
            where=_("capability"),
            fix=_("collect at least {fewest}").format(fewest=FEWEST_VALUES),
        )
    if low is None and high is None:
        raise InputError(_("no limit is given"), where=_("capability"), fix=_("type one or both limits"))
    if low is not None and high is not None and low >= high:
        raise InputError(
            _("the lower limit is not below the upper one"), where=_("capability"), fix=_("exchange them")
        )
    n, mean, sd = len(x), float(x.mean()), float(x.std(ddof=1))
    if not sd > 0.0:
        raise InputError(
            _("all values are the same"), where=_("capability"), fix=_("read with a finer instrument")
        )
    sides = [
        limit
        for limit in (None if high is None else high - mean, None if low is None else mean - low)
        if limit is not None
    ]
    cpk = min(sides) / (3.0 * sd)
    z = float(stats.norm.ppf(0.975))
    # Written without dividing by Cpk, so that a mean on the limit needs no special case.
    half = z * math.sqrt(1.0 / (9.0 * n) + cpk * cpk / (2.0 * (n - 1)))
    cp, cp_interval = None, None
    if low is not None and high is not None:
        cp = (high - low) / (6.0 * sd)
        bounds = np.sqrt(stats.chi2.ppf((0.025, 0.975), n - 1) / (n - 1))
        cp_interval = (float(cp * bounds[0]), float(cp * bounds[1]))
    outside = int(
        np.sum((x > high) if high is not None else False) + np.sum((x < low) if low is not None else False)
    )
    found = stats.binomtest(outside, n).proportion_ci(0.95, method="exact")
    return Capability(
        n, mean, sd, low, high, cp, cpk, cp_interval, (cpk - half, cpk + half), stable,
        float(stats.shapiro(x).pvalue), outside, (float(found.low), float(found.high)),
    )  # fmt: skip
