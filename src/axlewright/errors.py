"""The few exceptions of the project.

Every message says what was wrong, where, and what would be right, in one sentence a person at a
bench can act on. The command line prints it and leaves with code 2; the page shows it beside the field.
"""

from __future__ import annotations

from axlewright.language import Text, joined


def _writable(text: str) -> str:
    """Return what is said with halves of characters, which no page or terminal can write, spelt out."""
    return text if text.isascii() else text.encode("utf-8", "backslashreplace").decode()


class AxlewrightError(ValueError):
    """Base of all errors a user can cause and mend.

    The parts may be messages; they become words when the error is shown.

    Parameters
    ----------
    what : Text
        What was wrong, as a sentence without a full stop.
    where : Text, optional
        The field, file or place concerned.
    fix : Text, optional
        What would be right.
    """

    def __init__(self, what: Text, *, where: Text = "", fix: Text = "") -> None:
        self.what = what
        self.where = where
        self.fix = fix
        super().__init__(what)

    @property
    def text(self) -> Text:
        """The whole complaint in one line."""
        first = joined(self.where, self.what, between=": ")
        return joined(first, self.fix, between="; ")

    def __str__(self) -> str:
        return _writable(str(self.text))


class InputError(AxlewrightError):
    """Something typed could not be understood: a number, a unit, a mark, a field."""


class DesignError(AxlewrightError):
    """A design file is wrong or describes a gear set that cannot exist."""


class ContactError(AxlewrightError):
    """The teeth do not touch, or the load asked for cannot be carried."""


class PhotoError(AxlewrightError):
    """A picture cannot be read as a contact pattern."""


class SoundError(AxlewrightError):
    """A recording cannot be read or says too little."""


class RecordError(AxlewrightError):
    """A record is missing, was changed behind the program's back, or cannot be stored."""


class MissingError(RecordError):
    """What was asked for is not in the records, such as a job of that number."""


class ConflictError(RecordError):
    """Somebody else wrote to the same job in the meantime; nothing was lost, a choice is needed."""


class OptionalPartMissingError(AxlewrightError):
    """A part that is installed only on request is not there."""
