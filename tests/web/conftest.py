"""The pages asked over a real connection, without a browser."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from web_visitor import Visitor, served

from axlewright.web import create_app


@pytest.fixture
def address(tmp_path: Path) -> Iterator[str]:
    with served(create_app(tmp_path / "records")) as base:
        yield base


@pytest.fixture
def client(address: str) -> Iterator[httpx.Client]:
    with httpx.Client(base_url=address, follow_redirects=True, timeout=600, verify=False) as one:
        yield one


@pytest.fixture
def visitor(client: httpx.Client) -> Visitor:
    return Visitor(client)


@pytest.fixture
def warm(visitor: Visitor) -> Visitor:
    """A visitor who waited until the rolling was ready."""
    while not (told := visitor.client.get("/api/ready").json())["ready"]:
        assert not told.get("trouble"), told
        time.sleep(0.1)
    return visitor
