"""A phone in the shop's network: plain http under the laptop's name, which is no secure context."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from browser_bench import IN_A_NETWORK, Bench, Served, served
from test_browser_rooms import start_job

pytestmark = pytest.mark.browser


@pytest.fixture
def network(tmp_path: Path) -> Iterator[Served]:
    with served(tmp_path / "records", IN_A_NETWORK) as one:
        yield one


def test_a_phone_is_let_in_keeps_entries_offline_and_is_taken_off_again(
    network: Served, sit_down: Callable[..., Bench]
) -> None:
    name = f"http://bench-laptop:{network.port}"
    laptop = sit_down(network, "laptop", "pairing")
    phone = sit_down(network, "phone", "pairing", base_url=name)
    phone.expected += ["ERR_INTERNET_DISCONNECTED", "ERR_CONNECTION_REFUSED", "Failed to load resource"]
    page = phone.page

    page.goto("/jobs/new")
    assert page.url == f"{name}/pair"
    assert page.evaluate("() => isSecureContext") is False
    assert page.locator("header nav").count() == 0
    phone.looked_at("1-asked-for-a-code")

    laptop.page.goto("/settings")
    laptop.press("text=Phones and tablets")
    laptop.press("text=Make a code")
    laptop.page.wait_for_selector(".pin")
    laptop.looked_at("2-code")
    pin = laptop.page.inner_text(".pin")
    assert re.fullmatch(r"\d{3} \d{3}", pin)

    phone.fill(code="000000" if pin != "000 000" else "111111", device="")
    phone.press("main button.main")
    page.wait_for_selector("#problem:has-text('not right')")
    phone.fill(code=pin, device="phone of bench two")
    phone.press("main button.main")
    page.wait_for_url(f"{name}/")
    assert page.locator("header nav a").count() == 8

    job = start_job(phone)
    page.goto(f"{job}?step=as-found")
    phone.fill(spacer="0.0559", note="from the phone")
    page.context.set_offline(True)
    phone.press("#entryform button.main")
    page.wait_for_selector("#waiting:has-text('1 entry is kept here')")
    network.stop()
    network.start()
    page.context.set_offline(False)
    page.wait_for_selector("#answer")
    assert "from the phone" in page.inner_text("main")

    laptop.page.goto("/settings/devices")
    laptop.page.wait_for_selector("text=phone of bench two")
    laptop.looked_at("3-list")
    laptop.press("text=Take off the list")
    laptop.page.wait_for_selector("text=None.")
    page.goto(f"{job}?step=as-found")
    assert page.url == f"{name}/pair"
    assert "from the phone" not in page.content()
    phone.no_errors()
    laptop.no_errors()
