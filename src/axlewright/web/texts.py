"""How pages write times and sentences with links in them."""

from __future__ import annotations

import re
from datetime import UTC, datetime

from markupsafe import Markup, escape

from axlewright.language import n_

TABLE_WORDS = (
    n_("technician"),
    n_("lead"),
    n_("instructor"),
    n_("admin"),
    n_("pinion spacer"),
    n_("pinion shim leaf"),
    n_("side shim"),
    n_("preload spacer"),
    n_("face-milled"),
    n_("face-hobbed"),
    n_("likely"),
    n_("possible"),
    n_("unlikely"),
    n_("unknown"),
    n_("Farm machine, 14/39, spiral bevel"),
    n_("Car rear, 12/41, face-hobbed hypoid"),
    n_("Light truck rear, 11/41, face-milled hypoid"),
    n_("Bus rear, 9/39, face-milled hypoid, heavy"),
)
"""Words that the records keep as they are and the pages show translated."""


def when(at: datetime) -> Markup:
    """Write a moment as the clock on the wall of the shop shows it.

    Parameters
    ----------
    at : datetime
        With its zone; one without a zone is taken as UTC, as the records keep it.

    Returns
    -------
    Markup
        A ``time`` element: local time of the machine that serves the page, UTC in its attribute.
    """
    moment = at if at.tzinfo is not None else at.replace(tzinfo=UTC)
    return Markup('<time datetime="{}">{}</time>').format(
        f"{moment.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}", f"{moment.astimezone():%Y-%m-%d %H:%M}"
    )


def linked(sentence: str, *addresses: str) -> Markup:
    """Make links of the parts of a sentence in square brackets, so that a sentence is translated whole.

    Parameters
    ----------
    sentence : str
        Such as ``"[Start a job]: vehicle, complaint, design."``
    addresses : str
        Where each part leads, in their order; as many as there are brackets.
    """
    pieces = re.split(r"\[([^\[\]]++)\]", str(escape(sentence)))
    out = [pieces[0]]
    for address, text, rest in zip(addresses, pieces[1::2], pieces[2::2], strict=True):
        out.append(f'<a href="{escape(address)}">{text}</a>{rest}')
    return Markup("".join(out))
