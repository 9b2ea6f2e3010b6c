"""The examples in the docstrings do what they show."""

from __future__ import annotations

import doctest
import importlib

import pytest


@pytest.mark.parametrize("name", ["backlash", "calibrate", "measured", "sweep"])
def test_examples(name):
    result = doctest.testmod(importlib.import_module(f"axlewright.contact.{name}"))
    assert result.attempted > 0
    assert result.failed == 0
