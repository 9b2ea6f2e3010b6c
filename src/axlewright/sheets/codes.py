"""QR codes and DataMatrix codes as SVG.

References
----------
ISO/IEC 18004 (QR code) and ISO/IEC 16022 (Data Matrix); made by segno and zxing-cpp.
"""

from __future__ import annotations

import io
from itertools import groupby

import numpy as np
import segno
import zxingcpp

from axlewright.errors import InputError
from axlewright.language import _


def qr_svg(text: str) -> str:
    """Return a QR code with its quiet zone of four modules, error correction at least M."""
    try:
        code = segno.make_qr(text, error="m")
    except (segno.DataOverflowError, ValueError):
        raise InputError(
            _("this is too long for a QR code"), where=_("link"), fix=_("use a shorter address")
        ) from None
    out = io.BytesIO()
    code.save(out, kind="svg", border=4, xmldecl=False, svgns=True, nl=False, scale=4)
    return out.getvalue().decode("utf-8")


def _runs(row: list[int], x: int, y: int) -> str:
    """Return the dark cells of a row as one box per run, so that no seams show between cells."""
    path = []
    for value, cells in groupby(row):
        length = len(list(cells))
        if value == 0:
            path.append(f"M{x} {y}h{length}v1h-{length}z")
        x += length
    return "".join(path)


def datamatrix_svg(text: str) -> str:
    """Return a square DataMatrix code with a quiet zone of two modules."""
    try:
        code = zxingcpp.create_barcode(text, zxingcpp.BarcodeFormat.DataMatrix, force_square=True)
        picture = code.to_image(scale=1, add_quiet_zones=False)
    except (ValueError, RuntimeError):
        raise InputError(
            _("this does not fit into a code"), where=_("label"), fix=_("shorten the texts")
        ) from None
    rows: list[list[int]] = np.asarray(picture, dtype=np.uint8).tolist()
    edge = 2
    size = len(rows) + 2 * edge
    dark = "".join(_runs(row, edge, y + edge) for y, row in enumerate(rows))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size} {size}" width="{size}" height="{size}" '
        f'shape-rendering="crispEdges"><path d="M0 0h{size}v{size}h-{size}z" fill="#fff"/>'
        f'<path d="{dark}"/></svg>'
    )
