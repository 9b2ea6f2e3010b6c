"""The page's scripts as files; 'python tasks.py scripts' checks their types and runs scripts.test.mjs."""

from __future__ import annotations

import gzip
from pathlib import Path

ROOT = Path(__file__).parents[2]
STATIC = ROOT / "src" / "axlewright" / "web" / "static"


def test_every_script_asks_to_be_checked() -> None:
    files = sorted((STATIC / "js").glob("*.js"))
    assert len(files) >= 8
    assert [f.name for f in files if not f.read_text(encoding="utf-8").startswith("// @ts-check")] == []


def test_all_scripts_together_stay_small() -> None:
    files = [*(STATIC / "js").glob("*.js"), *(STATIC / "vendor").glob("*.js")]
    total = sum(len(gzip.compress(f.read_bytes())) for f in files)
    assert total < 250_000, f"{total} bytes, gzipped"
