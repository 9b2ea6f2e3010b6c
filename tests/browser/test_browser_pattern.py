"""The pattern room in a real browser: a guess to start from, the answer, an outline corrected three ways."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from browser_bench import PHOTOS, Bench, Served, corners

from axlewright.job import enter, put_on_shelf, start_job
from axlewright.job.pattern import enter_patterns
from axlewright.job.photos import FLANKS, FlankLook
from axlewright.records import open_store

pytestmark = pytest.mark.browser

DEPTH = {
    "place": "under_head",
    "carrier": "5.6254 5.6254 5.6254",
    "bearing": "1.2500",
    "mounting_distance": "4.3125",
    "mark": "+2",
    "mark_unit": "0.001 in",
    "mark_meaning": "plus_means_larger_mounting_distance",
    "fitted": "0.0559",
}


@pytest.fixture
def read_job(own_server: Served) -> int:
    """A job whose two photos were read, with the spacer that was in."""
    with open_store(own_server.folder) as store:
        put_on_shelf(
            store, "pinion spacer", " ".join(f"{0.0550 + 0.0005 * k:.4f}" for k in range(24)), who="b"
        )
        job = start_job(
            store, design_name="TY-222", vehicle="milk lorry, rear", complaint="whines on drive", who="b"
        )
        enter(store, job.number, "depth", DEPTH, who="b")
        looks = {
            flank: FlankLook(
                (PHOTOS / f"ty-222-job-{flank}.jpg").read_bytes(),
                " ".join(f"{x},{y}" for x, y in corners(flank)),
            )
            for flank in FLANKS
        }
        enter_patterns(store, job.number, looks, who="b")
        return job.number


def covered(page: Any, flank: str) -> int:
    """Return the share of the flank that the page says is marked [%]."""
    return int(re.search(r"(\d+) %", page.inner_text(f'[data-outline="{flank}"] [data-told]'))[1])


def drag(bench: Bench, spots: list[tuple[float, float]]) -> None:
    """Draw through places on the screen: a finger on a phone, else the mouse."""
    page = bench.page
    if not bench.touch:
        page.mouse.move(*spots[0])
        page.mouse.down()
        for spot in spots[1:]:
            page.mouse.move(*spot, steps=6)
        page.mouse.up()
        return
    finger = page.context.new_cdp_session(page)
    for kind, spot in zip(["touchStart", *["touchMove"] * (len(spots) - 1)], spots, strict=True):
        points = [{"x": spot[0], "y": spot[1]}]
        finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    finger.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})


@pytest.mark.parametrize("size", ["phone", "laptop"])
def test_an_outline_is_corrected_by_finger_and_mouse(
    own_server: Served, read_job: int, sit_down: Callable[..., Bench], size: str
) -> None:
    bench = sit_down(own_server, size, "pattern")
    page = bench.page
    page.goto(f"/jobs/{read_job}/pattern")
    page.wait_for_selector('form[data-outline="drive"][data-script]', state="attached")
    assert page.inner_text("#says") == "What to do now"
    assert "fit 0.06" in page.inner_text(".donow")
    assert page.locator("#answer .causes li").count() == 6, "two moves of the cure, four causes"
    bench.looked_at("1-answer")
    bench.press("summary:has-text('The same on the photo') >> nth=0")
    page.wait_for_function("document.querySelector('.overlaid img').complete")
    assert page.locator(".overlaid >> nth=0").locator(".o-measured, .o-computed").count() == 4
    bench.press("summary:has-text('Correct the outline') >> nth=0")
    before = covered(page, "drive")
    bench.press('[data-outline="drive"] [data-tool="take"]')
    bench.press('[data-outline="drive"] [data-brush]')
    canvas = page.locator('[data-outline="drive"] canvas')
    canvas.scroll_into_view_if_needed()
    box = canvas.bounding_box()

    def at(x: float, y: float) -> tuple[float, float]:
        """Return the place on the screen of (lengthwise, profile)."""
        return box["x"] + box["width"] * (x + 1) / 2, box["y"] + box["height"] * (1 - y) / 2

    # The upper part is wiped away: the pattern comes to lie lower.
    drag(bench, [at(-0.9, 0.85), at(0.0, 0.85), at(0.95, 0.85)])
    drag(bench, [at(-0.9, 0.6), at(0.0, 0.6), at(0.95, 0.6)])
    wiped = covered(page, "drive")
    assert wiped < before - 3
    bench.press('[data-outline="drive"] [data-undo]')
    assert wiped < covered(page, "drive") < before
    drag(bench, [at(-0.9, 0.6), at(0.0, 0.6), at(0.95, 0.6)])
    bench.looked_at("2-outline")
    bench.press("[data-outline='drive'] button.main")
    page.wait_for_selector("text=Read and kept")
    with open_store(own_server.folder) as store:
        readings = [e for e in store.entries(read_job, kind="reading") if e.step == "pattern"]
    first, second = readings[-2], readings[-1]
    assert second.supersedes == first.seq
    old, new = (e.payload["flanks"]["drive"] for e in (first, second))
    assert new["summary"]["center"][1] < old["summary"]["center"][1] - 0.05
    assert new["as_read"] == old["mask"]
    assert any("corrected by hand" in q["shown"] for q in new["summary"]["quality"])
    assert second.payload["flanks"]["coast"] == first.payload["flanks"]["coast"]
    bench.looked_at("3-corrected")
    bench.no_errors()


def test_an_outline_is_corrected_by_keyboard(
    own_server: Served, read_job: int, sit_down: Callable[..., Bench]
) -> None:
    bench = sit_down(own_server, "laptop", "pattern-keys")
    page = bench.page
    page.goto(f"/jobs/{read_job}/pattern")
    page.wait_for_selector('form[data-outline="coast"][data-script]', state="attached")
    page.locator("summary:has-text('Correct the outline')").nth(1).focus()
    page.keyboard.press("Enter")
    before = covered(page, "coast")
    page.locator('[data-outline="coast"] [data-nudge="root"][data-by="1"]').focus()
    for _ in range(6):
        page.keyboard.press("Enter")
    assert covered(page, "coast") > before
    page.locator('[data-outline="coast"] button.main').focus()
    page.keyboard.press("Enter")
    page.wait_for_selector("text=Read and kept")
    with open_store(own_server.folder) as store:
        readings = [e for e in store.entries(read_job, kind="reading") if e.step == "pattern"]
    old, new = (e.payload["flanks"]["coast"]["summary"] for e in readings[-2:])
    assert new["height_fraction"] > old["height_fraction"] + 0.05
    bench.no_errors()


def test_an_outline_is_corrected_without_script(own_server: Served, read_job: int, chromium: Any) -> None:
    context = chromium.new_context(
        base_url=own_server.address, viewport={"width": 390, "height": 844}, java_script_enabled=False
    )
    page = context.new_page()
    page.goto(f"/jobs/{read_job}/pattern")
    page.click("summary:has-text('Correct the outline') >> nth=0")
    page.fill("#drive-top-edge", "-20")
    page.click("form[action$='/outline'] button >> visible=true >> nth=0")
    page.wait_for_selector("#answer")
    with open_store(own_server.folder) as store:
        readings = [e for e in store.entries(read_job, kind="reading") if e.step == "pattern"]
    assert len(readings) == 2
    assert readings[-1].payload["typed"]["drive_top_edge"] == "-20"
    old, new = (e.payload["flanks"]["drive"]["summary"] for e in readings)
    assert new["center"][1] < old["center"][1] - 0.03
    context.close()


def test_corners_start_from_a_guess(own_server: Served, sit_down: Callable[..., Bench]) -> None:
    with open_store(own_server.folder) as store:
        job = start_job(store, design_name="TY-222", vehicle="v", complaint="c", who="b")
    bench = sit_down(own_server, "phone", "pattern-guess")
    page = bench.page
    page.goto(f"/jobs/{job.number}/pattern")
    page.set_input_files("#photo-drive", str(PHOTOS / "ty-222-job-drive.jpg"))
    bench.press("text=Keep the photos")
    page.wait_for_selector('[data-cornering="drive"][data-script]')
    assert page.locator('[data-cornering="drive"] .ghost').is_visible()
    bench.looked_at("1-dashed")
    bench.press('[data-cornering="drive"] [data-take-guess]')
    assert page.get_attribute('[data-cornering="drive"]', "data-set") == "4"
    for index, (x, y) in enumerate(corners("drive")):
        told = [float(v) for v in page.input_value(f"#drive-c{index}").split(",")]
        assert abs(told[0] - x) < 60, "the photo is 1920 points wide; the guess is to be moved"
        assert abs(told[1] - y) < 60
    prompt = page.locator('[data-cornering="drive"] [data-prompt]')
    assert prompt.inner_text().startswith("4 numbers still lie where they were guessed")
    handle = page.locator('[data-cornering="drive"] .handle').nth(0)
    handle.focus()
    page.keyboard.press("ArrowRight")
    assert prompt.inner_text().startswith("3 numbers still lie where they were guessed")
    bench.looked_at("2-taken")
    bench.no_errors()
