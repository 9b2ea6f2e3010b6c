"""Who may ask, what may be posted, and what the answers carry."""

from __future__ import annotations

import stat
import subprocess
import sys
from pathlib import Path

import httpx
import pytest
from web_visitor import served

from axlewright.web import create_app
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
