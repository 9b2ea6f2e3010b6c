"""Sets rolled with measured flanks: ring gear, pinion or both; without load, under load, in a sweep."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from typer.testing import CliRunner

import axlewright as aw
from axlewright.cli.app import app
from axlewright.contact import Settings
from axlewright.errors import DesignError
from axlewright.gearset import build_geometry
from axlewright.gearset.measured import flank_csv
from axlewright.gearset.measured_pinion import fit_pinion, pinion_csv
from axlewright.gearset.points import read_flank_points

COARSE = {"lengthwise": 64, "profile": 32, "roll_angles": 96}


def changed(text, *, turn=0.4, noise_mm=0.0, change=None, seed=3):
    """Return a file of points turned about z, with noise along the normals, as a machine would write it."""
    head, *lines = text.splitlines()
    names = head.split(",")
    rows = np.array([[float(v) for v in line.split(",")[:6]] for line in lines])
    labels = [line.split(",")[6:] for line in lines]
    rows[:, :3] += noise_mm * np.random.default_rng(seed).standard_normal((len(rows), 1)) * rows[:, 3:]
    if change is not None:
        rows = change(rows)
    c, s = math.cos(turn), math.sin(turn)
    spin = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    rows = np.hstack([rows[:, :3] @ spin.T, rows[:, 3:] @ spin.T])
    out = [",".join([*(f"{v:.7f}" for v in row), *label]) for row, label in zip(rows, labels, strict=False)]
    return "\n".join([",".join(names), *out]) + "\n"


def ring_text(design, name, **how):
    return changed(flank_csv(build_geometry(design).flank(name), 25, 13), **how)


def pinion_text(design, name, **how):
    return changed(pinion_csv(design, name, 25, 13), **how)


@pytest.mark.parametrize("name", ["TY-222", "TY-205H", "TY-176B", "TY-310"])
@pytest.mark.parametrize("hand", ["left", "right"])
def test_a_pinion_measured_with_a_micron_of_noise_rolls_like_the_one_it_was_taken_from(name, hand):
    design = replace(aw.load_design(name), hand=hand)
    measured = aw.read_measured(
        design, pinion=[pinion_text(design, f, noise_mm=0.001) for f in ("coast", "drive")]
    )
    assert {fit.flank for fit in measured.pinion} == {"drive", "coast"}
    for fit in measured.pinion:
        assert fit.scatter_mm == pytest.approx(0.001, rel=0.2)
        assert abs(fit.turned_deg) == pytest.approx(math.degrees(0.4), abs=0.02)
    for flank in ("drive", "coast"):
        here, cut = (aw.roll(design, flank, 0.05, measured=m, **COARSE) for m in (measured, None))
        assert here.pattern.center == pytest.approx(cut.pattern.center, abs=0.03)
        assert here.pattern.length_fraction == pytest.approx(cut.pattern.length_fraction, abs=0.05)
        # A micron on the flank is 11 to 17 µrad of ring gear, and noise hides where the relief begins.
        assert here.motion_error_pp_urad == pytest.approx(cut.motion_error_pp_urad, abs=15.0)


def test_the_side_of_a_file_without_names_is_told_by_its_shape():
    design = aw.load_design("TY-222")
    bare = "\n".join(",".join(line.split(",")[:6]) for line in pinion_text(design, "coast").splitlines())
    measured = aw.read_measured(design, ring=ring_text(design, "coast"), pinion=bare + "\n")
    assert [fit.flank.name for fit in measured.ring] == ["coast"]
    assert [fit.flank for fit in measured.pinion] == ["coast"]


def test_a_measured_crown_on_ring_gear_or_pinion_shortens_the_pattern_alike():
    """20 µm taken off lengthwise from either member is nearly the same to the mesh."""
    design = aw.load_design("TY-222")
    geometry = build_geometry(design)
    r0 = geometry.blank

    def ring_crown(rows):
        x, _ = r0.to_tooth(np.hypot(rows[:, 0], rows[:, 1]), rows[:, 2])
        rows[:, :3] -= 0.020 * (x * x)[:, None] * rows[:, 3:]
        return rows

    def pinion_crown(rows):  # 25 lengthwise by 13 in profile, toe first
        x = np.tile(np.linspace(-0.97, 0.97, 25), 13)
        rows[:, :3] -= 0.020 * (x * x)[:, None] * rows[:, 3:]
        return rows

    plain = aw.roll(design, "drive").pattern.length_fraction
    ring = aw.read_measured(design, ring=ring_text(design, "drive", change=ring_crown))
    pinion = aw.read_measured(design, pinion=pinion_text(design, "drive", change=pinion_crown))
    short = [aw.roll(design, "drive", measured=m).pattern.length_fraction for m in (ring, pinion)]
    assert short[0] == pytest.approx(short[1], abs=0.04)
    assert max(short) < plain - 0.08
    # Both together act as their sum: the mark is the shorter by the root of the crowns' ratio (parabola).
    both = replace_pinion(ring, pinion)
    assert aw.roll(design, "drive", measured=both).pattern.length_fraction == pytest.approx(
        plain * math.sqrt(30.0 / 70.0), abs=0.05
    )


def replace_pinion(one, other):
    return type(one)(one.design, one.ring, other.pinion)


def test_measured_flanks_roll_under_load_and_in_a_sweep():
    design = aw.load_design("TY-222")
    measured = aw.read_measured(design, ring=ring_text(design, "drive"), pinion=pinion_text(design, "drive"))
    here, cut = (aw.roll(design, "drive", torque_nm=150.0, measured=m, **COARSE) for m in (measured, None))
    assert here.loaded.torque_error < 1e-6
    assert here.pattern.center == pytest.approx(cut.pattern.center, abs=0.03)
    assert here.loaded.peak_pressure_mpa == pytest.approx(cut.loaded.peak_pressure_mpa, rel=0.1)
    table = aw.sweep(
        design, [Settings(), Settings(0.05)], ["drive"], measured=measured, progress=False, **COARSE
    )
    alone = aw.roll(design, "drive", 0.05, measured=measured, **COARSE)
    assert table.rows[1]["profile"] == alone.pattern.center[1]
    assert len(alone.summary()["measured"]) == 2


def test_another_design_than_the_measured_one_is_refused():
    design = aw.load_design("TY-222")
    measured = aw.read_measured(design, ring=ring_text(design, "drive"))
    with pytest.raises(ValueError, match="measured against TY-222"):
        aw.roll(aw.load_design("TY-310"), "drive", measured=measured)


def hole(rows):
    return np.delete(rows, [k for k in range(len(rows)) if 5 <= k % 25 <= 17 and 4 <= k // 25 <= 9], axis=0)


def outlier(rows):
    rows[160, :3] += 0.030 * rows[160, 3:]
    return rows


def inward(rows):
    rows[:, 3:] *= -1.0
    return rows


def leaning(rows):
    rows[160, 3:] += np.array([0.0, 0.0, 0.2])
    rows[160, 3:] /= np.linalg.norm(rows[160, 3:])
    return rows


def in_inches(rows):
    rows[:, :3] /= 25.4
    return rows


def lifted(rows):
    rows[:, 2] += 30.0
    return rows


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (hole, r"no point within 0\.\d\d of "),
        (outlier, r"point 161 stands [+-].*µm off"),
        (inward, "into the tooth's metal"),
        (leaning, "normal of point 161 leans"),
        (in_inches, "only when read as inches"),
        (lifted, "off the tooth"),
        (lambda rows: rows[:9], "9 points"),
    ],
)
def test_bad_pinion_points_are_refused_naming_the_place(change, words):
    design = aw.load_design("TY-222")
    with pytest.raises(DesignError, match=words):
        aw.read_measured(design, pinion=pinion_text(design, "drive", change=change))


def test_the_wrong_side_and_the_wrong_hand_are_refused():
    design = aw.load_design("TY-222")
    wrong = pinion_text(design, "coast").replace(",coast\n", ",drive\n")
    with pytest.raises(DesignError, match="named drive have the shape of the coast flank"):
        aw.read_measured(design, pinion=wrong)
    with pytest.raises(DesignError, match=r"leave the design.s pinion flank for drive by|off the tooth"):
        fit_pinion(design, "drive", *read_flank_points(wrong))
    other = replace(design, hand="right")
    with pytest.raises(DesignError, match="leave the design's"):
        aw.read_measured(other, ring=ring_text(design, "drive"))
    with pytest.raises(DesignError, match="leave the design's"):
        fit_pinion(other, "drive", *read_flank_points(pinion_text(design, "drive")))


def test_a_flank_given_twice_or_named_strangely_is_refused():
    design = aw.load_design("TY-222")
    text = ring_text(design, "drive")
    with pytest.raises(DesignError, match="given twice"):
        aw.read_measured(design, ring=[text, text])
    with pytest.raises(DesignError, match="line 2 names the flank 'left'"):
        aw.read_measured(design, pinion=pinion_text(design, "drive").replace(",drive\n", ",left\n", 1))


def test_both_flanks_in_one_file_on_the_command_line(tmp_path):
    design = aw.load_design("TY-222")
    both = pinion_text(design, "drive") + "\n".join(pinion_text(design, "coast").splitlines()[1:]) + "\n"
    (tmp_path / "pinion.csv").write_text(both)
    (tmp_path / "ring.csv").write_text(ring_text(design, "drive"))
    run = CliRunner().invoke(
        app,
        ["roll", "TY-222", "--measured-ring", str(tmp_path / "ring.csv"), "--measured-pinion",
         str(tmp_path / "pinion.csv"), "--json"],
    )  # fmt: skip
    assert run.exit_code == 0, run.output
    told = json.loads(run.stdout)["drive"]["measured"]
    assert len(told) == 3
    assert "325 points" in told[0]
    plain = CliRunner().invoke(app, ["roll", "TY-222", "--measured-ring", str(tmp_path / "ring.csv")])
    assert "measured at 325 points" in plain.stdout
    lost = CliRunner().invoke(app, ["roll", "TY-222", "--measured-ring", str(tmp_path / "none.csv")])
    assert lost.exit_code == 2
