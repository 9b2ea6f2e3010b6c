"""A picture that was opened but says too little."""

from __future__ import annotations

from axlewright.errors import PhotoError


class RefusedPhotoError(PhotoError):
    """A picture of the right tooth is no ground for a reading; its `fix` says how to take it again."""
