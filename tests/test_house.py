"""What holds for the whole tree: no registry addresses, one version, quick help, no paths of machines."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import axlewright

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


def test_one_version_everywhere():
    told = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert told["project"]["version"] == axlewright.__version__


def test_help_of_the_commands_loads_no_numerics():
    code = (
        "import sys\nfrom axlewright.cli.app import app\n"
        "try:\n    app(['--help'])\nexcept SystemExit:\n    pass\n"
        "heavy = ('numba', 'numpy', 'scipy', 'matplotlib', 'fastapi', 'babel')\n"
        "print([m for m in heavy if m in sys.modules])"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert "Set up drive axles" in told
    assert told.strip().splitlines()[-1] == "[]"


def test_every_task_is_named_in_the_tasks_own_help():
    text = (ROOT / "tasks.py").read_text(encoding="utf-8")
    stages = re.search(r"^STAGES = (\(.*\))$", text, re.MULTILINE)
    assert stages is not None
    tasks = set(re.findall(r'task == "(\w+)"', text)) | set(re.findall(r'"(\w+)": \1\b', text))
    tasks |= set(ast.literal_eval(stages[1]))
    told = text.split('"""')[1]
    assert {"demo", "test", "words", "lint"} <= tasks
    assert [task for task in sorted(tasks) if not re.search(rf"\b{task}\b", told)] == []


def test_the_map_of_rooms_is_the_list_of_folders():
    text = (ROOT / "CONTRIBUTING.md").read_text(encoding="utf-8").split("```")[1]
    inside = text.split("src/axlewright/\n")[1].split("tests/")[0]
    told = {name for line in inside.splitlines() for name in re.findall(r"\b(\w+)/", line.split("  ", 2)[1])}
    there = {
        path.name
        for path in (ROOT / "src/axlewright").iterdir()
        if path.is_dir() and (path / "__init__.py").exists()
    }
    assert told == there
