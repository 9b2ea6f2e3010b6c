"""PAPER: job sheet and labels."""

from axlewright.sheets.data import (
    Advice,
    Cause,
    JobSheetData,
    PatternPicture,
    Photo,
    ReadingBlock,
    RoundPlot,
    Signature,
    StepBlock,
    Struck,
)
from axlewright.sheets.drawing import round_plot_svg, tooth_svg
from axlewright.sheets.job import BlankSheetData, blank_bench_sheet, job_sheet
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
