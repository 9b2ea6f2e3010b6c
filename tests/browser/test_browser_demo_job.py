"""The demo job in a real browser, by touch and by mouse: old spacer, photos, cure, sheet."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from browser_bench import PHOTOS, Bench, Served, corners

pytestmark = pytest.mark.browser

SHELF = " ".join(f"{0.0550 + 0.0005 * k:.4f}" for k in range(24))


@pytest.mark.parametrize("size", ["phone", "laptop"])
def test_the_demo_job(server: Served, sit_down: Callable[..., Bench], size: str) -> None:
    bench = sit_down(server, size, "job")
    page = bench.page

    page.goto("/")
    bench.looked_at("01-empty-bench")
    page.goto("/settings")
    bench.fill(who="bench one", shop="Thistledown Yard")
    bench.press("form[action='/settings/me'] button")
    page.wait_for_selector(".said")
    bench.fill(thickness=SHELF, count="2")
    bench.press("form[action='/settings/stock'] button")
    page.wait_for_selector(".said")
    bench.looked_at("02-settings")

    page.goto("/")
    bench.press("text=Start a job")
    page.wait_for_selector("#f-vehicle")
    bench.looked_at("03-start")
    bench.fill(vehicle="Milk lorry, rear axle", complaint="whines on drive at 45 mph")
    bench.press(page.locator('input[name="design"][value="TY-222"]').locator("xpath=.."))
    bench.press("button.main")
    page.wait_for_url(re.compile(r"/jobs/\d+"))
    job = re.search(r"/jobs/\d+", page.url)[0]
    bench.looked_at("04-job")

    bench.fill(heard="whine", speed="40 to 50 mph")
    bench.choose("when", "drive")
    bench.choose("others_out", "yes")
    bench.enter()
    assert "Done." in page.inner_text("#answer")

    # Identity: the mark without its meaning is asked about, and what was typed stays.
    page.goto(f"{job}?step=identity")
    bench.fill(pinion_number="41-117", ring_number="41-117", mark="+2", pinion_teeth="11", ring_teeth="41")
    bench.enter()
    assert "has no unit" in page.inner_text("#problem")
    assert page.input_value("#f-mark") == "+2"
    bench.looked_at("05-identity-asks")
    bench.choose("mark_unit", "0.001 in")
    bench.choose("mark_meaning", "plus_means_larger_mounting_distance")
    bench.enter()
    bench.looked_at("06-identity")

    # Depth: five readings; somebody fitted the old spacer.
    page.goto(f"{job}?step=depth")
    bench.choose("place", "under_head")
    bench.fill(
        carrier="5.6255 5.6250 5.6254\n5,6256 5.6255",
        bearing="1.2500 1.2500",
        mounting_distance="4.3125",
        fitted="0.0559",
        instrument="depth micrometer 2",
        resolution="0.0001",
    )
    bench.enter()
    answer = page.inner_text("#answer")
    assert "5.6254 − 4.3125 − 1.2500 − 0.0020 = 0.0609 in" in answer
    assert "too far out" in answer
    bench.looked_at("07-depth-wrong-spacer")

    page.goto(f"{job}?step=preload")
    bench.choose("bearings", "new")
    bench.choose("kind", "sleeve")
    bench.fill(torque="20", nut="25")
    bench.enter()
    bench.looked_at("08-preload")

    page.goto(f"{job}?step=backlash")
    bench.fill(readings="0.0060 0.0065 0.0070 0.0075 0.0075 0.0070 0.0065 0.0060")
    bench.choose("stem", "in_rotation")
    bench.choose("axle", "light")
    bench.fill(ring_side="0.0850", other_side="0.0900")
    bench.enter()
    assert "0.0075 − 0.0060 = 0.0015 in" in page.inner_text("#answer")
    bench.looked_at("09-backlash")

    # Pattern: two photos, four corners each, by finger.
    page.goto(f"{job}?step=pattern")
    bench.press("text=Read the pattern")
    page.wait_for_selector("#photo-drive")
    bench.looked_at("10-pattern-empty")
    for flank in ("drive", "coast"):
        page.set_input_files(f"#photo-{flank}", str(PHOTOS / f"ty-222-job-{flank}.jpg"))
    bench.press("text=Keep the photos")
    for flank in ("drive", "coast"):
        page.wait_for_selector(f'[data-cornering="{flank}"][data-script]')
        image = page.locator(f'[data-cornering="{flank}"] img')
        image.scroll_into_view_if_needed()
        for x, y in corners(flank):
            box = image.bounding_box()
            at = (box["x"] + x * box["width"] / 1920, box["y"] + y * box["width"] / 1920)
            if bench.touch:
                page.touchscreen.tap(*at)
            else:
                page.mouse.click(*at)
        assert page.get_attribute(f'[data-cornering="{flank}"]', "data-set") == "4"
    bench.looked_at("11-pattern-corners")
    bench.press("text=Read the pattern")
    page.wait_for_selector("#answer, #problem")
    answer = page.inner_text("#answer")
    assert "too far out" in answer
    advised = float(re.search(r"fit 0\.0(\d{3}) in", answer)[1]) / 1e4
    assert abs(advised - 0.0609) <= 0.0015, "the spacer that the depth sum asks for"
    bench.looked_at("12-pattern-read")
    bench.press("button:has-text('Followed') >> nth=0")
    page.wait_for_selector("text=Followed, bench one")

    # The right spacer; the depth step turns good.
    page.goto(f"{job}?step=depth")
    bench.unfold()
    bench.fill(fitted="0.0610")
    bench.enter()
    assert "Done." in page.inner_text("#answer")
    assert "not taken again" in page.inner_text("#answer")
    bench.looked_at("13-depth-right")

    sheet = page.request.get(f"{job}/sheet.pdf")
    assert sheet.ok
    assert sheet.body().startswith(b"%PDF-")
    page.goto("/")
    bench.looked_at("14-bench")
    bench.no_errors()
