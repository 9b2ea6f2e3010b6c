"""What the paint SHOWS: contact patterns read from photos, sketches and words."""

from axlewright.pattern.corners import check_corners, parse_corners
from axlewright.pattern.picture import Picture, load_picture, strip_private_data
from axlewright.pattern.reading import read_photo
from axlewright.pattern.readings import PatternReading, PhotoReading

__all__ = [
    "PatternReading",
    "PhotoReading",
    "Picture",
    "check_corners",
    "load_picture",
    "parse_corners",
    "read_photo",
    "strip_private_data",
]
