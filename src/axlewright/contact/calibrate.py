"""Fit a set's ease-off to a pattern that is known to be good.

What is fitted: where each flank's surface is developed (its centre), the lengthwise crown and the profile
crown. What a pattern cannot tell apart is held by a prior and said so: the film of the compound scales both
crowns, so it is fitted beside them with its own prior.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from axlewright.contact.marks import ContactPattern, measure_mask
from axlewright.contact.mesh import Settings, build_mesh
from axlewright.contact.rolling import check_flank, roll_unloaded
from axlewright.errors import ContactError, InputError
from axlewright.gearset import EaseOff, Estimate, FlankName, GearSetDesign
from axlewright.language import Number, _

Array = NDArray[np.float64]

LENGTHWISE, PROFILE, ROLL_ANGLES = 64, 32, 96
# Standard deviations of what is read from a pattern when the reading states none; common practice, no source.
CENTER_SD, LENGTH_SD = 0.04, 0.05
MODEL_SD = 0.02  # two honest discretisations differ by this much in a centre or a length
# Priors: places in half faces, crowns and film by their logarithm; common practice, no source.
CENTER_PRIOR_SD, CROWN_PRIOR_SD, FILM_PRIOR_SD = 0.35, 0.6, 0.25
DETERMINED = 0.7  # a field counts as determined when its uncertainty shrinks below this share of the prior's


class ReadPattern(Protocol):
    """A pattern with the uncertainty of its reading, such as a photo or words give."""

    @property
    def pattern(self) -> ContactPattern:
        """The pattern."""

    @property
    def center_sd(self) -> tuple[float, float]:
        """Standard deviation of the centre."""

    @property
    def length_sd(self) -> float:
        """Standard deviation of the length as a share of the face."""


KnownPattern = ContactPattern | ReadPattern


@dataclass(frozen=True, slots=True)
class FittedField:
    """A field of the design, fitted.

    Attributes
    ----------
    field : str
    value, standard_uncertainty : float
        In the field's own unit.
    prior_uncertainty : float
        What was allowed before the pattern was seen.
    determined : bool
        False when the pattern says little about it; the prior then stays in the design.
    """

    field: str
    value: float
    standard_uncertainty: float
    prior_uncertainty: float
    determined: bool


@dataclass(frozen=True, slots=True)
class Calibration:
    """A design fitted to known patterns.

    Attributes
    ----------
    design : GearSetDesign
        With the determined fields replaced; each is listed in `estimates` with its uncertainty.
    fields : tuple of FittedField
    misfit : float
        Root mean square of (computed − read) over its standard deviation; about 1 or less is a good fit.
    """

    design: GearSetDesign
    fields: tuple[FittedField, ...]
    misfit: float


def _measures(pattern: ContactPattern) -> Array:
    """Return what is compared: centre and spread, lengthwise and profile; shape (4,)."""
    mask = pattern.mask
    ny, nx = mask.shape
    x, y = np.linspace(-1.0, 1.0, nx), np.linspace(-1.0, 1.0, ny)
    if pattern.nearness is None:
        weight = mask.astype(float)
    else:
        # A soft edge keeps the measures smooth in the parameters; half a micron wide it moves none of them.
        film = 0.5 * (float(pattern.nearness[mask].max()) + float(pattern.nearness[~mask].min(initial=1.0)))
        weight = 1.0 / (1.0 + np.exp(np.clip((pattern.nearness - film) / 2.5e-4, -60.0, 60.0)))
    total = float(weight.sum())
    cx, cy = float((weight.sum(axis=0) * x).sum()) / total, float((weight.sum(axis=1) * y).sum()) / total
    sx = math.sqrt(float((weight.sum(axis=0) * (x - cx) ** 2).sum()) / total)
    sy = math.sqrt(float((weight.sum(axis=1) * (y - cy) ** 2).sum()) / total)
    return np.array([cx, cy, sx, sy])


def _known(item: KnownPattern | NDArray[np.bool_], flank: FlankName) -> tuple[Array, Array]:
    """Return measures and their standard deviations."""
    if isinstance(item, np.ndarray):
        item = measure_mask(item, flank)
    pattern: ContactPattern = item if isinstance(item, ContactPattern) else item.pattern
    center_sd = (CENTER_SD, CENTER_SD) if isinstance(item, ContactPattern) else item.center_sd
    length_sd = LENGTH_SD if isinstance(item, ContactPattern) else item.length_sd
    if pattern.flank != flank:
        raise ValueError(f"a {pattern.flank} pattern given for the {flank} flank: give each flank its own")
    if pattern.empty:
        raise InputError(_("nothing is marked"), where=f"{flank} pattern", fix=_("give a pattern that shows"))
    bare = measure_mask(pattern.mask, flank)
    found = _measures(bare)
    # A length L spreads like L/2 with a uniform-to-elliptic outline; errors scale with it.
    spread_sd = found[2] * length_sd / max(bare.length_fraction, 0.05)
    height_sd = found[3] * max(length_sd, 2.0 / pattern.mask.shape[0]) / max(bare.height_fraction, 0.05)
    sd = np.hypot(np.array([*center_sd, spread_sd, height_sd]), MODEL_SD * np.array([1.0, 1.0, 0.5, 0.5]))
    return found, sd


def fit_ease_off(
    design: GearSetDesign,
    known: Mapping[str, Any] | Sequence[KnownPattern] | KnownPattern,
    settings: Settings | None = None,
) -> Calibration:
    """Fit centre, lengthwise and profile crown of a design to known good patterns without load.

    Parameters
    ----------
    design : GearSetDesign
        Its ease-off is where the fit starts and the prior.
    known : ContactPattern, reading, sequence of them, or mapping
        Patterns as computed, read from a photo, a sketch or words (anything with ``pattern``,
        ``center_sd``, ``length_sd``); a mapping of "drive" / "coast" may also hold plain masks, rows root
        first and columns toe first.
    settings : Settings, optional
        The settings errors at which the patterns were taken; nominal when left out.

    Returns
    -------
    Calibration

    Raises
    ------
    InputError
        When nothing is marked on a pattern.
    ValueError
        When no pattern is given, or one stands under the wrong flank.
    ContactError
        When no ease-off within reach gives such a pattern.
    """
    if isinstance(known, Mapping):
        items = {check_flank(k): v for k, v in known.items()}
    else:
        many = list(known) if isinstance(known, Sequence) else [known]
        items = {(p if isinstance(p, ContactPattern) else p.pattern).flank: p for p in many}
    if not items:
        raise ValueError("no pattern given: a drive pattern is needed at least")
    read = {name: _known(item, name) for name, item in items.items()}
    here = settings or Settings()
    mesh = build_mesh(design, LENGTHWISE, PROFILE, ROLL_ANGLES)
    names = list(read)

    def surface(name: FlankName, p: Array) -> EaseOff:
        k = 3 + 2 * names.index(name)
        return replace(
            design.ease_off(name),
            lengthwise_crown_mm=design.lengthwise_crown_mm * math.exp(p[0]),
            profile_crown_mm=design.profile_crown_mm * math.exp(p[1]),
            center_lengthwise=float(p[k]),
            center_profile=float(p[k + 1]),
        )

    prior_sd = np.array(
        [CROWN_PRIOR_SD, CROWN_PRIOR_SD, FILM_PRIOR_SD] + [CENTER_PRIOR_SD] * (2 * len(names))
    )
    prior = np.zeros(len(prior_sd))
    for k, name in enumerate(names):
        own = design.ease_off(name)
        prior[3 + 2 * k : 5 + 2 * k] = own.center_lengthwise, own.center_profile

    def miss(p: Array) -> Array:
        out = [(p - prior) / prior_sd]
        for name in names:
            film = design.compound_film_mm * math.exp(p[2])
            pattern, _rest, _rest2, _rest3 = roll_unloaded(mesh, name, here, surface(name, p), film)
            wanted, sd = read[name]
            out.append(np.full(4, 50.0) if pattern.empty else (_measures(pattern) - wanted) / sd)
        return np.concatenate(out)

    first = prior.copy()
    for k, name in enumerate(names):  # start where the pattern lies
        first[3 + 2 * k : 5 + 2 * k] = np.clip(read[name][0][:2], -0.8, 0.8)
    bound = np.array([2.0, 2.0, 1.0] + [0.9] * (2 * len(names)))
    step = np.array([0.04] * 3 + [0.03] * (2 * len(names)))  # wide enough to outweigh the grid

    def slopes(p: Array) -> Array:
        moved = zip(step, np.diag(step), strict=True)
        return np.stack([(miss(p + d) - miss(p - d)) / (2.0 * s) for s, d in moved], axis=1)

    try:
        found = least_squares(
            miss,
            first,
            jac=slopes,
            bounds=(-bound, bound),
            x_scale=prior_sd,
            xtol=1e-4,
            ftol=1e-5,
            max_nfev=20,
        )
    except ContactError as error:
        raise ContactError(
            _("no ease-off within reach gives such a pattern"),
            where=_("known pattern"),
            fix=_("check the settings at which it was taken"),
        ) from error
    p = found.x
    jacobian = slopes(p)
    cov = np.linalg.inv(jacobian.T @ jacobian)
    sd = np.sqrt(np.diag(cov))
    seen = miss(p)[len(p) :]
    misfit = float(np.sqrt(np.mean(seen**2)))
    sd = sd * max(1.0, misfit)  # what the model cannot follow is not certain
    lengthwise = design.lengthwise_crown_mm * math.exp(p[0])
    profile = design.profile_crown_mm * math.exp(p[1])
    fields = [
        _field("lengthwise_crown_mm", lengthwise, lengthwise * sd[0], lengthwise * CROWN_PRIOR_SD),
        _field("profile_crown_mm", profile, profile * sd[1], profile * CROWN_PRIOR_SD),
    ]
    for k, name in enumerate(names):
        for i, way in enumerate(("lengthwise", "profile")):
            at = 3 + 2 * k + i
            fields.append(_field(f"{name}_center_{way}", float(p[at]), float(sd[at]), CENTER_PRIOR_SD))
    settled = [f for f in fields if f.determined]
    notes = [
        Estimate(
            f.field,
            round(f.value, 4),
            _("fitted to a known good pattern, standard uncertainty {standard_uncertainty}").format(
                standard_uncertainty=Number(f.standard_uncertainty, ".2g")
            ),
        )
        for f in settled
    ]
    replaced = {n.field for n in notes}
    kept = tuple(e for e in design.estimates if e.field not in replaced)
    changes: dict[str, Any] = {n.field: n.value for n in notes}
    fitted = replace(design, **changes, estimates=kept + tuple(notes))
    return Calibration(fitted, tuple(fields), misfit)


def _field(name: str, value: float, sd: float, prior_sd: float) -> FittedField:
    return FittedField(name, float(value), float(sd), float(prior_sd), bool(sd < DETERMINED * prior_sd))


def calibrate(
    design: GearSetDesign,
    known_pattern: Mapping[str, Any] | Sequence[KnownPattern] | KnownPattern,
    settings: Settings | None = None,
) -> GearSetDesign:
    """Return the design with its ease-off fitted to a known good pattern; see `fit_ease_off`.

    Each fitted field is listed in `GearSetDesign.estimates` with its standard uncertainty.

    Parameters
    ----------
    design : GearSetDesign
    known_pattern : ContactPattern, reading, sequence of them, or mapping
        As `known` there.
    settings : Settings, optional
        The settings errors at which the patterns were taken; nominal when left out.

    Returns
    -------
    GearSetDesign

    Raises
    ------
    InputError, ContactError
        See `fit_ease_off`.

    Examples
    --------
    From a pattern; a photo's reading from `axlewright.pattern.read_photo` is given in the same way and brings
    its own uncertainty:

    >>> import axlewright as aw
    >>> from dataclasses import replace
    >>> design = aw.load_design("TY-222")
    >>> good = aw.roll(replace(design, drive_center_lengthwise=-0.2), "drive").pattern
    >>> fitted = aw.calibrate(design, good)
    >>> abs(fitted.drive_center_lengthwise + 0.2) < 0.03
    True
    >>> fitted.coast_center_lengthwise  # nothing was said about it
    0.0
    """
    return fit_ease_off(design, known_pattern, settings).design
