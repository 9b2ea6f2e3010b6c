"""Keep strangers out: host check, pairing, size limit, session cookie, form tokens, security headers.

Written for a page that listens on this machine alone unless told otherwise.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
from collections.abc import Iterable, MutableMapping
from http.cookies import CookieError, SimpleCookie
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlsplit

from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from axlewright.language import accepted, languages, using_language
from axlewright.language import eager as _
from axlewright.units import using_system
from axlewright.web.pairing import DEVICE_COOKIE, Pairing, is_own_machine

SESSION_COOKIE: Final = "axlewright-session"
LANGUAGE_COOKIE: Final = "axlewright-language"
SYSTEM_COOKIE: Final = "axlewright-system"
SECRET_FILE: Final = "page.secret"
LOOPBACK: Final = ("127.0.0.1", "localhost", "::1")
LARGEST_BODY: Final = 48 * 1024 * 1024
LARGEST_FORM: Final = 512 * 1024
LONGEST_QUERY: Final = 8_000
LONGEST_COOKIES: Final = 16_000
"""Most bytes behind the question mark of an address, and of cookies: several times what the pages make."""
CONTENT_POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; "
    "media-src 'self' blob:; font-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'; manifest-src 'self'"
)
HEADERS: Final = (
    (b"content-security-policy", CONTENT_POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),
    (b"x-frame-options", b"DENY"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(self), microphone=(self), geolocation=()"),
)
OPENER_POLICY: Final = (b"cross-origin-opener-policy", b"same-origin")
"""Only under the own machine's names: browsers heed it in a secure context alone and complain elsewhere."""


def page_secret(folder: Path) -> bytes:
    """Return the secret of this store's pages, made once; forms stay valid over a restart."""
    path = folder / SECRET_FILE
    try:
        found = path.read_bytes()
        if len(found) >= 32:
            return found
    except FileNotFoundError:
        pass
    fresh = secrets.token_bytes(32)
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "wb") as file:
        file.write(fresh)
    return fresh


def form_token(secret: bytes, session: str) -> str:
    """Return the token that a form of this session carries."""
    return hmac.new(secret, session.encode(), hashlib.sha256).hexdigest()


def token_fits(secret: bytes, session: str, token: str) -> bool:
    """Whether a posted token belongs to this session."""
    if not session:
        return False
    return hmac.compare_digest(form_token(secret, session).encode(), token.encode("utf-8", "replace"))


def _header(scope: Scope, name: bytes) -> str:
    for key, value in scope["headers"]:
        if key == name:
            return str(value.decode("latin-1"))
    return ""


def _host_name(text: str) -> str:
    """Return the host without its port, lower case."""
    if text.startswith("["):
        return text[1:].partition("]")[0].lower()
    return text.rpartition(":")[0].lower() if text.count(":") == 1 else text.lower()


def is_loopback(request: Request) -> bool:
    """Whether the page is asked under a name that means this machine alone."""
    return _host_name(_header(request.scope, b"host")) in LOOPBACK


def client_of(scope: Scope) -> str:
    """Return the address the connection of a request comes from."""
    client = scope.get("client")
    return str(client[0]) if client else ""


def _asked_by_another_site(scope: Scope) -> bool:
    """Whether a page of another site had this asked, other than by a link that was followed.

    Browsers say so to addresses they trust, which this machine's own are (Fetch Metadata, W3C). To other
    addresses they do not; there the device's cookie stays behind (`SameSite=Strict`), so that the request
    comes from nobody.
    """
    if _header(scope, b"sec-fetch-site") not in ("cross-site", "same-site"):
        return False
    followed = _header(scope, b"sec-fetch-mode") == "navigate" and _header(scope, b"sec-fetch-dest") in (
        "document",
        "",
    )
    return not (followed and scope["method"] == "GET" and not scope["path"].startswith("/api/"))


def _open_to_all(path: str) -> bool:
    return path == "/pair" or path.startswith("/static/")


class _TooLargeError(Exception):
    pass


class Guard:
    """ASGI wrapper: refuses foreign hosts, sites and devices, limits sizes, adds headers and the session.

    Parameters
    ----------
    app : ASGI application
    hosts : iterable of str
        Names under which the page may be asked, besides this machine's own.
    pairing : Pairing
        The devices that are let in, besides this machine.
    """

    def __init__(self, app: ASGIApp, pairing: Pairing, hosts: Iterable[str] = ()) -> None:
        self.app = app
        self.pairing = pairing
        self.hosts = {*LOOPBACK, *(h.lower() for h in hosts if h)}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        host = _header(scope, b"host")
        if _host_name(host) not in self.hosts:
            await _refuse(
                send, 400, _("This page is not served under the name '{name}'.").format(name=_host_name(host))
            )
            return
        if _asked_by_another_site(scope):
            await _refuse(send, 403, _("Another site cannot ask this page."))
            return
        if len(scope["query_string"]) > LONGEST_QUERY or len(_header(scope, b"cookie")) > LONGEST_COOKIES:
            with using_language(accepted(_header(scope, b"accept-language"))):
                await _refuse(
                    send,
                    414,
                    _("This address is too long; follow a link of the page, or clear the browser's cookies."),
                )
            return
        unsafe = scope["method"] not in ("GET", "HEAD", "OPTIONS")
        origin = _header(scope, b"origin")
        if unsafe and origin and urlsplit(origin).netloc.lower() != host.lower():
            await _refuse(send, 403, _("A form of another site cannot be sent here."))
            return
        kind = _header(scope, b"content-type")
        limit = LARGEST_BODY if kind.startswith("multipart/") else LARGEST_FORM
        try:
            announced = int(_header(scope, b"content-length") or 0)
        except ValueError:
            announced = limit + 1
        if announced > limit:
            await _refuse(
                send, 413, _("This is more than {limit} kB; send a smaller file.").format(limit=limit // 1024)
            )
            return
        jar = _cookies(scope)
        session, fresh = _session(jar)
        server = scope.get("server")
        own = is_own_machine(client_of(scope), str(server[0]) if server else "")
        carried = jar.get(DEVICE_COOKIE)
        device = None if own or carried is None else self.pairing.known(carried.value)
        scope.setdefault("state", {}).update(session=session, own_machine=own, device=device)
        if not own and device is None and not _open_to_all(scope["path"]):
            with using_language(_language(scope, jar)):
                await _turn_away(scope, send)
            return
        seen = 0
        started = False

        async def limited() -> Message:
            nonlocal seen
            message = await receive()
            seen += len(message.get("body", b""))
            if seen > limit:
                raise _TooLargeError
            return message

        async def dressed(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                _dress(message, scope["path"], session if fresh else "")
                if _host_name(host) in LOOPBACK:
                    message["headers"].append(OPENER_POLICY)
            await send(message)

        try:
            with using_language(_language(scope, jar)), using_system(_system(jar)):
                await self.app(scope, limited, dressed)
        except _TooLargeError:
            if not started:
                await _refuse(
                    send,
                    413,
                    _("This is more than {limit} kB; send a smaller file.").format(limit=limit // 1024),
                )


def _cookies(scope: Scope) -> SimpleCookie:
    jar = SimpleCookie()
    try:
        jar.load(_header(scope, b"cookie"))
    except CookieError:
        jar = SimpleCookie()
    return jar


def _language(scope: Scope, jar: SimpleCookie) -> str:
    kept = jar.get(LANGUAGE_COOKIE)
    if kept is not None and kept.value in languages():
        return str(kept.value)
    return accepted(_header(scope, b"accept-language"))


def _system(jar: SimpleCookie) -> str:
    kept = jar.get(SYSTEM_COOKIE)
    return "" if kept is None else str(kept.value)


def language_of(request: Request) -> str:
    """Return the language of a request: what was chosen in Settings, else what the browser asks for."""
    return _language(request.scope, _cookies(request.scope))


def _session(jar: SimpleCookie) -> tuple[str, bool]:
    known = jar.get(SESSION_COOKIE)
    if known is not None and len(known.value) >= 32:
        return known.value, False
    return secrets.token_urlsafe(32), True


def _dress(message: MutableMapping[str, Any], path: str, new_session: str) -> None:
    headers = [*message.get("headers", []), *HEADERS]
    names = {name.lower() for name, _ in headers}
    if b"cache-control" not in names:
        headers.append((b"cache-control", b"no-cache" if path.startswith("/static/") else b"no-store"))
    if new_session:
        cookie = f"{SESSION_COOKIE}={new_session}; Path=/; HttpOnly; SameSite=Strict"
        headers.append((b"set-cookie", cookie.encode("latin-1")))
    message["headers"] = headers


def dress_fault(response: Response) -> Response:
    """Give an answer made outside the guard the same headers."""
    for name, value in HEADERS:
        response.headers[name.decode()] = value.decode()
    response.headers["cache-control"] = "no-store"
    return response


async def _turn_away(scope: Scope, send: Send) -> None:
    """Send a device that is not paired to the page where it can be."""
    told = _("This device is not paired with the bench; open the page on it and pair it first")
    if scope["path"].startswith("/api/"):
        body = json.dumps({"error": told}).encode()
        await _answer(send, 401, body, b"application/json")
    elif scope["method"] in ("GET", "HEAD"):
        await _answer(send, 303, b"", b"text/plain; charset=utf-8", (b"location", b"/pair"))
    else:
        await _refuse(send, 403, told + ".")


async def _refuse(send: Send, status: int, text: str) -> None:
    await _answer(send, status, text.encode(), b"text/plain; charset=utf-8")


async def _answer(send: Send, status: int, body: bytes, kind: bytes, *more: tuple[bytes, bytes]) -> None:
    headers = [(b"content-type", kind), (b"content-length", str(len(body)).encode())]
    headers += [(b"cache-control", b"no-store"), *more, *HEADERS]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
