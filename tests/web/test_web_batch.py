"""The batch pages as plain forms."""

from __future__ import annotations

import csv
import io
import re

import httpx
import pytest
from web_visitor import Visitor

LOG = "set,design,pinion out [mm],drive motion error [µrad]\n" + "".join(
    f"{n},TY-222,{x},{30 * (1 + ((x - 0.02) / 0.08) ** 2):.1f}\n"
    for n in range(1, 4)
    for x in (-0.1, -0.05, 0.0, 0.05, 0.1)
)


def send(visitor: Visitor, text: str, status: int = 200) -> str:
    return visitor.post("/batch/import", {}, status=status, files={"file": ("log.csv", text.encode())})


def test_an_empty_batch_offers_what_to_do(visitor: Visitor) -> None:
    page = visitor.get("/batch")
    assert "Fill with the demonstration log" in page
    assert "hearing protection" in page
    assert 'href="/batch"' in page
    assert "There are no readings yet" in visitor.get("/batch/charts")


def test_a_log_is_read_and_each_set_answered(visitor: Visitor) -> None:
    assert "15 readings taken" in send(visitor, LOG)
    page = visitor.get("/batch")
    assert "3 sets, 3 decided" in page
    one = visitor.get("/batch/set?design=TY-222&number=2")
    assert "Best position" in one
    assert "What a mark counts" in one, "no convention was said yet"
    visitor.post(
        "/batch/practice",
        {"mark_unit": "0.001 in", "mark_meaning": "plus_means_larger_mounting_distance"},
    )
    assert "mark +1" in visitor.get("/batch/set?design=TY-222&number=2")
    label = visitor.client.get("/batch/labels.pdf?design=TY-222")
    assert label.content.startswith(b"%PDF")
    again = visitor.client.get("/batch/log.csv").text
    assert len(list(csv.DictReader(io.StringIO(again)))) == 15
    assert "15 rows are the very same readings" in send(visitor, LOG)


def test_a_wrong_row_is_named_and_nothing_taken(visitor: Visitor) -> None:
    page = send(visitor, LOG + "9,TY-222,far,30\n", status=422)
    assert "Nothing was taken" in page
    assert re.search(r'<th scope="row">17</th><td>pinion out \[mm\]</td>', page)
    assert "3 sets" not in visitor.get("/batch")
    assert "no file chosen" in visitor.post("/batch/import", {}, status=422)


def test_what_is_typed_is_kept_and_what_is_wrong_stays_in_the_form(visitor: Visitor) -> None:
    fields = {"number": "77", "design": "TY-222", "kind": "sound"}
    fields |= {f"position-{n}": p for n, p in enumerate(("-0.004", "0", "0.004"))}
    fields |= {f"drive-{n}": d for n, d in enumerate(("61", "54", "62"))}
    page = visitor.post("/batch/readings", fields | {"drive-1": "quiet"}, status=422)
    assert 'href="#f-drive-1"' in page
    assert 'value="quiet"' in page
    page = visitor.post("/batch/readings", fields)
    assert "Set 77" in page
    assert "61.0 dB" in page


def test_an_import_is_taken_back(visitor: Visitor) -> None:
    send(visitor, LOG)
    sheet = re.search(r'name="sheet" value="([0-9a-f]{64})"', visitor.get("/batch"))
    assert sheet is not None
    page = visitor.post("/batch/back", {"sheet": sheet[1]})
    assert "Taken back" in page
    assert "3 sets" not in page


def test_the_demonstration_through_charts_matching_and_order(visitor: Visitor) -> None:
    page = visitor.post("/batch/demo", {})
    assert "120 sets" in page
    charts = visitor.get("/batch/charts?design=TY-222&what=best&low=-0.004&high=0.004")
    assert charts.count('<svg class="plot batchplot"') == 3
    assert re.search(r"Cpk?</dt><dd>\d\.\d\d", charts) or re.search(r"Ppk?</dt><dd>\d\.\d\d", charts)
    form = visitor.get("/batch/match?design=TY-222")
    carriers = re.search(r'name="carriers"[^>]*>([^<]+)<', form)
    spacers = re.search(r'name="spacers"[^>]*>([^<]+)<', form)
    assert carriers is not None
    assert spacers is not None
    answer = visitor.post(
        "/batch/match",
        {"design": "TY-222", "place": "under_head", "carriers": carriers[1], "spacers": spacers[1]},
    )
    assert "As they came" in answer
    assert "Stock to order" in answer
    assert answer.count("C-1") >= 24
    wrong = visitor.post("/batch/match", {"design": "TY-222", "carriers": carriers[1]}, status=422)
    assert 'href="#f-place"' in wrong


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("what=smell", "unknown choice"),
        ("what=best&low=x", "not a number"),
        ("what=best", "too few"),
    ],
)
def test_charts_say_what_they_cannot_draw(visitor: Visitor, query: str, said: str) -> None:
    send(visitor, LOG)
    assert said in visitor.get(f"/batch/charts?design=TY-222&{query}", status=422)


def test_a_study_has_a_link_and_a_table(visitor: Visitor) -> None:
    query = "design=TY-222&count=2000&seed=3"
    page = visitor.get(f"/batch/study?{query}")
    assert "of 100 patterns lie outside" in page
    table = visitor.client.get(f"/batch/study.csv?{query}")
    assert table.headers["content-type"].startswith("text/csv")
    share = next(row for row in csv.reader(io.StringIO(table.text)) if row[0] == "share outside")
    assert f"{100 * float(share[1]):.1f} of 100" in page
    assert "too many for the page" in visitor.get("/batch/study?design=TY-222&count=900000", status=422)
    assert 'href="#f-lie"' in visitor.get("/batch/study?design=TY-222&lie=wide", status=422)


def test_an_unknown_set_or_design_is_said(visitor: Visitor) -> None:
    assert "no readings of set" in visitor.get("/batch/set?design=TY-222&number=none", status=422)
    assert "no design" in visitor.get("/batch?design=none", status=422)


def test_a_form_without_its_token_changes_nothing(client: httpx.Client) -> None:
    client.get("/batch")
    assert client.post("/batch/demo", data={}).status_code in (403, 422)
    assert "Sets, the last entered first" not in client.get("/batch").text
