"""Labels and the blank bench sheet, read back by scanner, as text and as picture."""

from __future__ import annotations

import pytest
import zxingcpp
from pdf_reading import assert_nothing_leaves_the_page, info_of, pages_of, text_of, words_of
from pydantic import ValidationError

from axlewright.errors import InputError
from axlewright.sheets import (
    BlankSheetData,
    SetLabelData,
    SpacerLabelData,
    blank_bench_sheet,
    read_label_code,
    set_label,
    set_label_code,
    spacer_label,
    spacer_label_code,
)

SET = SetLabelData(
    set_number="4417",
    design="TY-222",
    ratio="11/41",
    tooth_form="face-milled",
    hand="left-hand pinion",
    depth_mark="+2",
    mark_meaning="pinion further out by 0.002 in",
    backlash="0.15 to 0.20 mm",
    tested="2026-02-27 tester",
)
SPACER = SpacerLabelData(
    kind="pinion spacer",
    thickness_mm=1.562,
    inch="0.0615 in",
    measured="2026-02-27, micrometer 1",
    part="SP-62",
    place="drawer 4",
    design="TY-222",
    stock_id="12",
)


def scanned(pdf: bytes) -> list[tuple[object, str]]:
    (page,) = pages_of(pdf, 200)
    return [(code.format, code.text) for code in zxingcpp.read_barcodes(page)]


@pytest.mark.parametrize(("width_mm", "height_mm"), [(62, 29), (100, 50), (50, 25)])
def test_set_label_scans_back_at_200_dpi(width_mm: float, height_mm: float) -> None:
    pdf = set_label(SET.model_copy(update={"width_mm": width_mm, "height_mm": height_mm}))
    assert scanned(pdf) == [(zxingcpp.BarcodeFormat.DataMatrix, set_label_code(SET))]
    facts = read_label_code(scanned(pdf)[0][1])
    assert facts == {
        "label": "axle-set",
        "number": "4417",
        "design": "TY-222",
        "mark": "+2",
        "meaning": "pinion further out by 0.002 in",
        "backlash": "0.15 to 0.20 mm",
    }
    text = text_of(pdf)
    for wanted in ("Set 4417", "TY-222 · 11/41", "mark +2", "pinion further out by 0.002 in", "tester"):
        assert wanted in text
    ((wide, high),) = words_of(pdf)[1]
    assert (wide, high) == pytest.approx((width_mm * 72 / 25.4, height_mm * 72 / 25.4), abs=0.01)
    assert_nothing_leaves_the_page(pdf)


def test_spacer_label_scans_back_at_200_dpi() -> None:
    pdf = spacer_label(SPACER)
    assert scanned(pdf) == [(zxingcpp.BarcodeFormat.DataMatrix, spacer_label_code(SPACER))]
    assert read_label_code(spacer_label_code(SPACER)) == {
        "label": "axle-spacer", "id": "12", "kind": "pinion spacer", "mm": "1.562", "part": "SP-62",
    }  # fmt: skip
    text = text_of(pdf)
    for wanted in ("1.562 mm", "0.0615 in", "pinion spacer", "TY-222 · SP-62", "drawer 4 · stock 12"):
        assert wanted in text


def test_longest_texts_still_fit_and_scan() -> None:
    long = "W" * 80
    fields = ("set_number", "design", "depth_mark", "mark_meaning", "ratio", "tooth_form", "hand", "tested")
    data = SetLabelData.model_validate(dict.fromkeys(fields, long))
    pdf = set_label(data)
    assert len(words_of(pdf)[1]) == 1, "one label, not two"
    assert_nothing_leaves_the_page(pdf)
    assert text_of(pdf).replace(" ", "").replace("\u200b", "").count("W") == 8 * 80


def test_code_is_square_and_other_characters_survive() -> None:
    data = SET.model_copy(update={"set_number": "Ä-12/µ & = ? #", "tested": ""})
    pdf = set_label(data)
    (found,) = zxingcpp.read_barcodes(pages_of(pdf, 300)[0])
    assert read_label_code(found.text)["number"] == "Ä-12/µ & = ? #"
    corners = found.position
    wide = corners.top_right.x - corners.top_left.x
    high = corners.bottom_left.y - corners.top_left.y
    assert wide == pytest.approx(high, rel=0.05)


def test_labels_are_the_same_bytes_each_time_and_accessible() -> None:
    assert set_label(SET) == set_label(SET)
    assert spacer_label(SPACER) == spacer_label(SPACER)
    assert "Tagged:          yes" in info_of(set_label(SET))


def test_other_codes_are_refused() -> None:
    with pytest.raises(InputError, match="not the code of a set or spacer label"):
        read_label_code("https://example.org/?number=1")
    with pytest.raises(ValidationError):
        SpacerLabelData(kind="shim", thickness_mm=float("nan"))


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_blank_bench_sheet_has_a_place_for_everything(paper: str) -> None:
    data = BlankSheetData.model_validate(
        {"shop": "Thistledown Yard", "number": "17", "cautions": ["Hands off the mesh."], "paper": paper}
    )
    pdf = blank_bench_sheet(data)
    text = text_of(pdf)
    for wanted in (
        "Thistledown Yard",
        "Caution Hands off the mesh.",
        "Depth mark as etched",
        "The shim sits under the head behind the cup at the cage flange",
        "One unit of the mark is",
        "Depth spacer, 3 places, unit",
        "The indicator's stem stood in line with rotation square to the tooth",
        "not known: ask before pressing",
        "back face runout",
        "Limit and its source",
        "Coast side, after the change",
        "Technician, date",
        "page 2 of 2",
    ):
        assert wanted in text
    assert text.count("toe") == 4
    assert_nothing_leaves_the_page(pdf)
    assert blank_bench_sheet(data) == pdf
    for page in pages_of(pdf, 60):
        assert 0.005 < (page < 160).mean() < 0.2, "neither empty nor covered"


def test_blank_bench_sheet_needs_no_data() -> None:
    assert "Bench sheet" in text_of(blank_bench_sheet())
