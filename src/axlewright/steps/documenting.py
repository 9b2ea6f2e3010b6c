"""Every step's fields as a page of the docs: ``python tasks.py fields`` writes docs/fields.md."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Final

from axlewright.language import SOURCE_LANGUAGE, using_language
from axlewright.records.steps import step as step_of
from axlewright.steps.answers import FORCE_BAND_N, TORQUE_BAND_NM
from axlewright.steps.field import Field
from axlewright.steps.forms import FORMS
from axlewright.steps.step import StepForm

COLUMNS: Final = ("field", "what", "kind", "unit, usual", "answers", "needed", "belongs to", "help")
_HEAD: Final = """# The fields of each step

What can be typed into each step, on the page and with `axlewright job add`. Do not edit it here: it is
written by `python tasks.py fields` from what the steps declare. A number without a unit counts in the first
unit for a person who works in inches, in the second for one who works in millimetres. A value outside the
usual band is asked about and let through with `really=yes`; the bands of counts are firm.
"""
_BANDS: Final = {"torque": TORQUE_BAND_NM, "force": FORCE_BAND_N}


def fields_page() -> str:
    """Return the page, in the program's own language."""
    with using_language(SOURCE_LANGUAGE):
        return "\n".join([_HEAD, *map(_table, FORMS.values())])


def _table(form: StepForm) -> str:
    rows = [COLUMNS, ("---",) * len(COLUMNS), *map(_row, form.fields)]
    lines = [f"| {' | '.join(row)} |" for row in rows]
    return "\n".join([f"## {step_of(form.step).title} (`{form.step}`)", "", form.lead, "", *lines, ""])


def _row(one: Field) -> tuple[str, ...]:
    only, _colon, keys = one.only.partition(":")
    answers = [f"`{each.key}` {each.label}" for each in one.choices]
    return tuple(
        text.replace("|", "\\|")
        for text in (
            f"`{one.name}`",
            one.label,
            one.kind,
            _unit(one),
            "; ".join(answers),
            "yes" if one.needed else "",
            f"`{only}`: " + ", ".join(f"`{key}`" for key in keys.split(",")) if only else "",
            one.help,
        )
    )


def _unit(one: Field) -> str:
    inch, metric = one.unit("inch"), one.unit("metric")
    unit = f"{inch} or {metric}" if inch else ""
    band = one.usual or _BANDS.get(one.kind)
    if band is None:
        return unit
    return ", ".join(part for part in (unit, f"{band[0]:g} to {band[1]:g} {metric}".strip()) if part)


def main() -> None:
    """Write the page to the file that is named."""
    Path(sys.argv[1]).write_text(fields_page(), encoding="utf-8")


if __name__ == "__main__":
    main()
