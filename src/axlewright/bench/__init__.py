"""The JOB put together: typed fields in, computed by the rooms below, recorded, and printed."""

from axlewright.bench.designs import design_names, design_of_job, find_design, put_design, start_job
from axlewright.bench.entering import Outcome, enter, take_back, work_out
from axlewright.bench.forms import FORMS
from axlewright.bench.paper import job_sheet_pdf, sheet_data
from axlewright.bench.shelf import put_on_shelf, spacers
from axlewright.bench.view import JobView, Round, StepView, job_view
from axlewright.steps.answers import FieldError
from axlewright.steps.step import Choice, Field, StepForm

__all__ = [
    "FORMS",
    "Choice",
    "Field",
    "FieldError",
    "JobView",
    "Outcome",
    "Round",
    "StepForm",
    "StepView",
    "design_names",
    "design_of_job",
    "enter",
    "find_design",
    "job_sheet_pdf",
    "job_view",
    "put_design",
    "put_on_shelf",
    "sheet_data",
    "spacers",
    "start_job",
    "take_back",
    "work_out",
]
