"""Pairing: the page a device sees before it is let in, and the list on the page's own machine."""

from __future__ import annotations

import ipaddress
from datetime import UTC, datetime
from math import ceil
from time import time
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.exceptions import HTTPException

from axlewright.errors import InputError
from axlewright.language import eager as _
from axlewright.web.guard import LOOPBACK, client_of
from axlewright.web.page import NOT_REFUSED, YEAR_S, Form, Refused, go, shown_again, site_of
from axlewright.web.pairing import DEVICE_COOKIE, Invitation, is_own_machine

router = APIRouter()


def _pair_page(request: Request, code: str = "", refused: Refused = NOT_REFUSED) -> Response:
    values = {"code": code, "own": bool(request.state.own_machine), "device": request.state.device}
    return site_of(request).show(request, "pair.html", values, refused=refused)


@router.get("/pair", response_class=HTMLResponse)
def pair(request: Request, code: str = "") -> Response:
    """Show the form that lets this device in; the link behind the square fills it and lets nobody in."""
    return _pair_page(request, code[:60])


@router.post("/pair")
@shown_again(_pair_page)
def let_in(request: Request, form: Form) -> Response:
    """Let this device in when the code is right."""
    if request.state.own_machine or request.state.device is not None:
        return go("/")
    key = site_of(request).pairing.pair(form.text("code")[:60], form.text("device"), client_of(request.scope))
    answer = RedirectResponse("/", status_code=303)
    answer.set_cookie(DEVICE_COOKIE, key, max_age=YEAR_S, samesite="strict", httponly=True, path="/")
    return answer


def _only_here(request: Request) -> None:
    if not request.state.own_machine:
        raise HTTPException(403, _("Devices are let in and taken off on the page's own machine alone"))


def own_addresses(hosts: frozenset[str] | tuple[str, ...], port: int) -> list[str]:
    """Return the addresses other devices can ask, numbers of the own network first.

    Parameters
    ----------
    hosts : names and addresses the page is served under
    port : int
    """

    def rank(host: str) -> tuple[int, str]:
        try:
            address = ipaddress.ip_address(host)
        except ValueError:
            return (1 if host.endswith(".local") else 2, host)
        return (0 if address.version == 4 else 3, host)

    def useful(host: str) -> bool:
        return host not in LOOPBACK and host not in ("0.0.0.0", "::", "") and not is_own_machine(host)

    suffix = "" if port == 80 else f":{port}"
    return [
        f"http://[{host}]{suffix}" if ":" in host else f"http://{host}{suffix}"
        for host in sorted(filter(useful, hosts), key=rank)
    ]


def _square(link: str) -> str:
    import segno

    code = segno.make_qr(link, error="m")
    label = _("Square code with the link for the device")
    svg = code.svg_inline(scale=6, border=4, dark="#000", light="#fff", omitsize=True)
    return svg.replace("<svg ", f'<svg role="img" aria-label="{label}" ', 1)


@router.get("/settings/devices", response_class=HTMLResponse)
def devices(request: Request, at: int = 0) -> Response:
    """Show the code that holds, if one does, and the devices that are let in."""
    _only_here(request)
    site = site_of(request)
    server = request.scope.get("server") or ("", 0)
    addresses = own_addresses(site.hosts, int(server[1] or 0))
    held = site.pairing.invitation()
    values: dict[str, Any] = {"addresses": addresses, "held": held, "links": [], "square": "", "minutes": 0}
    if held is not None and addresses:
        values |= _shown(held, addresses, at)
    values["devices"] = [
        (
            one.uid,
            one.name,
            datetime.fromtimestamp(one.paired_at, UTC),
            datetime.fromtimestamp(one.seen_at, UTC),
        )
        for one in site.pairing.devices()
    ]
    return site.show(request, "devices.html", values)


def _shown(held: Invitation, addresses: list[str], at: int) -> dict[str, Any]:
    chosen = addresses[at] if 0 <= at < len(addresses) else addresses[0]
    link = f"{chosen}/pair?code={quote(held.key)}"
    return {
        "square": _square(link),
        "link": link,
        "plain": f"{chosen}/pair",
        "chosen": chosen,
        "minutes": max(1, ceil((held.until - time()) / 60.0)),
    }


@router.post("/settings/devices/invite")
def invite(request: Request, form: Form) -> Response:
    """Make a code for one device."""
    _only_here(request)
    site_of(request).pairing.invite()
    return go("/settings/devices", anchor="code")


@router.post("/settings/devices/end")
def end(request: Request, form: Form) -> Response:
    """Let the code hold no longer."""
    _only_here(request)
    site_of(request).pairing.end_invitation()
    return go("/settings/devices")


@router.post("/settings/devices/forget")
def forget(request: Request, form: Form) -> Response:
    """Take a device off the list; it is asked for a code from its next request on."""
    _only_here(request)
    if not site_of(request).pairing.forget(form.text("uid")[:40]):
        raise InputError(
            _("this device is not on the list"), where=_("devices"), fix=_("load the page again")
        )
    return go("/settings/devices", "forgotten")
