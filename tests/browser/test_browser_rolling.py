"""The rolling view by finger: three dimensions, direction of load, what a reader hears, still pictures."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Any

import pytest
from browser_bench import Bench, Served
from test_browser_rooms import rolling_ready, still

pytestmark = pytest.mark.browser


def fingers(page: Any, session: Any, kind: str, *spots: tuple[float, float]) -> None:
    points = [{"x": x, "y": y, "id": index} for index, (x, y) in enumerate(spots)]
    session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    page.wait_for_timeout(40)


def number(page: Any, name: str) -> float:
    still(page)
    return float(page.get_attribute("[data-teeth3d]", name))


def solid(bench: Bench, path: str) -> dict[str, float]:
    """Open the teeth in three dimensions and return where they stand on the screen."""
    bench.expected.append("GPU stall")
    rolling_ready(bench, path)
    bench.press("[data-open3d]")
    bench.page.wait_for_selector("[data-teeth3d][data-ready]")
    bench.page.wait_for_selector("[data-teeth3d][data-distance]")
    canvas = bench.page.locator("[data-canvas] canvas")
    canvas.evaluate("e => e.scrollIntoView({block: 'end'})")
    return canvas.bounding_box()


def test_the_teeth_are_turned_and_pinched_by_finger(server: Served, sit_down: Callable[..., Bench]) -> None:
    bench = sit_down(server, "phone", "solid-finger")
    page = bench.page
    box = solid(bench, "/rolling?design=TY-222&pinion=0.08")
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    session = page.context.new_cdp_session(page)

    before = number(page, "data-azimuth")
    fingers(page, session, "touchStart", (x, y))
    for step in range(1, 6):
        fingers(page, session, "touchMove", (x + 14 * step, y))
    fingers(page, session, "touchEnd")
    assert abs(number(page, "data-azimuth") - before) > 0.1, "one finger turns"

    before = number(page, "data-distance")
    fingers(page, session, "touchStart", (x - 20, y), (x + 20, y))
    for step in range(1, 6):
        fingers(page, session, "touchMove", (x - 20 - 12 * step, y), (x + 20 + 12 * step, y))
    fingers(page, session, "touchEnd")
    assert number(page, "data-distance") < 0.8 * before, "spreading two fingers comes closer"
    bench.looked_at("1-turned")


@pytest.mark.parametrize("size", ["phone", "laptop"])
def test_the_edges_of_the_tooth_are_named_where_they_are(
    server: Served, sit_down: Callable[..., Bench], size: str
) -> None:
    bench = sit_down(server, size, "solid-names")
    page = bench.page
    box = solid(bench, "/rolling?design=TY-222&pinion=0.08")
    for look in ("drive", "coast"):
        bench.press(f'[data-look="{look}"]')
        still(page)
        seen = {}
        for name in ("toe", "heel", "top", "root"):
            label = page.locator(f'[data-place="{name}"]')
            assert label.is_visible(), (look, name)
            seen[name] = label.bounding_box()
            middle = page.evaluate(
                "([x, y]) => document.elementFromPoint(x, y)?.tagName",
                [seen[name]["x"] + seen[name]["width"] / 2, seen[name]["y"] + seen[name]["height"] / 2],
            )
            assert middle == "CANVAS", f"nothing lies over the picture at the {name}: {middle}"
        box = page.locator("[data-canvas] canvas").bounding_box()
        assert all(
            box["x"] <= s["x"] + s["width"] and s["x"] <= box["x"] + box["width"] for s in seen.values()
        )
        toe, heel = seen["toe"], seen["heel"]
        apart = math.hypot(toe["x"] - heel["x"], toe["y"] - heel["y"])
        assert apart > 60, "toe and heel are the ends of the tooth"
        bench.shot(f"1-{look}")
    bench.no_errors()


def test_rolling_marks_one_tooth_after_the_other(server: Served, sit_down: Callable[..., Bench]) -> None:
    bench = sit_down(server, "laptop", "solid-marks")
    page = bench.page
    solid(bench, "/rolling?design=TY-222")
    bench.press('[data-look="pair"]')
    bench.press("[data-play]")
    page.wait_for_function("() => Number(document.querySelector('[data-teeth3d]').dataset.marked) >= 3")
    assert page.get_attribute("[data-play]", "aria-pressed") == "true"
    bench.shot("1-three-marked")
    bench.press("[data-play]")
    assert int(page.get_attribute("[data-teeth3d]", "data-marked")) < 41, "the others wait for their turn"
    bench.no_errors()


def test_the_load_stands_on_one_side_and_the_link_says_so(
    server: Served, sit_down: Callable[..., Bench]
) -> None:
    bench = sit_down(server, "phone", "rolling-load")
    page = bench.page
    rolling_ready(bench, "/rolling?design=TY-222&torque=400")
    page.select_option("#r-way", "drive")
    page.wait_for_selector("[data-rolled='design=TY-222&torque=400&way=drive']")
    assert page.inner_text('[data-load="drive"]') is not None
    assert page.text_content('[data-load="drive"]') == "under load"
    assert page.text_content('[data-load="coast"]') == "without load"
    assert "lb-ft (400 N·m) at the ring gear, on the drive side" in page.inner_text("[data-statewords]")
    assert page.url.endswith("/rolling?design=TY-222&torque=400&way=drive")
    page.reload()
    assert page.input_value("#r-way") == "drive"
    bench.no_errors()


def test_every_picture_is_told_in_words(server: Served, sit_down: Callable[..., Bench]) -> None:
    bench = sit_down(server, "laptop", "rolling-words")
    page = bench.page
    rolling_ready(bench, "/rolling?design=TY-222&pinion=0.127")
    labels = [e.get_attribute("aria-label") or "" for e in page.query_selector_all("main svg")]
    assert len(labels) == 6
    told = " ".join(labels)
    assert len(re.findall(r"side of the ring gear tooth: \w+", told)) == 2
    assert len(re.findall(r"Motion error of the \w+ side .*?, \d+\.\d microradians", told)) == 2
    assert len(re.findall(r"Mesh harmonics in microradians: 1× \d", told)) == 2
    assert "Backlash, computed without load: " in page.inner_text("[data-backlash]")
    before = page.inner_text("[data-backlash]")
    bench.press(page.locator('[aria-label="Ring gear: more"]'))
    page.wait_for_selector("[data-rolled*='ring=']")
    assert page.inner_text("[data-backlash]") != before
    bench.no_errors()
