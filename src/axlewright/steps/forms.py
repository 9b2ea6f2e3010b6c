"""The fields of each step as data: what the page draws and the command line asks for.

Nothing here computes; it is light to load.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from axlewright.steps.depth import DEPTH
from axlewright.steps.forms_found import AS_FOUND, COMPLAINT, FITS
from axlewright.steps.forms_set import BACKLASH, CLOSE, FINAL, PATTERN
from axlewright.steps.identity import IDENTITY
from axlewright.steps.preload import PRELOAD
from axlewright.steps.step import StepForm

FORMS: Final[Mapping[str, StepForm]] = MappingProxyType(
    {
        f.step: f
        for f in (COMPLAINT, AS_FOUND, IDENTITY, FITS, DEPTH, PRELOAD, BACKLASH, PATTERN, FINAL, CLOSE)
    }
)
"""The form of each step, by the step's key."""
