"""The page's scripts: their types, and those parts that need no browser."""

from __future__ import annotations

import gzip
import os
import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
COMPILER = ROOT / "node_modules" / "typescript" / "bin" / "tsc"
STATIC = ROOT / "src" / "axlewright" / "web" / "static"


def node(*arguments: str) -> subprocess.CompletedProcess[str]:
    found = shutil.which("node")
    if found is None:
        if os.environ.get("AXLEWRIGHT_TESTS_MUST_NOT_SKIP"):
            pytest.fail("Node is not installed")
        pytest.skip("Node is not installed")
    return subprocess.run([found, *arguments], cwd=ROOT, capture_output=True, text=True, check=False)


def test_the_scripts_keep_their_types() -> None:
    if not COMPILER.exists():
        pytest.skip("the type checker is not there: run 'python tasks.py vendor'")
    told = node(str(COMPILER), "-p", ".")
    assert told.returncode == 0, told.stdout


def test_the_parts_that_need_no_browser() -> None:
    told = node("--test", "tests/web/scripts.test.mjs")
    assert told.returncode == 0, told.stdout + told.stderr


def test_every_script_asks_to_be_checked() -> None:
    files = sorted((STATIC / "js").glob("*.js"))
    assert len(files) >= 8
    assert [f.name for f in files if not f.read_text(encoding="utf-8").startswith("// @ts-check")] == []


def test_all_scripts_together_stay_small() -> None:
    files = [*(STATIC / "js").glob("*.js"), *(STATIC / "vendor").glob("*.js")]
    total = sum(len(gzip.compress(f.read_bytes())) for f in files)
    assert total < 250_000, f"{total} bytes, gzipped"
