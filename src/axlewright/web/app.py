"""The application: pages put together, errors shown, the server started."""

from __future__ import annotations

import socket
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager, suppress
from pathlib import Path

from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse, Response
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException

from axlewright import __version__
from axlewright.errors import AxlewrightError, InputError, MissingError
from axlewright.language import eager as _
from axlewright.language import using_language
from axlewright.web import (
    batch_pages,
    bench_pages,
    design_pages,
    help_pages,
    job_pages,
    listen_pages,
    pairing_pages,
    pattern_pages,
    practice_pages,
    rolling_pages,
    settings_pages,
    tour_pages,
)
from axlewright.web.guard import Guard, dress_fault, language_of, page_secret
from axlewright.web.page import Site, make_templates, site_of
from axlewright.web.pairing import Pairing

STATIC = Path(__file__).parent / "static"
DEFAULT_PORT = 8420


def create_app(
    store_folder: Path | str | None = None, database: str | None = None, *, hosts: Sequence[str] = ()
) -> FastAPI:
    """Return the application on a store.

    Parameters
    ----------
    store_folder : path, optional
        Folder of the records; see `axlewright.records.open_store`.
    database : str, optional
        Address of a PostgreSQL database.
    hosts : sequence of str
        Names under which the page may be asked, besides this machine's own.
    """
    from axlewright.records import open_store

    store = open_store(store_folder, database=database)
    site = Site(
        store,
        page_secret(store.folder),
        make_templates(),
        Pairing(store.folder),
        tuple(h for h in hosts if h),
        tour_pages.tour_of,
    )

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        site.warmth.start()
        yield
        store.close()

    app = FastAPI(
        title="axlewright",
        version=__version__,
        lifespan=lifespan,
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
    )
    app.state.site = site
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    for pages in (
        bench_pages,
        job_pages,
        pattern_pages,
        rolling_pages,
        design_pages,
        settings_pages,
        pairing_pages,
        help_pages,
        tour_pages,
        listen_pages,
        practice_pages,
        batch_pages,
    ):
        app.include_router(pages.router)
    app.add_exception_handler(AxlewrightError, _show_error)
    app.add_exception_handler(HTTPException, _show_http_error)
    app.add_exception_handler(Exception, _show_fault)
    app.add_middleware(Guard, pairing=site.pairing, hosts=tuple(hosts))
    return app


def _wants_json(request: Request) -> bool:
    return request.url.path.startswith("/api/")


async def _show_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, AxlewrightError)
    if _wants_json(request):
        return JSONResponse(
            {"error": str(error), "where": str(error.where), "fix": str(error.fix)}, status_code=422
        )
    missing = request.method == "GET" and isinstance(error, MissingError)
    return site_of(request).show(
        request,
        "error.html",
        {"what": str(error.what), "where": str(error.where), "fix": str(error.fix)},
        status=404 if missing else 422,
    )


async def _show_http_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    what = _("There is no such page") if error.status_code == 404 else str(error.detail)
    if _wants_json(request):
        return JSONResponse({"error": what}, status_code=error.status_code)
    return site_of(request).show(
        request,
        "error.html",
        {"what": what, "where": "", "fix": _("go back to the bench")},
        status=error.status_code,
    )


async def _show_fault(request: Request, _error: Exception) -> Response:
    """Say that the program failed; the server logs the trace. This answer is made outside the guard."""
    with using_language(language_of(request)):
        what = _("The program failed here; what you entered before is kept")
        if _wants_json(request):
            return dress_fault(JSONResponse({"error": what}, status_code=500))
        page = site_of(request).show(
            request, "error.html", {"what": what, "where": "", "fix": _("load the page again")}, status=500
        )
        return dress_fault(page)


def serve(
    host: str = "127.0.0.1",
    port: int = DEFAULT_PORT,
    *,
    store_folder: Path | str | None = None,
    database: str | None = None,
    open_at: str = "/",
) -> None:
    """Serve the page until stopped; prints the address once it answers.

    Parameters
    ----------
    host : str
        Address to listen on; this machine alone by default.
    port : int
        0 takes a free one.
    open_at : str
        Path printed with the address.
    """
    import uvicorn

    try:
        listening = _listen(host, port)
    except OSError as error:
        raise InputError(
            _("cannot listen on {host} port {port} ({reason})").format(
                host=host, port=port, reason=error.strerror or error
            ),
            where=_("page"),
            fix=_("stop what uses it, or choose another port"),
        ) from error
    with listening:
        hosts = _names(host)
        app = create_app(store_folder, database, hosts=hosts)
        shown = "127.0.0.1" if host in ("0.0.0.0", "") else "::1" if host == "::" else host
        shown = f"[{shown}]" if ":" in shown else shown
        print(f"The page is at http://{shown}:{listening.getsockname()[1]}/{open_at.lstrip('/')}", flush=True)
        if hosts:
            print(
                _("Other devices are let in with a code: open the page here, Settings, Phones and tablets."),
                flush=True,
            )
        config = uvicorn.Config(app, log_level="warning", server_header=False)
        uvicorn.Server(config).run(sockets=[listening])


def _listen(host: str, port: int) -> socket.socket:
    """Return a listening socket of the family the address belongs to."""
    found = socket.getaddrinfo(host or None, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)
    family = next((info[0] for info in found if info[0] == socket.AF_INET), found[0][0])
    return socket.create_server((host, port), family=family)


def _names(host: str) -> tuple[str, ...]:
    """Return the names under which a page that listens beyond this machine is asked."""
    if host in ("127.0.0.1", "localhost", "::1"):
        return ()
    own = socket.gethostname()
    names = {host, own, f"{own}.local"}
    with suppress(OSError):
        names |= {str(info[4][0]) for info in socket.getaddrinfo(own, None)}
    probe = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    try:
        probe.connect(
            ("192.0.2.1", 9)
        )  # sends nothing: asks which own address leads outward (RFC 5737 address)
        names.add(str(probe.getsockname()[0]))
    except OSError:
        pass
    finally:
        probe.close()
    return tuple(sorted(names))
