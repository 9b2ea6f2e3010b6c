"""Plain words for a pattern: "very slightly high", "top third", "a bit toward the heel, wide, light"."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from axlewright.contact import measure_mask
from axlewright.contact.rolling import check_flank
from axlewright.errors import InputError
from axlewright.language import Number, Text, _
from axlewright.pattern.readings import PatternReading
from axlewright.pattern.unroll import COLS, ROWS
from axlewright.units import LONGEST_LIST, check_text

Mask = NDArray[np.bool_]

# How far words reach and how sure they are: our estimate of how people speak, no source.
SPOKEN_SD = (0.15, 0.20)
UNSPOKEN_SD = (0.35, 0.35)
HEDGED = 1.25  # "maybe", "not sure": the spreads grow by this factor
PLAIN = 0.35  # what "high" means, in half working depths
FARTHEST = 0.70
AT_AN_EDGE = 0.60
STEPS = {
    "very": ("much", 1.6), "far": ("much", 1.7), "way": ("much", 1.7), "much": ("much", 1.5),
    "well": ("much", 1.3), "strongly": ("much", 1.6), "heavily": ("much", 1.6), "extremely": ("much", 1.9),
    "hard": ("much", 1.6), "really": ("much", 1.4), "too": ("much", 1.2), "quite": ("much", 1.2),
    "slightly": ("little", 0.5), "bit": ("little", 0.5), "little": ("little", 0.5), "touch": ("little", 0.4),
    "hair": ("little", 0.35), "tad": ("little", 0.4), "slight": ("little", 0.5), "barely": ("little", 0.35),
    "just": ("little", 0.8), "somewhat": ("little", 0.7), "fairly": ("little", 0.9),
    "rather": ("little", 0.9), "almost": ("little", 0.8), "nearly": ("little", 0.8),
    "mostly": ("little", 0.8),
}  # fmt: skip
PLACES = {
    "high": (1, 1), "top": (1, 1), "tip": (1, 1), "upper": (1, 1), "up": (1, 1), "face": (1, 1),
    "low": (1, -1), "root": (1, -1), "bottom": (1, -1), "lower": (1, -1), "deep": (1, -1), "down": (1, -1),
    "heel": (0, 1), "outer": (0, 1), "outside": (0, 1), "toe": (0, -1), "inner": (0, -1), "inside": (0, -1),
}  # fmt: skip
SHARES = {
    "quarter": 0.25, "third": 0.33, "half": 0.50, "thirds": 0.67, "quarters": 0.75, "most": 0.80,
    "full": 0.95, "whole": 0.95, "entire": 0.95, "all": 0.95, "short": 0.30, "small": 0.30, "long": 0.80,
}  # fmt: skip
HEIGHTS = {"wide": 0.75, "broad": 0.75, "tall": 0.75, "narrow": 0.35, "thin": 0.35, "slim": 0.35}
CENTRED = {"centred", "centered", "central", "centre", "center", "middle", "mid"}
WHERE = {*PLACES, "toward", "towards", "on", "against", "into"}  # "hard on the toe" is far toward it
UNSURE = {"maybe", "perhaps", "possibly", "unsure", "probably", "seems", "looks", "think"}
PRESSED = {"light", "lightly", "faint", "faintly", "heavy", "dark", "clear", "distinct", "sharp", "soft"}
SILENT = frozenset(
    re.findall(
        r"\S+",
        "about of the tooth teeth length flank pattern contact mark marked marking paint in is it's its it "
        "at to toward towards side drive coast profile lengthwise a an i lies sits runs end ends roughly "
        "around circa approximately edge edges line on near from over are this that there only also oval "
        "shaped shape running width height across along depth between against or so bearing area spot part "
        "portion position place ",
    )
)
NUMBERS = {"one": 1, "two": 2, "three": 3}
EXAMPLE = "very slightly high, a bit toward the heel, about half"


@dataclass
class _Said:
    """What the words come to so far; axis 0 is lengthwise, 1 profile."""

    at: list[float | None]
    centred: list[bool]
    length: float | None = None
    tall: float | None = None
    unsure: bool = False
    pressed: bool = False
    any_centre: bool = False


def pattern_from_words(text: str, flank: str) -> PatternReading:
    """Take plain words for the pattern.

    Words are read in clauses, parted by commas, semicolons, full stops, "and" and "but". Words of degree may
    be chained: "slightly" halves, "very slightly" makes less still, "very" makes more. "Top third" and "toe
    half" name the part of the tooth in which the mark lies.

    Parameters
    ----------
    text : str
        For example ``"high, toward heel, about half"``, ``"very slightly low, centred lengthwise, 40 %"`` or
        ``"top third, a bit toward heel, wide, light"``.
    flank : {"drive", "coast"}

    Returns
    -------
    PatternReading
        With a wide uncertainty, wider still in a direction of which nothing was said and when words such as
        "maybe" are among them.

    Raises
    ------
    InputError
        For words that contradict each other or that are not known; all unknown words are named at once.
    """
    name = check_flank(flank)
    check_text(text, where=_("pattern"), longest=LONGEST_LIST)
    t = "\n".join(" ".join(line.split()) for line in text.lower().splitlines())
    t = re.sub(r"(\d) ?[.,] ?(?=\d)", r"\1.", t)
    t = t.replace("½", " half ").replace("⅓", " third ")
    t = t.replace("⅔", " two thirds ").replace("¼", " quarter ").replace("¾", " three quarters ")
    t = re.sub(r"\b1/2\b", " half ", t)
    t = re.sub(r"\b([123])/([34])\b", lambda m: f" {m[1]} {'third' if m[2] == '3' else 'quarter'} ", t)
    t = re.sub(r"\bbetween (?:the )?(\w++) and (?:the )?(\w++)", r"between \1 \2", t)
    said = _Said([None, None], [False, False])
    unknown: list[str] = []
    clauses = [c for c in re.split(r"[,;:.()\n](?!\d)|\band\b|\bbut\b|\bwith\b", t) if c.strip()]
    if not clauses:
        raise InputError(
            _("no words"), where=_("pattern"), fix=_("write for example: {example}").format(example=EXAMPLE)
        )
    for clause in clauses:
        unknown += _clause(clause, said)
    if unknown:
        raise InputError(
            _("not understood: {words}").format(words=", ".join(f"'{w[:30]}'" for w in unknown[:5])),
            where=_("pattern"),
            fix=_(
                "say where in the height (high, low, top, root), where along the tooth (heel, toe), how much "
                "(slightly, very) and how long (half, 40 %), for example: {example}"
            ).format(example=EXAMPLE),
        )
    if said.any_centre:
        said.centred = [c or said.at[k] is None for k, c in enumerate(said.centred)]
    nothing = said.at == [None, None] and said.length is None and said.tall is None and not any(said.centred)
    if nothing:
        raise InputError(
            _("the words say nothing of the pattern"), where=_("pattern"), fix=_("say high or low first")
        )
    return _reading(said, name)


def _reading(said: _Said, flank: str) -> PatternReading:
    told = [said.at[k] is not None or said.centred[k] for k in (0, 1)]
    x, y = (said.at[k] or 0.0 for k in (0, 1))
    mask = _oval(x, y, 0.5 if said.length is None else said.length, 0.55 if said.tall is None else said.tall)
    notes: list[Text] = [_("Told in words: good for the direction of a change, not for its amount.")]
    if not told[1]:
        notes.append(_("Nothing was said of high or low; that decides the depth."))
    if not told[0]:
        notes.append(_("Nothing was said of toe or heel."))
    if said.pressed:
        notes.append(
            _("How dark the mark is says how hard it was rolled, not where it lies; it is left aside.")
        )
    more = HEDGED if said.unsure else 1.0
    sd = [more * (SPOKEN_SD if told[k] else UNSPOKEN_SD)[k] for k in (0, 1)]
    return PatternReading(
        pattern=measure_mask(mask, check_flank(flank)),
        center_sd=(sd[0], sd[1]),
        length_sd=0.12 if said.length is not None else 0.25,
        source="words",
        quality=tuple(notes),
    )


def _clause(clause: str, said: _Said) -> list[str]:
    """Take one clause in; return the words of it that are not known."""
    clause = _percent(clause, said)
    words = re.findall(r"[^\s\-–—'\"!?/]+", clause)
    if CENTRED & set(words):
        for both, axis_word in (({"toe", "heel"}, "lengthwise"), ({"top", "root"}, "height")):
            if both <= set(words):
                words = [w for w in words if w not in both] + [axis_word]
    unknown: list[str] = []
    degree: float | None = None
    negated = False
    number = 1
    place: tuple[int, int] | None = None  # named just before
    part: tuple[int, int] | None = None  # of which a share was named
    share: float | None = None
    for k, word in enumerate(words):
        bare = word.strip(".")
        following = words[k + 1].strip(".") if k + 1 < len(words) else ""
        if bare == "not" or bare == "no":
            negated = True
        elif bare in ("hard", "heavy", "light", "soft", "sharp") and following not in WHERE:
            said.pressed = True
        elif bare in STEPS:
            degree = _stronger(degree, *STEPS[bare])
            if negated:
                degree, negated = (degree or 1.0) * 0.5, False  # "not very high"
        elif bare in PLACES:
            if negated:
                raise InputError(
                    _("'not {word}' does not say where the pattern lies").format(word=bare),
                    where=_("pattern"),
                    fix=_("say where it is, for example: {example}").format(example=EXAMPLE),
                )
            axis, sign = PLACES[bare]
            if bare == "face" and following == "width":
                continue
            place = (axis, sign)
            extreme = AT_AN_EDGE if {"edge", "line"} & set(words) else PLAIN
            _put(said, axis, sign * min(FARTHEST, extreme * (1.0 if degree is None else degree)))
        elif bare in CENTRED:
            _centre(words, said)
        elif bare in ("profile", "height", "depth"):
            pass
        elif bare in NUMBERS or bare in ("1", "2", "3"):
            number = NUMBERS.get(bare) or int(bare)
        elif bare in SHARES:
            value = SHARES[bare]
            if bare in ("third", "quarter"):
                value *= number
            if bare == "long" and share is not None:
                continue  # "a third long"
            share, part = min(value, 0.95), place
        elif bare in HEIGHTS:
            said.tall = HEIGHTS[bare]
        elif bare in UNSURE:
            said.unsure = True
        elif bare in PRESSED:
            said.pressed = True
        elif bare not in SILENT:
            unknown.append(bare)
        if bare not in PLACES and bare not in NUMBERS and bare not in ("1", "2", "3"):
            place = None
    _share(share, part, said)
    return unknown


def _percent(clause: str, said: _Said) -> str:
    found = re.search(r"(\d{1,4}(?:\.\d++)?) ?(%|per ?cent\b|percent\b)", clause)
    if not found:
        return clause
    value = float(found.group(1)) / 100.0
    if not 0.05 <= value <= 1.0:
        raise InputError(
            _("a length of {share} of the tooth cannot be").format(share=Number(value, ".0%")),
            where=_("pattern"),
            fix=_("give 5 to 100 %"),
        )
    said.length = value
    return clause.replace(found.group(0), " ")


def _stronger(degree: float | None, kind: str, factor: float) -> float:
    """Chain words of degree: "very slightly" is less than slightly, "slightly" after "very" as well."""
    if degree is None:
        return factor
    if kind == "little" and degree > 1.0:
        return factor / degree  # "very slightly": the first word strengthens the second
    if kind == "much" and degree < 1.0:
        return degree * factor if factor < 1.3 else degree  # "slightly too high"
    return min(degree, factor) if kind == "little" else degree * factor


def _put(said: _Said, axis: int, value: float) -> None:
    old = said.at[axis]
    if old is not None and old * value < 0.0:
        what = _("lengthwise") if axis == 0 else _("in height")
        raise InputError(
            _("the words contradict each other {direction}").format(direction=what),
            where=_("pattern"),
            fix=_("say one direction only"),
        )
    said.at[axis] = value if old is None or abs(value) > abs(old) else old


def _centre(words: list[str], said: _Said) -> None:
    across = {"profile", "height", "depth"} & set(words)
    along = {"lengthwise", "length", "along"} & set(words)
    if across or along:
        said.centred = [said.centred[0] or bool(along), said.centred[1] or bool(across)]
    else:
        said.any_centre = True


def _share(share: float | None, part: tuple[int, int] | None, said: _Said) -> None:
    """Take a share for a part of the tooth ("top third") or for the mark's length ("a third")."""
    if share is None:
        return
    if part is None:
        said.length = share if said.length is None else said.length
        return
    axis, sign = part
    # The mark lies within that part: its middle is the part's middle.
    said.at[axis] = sign * (1.0 - share)
    if axis == 1:
        said.tall = share
    elif said.length is None:
        said.length = share


def _oval(x: float, y: float, length: float, tall: float) -> Mask:
    """Return an oval whose centroid on the tooth lies near (x, y), pushed in from the edges as marks are."""
    X, Y = np.meshgrid(np.linspace(-1, 1, COLS), np.linspace(-1, 1, ROWS))
    cx, cy = x, y
    mask = np.zeros((ROWS, COLS), bool)
    for _turn in range(12):
        mask = ((X - cx) / length) ** 2 + ((Y - cy) / tall) ** 2 < 1.0
        pattern = measure_mask(mask, "drive")
        # What lies beyond an edge is not there: move on until the visible centroid is right.
        cx = float(np.clip(cx + x - pattern.center[0], -1.0, 1.0))
        cy = float(np.clip(cy + y - pattern.center[1], -1.0, 1.0))
    return np.asarray(mask)
