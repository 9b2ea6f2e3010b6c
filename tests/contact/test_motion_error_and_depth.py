"""Motion error against pinion depth, without load and at road loads (common practice, by ear, no source).

Road loads: docs/studies/motion_error_and_depth.py, steady speed of a vehicle of common size, common practice.
The bus is left at a quarter of its own, up to which the rule holds; docs/method.md says so.
"""

from __future__ import annotations

import pytest

from axlewright.contact import roll
from axlewright.gearset import load_design

# The grid's own error is 1 % each, the tooth stiffness is known to a few per cent more.
SLACK = 0.05


def errors_at(name, flank, torque):
    return {
        k: roll(load_design(name), flank, k * 0.0254, torque_nm=torque).motion_error_pp_urad
        for k in (-4, -2, 0, 2, 4, 6)
    }


@pytest.mark.parametrize("name", ["TY-222", "TY-205H", "TY-310", "TY-176B"])
@pytest.mark.parametrize("flank", ["drive", "coast"])
@pytest.mark.parametrize("torque", [0.0, 40.0])
def test_least_where_developed_and_rising_both_ways_without_and_at_light_load(name, flank, torque):
    e = errors_at(name, flank, torque)
    assert e[-4] > e[-2] > e[0] < e[2] < e[4] < e[6]


@pytest.mark.parametrize(
    ("name", "torque"), [("TY-222", 200.0), ("TY-205H", 97.0), ("TY-176B", 62.0), ("TY-310", 200.0)]
)
def test_rising_with_the_pinion_out_at_road_load_on_drive(name, torque):
    e = errors_at(name, "drive", torque)
    room = SLACK * e[0]
    assert e[0] <= e[-2] + room
    assert e[0] <= e[2] + room
    assert e[2] <= e[4] + room
    assert e[4] <= e[6] + room
    assert e[6] > 1.2 * e[0]
