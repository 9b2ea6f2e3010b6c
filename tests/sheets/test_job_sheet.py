"""The job sheet, read back as text and as picture."""

from __future__ import annotations

from axlewright.sheets import JobSheetData, job_sheet


def test_identical_data_give_identical_bytes(full_sheet: JobSheetData) -> None:
    assert job_sheet(full_sheet) == job_sheet(JobSheetData.model_validate_json(full_sheet.model_dump_json()))
