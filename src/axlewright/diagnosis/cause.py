"""The cause: where pinion, ring gear and axes sit, given what was seen.

The set's own ease-off is a nuisance, not a known: every pattern of a set is moved by the same unknown lie,
and moves by an unknown share more or less than the design's. Given the settings, lie, stretch and reading
errors are normal and leave closed forms; the settings themselves are sampled, first from the prior, then from
a normal fitted to what was found (importance sampling).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from axlewright.contact.atlas import FIGURES, Atlas
from axlewright.diagnosis.evidence import Evidence, seen_center
from axlewright.diagnosis.habits import edge_growth
from axlewright.diagnosis.priors import DepthComponent, Priors, depth_components, depth_log_terms, log_normal

Array = NDArray[np.float64]

CENTERS = ("drive_lengthwise", "drive_profile", "coast_lengthwise", "coast_profile")
CENTER_COLUMNS = [FIGURES.index(name) for name in CENTERS]
BACKLASH_COLUMN = FIGURES.index("backlash_change_mm")
KEYS = ("pinion_out_mm", "ring_away_mm", "offset_error_mm", "shaft_angle_error_deg")
SEEN_COLUMNS = [*CENTER_COLUMNS, BACKLASH_COLUMN]
# Importance sampling; all of these trade time against noise and none moves the answer (another seed moves the
# pinion's mean by less than 0.004 mm, which a test holds).
SAMPLES = 12288
KEPT = 3072
LEAST_EFFECTIVE = 200.0  # so few effective samples of the first round leave its covariance too rough
COOLING = 0.7  # share of the log-likelihood left at each step until there are enough
COOLEST = 1e-3
WIDENED = 1.5  # the second round's covariance over the first one's, so that its tails are not cut
FLOOR_VARIANCE = (1e-5, 1e-5, 1e-6, 1e-6)  # (0.003 mm)², (0.001 mm or deg)²: no direction may collapse
FROM_PRIOR = 0.2  # share of the second round drawn from the prior: a second cause far off is not lost
SLOPE_STEP_MM = 0.05  # about 0.002 in, the smallest move that shows
# The atlas' stated error is part lie (the same at all settings of a set, already in the lie's spread) and
# part not; half of it is taken as error of a single look.
ATLAS_ERROR_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class Spread:
    """A quantity that is known only so well: mean, standard deviation, 5 % and 95 % points."""

    mean: float
    sd: float
    p05: float
    p95: float

    def to_json(self) -> dict[str, float]:
        """Return plain data."""
        return {k: round(float(getattr(self, k)), 5) for k in ("mean", "sd", "p05", "p95")}


def spread_of(values: Array) -> Spread:
    """Return the spread of equally weighted samples."""
    return Spread(
        float(values.mean()), float(values.std()), *(float(v) for v in np.quantile(values, [0.05, 0.95]))
    )


@dataclass(frozen=True, slots=True)
class Posterior:
    """Equally weighted samples of what may be the case.

    Attributes
    ----------
    settings : array, shape (n, 4)
        In the order of `KEYS`.
    lie : array, shape (n, 4)
        How far this set's own pattern lies from the design's, in the order of `CENTERS`.
    stretch : array, shape (n, 4)
        By what share this set's pattern moves more than the design's, in the order of `CENTERS`.
    backlash_zero_mm : array, shape (n,)
        Backlash of this set at its developed place [mm].
    components : dict
        Probability of each way in which the depth came about.
    misfit : float
        Least sum of squares over all samples: residuals in their own measure and settings errors in their
        prior's, a blunder allowed. Chi-squared in `observations`; large when no likely setting explains what
        was seen.
    observations : int
        Numbers compared.
    effective : float
        Effective number of samples.
    """

    settings: Array
    lie: Array
    stretch: Array
    backlash_zero_mm: Array
    components: dict[str, float]
    misfit: float
    observations: int
    effective: float

    def thinned(self, count: int) -> Posterior:
        """Return about `count` of the samples, evenly taken."""
        pick = slice(None, None, max(1, len(self.settings) // count))
        return replace(
            self,
            settings=self.settings[pick],
            lie=self.lie[pick],
            stretch=self.stretch[pick],
            backlash_zero_mm=self.backlash_zero_mm[pick],
        )


@dataclass(frozen=True, slots=True)
class _Round:
    """One look at the set: what was seen, and how the settings then differed from now."""

    centers: Array  # (4,) NaN where not seen
    sd: Array  # (4,)
    backlash: float
    backlash_sd: float
    settings_shift: Array  # (4,)


def _rounds(evidence: Evidence, atlas: Atlas, priors: Priors) -> list[_Round]:
    slopes = move_slopes(atlas)
    model = np.array([atlas.stated_error[name] for name in CENTERS])
    out = []
    looks = [(evidence.drive, evidence.coast, evidence.backlash_mm, np.zeros(4))]
    for earlier in evidence.history:
        shift = np.array([-earlier.pinion_moved_since_mm, -earlier.ring_moved_since_mm, 0.0, 0.0])
        looks.append((earlier.drive, earlier.coast, earlier.backlash_mm, shift))
    for drive, coast, backlash, shift in looks:
        centers, sd = np.full(4, np.nan), np.ones(4)
        for k, (reading, flank, bare) in enumerate(
            ((drive, "drive", evidence.drive_center_sd), (coast, "coast", evidence.coast_center_sd))
        ):
            seen = seen_center(reading, flank, bare)
            if seen is not None:
                centers[2 * k : 2 * k + 2] = seen.lengthwise, seen.profile
                sd[2 * k : 2 * k + 2] = seen.lengthwise_sd, seen.profile_sd
        made = np.array([bool(shift[0]), bool(shift[0] or shift[1])]) * priors.moved_sd_mm
        blur = np.sqrt((slopes**2) @ made**2)  # an earlier look's setting is known less well than today's
        out.append(
            _Round(
                centers,
                np.sqrt(sd**2 + (ATLAS_ERROR_SHARE * model) ** 2 + blur[:4] ** 2),
                np.nan if backlash is None else backlash,
                float(np.hypot(evidence.backlash_sd_mm, blur[4])),
                shift,
            )
        )
    return out


def _closed_form(
    residual: Array, sd: Array, prior_sd: float, prior_mean: float = 0.0
) -> tuple[Array, Array, Array, Array]:
    """Integrate out one shared normal nuisance.

    Parameters
    ----------
    residual : array, shape (n, k)
        Seen minus computed of k looks.
    sd : array, shape (k,)
    prior_sd, prior_mean : float

    Returns
    -------
    log_evidence, mean, sd, misfit : array, shape (n,)
        Of the residuals, and of the nuisance given them; misfit is the sum of squares in its own measure.
    """
    w = 1.0 / sd**2
    precision = w.sum() + 1.0 / prior_sd**2
    r = residual - prior_mean
    mean = (r * w).sum(axis=1) / precision
    misfit = (r**2 * w).sum(axis=1) - mean**2 * precision
    log_evidence = -0.5 * misfit - 0.5 * np.log(precision) - np.log(prior_sd) - np.log(sd).sum()
    return log_evidence, mean + prior_mean, np.full(len(r), precision**-0.5), misfit


def _two_closed_forms(
    residual: Array, travel: Array, sd: Array, lie_sd: float, stretch_sd: float
) -> tuple[Array, Array, Array, Array]:
    """Integrate out lie and stretch: residual = lie + stretch × travel + reading error.

    Parameters
    ----------
    residual, travel, sd : array, shape (n, k)
        Seen minus computed of k looks, how far the computed pattern lies from its developed place, and the
        standard deviation of the looks.
    lie_sd, stretch_sd : float
        Prior standard deviations about zero.

    Returns
    -------
    log_evidence, mean, covariance, misfit : array, shape (n,), (n, 2), (n, 3), (n,)
        Covariance as (lie variance, stretch variance, covariance).
    """
    w = 1.0 / sd**2
    aa, bb = w.sum(axis=1) + lie_sd**-2, (travel**2 * w).sum(axis=1) + stretch_sd**-2
    ab = (travel * w).sum(axis=1)
    ha, hb = (residual * w).sum(axis=1), (residual * travel * w).sum(axis=1)
    det = aa * bb - ab**2
    mean = np.stack([bb * ha - ab * hb, aa * hb - ab * ha], axis=1) / det[:, None]
    misfit = (residual**2 * w).sum(axis=1) - mean[:, 0] * ha - mean[:, 1] * hb
    log_evidence = -0.5 * (misfit + np.log(det)) - np.log(lie_sd * stretch_sd) - np.log(sd).sum(axis=1)
    covariance = np.stack([bb, aa, -ab], axis=1) / det[:, None]
    return log_evidence, mean, covariance, misfit


@dataclass(frozen=True, slots=True)
class _Weighed:
    log_likelihood: Array
    misfit: Array
    habit_mean: Array  # (n, 4, 2): lie and stretch of each figure of CENTERS
    habit_cov: Array  # (n, 4, 3)
    backlash_mean: Array
    backlash_sd: Array
    observations: int


def _weigh(
    settings: Array, rounds: list[_Round], atlas: Atlas, priors: Priors, evidence: Evidence
) -> _Weighed:
    n = len(settings)
    total, misfit, count = np.zeros(n), np.zeros(n), 0
    figures = [atlas(settings + look.settings_shift, SEEN_COLUMNS) for look in rounds]
    developed = developed_centers(atlas)
    mean, cov = np.zeros((n, 4, 2)), np.zeros((n, 4, 3))
    habits = priors.habits(evidence.design)
    for k in range(4):
        lie_sd, stretch_sd = float(habits.lie_sd[k]), float(habits.stretch_sd[k])
        used = [i for i, look in enumerate(rounds) if np.isfinite(look.centers[k])]
        mean[:, k, 0] = priors.lie_center[k]
        if not used:
            cov[:, k] = lie_sd**2, stretch_sd**2, 0.0
            continue
        residual = np.stack([rounds[i].centers[k] - figures[i][:, k] for i in used], axis=1)
        residual -= priors.lie_center[k]
        travel = np.stack([figures[i][:, k] - developed[k] for i in used], axis=1)
        sds = np.hypot([rounds[i].sd[k] for i in used], habits.unlike[k] * edge_growth(travel))
        log_e, own, cov[:, k], miss = _two_closed_forms(residual, travel, sds, lie_sd, stretch_sd)
        mean[:, k] += own
        total, misfit = total + log_e, misfit + miss
        count += len(used)
    nominal = evidence.design.backlash_nominal_mm
    backlash_mean, backlash_sd = np.full(n, nominal), np.full(n, priors.backlash_mm)
    used = [i for i, look in enumerate(rounds) if np.isfinite(look.backlash)]
    if used:
        residual = np.stack([rounds[i].backlash - figures[i][:, 4] for i in used], axis=1)
        sds = np.array([rounds[i].backlash_sd for i in used])
        log_e, backlash_mean, backlash_sd, miss = _closed_form(residual, sds, priors.backlash_mm, nominal)
        total, misfit = total + log_e, misfit + miss
        count += len(used)
    return _Weighed(total, misfit, mean, cov, backlash_mean, backlash_sd, count)


def move_slopes(atlas: Atlas) -> Array:
    """Return how centres and backlash answer to moves of pinion and ring gear, shape (5, 2) [1/mm, mm/mm]."""
    h = SLOPE_STEP_MM
    at = np.array([[h, 0, 0, 0], [-h, 0, 0, 0], [0, h, 0, 0], [0, -h, 0, 0]])
    figures = atlas(at, SEEN_COLUMNS)
    return np.stack([figures[0] - figures[1], figures[2] - figures[3]], axis=1) / (2.0 * h)


def developed_centers(atlas: Atlas) -> Array:
    """Return the design's own pattern centres at zero settings errors, in the order of `CENTERS`."""
    return np.asarray(atlas(np.zeros((1, 4)), CENTER_COLUMNS)[0])


def _draw_habits(rng: np.random.Generator, mean: Array, cov: Array) -> tuple[Array, Array]:
    """Draw lie and stretch from their normals; shapes (n, 4, 2), (n, 4, 3) to (n, 4), (n, 4)."""
    z = rng.standard_normal(mean.shape)
    first = np.sqrt(cov[..., 0])
    slope = cov[..., 2] / cov[..., 0]
    rest = np.sqrt(np.maximum(cov[..., 1] - slope * cov[..., 2], 0.0))
    lie = first * z[..., 0]
    return mean[..., 0] + lie, mean[..., 1] + slope * lie + rest * z[..., 1]


def _log_prior(settings: Array, components: tuple[DepthComponent, ...], priors: Priors) -> Array:
    return np.asarray(
        np.logaddexp.reduce(depth_log_terms(settings[:, 0], components), axis=1)
        + log_normal(settings[:, 1], 0.0, priors.ring_away_mm)
        + log_normal(settings[:, 2], 0.0, priors.offset_error_mm)
        + log_normal(settings[:, 3], 0.0, priors.shaft_angle_error_deg)
    )


def _strangeness(settings: Array, components: tuple[DepthComponent, ...], priors: Priors) -> Array:
    """Return the sum of squared settings errors, each over its standard deviation, shape (n,)."""
    depth = np.min([((settings[:, 0] - c.mean_mm) / c.sd_mm) ** 2 for c in components], axis=0)
    spread = np.array([priors.ring_away_mm, *priors.housing_sd])
    return np.asarray(depth + ((settings[:, 1:] / spread) ** 2).sum(axis=1))


def _draw_prior(
    rng: np.random.Generator, n: int, components: tuple[DepthComponent, ...], priors: Priors
) -> Array:
    which = rng.choice(len(components), n, p=[c.weight for c in components])
    mean = np.array([c.mean_mm for c in components])[which]
    sd = np.array([c.sd_mm for c in components])[which]
    z = rng.standard_normal((n, 4))
    z[:, 0] = mean + sd * z[:, 0]
    z[:, 1:] *= [priors.ring_away_mm, priors.offset_error_mm, priors.shaft_angle_error_deg]
    return z


def _normalised(log_weight: Array) -> Array:
    w = np.exp(log_weight - log_weight.max())
    return np.asarray(w / w.sum())


def infer(evidence: Evidence, atlas: Atlas, priors: Priors, seed: int) -> Posterior:
    """Return samples of settings, lie and backlash given the evidence.

    Parameters
    ----------
    evidence : Evidence
    atlas : Atlas
    priors : Priors
    seed : int
        Same seed, same answer.
    """
    rng = np.random.default_rng(seed)
    components = depth_components(priors, evidence.mark_mm, evidence.mark_unit)
    rounds = _rounds(evidence, atlas, priors)
    # What is believed before a pattern is seen holds for the oldest look; since then it was moved on purpose.
    moved = -rounds[1].settings_shift if len(rounds) > 1 else np.zeros(4)
    first = _draw_prior(rng, SAMPLES, components, priors) + moved
    weighed = _weigh(first, rounds, atlas, priors, evidence)
    heat = 1.0
    weight = _normalised(weighed.log_likelihood)
    while 1.0 / (weight**2).sum() < LEAST_EFFECTIVE and heat > COOLEST:
        heat *= COOLING
        weight = _normalised(heat * weighed.log_likelihood)
    mean = weight @ first
    cov = (first - mean).T @ ((first - mean) * weight[:, None]) * WIDENED + np.diag(FLOOR_VARIANCE)
    far = int(FROM_PRIOR * SAMPLES)
    near = rng.multivariate_normal(mean, cov, SAMPLES - far)
    settings = np.concatenate([near, _draw_prior(rng, far, components, priors) + moved])
    weighed = _weigh(settings, rounds, atlas, priors, evidence)
    prior = _log_prior(settings - moved, components, priors)
    inverse, (_, log_det) = np.linalg.inv(cov), np.linalg.slogdet(cov)
    d = settings - mean
    normal = -0.5 * np.einsum("ni,ij,nj->n", d, inverse, d) - 0.5 * log_det - 2.0 * np.log(2.0 * np.pi)
    drawn_from = np.logaddexp(np.log(1.0 - FROM_PRIOR) + normal, np.log(FROM_PRIOR) + prior)
    weight = _normalised(weighed.log_likelihood + prior - drawn_from)
    effective = float(1.0 / (weight**2).sum())
    pick = _systematic(rng, weight, KEPT)
    rng.shuffle(pick)  # neighbours in order of drawing would make thinning uneven
    kept = settings[pick]
    terms = depth_log_terms(kept[:, 0] - moved[0], components)
    share = np.exp(terms - np.logaddexp.reduce(terms, axis=1)[:, None]).mean(axis=0)
    lie, stretch = _draw_habits(rng, weighed.habit_mean[pick], weighed.habit_cov[pick])
    zero = weighed.backlash_mean[pick] + weighed.backlash_sd[pick] * rng.standard_normal(KEPT)
    return Posterior(
        kept,
        lie,
        stretch,
        zero,
        {c.name: float(s) for c, s in zip(components, share, strict=True)},
        float((weighed.misfit + _strangeness(settings - moved, components, priors)).min()),
        weighed.observations,
        effective,
    )


def _systematic(rng: np.random.Generator, weight: Array, n: int) -> NDArray[np.intp]:
    """Resample evenly: n indices in proportion to the weights."""
    places = (rng.random() + np.arange(n)) / n
    return np.minimum(np.searchsorted(np.cumsum(weight), places), len(weight) - 1)
