"""The sheets speak the reader's language."""

from __future__ import annotations

import re
from importlib.resources import files

from pdf_reading import text_of

from axlewright.language import using_language
from axlewright.sheets import blank_bench_sheet
from axlewright.sheets.typeset import SHEET_WORDS


def test_every_word_of_the_templates_is_in_the_table_and_none_is_left_over() -> None:
    folder = files("axlewright.sheets").joinpath("templates")
    used = {
        message
        for path in folder.iterdir()
        for message in re.findall(r'\bw\("([^"]+)"', path.read_text(encoding="utf-8"))
    }
    assert used <= set(SHEET_WORDS)
    assert set(SHEET_WORDS) - used == {"default", "typed in", "design file"}, "shown as values"


def test_a_sheet_in_another_language_says_so_and_is_the_same_each_time() -> None:
    with using_language("de"):
        sheet = blank_bench_sheet()
        assert sheet == blank_bench_sheet()
    assert b"/Lang(de)" in sheet
    assert b"/Lang(en)" in blank_bench_sheet()
    assert text_of(sheet)
