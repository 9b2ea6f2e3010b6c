"""Property tests of the bench room run without a time limit for each example: a busy machine is no fault."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("bench", deadline=None)
settings.load_profile("bench")
