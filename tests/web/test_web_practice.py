"""Practice on the page: start, look, change, finish, and the class list."""

from __future__ import annotations

import re
from pathlib import Path

from web_visitor import Visitor


def start(visitor: Visitor, number: str = "3", level: str = "1") -> str:
    answer = visitor.client.post(
        "/practice",
        data={"token": visitor.token(), "design": "TY-222", "level": level, "number": number},
    )
    assert answer.status_code == 200
    return answer.url.path


def test_an_exercise_goes_from_complaint_to_the_truth(warm: Visitor) -> None:
    here = start(warm)
    page = ""
    for seen, kind in enumerate(("identity", "backlash", "roll", "listen", "ask")):
        page = warm.post(here, {"kind": kind, "seen": str(seen)})
    assert "Chance that this is the last teardown" in page
    needed = re.search(r"Make the spacer under the pinion head ([0-9.]+) in .*?(thicker|thinner)", page)
    assert needed
    ring = re.search(r"then move the ring gear ([0-9.]+) in .*?(away|closer)", page)
    amount = ("" if needed[2] == "thicker" else "-") + needed[1]
    page = warm.post(here, {"kind": "press", "amount_press": amount, "seen": "5"})
    if ring:
        amount = ("" if ring[2] == "away" else "-") + ring[1]
        page = warm.post(here, {"kind": "shim", "amount_shim": amount, "seen": "6"})
    page = warm.post(here, {"kind": "sign", "seen": "7" if ring else "6"})
    assert "Right. The clock stands at" in page
    assert "The pinion depth was wrong." in page
    assert "The best course there was" in page
    assert "about right" in page
    assert "✓ ended right" in warm.get("/practice")


def test_a_rolling_of_before_the_change_says_so(warm: Visitor) -> None:
    here = start(warm)
    warm.post(here, {"kind": "roll", "seen": "0"})
    page = warm.post(here, {"kind": "backlash", "seen": "1"})
    assert "rolled before the last change" not in page
    page = warm.post(here, {"kind": "press", "amount_press": "3 thou", "seen": "2"})
    assert "rolled before the last change" in page
    page = warm.post(here, {"kind": "roll", "seen": "3"})
    page = warm.post(here, {"kind": "backlash", "seen": "4"})
    assert "rolled before the last change" not in page


def test_the_truth_is_not_told_before_the_end(warm: Visitor) -> None:
    here = start(warm)
    warm.post(here, {"kind": "roll", "seen": "0"})
    page = warm.get(here)
    assert "What was true" not in page
    assert "The pinion sat" not in page


def test_a_choice_sent_twice_counts_once_and_a_stale_one_is_asked_about(warm: Visitor) -> None:
    here = start(warm)
    warm.post(here, {"kind": "backlash", "seen": "0"})
    assert "Clock: 0 h 12 min" in warm.post(here, {"kind": "backlash", "seen": "0"})
    stale = warm.post(here, {"kind": "press", "amount_press": "3 thou", "seen": "0"}, status=422)
    assert "in the meantime" in stale
    assert 'value="3 thou"' in stale


def test_what_is_missing_is_said_and_what_was_typed_stays(warm: Visitor) -> None:
    here = start(warm)
    shim = {"kind": "shim", "seen": "0"}
    assert "how far is missing" in warm.post(here, {**shim, "amount_shim": ""}, status=422)
    assert 'value="three"' in warm.post(here, {**shim, "amount_shim": "three"}, status=422)
    assert "nothing was chosen" in warm.post(here, {"kind": "dance", "seen": "0"}, status=422)
    wrong = warm.post("/practice", {"design": "TY-222", "level": "1", "number": "many"}, status=422)
    assert 'value="many"' in wrong
    assert "no such exercise" in warm.get("/practice/0123456789abcdef", status=422)


def test_a_damaged_file_takes_no_other_attempt_along(warm: Visitor, tmp_path: Path) -> None:
    here, broken = start(warm), start(warm, "4")
    (tmp_path / "records" / "practice" / f"{broken.rpartition('/')[2]}.json").write_text("{")
    listed = warm.get("/practice")
    assert here in listed
    assert broken not in listed
    assert "cannot be read" in warm.get(broken, status=422)


def test_the_end_says_why_the_ring_gear_stays_and_where_the_backlash_came_from(warm: Visitor) -> None:
    """The wrong way by 0.003 in crosses no limit of the pattern check; the page says what that is worth."""
    here = start(warm, "7", "2")
    warm.post(here, {"kind": "press", "amount_press": "3 thou", "seen": "0"})
    page = warm.post(here, {"kind": "sign", "seen": "1"})
    assert "Not right: this one comes back" in page
    assert "No limit of a pattern check is crossed" in page
    assert "it belongs at 0.00 ± 0.10" in page
    assert "is too near the edge to say" in page
    assert "from there the pinion sat −0.0028 in" in page
    assert "0.0060 in (0.152 mm) where this set was developed" in page
    assert "The ring gear may stay where it sits, +0.0039 in" in page
    assert "the backlash comes to 0.0088 in (0.223 mm), within 0.0047 in (0.120 mm) to 0.0094 in" in page
