"""Words of the record as they are shown: as a sentence of their own after a full stop."""

from __future__ import annotations

from axlewright.language import Text


def sentence(text: Text) -> str:
    """Return a text with its first letter large, the rest as it is (German nouns keep theirs).

    A text that begins with a number or a sign is left alone.
    """
    text = str(text)
    return text[:1].upper() + text[1:] if text[:1].islower() and len(text[:1].upper()) == 1 else text
