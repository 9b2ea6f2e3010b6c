"""What should be asked before gears come out for an advice, and what runout the teeth show."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

from axlewright.errors import AxlewrightError
from axlewright.job.pattern_looks import FlankName, ReadFlank
from axlewright.language import eager as _

if TYPE_CHECKING:
    from axlewright.diagnosis import Advice, Diagnosis
    from axlewright.gearset import GearSetDesign

GEARS_OUT: Final = ("L2", "L3")
TOO_ROUGH_TO_PRESS_SD: Final = 0.15
"""A profile place on drive known worse than this is too rough to press a bearing for: 0.15 is about 0.0025 in
of depth, half of what takes a pattern to the edge."""
SURE_OF_DIRECTION: Final = 0.9


def runout_notes(read: Mapping[FlankName, ReadFlank], design: GearSetDesign) -> list[str]:
    """Return what the wander of several teeth says of runout; empty when they do not wander."""
    several = {flank: one.several for flank, one in read.items() if one.several is not None}
    if not any(one.runout for one in several.values()):
        return []
    from axlewright.pattern import estimate_runout

    try:
        return list(estimate_runout(design, drive=several.get("drive"), coast=several.get("coast")).notes)
    except AxlewrightError as error:
        return [str(error)]


def doubts_before(
    best: Advice,
    read: Mapping[FlankName, ReadFlank],
    diagnosis: Diagnosis,
    surprised: bool = False,
    deciding: FlankName = "drive",
) -> list[str]:
    """Return what should be asked before gears come out for an advice; empty when nothing is doubtful.

    Parameters
    ----------
    surprised : bool
        Whether the last change brought something else than was expected of it.
    deciding : {"drive", "coast"}
        The flank that decides.
    """
    if best.cost_class not in GEARS_OUT:
        return []
    out = []
    for flank, one in read.items():
        for doubt in one.doubts:
            out.append(
                _("Before anything is pressed, {flank} flank: {doubt}").format(flank=flank, doubt=doubt)
            )
    decides = read.get(deciding)
    if decides is not None and decides.reading.center_sd[1] > TOO_ROUGH_TO_PRESS_SD:
        out.append(
            _("The drive flank is known only roughly: photograph it before a bearing is pressed for this.")
            if deciding == "drive"
            else _(
                "The coast flank is known only roughly: photograph it before a bearing is pressed for this."
            )
        )
    moves = diagnosis.posterior.settings[:, 0]
    sure = max(float((moves > 0.0).mean()), float((moves < 0.0).mean()))
    cure = diagnosis.cure["pinion_move_mm"]
    if sure < SURE_OF_DIRECTION and cure.p05 < 0.0 < cure.p95:
        out.append(
            _(
                "Neither cause nor cure is sure of its direction: roll and read both flanks once more before "
                "a bearing is pressed."
            )
        )
    if surprised:
        out.append(
            _(
                "The last change did not bring what was expected of it: find out why before the next bearing "
                "is pressed."
            )
        )
    return list(dict.fromkeys(out))
