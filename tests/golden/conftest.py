"""The folders of the records these tests made go when they end."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from golden_scenes import forget_places


@pytest.fixture(scope="session", autouse=True)
def _places() -> Iterator[None]:
    yield
    forget_places()
