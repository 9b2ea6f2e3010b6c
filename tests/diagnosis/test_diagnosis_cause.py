"""Is the right thing blamed, with the right sign and an honest spread? Sets rolled at known settings tell."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import integrate

import axlewright as aw
from axlewright.contact import Settings, roll
from axlewright.contact.atlas import FIGURES, atlas_of, figures_at
from axlewright.diagnosis import Earlier, Evidence, Priors, diagnose
from axlewright.diagnosis.cause import _two_closed_forms
from axlewright.errors import InputError

# A settings error large against its spread, one at a time.
ALONE = (
    ("pinion_out_mm", 0.10),
    ("ring_away_mm", 0.10),
    ("offset_error_mm", 0.06),
    ("shaft_angle_error_deg", 0.035),
)


@pytest.mark.parametrize("name", ["TY-222", "TY-310", "TY-205H", "TY-176B"])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_pinion_and_ring_alone_are_found(seen, name, sign):
    """The 90 % interval (seeded) holds the truth and is clearly narrower than what was believed before."""
    for key, size in ALONE[:2]:
        found = diagnose(seen(name, Settings(**{key: sign * size})))
        spread = found.cause[key]
        # TY-310, whose drive side is twisted most, tells pinion from offset least (1.4 standard deviations).
        assert spread.mean * sign > (1.3 if name == "TY-310" else 1.5) * spread.sd
        assert spread.p05 <= sign * size <= spread.p95
        assert spread.sd < 0.7 * Priors().ring_away_mm, "narrower than either prior, 0.06 and 0.05 to 0.15 mm"
        assert found.explained
        cure = found.cure["pinion_move_mm" if key == "pinion_out_mm" else "ring_move_mm"]
        assert cure.mean == pytest.approx(-sign * size, abs=0.03)


@pytest.mark.parametrize("name", ["TY-222", "TY-310", "TY-176B"])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_offset_and_shaft_angle_alone_lean_the_right_way(seen, name, sign):
    for key, size in ALONE[2:]:
        spread = diagnose(seen(name, Settings(**{key: sign * size}))).cause[key]
        assert spread.mean * sign > 0.5 * spread.sd
        assert abs(spread.mean) < size, "shrunk toward what is likely, never beyond the truth"


def test_a_right_set_is_left_alone(seen):
    found = diagnose(seen("TY-222", Settings()))
    assert found.advice[0].cost_class == "L0"
    assert abs(found.cause["pinion_out_mm"].mean) < found.cause["pinion_out_mm"].sd
    assert "right within" in found.words or "do not decide" in found.words


def test_swapped_flanks_are_refused(seen):
    right = seen("TY-222", Settings())
    with pytest.raises(InputError, match="read on the coast flank") as caught:
        diagnose(replace(right, drive=right.coast, coast=right.drive))
    assert "swap the two pictures" in str(caught.value)


def test_a_flank_left_unread_widens_the_answer_and_is_said(seen):
    both = diagnose(seen("TY-222", Settings(pinion_out_mm=0.1)))
    one = diagnose(seen("TY-222", Settings(pinion_out_mm=0.1), flanks="drive"))
    assert one.cause["pinion_out_mm"].sd > 1.05 * both.cause["pinion_out_mm"].sd
    assert any("coast flank was not read" in note for note in one.notes)
    assert one.cure["pinion_move_mm"].mean < 0.0


def test_an_earlier_round_narrows_the_cure(seen):
    now, before = Settings(pinion_out_mm=0.04), Settings(pinion_out_mm=0.14)
    rough = {"drive_center_sd": (0.06, 0.06), "coast_center_sd": (0.06, 0.06)}
    evidence = replace(seen("TY-222", now), **rough)
    then = seen("TY-222", before)
    told = replace(
        evidence,
        history=(Earlier(then.drive, then.coast, pinion_moved_since_mm=-0.1, backlash_mm=then.backlash_mm),),
    )
    alone, with_history = diagnose(evidence), diagnose(told)
    for key in ("pinion_move_mm", "ring_move_mm"):
        assert with_history.cure[key].sd < alone.cure[key].sd
    assert with_history.cause["pinion_out_mm"].mean == pytest.approx(0.04, abs=0.04)


@pytest.mark.parametrize(("factor", "name"), [(-1.0, "left out"), (-2.0, "wrong way round")])
@pytest.mark.parametrize("mark", [0.15, -0.12])
def test_a_mistaken_mark_is_noticed(seen, factor, name, mark):
    found = diagnose(seen("TY-222", Settings(pinion_out_mm=factor * mark), mark_mm=mark))
    likely = {k: v for k, v in found.components.items() if name in k}
    assert max(likely.values()) > 0.4
    assert any(name in note for note in found.notes)
    unmarked = diagnose(seen("TY-222", Settings(pinion_out_mm=factor * mark)))
    assert not any("mark" in note for note in unmarked.notes)


def test_a_mark_that_was_heeded_is_not_blamed(seen):
    found = diagnose(seen("TY-222", Settings(), mark_mm=0.15))
    assert not any("mark" in note for note in found.notes)


def test_a_bad_housing_is_sent_to_be_measured(seen):
    found = diagnose(seen("TY-222", Settings(offset_error_mm=-0.2, shaft_angle_error_deg=0.1)))
    assert found.fixable_by_shims < 0.25
    stop = next(a for a in found.advice if a.cost_class == "L4")
    assert found.advice.index(stop) <= (0 if found.explained else 1), "only a second reading comes before it"
    assert "measure the housing" in stop.text
    assert any("offset looks wrong" in note for note in found.notes)


def test_patterns_no_setting_explains_are_not_believed(seen):
    right = seen("TY-222", Settings())
    low = roll(right.design, "coast", pinion_out_mm=-0.2).pattern
    high = roll(right.design, "drive", pinion_out_mm=0.2).pattern
    found = diagnose(replace(right, drive=high, coast=low))
    assert not found.explained
    assert found.advice[0].cost_class == "L0", "the cheap check comes first"
    assert "read both flanks again" in found.advice[0].text
    assert any("belong together" in note for note in found.notes)


def test_same_seed_same_answer(seen):
    evidence = seen("TY-222", Settings(pinion_out_mm=0.07))
    one, two, other = diagnose(evidence), diagnose(evidence), diagnose(evidence, seed=5)
    assert one.to_json() == two.to_json()
    assert one.cause["pinion_out_mm"] != other.cause["pinion_out_mm"]
    assert one.cause["pinion_out_mm"].mean == pytest.approx(other.cause["pinion_out_mm"].mean, abs=0.004)


def test_a_poorer_reading_gives_a_wider_answer(seen):
    evidence = seen("TY-222", Settings(pinion_out_mm=0.08))
    rough = replace(evidence, drive_center_sd=(0.15, 0.15), coast_center_sd=(0.15, 0.15))
    for key in ("pinion_move_mm",):
        assert diagnose(rough).cure[key].sd > 1.5 * diagnose(evidence).cure[key].sd


def test_closed_form_agrees_with_brute_force():
    """Integrate lie and stretch out numerically (scipy) at one setting and compare evidence and means."""
    residual, travel, sd = np.array([0.10, -0.06]), np.array([0.3, -0.2]), np.array([0.04, 0.05])
    lie_sd, stretch_sd = 0.065, 0.14

    def joint(stretch, lie):
        r = (residual - lie - stretch * travel) / sd
        return np.exp(-0.5 * (r @ r + (lie / lie_sd) ** 2 + (stretch / stretch_sd) ** 2))

    box = (-0.5, 0.5, -1.0, 1.0)
    whole = integrate.dblquad(joint, *box)[0]
    mean = integrate.dblquad(lambda s, a: a * joint(s, a), *box)[0] / whole
    cross = integrate.dblquad(lambda s, a: s * a * joint(s, a), *box)[0] / whole
    log_e, habit, cov, _ = _two_closed_forms(residual[None], travel[None], sd[None], lie_sd, stretch_sd)
    assert habit[0, 0] == pytest.approx(mean, rel=1e-5)
    assert cov[0, 2] + habit[0, 0] * habit[0, 1] == pytest.approx(cross, rel=1e-4)
    # The closed form leaves out 2π of the integral and the normalisations of prior and readings are inside.
    expected = np.log(whole / (2.0 * np.pi)) - np.log(lie_sd * stretch_sd) - np.log(sd).sum()
    assert log_e[0] == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("name", ["TY-222", "TY-205H"])
def test_the_atlas_states_its_error_honestly(name):
    design, rng = aw.load_design(name), np.random.default_rng(11)
    atlas = atlas_of(design)
    settings = rng.standard_normal((40, 4)) * [0.08, 0.06, 0.025, 0.0143]
    true = np.array([figures_at(design, Settings(*(float(v) for v in s))) for s in settings])
    miss = np.sqrt(np.mean((atlas(settings) - true) ** 2, axis=0))
    for k, figure in enumerate(FIGURES):
        assert miss[k] < 2.0 * atlas.stated_error[figure]
    assert np.all(miss[:4] < 0.015)
    some = [1, 8]
    np.testing.assert_allclose(atlas(settings, some), atlas(settings)[:, some])


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"backlash_mm": -0.1}, "no backlash"),
        ({"backlash_mm": float("nan")}, "no backlash"),
        ({"backlash_sd_mm": 0.0}, "above zero"),
        ({"place": "somewhere"}, "unknown place"),
        ({"drive": None, "coast": None}, "no pattern of either flank"),
    ],
)
def test_bad_evidence_is_refused_in_a_sentence(seen, change, text):
    with pytest.raises(InputError, match=text):
        replace(seen("TY-222", Settings()), **change)


def test_bad_marks_and_spreads_are_refused(seen):
    with pytest.raises(InputError, match="no mark"):
        diagnose(seen("TY-222", Settings(), mark_mm=float("inf")))
    with pytest.raises(InputError, match="no spread"):
        Priors(lie_profile=0.0)
    with pytest.raises(InputError, match="no share"):
        Priors(wide_share=1.2)


def test_an_empty_pattern_is_refused(seen):
    evidence = seen("TY-222", Settings())
    blank = replace(evidence.drive, mask=np.zeros_like(evidence.drive.mask))
    with pytest.raises(InputError, match="nothing is marked"):
        diagnose(Evidence(evidence.design, blank))
