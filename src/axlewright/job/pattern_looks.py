"""What is known of the mark on each flank: photos, sketches or words, read into patterns."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final, Literal

from axlewright.errors import AxlewrightError, InputError
from axlewright.job.kept_masks import mask_lines, pattern_of_lines
from axlewright.job.pattern_correcting import Correction, corrected
from axlewright.language import eager as _
from axlewright.steps.answers import FieldError

if TYPE_CHECKING:
    from axlewright.gearset import GearSetDesign
    from axlewright.pattern import PatternReading, PhotoReading, SeveralTeeth
    from axlewright.records import Entry, JobStore

FlankName = Literal["drive", "coast"]
Compound = Literal["auto", "rubbed", "print"]
FLANKS: Final[tuple[FlankName, FlankName]] = ("drive", "coast")
UNKNOWN_SD: Final = (0.06, 0.06)
"""Spread of the centre of a kept reading that does not say its own (our estimate, no source)."""
UNKNOWN_LENGTH_SD: Final = 0.1


@dataclass(frozen=True, slots=True)
class ToothLook:
    """One tooth of several round the ring gear.

    Attributes
    ----------
    tooth : int
        Counted from any tooth, 1 to the number of teeth.
    photo_file : str
        Hash of a stored photo.
    corners : str
        As `FlankLook`.
    """

    tooth: int
    photo_file: str
    corners: str


@dataclass(frozen=True, slots=True)
class FlankLook:
    """What is known of the mark on one flank: a photo with its four corners, or words.

    Attributes
    ----------
    photo : bytes or None
        Picture file.
    corners : str
        ``"x,y x,y x,y x,y"``: toe-top, heel-top, heel-root, toe-root, in pixels of the upright picture.
    words : str
        Such as "high, toward heel"; used where there is no photo.
    photo_file : str
        Hash of a photo already stored, in place of `photo`.
    sketch : tuple of (lengthwise, profile)
        Outline drawn by finger, each −1 to +1; used where there is neither photo nor words.
    teeth : tuple of ToothLook
        Several teeth of the flank; they come before everything else.
    correction : Correction
        What a hand changed on the outline found in the photo.
    """

    photo: bytes | None = None
    corners: str = ""
    words: str = ""
    photo_file: str = ""
    sketch: tuple[tuple[float, float], ...] = ()
    teeth: tuple[ToothLook, ...] = ()
    correction: Correction = field(default_factory=Correction)

    @property
    def empty(self) -> bool:
        """Whether nothing was given."""
        nothing = self.photo is None and not self.photo_file and not self.teeth
        return nothing and not self.words.strip() and not self.sketch


@dataclass(frozen=True, slots=True)
class ReadFlank:
    """A flank that was read, with what is kept of it.

    Attributes
    ----------
    reading : PatternReading
    kept : dict
        ``summary``, ``mask`` and, where there are any, ``photo``, ``unrolled``, ``as_read``, ``other``,
        ``teeth``, ``wander``, ``doubts``.
    files : tuple of str
        Hashes of pictures.
    several : SeveralTeeth or None
        The teeth behind it.
    """

    reading: PatternReading
    kept: dict[str, Any]
    files: tuple[str, ...] = ()
    several: SeveralTeeth | None = None

    @property
    def doubts(self) -> tuple[str, ...]:
        """What should be looked at before anything is pressed on the strength of this reading."""
        return tuple(self.kept.get("doubts", ()))


def add_photo(
    store: JobStore,
    number: int,
    flank: FlankName,
    data: bytes,
    *,
    who: str,
    tooth: int | None = None,
    idempotency_key: str = "",
) -> Entry:
    """Keep a photo of one flank, its private data stripped, with a guess where the four corners are.

    Parameters
    ----------
    tooth : int, optional
        Number of the tooth when several round the ring gear are photographed.

    Raises
    ------
    PhotoError
        When it is no picture.
    InputError
        When the ring gear has no such tooth.
    """
    from axlewright.job.designs import design_of_job
    from axlewright.pattern import guess_corners, load_picture, strip_private_data

    design = design_of_job(store, store.get_job(number))
    if tooth is not None and design is not None and not 1 <= tooth <= design.ring_teeth:
        raise InputError(
            _("tooth {tooth} does not exist").format(tooth=tooth),
            where=_("teeth"),
            fix=_("number them 1 to {teeth}").format(teeth=design.ring_teeth),
        )
    clean = strip_private_data(data)
    picture = load_picture(clean)
    payload: dict[str, Any] = {"flank": flank, "width": picture.width, "height": picture.height}
    if tooth is not None:
        payload["tooth"] = tooth
    if design is not None:
        guess = guess_corners(picture, design, flank)
        payload["guess"] = [f"{x:.0f},{y:.0f}" for x, y in guess]
    sha = store.store_file(clean, ".jpg")
    return store.add_entry(
        number, "photo", "pattern", payload, who=who, files=(sha,), idempotency_key=idempotency_key
    )


def newest_photos(entries: Sequence[Entry]) -> dict[str, Entry]:
    """Return the newest photo entry of each flank, those of numbered teeth left out."""
    return {
        str(e.payload.get("flank")): e
        for e in entries
        if e.kind == "photo" and e.step == "pattern" and e.files and e.payload.get("tooth") is None
    }


def tooth_photos(entries: Sequence[Entry], after: int = 0) -> dict[str, dict[int, Entry]]:
    """Return the newest photo of each numbered tooth by flank, of entries later than `after`."""
    out: dict[str, dict[int, Entry]] = {}
    for e in entries:
        if e.kind != "photo" or e.step != "pattern" or not e.files or e.seq <= after:
            continue
        if isinstance(e.payload.get("tooth"), int):
            out.setdefault(str(e.payload.get("flank")), {})[int(e.payload["tooth"])] = e
    return {flank: dict(sorted(teeth.items())) for flank, teeth in out.items()}


def _unrolled_png(pixels: Any) -> bytes:
    from PIL import Image

    out = io.BytesIO()
    # Root row first in the reading, top of the tooth first in a picture.
    Image.fromarray(pixels[::-1]).save(out, "PNG", optimize=True)
    return out.getvalue()


def read_flank(
    store: JobStore, design: GearSetDesign, flank: FlankName, look: FlankLook, compound: Compound
) -> ReadFlank:
    """Read one flank.

    Raises
    ------
    FieldError
        Names flank and field.
    """
    label = _("drive flank") if flank == "drive" else _("coast flank")
    try:
        if look.teeth:
            return _read_teeth(store, design, flank, look.teeth, compound)
        if look.photo is not None or look.photo_file:
            return _read_one(store, design, flank, look, compound)
        from axlewright.pattern import pattern_from_sketch, pattern_from_words

        words = look.words.strip()
        read = pattern_from_words(words, flank) if words else pattern_from_sketch(look.sketch, flank)
        return ReadFlank(read, {"summary": read.summary(), "mask": mask_lines(read.pattern.mask)})
    except FieldError:
        raise
    except AxlewrightError as error:
        name = "sketch" if look.sketch else "words"
        if look.photo is not None or look.photo_file or look.teeth:
            name = "corners"
        raise FieldError.of(
            f"{flank}_{name}", f"{label}, {error.where}" if error.where else label, error
        ) from error


def _read_photo(
    store: JobStore, design: GearSetDesign, flank: FlankName, look: FlankLook, compound: Compound
) -> tuple[PhotoReading, str, str]:
    """Return the reading of a photo and the hashes of photo and unrolled picture."""
    from axlewright.pattern import read_photo, strip_private_data

    if not look.corners.strip():
        raise InputError(
            _("the four corners are missing"), fix=_("tap toe-top, heel-top, heel-root, toe-root")
        )
    if look.photo is None:
        data, sha = store.read_file(look.photo_file), look.photo_file
    else:
        data = strip_private_data(look.photo)
        sha = store.store_file(data, ".jpg")
    read = read_photo(data, look.corners, design, flank, compound)
    return read, sha, store.store_file(_unrolled_png(read.unrolled), ".png")


def _read_one(
    store: JobStore, design: GearSetDesign, flank: FlankName, look: FlankLook, compound: Compound
) -> ReadFlank:
    found, photo, unrolled = _read_photo(store, design, flank, look, compound)
    read = corrected(found, look.correction)
    kept = {**_photo_kept(read), "photo": photo, "unrolled": unrolled}
    if read is not found:
        kept["as_read"] = mask_lines(found.pattern.mask)
    return ReadFlank(read, kept, (photo, unrolled))


def _photo_kept(read: PhotoReading) -> dict[str, Any]:
    """Return what is kept of the reading of one photo, another likely outline with it."""
    kept: dict[str, Any] = {
        "summary": read.summary(),
        "mask": mask_lines(read.pattern.mask),
        "doubts": list(read.outline_doubts),
    }
    if read.other is not None:
        kept["other"] = mask_lines(read.other.pattern.mask)
    return kept


def settled(read: Mapping[FlankName, ReadFlank], design: GearSetDesign) -> dict[FlankName, ReadFlank]:
    """Let the two flanks of one set decide where a photo allows two outlines."""
    from axlewright.pattern import PhotoReading, settle_pair

    out = dict(read)
    if set(read) != set(FLANKS):
        return out
    drive, coast = (read[flank].reading for flank in FLANKS)
    if not isinstance(drive, PhotoReading) or not isinstance(coast, PhotoReading):
        return out
    for flank, reading in zip(FLANKS, settle_pair(drive, coast, design), strict=True):
        if reading is not read[flank].reading:
            kept = {k: v for k, v in read[flank].kept.items() if k != "other"}
            out[flank] = replace(read[flank], reading=reading, kept={**kept, **_photo_kept(reading)})
    return out


def _read_teeth(
    store: JobStore, design: GearSetDesign, flank: FlankName, teeth: tuple[ToothLook, ...], compound: Compound
) -> ReadFlank:
    """Read a flank on several teeth: their mean is what settings move, their wander is runout."""
    from axlewright.pattern import combine_teeth

    readings, rows, files = [], [], []
    for one in teeth:
        look = FlankLook(photo_file=one.photo_file, corners=one.corners)
        try:
            read, photo, unrolled = _read_photo(store, design, flank, look, compound)
        except AxlewrightError as error:
            where = (
                _("drive flank, tooth {tooth}") if flank == "drive" else _("coast flank, tooth {tooth}")
            ).format(tooth=one.tooth)
            raise FieldError.of(f"{flank}_corners", where, error) from error
        readings.append(read)
        files += [photo, unrolled]
        rows.append(
            {
                "tooth": one.tooth,
                "photo": photo,
                "unrolled": unrolled,
                "corners": one.corners,
                "center": [round(float(v), 4) for v in read.pattern.center],
                "center_sd": [round(float(v), 4) for v in read.center_sd],
                "words": str(read.pattern.describe()),
            }
        )
    if len(readings) == 1:
        first = readings[0]
        alone = {**_photo_kept(first), "photo": files[0], "unrolled": files[1]}
        return ReadFlank(first, alone, tuple(files))
    several = combine_teeth(readings, [one.tooth for one in teeth], design.ring_teeth)
    read_together = several.mean
    kept: dict[str, Any] = {
        "summary": read_together.summary(),
        "mask": mask_lines(read_together.pattern.mask),
        "teeth": rows,
        "doubts": list(several.notes) if several.runout else [],
        "wander": {
            name: {
                "amplitude": round(wave.amplitude, 4),
                "amplitude_sd": round(wave.amplitude_sd, 4),
                "largest_at_tooth": round(wave.largest_at_tooth, 1),
                "sure": wave.sure,
            }
            for name, wave in (("lengthwise", several.lengthwise), ("profile", several.profile))
            if wave is not None
        },
    }
    return ReadFlank(read_together, kept, tuple(dict.fromkeys(files)), several)


def kept_reading(kept: Mapping[str, Any], flank: str) -> PatternReading:
    """Return a reading as it was kept, without its photo."""
    from axlewright.pattern import PatternReading

    summary = kept["summary"]
    pattern = pattern_of_lines(kept["mask"], flank)
    center = summary.get("center")
    if center:  # that of several teeth is their mean, not the mask's
        pattern = replace(pattern, center=(float(center[0]), float(center[1])))
    sd = summary.get("center_sd") or UNKNOWN_SD
    return PatternReading(
        pattern=pattern,
        center_sd=(float(sd[0]), float(sd[1])),
        length_sd=float(summary.get("length_sd") or UNKNOWN_LENGTH_SD),
        height_sd=summary.get("height_sd"),
        area_sd=summary.get("area_sd"),
        slant_sd_deg=summary.get("slant_sd_deg"),
        source=summary.get("source", "photo"),
        quality=tuple(summary.get("quality", ())),
    )
