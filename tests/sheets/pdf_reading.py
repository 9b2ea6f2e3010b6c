"""Read a PDF back as text, as words with their places, and as a picture, with poppler's programs."""

from __future__ import annotations

import io
import os
import re
import shutil
import subprocess
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

MUST_NOT_SKIP = "AXLEWRIGHT_TESTS_MUST_NOT_SKIP"
PROGRAMS = ("pdftotext", "pdftoppm", "pdfinfo", "pdffonts")


def _run(program: str, *options: str, pdf: bytes) -> bytes:
    if shutil.which(program) is None:
        reason = f"{program} of poppler is not installed"
        if os.environ.get(MUST_NOT_SKIP):
            pytest.fail(f"{reason}, and {MUST_NOT_SKIP} is set")
        pytest.skip(reason)
    return subprocess.run([program, *options], input=pdf, capture_output=True, check=True).stdout


def text_of(pdf: bytes) -> str:
    """Return the text with runs of space made single."""
    return " ".join(_run("pdftotext", "-raw", "-", "-", pdf=pdf).decode("utf-8").split())


@dataclass(frozen=True)
class Word:
    """A word and its box in points from the upper left corner of its page."""

    text: str
    page: int
    left: float
    top: float
    right: float
    bottom: float


def words_of(pdf: bytes) -> tuple[list[Word], list[tuple[float, float]]]:
    """Return all words with their boxes, and the sizes of the pages in points."""
    html = _run("pdftotext", "-bbox", "-", "-", pdf=pdf).decode("utf-8")
    words: list[Word] = []
    sizes: list[tuple[float, float]] = []
    for line in html.splitlines():
        if page := re.search(r'<page width="([\d.]+)" height="([\d.]+)"', line):
            sizes.append((float(page[1]), float(page[2])))
        elif word := re.search(
            r'<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">(.*)</word>', line
        ):
            box = [float(word[k]) for k in range(1, 5)]
            words.append(Word(word[5], len(sizes) - 1, *box))
    return words, sizes


def pages_of(pdf: bytes, dpi: int) -> list[NDArray[np.uint8]]:
    """Return the pages as grey pictures, 0 black to 255 white."""
    raw = _run("pdftoppm", "-r", str(dpi), "-gray", "-", pdf=pdf)
    pages = []
    stream = io.BytesIO(raw)
    while stream.tell() < len(raw):
        start = stream.tell()
        header = re.match(rb"P5\s+(\d+)\s+(\d+)\s+255\s", raw[start : start + 40])
        assert header is not None
        wide, high = int(header[1]), int(header[2])
        stream.seek(start + header.end())
        pages.append(np.frombuffer(stream.read(wide * high), dtype=np.uint8).reshape(high, wide))
    return pages


def as_image(page: NDArray[np.uint8]) -> Image.Image:
    return Image.fromarray(page, mode=None)


def info_of(pdf: bytes) -> str:
    return _run("pdfinfo", "-", pdf=pdf).decode("utf-8")


def fonts_of(pdf: bytes) -> list[str]:
    """Return the lines of pdffonts without its head."""
    return _run("pdffonts", "-", pdf=pdf).decode("utf-8").splitlines()[2:]


def assert_nothing_leaves_the_page(pdf: bytes) -> None:
    """Every word lies within its page."""
    words, sizes = words_of(pdf)
    for word in words:
        wide, high = sizes[word.page]
        assert word.left >= -0.5, word
        assert word.right <= wide + 0.5, word
        assert word.top >= -0.5, word
        assert word.bottom <= high + 0.5, word
