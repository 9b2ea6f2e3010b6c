"""PAPER: job sheet and labels."""

from __future__ import annotations

from axlewright.sheets.data import (
    Advice,
    Cause,
    JobSheetData,
    Limit,
    PatternPicture,
    Photo,
    Reading,
    RoundPlot,
    Signature,
    StepBlock,
    Sum,
)
from axlewright.sheets.drawing import round_plot_svg, tooth_svg
from axlewright.sheets.job import job_sheet

__all__ = [
    "Advice",
    "Cause",
    "JobSheetData",
    "Limit",
    "PatternPicture",
    "Photo",
    "Reading",
    "RoundPlot",
    "Signature",
    "StepBlock",
    "Sum",
    "job_sheet",
    "round_plot_svg",
    "tooth_svg",
]
