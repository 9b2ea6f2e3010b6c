"""The job sheet, read back as text and as picture."""

from __future__ import annotations

import io
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import zxingcpp
from numpy.typing import NDArray
from pdf_reading import (
    Word,
    assert_nothing_leaves_the_page,
    fonts_of,
    info_of,
    pages_of,
    text_of,
    words_of,
)
from PIL import Image, ImageDraw
from pydantic import ValidationError

from axlewright.errors import AxlewrightError, InputError, PhotoError
from axlewright.sheets import (
    JobSheetData,
    PatternPicture,
    Photo,
    ReadingBlock,
    RoundPlot,
    StepBlock,
    Struck,
    job_sheet,
    round_plot_svg,
)

DPI = 144


def row(name: str, value: str, *, unit: str = "", note: str = "") -> dict[str, str]:
    """Return a reading as a line of the sheet."""
    return {"name": name, "value": value, "unit": unit, "note": note}


@pytest.fixture(scope="module")
def full_pdf(full_sheet: JobSheetData) -> bytes:
    return job_sheet(full_sheet)


@pytest.mark.parametrize(
    "text",
    [
        "Job sheet 17",
        "Thistledown Yard",
        "Milk lorry, rear axle",
        "Whines on drive at 45 mph",
        "Carrier depth 1 4.3125 in",
        "depth micrometer 2, calibrated 2026-01-12",
        "4.3125 − 3.0000 − 1.2490 − 0.0020 = 0.0615",
        "0.0615 in ± 0.0006 in (k = 2)",
        "the other meaning would give 0.0655 in",
        "Depth reached +0.0050 in ± 0.0010 in ✗ outside common practice, no source default",
        "0.17 to 0.20 mm 0.15 to 0.20 mm ✓ within",
        "typed in by bench two from the axle's service data",
        "86 % Pinion too far out +0.0051 in ± 0.0012 in",
        "✓ taken Fit spacer 0.0665 in from stock",
        "✗ not taken Measure the carrier once more before pressing. bench one five readings within 0.0003 in",
        "Measured: Photo of 09:40",
        "Computed: After a spacer 0.005 in thicker.",
        "First harmonic 0.022 mm, high at 80°.",
        "Caution Press and driver work: eye protection and a guard.",
        "bench one technician · 2026-03-02 16:20",
        "http://bench.local:8000/jobs/17",
        "record 86690e3a04847962",
        "Record when this sheet was printed: 86690e3a04847962",
        "page 1 of",
    ],
)
def test_text_can_be_read_back(full_pdf: bytes, text: str) -> None:
    assert text in text_of(full_pdf)


def test_identical_data_give_identical_bytes_in_another_process(
    full_sheet: JobSheetData, full_pdf: bytes, tmp_path: Path
) -> None:
    script = (
        "import sys, hashlib; from axlewright.sheets import JobSheetData, job_sheet\n"
        "data = JobSheetData.model_validate_json(open(sys.argv[1], 'rb').read())\n"
        "open(sys.argv[2], 'wb').write(job_sheet(data))"
    )
    (tmp_path / "data.json").write_text(full_sheet.model_dump_json(), encoding="utf-8")
    command = [sys.executable, "-c", script, str(tmp_path / "data.json"), str(tmp_path / "out.pdf")]
    subprocess.run(command, check=True)
    assert (tmp_path / "out.pdf").read_bytes() == full_pdf


def test_other_data_give_other_bytes(full_sheet: JobSheetData, full_pdf: bytes) -> None:
    assert job_sheet(full_sheet.model_copy(update={"number": "18"})) != full_pdf


def test_pdf_is_accessible_and_carries_no_date(full_pdf: bytes) -> None:
    info = info_of(full_pdf)
    assert "Title:           Job sheet 17" in info
    assert "Tagged:          yes" in info
    assert "CreationDate" not in info
    assert b"pdfuaid:part" in full_pdf, "it says that it follows PDF/UA"
    assert all("DejaVu" in line and " yes yes" in line for line in fonts_of(full_pdf)), "embedded and subset"
    assert full_pdf.count(b"/Alt") >= 8, "every picture has its text"


@pytest.mark.parametrize(("paper", "size"), [("a4", (595, 842)), ("us-letter", (612, 792))])
def test_both_papers_hold_everything(full_sheet: JobSheetData, paper: str, size: tuple[int, int]) -> None:
    pdf = job_sheet(full_sheet.model_copy(update={"paper": paper}))
    _, sizes = words_of(pdf)
    assert {(round(wide), round(high)) for wide, high in sizes} == {size}
    assert_nothing_leaves_the_page(pdf)


def test_smallest_sheet_can_be_set() -> None:
    text = text_of(job_sheet(JobSheetData(number="1")))
    assert "Job sheet 1" in text
    for heading in ("Signatures", "Photographs", "Contact pattern", "Steps"):
        assert heading not in text, "an empty part has no heading"


HOSTILE = (
    '#panic("x") #read("/etc/passwd") *bold* _it_ $x^2$ `raw` = head <label> @ref // gone /* gone */ '
    '\\ "q" [b] {c} #1'
)


def test_markup_in_job_text_is_printed_as_it_is(full_sheet: JobSheetData) -> None:
    step = StepBlock(
        title=HOSTILE, why=HOSTILE, notes=(HOSTILE,), rounds=(ReadingBlock(readings=(row(HOSTILE, "1"),)),)
    )
    data = JobSheetData(
        number=HOSTILE, design=HOSTILE, vehicle=HOSTILE, complaint=HOSTILE, steps=(step,), cause_note=HOSTILE
    )
    text = text_of(job_sheet(data)).replace(" ", "")
    assert text.count(HOSTILE.replace(" ", "")) >= 7


def test_long_names_wrap_and_survive() -> None:
    long = "Donaudampfschifffahrtselektrizitätenhauptbetriebswerkbauunterbeamtengesellschaft" * 2
    word = "x" * 390
    step = StepBlock(
        title=word,
        rounds=(
            ReadingBlock(
                readings=(row(long, word[:60], unit=word[:40], note=long),), instrument=long, who=long
            ),
        ),
        notes=(long,),
    )
    data = JobSheetData(
        number=word, design=long, vehicle=long, complaint=long, people=(long,), set_number=word, steps=(step,)
    )
    pdf = job_sheet(data)
    assert_nothing_leaves_the_page(pdf)
    assert text_of(pdf).count("ä") == 9 * long.count("ä"), "all nine of them are there in full"


def test_all_scripts_and_control_characters_are_taken() -> None:
    text = text_of(job_sheet(JobSheetData(number="1", vehicle="a\0b \x07 Øß 太郎 😀", complaint="µm ± ° −")))
    assert "ab Øß 太郎 😀" in text
    assert "µm ± ° −" in text


def test_many_readings_run_over_pages_with_their_heads() -> None:
    readings = tuple(row(f"Reading {k}", str(k), unit="mm") for k in range(200))
    step = StepBlock(title="Depth", rounds=(ReadingBlock(readings=readings),))
    pdf = job_sheet(JobSheetData(number="1", steps=(step,)))
    words, sizes = words_of(pdf)
    assert len(sizes) >= 3
    assert {word.page for word in words if word.text == "Value"} == set(range(len(sizes)))


def test_qr_code_leads_back_to_the_job(full_pdf: bytes) -> None:
    codes = zxingcpp.read_barcodes(pages_of(full_pdf, DPI)[0])
    assert [(code.format, code.text) for code in codes] == [
        (zxingcpp.BarcodeFormat.QRCode, "http://bench.local:8000/jobs/17")
    ]


# --- drawn patterns -------------------------------------------------------------------------------------


def band(lengthwise: tuple[float, float], profile: tuple[float, float]) -> tuple[tuple[bool, ...], ...]:
    """Return a rectangular mask between shares of the face width and of the depth."""
    return tuple(
        tuple(
            lengthwise[0] < (c + 0.5) / 40 < lengthwise[1] and profile[0] < (r + 0.5) / 20 < profile[1]
            for c in range(40)
        )
        for r in range(20)
    )


def teeth(pdf: bytes) -> list[NDArray[np.bool_]]:
    """Cut the inside of every drawn tooth out of the first page, found by its words toe, heel, top, root."""
    words, _ = words_of(pdf)
    page = pages_of(pdf, DPI)[0]
    scale = DPI / 72

    def of(text: str) -> list[Word]:
        found = [word for word in words if word.text == text and word.page == 0]
        return sorted(found, key=lambda word: (round(word.top / 20), word.left))

    cut = []
    for toe, heel, top, root in zip(of("toe"), of("heel"), of("top"), of("root"), strict=True):
        left, right = (toe.right + 7) * scale, (heel.left - 7) * scale
        upper, lower = (top.bottom + 5) * scale, (root.top - 5) * scale
        cut.append(page[round(upper) : round(lower), round(left) : round(right)] < 140)
    return cut


def sheet_with(**masks: object) -> bytes:
    picture = PatternPicture.model_validate({"flank": "drive", "tapered": False, **masks})
    return job_sheet(JobSheetData(number="1", patterns=(picture,)))


def ink(tooth: NDArray[np.bool_], lengthwise: tuple[float, float], profile: tuple[float, float]) -> float:
    high, wide = tooth.shape
    rows = slice(round((1 - profile[1]) * high), round((1 - profile[0]) * high))
    return float(tooth[rows, round(lengthwise[0] * wide) : round(lengthwise[1] * wide)].mean())


@pytest.mark.parametrize("kind", ["measured", "computed"])
@pytest.mark.parametrize(
    ("lengthwise", "profile"),
    [((0.1, 0.4), (0.55, 0.9)), ((0.6, 0.9), (0.1, 0.45)), ((0.1, 0.4), (0.1, 0.45))],
    ids=["toe top", "heel root", "toe root"],
)
def test_marked_area_is_drawn_where_the_mask_says(
    kind: str, lengthwise: tuple[float, float], profile: tuple[float, float]
) -> None:
    (tooth,) = teeth(sheet_with(**{kind: band(lengthwise, profile)}))
    inside = ink(tooth, lengthwise, profile)
    mirrored_length = (1 - lengthwise[1], 1 - lengthwise[0])
    mirrored_depth = (1 - profile[1], 1 - profile[0])
    assert inside > 0.04
    assert ink(tooth, mirrored_length, profile) < 0.2 * inside
    assert ink(tooth, lengthwise, mirrored_depth) < 0.2 * inside


def test_measured_and_computed_differ_without_colour() -> None:
    mask = band((0.2, 0.8), (0.2, 0.8))
    measured, computed = teeth(sheet_with(measured=mask, computed=mask))
    inner = (0.3, 0.7), (0.3, 0.7)
    assert ink(measured, *inner) > 3 * ink(computed, *inner), "hatched is darker than dotted"

    def edge_covered(tooth: NDArray[np.bool_]) -> float:
        high, wide = tooth.shape
        rows = slice(round(0.12 * high), round(0.32 * high))  # about the upper edge of the area
        return float(tooth[rows, round(0.3 * wide) : round(0.7 * wide)].any(axis=0).mean())

    assert edge_covered(measured) == 1.0, "a full outline"
    assert edge_covered(computed) < 0.97, "a dashed outline has gaps"


def test_empty_mask_draws_an_empty_tooth() -> None:
    (tooth,) = teeth(sheet_with(measured=band((2, 3), (2, 3))))
    assert ink(tooth, (0.05, 0.95), (0.1, 0.9)) < 0.002


def test_alternative_texts_say_where_the_pattern_lies() -> None:
    from axlewright.sheets.drawing import tooth_alt

    assert tooth_alt("coast", "measured", band((0.25, 0.5), (0.5, 1.0))) == (
        "Unrolled ring gear tooth, coast side, measured contact pattern: from 25 to 50 % of the face width "
        "from the toe, from 50 to 100 % of the depth from the root."
    )


# --- bad input ------------------------------------------------------------------------------------------


def test_photo_that_is_none_gets_one_sentence(full_sheet: JobSheetData) -> None:
    good = full_sheet.photos[0]
    for jpeg in (b"", b"GIF89a", good.jpeg[: len(good.jpeg) // 2]):
        data = full_sheet.model_copy(update={"photos": (good, Photo(jpeg=jpeg, caption="x"))})
        with pytest.raises(PhotoError, match="photo 2: this is no JPEG picture") as caught:
            job_sheet(data)
        assert isinstance(caught.value, AxlewrightError)


def test_photo_is_printed_upright_small_and_without_its_place() -> None:
    picture = Image.new("RGB", (2400, 1200), "white")
    ImageDraw.Draw(picture).rectangle((0, 0, 1199, 1199), fill="black")  # left half black
    exif = Image.Exif()
    exif[0x0112] = 6  # turned: the stored left side is the top
    exif[0x010E] = "SECRET PLACE"
    out = io.BytesIO()
    picture.save(out, "JPEG", exif=exif)
    pdf = job_sheet(JobSheetData(number="1", photos=(Photo(jpeg=out.getvalue(), caption="x"),)))
    assert b"SECRET PLACE" in out.getvalue()
    assert b"SECRET PLACE" not in pdf
    dark = np.argwhere(pages_of(pdf, 50)[0] < 15)  # the page's ink is lighter than that
    high, wide = np.ptp(dark, axis=0) + 1
    assert high == pytest.approx(wide, rel=0.15), "the dark half of an upright picture twice as high as wide"
    assert job_sheet(JobSheetData(number="1", photos=(Photo(jpeg=out.getvalue(), caption="x"),))) == pdf


def test_link_too_long_for_a_code_gets_one_sentence() -> None:
    with pytest.raises(InputError, match="too long for a QR code"):
        job_sheet(JobSheetData(number="1", link="x").model_copy(update={"link": "ä" * 3000}))


@pytest.mark.parametrize("mask", [[[True]], [[True, False], [True]], [], [[], []]])
def test_mask_that_is_no_grid_is_refused(mask: list[list[bool]]) -> None:
    with pytest.raises(ValidationError, match="rectangle of at least 2 by 2"):
        PatternPicture.model_validate({"flank": "drive", "measured": mask})
    with pytest.raises(ValidationError, match="needs a measured or a computed mask"):
        PatternPicture(flank="drive")


def test_plot_of_unequal_lengths_is_refused() -> None:
    with pytest.raises(ValidationError, match="of equal number"):
        RoundPlot(title="x", unit="mm", angles_deg=(0, 90), values=(1,))


def test_superseded_readings_are_printed_struck_out_beside_those_that_count() -> None:
    reading, again = (
        ReadingBlock(readings=(row("backlash at 0°", value),), who="two", when="10:05", entry=entry)
        for value, entry in (("0.0065 in", 5), ("0.0070 in", 7))
    )
    struck = Struck(
        values="backlash at 0° 0.0123 in", fate="Entry 3 by one: replaced by entry 5. Reason: slip"
    )
    step = StepBlock(title="Backlash", rounds=(reading, again), struck=(struck,))
    untouched = StepBlock(title="Final build", begun=False)
    text = text_of(job_sheet(JobSheetData(number="1", steps=(step, untouched))))
    assert "entry 5, two, 10:05" in text
    assert "entry 7, two, 10:05" in text, "two rounds of one minute stand apart"
    assert (
        "No longer counts backlash at 0° 0.0123 in Entry 3 by one: replaced by entry 5. Reason: slip" in text
    )
    assert text.count("Final build") == 1, "a step not begun stands in the overview alone"


def test_limits_and_the_tightest_place_are_drawn_in_a_plot() -> None:
    plain = RoundPlot(title="Backlash", unit="in", angles_deg=(0, 90, 180), values=(0.006, 0.007, 0.008))
    full = plain.model_copy(update={"limit": 0.009, "lower_limit": 0.005, "ringed": 1})
    before, after = round_plot_svg(plain), round_plot_svg(full)
    assert before.count("stroke-dasharray") == 0
    assert after.count("stroke-dasharray") == 2
    assert after.count("<circle") == before.count("<circle") + 1
    assert ">in</text>" in after
