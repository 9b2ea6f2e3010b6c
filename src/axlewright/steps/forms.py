"""The ten steps of a job, in their order, as they are entered.

Nothing here computes; it is light to load.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from axlewright.steps.as_found import AS_FOUND
from axlewright.steps.backlash import BACKLASH
from axlewright.steps.close import CLOSE
from axlewright.steps.complaint import COMPLAINT
from axlewright.steps.depth import DEPTH
from axlewright.steps.final import FINAL
from axlewright.steps.fits import FITS
from axlewright.steps.identity import IDENTITY
from axlewright.steps.pattern import PATTERN
from axlewright.steps.preload import PRELOAD
from axlewright.steps.step import StepForm

TABLE: Final = {
    form.step: form
    for form in (COMPLAINT, AS_FOUND, IDENTITY, FITS, DEPTH, PRELOAD, BACKLASH, PATTERN, FINAL, CLOSE)
}
FORMS: Final[Mapping[str, StepForm]] = MappingProxyType(TABLE)
"""The form of each step, by the step's key."""
