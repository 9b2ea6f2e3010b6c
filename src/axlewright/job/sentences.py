"""Words of the record as they are shown: as a sentence of their own after a full stop."""

from __future__ import annotations

from axlewright.language import Text


def sentence(text: Text) -> str:
    """Return a text with its first letter large, the rest as it is (German nouns keep theirs).

    A text that begins with a number or a sign is left alone.
    """
    text = str(text)
    return text[:1].upper() + text[1:] if text[:1].islower() and len(text[:1].upper()) == 1 else text


def whole_sentence(text: Text) -> str:
    """Return a text as `sentence` does, with a full stop where it ends without a sign of its own."""
    words = sentence(text)
    return words if not words or words[-1] in ".?!" else f"{words}."
