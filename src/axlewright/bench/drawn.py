"""Small parts of the drawings: lines, boxes, words, dimensions; SVG that takes the page's own colours.

Drawings are 640 wide; classes beginning with ``d-`` say what a part is and the page's style sheet paints it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from xml.sax.saxutils import escape, quoteattr


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


def dimension(x1: float, x2: float, y: float, from_y: float, letter: str, value: str) -> str:
    """Draw a dimension between two places, arrows inside or outside as there is room."""
    out = line(x1, from_y, x1, y + 5, "d-thin") + line(x2, from_y, x2, y + 5, "d-thin")
    wide = x2 - x1 > 46
    out += line(x1, y, x2, y, "d-dim") if wide else line(x1 - 16, y, x2 + 16, y, "d-dim")
    turn = 1.0 if wide else -1.0
    for x, way in ((x1, turn), (x2, -turn)):
        out += shape(((x, y), (x + way * 8, y - 3.2), (x + way * 8, y + 3.2)), "d-arrow")
    words = f"{letter}  {value}" if value else letter
    if wide:
        return out + text((x1 + x2) / 2, y - 5, words, "d-value")
    return out + text(x2 + 20, y + 4.5, words, "d-value", "start")


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
    return f'<svg class="{kind}" viewBox="{box}" role="img" aria-label={quoteattr(title)}>{body}</svg>'
