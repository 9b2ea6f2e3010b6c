"""From what was seen to cause, cure and advice."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from axlewright.contact import ContactPattern, Settings, build_mesh
from axlewright.contact.atlas import Atlas, atlas_of
from axlewright.contact.marks import flank_name
from axlewright.contact.rolling import roll_unloaded
from axlewright.diagnosis.advice import (
    UNFIXABLE,
    Advice,
    list_advice,
    moves_of_stock,
    show_chance,
    spacer_out_of_reach,
)
from axlewright.diagnosis.another_look import look_before
from axlewright.diagnosis.cause import KEYS, Posterior, Spread, infer, spread_of
from axlewright.diagnosis.cure import Goal, accepted, best_moves, patterns_after
from axlewright.diagnosis.evidence import Evidence
from axlewright.diagnosis.priors import Priors
from axlewright.errors import ContactError, InputError
from axlewright.gearset import FlankName
from axlewright.language import Number, Text, _, joined, n_
from axlewright.units import Length

NOTICEABLE_MM = 0.025  # a depth error below about 0.001 in is not worth a word
TIGHTER_TOLD_MM = 0.005  # a tightest place nearer to the mean than this is the mean


def cause_sentence(depth: Spread, posterior: Posterior) -> Text:
    """Say where the pinion sits and how sure that is."""
    out = float((posterior.settings[:, 0] > 0.0).mean())
    sure = max(out, 1.0 - out)
    size, sd = Length(abs(depth.mean)), Length(depth.sd)
    if abs(depth.mean) < NOTICEABLE_MM and depth.sd < 2 * NOTICEABLE_MM:
        return _("The pinion depth is right within what the patterns can tell (± {sd}).").format(sd=sd)
    if sure < 0.9:
        words = (
            _(
                "The patterns do not decide whether the pinion sits too far in or out: best guess {size} too "
                "far out, give or take {sd}."
            )
            if out > 0.5
            else _(
                "The patterns do not decide whether the pinion sits too far in or out: best guess {size} too "
                "far in, give or take {sd}."
            )
        )
        return words.format(size=size, sd=sd)
    words = (
        _(
            "The pinion sits {size} too far out, give or take {sd} (one standard deviation; {sure} sure of "
            "the direction)."
        )
        if out > 0.5
        else _(
            "The pinion sits {size} too far in, give or take {sd} (one standard deviation; {sure} sure of "
            "the direction)."
        )
    )
    return words.format(size=size, sd=sd, sure=show_chance(sure))


def how_built(spacer_step_mm: float, from_shelf: bool) -> Text:
    """Say how the change advised was chosen: the least hours expected among what can be built.

    Parameters
    ----------
    spacer_step_mm : float
        [mm]; counts where no shelf does.
    from_shelf : bool
        Whether only spacers on the shelf are advised: there is a shelf and the spacer fitted now is known.
    """
    if from_shelf:
        return _("the best choice near that with the spacers on the shelf")
    return _("the best choice near that in steps of {step}").format(step=Length(spacer_step_mm))


def figures_words(
    cause: Mapping[str, Spread],
    cure: Mapping[str, Spread],
    pinion_move_mm: float,
    how: Text,
) -> Text:
    """Tell the figures of the pinion apart: where it stands, what brings the patterns right, what is built.

    Parameters
    ----------
    cause, cure : mapping of Spread
        As `Diagnosis` has them.
    pinion_move_mm : float
        Of the change advised, out positive [mm]; 0 where none is advised.
    how : Text
        How it was chosen, as `how_built` says it.
    """
    stands = Length(cause["pinion_out_mm"].mean, signed=True)
    right = Length(cure["pinion_move_mm"].mean, signed=True)
    if not pinion_move_mm:
        return _(
            "Figures of the pinion, out plus, in minus: it stands {stands} from where such sets are "
            "developed; a move of {right} would bring this set's patterns where they belong, its own habits "
            "counted; the first advice does not move it."
        ).format(stands=stands, right=right)
    return _(
        "Figures of the pinion, out plus, in minus: it stands {stands} from where such sets are developed; a "
        "move of {right} would bring this set's patterns where they belong, its own habits counted; the move "
        "advised is {built}, {how}."
    ).format(stands=stands, right=right, built=Length(pinion_move_mm, signed=True), how=how)


def tightest_note(evidence: Evidence, target_mm: float) -> Text:
    """Say that the target is held at the tightest place; empty where that is the mean as well."""
    if evidence.tighter_mm < TIGHTER_TOLD_MM:
        return ""
    return _(
        "The backlash is aimed at {target} at its tightest place, as the limits are meant; the mean of the "
        "readings lies {tighter} above that place and is expected to stay so."
    ).format(target=Length(target_mm), tighter=Length(evidence.tighter_mm))


Array = NDArray[np.float64]

UNEXPLAINED = 0.99999  # rarer than this, set, housing and reading errors together do not explain it
SPACER_STEP_MM = 0.0127  # select spacers come by 0.0005 in
# An unread backlash is believed to lie where the shop set it. It still pulls the ring gear a little, so that
# patterns alone never send it far: a miss of two of its own prior spreads (2 × 0.06 mm) weighs one, a
# sixteenth of a read backlash's pull; and it decides no acceptance.
UNREAD_BACKLASH_SCALE_MM = 0.12
UNREAD_BACKLASH_ACCEPT_MM = 10.0
# Rolling the expected pattern: the ease-off is moved until it lies within this of where it is wanted. The
# flat middle of the profile answers about a third as much as the length does, hence the two gains.
PLACED_WITHIN = 0.02
PLACING_GAIN = (1.0, 3.5)
PLACING_REACH = 0.8  # farther off the middle than this a flank has no room for a pattern
PLACING_ROUNDS = 4
# From here on, in half depths, a pattern runs off the tooth: how far it moves there differs from set to set,
# and of simulated sets that began there about 60 % were right after one change (docs/diagnosis.md).
OFF_THE_EDGE = 0.45
DRAWN = 2  # so many of the best advices come with the patterns expected after them
LIKELY = 0.4  # a way in which the depth came about that is at least this likely is told
# A housing error is told from twice its prior spread on (0.025 mm, 0.0143 deg) and when two of its own
# standard deviations away from zero.
OFFSET_TOLD_MM = 0.05
SHAFT_ANGLE_TOLD_DEG = 0.03
TOLD_SDS = 2.0
EDGE = 0.95  # share of the atlas' half range counted as its edge
EDGE_SHARE = 0.1  # of the samples at the edge from which on that is said


MARK_SENTENCES = {
    "the mark was left out": n_(
        "The error is that of the depth mark ({mark}): probably the mark was left out ({share})."
    ),
    "the mark was taken the wrong way round": n_(
        "The error is twice the depth mark ({mark}): probably the mark was taken the wrong way round "
        "({share})."
    ),
    "the mark was taken in the wrong unit": n_(
        "The error fits the depth mark ({mark}) read in the wrong unit: thousandths of an inch and "
        "hundredths of a millimetre were probably mixed up ({share})."
    ),
}


@dataclass(frozen=True)
class Diagnosis:
    """Cause, cure and what to do.

    Attributes
    ----------
    cause : dict of Spread
        Settings errors as they are now, keys of `KEYS` [mm, deg].
    cure : dict of Spread
        ``pinion_move_mm`` (out positive) and ``ring_move_mm`` (away positive) that bring the patterns where
        they belong.
    fixable_by_shims : float
        Probability that some spacer and shims bring both flanks inside acceptance.
    explained : bool
        False when no likely setting of this design explains the patterns.
    advice : tuple of Advice
        Best first.
    notes : tuple of Text
        What else should be known, in sentences.
    components : dict
        Probability of each way in which the depth came about.
    posterior : Posterior
        The samples behind it.
    figures : Text
        Tells apart how far out the pinion stands, what brings the patterns right, and what is built.
    """

    cause: dict[str, Spread]
    cure: dict[str, Spread]
    fixable_by_shims: float
    explained: bool
    advice: tuple[Advice, ...]
    notes: tuple[Text, ...]
    components: dict[str, float]
    posterior: Posterior
    figures: Text = ""

    @property
    def words(self) -> Text:
        """The finding in plain sentences."""
        return joined(cause_sentence(self.cause["pinion_out_mm"], self.posterior), *self.notes)

    def to_json(self) -> dict[str, Any]:
        """Return the contract of ``axlewright read --json``; its words are not drawn yet."""
        return {
            "cause": {k: v.to_json() for k, v in self.cause.items()},
            "cure": {k: v.to_json() for k, v in self.cure.items()},
            "fixable_by_shims": round(self.fixable_by_shims, 3),
            "explained": self.explained,
            "how_the_depth_came_about": {k: round(v, 3) for k, v in self.components.items()},
            "advice": [a.to_json() for a in self.advice],
            "notes": list(self.notes),
            "words": self.words,
            "figures": self.figures,
        }


def diagnose(
    evidence: Evidence,
    *,
    spacer_stock: Sequence[float] | None = None,
    shim_step_mm: float = 0.0254,
    spacer_step_mm: float | None = None,
    priors: Priors | None = None,
    goal: Goal | None = None,
    seed: int = 0,
    atlas: Atlas | None = None,
) -> Diagnosis:
    """Find the cause, the cure and the change most likely to be the last.

    Parameters
    ----------
    evidence : Evidence
    spacer_stock : sequence of float, optional
        Measured thicknesses on the shelf [mm]; with `Evidence.spacer_now_mm` only these are advised.
    shim_step_mm : float
        Step in which side shims can be changed [mm].
    spacer_step_mm : float, optional
        Step in which depth spacers are to be had [mm]. When None: 0.0127 mm (0.0005 in, the step of select
        spacers), under a cage flange the step of shims.
    priors : Priors, optional
    goal : Goal, optional
    seed : int
    atlas : Atlas, optional
        In place of the design's cached one.

    Returns
    -------
    Diagnosis
    """
    priors = Priors() if priors is None else priors
    goal = Goal() if goal is None else goal
    atlas = atlas_of(evidence.design) if atlas is None else atlas
    posterior = infer(evidence, atlas, priors, seed)
    target = evidence.backlash_target_mm
    if target is None:
        target = evidence.design.backlash_nominal_mm
    wanted_mean = target + evidence.tighter_mm  # the tightest place is what is held to the target
    if spacer_step_mm is None:
        spacer_step_mm = shim_step_mm if evidence.place == "cage_flange" else SPACER_STEP_MM
    for what, step in (("shim_step_mm", shim_step_mm), ("spacer_step_mm", spacer_step_mm)):
        if not step > 0.0:
            raise InputError(
                _("A step of {step} mm cannot be built.").format(step=Number(step, "g")),
                where=what,
                fix=_("give a step above zero"),
            )
    if evidence.backlash_mm is None:
        goal = replace(
            goal,
            backlash_scale_mm=UNREAD_BACKLASH_SCALE_MM,
            backlash_accept_mm=UNREAD_BACKLASH_ACCEPT_MM,
        )
    a, b = best_moves(posterior, atlas, wanted_mean, goal)
    ideal = accepted(*patterns_after(posterior, atlas, a, b), wanted_mean, goal)
    fixable = float(ideal.mean())
    cause = {key: spread_of(posterior.settings[:, i]) for i, key in enumerate(KEYS)}
    cure = {"pinion_move_mm": spread_of(a), "ring_move_mm": spread_of(b)}
    explained = posterior.misfit < float(chi2.ppf(UNEXPLAINED, posterior.observations))
    advice = list_advice(
        posterior,
        atlas,
        goal=goal,
        backlash_target_mm=wanted_mean,
        pinion_wanted_mm=float(np.median(a)),
        place=evidence.place,
        spacer_now_mm=evidence.spacer_now_mm,
        spacer_stock=spacer_stock,
        spacer_step_mm=spacer_step_mm,
        shim_step_mm=shim_step_mm,
        side_shims_mm=evidence.side_shims_mm,
        fixable=fixable,
        backlash_known=evidence.backlash_mm is not None,
        tighter_mm=None if evidence.backlash_tightest_mm is None else evidence.tighter_mm,
    )
    look = look_before(
        evidence,
        posterior,
        atlas,
        goal,
        advice[0],
        explained=explained,
        target_mm=wanted_mean,
        moves=(a, b),
        buildable=moves_of_stock(spacer_stock, evidence.spacer_now_mm, evidence.place),
    )
    if look is not None:
        advice.insert(0, look)
    notes = _notes(evidence, posterior, cause, fixable, explained, atlas, goal)
    beyond = spacer_out_of_reach(
        float(np.median(a)), evidence.place, evidence.spacer_now_mm, spacer_stock, spacer_step_mm
    )
    notes += [note for note in (beyond, tightest_note(evidence, target)) if note]
    how = how_built(spacer_step_mm, bool(spacer_stock) and evidence.spacer_now_mm is not None)
    offered = advice[0].saves_hours is not None  # without one more photo the next advice stands
    figures = figures_words(cause, cure, advice[1 if offered else 0].pinion_move_mm, how)
    advice = [
        item
        if item.look_again or k > DRAWN
        else replace(item, expected=expected_patterns(evidence, posterior, item, atlas))
        for k, item in enumerate(advice, start=1)
    ]
    return Diagnosis(
        cause, cure, fixable, explained, tuple(advice), tuple(notes), posterior.components, posterior, figures
    )


def expected_patterns(
    evidence: Evidence, posterior: Posterior, advice: Advice, atlas: Atlas
) -> dict[str, ContactPattern]:
    """Roll the set as it is believed to be, after the change.

    The design's ease-off is moved until the rolled pattern lies where the samples expect it.
    """
    design = evidence.design
    mean = posterior.settings.mean(axis=0)
    after = Settings(*(float(v) for v in mean)).plus(Settings(advice.pinion_move_mm, advice.shim_move_mm))
    wanted = patterns_after(posterior, atlas, advice.pinion_move_mm, advice.shim_move_mm)[0].mean(axis=0)
    mesh = build_mesh(design)
    out: dict[str, ContactPattern] = {}
    names: tuple[FlankName, ...] = ("drive", "coast")
    for k, name in enumerate(names):
        aim, shift, gain = wanted[2 * k : 2 * k + 2], np.zeros(2), np.array(PLACING_GAIN)
        try:
            for _round in range(PLACING_ROUNDS):
                ease = design.ease_off(name).moved(float(shift[0]), float(shift[1]))
                out[name] = roll_unloaded(mesh, name, after, ease, design.compound_film_mm)[0]
                miss = aim - np.array(out[name].center)
                if not np.isfinite(miss).all() or np.abs(miss).max() < PLACED_WITHIN:
                    break
                shift = np.clip(shift + gain * miss, -PLACING_REACH, PLACING_REACH)
        except ContactError:
            continue
    return out


def _notes(
    evidence: Evidence,
    posterior: Posterior,
    cause: dict[str, Spread],
    fixable: float,
    explained: bool,
    atlas: Atlas,
    goal: Goal,
) -> list[Text]:
    notes: list[Text] = []
    if not explained:
        notes.append(
            _(
                "No likely setting of this design explains these patterns: check that the "
                "design, the flanks and the pictures belong together before anything is "
                "taken apart; if they do, the housing is far out."
            )
        )
    for name, share in posterior.components.items():
        if share > LIKELY and evidence.mark_mm and name in MARK_SENTENCES:
            notes.append(
                _(MARK_SENTENCES[name]).format(
                    mark=Length(evidence.mark_mm, signed=True), share=Number(share, ".0%")
                )
            )
    for key, what, scale in (
        ("offset_error_mm", _("offset"), OFFSET_TOLD_MM),
        ("shaft_angle_error_deg", _("shaft angle"), SHAFT_ANGLE_TOLD_DEG),
    ):
        spread = cause[key]
        if abs(spread.mean) > scale and abs(spread.mean) > TOLD_SDS * spread.sd:
            notes.append(
                _("The {what} looks wrong; that cannot be shimmed out: measure the housing.").format(
                    what=what
                )
            )
    if fixable < UNFIXABLE:
        notes.append(_("Shims are unlikely to bring both flanks right."))
    if evidence.drive is None or evidence.coast is None:
        notes.append(
            _("The {flank} was not read; reading it costs minutes and narrows this down.").format(
                flank=flank_name("drive" if evidence.drive is None else "coast")
            )
        )
    if evidence.backlash_mm is None:
        notes.append(_("The backlash was not read: read it before the ring gear is moved; it costs minutes."))
    decides = evidence.seen(goal.deciding_flank)
    if decides is not None and abs(decides.profile) > OFF_THE_EDGE:
        notes.append(
            _(
                "The pattern of the {flank} runs off the edge of the tooth: there the size of the change is "
                "known less well, so roll again after it and count on a second one."
            ).format(flank=flank_name(goal.deciding_flank))
        )
    edge = np.abs(posterior.settings / atlas.half_range) > EDGE
    if float(edge.any(axis=1).mean()) > EDGE_SHARE:
        notes.append(
            _(
                "The settings lie at the edge of what was computed: take the size of the change as a least "
                "one, roll again after it, and count on a second change."
            )
        )
    return notes
