"""A WHOLE job: what was typed is worked out, recorded and shown; photos, sheet, batch, practice."""

from axlewright.job.designs import design_names, design_of_job, find_design, put_design, start_job
from axlewright.job.entering import Outcome, enter, take_back, work_out
from axlewright.job.sheet import job_sheet_pdf, sheet_data
from axlewright.job.shelf import put_on_shelf, spacers
from axlewright.job.view import JobView, Round, StepView, job_view
from axlewright.steps.answers import FieldError
from axlewright.steps.field import Choice, Field
from axlewright.steps.forms import FORMS
from axlewright.steps.step import StepForm

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
