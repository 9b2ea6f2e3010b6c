"""Every room by keyboard alone, at both widths.

Steps, corners, outlines, practice and the batch have tests of their own.

A file is chosen in the device's own window, which a test cannot type into: there the file is set.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from browser_bench import Bench, Served

from axlewright.sound import DrivePlan, DriveSource, save_drive, simulate_drive, tyre_from_rollout

pytestmark = pytest.mark.browser
SIZES = pytest.mark.parametrize("size", ["phone", "laptop"])


def reach(bench: Bench, wanted: str, most: int = 80) -> None:
    """Press Tab until the element is reached, as somebody without a mouse must."""
    for _press in range(most):
        if bench.page.evaluate("sel => !!document.activeElement?.matches(sel)", wanted):
            return
        bench.page.keyboard.press("Tab")
    raise AssertionError(f"{wanted} is not reached by {most} tabs")


@SIZES
def test_a_job_is_started(server: Served, sit_down: Callable[..., Bench], size: str) -> None:
    bench = sit_down(server, size, "keys-bench")
    page = bench.page
    page.goto("/")
    reach(bench, 'a[href="/jobs/new"]')
    page.keyboard.press("Enter")
    page.wait_for_url("**/jobs/new")
    reach(bench, "#f-vehicle")
    page.keyboard.type("Milk lorry")
    reach(bench, 'input[name="design"]')
    page.keyboard.press("Space")
    page.keyboard.press("ArrowDown")
    reach(bench, "main form button.main")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/jobs/\d+"))
    assert "Milk lorry" in page.inner_text("main")
    bench.no_errors()


@SIZES
def test_settings_are_kept(server: Served, sit_down: Callable[..., Bench], size: str) -> None:
    bench = sit_down(server, size, "keys-settings")
    page = bench.page
    page.goto("/settings")
    reach(bench, "#f-who")
    page.keyboard.type("bench one")
    page.keyboard.press("Enter")
    page.wait_for_selector(".said")
    assert page.input_value("#f-who") == "bench one"
    bench.no_errors()


@SIZES
def test_a_design_is_opened_and_rolled(server: Served, sit_down: Callable[..., Bench], size: str) -> None:
    bench = sit_down(server, size, "keys-designs")
    page = bench.page
    page.goto("/designs")
    reach(bench, 'a[href="/rolling?design=TY-222"]')
    page.keyboard.press("Enter")
    page.wait_for_selector('[data-rolling][data-script="ready"]')
    before = page.inner_text("[data-statewords]")
    reach(bench, "#r-pinion")
    page.keyboard.press("ArrowUp")
    page.wait_for_function("old => document.querySelector('[data-statewords]').innerText !== old", arg=before)
    bench.no_errors()


@SIZES
def test_the_tour_is_taken_and_left(server: Served, sit_down: Callable[..., Bench], size: str) -> None:
    bench = sit_down(server, size, "keys-help")
    page = bench.page
    page.goto("/help")
    reach(bench, 'form[action="/tour"] button')
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/jobs/\d+"))
    reach(bench, 'form[action="/tour/at"] button')
    page.keyboard.press("Enter")
    page.wait_for_load_state("load")
    bench.no_errors()


@SIZES
def test_a_recording_is_listened_to(
    server: Served, sit_down: Callable[..., Bench], tmp_path: Path, size: str
) -> None:
    source = DriveSource("mesh", 41, 12.0, pinion_runout=0.3, pinion_order=41 / 11)
    made = simulate_drive((source,), tyre_from_rollout("2.10 m"), DrivePlan(duration_s=24.0), seed=5)
    path = save_drive(made, tmp_path, "whine")
    bench = sit_down(server, size, "keys-listen")
    page = bench.page
    page.goto("/listen")
    page.set_input_files("#f-file", str(path))
    reach(bench, "#f-tyre")
    page.keyboard.type("2.10 m")
    reach(bench, "#f-speed")
    page.keyboard.insert_text((tmp_path / "whine.marks").read_text())
    reach(bench, "main form button.main")
    page.keyboard.press("Enter")
    page.wait_for_selector("#answer")
    assert "ring and pinion mesh" in page.inner_text("#answer tbody tr >> nth=0")
    bench.no_errors()
