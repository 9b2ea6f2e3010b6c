"""Several photos: of teeth around the ring gear, or of one flank at one setting.

A bent flange or a ring gear that does not sit flat moves the pattern once up and down per turn. That is a
first harmonic over the angle; the mean is what settings can move, and the rest is runout.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from axlewright.contact import measure_mask
from axlewright.errors import InputError, PhotoError
from axlewright.gearset import GearSetDesign
from axlewright.language import Number, Text, _
from axlewright.pattern.picture import Picture
from axlewright.pattern.reading import read_photo
from axlewright.pattern.readings import PatternReading
from axlewright.pattern.segment import Compound

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
    notes: list[Text] = [*newest.quality]
    if alike.sum() > 1:
        notes.append(
            _(
                "Its place is taken as the mean of {count} photos at this setting: {y} ± {sd} in profile."
            ).format(
                count=int(alike.sum()),
                y=Number(float(place[1]), "+.2f"),
                sd=Number(float(sd[1]), ".2f"),
            )
        )
    if not alike.all():
        worst = apart[~alike].max(axis=0)
        notes.append(
            _(
                "An earlier photo at this setting shows another place ({x} away lengthwise, {y} in "
                "profile); it is left out. Take it back if it was wrong, or photograph a third tooth."
            ).format(x=Number(float(worst[0]), ".2f"), y=Number(float(worst[1]), ".2f"))
        )
        if 2 * int(alike.sum()) <= len(readings):
            sd = np.hypot(sd, 0.5 * worst)
    pattern = replace(newest.pattern, center=(float(place[0]), float(place[1])))
    return replace(newest, pattern=pattern, center_sd=(float(sd[0]), float(sd[1])), quality=tuple(notes))


Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ToothPhoto:
    """One tooth of several.

    Attributes
    ----------
    source : str, Path, bytes or Picture
    corners : str or array-like, shape (4, 2)
        As `read_photo`.
    tooth : int
        Number of the tooth, counted around the ring gear from any one, 1 … number of teeth.
    """

    source: str | Path | bytes | Picture
    corners: str | Array
    tooth: int


@dataclass(frozen=True, slots=True)
class Wander:
    """First harmonic of the pattern's centre over a turn, in one direction.

    Attributes
    ----------
    amplitude, amplitude_sd : float
        In units of the centre.
    largest_at_tooth : float
        Where the centre lies farthest toward heel or top.
    sure : bool
        True when the amplitude is more than reading errors make (about 1 in 100 by chance).
    harmonic : complex
        a + ib of the wave a cos θ + b sin θ, θ the tooth's place in the turn, tooth 1 at 0.
    harmonic_sd : float
        Standard deviation of a and of b, their mean.
    """

    amplitude: float
    amplitude_sd: float
    largest_at_tooth: float
    sure: bool
    harmonic: complex = 0j
    harmonic_sd: float = 0.0


@dataclass(frozen=True, slots=True)
class SeveralTeeth:
    """What several teeth say together.

    Attributes
    ----------
    mean : PatternReading
        Pattern with the wander taken out: what settings can move.
    lengthwise, profile : Wander or None
        None with fewer than four teeth.
    readings : tuple of PatternReading
    teeth : tuple of int
    notes : tuple of Text
    """

    mean: PatternReading
    lengthwise: Wander | None
    profile: Wander | None
    readings: tuple[PatternReading, ...]
    teeth: tuple[int, ...]
    notes: tuple[Text, ...]

    @property
    def runout(self) -> bool:
        """True when the pattern surely wanders once per turn."""
        return any(w is not None and w.sure for w in (self.lengthwise, self.profile))

    def summary(self) -> dict[str, Any]:
        """Return the result as plain data for JSON."""
        out: dict[str, Any] = {"mean": self.mean.summary(), "teeth": list(self.teeth), "runout": self.runout}
        for name, w in (("lengthwise", self.lengthwise), ("profile", self.profile)):
            out[name] = None
            if w is not None:
                out[name] = {
                    "amplitude": round(w.amplitude, 4),
                    "amplitude_sd": round(w.amplitude_sd, 4),
                    "largest_at_tooth": round(w.largest_at_tooth, 1),
                    "sure": w.sure,
                }
        out["notes"] = list(self.notes)
        return out


CHANCE_1_IN_100 = 9.21  # chi-square of two degrees of freedom, tables


def _fit(angle: Array, value: Array, sd: Array, ring_teeth: int) -> tuple[float, float, Wander]:
    A = np.column_stack([np.ones_like(angle), np.cos(angle), np.sin(angle)]) / sd[:, None]
    N = np.linalg.inv(A.T @ A)
    a, c, s = N @ (A.T @ (value / sd))
    rest = value / sd - A @ np.array([a, c, s])
    free = len(value) - 3
    # Scatter beyond the stated errors (dirt, paint) widens the result; less scatter does not narrow it.
    scale = max(1.0, float(rest @ rest) / free) if free > 0 else 1.0
    N = N * scale
    h = np.array([c, s])
    chi2 = float(h @ np.linalg.inv(N[1:, 1:]) @ h)
    amplitude = float(np.hypot(c, s))
    direction = h / (amplitude + 1e-12)
    amplitude_sd = float(np.sqrt(direction @ N[1:, 1:] @ direction))
    at = (math.atan2(s, c) % (2 * math.pi)) / (2 * math.pi) * ring_teeth + 1.0
    harmonic_sd = float(np.sqrt(0.5 * (N[1, 1] + N[2, 2])))
    wave = Wander(
        amplitude, amplitude_sd, at, chi2 > CHANCE_1_IN_100, complex(float(c), float(s)), harmonic_sd
    )
    return float(a), float(np.sqrt(N[0, 0])), wave


def combine_teeth(readings: Sequence[PatternReading], teeth: Sequence[int], ring_teeth: int) -> SeveralTeeth:
    """Combine readings of one flank on several teeth.

    Parameters
    ----------
    readings : sequence of PatternReading
    teeth : sequence of int
        Tooth numbers, 1 … `ring_teeth`.
    ring_teeth : int

    Returns
    -------
    SeveralTeeth

    Raises
    ------
    InputError
        Fewer than two teeth, numbers that repeat or do not exist, or flanks mixed.
    """
    if len(readings) != len(teeth) or len(readings) < 2:
        raise InputError(
            _("at least two teeth are needed"),
            where=_("teeth"),
            fix=_("read teeth spread over the ring gear"),
        )
    if len({r.pattern.flank for r in readings}) != 1:
        raise InputError(
            _("drive and coast flanks are mixed"), where=_("teeth"), fix=_("give one flank at a time")
        )
    if len(set(teeth)) != len(teeth):
        raise InputError(_("a tooth is given twice"), where=_("teeth"), fix=_("number each tooth once"))
    for t in teeth:
        if not 1 <= t <= ring_teeth:
            raise InputError(
                _("tooth {t} does not exist").format(t=t),
                where=_("teeth"),
                fix=_("number them 1 to {ring_teeth}").format(ring_teeth=ring_teeth),
            )
    angle = 2 * np.pi * (np.array(teeth, dtype=float) - 1.0) / ring_teeth
    centers = np.array([r.pattern.center for r in readings])
    sds = np.array([r.center_sd for r in readings])
    # A stretch of at least half a turn without a tooth leaves the harmonic open.
    gaps = np.diff(np.sort(angle), append=np.min(angle) + 2 * np.pi)
    enough = len(readings) >= 4 and float(gaps.max()) < np.pi + 1e-9
    notes: list[Text] = []
    waves: list[Wander | None] = [None, None]
    mean, mean_sd = np.zeros(2), np.zeros(2)
    for k in range(2):
        if enough:
            mean[k], mean_sd[k], waves[k] = _fit(angle, centers[:, k], sds[:, k], ring_teeth)
        else:
            w = 1.0 / sds[:, k] ** 2
            mean[k] = float((w * centers[:, k]).sum() / w.sum())
            spread = float(np.std(centers[:, k], ddof=1)) / math.sqrt(len(readings))
            mean_sd[k] = max(float(1.0 / math.sqrt(w.sum())), spread)
    if not enough:
        notes.append(
            _("Runout needs at least four teeth spread over more than half a turn; only their mean is given.")
        )
    for wave, what in zip(waves, (_("toward the heel"), _("toward the top")), strict=True):
        if wave is not None and wave.sure:
            notes.append(
                _(
                    "The pattern wanders by ±{amplitude} once per turn, farthest {direction} at tooth "
                    "{tooth}: measure ring-gear and flange runout before changing a shim."
                ).format(
                    amplitude=Number(wave.amplitude, ".2f"),
                    direction=what,
                    tooth=Number(wave.largest_at_tooth, ".0f"),
                )
            )
    share = np.mean([r.pattern.mask for r in readings], axis=0)
    pattern = measure_mask(share >= 0.5, readings[0].pattern.flank)
    if pattern.empty:
        pattern = measure_mask(share >= float(share.max()), readings[0].pattern.flank)
    moved = type(pattern)(
        pattern.flank, pattern.mask, (float(mean[0]), float(mean[1])), pattern.length_fraction,
        pattern.height_fraction, pattern.area_fraction, pattern.slant_deg, pattern.touches, None,
    )  # fmt: skip
    # The errors of one design's flank and of one way of tapping do not average out: keep a floor.
    floor = 0.5 * sds.min(0)
    combined = PatternReading(
        pattern=moved,
        center_sd=(float(max(mean_sd[0], floor[0])), float(max(mean_sd[1], floor[1]))),
        length_sd=float(min(r.length_sd for r in readings)),
        height_sd=_least(r.height_sd for r in readings),
        area_sd=_least(r.area_sd for r in readings),
        slant_sd_deg=_least(r.slant_sd_deg for r in readings),
        source="teeth",
        quality=tuple(notes),
    )
    return SeveralTeeth(combined, waves[0], waves[1], tuple(readings), tuple(teeth), tuple(notes))


def _least(values: Iterable[float | None]) -> float | None:
    """Return the least of what is known; None when nothing is."""
    return min((v for v in values if v is not None), default=None)


def read_several(
    photos: Sequence[ToothPhoto], design: GearSetDesign, flank: str, compound: Compound = "auto"
) -> SeveralTeeth:
    """Read one flank on several teeth around the ring gear.

    Parameters
    ----------
    photos : sequence of ToothPhoto
        Each with its own taps; one picture may serve for several teeth.
    design : GearSetDesign
    flank : {"drive", "coast"}
    compound : {"rubbed", "print", "auto"}

    Returns
    -------
    SeveralTeeth

    Raises
    ------
    PhotoError, InputError
        As `read_photo` and `combine_teeth`; a tooth that cannot be read is left out with a note as long as
        two others can.
    """
    readings: list[PatternReading] = []
    teeth: list[int] = []
    failed: list[tuple[int, PhotoError]] = []
    for p in photos:
        try:
            readings.append(read_photo(p.source, p.corners, design, flank, compound))
            teeth.append(p.tooth)
        except PhotoError as error:
            failed.append((p.tooth, error))
    if len(readings) < 2 and failed:
        raise failed[0][1]
    together = combine_teeth(readings, teeth, design.ring_teeth)
    lost = tuple(
        _("Tooth {tooth} was left out: {why}.").format(tooth=tooth, why=error.what) for tooth, error in failed
    )
    return replace(together, notes=together.notes + lost)
