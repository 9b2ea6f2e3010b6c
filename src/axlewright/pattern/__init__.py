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
