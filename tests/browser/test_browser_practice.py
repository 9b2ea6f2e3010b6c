"""Practice by touch on a phone, by mouse on a laptop, and by keyboard alone."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from browser_bench import Bench, Served

pytestmark = pytest.mark.browser


def begin(bench: Bench, number: str) -> None:
    bench.page.goto("/practice")
    bench.page.select_option("#p-design", "TY-222")
    bench.page.fill("#p-number", number)
    bench.press('button:has-text("Start")')
    bench.page.wait_for_url(re.compile(r"/practice/[0-9a-f]{16}"))


def do(bench: Bench, kind: str, amount: str = "") -> None:
    count = bench.page.locator('input[name="seen"]').get_attribute("value")
    if amount:
        bench.page.fill(f"#a-{kind}", amount)
    bench.press(f'form button[value="{kind}"]')
    bench.page.wait_for_function(
        "n => document.querySelector('.answer') || document.querySelector('[name=seen]')?.value == n",
        arg=str(int(count or 0) + 1),
    )


@pytest.mark.parametrize("size", ["phone", "laptop"])
def test_an_axle_is_measured_changed_and_signed_off(
    server: Served, sit_down: Callable[..., Bench], size: str
) -> None:
    bench = sit_down(server, size, "practice")
    begin(bench, "3")
    bench.looked_at("1-comes-in")
    for kind in ("identity", "backlash", "roll", "ask"):
        do(bench, kind)
    bench.looked_at("2-measured")
    told = bench.page.inner_text("#latest")
    advised = re.search(r"([0-9.]+) in \([^)]*\) (thicker|thinner)", told)
    assert advised, told
    do(bench, "press", ("" if advised[2] == "thicker" else "-") + advised[1])
    do(bench, "roll")
    do(bench, "sign")
    assert "What was true" in bench.page.inner_text(".answer")
    bench.looked_at("3-the-truth")
    bench.page.goto("/practice")
    bench.looked_at("4-class-list")
    bench.no_errors()


def test_practice_by_keyboard_alone(server: Served, sit_down: Callable[..., Bench]) -> None:
    bench = sit_down(server, "laptop", "practice-keys")
    begin(bench, "4")
    page = bench.page
    page.locator('button[value="roll"]').focus()
    page.keyboard.press("Enter")
    page.wait_for_selector("#latest svg")
    page.locator("#a-shim").focus()
    page.keyboard.type("5 thou")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.wait_for_selector("#latest:has-text('away from the pinion')")
    bench.no_errors()
