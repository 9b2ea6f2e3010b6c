"""The guided tour: a job of its own, hints that can be followed, filled in and ended."""

from __future__ import annotations

import re
from pathlib import Path

from web_visitor import Visitor

from axlewright.demo import scenario
from axlewright.records.steps import STEPS
from axlewright.web.tour_pages import BACKLASH, DEPTH, HINTS, VEHICLE


def press(visitor: Visitor, page: str, path: str, **fields: str) -> str:
    job = re.search(r'name="job" value="(\d+)"', page)
    return visitor.post(path, {**({"job": job[1]} if job else {}), "key": "0" * 32, **fields})


def test_the_tour_leads_through_a_job_of_its_own(warm: Visitor) -> None:
    page = press(warm, warm.get("/help"), "/tour")
    assert "Tour, 1 of 7" in page
    assert VEHICLE in page
    page = press(warm, page, "/tour/at", at="1")
    assert "Tour, 2 of 7: Pinion depth" in page
    page = press(warm, page, "/tour/fill", at="1", key="1" * 32)
    # 5.6230 - 1.2490 - (4.3125 + 0.002) = 0.0595: by hand.
    assert "= 0.0595 in" in page
    page = press(warm, page, "/tour/at", at="2")
    page = press(warm, page, "/tour/fill", at="2", key="2" * 32)
    assert "0.009" in page
    page = press(warm, page, "/tour/at", at="3")
    page = press(warm, page, "/tour/fill", at="3", key="3" * 32)
    assert "too far out" in page
    for at in range(4, len(HINTS)):
        page = press(warm, page, "/tour/at", at=str(at))
        assert f"Tour, {at + 1} of 7" in page
        assert 'id="problem"' not in page
    page = press(warm, page, "/tour/at", at=str(len(HINTS)))
    assert "Tour," not in page
    assert "Tour," not in warm.get("/")


def test_what_to_change_over_an_empty_pattern_step_offers_to_fill_it_in(warm: Visitor) -> None:
    page = press(warm, warm.get("/help"), "/tour")
    page = press(warm, page, "/tour/at", at="4")
    assert "Tour, 5 of 7: What to change" in page
    assert "No pattern was read yet" in page
    page = press(warm, page, "/tour/fill", at="4", key="4" * 32)
    assert "Tour, 5 of 7: What to change" in page
    assert "No pattern was read yet" not in page
    assert "Fill it in for me" not in page, "it is filled in"
    assert "What to do now" in page


def test_the_tour_leads_to_a_page_only_from_elsewhere(visitor: Visitor) -> None:
    page = press(visitor, visitor.get("/help"), "/tour")
    page = press(visitor, page, "/tour/at", at="1")
    hint = page[page.index('class="tourhint"') : page.index("</aside>")]
    assert "Go there" not in hint
    away = visitor.get("/designs")
    assert 'step=depth">Go there' in away[away.index('class="tourhint"') : away.index("</aside>")]


def test_the_tour_fills_in_no_other_job(visitor: Visitor) -> None:
    job = visitor.start_job()
    page = visitor.post("/tour/fill", {"job": str(job), "at": "1", "key": "0" * 32}, status=422)
    assert "no job of the tour" in page
    assert "5.6230" not in visitor.get(f"/jobs/{job}?step=depth")


def test_a_made_up_cookie_shows_no_hint(visitor: Visitor) -> None:
    for text in ("1.99", "x.1", "1", "1.x", "99999999999.1", "1.1.1"):
        visitor.client.cookies.set("axlewright-tour", text)
        assert "Tour," not in visitor.get("/designs")


def test_its_readings_are_those_of_the_demo_job() -> None:
    steps = dict(scenario.STEPS)
    assert DEPTH.items() <= steps["depth"].items()
    assert BACKLASH.items() <= steps["backlash"].items()


def test_every_step_of_a_job_has_its_reasons_in_help(visitor: Visitor) -> None:
    page = visitor.get("/help")
    anchors = set(re.findall(r'id="([^"]+)"', page))
    keys = {f"why-{step.key}" for step in STEPS}
    assert keys <= anchors
    job = visitor.start_job()
    visitor.post(f"/jobs/{job}/steps/as-found", {"spacer": "0.0559", "key": "0" * 32})
    shown = visitor.get(f"/jobs/{job}?step=as-found")
    assert 'href="/help#why-as-found"' in shown


def test_links_into_help_lead_somewhere(visitor: Visitor) -> None:
    folder = Path(__file__).parents[2] / "src" / "axlewright" / "web"
    anchors = set(re.findall(r'id="([^"]+)"', visitor.get("/help")))
    wanted = {
        name
        for path in [*folder.glob("templates/*.html"), *folder.glob("*.py")]
        for name in re.findall(r'/help#([a-z-]*[a-z])(?=["\s)])', path.read_text(encoding="utf-8"))
    }
    assert len(wanted) >= 3
    assert wanted <= anchors
