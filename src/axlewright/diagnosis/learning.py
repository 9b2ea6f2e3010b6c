"""After the change: what was expected against what came, and what finished jobs teach about a design."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from axlewright.contact.atlas import Atlas, atlas_of
from axlewright.diagnosis.advice import Advice
from axlewright.diagnosis.cause import CENTERS, infer
from axlewright.diagnosis.cure import Goal, patterns_after
from axlewright.diagnosis.diagnose import Diagnosis
from axlewright.diagnosis.evidence import Evidence
from axlewright.diagnosis.priors import Priors
from axlewright.errors import InputError
from axlewright.language import Number, Text, _, joined, n_, plural
from axlewright.units import Length

Array = NDArray[np.float64]

SURPRISE = 2.6  # standard deviations; one in a hundred comes farther
WEIGHT_OF_DEFAULT = 8.0  # jobs that the default spread of lies counts for
WIDE_LIE = (
    0.3  # a prior so wide that what a job tells of its lie is its likelihood; taken out again afterwards
)
LEAST_TOLD = 1e-6  # a likelihood flatter than this tells nothing
MOST_STEPS, SETTLED = 200, 1e-6  # of expectation maximisation
SLIP_STEP_MM = 0.01  # for the slope of the profile place over a slip of the pinion
LEAST_SLOPE = 0.5  # per mm; flatter, the profile place tells nothing of a slip
OFFSET_SD = 0.10  # how far patterns of a whole design may lie from its computed ones before any job is known
DIFFERENCES = {
    "drive_lengthwise": (n_("drive {by} toward heel"), n_("drive {by} toward toe")),
    "drive_profile": (n_("drive {by} higher"), n_("drive {by} lower")),
    "coast_lengthwise": (n_("coast {by} toward heel"), n_("coast {by} toward toe")),
    "coast_profile": (n_("coast {by} higher"), n_("coast {by} lower")),
    "backlash_mm": (n_("backlash {by} more"), n_("backlash {by} less")),
}
PLACES = {
    **DIFFERENCES,
    "drive_profile": (n_("drive {by} above"), n_("drive {by} below")),
    "coast_profile": (n_("coast {by} above"), n_("coast {by} below")),
}


@dataclass(frozen=True, slots=True)
class ExpectedVsCame:
    """What a change was expected to bring and what it brought.

    Attributes
    ----------
    expected, came : dict of float
        Pattern centres by the names of `CENTERS`, and ``backlash_mm`` [mm]; only what was read afterwards.
    expected_sd, came_sd : dict of float
        Of the forecast, the scatter of building included, and of the reading.
    surprise : dict of float
        Came less expected over their common standard deviation.
    as_expected : bool
        True when no figure lies farther off than one time in a hundred.
    pinion_farther_out_mm : float or None
        As if the pinion had gone this much farther out than meant (in negative); from the profile on drive.
    words : Text
        The same in plain sentences.
    """

    expected: dict[str, float]
    came: dict[str, float]
    expected_sd: dict[str, float]
    came_sd: dict[str, float]
    surprise: dict[str, float]
    as_expected: bool
    pinion_farther_out_mm: float | None
    words: Text

    def to_json(self) -> dict[str, Any]:
        """Return plain data; its words are not drawn yet."""

        def short(values: dict[str, float]) -> dict[str, float]:
            return {k: round(v, 4) for k, v in values.items()}

        return {
            "expected": short(self.expected),
            "expected_sd": short(self.expected_sd),
            "came": short(self.came),
            "came_sd": short(self.came_sd),
            "surprise": short(self.surprise),
            "as_expected": self.as_expected,
            "pinion_farther_out_mm": None
            if self.pinion_farther_out_mm is None
            else round(self.pinion_farther_out_mm, 4),
            "words": self.words,
        }


def compare_expected(
    diagnosis_before: Diagnosis,
    evidence_after: Evidence,
    *,
    advice: Advice | None = None,
    pinion_moved_mm: float | None = None,
    ring_moved_mm: float | None = None,
    goal: Goal | None = None,
    atlas: Atlas | None = None,
) -> ExpectedVsCame:
    """Compare what came after a change with what was expected of it.

    Parameters
    ----------
    diagnosis_before : Diagnosis
        Made before the change.
    evidence_after : Evidence
        What was seen after it.
    advice : Advice, optional
        The change that was made; the first one advised when None.
    pinion_moved_mm, ring_moved_mm : float, optional
        What was really moved, out and away positive [mm], in place of the advice's figures.
    goal : Goal, optional
        For the scatter of building.
    atlas : Atlas, optional

    Returns
    -------
    ExpectedVsCame
    """
    goal = Goal() if goal is None else goal
    atlas = atlas_of(evidence_after.design) if atlas is None else atlas
    if advice is None and diagnosis_before.advice:
        advice = diagnosis_before.advice[0]
    pinion = pinion_moved_mm if pinion_moved_mm is not None else (advice.pinion_move_mm if advice else 0.0)
    ring = ring_moved_mm if ring_moved_mm is not None else (advice.shim_move_mm if advice else 0.0)
    posterior = diagnosis_before.posterior
    z = np.random.default_rng(11).standard_normal((len(posterior.settings), 2))
    built = z * [bool(pinion) * goal.build_sd_mm[0], bool(pinion or ring) * goal.build_sd_mm[1]]
    centers, backlash = patterns_after(posterior, atlas, pinion + built[:, 0], ring + built[:, 1])
    expected: dict[str, float] = {}
    expected_sd: dict[str, float] = {}
    came: dict[str, float] = {}
    came_sd: dict[str, float] = {}
    for k, flank in enumerate(("drive", "coast")):
        seen = evidence_after.seen(flank)
        if seen is None:
            continue
        for j, (value, sd) in enumerate(
            ((seen.lengthwise, seen.lengthwise_sd), (seen.profile, seen.profile_sd))
        ):
            name = CENTERS[2 * k + j]
            came[name], came_sd[name] = value, sd
            expected[name] = float(centers[:, 2 * k + j].mean())
            expected_sd[name] = float(centers[:, 2 * k + j].std())
    if evidence_after.backlash_mm is not None:
        came["backlash_mm"], came_sd["backlash_mm"] = (
            evidence_after.backlash_mm,
            evidence_after.backlash_sd_mm,
        )
        expected["backlash_mm"] = float(backlash.mean())
        expected_sd["backlash_mm"] = float(backlash.std())
    surprise = {k: (came[k] - expected[k]) / float(np.hypot(came_sd[k], expected_sd[k])) for k in came}
    fine = all(abs(v) <= SURPRISE for v in surprise.values())
    short = None
    if "drive_profile" in came:
        step = SLIP_STEP_MM
        slope = (
            float((patterns_after(posterior, atlas, pinion + step, ring)[0] - centers)[:, 1].mean()) / step
        )
        if abs(slope) > LEAST_SLOPE:
            short = (came["drive_profile"] - expected["drive_profile"]) / slope
    words = _words(came, expected, surprise, fine, short, bool(pinion))
    return ExpectedVsCame(expected, came, expected_sd, came_sd, surprise, fine, short, words)


def _words(
    came: dict[str, float],
    expected: dict[str, float],
    surprise: dict[str, float],
    fine: bool,
    short: float | None,
    pinion_moved: bool,
) -> Text:
    if fine:
        worst = max(surprise, key=lambda k: abs(surprise[k]))
        return _("The change brought what was expected of it (largest difference: {difference}).").format(
            difference=_difference(worst, came[worst] - expected[worst])
        )
    out: list[Text] = []
    for name, off in surprise.items():
        if abs(off) > SURPRISE:
            out.append(
                _("Not as expected: {difference}, {off} standard deviations.").format(
                    difference=_difference(name, came[name] - expected[name]), off=Number(abs(off), ".1f")
                )
            )
    if short is not None and abs(surprise["drive_profile"]) > SURPRISE:
        out.append(
            (
                _("It looks as if the pinion sits {short} farther out than was meant.")
                if short > 0
                else _("It looks as if the pinion sits {short} farther in than was meant.")
            ).format(short=Length(abs(short)))
        )
        if pinion_moved:
            out.append(
                _(
                    "Check the fitted spacer's thickness, the bearing's width against the one "
                    "measured, and that cup and cone are seated."
                )
            )
    if abs(surprise.get("backlash_mm", 0.0)) > SURPRISE:
        out.append(_("Read the backlash again after the caps are torqued, and check both side shims."))
    if len([s for s in surprise.values() if abs(s) > SURPRISE]) > 1:
        out.append(_("If both flanks jumped, make sure the same set was photographed at the same place."))
    return joined(*out)


def _count(jobs: int) -> Text:
    return plural("1 job", "{count} jobs", jobs).format(count=jobs)


def _difference(name: str, by: float, words: Mapping[str, tuple[str, str]] = DIFFERENCES) -> Text:
    size = Length(abs(by)) if name == "backlash_mm" else Number(abs(by), ".2f")
    return _(words[name][0 if by > 0 else 1]).format(by=size)


@dataclass(frozen=True, slots=True)
class LearnedDesign:
    """What finished jobs taught about a design.

    Attributes
    ----------
    design_name : str
    jobs : int
    offset, offset_sd : array, shape (4,)
        How far the patterns of this design's sets lie from its computed ones on average, in the order of
        `CENTERS`, and how well that is known.
    spread : array, shape (4,)
        How far single sets lie from that average.
    priors : Priors
        To be given to `diagnose`.
    words : Text
    """

    design_name: str
    jobs: int
    offset: Array
    offset_sd: Array
    spread: Array
    priors: Priors
    words: Text


def learn_design(
    jobs: Sequence[Evidence], *, priors: Priors | None = None, seed: int = 0, atlas: Atlas | None = None
) -> LearnedDesign:
    """Learn from finished jobs where the patterns of a design's sets lie.

    A hierarchical normal model: each set's lie is the design's offset plus its own; both the offset and the
    spread of single sets are estimated (expectation maximisation), the default spread counting as
    `WEIGHT_OF_DEFAULT` jobs. What a job tells of its lie is its likelihood alone, the prior it was read with
    taken out, so nothing is counted twice.

    Parameters
    ----------
    jobs : sequence of Evidence
        The last look at each finished job, with its history where there is one; one design.
    priors : Priors, optional
        Spreads to start from.
    seed : int
    atlas : Atlas, optional

    Returns
    -------
    LearnedDesign

    Raises
    ------
    InputError
        Without jobs, or with jobs of several designs.
    """
    if not jobs:
        raise InputError(_("no finished job"), where=_("jobs"), fix=_("give one job of the design at least"))
    design = jobs[0].design
    if any(job.design != design for job in jobs):
        raise InputError(
            _("jobs of several designs"), where=_("jobs"), fix=_("learn each design from its own jobs")
        )
    priors = Priors() if priors is None else priors
    atlas = atlas_of(design) if atlas is None else atlas
    start_sd = priors.habits(design).lie_sd
    # Read every job with a wide lie, so that the likelihood shows.
    wide = replace(priors, lie_lengthwise=WIDE_LIE, lie_profile=WIDE_LIE, lie_center=(0.0, 0.0, 0.0, 0.0))
    means, variances = np.empty((len(jobs), 4)), np.empty((len(jobs), 4))
    for j, job in enumerate(jobs):
        lie = infer(job, atlas, wide, seed).lie
        means[j], variances[j] = lie.mean(axis=0), lie.var(axis=0)
    told = np.maximum(1.0 / variances - 1.0 / WIDE_LIE**2, 0.0)  # precision of the likelihood alone
    y = np.divide(means / variances, told, out=np.zeros_like(means), where=told > LEAST_TOLD)
    offset, offset_sd, spread = np.zeros(4), np.full(4, OFFSET_SD), start_sd.copy()
    for k in range(4):
        use = told[:, k] > LEAST_TOLD
        if not use.any():
            continue
        v, seen = 1.0 / told[use, k], y[use, k]
        for _step in range(MOST_STEPS):
            w = 1.0 / (v + spread[k] ** 2)
            precision = w.sum() + OFFSET_SD**-2
            offset[k], offset_sd[k] = (w * seen).sum() / precision, precision**-0.5
            gain = spread[k] ** 2 * w
            own = gain * (seen - offset[k])
            second = own**2 + spread[k] ** 2 * (1.0 - gain) + (gain * offset_sd[k]) ** 2
            new = np.sqrt(
                (second.sum() + WEIGHT_OF_DEFAULT * start_sd[k] ** 2) / (len(seen) + WEIGHT_OF_DEFAULT)
            )
            if abs(new - spread[k]) < SETTLED:
                break
            spread[k] = new
    both = np.hypot(spread, offset_sd)
    learned = replace(
        priors,
        lie_center=(float(offset[0]), float(offset[1]), float(offset[2]), float(offset[3])),
        lie_lengthwise=float(np.sqrt((both[0] ** 2 + both[2] ** 2) / 2.0)),
        lie_profile=float(np.sqrt((both[1] ** 2 + both[3] ** 2) / 2.0)),
        source=_("learned from {jobs} of {design}; {source}").format(
            jobs=_count(len(jobs)),
            design=design.name,
            source=_(priors.source) if isinstance(priors.source, str) else priors.source,
        ),
    )
    parts = [
        _difference(name, float(offset[k]), PLACES)
        for k, name in enumerate(CENTERS)
        if abs(offset[k]) > 2.0 * offset_sd[k]
    ]
    words = (
        _("{jobs} of {design}: its patterns lie {parts} of where the computed ones lie.")
        if parts
        else _(
            "{jobs} of {design}: its patterns lie where the computed ones lie, as far as that can be told."
        )
    ).format(jobs=_count(len(jobs)), design=design.name, parts=joined(*parts, between=", "))
    return LearnedDesign(design.name, len(jobs), offset, offset_sd, spread, learned, words)
