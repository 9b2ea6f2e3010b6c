"""The browser and the page for the tests."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from browser_bench import (
    ARGUMENTS,
    AXE,
    LAPTOP,
    PATIENCE_MS,
    PHONE,
    Bench,
    Served,
    browser_path,
    missing,
    served,
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark everything here: the browser's own loop cannot run beside the tests without one."""
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    path = browser_path()
    if path is None:
        missing("no Chromium is installed")
    if not AXE.exists():
        missing("axe-core is not there: run 'python tasks.py vendor'")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        try:
            yield browser
        finally:
            browser.close()


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(tmp_path_factory.mktemp("records")) as one:
        yield one


@pytest.fixture
def own_server(tmp_path: Path) -> Iterator[Served]:
    """A page of this test alone, that may be stopped and started."""
    with served(tmp_path / "records") as one:
        yield one


@pytest.fixture
def sit_down(chromium: Any) -> Iterator[Callable[..., Bench]]:
    """Give a way to open the page as a phone or a laptop sees it."""
    opened = []

    def sit(server: Served, size: str, name: str, **more: Any) -> Bench:
        phone = size == "phone"
        context = chromium.new_context(
            base_url=more.pop("base_url", server.address),
            viewport=PHONE if phone else LAPTOP,
            has_touch=phone,
            is_mobile=phone,
            reduced_motion="reduce",
            **more,
        )
        context.set_default_timeout(PATIENCE_MS)
        opened.append(context)
        bench = Bench(context.new_page(), f"{name}-{'390' if phone else '1280'}", phone)
        bench.watch()
        return bench

    yield sit
    for context in opened:
        context.close()
