"""The batch in a browser: fill, type, import, chart, match and study, at both widths."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from browser_bench import Bench, Served

pytestmark = pytest.mark.browser

WRONG = "set;design;pinion out [mm];drive motion error [µrad]\n9;TY-222;0,05;31,5\n10;TY-222;fünf;30\n"
RIGHT = "set;design;pinion out [mm];drive motion error [µrad]\n9;TY-222;0,05;31,5\n9;TY-222;-0,05;44\n"


@pytest.mark.parametrize("size", ["phone", "laptop"])
def test_a_week_of_sets(own_server: Served, sit_down: Callable[..., Bench], size: str) -> None:
    bench = sit_down(own_server, size, "batch")
    page = bench.page
    page.goto("/batch")
    bench.looked_at("empty")
    bench.press("form[action='/batch/demo'] button")
    page.wait_for_selector(".batchsets li")
    assert page.locator(".batchsets li").count() == 40
    bench.looked_at("sets")

    page.select_option("#f-only", "undecided")
    bench.press(".batchfilter button")
    page.wait_for_url("**only=undecided*")
    bench.press(".batchsets a")
    page.wait_for_selector("#answer")
    bench.looked_at("open-set")
    asked = page.input_value("#f-position-0")
    assert asked.startswith(("+", "-"))
    before = page.locator("tbody tr").count()
    page.fill("#f-drive-0", "48.2")
    page.fill("#f-coast-0", "33,1")
    bench.press("form[action='/batch/readings'] button.main")
    page.locator("tbody tr").nth(before).wait_for()

    page.goto("/batch")
    bench.press("#import > summary")
    page.set_input_files(
        "#f-file", files=[{"name": "log.csv", "mimeType": "text/csv", "buffer": WRONG.encode()}]
    )
    bench.press("form[action='/batch/import'] button")
    page.wait_for_selector("#answer.state-not-ok")
    assert "fünf" in page.locator("#answer").inner_text()
    bench.looked_at("problems")
    page.set_input_files(
        "#f-file", files=[{"name": "log.csv", "mimeType": "text/csv", "buffer": RIGHT.encode()}]
    )
    bench.press("form[action='/batch/import'] button")
    page.wait_for_selector("#answer.state-ok")
    assert "2 readings taken" in page.locator("#answer").inner_text()

    page.goto("/batch/set?design=TY-222&number=4409")
    bench.looked_at("decided-set")
    page.goto("/batch/charts?design=TY-222&what=best&low=-0.004&high=0.004")
    bench.looked_at("charts")
    page.goto("/batch/match?design=TY-222")
    bench.press("form[action='/batch/match'] button")
    page.wait_for_selector("#answer table")
    bench.looked_at("match")
    page.goto("/batch/study")
    page.fill("#f-count", "20000")
    bench.press("form[action='/batch/study'] button.main")
    page.wait_for_selector("#answer")
    bench.looked_at("study")


def test_a_gauge_that_presses_enter_walks_through_the_fields_without_a_mouse(
    own_server: Served, sit_down: Callable[..., Bench]
) -> None:
    bench = sit_down(own_server, "laptop", "batch-gauge")
    page = bench.page
    page.goto("/batch")
    page.wait_for_load_state("load")
    page.focus("#f-number")
    keys = page.keyboard
    keys.type("5001")
    keys.press("Enter")
    assert page.evaluate("document.activeElement.id") == "f-position-0"
    keys.press("Enter")
    for row in range(5):
        for text in ("40", "30", "0.008"):
            keys.type(text if row != 2 else {"40": "28", "30": "25", "0.008": "0.007"}[text])
            keys.press("Enter")
        if row < 4:
            keys.press("Enter")  # the position offered stays
    for _field in range(5):  # an empty sixth row and the note; the last one sends
        keys.press("Enter")
    page.wait_for_selector("#answer")
    assert "Set 5001" in page.locator("h1").inner_text()
    assert page.locator("tbody tr").count() == 5
    bench.looked_at("typed")


def test_without_script_the_forms_work(own_server: Served, sit_down: Callable[..., Bench]) -> None:
    bench = sit_down(own_server, "phone", "batch-plain", java_script_enabled=False)
    page = bench.page
    page.goto("/batch")
    page.fill("#f-number", "6001")
    for row, figure in enumerate(("52", "40", "29", "35", "47")):
        page.fill(f"#f-drive-{row}", figure)
    page.tap("form[action='/batch/readings'] button.main")
    page.wait_for_selector("#answer")
    assert "Best position" in page.locator("#answer").inner_text()
