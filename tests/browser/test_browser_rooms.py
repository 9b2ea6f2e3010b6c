"""Rolling view, keyboard, poor network, restarts, and every page under axe in light and dark."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from browser_bench import PHOTOS, Bench, Served, corners

pytestmark = pytest.mark.browser


def start_job(bench: Bench) -> str:
    """Start a job and return its path."""
    bench.page.goto("/jobs/new")
    bench.fill(vehicle="Valley bus, rear")
    bench.press(bench.page.locator('input[name="design"][value="TY-222"]').locator("xpath=.."))
    bench.press("button.main")
    bench.page.wait_for_url(re.compile(r"/jobs/\d+"))
    return re.search(r"/jobs/\d+", bench.page.url)[0]


def rolling_ready(bench: Bench, path: str = "/rolling") -> None:
    """Open the rolling view and wait until it follows."""
    bench.page.goto(path)
    bench.page.wait_for_selector('[data-rolling][data-script="ready"]')


def still(page: Any) -> None:
    """Wait until the teeth in three dimensions are drawn as asked: five frames without a new picture."""
    page.evaluate(
        """async () => {
          const box = document.querySelector('[data-teeth3d]');
          for (let before = null; before !== box.dataset.drawn; ) {
            before = box.dataset.drawn;
            for (let k = 0; k < 5; k++) await new Promise(requestAnimationFrame);
          }
        }"""
    )


@pytest.mark.parametrize("size", ["phone", "laptop"])
def test_the_rolling_view_follows_the_finger(
    server: Served, sit_down: Callable[..., Bench], size: str
) -> None:
    bench = sit_down(server, size, "rolling")
    page = bench.page
    rolling_ready(bench)
    bench.looked_at("1-designed")
    designed = page.inner_text('[data-words="drive"]')
    more = page.locator('[aria-label="Pinion depth: more"]')
    for _ in range(5):
        bench.press(more)
    page.wait_for_selector("[data-statewords]:has-text('0.0050 in')")
    page.wait_for_selector("[data-rolled='design=TY-222&pinion=0.127']")
    out = page.inner_text('[data-words="drive"]')
    assert out != designed
    assert out.startswith("high"), (
        "pinion too far out puts the drive pattern high (common practice, no source)"
    )
    assert "toward heel" in out
    assert page.url.endswith("/rolling?design=TY-222&pinion=0.127")
    bench.press("text=Set this state beside")
    page.wait_for_selector(".rolling.compared")
    slider = page.get_by_label("Pinion depth, slider")
    slider.focus()
    for _ in range(10):
        page.keyboard.press("ArrowLeft")
    page.wait_for_selector("[data-statewords]:has-text('mm) in')")
    bench.looked_at("2-beside")
    link = page.url
    again = sit_down(server, size, "rolling-link")
    rolling_ready(again, link)
    assert again.page.inner_text('[data-words="drive"]') == page.inner_text('[data-words="drive"]')
    bench.no_errors()


def test_a_step_by_keyboard_alone_with_a_gauge_that_presses_enter(
    server: Served, sit_down: Callable[..., Bench]
) -> None:
    bench = sit_down(server, "laptop", "keyboard")
    page = bench.page
    job = start_job(bench)
    page.goto(f"{job}?step=as-found")
    page.locator("#f-spacer").focus()
    page.keyboard.type("0.0559")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "f-ring_side", "Enter goes on to the next field"
    page.keyboard.type("2,16 mm")
    page.locator("#entryform button.main").focus()
    page.keyboard.press("Enter")
    page.wait_for_selector("#answer")
    assert page.evaluate("document.activeElement.id") == "answer", (
        "the answer has the focus for a screen reader"
    )
    assert "2.160 mm" in page.inner_text(".readings")
    bench.no_errors()


def test_corners_by_keyboard_and_numbers(server: Served, sit_down: Callable[..., Bench]) -> None:
    bench = sit_down(server, "laptop", "corners")
    page = bench.page
    job = start_job(bench)
    page.goto(f"{job}/pattern")
    page.set_input_files("#photo-drive", str(PHOTOS / "ty-222-job-drive.jpg"))
    bench.press("text=Keep the photos")
    page.wait_for_selector('[data-cornering="drive"][data-script]')
    bench.press("text=Corners as numbers")
    for index, (x, y) in enumerate(corners("drive")):
        page.fill(f"#drive-c{index}", f"{x},{y}")
        page.keyboard.press("Tab")
    handle = page.locator(".handle").nth(0)
    handle.focus()
    page.keyboard.press("Shift+ArrowRight")
    page.keyboard.press("ArrowLeft")
    assert page.input_value("#drive-c0") == f"{corners('drive')[0][0] + 9:.1f},{corners('drive')[0][1]:.1f}"
    # Too few corners are asked for, and the others stay.
    page.fill("#drive-c3", "")
    bench.press("text=Read the pattern")
    page.wait_for_selector("#problem")
    assert "toe, root" in page.inner_text("#problem")
    assert page.input_value("#drive-c1") == "1555.8,840.8"
    bench.no_errors()


def test_what_nothing_answered_is_sent_later_and_once(
    own_server: Served, sit_down: Callable[..., Bench]
) -> None:
    bench = sit_down(own_server, "phone", "outbox")
    bench.expected += ["ERR_INTERNET_DISCONNECTED", "ERR_CONNECTION_REFUSED", "Failed to load resource"]
    page = bench.page
    job = start_job(bench)
    page.goto(f"{job}?step=as-found")
    bench.fill(spacer="0.0559", note="wet day")
    page.context.set_offline(True)
    bench.press("#entryform button.main")
    page.wait_for_selector("#waiting:not([hidden])")
    assert "1 entry is kept here" in page.inner_text("#waiting")
    bench.shot("1-waiting")
    page.context.set_offline(False)
    page.wait_for_selector("#answer")
    assert "wet day" in page.inner_text("main")
    page.reload()
    assert page.locator("text=Correct it").count() == 1
    bench.no_errors()


def test_several_entries_of_one_job_kept_offline_are_all_sent(
    own_server: Served, sit_down: Callable[..., Bench]
) -> None:
    bench = sit_down(own_server, "phone", "outbox-several")
    bench.expected += ["ERR_INTERNET_DISCONNECTED", "ERR_CONNECTION_REFUSED", "Failed to load resource"]
    page = bench.page
    job = start_job(bench)
    other = page.context.new_page()
    other.goto(f"{job}?step=complaint")
    page.goto(f"{job}?step=as-found")
    bench.fill(spacer="0.0559", note="first of two")
    other.fill("#f-note", "second of two")
    other.fill("#f-heard", "whine")
    for name, value in (("when", "drive"), ("others_out", "yes")):
        other.check(f'input[name="{name}"][value="{value}"]')
    page.context.set_offline(True)
    bench.press("#entryform button.main")
    page.wait_for_selector("#waiting:has-text('1 entry is kept here')")
    other.locator("#entryform button.main").tap()
    other.wait_for_selector("#waiting:has-text('2 entries are kept here')")
    other.close()
    page.context.set_offline(False)
    page.wait_for_selector("#waiting", state="hidden")
    page.wait_for_selector("#answer")
    assert "was not taken" not in page.inner_text("body")
    for step, note in (("as-found", "first of two"), ("complaint", "second of two")):
        page.goto(f"{job}?step={step}")
        assert page.locator("main").inner_text().count(note) >= 1, step
    bench.no_errors()


def test_an_entry_kept_offline_on_a_state_somebody_changed_is_asked_about(
    own_server: Served, sit_down: Callable[..., Bench]
) -> None:
    bench = sit_down(own_server, "phone", "outbox-asked")
    bench.expected += ["ERR_INTERNET_DISCONNECTED", "ERR_CONNECTION_REFUSED", "Failed to load resource"]
    page = bench.page
    job = start_job(bench)
    page.goto(f"{job}?step=as-found")
    bench.fill(spacer="0.0559", note="kept here")
    page.context.set_offline(True)
    bench.press("#entryform button.main")
    page.wait_for_selector("#waiting:has-text('1 entry is kept here')")
    second = sit_down(own_server, "laptop", "outbox-other")
    second.page.goto(f"{job}?step=as-found")
    second.fill(spacer="0.0561", note="from the other bench")
    second.press("#entryform button.main")
    second.page.wait_for_selector("#answer")
    page.context.set_offline(False)
    page.wait_for_selector("#waiting:has-text('was not taken')")
    assert "Fill it in again and look" in page.inner_text("#waiting")
    bench.no_errors()


def test_what_the_bench_refuses_stays_flagged_and_a_pin_is_never_kept(
    own_server: Served, sit_down: Callable[..., Bench]
) -> None:
    bench = sit_down(own_server, "phone", "refused")
    bench.expected += ["ERR_INTERNET_DISCONNECTED", "ERR_CONNECTION_REFUSED", "Failed to load resource"]
    page = bench.page
    job = start_job(bench)
    page.goto("/settings")
    bench.fill(name="bench one", newpin="4711")
    bench.press('form[action="/settings/people"] button')
    page.wait_for_selector("text=bench one, admin")
    page.goto(f"{job}?step=close")
    page.fill('form[action$="/sign"] input[type="password"]', "4711")
    page.context.set_offline(True)
    bench.press("text=Sign and close the job")
    page.wait_for_selector("#waiting:not([hidden])")
    assert "a PIN is never kept" in page.inner_text("#waiting")
    page.context.set_offline(False)
    page.goto(f"{job}?step=as-found")
    bench.fill(spacer="0.0559x", note="wet day")
    page.context.set_offline(True)
    bench.press("#entryform button.main")
    page.wait_for_selector("#waiting:has-text('1 entry is kept here')")
    page.context.set_offline(False)
    page.wait_for_selector("#waiting:has-text('was not taken')")
    page.goto("/")
    bench.press("text=Fill it in again and look")
    page.wait_for_url("**/jobs/**")
    page.wait_for_selector("#entryform[data-kept-entry]")
    assert page.input_value("#f-note") == "wet day"
    bench.fill(spacer="0.0559")
    bench.enter()
    page.wait_for_selector("#waiting", state="hidden")
    page.reload()
    assert "was not taken" not in page.inner_text("body")
    kept = page.evaluate("JSON.stringify({...localStorage, ...sessionStorage})")
    assert "4711" not in kept
    bench.no_errors()


def test_a_restart_loses_nothing_that_was_typed(own_server: Served, sit_down: Callable[..., Bench]) -> None:
    bench = sit_down(own_server, "phone", "restart")
    bench.expected += ["ERR_CONNECTION_REFUSED", "Failed to load resource"]
    page = bench.page
    job = start_job(bench)
    page.goto(f"{job}?step=depth")
    bench.choose("place", "behind_cup")
    bench.fill(carrier="5.6255 5.6250", note="half way")
    own_server.stop()
    own_server.start()
    page.reload()
    assert page.input_value("#f-carrier") == "5.6255 5.6250"
    assert page.input_value("#f-note") == "half way"
    assert page.is_checked('input[name="place"][value="behind_cup"]')
    # A page opened before the restart can still be sent after it.
    bench.fill(bearing="1.2500", mark="0")
    bench.choose("mark_unit", "0.001 in")
    bench.choose("mark_meaning", "plus_means_larger_mounting_distance")
    own_server.stop()
    own_server.start()
    bench.enter()
    # 5.62525 − 1.2500 − 4.3125 = 0.06275, shown to four places.
    assert "= 0.0628 in" in page.inner_text("#answer")
    page.goto(f"{job}?step=depth")
    bench.unfold()
    assert page.input_value("#f-note") == "", "what was sent is no draft any more"
    assert page.input_value("#f-carrier") == "5.6255 5.6250", "filled in again from the record"
    bench.no_errors()


PAGES = (
    "/",
    "/jobs/new",
    "/rolling",
    "/listen",
    "/practice",
    "/batch",
    "/designs",
    "/designs/TY-222",
    "/settings",
    "/settings/devices",
    "/pair",
    "/help",
    "/nowhere",
)


@pytest.mark.parametrize("size", ["phone", "laptop"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_page_is_accessible_in_light_and_dark(
    server: Served, sit_down: Callable[..., Bench], size: str, scheme: str
) -> None:
    bench = sit_down(server, size, f"page-{scheme}", color_scheme=scheme)
    bench.expected.append("404")
    rolling_ready(bench)
    for path in PAGES:
        bench.page.goto(path)
        bench.looked_at(path.strip("/").replace("/", "-") or "bench")


def test_the_job_works_without_script(server: Served, sit_down: Callable[..., Bench]) -> None:
    bench = sit_down(server, "laptop", "noscript", java_script_enabled=False)
    page = bench.page
    job = start_job(bench)
    page.goto(f"{job}?step=as-found")
    bench.fill(spacer="0.0559")
    bench.press("#entryform button.main")
    page.wait_for_selector("#answer")
    assert "Kept as found" in page.inner_text("#answer")
    page.goto("/rolling?design=TY-222&show_pinion=5")
    assert "0.0050 in" in page.inner_text("[data-statewords]")


def test_the_teeth_turn_in_three_dimensions(server: Served, sit_down: Callable[..., Bench]) -> None:
    bench = sit_down(server, "laptop", "solid")
    bench.expected.append("GPU stall")
    page = bench.page
    rolling_ready(bench, "/rolling?design=TY-222&pinion=0.08")
    bench.press("text=Show the teeth in 3-D")
    page.wait_for_selector("[data-teeth3d][data-ready]")
    flank = page.locator("[data-canvas] canvas").screenshot()
    bench.press("button:has-text('Both gears')")
    still(page)
    both = page.locator("[data-canvas] canvas").screenshot()
    assert both != flank
    drawn = int(page.get_attribute("[data-teeth3d]", "data-drawn") or 0)
    bench.press("[data-play]")
    page.wait_for_function(
        "least => Number(document.querySelector('[data-teeth3d]').dataset.drawn) >= least", arg=drawn + 10
    )
    bench.press("[data-play]")
    still(page)
    assert page.locator("[data-canvas] canvas").screenshot() != both, "rolled on"
    bench.looked_at("1-both")
    drawn = int(page.get_attribute("[data-teeth3d]", "data-drawn") or 0)
    page.wait_for_timeout(600)
    assert int(page.get_attribute("[data-teeth3d]", "data-drawn") or 0) <= drawn + 1, (
        "still when nothing moves"
    )


def test_marks_by_finger_and_in_words(server: Served, sit_down: Callable[..., Bench]) -> None:
    bench = sit_down(server, "laptop", "sketch")
    page = bench.page
    job = start_job(bench)
    page.goto(f"{job}/pattern")
    bench.press(page.locator("summary:has-text('Or draw it by finger')").nth(0))
    tooth = page.locator('[data-sketch="drive"] svg')
    tooth.scroll_into_view_if_needed()
    box = tooth.bounding_box()

    def at(x: float, y: float) -> tuple[float, float]:
        """Return the place on the screen of (lengthwise, profile)."""
        return (
            box["x"] + box["width"] * (30 + 240 * (x + 1) / 2) / 300,
            box["y"] + box["height"] * (22 + 80 * (1 - y) / 2) / 124,
        )

    ring = [(0.2, -0.1), (0.6, 0.1), (0.7, 0.6), (0.3, 0.9), (-0.2, 0.7), (-0.3, 0.2)]
    page.mouse.move(*at(*ring[0]))
    page.mouse.down()
    for spot in ring[1:]:
        page.mouse.move(*at(*spot), steps=6)
    page.mouse.up()
    page.fill("#coast-words", "high, centred lengthwise, half the length")
    bench.press("text=Read the pattern")
    page.wait_for_selector("#answer, #problem")
    answer = page.inner_text("#answer")
    assert "too far out" in answer, "high on both flanks: pinion too far out (common practice, no source)"
    assert "toward heel" in answer
    bench.looked_at("1-read")
