"""Draws SVG from the templates that lie beside each room, such as ``steps/depth.svg.j2``.

A template gets data and draws the words itself, in the language and the units chosen at that moment. All it
writes is escaped; places on the picture come out with at most two decimals.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from axlewright.language import Number, _

Place = tuple[float, float]


@cache
def _templates() -> Environment:
    environment = Environment(
        loader=PackageLoader("axlewright", "."),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_short,
    )
    environment.globals["_"] = _
    environment.filters["number"] = Number
    return environment


def _short(value: object) -> object:
    """Write a place in the picture as short as it is still exact to a hundredth."""
    return f"{round(value, 2) + 0.0:.2f}".rstrip("0").rstrip(".") if isinstance(value, float) else value


def drawn(template: str, **data: Any) -> str:
    """Return a drawing as SVG.

    Parameters
    ----------
    template : str
        Room and name without the ending, such as ``"steps/depth"``.
    **data
        What the template asks for; a name it asks for in vain is an error.
    """
    return _templates().get_template(f"{template}.svg.j2").render(data).strip()


def path(points: Sequence[Place], *, close: bool = False) -> str:
    """Return the data of a path through points in the picture."""
    return "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in points) + ("Z" if close else "")
