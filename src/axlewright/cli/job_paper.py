"""Commands that print: job sheet, labels of sets and spacers, the blank bench sheet."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from axlewright.cli.job_options import (
    HOME,
    NUMBER,
    OUT,
    OVERWRITE,
    PAPER,
    SYSTEM,
    check_paper,
    check_system,
    opened_store,
)
from axlewright.cli.options import new_file, plain_errors
from axlewright.language import eager as _

SHOP = Annotated[str, typer.Option(help="Name of the shop.")]


def _write(out: Path, data: bytes, said: str) -> None:
    from axlewright.contact.once import write_atomically

    write_atomically(out, data)
    typer.echo(f"{said}: {out}")


@plain_errors
def sheet(
    number: NUMBER,
    out: OUT,
    overwrite: OVERWRITE = False,
    paper: PAPER = "a4",
    system: SYSTEM = "inch",
    shop: SHOP = "",
    link: Annotated[str, typer.Option(help="Address of the job, printed as a QR code.")] = "",
    home: HOME = None,
) -> None:
    """Print the job sheet as PDF."""
    from axlewright.job import job_sheet_pdf

    size, chosen = check_paper(paper), check_system(system)
    new_file(out, overwrite)
    with opened_store(home) as store:
        data = job_sheet_pdf(store, number, system=chosen, shop=shop, link=link, paper=size)
    _write(out, data, _("sheet of job {number}").format(number=number))


@plain_errors
def set_label(
    number: NUMBER, out: OUT, overwrite: OVERWRITE = False, system: SYSTEM = "inch", home: HOME = None
) -> None:
    """Print the label of a job's set, its facts once more as a DataMatrix."""
    from axlewright.job.labels import set_label_data
    from axlewright.sheets import set_label as set_one

    chosen = check_system(system)
    new_file(out, overwrite)
    with opened_store(home) as store:
        data = set_one(set_label_data(store, number, chosen))
    _write(out, data, _("set label of job {number}").format(number=number))


@plain_errors
def spacer_label(
    item: Annotated[int, typer.Argument(help="Number of the piece, as 'job shelf list' prints it.")],
    out: OUT,
    overwrite: OVERWRITE = False,
    home: HOME = None,
) -> None:
    """Print the label of a piece on the shelf."""
    from axlewright.job.labels import spacer_label_data
    from axlewright.sheets import spacer_label as set_one

    new_file(out, overwrite)
    with opened_store(home) as store:
        data = set_one(spacer_label_data(store, item))
    _write(out, data, _("label of piece {number}").format(number=item))


@plain_errors
def blank_sheet(
    out: OUT,
    number: Annotated[int | None, typer.Option(help="Job whose facts are printed already.")] = None,
    overwrite: OVERWRITE = False,
    paper: PAPER = "a4",
    shop: SHOP = "",
    home: HOME = None,
) -> None:
    """Print the bench sheet to write on, for paper days."""
    from axlewright.job.labels import blank_sheet_pdf

    size = check_paper(paper)
    new_file(out, overwrite)
    if number is None:
        data = blank_sheet_pdf(shop=shop, paper=size)
    else:
        with opened_store(home) as store:
            data = blank_sheet_pdf(store, number, shop=shop, paper=size)
    _write(out, data, _("bench sheet"))
