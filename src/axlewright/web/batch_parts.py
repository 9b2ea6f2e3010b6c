"""What the pages of the batch share: values of every page, files, lengths as they are typed."""

from __future__ import annotations

from typing import Any

from fastapi import Request
from fastapi.responses import Response

from axlewright.errors import AxlewrightError
from axlewright.job import FieldError, design_names, find_design
from axlewright.setup.cautions import cautions_for
from axlewright.units import MM_PER_INCH, System, show_length
from axlewright.web.page import person_of, site_of


def page_values(request: Request, **more: Any) -> dict[str, Any]:
    site = site_of(request)
    system = person_of(request).system
    return {
        "designs": design_names(site.store),
        "typed": {},
        "error": None,
        "error_field": "",
        "show": lambda mm: _together(show_length(mm, system, signed=True)),
        "size": lambda mm: _together(show_length(mm, system)),
        "cautions": [caution.text for caution in cautions_for("roll_test")],
        **more,
    }


def _together(text: str) -> str:
    """Let a number stay with its unit on one line."""
    return text.replace(" in", "\u00a0in").replace(" mm", "\u00a0mm")


def with_error(values: dict[str, Any], error: AxlewrightError | None) -> dict[str, Any]:
    values["error"] = error
    values["error_field"] = error.field if isinstance(error, FieldError) else ""
    return values


def named_design(request: Request, design: str) -> str:
    """Return the design as it is spelled in the list, or an empty text for all."""
    return find_design(site_of(request).store, design).name if design else ""


def plain_length(mm: float | None, system: System) -> str:
    if mm is None:
        return ""
    return f"{mm / MM_PER_INCH:+.4f}" if system == "inch" else f"{mm:+.3f}"


def csv_file(text: str, name: str) -> Response:
    return Response(
        text.encode(),
        media_type="text/csv; charset=utf-8",
        headers={"content-disposition": f'attachment; filename="{name}"'},
    )
