"""Design files: reading, estimates, round trip."""

from __future__ import annotations

import pytest

from axlewright.errors import DesignError
from axlewright.gearset import (
    DesignFields,
    design_to_toml,
    load_design,
    parse_design,
    shipped_designs,
)

SMALL = 'name = "mine"\npinion_teeth = 11\nring_teeth = 41\nring_outer_diameter_mm = 222\noffset_mm = 38\n'


def test_what_is_left_out_is_estimated_and_said():
    design = parse_design(SMALL)
    names = {e.field for e in design.estimates}
    assert {"face_width_mm", "pinion_spiral_angle_deg", "lengthwise_crown_mm", "hand"} <= names
    assert "offset_mm" not in names
    assert all(e.rule for e in design.estimates)
    # ANSI/AGMA 2005 guide, from memory: 25 + 5 sqrt(41/11) + 90 * 38/222 = 50.06
    assert design.pinion_spiral_angle_deg == pytest.approx(50.1, abs=0.05)


def test_a_written_design_reads_back_the_same():
    design = parse_design(SMALL)
    again = parse_design(design_to_toml(design))
    assert again.fields() == design.fields()


def test_every_contract_key_is_a_field():
    wanted = {
        "name", "tooth_form", "pinion_teeth", "ring_teeth", "offset_mm", "shaft_angle_deg",
        "ring_outer_diameter_mm", "face_width_mm", "pinion_spiral_angle_deg", "cutter_radius_mm",
        "blade_groups", "mean_pressure_angle_deg", "hand", "lengthwise_crown_mm", "profile_crown_mm",
        "twist_mm", "top_root_relief_mm", "relief_start", "compound_film_mm",
    }  # fmt: skip
    assert wanted <= set(DesignFields.model_fields)


def test_the_demo_designs_are_there():
    assert set(shipped_designs()) == {"TY-222", "TY-310", "TY-205H", "TY-176B"}
    assert load_design("ty-222").ring_teeth == 41


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("pinion_teeth = ", "TOML"),
        (SMALL + "ring_teeth = 12\n", "TOML"),
        (SMALL.replace("11", '"eleven"'), "pinion_teeth"),
        (SMALL.replace("offset_mm", "offset"), "offset"),
    ],
)
def test_a_wrong_file_is_refused_with_the_place(text, word):
    with pytest.raises(DesignError, match=word):
        parse_design(text, where="my.toml")


def test_an_unknown_design_names_the_known_ones(tmp_path):
    with pytest.raises(DesignError, match="TY-222"):
        load_design("TY-999")
    binary = tmp_path / "x.toml"
    binary.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(DesignError, match="readable"):
        load_design(binary)
