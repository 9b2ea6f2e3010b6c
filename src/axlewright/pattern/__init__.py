"""What the paint SHOWS: contact patterns read from photos, sketches and words."""

from axlewright.pattern.acceptance import DEFAULT_CRITERIA, Criterion, PatternVerdict, judge
from axlewright.pattern.by_hand import apply_correction, pattern_from_sketch
from axlewright.pattern.corners import check_corners, guess_corners, parse_corners
from axlewright.pattern.expected import settle_pair
from axlewright.pattern.picture import Picture, RefusedPhotoError, load_picture, strip_private_data
from axlewright.pattern.reading import read_photo
from axlewright.pattern.readings import PatternReading, PhotoReading
from axlewright.pattern.runout_estimate import DialReading, RunoutEstimate, estimate_runout
from axlewright.pattern.several import (
    SeveralTeeth,
    ToothPhoto,
    Wander,
    agree,
    combine_looks,
    combine_teeth,
    read_several,
)
from axlewright.pattern.words import pattern_from_words

__all__ = [
    "DEFAULT_CRITERIA",
    "Criterion",
    "DialReading",
    "PatternReading",
    "PatternVerdict",
    "PhotoReading",
    "Picture",
    "RefusedPhotoError",
    "RunoutEstimate",
    "SeveralTeeth",
    "ToothPhoto",
    "Wander",
    "agree",
    "apply_correction",
    "check_corners",
    "combine_looks",
    "combine_teeth",
    "estimate_runout",
    "guess_corners",
    "judge",
    "load_picture",
    "parse_corners",
    "pattern_from_sketch",
    "pattern_from_words",
    "read_photo",
    "read_several",
    "settle_pair",
    "strip_private_data",
]
