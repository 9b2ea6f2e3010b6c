"""Photographs and tags of a job: shims, caps, and whatever else is seen once and never again.

Photographs are kept by the hash of what is in them, without the private data (place, device) a camera adds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Final

from axlewright.errors import InputError
from axlewright.language import Text, _, joined, n_
from axlewright.steps.field import Choice
from axlewright.units import LONGEST_TEXT, check_text

if TYPE_CHECKING:
    from axlewright.records import Entry, JobStore

PIECES: Final = (
    Choice("ring_side_shim", n_("side shim, ring gear side")),
    Choice("other_side_shim", n_("side shim, other side")),
    Choice("depth_spacer", n_("depth spacer or shims")),
    Choice("ring_side_cap", n_("bearing cap, ring gear side")),
    Choice("other_side_cap", n_("bearing cap, other side")),
    Choice("gears", n_("gears")),
    Choice("marks", n_("numbers and marks")),
    Choice("bearings", n_("bearings")),
    Choice("other", n_("something else")),
)
"""What a photograph or a tag belongs to."""
_LABELS: Final = {piece.key: piece.label for piece in PIECES}


@dataclass(frozen=True, slots=True)
class Picture:
    """One photograph or tag of a job.

    Attributes
    ----------
    seq : int
        Of its entry.
    piece, tag, caption : str
        Key of `PIECES`, what is written on the tag, and what is to be seen.
    file : str
        Hash of the photograph; empty for a tag without one.
    """

    seq: int
    step: str
    piece: str
    tag: str
    caption: str
    file: str
    who: str
    at: datetime

    @property
    def what(self) -> Text:
        """What it shows."""
        label = _(_LABELS.get(self.piece, ""))
        tag = _("tag: {text}").format(text=self.tag) if self.tag else ""
        return joined(label, tag, self.caption, between="; ")


def add_picture(
    store: JobStore,
    number: int,
    step: str,
    *,
    piece: str,
    photo: bytes | None = None,
    tag: str = "",
    caption: str = "",
    who: str,
    idempotency_key: str = "",
) -> Entry:
    """Keep a photograph, a tag, or both.

    Parameters
    ----------
    step : str
        The step it belongs to.
    piece : str
        Key of `PIECES`.
    photo : bytes, optional
        Picture file; place, device and other private data are taken out before it is kept.
    tag : str
        What is written on the tag.
    caption : str
        What is to be seen.

    Raises
    ------
    InputError
        Neither photograph nor tag, or an unknown piece.
    PhotoError
        The file is no picture.
    """
    if piece not in _LABELS:
        raise InputError(
            _("it is not said what this shows"),
            where=_("photograph"),
            fix=_("use one of {keys}").format(keys=", ".join(_LABELS)),
        )
    tag, caption = tag.strip(), caption.strip()
    check_text(tag, where=_("tag"), longest=LONGEST_TEXT)
    check_text(caption, where=_("what is to be seen"), longest=LONGEST_TEXT)
    facts = {"piece": piece, "tag": tag, "text": caption}
    if photo is None:
        if not tag:
            raise InputError(
                _("neither photograph nor tag"),
                where=_("photograph"),
                fix=_("take a picture, or write what stands on the tag"),
            )
        return store.add_entry(number, "photo", step, facts, who=who, idempotency_key=idempotency_key)
    from axlewright.pattern import load_picture, strip_private_data

    clean = strip_private_data(photo)
    size = load_picture(clean)
    sha256 = store.store_file(clean, ".jpg")
    return store.add_entry(
        number,
        "photo",
        step,
        {**facts, "width": size.width, "height": size.height},
        who=who,
        files=(sha256,),
        idempotency_key=idempotency_key,
    )


def pictures_of(entries: Sequence[Entry], step: str = "") -> list[Picture]:
    """Return the photographs and tags that stand, oldest first; those of one step or of all.

    Parameters
    ----------
    entries : sequence of Entry
        Those that count. Photographs of a flank, from which patterns are read, are not among the answers.
    """
    return [
        Picture(
            e.seq,
            e.step,
            str(e.payload["piece"]),
            str(e.payload.get("tag", "")),
            str(e.payload.get("text", "")),
            e.files[0] if e.files else "",
            e.who,
            e.at,
        )
        for e in entries
        if e.kind == "photo" and "piece" in e.payload and (not step or e.step == step)
    ]
