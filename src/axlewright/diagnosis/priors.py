"""What is believed before a pattern is looked at: how far settings, sets and readings usually stray.

All of these are data. The defaults are orders of size from the trade and from machining practice; a shop
replaces them by what its own jobs taught.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields

import numpy as np
from numpy.typing import NDArray

from axlewright.diagnosis.habits import Habits, habits_of
from axlewright.errors import InputError
from axlewright.gearset import EaseOffSpread, GearSetDesign
from axlewright.language import Drawn, Text, _

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Priors:
    """Standard deviations of what may be wrong.

    Attributes
    ----------
    pinion_out_mm : float
        Pinion depth error of an ordinary job [mm].
    pinion_out_wide_mm, wide_share : float
        A blunder's spread [mm] and how many jobs hold one.
    ring_away_mm : float
        Ring-gear position error [mm].
    offset_error_mm : float
        Offset error of the housing [mm].
    shaft_angle_error_deg : float
        Shaft-angle error of the housing [deg].
    ease_off : EaseOffSpread
        How sets of a design stray in their ease-off; how their patterns differ follows from it by rolling
        (`habits_of`).
    lie_lengthwise, lie_profile : float or None
        How far a set's own pattern lies from the design's, in half face widths and half working depths, in
        place of what was rolled; learned from finished jobs.
    lie_center : (float, float, float, float)
        Where sets of this design lie on average against the computed patterns: drive (lengthwise, profile),
        then coast; learned from finished jobs, zero without any.
    stretch_lengthwise, stretch_profile : float or None
        How much more or less a set's pattern moves with a setting than the design's, as a share, in place of
        what was rolled: crowns differ.
    unlike : float or None
        What is left between a set's pattern and the design's moved and stretched one, in the same units as
        the lie, in place of what was rolled.
    backlash_mm : float
        How far the backlash of a set at its developed place differs from its nominal value [mm].
    moved_sd_mm : (float, float)
        How far a change of pinion depth and of ring-gear position that was made ended from what was meant
        [mm]; it blurs what earlier rounds of a job tell.
    mark_mistaken_share : float
        How often a mark is left out or taken the wrong way round.
    source : Text
        Where these figures come from.
    """

    pinion_out_mm: float = 0.05
    pinion_out_wide_mm: float = 0.15
    wide_share: float = 0.35
    ring_away_mm: float = 0.06
    offset_error_mm: float = 0.025
    shaft_angle_error_deg: float = 0.0143
    ease_off: EaseOffSpread = field(default_factory=EaseOffSpread)
    lie_lengthwise: float | None = None
    lie_profile: float | None = None
    lie_center: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    stretch_lengthwise: float | None = None
    stretch_profile: float | None = None
    unlike: float | None = None
    backlash_mm: float = 0.03
    moved_sd_mm: tuple[float, float] = (0.010, 0.013)
    mark_mistaken_share: float = 0.2
    source: Text = "default spreads: common practice, no source; replace by what your own jobs show"

    def __post_init__(self) -> None:
        for key in fields(self):
            value = getattr(self, key.name)
            if key.name == "lie_center":
                good = len(value) == 4 and all(abs(v) < 1.0 for v in value)
            elif key.name == "moved_sd_mm":
                good = len(value) == 2 and all(v >= 0.0 for v in value)
            elif key.name in ("wide_share", "mark_mistaken_share"):
                good = 0.0 <= value < 1.0
            else:
                good = value is None or isinstance(value, (str, Drawn, EaseOffSpread)) or value > 0.0
            if not good:
                raise InputError(
                    _("{value} is no spread").format(value=value)
                    if "share" not in key.name
                    else _("{value} is no share").format(value=value),
                    where=key.name,
                    fix=_("give a number above zero, or a share from 0 to below 1"),
                )

    def habits(self, design: GearSetDesign) -> Habits:
        """Return how sets of a design differ: as rolled, but for what is given here."""

        def given(lengthwise: float | None, profile: float | None, rolled: Array) -> Array:
            own = np.array([lengthwise, profile] * 2, dtype=float)  # None becomes NaN
            return np.where(np.isnan(own), rolled, own)

        rolled = habits_of(design, self.ease_off)
        return Habits(
            given(self.lie_lengthwise, self.lie_profile, rolled.lie_sd),
            given(self.stretch_lengthwise, self.stretch_profile, rolled.stretch_sd),
            given(self.unlike, self.unlike, rolled.unlike),
        )

    @property
    def housing_sd(self) -> Array:
        """Standard deviations of offset [mm] and shaft angle [deg], shape (2,)."""
        return np.array([self.offset_error_mm, self.shaft_angle_error_deg])


# How a mistaken mark went wrong: common practice, no source. Taking +2 for two thousandths of an inch where
# hundredths of a millimetre are meant is rarer than leaving the mark out or turning it round.
OTHER_UNIT_SHARE = 0.2
MISTAKEN_SD_SHARE = 0.6  # such a job was measured with some care otherwise: narrower than the ordinary spread
UNIT_MM = {"0.001 in": 0.0254, "0.01 mm": 0.01}


@dataclass(frozen=True, slots=True)
class DepthComponent:
    """One way in which the depth may have come about: a normal distribution of pinion_out [mm]."""

    name: str
    weight: float
    mean_mm: float
    sd_mm: float


def depth_components(
    priors: Priors, mark_mm: float | None, mark_unit: str | None = None
) -> tuple[DepthComponent, ...]:
    """Return the mixture of depth errors before any pattern is seen.

    Parameters
    ----------
    priors : Priors
    mark_mm : float or None
        What the set's mark asks of the mounting distance, larger positive [mm]. With it two blunders
        become likely: the mark was left out (the pinion sits `mark_mm` too far in) or taken the wrong way
        round (twice that).
    mark_unit : {"0.001 in", "0.01 mm"}, optional
        Unit in which the mark was taken; with it a third becomes likely: the other one was meant.

    Returns
    -------
    tuple of DepthComponent
        Weights add up to 1.
    """
    if mark_mm is not None and not np.isfinite(mark_mm):
        raise InputError(
            _("{mark_mm} is no mark").format(mark_mm=mark_mm),
            where=_("mark"),
            fix=_("type for example +2 with its unit"),
        )
    mistaken = priors.mark_mistaken_share if mark_mm else 0.0
    rest = 1.0 - mistaken
    out = [
        DepthComponent("ordinary spread", rest * (1.0 - priors.wide_share), 0.0, priors.pinion_out_mm),
        DepthComponent("wrong spacer or bearing", rest * priors.wide_share, 0.0, priors.pinion_out_wide_mm),
    ]
    if mark_mm and mistaken > 0.0:
        narrow = MISTAKEN_SD_SHARE * priors.pinion_out_mm
        other = OTHER_UNIT_SHARE * mistaken if mark_unit in UNIT_MM else 0.0
        each = 0.5 * (mistaken - other)
        out.append(DepthComponent("the mark was left out", each, -mark_mm, narrow))
        out.append(DepthComponent("the mark was taken the wrong way round", each, -2.0 * mark_mm, narrow))
        if other and mark_unit is not None:
            meant = next(mm for unit, mm in UNIT_MM.items() if unit != mark_unit)
            asked = mark_mm * meant / UNIT_MM[mark_unit]
            out.append(DepthComponent("the mark was taken in the wrong unit", other, mark_mm - asked, narrow))
    return tuple(out)


def log_normal(x: Array, mean: float | Array, sd: float | Array) -> Array:
    """Return the logarithm of the normal density."""
    return np.asarray(-0.5 * ((x - mean) / sd) ** 2 - np.log(sd) - 0.5 * np.log(2.0 * np.pi))


def depth_log_terms(p: Array, components: tuple[DepthComponent, ...]) -> Array:
    """Return log(weight × density) of each component at depths `p`, shape (len(p), components)."""
    return np.stack([np.log(c.weight) + log_normal(p, c.mean_mm, c.sd_mm) for c in components], axis=1)
