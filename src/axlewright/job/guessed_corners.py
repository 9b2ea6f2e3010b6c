"""Corners left where the program guessed them: a guess is a start for the taps and never a tap."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from axlewright.job.pattern_looks import FlankLook, FlankName, ReadFlank
from axlewright.language import eager as _
from axlewright.language import n_
from axlewright.steps.answers import FieldError

if TYPE_CHECKING:
    from axlewright.records import Entry

NAMES: Final = (n_("toe, top"), n_("heel, top"), n_("heel, root"), n_("toe, root"))
SAME_PX: Final = 0.5
"""Nearer to the guess than this a corner was not moved: one press of an arrow key moves it by one point."""


def _places(pairs: Sequence[str]) -> list[tuple[float, float]]:
    out = []
    for pair in pairs:
        x, _comma, y = pair.partition(",")
        try:
            out.append((float(x), float(y)))
        except ValueError:
            return []
    return out


def corners_not_moved(entries: Sequence[Entry], photo_file: str, corners: str) -> tuple[int, ...]:
    """Return the corners, from 0, that still lie where they were guessed for a photo.

    Parameters
    ----------
    entries : sequence of Entry
        Those of the job.
    photo_file : str
        Hash of the photo.
    corners : str
        As `FlankLook` has them.
    """
    guessed = next(
        (
            e.payload.get("guess", ())
            for e in reversed(entries)
            if e.kind == "photo" and photo_file in e.files
        ),
        (),
    )
    told = _places(corners.split())
    pairs = enumerate(zip(_places(guessed), told, strict=False))
    return tuple(
        k for k, (was, now) in pairs if abs(was[0] - now[0]) < SAME_PX and abs(was[1] - now[1]) < SAME_PX
    )


def refuse_mere_guesses(entries: Sequence[Entry], looks: Mapping[FlankName, FlankLook]) -> None:
    """Refuse a photo all of whose corners still lie where they were guessed.

    Raises
    ------
    FieldError
        Names flank and tooth.
    """
    for flank, look in looks.items():
        photos = [(0, look.photo_file, look.corners)] if look.photo_file else []
        photos += [(one.tooth, one.photo_file, one.corners) for one in look.teeth]
        for tooth, photo, corners in photos:
            if len(corners_not_moved(entries, photo, corners)) < 4:
                continue
            where = _("drive flank") if flank == "drive" else _("coast flank")
            if tooth:
                where += ", " + _("tooth {tooth}").format(tooth=tooth)
            raise FieldError(
                f"{flank}_corners",
                where,
                _("the four corners still lie where the program guessed them, which is only a start"),
                _("drag each number to its corner of the tooth; the guess may even sit on another tooth"),
            )


def _left_words(left: Sequence[int]) -> str:
    return _(
        "Left where the program guessed them: {corners}. Check them in the photo; where one is right, "
        "moving it by a point says so."
    ).format(corners="; ".join(_(NAMES[k]) for k in left))


@contextmanager
def naming_guesses(entries: Sequence[Entry], look: FlankLook) -> Iterator[None]:
    """Name the corners left as guessed when a photo is refused for its corners: check them first."""
    try:
        yield
    except FieldError as error:
        from axlewright.pattern import RefusedPhotoError

        left = corners_not_moved(entries, look.photo_file, look.corners) if look.photo_file else ()
        if not left or isinstance(error.__cause__, RefusedPhotoError):
            raise
        raise FieldError(error.field, error.label, error.what, _left_words(left)) from error


def doubt_guesses(
    entries: Sequence[Entry], looks: Mapping[FlankName, FlankLook], read: Mapping[FlankName, ReadFlank]
) -> dict[FlankName, ReadFlank]:
    """Return the flanks with a doubt at those of which some corners were left as guessed."""
    out = dict(read)
    for flank, look in looks.items():
        left = corners_not_moved(entries, look.photo_file, look.corners) if look.photo_file else ()
        if not left or look.teeth or flank not in out:
            continue
        doubt = _left_words(left)
        kept = {**out[flank].kept, "doubts": [*out[flank].doubts, doubt]}
        reading = replace(out[flank].reading, quality=(*out[flank].reading.quality, doubt))
        out[flank] = replace(out[flank], kept=kept, reading=reading)
    return out
