"""PAPER: job sheet and labels."""

from __future__ import annotations

from axlewright.sheets.blank import BlankSheetData, blank_bench_sheet
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
    Struck,
    Sum,
)
from axlewright.sheets.drawing import round_plot_svg, tooth_svg
from axlewright.sheets.job import job_sheet
from axlewright.sheets.labels import (
    SetLabelData,
    SpacerLabelData,
    read_label_code,
    set_label,
    set_label_code,
    set_labels,
    spacer_label,
    spacer_label_code,
)

__all__ = [
    "Advice",
    "BlankSheetData",
    "Cause",
    "JobSheetData",
    "Limit",
    "PatternPicture",
    "Photo",
    "Reading",
    "RoundPlot",
    "SetLabelData",
    "Signature",
    "SpacerLabelData",
    "StepBlock",
    "Struck",
    "Sum",
    "blank_bench_sheet",
    "job_sheet",
    "read_label_code",
    "round_plot_svg",
    "set_label",
    "set_label_code",
    "set_labels",
    "spacer_label",
    "spacer_label_code",
    "tooth_svg",
]
