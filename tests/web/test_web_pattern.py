"""The pattern page asked over a real connection: answer first, outline corrected, teeth, what came after."""

from __future__ import annotations

import json
import re
from html import unescape
from pathlib import Path

import numpy as np
import pytest
from web_visitor import Visitor

from axlewright.job.photos import mask_rows
from axlewright.web.pictures import edge_loops, edge_path, outlines

PHOTOS = Path(__file__).parents[2] / "examples" / "photos"


def corners(flank: str) -> list[str]:
    told = json.loads((PHOTOS / f"ty-222-job-{flank}.json").read_text())
    return str(told["corners_text"]).split()


def photo(flank: str) -> tuple[str, bytes, str]:
    return f"{flank}.jpg", (PHOTOS / f"ty-222-job-{flank}.jpg").read_bytes(), "image/jpeg"


def plain(page: str) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", page)))


def read_drive(visitor: Visitor, job: int) -> str:
    page = visitor.post(f"/jobs/{job}/pattern/photos", {"key": "p"}, files={"drive": photo("drive")})
    kept = re.search(r'name="drive_photo" value="(\w+)"', page)[1]
    fields = {f"drive_corner{i}": c for i, c in enumerate(corners("drive"))}
    return visitor.post(f"/jobs/{job}/pattern/read", {"key": "r", "drive_photo": kept, **fields})


def test_a_file_that_is_no_photo_is_named_and_the_others_are_kept(visitor: Visitor) -> None:
    job = visitor.start_job()
    sent = {"drive": photo("drive"), "coast": ("notes <1>.txt", b"no picture", "text/plain")}
    page = visitor.post(f"/jobs/{job}/pattern/photos", {"key": "p"}, files=sent, status=422)
    text = plain(page)
    assert "✕ Coast side, notes <1>.txt:" in text
    assert "Kept: Drive side, drive.jpg. Not kept: Coast side, notes <1>.txt." in text
    assert "Nothing was kept" not in text
    assert re.search(r'name="drive_photo" value="\w+"', page), "it can be marked at once"
    both = dict.fromkeys(("drive", "coast"), ("a.txt", b"no picture", "text/plain"))
    text = plain(visitor.post(f"/jobs/{job}/pattern/photos", {"key": "q"}, files=both, status=422))
    assert "Not kept: Drive side, a.txt; Coast side, a.txt." in text
    page = visitor.post(f"/jobs/{job}/pattern/photos", {"key": "r"}, files={"coast": photo("coast")})
    assert 'name="coast_photo"' in page
    assert 'name="drive_photo"' in page


def test_what_to_do_comes_first_then_cure_then_cause(warm: Visitor) -> None:
    page = read_drive(warm, warm.start_job())
    text = plain(page)
    places = [text.index(t) for t in ("What to do now", "It costs", "Where it is", "The cure", "The cause")]
    assert places == sorted(places)
    assert "Make the spacer" in text[places[0] : places[1]]
    assert text.count("90 % between") == 6
    assert 'class="o-computed"' in page, "computed laid over measured, on the photo too"
    assert "Photos, corners and words: read once more" in text
    wanted = page[page.index("Held against what is wanted") :]
    assert "✕" in plain(wanted.partition("</ul>")[0]), "drawn with the pinion 0.127 mm out: too high"
    assert "Pattern centre in profile" in plain(wanted.partition("</ul>")[0])
    measures = plain(wanted[wanted.index("Measures, each") :].partition("</dl>")[0])
    for name in ("centre, root", "length", "height", "area", "slant"):
        assert re.search(rf"{name}[^±]*[+−]?[\d.]+°? ± [\d.]+", measures), name


def test_advice_of_before_a_change_is_marked_as_such(warm: Visitor) -> None:
    job = warm.start_job()
    words = {"drive_words": "high, toward heel, half the length", "coast_words": "high, half the length"}
    page = warm.post(f"/jobs/{job}/pattern/read", {"key": "w", **words})
    assert "belongs to the setting before" not in page
    warm.post(
        f"/jobs/{job}/steps/depth",
        {
            "key": "d",
            "place": "under_head",
            "carrier": "5.6230 5.6235 5.6225",
            "bearing": "1.2490",
            "mounting_distance": "4.3125",
            "fitted": "0.0615",
        },
    )
    page = warm.get(f"/jobs/{job}/pattern")
    assert "Pinion depth and spacer changed since" in plain(page)
    assert "belongs to the setting before" in page
    assert '<details class="card again" open>' in page, "what to do about it stands open"
    page = warm.post(f"/jobs/{job}/pattern/read", {"key": "w2", **words})
    assert "belongs to the setting before" not in page


def test_a_guess_comes_with_the_photo(warm: Visitor) -> None:
    job = warm.start_job()
    page = warm.post(f"/jobs/{job}/pattern/photos", {"key": "p"}, files={"drive": photo("drive")})
    guess = re.search(r'data-guess="([^"]+)"', page)[1].split()
    assert len(guess) == 4
    for told, true in zip(guess, corners("drive"), strict=True):
        miss = np.subtract(*(np.array(p.split(","), dtype=float) for p in (told, true)))
        assert np.hypot(*miss) < 80, "of 1920 points; a start only"
    assert 'name="drive_corner0" value=""' in page, "a guess is never taken for a tap"


def test_words_count_in_place_of_a_photo_that_is_still_marked(warm: Visitor) -> None:
    job = warm.start_job()
    page = read_drive(warm, job)
    file = re.search(r'name="drive_photo" value="([0-9a-f]+)"', page)[1]
    marked = {"drive_photo": file} | {f"drive_corner{i}": c for i, c in enumerate(corners("drive"))}
    address = f"/jobs/{job}/pattern/read"
    refused = warm.post(address, {"key": "w0", "drive_words": "banana", **marked}, status=422)
    assert "banana" in plain(refused)
    page = warm.post(address, {"key": "w1", "drive_words": "centred, half the length", **marked})
    assert "measured now: centred" in plain(page)
    assert "in place of the photo" in page
    page = warm.post(f"/jobs/{job}/pattern/photos", {"key": "w2"}, files={"drive": photo("drive")})
    assert 'name="drive_words" value=""' in page, "a new photo is not read by the words of the one before"


def test_an_outline_is_corrected_by_its_edges_and_by_strokes(warm: Visitor) -> None:
    job = warm.start_job()
    page = read_drive(warm, job)
    seq = re.search(r'name="seq" value="(\d+)"><input type="hidden" name="flank"', page)[1]
    address = f"/jobs/{job}/pattern/outline"
    refused = warm.post(address, {"key": "o0", "seq": seq, "flank": "drive", "top_edge": "x"}, status=422)
    assert "is no nudge of the top edge" in plain(refused)
    refused = warm.post(address, {"key": "o1", "seq": seq, "flank": "drive"}, status=422)
    assert "nothing was changed on the outline" in plain(refused).lower()
    refused = warm.post(address, {"key": "o2", "seq": seq, "flank": "drive", "mask": "zz"}, status=422)
    assert "the drawn outline is damaged" in plain(refused)
    before = np.array(mask_rows(re.search(r'data-mask="([^"]+)"', page)[1].split()), dtype=bool)
    page = warm.post(address, {"key": "o3", "seq": seq, "flank": "drive", "top_edge": "-20"})
    after = np.array(mask_rows(re.search(r'data-mask="([^"]+)"', page)[1].split()), dtype=bool)
    assert 3 <= np.flatnonzero(before.any(axis=1))[-1] - np.flatnonzero(after.any(axis=1))[-1] <= 7
    assert "The outline was corrected by hand" in plain(page)
    assert re.search(r'data-as-read="([^"]+)"', page)[1]
    stale = warm.post(address, {"key": "o4", "seq": seq, "flank": "drive", "top_edge": "5"}, status=422)
    assert "not the newest reading" in plain(stale)


def test_teeth_need_a_number_each(warm: Visitor) -> None:
    job = warm.start_job()
    files = [("drive_teeth", photo("drive")), ("drive_teeth", photo("drive"))]
    address = f"/jobs/{job}/pattern/photos"
    for numbers in ("", "1", "1 1", "1 two", "1 99"):
        warm.post(address, {"key": f"t{numbers}", "drive_numbers": numbers}, status=422, files=files)
    page = warm.post(address, {"key": "t", "drive_numbers": "1 21"}, files=files)
    assert "Drive side, tooth 21" in plain(page)
    fields = {"key": "r", "drive_teeth": re.search(r'name="drive_teeth" value="([^"]+)"', page)[1]}
    for tooth in (1, 21):
        fields[f"drive_t{tooth}_photo"] = re.search(rf'name="drive_t{tooth}_photo" value="(\w+)"', page)[1]
        fields |= {f"drive_t{tooth}_corner{i}": c for i, c in enumerate(corners("drive"))}
    text = plain(warm.post(f"/jobs/{job}/pattern/read", fields))
    assert "Tooth by tooth" in text
    assert "Runout needs at least four teeth" in text


@pytest.mark.parametrize("marked", [[(1, 1)], [(0, 0), (1, 1)], [(0, 1), (1, 1), (1, 2), (3, 3)]])
def test_edges_enclose_just_what_is_marked(marked: list[tuple[int, int]]) -> None:
    """The area inside the loops, by the shoelace formula, is the number of cells."""
    mask = np.zeros((4, 5), dtype=bool)
    for place in marked:
        mask[place] = True
    rows = tuple(map(tuple, mask.tolist()))
    area = 0.0
    for loop in edge_loops(rows):
        x, y = np.array(loop).T
        area += 0.5 * float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))
    assert abs(area) == pytest.approx(len(marked))
    assert edge_path(rows).count("Z") == len(edge_loops(rows))
    assert outlines(measured=rows, computed=None, label='a "b"').count("<path") == 2
