"""Photos of the marks, sketches and words: taken in, corners guessed and tapped, read, corrected, kept.

A mask is kept as one hexadecimal line for each profile row, root first. A guess where the corners of a tooth
are is a start for the taps and never a tap.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

from axlewright.errors import AxlewrightError, InputError
from axlewright.language import Text, _, joined, n_, read_kept
from axlewright.steps.answers import FieldError
from axlewright.units import parse_number

if TYPE_CHECKING:
    from axlewright.contact import ContactPattern
    from axlewright.gearset import GearSetDesign
    from axlewright.pattern import PatternReading, PhotoReading, SeveralTeeth
    from axlewright.records import Entry, JobStore

FlankName = Literal["drive", "coast"]
Compound = Literal["auto", "rubbed", "print"]
FLANKS: Final[tuple[FlankName, FlankName]] = ("drive", "coast")
ROWS: Final = 48
COLUMNS: Final = 96
"""Profile and lengthwise cells of every pattern in the house."""
EDGES: Final = ("toe", "heel", "root", "top")
LEAST_WIDTH: Final = 0.08
"""Narrower than this, in half widths of the flank, nothing is left of a mark (two cells)."""
FARTHEST: Final = 2.0
"""An edge cannot be nudged farther than across the whole flank."""
UNKNOWN_SD: Final = (0.06, 0.06)
"""Spread of the centre of a kept reading that does not say its own (our estimate, no source)."""
UNKNOWN_LENGTH_SD: Final = 0.1
CORNER_NAMES: Final = (n_("toe, top"), n_("heel, top"), n_("heel, root"), n_("toe, root"))
SAME_PX: Final = 0.5
"""Nearer to the guess than this a corner was not moved: one press of an arrow key moves it by one point."""


def compound_of(text: str) -> Compound:
    """Return how the compound was used, as typed; "auto" for anything else."""
    if text == "rubbed":
        return "rubbed"
    return "print" if text == "print" else "auto"


def mask_lines(mask: Any) -> list[str]:
    """Return a mask as text, four cells in each digit, toe first.

    Parameters
    ----------
    mask : array of bool, shape (profile, 96)
    """
    out = []
    for row in mask.tolist():
        bits = "".join("1" if cell else "0" for cell in row)
        out.append(f"{int(bits, 2):0{len(bits) // 4}x}")
    return out


def mask_rows(lines: Sequence[str]) -> tuple[tuple[bool, ...], ...]:
    """Return kept lines as rows of bool, root row first, toe column first."""
    return tuple(tuple(bit == "1" for bit in f"{int(line, 16):0{len(line) * 4}b}") for line in lines)


def _pattern_of_lines(lines: Sequence[str], flank: str) -> ContactPattern:
    """Return kept lines as a measured pattern."""
    import numpy as np

    from axlewright.contact import measure_mask

    name: Literal["drive", "coast"] = "drive" if flank == "drive" else "coast"
    return measure_mask(np.array(mask_rows(lines), dtype=bool), name)


@dataclass(frozen=True, slots=True)
class Correction:
    """What a hand changed on the outline found in a photo.

    Attributes
    ----------
    mask : tuple of str
        The marked area as drawn, in kept lines (root row first); empty when nothing was drawn.
    toe, heel, root, top : float
        How far that edge of the mark is moved outward, in half widths of the flank; inward negative.
    """

    mask: tuple[str, ...] = ()
    toe: float = 0.0
    heel: float = 0.0
    root: float = 0.0
    top: float = 0.0

    @property
    def empty(self) -> bool:
        """Whether nothing was changed."""
        return not self.mask and not any((self.toe, self.heel, self.root, self.top))


def check_mask(text: str, where: Text) -> tuple[str, ...]:
    """Read a drawn area: 48 lines of 24 hexadecimal digits, root row first.

    Raises
    ------
    InputError
    """
    lines = tuple(text.split())
    good = len(lines) == ROWS and all(
        len(line) == COLUMNS // 4 and all(c in "0123456789abcdef" for c in line) for line in lines
    )
    if not good:
        raise InputError(
            _("the drawn outline is damaged"), where=where, fix=_("load the page again and draw once more")
        )
    return lines


def nudged(mask: Any, *, toe: float = 0.0, heel: float = 0.0, root: float = 0.0, top: float = 0.0) -> Any:
    """Move the edges of a marked area; what lies between them is stretched evenly.

    Parameters
    ----------
    mask : array of bool, shape (rows, columns)
        Root row first, toe column first.
    toe, heel, root, top : float
        How far each edge is moved outward, in half widths of the flank; inward negative.

    Returns
    -------
    array of bool, shape (rows, columns)

    Raises
    ------
    InputError
        When an edge is moved past the other one.
    """
    import numpy as np

    places = []
    for axis, low, high in ((0, root, top), (1, toe, heel)):
        cells = mask.shape[axis]
        used = np.flatnonzero(mask.any(axis=1 - axis))
        if not len(used):
            raise InputError(_("nothing is marked"), where=_("outline"), fix=_("draw around the mark"))
        # Edges of cells in −1 … +1.
        a, b = 2.0 * used[0] / cells - 1.0, 2.0 * (used[-1] + 1) / cells - 1.0
        new_a, new_b = max(-1.0, a - low), min(1.0, b + high)
        if new_b - new_a < LEAST_WIDTH:
            raise InputError(
                _("the edges of the mark would cross"), where=_("outline"), fix=_("nudge them in less")
            )
        at = (2.0 * np.arange(cells) + 1.0) / cells - 1.0
        source = a + (at - new_a) * (b - a) / (new_b - new_a)
        index = np.floor((source + 1.0) * cells / 2.0).astype(int)
        index = np.where((at > new_a) & (at < new_b), np.clip(index, used[0], used[-1]), -1)
        places.append(index)
    rows, columns = places
    out = mask[np.ix_(np.maximum(rows, 0), np.maximum(columns, 0))]
    return out & (rows >= 0)[:, None] & (columns >= 0)[None, :]


def corrected(reading: PhotoReading, correction: Correction) -> PhotoReading:
    """Return the reading of a photo with its outline corrected.

    Raises
    ------
    InputError
        When nothing is left of the mark.
    """
    import numpy as np

    from axlewright.pattern import apply_correction

    if correction.empty:
        return reading
    mask = np.array(mask_rows(correction.mask), dtype=bool) if correction.mask else reading.pattern.mask
    edges = {name: float(getattr(correction, name)) for name in EDGES}
    if any(edges.values()):
        mask = nudged(mask, **edges)
    return apply_correction(reading, mask=mask)


def edges_of(texts: Sequence[str], where: Text) -> tuple[float, float, float, float]:
    """Read how far toe, heel, root and top edge are nudged, in hundredths of the half width.

    Raises
    ------
    InputError
    """
    out = []
    for name, text in zip(EDGES, texts, strict=True):
        try:
            value = parse_number(text or "0") / 100.0
        except InputError:
            value = math.nan
        if not abs(value) <= FARTHEST:
            raise InputError(
                _("'{text}' is no nudge of the {edge} edge").format(text=text, edge=name),
                where=where,
                fix=_("give a number such as 5 or −5"),
            )
        out.append(value)
    return out[0], out[1], out[2], out[3]


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
    photo : bytes, Path or None
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
    called : str
        What an error calls it, such as the option it was given with; the flank when empty.
    """

    photo: bytes | Path | None = None
    corners: str = ""
    words: str = ""
    photo_file: str = ""
    sketch: tuple[tuple[float, float], ...] = ()
    teeth: tuple[ToothLook, ...] = ()
    correction: Correction = field(default_factory=Correction)
    called: str = ""

    @property
    def photographed(self) -> bool:
        """Whether there is a photo."""
        return self.photo is not None or bool(self.photo_file or self.teeth)

    @property
    def empty(self) -> bool:
        """Whether nothing was given."""
        return not (self.photographed or self.words.strip() or self.sketch)


@dataclass(frozen=True, slots=True)
class Look:
    """One flank as it was read in one round.

    Attributes
    ----------
    reading : PatternReading
    photos : frozenset of str
        Hashes of the photos it was read from.
    doubts : tuple of Text
        What should be looked at before anything is pressed on the strength of it.
    """

    reading: PatternReading
    photos: frozenset[str] = frozenset()
    doubts: tuple[Text, ...] = ()


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
    def look(self) -> Look:
        """The reading with what else counts when it is held beside others."""
        return Look(self.reading, _photos_of(self.kept), tuple(self.kept.get("doubts", ())))


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
    from axlewright.contact.marks import flank_name

    for flank, look in looks.items():
        photos = [(0, look.photo_file, look.corners)] if look.photo_file else []
        photos += [(one.tooth, one.photo_file, one.corners) for one in look.teeth]
        for tooth, photo, corners in photos:
            if len(corners_not_moved(entries, photo, corners)) < 4:
                continue
            raise FieldError(
                f"{flank}_corners",
                _tooth_name(flank, tooth) if tooth else flank_name(flank),
                _("the four corners still lie where the program guessed them, which is only a start"),
                _("drag each number to its corner of the tooth; the guess may even sit on another tooth"),
            )


def _left_words(left: Sequence[int]) -> Text:
    return _(
        "Left where the program guessed them: {corners}. Check them in the photo; where one is right, "
        "moving it by a point says so."
    ).format(corners=joined(*(_(CORNER_NAMES[k]) for k in left), between="; "))


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
        kept = {**out[flank].kept, "doubts": [*out[flank].look.doubts, doubt]}
        reading = replace(out[flank].reading, quality=(*out[flank].reading.quality, doubt))
        out[flank] = replace(out[flank], kept=kept, reading=reading)
    return out


def _unrolled_png(pixels: Any) -> bytes:
    from PIL import Image

    out = io.BytesIO()
    # Root row first in the reading, top of the tooth first in a picture.
    Image.fromarray(pixels[::-1]).save(out, "PNG", optimize=True)
    return out.getvalue()


def read_flank(
    design: GearSetDesign,
    flank: FlankName,
    look: FlankLook,
    compound: Compound = "auto",
    store: JobStore | None = None,
) -> ReadFlank:
    """Read one flank.

    Parameters
    ----------
    store : JobStore, optional
        Where photos are kept; without one nothing is.

    Raises
    ------
    FieldError
        Names flank and field.
    """
    from axlewright.contact.marks import flank_name

    try:
        if look.teeth:
            return _read_teeth(design, flank, look.teeth, compound, store)
        if look.photographed:
            return _read_one(design, flank, look, compound, store)
        from axlewright.pattern import pattern_from_sketch, pattern_from_words

        words = look.words.strip()
        return read_elsewhere(
            pattern_from_words(words, flank) if words else pattern_from_sketch(look.sketch, flank)
        )
    except FieldError:
        raise
    except AxlewrightError as error:
        name = "corners" if look.photographed else "sketch" if look.sketch else "words"
        label = joined(look.called or flank_name(flank), error.where, between=", ")
        raise FieldError.of(f"{flank}_{name}", label, error) from error


def read_looks(
    design: GearSetDesign, given: Mapping[FlankName, Sequence[FlankLook]], compound: Compound = "auto"
) -> tuple[dict[FlankName, list[ReadFlank]], dict[FlankName, list[tuple[FlankLook, FieldError]]]]:
    """Read all that is known of both flanks at one setting, without a record.

    A photo that is refused is set aside while anything else can be read; words and sketches stand in only
    where no photo is read.

    Returns
    -------
    read, refused : dict by flank

    Raises
    ------
    FieldError
        When a photo cannot be read, or the only ones there are were refused.
    """
    from axlewright.pattern import RefusedPhotoError

    read: dict[FlankName, list[ReadFlank]] = {}
    refused: dict[FlankName, list[tuple[FlankLook, FieldError]]] = {}
    for flank, looks in given.items():
        for look in looks:
            if look.empty or (read.get(flank) and not look.photographed):
                continue
            try:
                read.setdefault(flank, []).append(read_flank(design, flank, look, compound))
            except FieldError as error:
                if not isinstance(error.__cause__, RefusedPhotoError):
                    raise
                refused.setdefault(flank, []).append((look, error))
    read = {flank: several for flank, several in read.items() if several}
    if not read:
        for several in refused.values():
            raise several[0][1]
    for k, pair in enumerate(zip(*(read.get(flank, ()) for flank in FLANKS), strict=False)):
        for flank, one in settled(dict(zip(FLANKS, pair, strict=True)), design).items():
            read[flank][k] = one
    return read, refused


def read_elsewhere(read: PatternReading) -> ReadFlank:
    """Return a reading that has no picture as one that can be kept."""
    return ReadFlank(read, {"summary": read.summary(), "mask": mask_lines(read.pattern.mask)})


def _read_photo(
    design: GearSetDesign, flank: FlankName, look: FlankLook, compound: Compound, store: JobStore | None
) -> tuple[PhotoReading, dict[str, str]]:
    """Return the reading of a photo and, by "photo" and "unrolled", the hashes of what is kept of it."""
    from axlewright.pattern import read_photo, strip_private_data

    if not look.corners.strip():
        raise InputError(
            _("the four corners are missing"), fix=_("tap toe-top, heel-top, heel-root, toe-root")
        )
    if store is None:
        assert look.photo is not None  # only a store has photos by their hash
        return read_photo(look.photo, look.corners, design, flank, compound), {}
    if look.photo is None:
        data, sha = store.read_file(look.photo_file), look.photo_file
    else:
        data = strip_private_data(look.photo if isinstance(look.photo, bytes) else look.photo.read_bytes())
        sha = store.store_file(data, ".jpg")
    read = read_photo(data, look.corners, design, flank, compound)
    return read, {"photo": sha, "unrolled": store.store_file(_unrolled_png(read.unrolled), ".png")}


def _read_one(
    design: GearSetDesign, flank: FlankName, look: FlankLook, compound: Compound, store: JobStore | None
) -> ReadFlank:
    found, pictures = _read_photo(design, flank, look, compound, store)
    read = corrected(found, look.correction)
    kept = {**_photo_kept(read), **pictures}
    if read is not found:
        kept["as_read"] = mask_lines(found.pattern.mask)
    return ReadFlank(read, kept, tuple(pictures.values()))


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


def _tooth_name(flank: FlankName, tooth: int) -> Text:
    words = _("drive flank, tooth {tooth}") if flank == "drive" else _("coast flank, tooth {tooth}")
    return words.format(tooth=tooth)


def _read_teeth(
    design: GearSetDesign,
    flank: FlankName,
    teeth: tuple[ToothLook, ...],
    compound: Compound,
    store: JobStore | None,
) -> ReadFlank:
    """Read a flank on several teeth: their mean is what settings move, their wander is runout."""
    from axlewright.pattern import combine_teeth

    readings, rows, files = [], [], list[str]()
    for one in teeth:
        look = FlankLook(photo_file=one.photo_file, corners=one.corners)
        try:
            read, pictures = _read_photo(design, flank, look, compound, store)
        except AxlewrightError as error:
            raise FieldError.of(f"{flank}_corners", _tooth_name(flank, one.tooth), error) from error
        readings.append(read)
        files += pictures.values()
        rows.append(
            {
                "tooth": one.tooth,
                **pictures,
                "corners": one.corners,
                "center": [round(float(v), 4) for v in read.pattern.center],
                "center_sd": [round(float(v), 4) for v in read.center_sd],
                "words": read.pattern.describe(),
            }
        )
    if len(readings) == 1:
        first = readings[0]
        return ReadFlank(first, {**_photo_kept(first), **pictures}, tuple(files))
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


def _photos_of(kept: Mapping[str, Any]) -> frozenset[str]:
    return frozenset(str(one["photo"]) for one in (kept, *kept.get("teeth", ())) if one.get("photo"))


def kept_look(kept: Mapping[str, Any], flank: str) -> Look:
    """Return a look as it was kept."""
    doubts = tuple(read_kept(one) for one in kept.get("doubts", ()))
    return Look(kept_reading(kept, flank), _photos_of(kept), doubts)


def kept_reading(kept: Mapping[str, Any], flank: str) -> PatternReading:
    """Return a reading as it was kept, without its photo."""
    from axlewright.pattern import PatternReading

    summary = kept["summary"]
    pattern = _pattern_of_lines(kept["mask"], flank)
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
        quality=tuple(read_kept(one) for one in summary.get("quality", ())),
    )
