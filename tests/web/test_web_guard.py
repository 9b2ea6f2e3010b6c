"""Who may ask, what may be posted, and what the answers carry."""

from __future__ import annotations

import re
import socket
import stat
import subprocess
import sys
from pathlib import Path

import httpx
import pytest
from web_visitor import Visitor, served

from axlewright.web import create_app
from axlewright.web.app import _listen
from axlewright.web.guard import CONTENT_POLICY, LARGEST_FORM, SECRET_FILE, form_token, token_fits


def test_importing_the_page_loads_no_numerics() -> None:
    code = (
        "import sys, axlewright.web;"
        "print([m for m in ('numba', 'numpy', 'scipy', 'matplotlib', 'typst') if m in sys.modules])"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "[]"


@pytest.mark.parametrize("host", ["evil.example", "evil.example:8790", "127.0.0.1.evil.example"])
def test_other_names_are_refused(client: httpx.Client, host: str) -> None:
    assert client.get("/", headers={"host": host}).status_code == 400


def test_a_name_given_at_the_start_is_served(tmp_path: Path) -> None:
    app = create_app(tmp_path / "records", hosts=("bench-laptop",))
    with served(app) as base:
        port = base.rpartition(":")[2]
        assert httpx.get(base, headers={"host": f"bench-laptop:{port}"}).status_code == 200
        assert httpx.get(base, headers={"host": f"bench-laptop2:{port}"}).status_code == 400


def test_headers_forbid_scripts_and_frames_of_others(client: httpx.Client) -> None:
    answer = client.get("/")
    assert answer.headers["content-security-policy"] == CONTENT_POLICY
    assert "unsafe-inline" not in CONTENT_POLICY
    assert "unsafe-eval" not in CONTENT_POLICY
    assert answer.headers["x-frame-options"] == "DENY"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["cache-control"] == "no-store"
    cookie = answer.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie


def test_no_page_holds_inline_script_or_style() -> None:
    folder = Path(__file__).parents[2] / "src/axlewright/web/templates"
    pages = sorted(folder.glob("*.html"))
    assert len(pages) > 8
    for page in pages:
        text = page.read_text(encoding="utf-8")
        assert "<style" not in text, page.name
        assert " style=" not in text, page.name
        assert " onclick=" not in text, page.name
        for piece in text.split("<script")[1:]:
            assert "src=" in piece.split(">")[0], page.name


@pytest.mark.parametrize("token", ["", "0" * 64])
def test_a_form_without_its_token_changes_nothing(client: httpx.Client, token: str) -> None:
    client.get("/")
    answer = client.post("/jobs/new", data={"vehicle": "x", "design": "TY-222", "token": token})
    assert answer.status_code == 422
    assert "another session" in answer.text
    assert "Nothing on the bench yet" in client.get("/").text


def test_a_token_of_another_session_does_not_fit() -> None:
    secret = b"s" * 32
    assert token_fits(secret, "one", form_token(secret, "one"))
    assert not token_fits(secret, "two", form_token(secret, "one"))
    assert not token_fits(b"t" * 32, "one", form_token(secret, "one"))
    assert not token_fits(secret, "", form_token(secret, ""))


def test_a_form_of_another_site_is_refused(client: httpx.Client) -> None:
    answer = client.post("/jobs/new", data={}, headers={"origin": "http://evil.example"})
    assert answer.status_code == 403


def test_too_much_is_refused_announced_or_not(client: httpx.Client) -> None:
    big = b"a=" + b"x" * LARGEST_FORM
    kind = {"content-type": "application/x-www-form-urlencoded"}
    assert client.post("/jobs/new", content=big, headers=kind).status_code == 413
    # Sent in pieces, without a length.
    assert client.post("/jobs/new", content=iter([big[:100], big[100:]]), headers=kind).status_code == 413


def test_the_secret_is_for_its_owner_and_survives_a_restart(tmp_path: Path) -> None:
    create_app(tmp_path / "records").state.site.store.close()
    path = tmp_path / "records" / SECRET_FILE
    first = path.read_bytes()
    assert stat.S_IMODE(path.stat().st_mode) & 0o077 == 0
    again = create_app(tmp_path / "records")
    assert again.state.site.secret == first
    again.state.site.store.close()


@pytest.mark.parametrize("number", ["²", "٣", "9" * 5000, "-1", "1e3", ""])
def test_what_is_no_whole_number_is_refused_in_a_sentence(visitor: Visitor, number: str) -> None:
    job = visitor.start_job()
    for path, fields in (
        (f"/jobs/{job}/take-back", {"seq": number, "reason": "x"}),
        (f"/jobs/{job}/pattern/advice", {"seq": number, "taken": "yes"}),
        ("/settings/stock/move", {"item": number, "change": "1"}),
        ("/settings/stock/move", {"item": "1", "change": number}),
    ):
        assert 'id="problem"' in visitor.post(path, fields, status=422), path
    if number:
        fields = {"kind": "pinion spacer", "thickness": "0.0600", "count": number}
        assert "is not a count" in visitor.post("/settings/stock", fields, status=422)
        fields = {"supersedes": number, "heard": "whine", "when": "drive", "others_out": "yes"}
        visitor.post(f"/jobs/{job}/steps/complaint", fields, status=422)


def test_an_answer_to_no_advice_writes_nothing(visitor: Visitor) -> None:
    job = visitor.start_job()
    page = visitor.post(f"/jobs/{job}/pattern/advice", {"seq": "1", "taken": "yes"}, status=422)
    assert "has no advice 1" in page
    assert "Followed" not in visitor.get(f"/jobs/{job}?step=pattern")


def test_a_token_that_is_not_ascii_does_not_fit(visitor: Visitor) -> None:
    assert not token_fits(b"s" * 32, "one", "ß\ud800")
    answer = visitor.client.post("/jobs/new", data={"token": "ß" * 64, "vehicle": "x"})
    assert answer.status_code == 422


def test_an_address_cannot_put_words_on_the_page(client: httpx.Client) -> None:
    assert "Call this number" not in client.get("/?said=Call+this+number").text
    assert "Job started" in client.get("/?said=started").text


def test_a_fault_carries_the_same_headers(tmp_path: Path) -> None:
    app = create_app(tmp_path / "records")

    @app.get("/fault")
    def fault() -> None:
        raise RuntimeError("on purpose")

    with served(app) as base:
        answer = httpx.get(f"{base}/fault")
    assert answer.status_code == 500
    assert "on purpose" not in answer.text
    assert answer.headers["content-security-policy"] == CONTENT_POLICY
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["cache-control"] == "no-store"


def test_both_families_of_addresses_can_be_listened_on() -> None:
    with _listen("127.0.0.1", 0) as four:
        assert four.family == socket.AF_INET
    if not socket.has_ipv6:
        pytest.skip("no IPv6 here")
    try:
        with _listen("::1", 0) as six:
            assert six.family == socket.AF_INET6
    except OSError:
        pytest.skip("no IPv6 address here")


def test_forms_with_a_pin_are_never_kept_in_the_browser(visitor: Visitor) -> None:
    job = visitor.start_job()
    visitor.post("/settings/people", {"name": "bench one", "role": "admin", "pin": "4711"})
    seen = 0
    for path in (f"/jobs/{job}?step=close", f"/jobs/{job}?step=fits", "/settings"):
        for form in re.findall(r"<form.*?</form>", visitor.get(path), re.DOTALL):
            if 'type="password"' in form:
                seen += 1
                opening = form.partition(">")[0]
                assert "data-no-outbox" in opening
                assert "data-draft" not in opening
    assert seen >= 4


def test_signing_names_the_state_that_was_seen(visitor: Visitor) -> None:
    job = visitor.start_job()
    visitor.post("/settings/people", {"name": "bench one", "role": "lead", "pin": "4711"})
    fields = {"who": "bench one", "pin": "4711", "statement": "As written."}
    assert "which state" in visitor.post(f"/jobs/{job}/sign", fields, status=422)
    assert "Signed" not in visitor.get(f"/jobs/{job}?step=close")
