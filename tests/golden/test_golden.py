"""What the program gives stays what it was: numbers strictly, words until they are kept anew on purpose.

Checked against nothing outside: these files say what an earlier version gave, not that it was right. When a
word is meant to change, ``python tests/golden/make.py --words`` keeps the new words and prints them.
"""

from __future__ import annotations

import os
import shutil

import pytest
from golden_scenes import SCENES
from golden_split import KEPT, kept, number_differences, split_data, split_pages, take_apart, word_differences

MUST_NOT_SKIP = "AXLEWRIGHT_TESTS_MUST_NOT_SKIP"
HOW = "meant? python tests/golden/make.py"


@pytest.fixture(autouse=True)
def _poppler(request: pytest.FixtureRequest) -> None:
    name = getattr(request.node, "callspec", None) and request.node.callspec.params.get("name", "")
    if str(name).startswith("sheets") and shutil.which("pdftotext") is None:
        if os.environ.get(MUST_NOT_SKIP):
            pytest.fail(f"pdftotext of poppler is not installed, and {MUST_NOT_SKIP} is set")
        pytest.skip("pdftotext of poppler is not installed")


@pytest.mark.parametrize("name", SCENES)
def test_numbers_are_the_same(name: str) -> None:
    moved = number_differences(kept(name), SCENES[name]())
    assert not moved, f"{len(moved)} numbers of {name} moved; {HOW} {name}\n" + "\n".join(moved[:40])


@pytest.mark.parametrize("name", SCENES)
def test_words_are_the_same(name: str) -> None:
    changed = word_differences(kept(name), SCENES[name]())
    assert not changed, f"words of {name} changed; {HOW} --words {name}\n" + "\n".join(changed[:40])


def test_nothing_is_kept_that_is_not_compared() -> None:
    assert {path.stem for path in KEPT.glob("*.json")} == set(SCENES)
    for name in SCENES:
        assert kept(name)["numbers"], name
        assert kept(name)["words"], name


def test_a_moved_number_is_seen_and_a_changed_word_is_not_one() -> None:
    old = split_data({"why": "wants 0.0595 in", "mm": 1.5113, "at": "2026-03-02 09:10"})
    assert not number_differences(old, split_data({"why": "asks for 0,0595 in", "mm": 1.51130000001}))
    assert word_differences(old, split_data({"why": "asks for 0.0595 in", "mm": 1.5113}))
    assert number_differences(old, split_data({"why": "wants 0.0596 in", "mm": 1.5113}))
    assert number_differences(old, split_data({"why": "wants 0.0595 in", "mm": 1.5114}))
    assert number_differences(split_pages({"a": "1 in\n2 in"}), split_pages({"a": "1 in\n−2 in"}))


@pytest.mark.parametrize(
    ("text", "words", "numbers"),
    [
        ("−0,127 mm", "# mm", [-0.127]),
        ("5.6230 − 4.3125 = 1.3105", "# − # = #", [5.623, 4.3125, 1.3105]),
        ("TY-222", "TY-#", [222.0]),
        ("11/41, 0.05-0.08", "#/#, #-#", [11.0, 41.0, 0.05, 0.08]),
        ("entry 3 of 2026-03-02T09:10:00.000000Z", "entry # of <time>", [3.0]),
        ("head " + "0a" * 32, "head <hash>", []),
        ("at 45.", "at #.", [45.0]),
    ],
)
def test_texts_are_taken_apart(text: str, words: str, numbers: list[float]) -> None:
    assert take_apart(text) == (words, numbers)
