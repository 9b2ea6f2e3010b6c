"""The steps of a job in a real browser: photographs, runout, depth by arbor, preload, side bearings."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from typing import Any

import pytest
from browser_bench import Bench, Served
from PIL import Image, ImageDraw

pytestmark = pytest.mark.browser

# Flange 0.00075 in toward 60°, gear 0.0010 in toward 210°; then the gear 3 of 10 holes on, toward 318°:
# sums of two cosines at eight even places, rounded to 0.0001 in.
FACE = "-0.0005 -0.0002 0.0001 0.0005 0.0005 0.0002 -0.0001 -0.0005"
TURNED = "0.0011 0.0008 0.0000 -0.0008 -0.0011 -0.0008 0.0000 0.0008"


def tag_photo() -> dict[str, Any]:
    """Return a drawn photograph of a tag with a place in it, as phones write one."""
    picture = Image.new("RGB", (640, 480), "#8a8f93")
    draw = ImageDraw.Draw(picture)
    draw.rectangle((180, 140, 470, 330), fill="#e8dcb0", outline="#4a3d12", width=6)
    draw.text((230, 200), "LEFT, DOT UP", fill="#1a1a1a", font_size=32)
    exif = Image.Exif()
    exif[0x010F] = "somebody's phone"
    gps = exif.get_ifd(0x8825)
    gps[1], gps[2] = "N", (51.0, 30.0, 0.0)
    out = io.BytesIO()
    picture.save(out, "JPEG", exif=exif)
    return {"name": "tag.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()}


def started(bench: Bench) -> str:
    page = bench.page
    page.goto("/jobs/new")
    bench.fill(vehicle="Bus, rear axle", complaint="growls on coast")
    bench.press(page.locator('input[name="design"][value="TY-222"]').locator("xpath=.."))
    bench.press("button.main")
    page.wait_for_url(re.compile(r"/jobs/\d+"))
    return re.search(r"/jobs/\d+", page.url)[0]


@pytest.mark.parametrize("size", ["phone", "laptop"])
def test_photographs_runout_and_a_pair_that_does_not_match(
    server: Served, sit_down: Callable[..., Bench], size: str
) -> None:
    bench = sit_down(server, size, "steps")
    page = bench.page
    job = started(bench)

    # A tag is photographed; the place in the photograph is not kept.
    page.goto(f"{job}?step=as-found")
    page.select_option("#p-piece", "ring_side_cap")
    page.fill("#p-tag", "left, dot up")
    page.set_input_files("#p-photo", tag_photo())
    bench.press("#pictures button:has-text('Keep it')")
    page.wait_for_selector(".pictures img")
    kept = page.request.get(page.get_attribute(".pictures img", "src")).body()
    with Image.open(io.BytesIO(kept)) as picture:
        assert not picture.getexif()
    assert "bearing cap, ring gear side; tag: left, dot up" in page.inner_text(".pictures")
    bench.looked_at("01-tagged")

    # A pair that does not match stops the job.
    page.goto(f"{job}?step=identity")
    bench.fill(pinion_number="41-117", ring_number="41-118")
    bench.enter()
    assert "The job is stopped." in page.inner_text(".stopped")
    bench.looked_at("02-stopped")
    page.goto(f"{job}?step=fits")
    assert page.locator("#entryform").count() == 0
    assert "The job is stopped." in page.inner_text(".stopped")
    page.goto(f"{job}?step=identity")
    bench.unfold()
    bench.fill(pinion_number="41-118", ring_number="41-118")
    bench.enter()
    assert page.locator(".stopped").count() == 0

    # Runout read round the gear, and again with the gear turned.
    page.goto(f"{job}?step=fits")
    bench.fill(bearings="good", face_readings=FACE, bolts="10", turned_holes="3")
    bench.fill(turned_readings=TURNED)
    bench.enter()
    answer = page.inner_text("#answer")
    assert "Tilt apart: flange" in answer
    assert page.locator("figure .onpaper svg").count() == 2
    bench.looked_at("03-runout")
    bench.no_errors()


@pytest.mark.parametrize("size", ["phone", "laptop"])
def test_depth_by_arbor_preload_and_side_bearings(
    server: Served, sit_down: Callable[..., Bench], size: str
) -> None:
    bench = sit_down(server, size, "ways")
    page = bench.page
    job = started(bench)

    # Only the fields of the way chosen are there.
    page.goto(f"{job}?step=depth")
    bench.choose("place", "under_head")
    assert page.is_visible("#f-carrier")
    assert not page.is_visible("#f-cage_height")
    bench.choose("method", "resting")
    assert not page.is_visible("#f-carrier")
    # Readings from a number pad: the button sets them apart.
    page.focus("#f-gap")
    for text in ("1.0005", "1.0008", "1.0006"):
        page.keyboard.type(text)
        bench.press(page.locator("#f-gap").locator("xpath=../..").locator("button:has-text('Next reading')"))
    assert page.input_value("#f-gap").split() == ["1.0005", "1.0008", "1.0006"]
    assert "3 readings" in page.locator("#f-gap").locator("xpath=../..").inner_text()
    bench.fill(
        arbor="1.5000", bore="2.5000", block="3.3748", bearing="1.2500 1.2500", mounting_distance="4.3125"
    )
    bench.choose("rests", "toward_pinion")
    bench.choose("mark_unit", "0.001 in")
    bench.choose("mark_meaning", "plus_means_larger_mounting_distance")
    # What is seldom typed is folded away until it is wanted.
    assert not page.is_visible("#f-part_temperature")
    bench.press(page.locator("details.group:has(#f-part_temperature) > summary"))
    bench.fill(mark="+2", part_temperature="86", gauge_temperature="68")
    bench.looked_at("01-depth-form")
    bench.enter()
    # 1.0006 + 2.5000 / 2 + 3.3748 = 5.6254, the arbor's own diameter cancels.
    answer = page.inner_text("#answer")
    assert "3.3748" in answer
    assert "Temperature:" in answer
    assert page.locator("figure svg.diagram").count() == 2
    bench.looked_at("02-depth-by-arbor")

    page.goto(f"{job}?step=preload")
    bench.choose("bearings", "new")
    bench.choose("kind", "sleeve")
    for torque, nut in (("6", "0"), ("9", "10")):
        bench.unfold()
        bench.fill(torque=torque, nut=nut, limit_low="17 lb-in (1.9 N·m)", limit_high="25")
        bench.enter()
    assert "stop line" in page.inner_text("figure")
    bench.looked_at("03-sleeve")

    # A limit misprinted by ten is asked about before anything is kept.
    bench.unfold()
    bench.fill(torque="10", nut="20", limit_low="8 lb-in (11 N·m)")
    bench.enter()
    assert "Which one is right" in page.inner_text("#problem")
    assert page.is_visible("#f-really")

    # First side shims, found at no backlash and no preload.
    page.goto(f"{job}?step=backlash")
    bench.choose("stage", "zero")
    assert not page.is_visible("#f-readings")
    bench.choose("axle", "light")
    bench.choose("sides", "cups")
    bench.fill(target="0.0065", ring_side="0.250", other_side="0.265", each_side="0.004")
    bench.enter()
    assert "side shim to fit, ring gear side" in page.inner_text("#answer")
    bench.looked_at("04-first-shims")

    page.goto(f"{job}?step=close")
    bench.looked_at("05-close")
    bench.no_errors()


def test_a_step_without_script_shows_every_field(server: Served, chromium: Any) -> None:
    context = chromium.new_context(
        base_url=server.address, java_script_enabled=False, viewport={"width": 390, "height": 844}
    )
    page = context.new_page()
    page.goto("/jobs/new")
    page.fill("#f-vehicle", "Farm machine")
    page.check('input[name="design"][value="TY-222"]')
    page.click("button.main")
    job = re.search(r"/jobs/\d+", page.url)[0]
    page.goto(f"{job}?step=depth")
    for name in ("carrier", "gap", "cage_height", "old_spacer"):
        assert page.is_visible(f"#f-{name}")
    page.check('input[name="place"][value="under_head"]')
    page.fill("#f-carrier", "5.6254 5.6254 5.6254")
    page.fill("#f-bearing", "1.2500")
    page.fill("#f-mounting_distance", "4.3125")
    page.fill("#f-gap", "0.5")
    page.click("#entryform button.main")
    assert "this does not belong to what was chosen" in page.inner_text("#problem")
    page.fill("#f-gap", "")
    page.click("#entryform button.main")
    assert "5.6254 − 4.3125 − 1.2500 = 0.0629 in" in page.inner_text("#answer")
    context.close()
