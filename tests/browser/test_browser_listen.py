"""Listening in a browser, on a phone and on a laptop: a recording, passes compared, a setting played."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from browser_bench import Bench, Served

from axlewright.sound import DrivePlan, DriveSource, save_drive, simulate_drive, tyre_from_rollout

pytestmark = pytest.mark.browser

TYRE = "2.10 m"


@pytest.fixture(scope="module")
def drive(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """A simulated drive of a whining 11/41 axle and its speed marks."""
    folder = tmp_path_factory.mktemp("drive")
    source = DriveSource("mesh", 41, 12.0, pinion_runout=0.3, pinion_order=41 / 11)
    made = simulate_drive((source,), tyre_from_rollout(TYRE), DrivePlan(duration_s=24.0), seed=5)
    path = save_drive(made, folder, "whine")
    return path, (folder / "whine.marks").read_text()


@pytest.mark.parametrize("size", ["phone", "laptop"])
def test_a_recording_with_typed_marks_is_put_down_to_a_source(
    server: Served, sit_down: Callable[..., Bench], drive: tuple[Path, str], size: str
) -> None:
    bench = sit_down(server, size, f"listen-{size}")
    page = bench.page
    page.goto("/listen")
    bench.looked_at("1-form")
    page.set_input_files("#f-file", str(drive[0]))
    page.fill("#f-tyre", TYRE)
    page.fill("#f-speed", drive[1])
    bench.press("button.main")
    page.wait_for_selector("#answer")
    first = page.inner_text("#answer tbody tr >> nth=0")
    assert "ring and pinion mesh" in first
    assert "Record next" in page.inner_text("#answer")
    assert "(90 %)" in page.inner_text("#answer"), "how far the speed is known"
    picture = page.locator("#answer img").first
    assert picture.evaluate("e => e.complete && e.naturalWidth > 0")
    bench.looked_at("2-heard")
    bench.no_errors()


@pytest.mark.parametrize("size", ["phone", "laptop"])
def test_a_setting_is_played_beside_another(
    server: Served, sit_down: Callable[..., Bench], drive: tuple[Path, str], size: str
) -> None:
    bench = sit_down(server, size, f"made-{size}")
    page = bench.page
    page.goto("/rolling")
    page.wait_for_selector('[data-rolling][data-script="ready"]')
    page.goto("/listen/made?design=TY-222")
    assert page.locator("audio").count() == 0
    page.fill("#f-pinion", "6")
    bench.press("button.main")
    page.wait_for_selector("audio")
    assert "not the sound in a car" in page.inner_text("main")
    for which in ("Sound before", "Sound after"):
        player = page.get_by_label(which)
        player.evaluate("e => { e.muted = true; return e.play(); }")
        page.wait_for_function(
            "name => document.querySelector(`[aria-label='${name}']`).currentTime > 0.2", arg=which
        )
        assert player.evaluate("e => e.duration") == pytest.approx(8.0, abs=0.1)
        player.evaluate("e => e.pause()")
    bench.looked_at("1-made")
    page.set_input_files("#f-file", str(drive[0]))
    page.fill("#f-marks", drive[1])
    bench.press("text=Learn from the recording")
    page.wait_for_selector("text=learned from your recording")
    bench.looked_at("2-learned")
    bench.press("text=See both states roll")
    page.wait_for_selector(".rolling.compared")
    bench.no_errors()


@pytest.mark.parametrize("size", ["phone", "laptop"])
def test_passes_before_and_after_are_compared(
    server: Served, sit_down: Callable[..., Bench], drive: tuple[Path, str], size: str
) -> None:
    bench = sit_down(server, size, f"passes-{size}")
    page = bench.page
    page.goto("/listen/compare")
    for side in ("before", "after"):
        page.set_input_files(f"#f-{side}", str(drive[0]))
        page.fill(f"#f-speed_{side}", drive[1])
    page.fill("#f-tyre", TYRE)
    bench.press("button.main")
    page.wait_for_selector("#answer")
    # The same recording on both sides: nothing can have changed (by construction).
    assert "no change shown" in page.inner_text("#answer tbody tr >> nth=0")
    bench.looked_at("1-passes")
    bench.no_errors()
