"""Several photos of one flank at one setting: what they say together, and when they do not agree."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from axlewright.errors import InputError
from axlewright.language import Shown
from axlewright.language import eager as _
from axlewright.pattern.readings import PatternReading

AGREE_SDS = 3.0
"""Places further apart than this, in standard deviations of their difference, show different patterns."""
SHARED = 0.2
"""Share of a reading's variance that another photo of the same set shares: flank model, compound, way of
tapping. On drawn photos 0.16 and 0.03 in two samples (benchmarks/reading_photos.py prints it); this is on the
safe side."""


def agree(one: PatternReading, other: PatternReading) -> bool:
    """Say whether two readings of a flank can show the same pattern."""
    apart = np.abs(np.array(one.pattern.center) - other.pattern.center)
    return bool((apart <= AGREE_SDS * np.hypot(one.center_sd, other.center_sd)).all())


def combine_looks(readings: Sequence[PatternReading]) -> PatternReading:
    """Combine readings of one flank that was photographed more than once without a change in between.

    Parameters
    ----------
    readings : sequence of PatternReading
        Oldest first, each from a photo of its own (another tooth, or the same painted anew).

    Returns
    -------
    PatternReading
        The newest with the place of all: mean weighted by their variances, its standard deviation less by
        what they do not share. Older ones that do not agree with the newest are left out, which is said in
        `quality`; while they are as many as those that agree, the spread is widened to half the distance.

    Raises
    ------
    InputError
        None given, or flanks mixed.
    """
    if not readings:
        raise InputError(_("no reading is given"), where=_("photos"), fix=_("give at least one"))
    if len({r.pattern.flank for r in readings}) != 1:
        raise InputError(
            _("drive and coast flanks are mixed"), where=_("photos"), fix=_("give one flank at a time")
        )
    newest = readings[-1]
    if len(readings) == 1:
        return newest
    centers = np.array([r.pattern.center for r in readings])
    sds = np.array([r.center_sd for r in readings])
    apart = np.abs(centers - centers[-1])
    alike = np.array([agree(one, newest) for one in readings])
    weight = 1.0 / sds[alike] ** 2
    place = (weight * centers[alike]).sum(0) / weight.sum(0)
    least = sds[alike].min(axis=0)
    sd = np.sqrt(SHARED * least**2 + (1.0 - SHARED) / weight.sum(0))
    notes = [*newest.quality]
    if alike.sum() > 1:
        notes.append(
            _(
                "Its place is taken as the mean of {count} photos at this setting: {y} ± {sd} in profile."
            ).format(
                count=int(alike.sum()),
                y=f"{Shown(float(place[1])):+.2f}".replace("-", "−"),
                sd=f"{Shown(float(sd[1])):.2f}",
            )
        )
    if not alike.all():
        worst = apart[~alike].max(axis=0)
        notes.append(
            _(
                "An earlier photo at this setting shows another place ({x} away lengthwise, {y} in "
                "profile); it is left out. Take it back if it was wrong, or photograph a third tooth."
            ).format(x=f"{Shown(float(worst[0])):.2f}", y=f"{Shown(float(worst[1])):.2f}")
        )
        if 2 * int(alike.sum()) <= len(readings):
            sd = np.hypot(sd, 0.5 * worst)
    pattern = replace(newest.pattern, center=(float(place[0]), float(place[1])))
    return replace(newest, pattern=pattern, center_sd=(float(sd[0]), float(sd[1])), quality=tuple(notes))
