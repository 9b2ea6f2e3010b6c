"""Texts too long or too odd for a field: the page answers at once with a sentence and goes on serving."""

from __future__ import annotations

from urllib.parse import urlencode

import httpx
import pytest
from web_visitor import Visitor

from axlewright.web.guard import LONGEST_COOKIES, LONGEST_QUERY
from axlewright.web.page import LONGEST_FIELD

# Both held the process for good before: no answer in 75 s.
TORQUE_THAT_HELD = "1 (" + " " * 6000 + "x"
LENGTH_THAT_HELD = "5 a" + " " * 49_990 + "x"
SHORT_ENOUGH = "5 a" + " " * (LONGEST_QUERY - 400) + "x"


def test_a_preload_torque_of_6000_spaces_is_answered_at_its_field(visitor: Visitor) -> None:
    number = visitor.start_job()
    page = visitor.post(
        f"/jobs/{number}/steps/preload",
        {"bearings": "new", "kind": "sleeve", "torque": TORQUE_THAT_HELD},
        status=422,
    )
    assert "characters are too many" in page
    assert "shorten it to 200" in page
    assert TORQUE_THAT_HELD in page  # nothing typed is lost
    visitor.get("/")


def test_a_study_link_too_long_is_answered_with_a_sentence(client: httpx.Client) -> None:
    answer = client.get("/batch/study?" + urlencode({"design": "TY-222", "pinion_out_mm": LENGTH_THAT_HELD}))
    assert answer.status_code == 414
    assert "too long" in answer.text
    assert client.get("/").status_code == 200


@pytest.mark.parametrize("headers", [{}, {"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate"}])
def test_a_length_too_long_in_a_link_is_refused_before_it_is_read(
    client: httpx.Client, headers: dict[str, str]
) -> None:
    link = "/batch/study?" + urlencode({"design": "TY-222", "pinion_out_mm": SHORT_ENOUGH})
    answer = client.get(link, headers=headers)
    assert answer.status_code == 422
    assert "characters are too many" in answer.text


def test_cookies_too_long_are_refused(client: httpx.Client) -> None:
    answer = client.get("/", headers={"cookie": "a=" + "\\" * LONGEST_COOKIES})
    assert answer.status_code == 414
    assert "cookies" in answer.text


def test_a_posted_text_beyond_the_limit_is_refused_by_name(visitor: Visitor) -> None:
    page = visitor.post("/jobs/new", {"vehicle": "v" * (LONGEST_FIELD + 1), "design": "TY-222"}, status=422)
    assert "vehicle" in page
    assert f"{LONGEST_FIELD}" in page


def test_halves_of_characters_are_refused(visitor: Visitor) -> None:
    body = (
        f'--b\r\nContent-Disposition: form-data; name="token"\r\n\r\n{visitor.token()}\r\n'
        '--b\r\nContent-Disposition: form-data; name="design"\r\n\r\nTY-222\r\n'
        '--b\r\nContent-Disposition: form-data; name="vehicle"\r\n\r\n+2AA-\r\n--b--\r\n'
    )
    # In UTF-7 a lone half of a character can be sent.
    answer = visitor.client.post(
        "/jobs/new", content=body, headers={"content-type": "multipart/form-data; charset=utf-7; boundary=b"}
    )
    assert answer.status_code == 422
    assert "damaged characters" in answer.text
