"""Somebody with a browser, as the tests of the pages need one; and the server that answers."""

from __future__ import annotations

import asyncio
import re
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

import httpx
import uvicorn
from fastapi import FastAPI


@contextmanager
def served(app: FastAPI) -> Iterator[str]:
    """Serve an application on a free port of this machine and give its address."""
    listening = socket.create_server(("127.0.0.1", 0))
    server = uvicorn.Server(uvicorn.Config(app, log_level="critical"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    while not server.started:
        assert thread.is_alive(), "the server did not start"
        time.sleep(0.01)
    try:
        yield f"http://127.0.0.1:{listening.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join()
        listening.close()


@dataclass
class Visitor:
    """Somebody with a browser: keeps cookies, takes tokens from the pages."""

    client: httpx.Client

    def get(self, path: str, status: int = 200) -> str:
        answer = self.client.get(path)
        assert answer.status_code == status, answer.text[:2000]
        return answer.text

    def token(self, path: str = "/settings") -> str:
        found = re.search(r'name="token" value="([0-9a-f]{64})"', self.get(path))
        assert found is not None
        return found[1]

    def post(self, path: str, fields: dict[str, str], status: int = 200, **more: Any) -> str:
        answer = self.client.post(path, data={"token": self.token(), **fields}, **more)
        assert answer.status_code == status, answer.text[:2000]
        return answer.text

    def start_job(self, vehicle: str = "milk lorry, rear") -> int:
        self.post("/jobs/new", {"vehicle": vehicle, "design": "TY-222", "complaint": "whines"})
        return max(map(int, re.findall(r'href="/jobs/(\d+)"', self.get("/"))))


@dataclass
class Caller:
    """Somebody at an address of one's choosing, asked without a network between; keeps cookies."""

    app: FastAPI
    base: str
    address: str
    follow: bool = True
    cookies: httpx.Cookies = field(default_factory=httpx.Cookies)

    def _ask(self, method: str, path: str, **more: Any) -> httpx.Response:
        async def ask() -> httpx.Response:
            transport = httpx.ASGITransport(self.app, client=(self.address, 50000))
            async with httpx.AsyncClient(
                transport=transport, base_url=self.base, cookies=self.cookies, follow_redirects=self.follow
            ) as one:
                answer = await one.request(method, path, **more)
                self.cookies = one.cookies
                return answer

        return asyncio.run(ask())

    def get(self, path: str, **more: Any) -> httpx.Response:
        return self._ask("GET", path, **more)

    def post(self, path: str, **more: Any) -> httpx.Response:
        return self._ask("POST", path, **more)
