"""What holds for the whole tree: no registry addresses, one version, quick help."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]


def tracked() -> list[Path]:
    listing = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True
    ).stdout.decode()
    return [ROOT / name for name in listing.split("\0") if name and (ROOT / name).is_file()]


def test_no_tracked_file_holds_a_registry_address():
    address = re.compile(
        r'"resolved": *"https?://|registry *[=:] *"?https?://|^\s*--?(?:extra-)?index-url|--find-links',
        re.MULTILINE,
    )
    own = Path(__file__).resolve()
    found = []
    for path in tracked():
        if path.suffix in {".jpg", ".png", ".wav", ".pdf"} or path == own:
            continue
        text = path.read_text(encoding="utf-8", errors="ignore")
        if address.search(text):
            found.append(str(path.relative_to(ROOT)))
    assert found == []


def test_no_source_file_holds_a_path_of_somebodys_machine():
    pattern = re.compile(r"/(?:home|Users|work|root)/[a-z]")
    found = [
        str(path.relative_to(ROOT))
        for path in tracked()
        if path.suffix in {".py", ".md", ".toml", ".js", ".html", ".typ", ".json", ".css"}
        and path != Path(__file__).resolve()
        and pattern.search(path.read_text(encoding="utf-8", errors="ignore"))
    ]
    assert found == []
