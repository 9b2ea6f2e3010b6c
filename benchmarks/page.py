"""How quick the page is: rolling view on the server, first content in the browser, size of the scripts.

    python benchmarks/page.py [--count N]

The rolling view's update is timed as processor time and by the clock, both flanks, the backlash and the
drawings, at settings that were not rolled before. First content is Chromium's own first contentful paint of
each page on this machine, the median of some loads with an empty cache. Script sizes are gzip's at level 6.
"""

from __future__ import annotations

import argparse
import gzip
import os
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests" / "browser"))
STATIC = ROOT / "src" / "axlewright" / "web" / "static"
PAGES = (
    "/",
    "/jobs/new",
    "/jobs/1?step=depth",
    "/jobs/1/pattern",
    "/rolling",
    "/listen",
    "/practice",
    "/batch",
    "/designs",
    "/settings",
    "/help",
)
LOAD_NM = 400.0
UPDATE_MS, CONTENT_MS, SCRIPT_KB = 50.0, 500.0, 250.0


def rolling_updates(count: int) -> None:
    """Print the time of an update of the rolling view."""
    import axlewright as aw
    from axlewright.job.rolling import State
    from axlewright.web.rolling_pages import rolled

    print(
        "| rolling view, update on the server | aim "
        f"| processor ms, median ({count}) | clock ms, median | longest |"
    )
    print("|---|---|---|---|---|")
    for name in aw.shipped_designs():
        for torque in (0.0, LOAD_NM):
            design = aw.load_design(name)
            rolled(State(name, torque=torque), design, "inch")
            clock, processor = [], []
            for index in range(count):
                state = State(name, pinion=0.001 * (index - count // 2), ring=0.0007 * index, torque=torque)
                began, ran = time.perf_counter(), time.process_time()
                rolled(state, design, "inch")
                processor.append(1000.0 * (time.process_time() - ran))
                clock.append(1000.0 * (time.perf_counter() - began))
            how = f"{torque:.0f} N·m on both sides" if torque else "without load"
            print(
                f"| {name}, {how} | {UPDATE_MS:.0f} | {statistics.median(processor):.0f} "
                f"| {statistics.median(clock):.0f} | {max(clock):.0f} |",
                flush=True,
            )


def first_content(count: int) -> None:
    """Print when each page first shows something."""
    from browser_bench import ARGUMENTS, browser_path, served
    from playwright.sync_api import sync_playwright

    path = browser_path()
    if path is None:
        print("No Chromium is installed: first content was not measured.")
        return
    with (
        tempfile.TemporaryDirectory() as folder,
        served(Path(folder) / "records") as page_server,
        sync_playwright() as playwright,
    ):
        browser = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        context = browser.new_context(base_url=page_server.address)
        _start_job(context.new_page())
        print(f"| page | aim | first content ms, median ({count}) | longest |")
        print("|---|---|---|---|")
        for address in PAGES:
            taken = [_painted(browser, page_server.address, address) for _load in range(count)]
            print(
                f"| `{address}` | {CONTENT_MS:.0f} | {statistics.median(taken):.0f} | {max(taken):.0f} |",
                flush=True,
            )
        browser.close()


def _start_job(page: Any) -> None:
    page.goto("/rolling")
    page.wait_for_selector("[data-rolling]", timeout=120_000)
    page.goto("/jobs/new")
    page.fill("#f-vehicle", "Valley bus, rear")
    page.locator('input[name="design"][value="TY-222"]').check()
    page.click("button.main")
    page.wait_for_url("**/jobs/1*")


def _painted(browser: Any, base: str, address: str) -> float:
    """Load a page with nothing cached and return its first contentful paint [ms]."""
    context = browser.new_context(base_url=base)
    page = context.new_page()
    answer = page.goto(address)
    assert answer is not None
    assert answer.ok, f"{address}: {answer.status}"
    at = page.evaluate(
        """() => new Promise(told => {
          const read = list => list.find(e => e.name === 'first-contentful-paint')?.startTime;
          const now = read(performance.getEntriesByType('paint'));
          if (now !== undefined) return told(now);
          new PerformanceObserver(l => { const t = read(l.getEntries()); if (t !== undefined) told(t); })
            .observe({type: 'paint', buffered: true});
        })"""
    )
    context.close()
    return float(at)


def scripts() -> None:
    """Print the size of all scripts together, as sent when compressed."""
    groups = {
        "the page's own modules": sorted((STATIC / "js").glob("*.js")),
        "3-D view, loaded on demand": sorted((STATIC / "vendor").glob("*.js")),
    }
    total = 0.0
    print("| scripts | aim | files | gzip kB |")
    print("|---|---|---|---|")
    for title, files in groups.items():
        size = sum(len(gzip.compress(file.read_bytes(), 6)) for file in files) / 1000.0
        total += size
        print(f"| {title} |  | {len(files)} | {size:.0f} |")
    print(f"| together | {SCRIPT_KB:.0f} |  | {total:.0f} |")


def main() -> None:
    """Print all tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=7, help="loads of each page")
    given = parser.parse_args()
    load = f", load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores" if hasattr(os, "getloadavg") else ""
    print(f"At the start{load}\n")
    rolling_updates(6 * given.count)
    print()
    first_content(given.count)
    print()
    scripts()


if __name__ == "__main__":
    main()
