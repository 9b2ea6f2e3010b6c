"""Sets that cannot be rolled are refused in one sentence with the number that causes it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import axlewright as aw
from axlewright.contact import Settings, build_mesh, kernel
from axlewright.contact.rolling import roll_unloaded
from axlewright.errors import ContactError, DesignError
from axlewright.gearset import design_from_fields

COARSE = {"lengthwise": 33, "profile": 21}


def test_an_undercut_pinion_is_refused_with_the_share_that_is_lost():
    fields = aw.load_design("TY-176B").fields()
    with pytest.raises(DesignError, match=r"undercut over \d+% of its working drive flank"):
        aw.roll(design_from_fields({**fields, "pinion_teeth": 6}), "drive", **COARSE)


def test_flank_points_without_a_pinion_are_counted():
    fields = aw.load_design("TY-176B").fields()
    with pytest.raises(DesignError, match=r"\d+ of \d+ flank points never meet a pinion tooth"):
        aw.roll(design_from_fields({**fields, "mean_pressure_angle_deg": 12.0}), "drive", **COARSE)


@pytest.mark.skipif(not kernel.AVAILABLE, reason="the reference follows a pair farther and still finds it")
def test_teeth_that_leave_contact_are_refused_with_the_share_of_the_pitch():
    # Only the middle third of the pinion's face is left standing: no pair reaches the next.
    design = aw.load_design("TY-176B")
    mesh = build_mesh(design, 33, 21, 96)
    pair = mesh.drive
    valid = pair.valid & (np.abs(pair.x) < 0.06)[None, :] & (np.abs(pair.y) < 0.06)[:, None]
    short = replace(mesh, drive=replace(pair, valid=valid))
    with pytest.raises(ContactError, match=r"leave contact for \d+% of each pitch"):
        roll_unloaded(short, "drive", Settings(), design.ease_off("drive"), 0.00635)
