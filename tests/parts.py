"""Print what the tests use beside Python's packages and this machine lacks, as the tests look for it."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

TESTS = Path(__file__).resolve().parent
sys.path[:0] = [str(TESTS / "browser"), str(TESTS / "records"), str(TESTS / "sheets")]

from browser_bench import browser_path  # noqa: E402
from pdf_reading import PROGRAMS  # noqa: E402
from postgresql_server import server_programs  # noqa: E402

FONTS = [Path("/usr/share/fonts"), Path("/usr/local/share/fonts"), Path.home() / ".local/share/fonts"]


def there() -> dict[str, bool]:
    """Return the parts, named as in tasks.py, and whether each is there."""
    return {
        "Chromium": browser_path() is not None,
        "poppler": all(shutil.which(program) for program in PROGRAMS),
        "PostgreSQL": server_programs() is not None,
        "fonts": sys.platform != "linux" or any(any(folder.rglob("*.[to]tf")) for folder in FONTS),
        "git": shutil.which("git") is not None,
    }


if __name__ == "__main__":
    print("\n".join(part for part, found in there().items() if not found))
