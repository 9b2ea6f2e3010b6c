"""Patterns of a job: photos or words read, causes and advice worked out, all of it kept."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from axlewright.units import System

if TYPE_CHECKING:
    from axlewright.bench.view import JobView
    from axlewright.records import JobStore
    from axlewright.sheets import Advice, Cause, PatternPicture, Photo


@dataclass(frozen=True, slots=True)
class SheetParts:
    """What the patterns of a job put on its sheet."""

    patterns: tuple[PatternPicture, ...] = ()
    causes: tuple[Cause, ...] = ()
    cause_note: str = ""
    advice: tuple[Advice, ...] = ()
    photos: tuple[Photo, ...] = ()


def sheet_parts(store: JobStore, view: JobView, system: System) -> SheetParts:
    """Return what the patterns put on the sheet."""
    return SheetParts()
