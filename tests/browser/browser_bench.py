"""A running page and a real browser, as the tests need them."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
OUTPUT = ROOT / "test-output"
PHOTOS = ROOT / "examples" / "photos"
AXE = ROOT / "node_modules" / "axe-core" / "axe.min.js"
MUST_NOT_SKIP = "AXLEWRIGHT_TESTS_MUST_NOT_SKIP"
ARGUMENTS = [
    "--no-sandbox",
    "--disable-background-networking",
    "--disable-quic",
    "--no-first-run",
    "--disable-component-update",
    "--disable-sync",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
    "--host-resolver-rules=MAP bench-laptop 127.0.0.1",
]
# For one wait in the page; long, so that only something that hangs ends it, on any machine.
PATIENCE_MS = 600_000
PHONE = {"width": 390, "height": 844}
LAPTOP = {"width": 1280, "height": 900}


def missing(what: str) -> None:
    """Skip for a missing part, or fail where skipping is not allowed."""
    if os.environ.get(MUST_NOT_SKIP):
        pytest.fail(f"{what}, and {MUST_NOT_SKIP} is set")
    pytest.skip(what)


def browser_path() -> str | None:
    """Return the Chromium to use: the one named, the machine's own where it runs, else the driver's."""
    named = os.environ.get("AXLEWRIGHT_CHROMIUM")
    if named:
        return named
    for path in filter(None, map(shutil.which, ("chromium", "chromium-browser"))):
        # Where it comes from elsewhere, the program may only say so.
        if subprocess.run([path, "--version"], capture_output=True, check=False).returncode == 0:
            return path
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        own = playwright.chromium.executable_path
    return own if Path(own).exists() else None


@dataclass
class Served:
    """The page served by a process of its own.

    Attributes
    ----------
    folder : Path
        Of the records; stays over a restart.
    code : str
        Program that serves the page on the port and folder it is given.
    """

    folder: Path
    port: int = 0
    code: str = (
        "import sys; from axlewright.web import serve; serve(port=int(sys.argv[1]), store_folder=sys.argv[2])"
    )
    process: subprocess.Popen[str] | None = None

    @property
    def address(self) -> str:
        """Address of the page."""
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Start it, on the same port as before."""
        if not self.port:
            with socket.create_server(("127.0.0.1", 0)) as free:
                self.port = free.getsockname()[1]
        self.process = subprocess.Popen(
            [sys.executable, "-c", self.code, str(self.port), str(self.folder)],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            start_new_session=True,
        )
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        assert re.search(r"http://127\.0\.0\.1:\d+/", line), line + self.process.stdout.read()
        while self.process.poll() is None:
            try:
                socket.create_connection(("127.0.0.1", self.port), 1).close()
                return
            except OSError:
                time.sleep(0.05)
        raise AssertionError("the page ended: " + self.process.stdout.read())

    def stop(self) -> None:
        """Stop it at once, as a power cut would."""
        if self.process is not None:
            if self.process.poll() is None:
                os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()
            if self.process.stdout is not None:
                self.process.stdout.close()
            self.process = None


IN_A_NETWORK = """
import sys
import uvicorn
from axlewright.web import create_app

app = create_app(sys.argv[2], hosts=("bench-laptop",))

async def network(scope, receive, send):
    # Who asks under the laptop's name in the network stands at another address (RFC 5737).
    if scope["type"] == "http" and dict(scope["headers"]).get(b"host", b"").startswith(b"bench-laptop"):
        scope["client"] = ("192.0.2.7", 50000)
    await app(scope, receive, send)

print(f"The page is at http://127.0.0.1:{sys.argv[1]}/", flush=True)
uvicorn.run(network, host="127.0.0.1", port=int(sys.argv[1]), log_level="warning")
"""


@contextmanager
def served(folder: Path, code: str = "") -> Iterator[Served]:
    """Serve the page and always stop it."""
    one = Served(folder, code=code) if code else Served(folder)
    try:
        one.start()
        yield one
    finally:
        one.stop()


@dataclass
class Bench:
    """One person's browser on the page: taps or clicks, watches for errors, keeps pictures."""

    page: Any
    name: str
    touch: bool
    errors: list[str] = field(default_factory=list)
    expected: list[str] = field(default_factory=list)

    def watch(self) -> None:
        """Collect everything that goes wrong in the page."""
        self.page.on(
            "console", lambda m: self.errors.append(m.text) if m.type in ("error", "warning") else None
        )
        self.page.on("pageerror", lambda e: self.errors.append(str(e)))

    def no_errors(self) -> None:
        """Fail on anything that went wrong and was not announced."""
        left = [e for e in self.errors if not any(x in e for x in self.expected)]
        assert left == []

    def press(self, target: Any) -> None:
        """Tap or click."""
        one = self.page.locator(target).first if isinstance(target, str) else target
        one.scroll_into_view_if_needed()
        if self.touch:
            one.tap()
        else:
            one.click()

    def choose(self, name: str, value: str) -> None:
        """Tap an answer of a choice."""
        box = self.page.locator(f'#entryform input[name="{name}"][value="{value}"]')
        self.press(box.locator("xpath=.."))

    def fill(self, **fields: str) -> None:
        """Type into fields."""
        for name, value in fields.items():
            self.page.fill(f"#f-{name}", value)

    def unfold(self) -> None:
        """Open the form of a step that was entered before."""
        folded = self.page.locator("details.again:not([open]) > summary")
        if folded.count():
            self.press(folded)

    def enter(self) -> None:
        """Send the step's form and wait for its answer."""
        before = self.page.locator("main").element_handle()
        self.press("#entryform button.main")
        self.page.wait_for_function("old => !old.isConnected", arg=before)
        self.page.wait_for_selector("#answer, #problem")

    def shot(self, what: str) -> None:
        """Keep a picture of the whole page."""
        OUTPUT.mkdir(exist_ok=True)
        self.page.screenshot(path=str(OUTPUT / f"{self.name}-{what}.png"), full_page=True)

    def accessible(self) -> None:
        """Fail on anything axe finds against WCAG 2.2 A and AA."""
        self.page.evaluate(AXE.read_text(encoding="utf-8"))
        found = self.page.evaluate(
            """async tags => {
              const told = await axe.run(document, {runOnly: {type: 'tag', values: tags}});
              const where = v => v.nodes.slice(0, 4).map(n => n.html.slice(0, 200));
              return told.violations.map(v => ({id: v.id, help: v.help, where: where(v)}));
            }""",
            ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
        )
        assert found == [], json.dumps(found, indent=1)

    def fits(self) -> None:
        """Fail when the page can be pushed sideways, or a target is too small for a glove."""
        wide = self.page.evaluate(
            "document.documentElement.scrollWidth - document.documentElement.clientWidth"
        )
        assert wide <= 1, f"the page is {wide} px too wide"
        small = self.page.evaluate(
            """kinds => [...document.querySelectorAll(kinds)]
              .filter(e => e.offsetParent && !e.classList.contains('handle'))
              .map(e => [e.outerHTML.slice(0, 120), e.getBoundingClientRect().height])
              .filter(([, h]) => h < 55.5)""",
            "button, a.button, summary, .choice, .tick, nav a, .joblink, select, textarea, "
            "input[type=range], input[type=text], input[type=number], input[type=search], "
            "input[type=password], input[type=file]",
        )
        assert small == []

    def looked_at(self, what: str) -> None:
        """Check and picture the page as it stands, once its style sheet has come."""
        self.page.wait_for_load_state("load")
        self.accessible()
        self.fits()
        self.shot(what)
        self.no_errors()


def corners(flank: str) -> list[tuple[float, float]]:
    """Return where the four corners are in the photo of a flank."""
    told = json.loads((PHOTOS / f"ty-222-job-{flank}.json").read_text())
    return [(float(x), float(y)) for x, y in told["corners_px"]]
