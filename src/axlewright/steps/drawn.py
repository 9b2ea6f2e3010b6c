"""Small parts of the drawings: lines, boxes, words, dimensions; SVG that takes the page's own colours.

Drawings are 640 wide; classes beginning with ``d-`` say what a part is and the page's style sheet paints it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Final, Literal
from xml.sax.saxutils import escape, quoteattr

Anchor = Literal["start", "middle", "end"]
_TEXT: Final = re.compile(r"<text\b.*?</text>", re.DOTALL)


def line(x1: float, y1: float, x2: float, y2: float, kind: str) -> str:
    """Draw a line."""
    return f'<path class="{kind}" d="M{x1:g} {y1:g}L{x2:g} {y2:g}"/>'


def shape(points: Sequence[tuple[float, float]], kind: str) -> str:
    """Draw a closed shape through points."""
    return f'<path class="{kind}" d="M' + "L".join(f"{x:g} {y:g}" for x, y in points) + 'Z"/>'


def box(x1: float, y1: float, x2: float, y2: float, kind: str) -> str:
    """Draw a box between two corners."""
    return shape(((x1, y1), (x2, y1), (x2, y2), (x1, y2)), kind)


def text(x: float, y: float, words: str, kind: str = "d-text", anchor: str = "middle") -> str:
    """Write words at a place."""
    return f'<text class="{kind}" x="{x:g}" y="{y:g}" text-anchor="{anchor}">{escape(words)}</text>'


def dimension(
    x1: float, x2: float, y: float, from_y: float, letter: str, value: str, *, words: Anchor = "middle"
) -> str:
    """Draw a dimension between two places, arrows inside or outside as there is room.

    Parameters
    ----------
    words : {"middle", "start", "end"}
        Where letter and value stand: over the middle, from the left end on, up to the right end. Beside
        arrows that stand outside: right of them, or left of them for "end".
    """
    out = line(x1, from_y, x1, y + 5, "d-thin") + line(x2, from_y, x2, y + 5, "d-thin")
    wide = x2 - x1 > 46
    out += line(x1, y, x2, y, "d-dim") if wide else line(x1 - 16, y, x2 + 16, y, "d-dim")
    turn = 1.0 if wide else -1.0
    for x, way in ((x1, turn), (x2, -turn)):
        out += shape(((x, y), (x + way * 8, y - 3.2), (x + way * 8, y + 3.2)), "d-arrow")
    said = f"{letter}  {value}" if value else letter
    if not wide:
        at = x1 - 20 if words == "end" else x2 + 20
        return out + text(at, y + 4.5, said, "d-value", "end" if words == "end" else "start")
    at = {"middle": (x1 + x2) / 2, "start": x1 + 5, "end": x2 - 5}[words]
    return out + text(at, y - 5, said, "d-value", words)


def drawing(parts: Iterable[str], title: str, *, box: str = "0 0 640 312", kind: str = "diagram") -> str:
    """Return a whole drawing with the words that stand for it where it is not seen.

    Parameters
    ----------
    parts : iterable of str
        SVG elements.
    title : str
        What it says, as a sentence.
    box : str
        The part of the plane that is shown: left, top, width, height.
    kind : str
        Classes of the whole.
    """
    body = "".join(parts)
    # Words come last, so that no line is drawn over them.
    body = _TEXT.sub("", body) + "".join(_TEXT.findall(body))
    return f'<svg class="{kind}" viewBox="{box}" role="img" aria-label={quoteattr(title)}>{body}</svg>'
