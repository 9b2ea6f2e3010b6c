"""Start a PostgreSQL server of one's own in a temporary folder, for tests and benchmarks."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


def server_programs() -> Path | None:
    """Return the folder of the server's programs, or None when it is not installed."""
    on_path = shutil.which("initdb")
    if on_path:
        return Path(on_path).parent
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda one: int(one.parts[-3]))
    return found[-1].parent if found else None


@contextmanager
def running_server(programs: Path) -> Iterator[str]:
    """Run a server on a free port of this machine and give the address of its first database."""
    folder = Path(tempfile.mkdtemp(prefix="axlewright-pg-"))
    before: list[str] = []
    if hasattr(os, "geteuid") and os.geteuid() == 0:  # the server refuses to run as root
        shutil.chown(folder, "postgres")
        before = ["setpriv", "--reuid=postgres", "--regid=postgres", "--clear-groups"]
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    data = folder / "data"

    def run(*command: str) -> None:
        done = subprocess.run(
            [*before, *command],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            cwd=folder,
        )
        if done.returncode != 0:
            raise RuntimeError(f"{command[0]} failed: {done.stderr}")

    options = f"-c listen_addresses=127.0.0.1 -c port={port} -c unix_socket_directories= -c fsync=off"
    try:
        run(str(programs / "initdb"), "-D", str(data), "-U", "bench", "-A", "trust", "-E", "UTF8")
        run(
            str(programs / "pg_ctl"), "-D", str(data), "-o", options, "-l", str(folder / "log"), "-w", "start"
        )
        try:
            yield f"postgresql://bench@127.0.0.1:{port}/postgres"
        finally:
            run(str(programs / "pg_ctl"), "-D", str(data), "-m", "immediate", "-w", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
