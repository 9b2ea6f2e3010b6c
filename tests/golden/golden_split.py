"""Take what the program gives apart into numbers and words, and compare either with what was kept.

Numbers must not move when words are said differently; so each kept file holds them apart. A place in data is
its path, such as ``depth.sums[0].text.inch``; a page or a sheet is one place.
"""

from __future__ import annotations

import difflib
import json
import math
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Final

from axlewright import __version__

KEPT: Final = Path(__file__).parent / "kept"
RELATIVE: Final = 1e-6
ABSOLUTE: Final = 1e-9
"""Rounding noise about zero; the smallest number of meaning here is a micrometre, 1e-3 mm."""
LONG_LIST: Final = 8
"""A list of more numbers than this is one place, not one for each."""

_TIME: Final = re.compile(
    r"\d{4}-\d\d-\d\d(?:[T ]\d\d:\d\d(?::\d\d(?:\.\d+)?)?)?(?:Z|[+-]\d\d:\d\d| UTC(?:[+-]\d\d:\d\d)?)?"
)
_HASH: Final = re.compile(r"(?<![\w.,])[0-9a-f]{12,}(?:…|\b)")
_FOLDER: Final = re.compile(r"(?:/[\w.+-]+)*/golden-place-\w*(?=/|\b)")
_NUMBER: Final = re.compile(r"(?<![\w.,])[+−-]?\d+(?:[.,]\d+)*(?:e[+-]?\d+)?|\d+(?:[.,]\d+)*")

Split = dict[str, dict[str, Any]]


def masked(text: str) -> str:
    """Return a text without what differs from run to run: times, hashes, folders, the version."""
    text = _FOLDER.sub("<folder>", _HASH.sub("<hash>", _TIME.sub("<time>", text)))
    return text.replace(__version__, "<version>")


def value_of(text: str) -> float:
    """Read a number as it is written in English or German."""
    bare = text.replace("−", "-")
    whole, sign, rest = bare.partition("," if "," in bare else ".")
    if "," in rest or "." in rest:  # a list without spaces, or a version: the digits alone
        return float(re.sub(r"\D", "", bare))
    return float(f"{whole}.{rest}" if sign else whole)


def take_apart(text: str) -> tuple[str, list[float]]:
    """Return a text with ``#`` in place of its numbers, and the numbers."""
    numbers: list[float] = []

    def taken(found: re.Match[str]) -> str:
        numbers.append(value_of(found[0]))
        return "#"

    return _NUMBER.sub(taken, masked(text)), numbers


def _plain_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _leaves(value: Any, path: str) -> Iterator[tuple[str, Any]]:
    if isinstance(value, Mapping):
        for key, inner in value.items():
            yield from _leaves(inner, f"{path}.{masked(str(key))}" if path else masked(str(key)))
    elif isinstance(value, list | tuple) and not (len(value) > LONG_LIST and all(map(_plain_number, value))):
        for place, inner in enumerate(value):
            yield from _leaves(inner, f"{path}[{place}]")
        if not value:
            yield path, None
    else:
        yield path, value


def split_data(data: Any) -> Split:
    """Take plain data apart."""
    numbers: dict[str, Any] = {}
    words: dict[str, Any] = {}
    for path, leaf in _leaves(data, ""):
        if isinstance(leaf, str):
            words[path], found = take_apart(leaf)
            if found:
                numbers[path] = found
        elif isinstance(leaf, list | tuple) or _plain_number(leaf):
            numbers[path] = leaf
        else:
            words[path] = json.dumps(leaf)
    return {"numbers": numbers, "words": words}


def split_pages(pages: Mapping[str, str]) -> Split:
    """Take the texts of pages apart, each a place of its own, line by line."""
    numbers: dict[str, Any] = {}
    words: dict[str, Any] = {}
    for name, page in pages.items():
        lines = [take_apart(" ".join(line.split())) for line in page.splitlines() if line.strip()]
        words[name] = [text for text, _ in lines]
        numbers[name] = [number for _, found in lines for number in found]
    return {"numbers": numbers, "words": words}


def _one_line_each(split: Split) -> str:
    """Write a kept file: one line for each number's place and for each line of words."""
    out = ["{"]
    for part, end in (("numbers", ","), ("words", "")):
        out.append(f' "{part}": {{')
        rows = []
        for path, value in split[part].items():
            text = json.dumps(value, ensure_ascii=False)
            if part == "words" and isinstance(value, list):
                text = "[\n   " + ",\n   ".join(json.dumps(v, ensure_ascii=False) for v in value) + "]"
            rows.append(f"  {json.dumps(path, ensure_ascii=False)}: {text}")
        out += [",\n".join(rows), f" }}{end}"]
    return "\n".join([*out, "}", ""])


def kept_path(name: str) -> Path:
    return KEPT / f"{name}.json"


def kept(name: str) -> Split:
    """Return what was kept under a name; empty where nothing was."""
    path = kept_path(name)
    if not path.exists():
        return {"numbers": {}, "words": {}}
    read: Split = json.loads(path.read_text(encoding="utf-8"))
    return read


def keep(name: str, split: Split) -> None:
    KEPT.mkdir(exist_ok=True)
    kept_path(name).write_text(_one_line_each(split), encoding="utf-8")


def _same(old: Any, new: Any) -> bool:
    if isinstance(old, list) and isinstance(new, list | tuple):
        return len(old) == len(new) and all(map(_same, old, new))
    if _plain_number(old) and _plain_number(new):
        return math.isclose(old, new, rel_tol=RELATIVE, abs_tol=ABSOLUTE) or old == new
    return bool(old == new)


def _shown(value: Any) -> list[str]:
    return [f"{one:.9g}" for one in value] if isinstance(value, list | tuple) else [f"{value:.9g}"]


def number_differences(old: Split, new: Split) -> list[str]:
    """Say which numbers moved, went or came, one line each."""
    before, after = old["numbers"], new["numbers"]
    out = []
    for path in [*before, *(path for path in after if path not in before)]:
        if path not in after:
            out.append(f"- {path}: {' '.join(_shown(before[path]))}")
        elif path not in before:
            out.append(f"+ {path}: {' '.join(_shown(after[path]))}")
        elif not _same(before[path], after[path]):
            a, b = _shown(before[path]), _shown(after[path])
            for tag, i, j, k, m in difflib.SequenceMatcher(None, a, b, autojunk=False).get_opcodes():
                if tag != "equal":
                    out.append(
                        f"! {path}[{i}]: {' '.join(a[i:j]) or 'nothing'} → {' '.join(b[k:m]) or 'nothing'}"
                    )
    return out


def word_differences(old: Split, new: Split) -> list[str]:
    """Say which words changed, as a diff."""

    def lines(split: Split) -> list[str]:
        out = []
        for path, text in split["words"].items():
            out += [f"{path}: {line}" for line in (text if isinstance(text, list) else [text])]
        return out

    return list(difflib.unified_diff(lines(old), lines(new), "kept", "now", lineterm="", n=0))
