"""Masks as they are kept in the record: one hexadecimal line for each profile row, root first."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from axlewright.contact import ContactPattern

COLUMNS = 96
"""Lengthwise cells of every pattern in the house."""


def mask_lines(mask: Any) -> list[str]:
    """Return a mask as text, four cells in each digit, toe first.

    Parameters
    ----------
    mask : array of bool, shape (profile, 96)
    """
    out = []
    for row in mask.tolist():
        bits = "".join("1" if cell else "0" for cell in row)
        out.append(f"{int(bits, 2):0{len(bits) // 4}x}")
    return out


def mask_rows(lines: Sequence[str]) -> tuple[tuple[bool, ...], ...]:
    """Return kept lines as rows of bool, root row first, toe column first."""
    return tuple(tuple(bit == "1" for bit in f"{int(line, 16):0{len(line) * 4}b}") for line in lines)


def pattern_of_lines(lines: Sequence[str], flank: str) -> ContactPattern:
    """Return kept lines as a measured pattern."""
    import numpy as np

    from axlewright.contact import measure_mask

    name: Literal["drive", "coast"] = "drive" if flank == "drive" else "coast"
    return measure_mask(np.array(mask_rows(lines), dtype=bool), name)
