"""Other devices get nothing but the pairing page until somebody at the page's own machine lets them in."""

from __future__ import annotations

import json
import re
import stat
from collections.abc import Iterator
from html import unescape
from io import BytesIO
from pathlib import Path

import pytest
import zxingcpp
from fastapi import FastAPI
from PIL import Image
from web_visitor import Caller

from axlewright.web import create_app
from axlewright.web.pairing import (
    DEVICE_COOKIE,
    DEVICES_FILE,
    INVITATION_S,
    TRIES_ALL,
    TRIES_EACH,
    UNUSED_S,
    Pairing,
    PairingError,
    is_own_machine,
)
from axlewright.web.pairing_pages import own_addresses

LAPTOP = "192.0.2.1"  # addresses for documentation, RFC 5737
PHONE = "192.0.2.7"


@pytest.fixture
def app(tmp_path: Path) -> Iterator[FastAPI]:
    made = create_app(tmp_path / "records", hosts=(LAPTOP, "bench-laptop.local"))
    yield made
    made.state.site.store.close()


def device(app: FastAPI, address: str = PHONE) -> Caller:
    return Caller(app, f"http://{LAPTOP}:8420", address, follow=False)


def laptop(app: FastAPI) -> Caller:
    return Caller(app, "http://127.0.0.1:8420", "127.0.0.1")


def token(page: str) -> str:
    return re.search(r'name="token" value="([0-9a-f]{64})"', page)[1]


def press(one: Caller, path: str, form: str, **fields: str) -> str:
    answer = one.post(path, data={"token": token(one.get(form).text), **fields})
    assert answer.status_code in (200, 303), answer.text
    return answer.text


def pin_of(page: str) -> str:
    return re.search(r'class="pin">(\d{3} \d{3})<', page)[1]


@pytest.mark.parametrize(
    "path",
    ["/", "/settings", "/jobs/1", "/jobs/1/sheet.pdf", "/designs/TY-222/file.toml", "/help", "/static"],
)
def test_a_device_that_is_not_paired_is_sent_to_the_pairing_page(app: FastAPI, path: str) -> None:
    answer = device(app).get(path)
    assert answer.status_code == 303
    assert answer.headers["location"] == "/pair"
    assert answer.headers["content-security-policy"]


def test_it_can_neither_ask_the_programs_addresses_nor_post(app: FastAPI) -> None:
    phone = device(app)
    for path in ("/api/roll?design=TY-222", "/api/ready", "/api/teeth?design=TY-222"):
        answer = phone.get(path)
        assert answer.status_code == 401
        assert "not paired" in answer.json()["error"]
    sent = {"token": token(phone.get("/pair").text), "vehicle": "x", "design": "TY-222"}
    assert phone.post("/jobs/new", data=sent).status_code == 403
    assert "Nothing on the bench yet" in laptop(app).get("/").text


def test_what_the_request_claims_does_not_count(app: FastAPI) -> None:
    phone = device(app)
    for headers in ({"host": "127.0.0.1:8420"}, {"x-forwarded-for": "127.0.0.1"}):
        assert phone.get("/", headers=headers).status_code == 303


def test_the_pairing_page_and_its_style_are_there_without_the_rooms(app: FastAPI) -> None:
    phone = device(app)
    page = phone.get("/pair")
    assert page.status_code == 200
    assert "Pair this device" in page.text
    assert "<nav" not in page.text
    assert phone.get("/static/page.css").status_code == 200
    assert phone.get("/static/../settings").status_code in (303, 404)
    assert phone.get("/static/%2e%2e/%2e%2e/guard.py").status_code == 404


def test_only_the_own_machine_sees_codes_and_the_list(app: FastAPI) -> None:
    here = laptop(app)
    shown = press(here, "/settings/devices/invite", "/settings/devices")
    pin = pin_of(shown)
    phone = device(app)
    press(phone, "/pair", "/pair", code=pin, device="phone of bench two")
    assert phone.get("/settings").status_code == 200
    assert "Phones and tablets" not in phone.get("/settings").text
    assert phone.get("/settings/devices").status_code == 403
    sent = {"token": token(phone.get("/settings").text)}
    for path in ("invite", "end", "forget"):
        assert phone.post(f"/settings/devices/{path}", data=sent).status_code == 403
    assert app.state.site.pairing.invitation() is None


def test_a_typed_pin_lets_one_device_in_once(app: FastAPI) -> None:
    here, phone, other = laptop(app), device(app), device(app, "192.0.2.8")
    pin = pin_of(press(here, "/settings/devices/invite", "/settings/devices"))
    answer = phone.post(
        "/pair", data={"token": token(phone.get("/pair").text), "code": pin, "device": "phone of bench two"}
    )
    assert answer.status_code == 303
    cookie = answer.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    assert phone.get("/").status_code == 200
    assert phone.get("/api/ready").status_code == 200
    assert "phone of bench two" in here.get("/settings/devices").text
    late = other.post("/pair", data={"token": token(other.get("/pair").text), "code": pin})
    assert late.status_code == 422
    assert "no code holds" in late.text


def test_the_square_holds_the_link_and_the_link_lets_in_by_a_button(app: FastAPI, tmp_path: Path) -> None:
    page = press(laptop(app), "/settings/devices/invite", "/settings/devices")
    svg = re.search(r'<svg role="img".*?</svg>', page, re.DOTALL)[0]
    (found,) = zxingcpp.read_barcodes(drawn(svg))
    assert re.fullmatch(rf"http://{re.escape(LAPTOP)}:8420/pair\?code=[\w-]{{24}}", found.text)
    phone = device(app)
    assert f"http://{LAPTOP}:8420/pair" in unescape(page)
    opened = phone.get(found.text).text
    assert phone.get("/").status_code == 303, "opening the link alone lets nobody in"
    code = re.search(r'name="code" value="([^"]+)"', opened)[1]
    answer = phone.post("/pair", data={"token": token(opened), "code": code, "device": ""})
    assert answer.status_code == 303
    assert phone.get("/").status_code == 200
    assert "a device without a name" in laptop(app).get("/settings/devices").text


def drawn(svg: str) -> Image.Image:
    """Draw the squares of a code as its path says: runs of M x y, m dx dy, h length."""
    size = int(re.search(r'viewBox="0 0 (\d+) \d+"', svg)[1])
    path = re.search(r'stroke="#000"[^>]*? d="([^"]+)"|d="([^"]+)"[^>]*stroke="#000"', svg)
    scale = re.search(r"scale\((\d+)\)", svg)
    unit = int(scale[1]) if scale else 1
    picture = Image.new("L", (size, size), 255)
    x = y = 0.0
    for command, numbers in re.findall(r"([Mmh])([-\d. ]+)", path[1] or path[2]):
        values = [float(v) for v in numbers.split()]
        if command == "M":
            x, y = values
        elif command == "m":
            x, y = x + values[0], y + values[1]
        else:
            box = [x * unit, (y - 0.5) * unit, (x + values[0]) * unit - 1, (y + 0.5) * unit - 1]
            picture.paste(0, tuple(int(v) for v in (box[0], box[1], box[2] + 1, box[3] + 1)))
            x += values[0]
    out = BytesIO()
    picture.save(out, "PNG")
    return Image.open(out)


def test_wrong_codes_are_counted_for_each_device(app: FastAPI) -> None:
    pin = pin_of(press(laptop(app), "/settings/devices/invite", "/settings/devices"))
    wrong = "000000" if pin != "000 000" else "111111"
    phone, other = device(app), device(app, "192.0.2.8")
    sent = {"token": token(phone.get("/pair").text), "device": ""}
    for _try in range(TRIES_EACH):
        assert "not right" in phone.post("/pair", data={**sent, "code": wrong}).text
    refused = phone.post("/pair", data={**sent, "code": pin})
    assert refused.status_code == 422
    assert "too many wrong codes" in refused.text
    sent = {"token": token(other.get("/pair").text), "device": ""}
    assert other.post("/pair", data={**sent, "code": pin}).status_code == 303


def test_many_wrong_codes_from_many_places_end_the_code(tmp_path: Path) -> None:
    pairing = Pairing(tmp_path)
    held = pairing.invite()
    wrong = "x" * 6
    for index in range(TRIES_ALL):
        with pytest.raises(PairingError, match="not right"):
            pairing.pair(wrong, "", f"192.0.2.{index}")
    with pytest.raises(PairingError, match="no code holds"):
        pairing.pair(held.pin, "", "192.0.2.200")


def test_a_code_holds_for_some_minutes(tmp_path: Path) -> None:
    now = [1000.0]
    pairing = Pairing(tmp_path, lambda: now[0])
    held = pairing.invite()
    now[0] += INVITATION_S
    assert pairing.invitation() is None
    with pytest.raises(PairingError, match="no code holds"):
        pairing.pair(held.pin, "", PHONE)
    again = pairing.invite()
    now[0] += INVITATION_S - 1.0
    assert pairing.pair(f"{again.pin[:3]} {again.pin[3:]}", "tablet", PHONE)


def test_a_new_code_ends_the_one_before(tmp_path: Path) -> None:
    pairing = Pairing(tmp_path)
    first, second = pairing.invite(), pairing.invite()
    with pytest.raises(PairingError):
        pairing.pair(first.key, "", PHONE)
    assert pairing.pair(second.key, "", PHONE)


def test_a_device_stays_paired_over_a_restart_until_it_is_taken_off(tmp_path: Path) -> None:
    first = create_app(tmp_path / "records", hosts=(LAPTOP,))
    pin = pin_of(press(laptop(first), "/settings/devices/invite", "/settings/devices"))
    phone = device(first)
    press(phone, "/pair", "/pair", code=pin, device="grey slate")
    key = phone.cookies[DEVICE_COOKIE]
    first.state.site.store.close()

    again = create_app(tmp_path / "records", hosts=(LAPTOP,))
    phone = device(again)
    phone.cookies.set(DEVICE_COOKIE, key)
    assert phone.get("/").status_code == 200
    here = laptop(again)
    page = here.get("/settings/devices").text
    uid = re.search(r'name="uid" value="([0-9a-f]{16})"', page)[1]
    left = press(here, "/settings/devices/forget", "/settings/devices", uid=uid)
    assert "Taken off the list" in left
    assert "grey slate" not in left
    assert phone.get("/").status_code == 303
    assert phone.get("/api/ready").status_code == 401
    gone = here.post("/settings/devices/forget", data={"token": token(page), "uid": uid})
    assert gone.status_code == 422
    again.state.site.store.close()


def test_a_device_that_was_away_too_long_is_asked_again(tmp_path: Path) -> None:
    now = [1000.0]
    pairing = Pairing(tmp_path, lambda: now[0])
    key = pairing.pair(pairing.invite().pin, "tablet", PHONE)
    now[0] += UNUSED_S - 1.0
    assert pairing.known(key) is not None
    now[0] += UNUSED_S - 1.0
    assert pairing.known(key) is not None, "each visit counts"
    now[0] += UNUSED_S
    assert pairing.known(key) is None
    assert pairing.devices() == ()


def test_the_list_is_for_its_owner_and_holds_no_key(tmp_path: Path) -> None:
    pairing = Pairing(tmp_path)
    key = pairing.pair(pairing.invite().pin, "tablet", PHONE)
    path = tmp_path / DEVICES_FILE
    assert stat.S_IMODE(path.stat().st_mode) & 0o077 == 0
    assert key not in path.read_text()
    assert [one["name"] for one in json.loads(path.read_text())] == ["tablet"]
    path.write_text("{broken")
    assert Pairing(tmp_path).known(key) is None


@pytest.mark.parametrize("key", ["", "x", "ß", "0" * 43])
def test_other_keys_let_nobody_in(tmp_path: Path, key: str) -> None:
    pairing = Pairing(tmp_path)
    pairing.pair(pairing.invite().pin, "tablet", PHONE)
    assert pairing.known(key) is None


@pytest.mark.parametrize(
    ("client", "server", "own"),
    [
        ("127.0.0.1", "", True),
        ("127.9.9.9", "", True),
        ("::1", "", True),
        ("::ffff:127.0.0.1", "", True),
        (LAPTOP, LAPTOP, True),
        (PHONE, LAPTOP, False),
        ("::ffff:192.0.2.7", "", False),
        ("", "", False),
        ("localhost", "", False),
    ],
)
def test_what_is_the_own_machine(client: str, server: str, own: bool) -> None:
    assert is_own_machine(client, server) is own


def test_addresses_to_ask_are_given_by_number_first() -> None:
    hosts = ("bench-laptop", "bench-laptop.local", "0.0.0.0", "127.0.1.1", LAPTOP, "2001:db8::1")
    assert own_addresses(hosts, 8420) == [
        f"http://{LAPTOP}:8420",
        "http://bench-laptop.local:8420",
        "http://bench-laptop:8420",
        "http://[2001:db8::1]:8420",
    ]
    assert own_addresses((LAPTOP,), 80) == [f"http://{LAPTOP}"]


def test_without_other_names_no_code_is_offered(tmp_path: Path) -> None:
    app = create_app(tmp_path / "records")
    page = laptop(app).get("/settings/devices").text
    assert "axlewright serve --host 0.0.0.0" in page
    assert "Make a code" not in page
    app.state.site.store.close()


@pytest.mark.parametrize(
    ("path", "headers", "status"),
    [
        ("/api/roll?design=TY-222&torque=9", {"site": "cross-site", "mode": "no-cors", "dest": "image"}, 403),
        (
            "/api/roll?design=TY-222&torque=9",
            {"site": "cross-site", "mode": "navigate", "dest": "document"},
            403,
        ),
        ("/rolling?torque=9", {"site": "same-site", "mode": "no-cors", "dest": "image"}, 403),
        ("/rolling?torque=9", {"site": "cross-site", "mode": "navigate", "dest": "iframe"}, 403),
        ("/designs", {"site": "cross-site", "mode": "navigate", "dest": "document"}, 200),
        ("/designs", {"site": "none", "mode": "navigate", "dest": "document"}, 200),
        ("/api/ready", {"site": "same-origin", "mode": "cors", "dest": "empty"}, 200),
        ("/api/ready", {}, 200),
    ],
)
def test_other_sites_cannot_make_this_machine_compute(
    app: FastAPI, path: str, headers: dict[str, str], status: int
) -> None:
    sent = {f"sec-fetch-{name}": value for name, value in headers.items()}
    assert laptop(app).get(path, headers=sent).status_code == status
