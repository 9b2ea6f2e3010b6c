"""What every page needs: the store, templates, the person's choices, posted forms."""

from __future__ import annotations

import json
import logging
import secrets
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING, Annotated, Any, Final
from urllib.parse import quote, unquote

from fastapi import Depends, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from starlette.datastructures import UploadFile

from axlewright import __version__
from axlewright.errors import AxlewrightError
from axlewright.language import (
    Shown,
    chosen,
    n_,
    read_kept,
    script_words,
    sentence,
    whole_sentence,
    with_decimal_sign,
)
from axlewright.language import eager as _
from axlewright.language import eager_plural as plural
from axlewright.units import (
    MPS_PER_MPH,
    System,
    check_text,
    chosen_system,
    show_length,
    show_number,
    show_speed,
)
from axlewright.web.guard import form_token, token_fits
from axlewright.web.pairing import Pairing
from axlewright.web.texts import linked, when

if TYPE_CHECKING:
    from axlewright.records import JobStore

WHO_COOKIE: Final = "axlewright-who"
SHOP_COOKIE: Final = "axlewright-shop"
TOUR_COOKIE: Final = "axlewright-tour"
YEAR_S: Final = 365 * 24 * 3600
LIVE_HEADER: Final = "x-axlewright-live"
PROBLEM_HEADER: Final = "x-axlewright-problem"
LONGEST_NAME: Final = 200
LONGEST_FIELD: Final = 64 * 1024
"""Most characters of a posted field's name and text; outlines drawn by hand take the most room."""
NOBODY: Final = "bench"
"""Who enters something while nobody has given a name."""


SAID: Final[Mapping[str, str]] = MappingProxyType(
    {
        "started": n_("Job started"),
        "kept": n_("Kept"),
        "back": n_("Taken back; it stays in the record"),
        "waived": n_("Waived"),
        "reopened": n_("Open again"),
        "header": n_("Corrected; what stood there stays in the record"),
        "state": n_("State set"),
        "signed": n_("Signed"),
        "design": n_("Design kept"),
        "me": n_("Kept in this browser"),
        "shelf": n_("Put on the shelf"),
        "counted": n_("Counted"),
        "person": n_("Person entered"),
        "instrument": n_("Instrument kept"),
        "photos": n_("Photos kept"),
        "read-ok": n_("Read and kept: done"),
        "read-not-ok": n_("Read and kept: not ok"),
        "read-ask": n_("Read and kept; there is a question"),
        "forgotten": n_("Taken off the list"),
        "written": n_("Written down"),
    }
)
"""What a page may say after a form, by the code in its address; other texts in an address are not shown."""


ROOMS: Final = (
    ("/", n_("Bench")),
    ("/rolling", n_("Rolling")),
    ("/listen", n_("Listen")),
    ("/practice", n_("Practice")),
    ("/batch", n_("Batch")),
    ("/designs", n_("Designs")),
    ("/settings", n_("Settings")),
    ("/help", n_("Help")),
)
"""Rooms of the page in the order of the bar on top, by their addresses."""


class FormError(AxlewrightError):
    """A form that cannot be taken: no token, or not readable."""


@dataclass(slots=True)
class Warmth:
    """Whether the rolling kernels are compiled yet; they are warmed in the background.

    Attributes
    ----------
    ready : bool
    trouble : str
        One sentence when warming failed.
    """

    ready: bool = False
    trouble: str = ""
    _thread: threading.Thread | None = None

    def start(self, design: str = "TY-222") -> None:
        """Begin to warm, once."""
        if self._thread is None:
            self._thread = threading.Thread(target=self._warm, args=(design,), daemon=True, name="warm-up")
            self._thread.start()

    def _warm(self, design: str) -> None:
        try:
            import axlewright as aw
            import axlewright.setup  # so that the first step entered need not wait for it

            for flank in ("drive", "coast"):
                aw.roll(aw.load_design(design), flank)
        except Exception as error:  # whatever it was, the page says so and goes on
            logging.getLogger(__name__).exception("the rolling could not be prepared")
            self.trouble = str(error) or type(error).__name__
            return
        self.ready = True
        import axlewright.diagnosis
        import axlewright.pattern
        import axlewright.sheets


@dataclass(frozen=True, slots=True)
class Person:
    """Who looks at the page, by the choices kept in cookies.

    Attributes
    ----------
    name : str
        Empty while no name was given.
    system : {"inch", "metric"}
    shop : str
        Name on top of sheets.
    """

    name: str
    system: System
    shop: str

    @property
    def who(self) -> str:
        """Name written into the record."""
        return self.name or NOBODY


@dataclass(slots=True)
class Site:
    """What the pages share."""

    store: JobStore
    secret: bytes
    templates: Environment
    pairing: Pairing
    hosts: tuple[str, ...] = ()
    tour: Callable[[Request], Mapping[str, Any] | None] = field(default=lambda _request: None)
    warmth: Warmth = field(default_factory=Warmth)

    def show(
        self, request: Request, template: str, values: Mapping[str, Any], *, status: int = 200
    ) -> HTMLResponse:
        """Draw a page."""
        person = person_of(request)
        session = getattr(request.state, "session", "")
        own = bool(getattr(request.state, "own_machine", False))
        admitted = own or getattr(request.state, "device", None) is not None
        text = self.templates.get_template(template).render(
            {
                "token": form_token(self.secret, session),
                "key": secrets.token_hex(16),
                "person": person,
                "system": person.system,
                "path": request.url.path,
                "version": __version__,
                "said": _(SAID.get(request.query_params.get("said", ""), "")),
                "language": chosen(),
                "script_words": _as_json(script_words(chosen())),
                "rooms": ROOMS if admitted else (),
                "own_machine": own,
                "tour": self.tour(request) if admitted else None,
                **values,
            }
        )
        if 400 <= status < 500 and request.headers.get(LIVE_HEADER):
            # The page's own script shows the answer; to it a form to mend is no failure.
            return HTMLResponse(text, headers={PROBLEM_HEADER: str(status)})
        return HTMLResponse(text, status_code=status)


def make_templates() -> Environment:
    """Return the template environment; everything is escaped and unknown names are errors."""
    env = Environment(
        loader=PackageLoader("axlewright.web", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    env.globals["_"] = _
    env.globals["plural"] = plural
    env.globals["read_kept"] = read_kept
    env.globals["show_length"] = show_length
    env.globals["show_number"] = show_number
    env.globals["show_mph"] = lambda mph: show_speed(mph * MPS_PER_MPH)
    env.globals["number"] = lambda value, spec: format(Shown(value), spec)
    env.filters["decimals"] = with_decimal_sign
    env.filters["when"] = when
    env.filters["linked"] = linked
    env.filters["svg"] = Markup
    env.filters["sentence"] = sentence
    env.filters["kept"] = read_kept
    env.filters["whole"] = whole_sentence
    return env


def _as_json(words: Mapping[str, Any]) -> str:
    return json.dumps(dict(words), ensure_ascii=False, separators=(",", ":")) if words else ""


def site_of(request: Request) -> Site:
    """Return what the pages share."""
    site: Site = request.app.state.site
    return site


def person_of(request: Request) -> Person:
    """Return who looks, by the cookies."""
    return Person(
        unquote(request.cookies.get(WHO_COOKIE, ""))[:60].strip(),
        chosen_system(),
        unquote(request.cookies.get(SHOP_COOKIE, ""))[:80].strip(),
    )


def keep(response: RedirectResponse, name: str, value: str) -> None:
    """Keep a choice in a cookie for a year."""
    response.set_cookie(name, quote(value), max_age=YEAR_S, samesite="strict", httponly=True, path="/")


@dataclass(frozen=True, slots=True)
class Upload:
    """A posted file."""

    name: str
    data: bytes


@dataclass(frozen=True, slots=True)
class Posted:
    """A posted form whose token fits.

    Attributes
    ----------
    fields : mapping of str to str
        Without the token and the key.
    files : mapping of str to tuple of Upload
        Empty choices left out.
    key : str
        Idempotency key of the form.
    """

    fields: Mapping[str, str]
    files: Mapping[str, tuple[Upload, ...]]
    key: str

    def text(self, name: str) -> str:
        """Return a field without outer spaces."""
        return self.fields.get(name, "").strip()

    def whole(self, name: str, low: int = 0, high: int = 2**31 - 1) -> int | None:
        """Return a whole number from `low` to `high`; None when the field holds anything else."""
        text = self.text(name)
        digits = text[1:] if text[:1] in ("-", "+") else text
        if not (digits.isascii() and digits.isdecimal() and len(digits) <= 10):
            return None
        value = int(text)
        return value if low <= value <= high else None

    def but(self, *names: str) -> dict[str, str]:
        """Return the fields without some."""
        return {k: v for k, v in self.fields.items() if k not in names}


async def posted(request: Request) -> Posted:
    """Read a posted form and check its token.

    Raises
    ------
    FormError
    """
    site = site_of(request)
    fields: dict[str, str] = {}
    files: dict[str, tuple[Upload, ...]] = {}
    async with request.form(max_files=8, max_fields=400, max_part_size=512 * 1024) as form:
        for name, value in form.multi_items():
            if isinstance(value, UploadFile):
                data = await value.read()
                if data:
                    files[name] = (*files.get(name, ()), Upload(value.filename or "", data))
            else:
                fields[name] = _writable(name, value).replace("\r\n", "\n")
    token = fields.pop("token", "") or request.headers.get("x-axlewright-token", "")
    if not token_fits(site.secret, request.state.session, token):
        raise FormError(
            _("this form was made for another session"),
            where=_("form"),
            fix=_("load the page again and send it once more"),
        )
    return Posted(fields, files, fields.pop("key", "")[:80])


def _writable(name: str, text: str) -> str:
    """Return a posted text that can be kept and shown."""
    try:
        check_text(name, longest=LONGEST_NAME)
        check_text(text, where=name, longest=LONGEST_FIELD)
    except AxlewrightError as error:
        raise FormError(error.what, where=error.where or _("form"), fix=error.fix) from error
    return text


Form = Annotated[Posted, Depends(posted)]


def go(path: str, said: str = "", anchor: str = "") -> RedirectResponse:
    """Send the browser to a page after a post, with a word on what was done: a key of `SAID`."""
    if said:
        assert said in SAID, said
        path += ("&" if "?" in path else "?") + "said=" + quote(said)
    return RedirectResponse(path + (f"#{anchor}" if anchor else ""), status_code=303)
