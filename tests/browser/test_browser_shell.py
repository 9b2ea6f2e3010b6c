"""What all rooms share: the bar on top, languages, the guided tour, pairing, paper."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from browser_bench import Bench, Served
from test_browser_rooms import rolling_ready, start_job

from axlewright.language import using_language
from axlewright.web.page import ROOMS

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("size", ["phone", "laptop"])
@pytest.mark.parametrize("locale", ["en-GB", "de-DE"])
def test_every_room_is_in_reach_of_the_bar(
    server: Served, sit_down: Callable[..., Bench], size: str, locale: str
) -> None:
    bench = sit_down(server, size, f"bar-{locale}", locale=locale)
    page = bench.page
    page.goto("/settings")
    assert page.get_attribute("html", "lang") == locale[:2]
    links = page.locator("header nav a")
    assert links.count() == len(ROOMS)
    boxes = [links.nth(i).bounding_box() for i in range(links.count())]
    for one in boxes:
        assert one["x"] >= 0
        assert one["x"] + one["width"] <= page.viewport_size["width"]
        assert one["height"] >= 55.5
    bench.looked_at("1-settings")
    bench.press(links.nth(1))
    page.wait_for_url("**/rolling")
    assert page.locator("header nav a[aria-current]").count() == 1


def test_scripts_speak_the_language_of_the_page(own_server: Served, sit_down: Callable[..., Bench]) -> None:
    bench = sit_down(own_server, "phone", "german", locale="de-DE")
    bench.expected += ["ERR_INTERNET_DISCONNECTED", "ERR_CONNECTION_REFUSED", "Failed to load resource"]
    page = bench.page
    job = start_job(bench)
    page.goto(f"{job}?step=as-found")
    bench.fill(spacer="0.0559")
    page.context.set_offline(True)
    bench.press("#entryform button.main")
    page.wait_for_selector("#waiting:has-text('1 Eingabe ist hier aufbewahrt')")
    page.context.set_offline(False)
    page.wait_for_selector("#answer")
    bench.no_errors()
    with using_language("de"):
        from axlewright.language import _

        assert str(_("Settings")) in page.inner_text("header nav")


@pytest.mark.parametrize("size", ["phone", "laptop"])
def test_the_tour_is_walked_from_help_to_its_end(
    server: Served, sit_down: Callable[..., Bench], size: str
) -> None:
    bench = sit_down(server, size, "tour")
    page = bench.page
    page.goto("/help")
    bench.press("text=Take the guided tour")
    page.wait_for_selector(".tourhint:has-text('Tour, 1 of 7')")
    bench.looked_at("1-start")
    for at in range(2, 8):
        bench.press(".tourhint button.main")
        page.wait_for_selector(f".tourhint:has-text('Tour, {at} of 7')")
        fill = page.locator(".tourhint button:has-text('Fill it in for me')")
        if fill.count():
            bench.press(fill)
            page.wait_for_selector("#answer")
            bench.looked_at(f"2-filled-{at}")
    bench.press(".tourhint button:has-text('Finish')")
    page.wait_for_url("**/help")
    assert page.locator(".tourhint").count() == 0
    bench.no_errors()


def test_paper_shows_the_page_without_its_controls(
    server: Served, sit_down: Callable[..., Bench], tmp_path: Path
) -> None:
    bench = sit_down(server, "laptop", "paper", color_scheme="dark")
    page = bench.page
    rolling_ready(bench, "/rolling?design=TY-222&pinion=0.127")
    page.emulate_media(media="print")
    for hidden in (".top", "button[data-step]", ".slider", ".act"):
        assert not page.locator(hidden).first.is_visible(), hidden
    assert page.locator('[data-words="drive"]').is_visible()
    colour = page.evaluate("() => getComputedStyle(document.body).backgroundColor")
    assert colour == "rgb(255, 255, 255)", "ink on white, whatever the screen shows"
    bench.shot("1-rolling")
    page.goto("/help")
    bench.shot("2-help")
    bench.no_errors()
