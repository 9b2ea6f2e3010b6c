"""A job through plain forms, without any script."""

from __future__ import annotations

import io
import re

from PIL import Image
from web_visitor import Visitor

DEPTH = {
    "place": "under_head",
    "carrier": "5.6255 5.6250 5.6254 5,6256 5.6255",
    "bearing": "1.2500 1.2500",
    "mounting_distance": "4.3125",
    "mark": "+2",
    "mark_unit": "0.001 in",
    "mark_meaning": "plus_means_larger_mounting_distance",
    "fitted": "0.0559",
}


def test_an_empty_bench_says_what_to_do(visitor: Visitor) -> None:
    page = visitor.get("/")
    assert "Nothing on the bench yet" in page
    assert 'href="/jobs/new"' in page


def test_a_job_is_started_once_for_one_form(visitor: Visitor) -> None:
    fields = {"vehicle": "milk lorry", "design": "TY-222", "key": "0123456789abcdef0123456789abcdef"}
    visitor.post("/jobs/new", fields)
    visitor.post("/jobs/new", fields)
    assert len(set(re.findall(r'href="/jobs/(\d+)"', visitor.get("/")))) == 1


def test_a_job_needs_a_vehicle_and_keeps_what_was_typed(visitor: Visitor) -> None:
    page = visitor.post(
        "/jobs/new", {"vehicle": " ", "design": "TY-222", "complaint": "howls <b>"}, status=422
    )
    assert "say what stands on the lift" in page
    assert "howls &lt;b&gt;" in page


def test_depth_shows_sum_verdict_and_drawing(visitor: Visitor) -> None:
    number = visitor.start_job()
    page = visitor.post(f"/jobs/{number}/steps/depth", DEPTH)
    assert "5.6254 − 4.3125 − 1.2500 − 0.0020 = 0.0609 in" in page
    assert "too far out" in page
    assert "if plus meant the opposite" in page
    assert 'aria-label="Section through the pinion' in page
    assert "(a default, not this axle&#39;s data)" in page or "(a default, not this axle's data)" in page


def test_something_wrong_stays_at_its_field_with_what_was_typed(visitor: Visitor) -> None:
    number = visitor.start_job()
    page = visitor.post(f"/jobs/{number}/steps/depth", {**DEPTH, "carrier": "5.62x"}, status=422)
    assert 'id="problem"' in page
    assert "5.62x" in page
    assert 'href="#f-carrier"' in page
    assert "Nothing was kept" in page
    # To the page's own script the same answer is no failure.
    live = visitor.client.post(
        f"/jobs/{number}/steps/depth",
        data={"token": visitor.token(), **DEPTH, "carrier": "5.62x"},
        headers={"x-axlewright-live": "1"},
    )
    assert live.status_code == 200
    assert live.headers["x-axlewright-problem"] == "422"


def test_unusual_numbers_offer_the_box_to_confirm(visitor: Visitor) -> None:
    number = visitor.start_job()
    fields = {"readings": "6 7 6 7", "axle": "light"}
    page = visitor.post(f"/jobs/{number}/steps/backlash", fields, status=422)
    assert 'name="really"' in page
    kept = visitor.post(f"/jobs/{number}/steps/backlash", {**fields, "really": "yes"})
    assert "6.0000 in" in kept


def test_two_benches_are_given_a_choice(visitor: Visitor) -> None:
    number = visitor.start_job()
    found = re.search(r'name="head" value="([0-9a-f]+)"', visitor.get(f"/jobs/{number}?step=depth"))
    assert found is not None
    stale = {**DEPTH, "head": found[1]}
    visitor.post(f"/jobs/{number}/steps/depth", {**stale, "key": "a1"})
    page = visitor.post(f"/jobs/{number}/steps/depth", {**stale, "key": "a2"}, status=409)
    assert "What you typed is still below" in page
    fresh = re.search(r'name="head" value="([0-9a-f]+)"', page)
    assert fresh is not None
    assert fresh[1] != found[1]
    visitor.post(f"/jobs/{number}/steps/depth", {**stale, "head": fresh[1], "key": "a2"})
    assert visitor.get(f"/jobs/{number}?step=depth").count("Correct it") == 2


def test_correcting_and_taking_back(visitor: Visitor) -> None:
    number = visitor.start_job()
    visitor.post(f"/jobs/{number}/steps/depth", DEPTH)
    page = visitor.get(f"/jobs/{number}?step=depth")
    seq = re.search(r"correct=(\d+)", page)
    assert seq is not None
    form = visitor.get(f"/jobs/{number}?step=depth&correct={seq[1]}")
    assert "5,6256" in form, "what was typed is filled in again"
    page = visitor.post(f"/jobs/{number}/steps/depth", {**DEPTH, "fitted": "0.0609", "supersedes": seq[1]})
    assert "1 earlier reading(s) superseded" in page
    assert re.search(r"<s>where the shim sits [^<]*carrier[^<]*</s>", page), (
        "struck out, and still to be read"
    )
    assert "replaced by entry" in page
    seq = re.search(r"correct=(\d+)", page)
    assert seq is not None
    page = visitor.post(f"/jobs/{number}/take-back", {"seq": seq[1], "step": "depth", "reason": "wrong axle"})
    assert "Taken back" in page
    assert "taken back: wrong axle" in page
    assert "Reason: wrong axle" in page, "shown where no reading stands any more as well"
    assert "2 earlier reading(s) superseded" in page


def test_units_follow_the_person(visitor: Visitor) -> None:
    number = visitor.start_job()
    visitor.post("/settings/me", {"who": "bench two", "system": "metric", "shop": "Thistledown Yard"})
    fields = {"readings": "0,15 0,17 0,16 0,18", "axle": "light", "stem": "in_rotation"}
    page = visitor.post(f"/jobs/{number}/steps/backlash", fields)
    assert "0.180 − 0.150 = 0.030 mm" in page
    assert "bench two" in page


def test_waiving_needs_a_reason_and_people_a_pin(visitor: Visitor) -> None:
    number = visitor.start_job()
    visitor.post(f"/jobs/{number}/waive", {"step": "as-found", "reason": ""}, status=422)
    page = visitor.post(f"/jobs/{number}/waive", {"step": "as-found", "reason": "gears came in a box"})
    assert "Waived" in page
    visitor.post("/settings/people", {"name": "bench one", "role": "admin", "pin": "4711"})
    fields = {"step": "fits", "reason": "new case", "who": "bench one"}
    visitor.post(f"/jobs/{number}/waive", {**fields, "pin": "0000"}, status=422)
    visitor.post(f"/jobs/{number}/waive", {**fields, "pin": "4711"})


def test_signing_closes_the_job(visitor: Visitor) -> None:
    number = visitor.start_job()
    visitor.post("/settings/people", {"name": "bench one", "role": "lead", "pin": "4711"})
    page = visitor.get(f"/jobs/{number}?step=close")
    assert "Sign and close the job" in page
    head = re.search(r'name="head" value="([0-9a-f]+)"', page)
    assert head is not None
    assert "10 steps are not done:" in page
    assert page.index("10 steps are not done:") < page.index('id="s-pin"'), "said above the PIN"
    fields = {"who": "bench one", "pin": "4711", "statement": "Set up as written.", "head": head[1]}
    page = visitor.post(f"/jobs/{number}/sign", fields, status=422)
    assert "not ticked that you sign all the same" in page
    assert 'value="Set up as written."' in page
    page = visitor.post(f"/jobs/{number}/sign", {**fields, "although": "sold for parts"}, status=422)
    assert 'value="sold for parts"' in page
    page = visitor.post(f"/jobs/{number}/sign", {**fields, "despite": "yes"}, status=422)
    assert re.search(r'id="f-although"[^>]* autofocus', page)
    assert re.search(r'name="despite" value="yes" checked', page)
    fields |= {"despite": "yes", "although": "sold for parts"}
    page = visitor.post(f"/jobs/{number}/sign", fields)
    assert "Signed" in page
    assert "Signed with 10 steps open: Complaint and road test (open)" in page
    assert "Reason: sold for parts" in page
    assert "closed" in visitor.get("/")


def signed_off(visitor: Visitor) -> int:
    """Return a job that was signed and closed by its only person, PIN 4711, with all its steps open."""
    number = visitor.start_job()
    visitor.post("/settings/people", {"name": "bench one", "role": "lead", "pin": "4711"})
    head = re.search(r'name="head" value="([0-9a-f]+)"', visitor.get(f"/jobs/{number}?step=close"))
    assert head is not None
    fields = {"who": "bench one", "pin": "4711", "statement": "Seen.", "head": head[1]}
    visitor.post(f"/jobs/{number}/sign", {**fields, "despite": "yes", "although": "sold for parts"})
    return number


def test_a_closed_job_says_so_and_takes_entries_only_after_it_was_opened_again(visitor: Visitor) -> None:
    number = signed_off(visitor)
    page = visitor.get(f"/jobs/{number}?step=depth")
    assert "This job is signed and closed." in page
    assert "outside the signature" in page
    for form in ("/steps/depth", "/waive", "/pictures", "/take-back"):
        assert f'action="/jobs/{number}{form}"' not in page
    page = visitor.post(f"/jobs/{number}/steps/depth", DEPTH, status=422)
    assert "the job is closed" in page
    assert "5,6256" in page, "what was typed stays"
    fields = {"step": "depth", "who": "bench one", "pin": "1111", "reopen": "a leak after all"}
    page = visitor.post(f"/jobs/{number}/reopen", fields, status=422)
    assert 'value="a leak after all"' in page
    assert re.search(r'id="o-pin"[^>]* autofocus', page)
    visitor.post(f"/jobs/{number}/reopen", {**fields, "pin": "4711", "reopen": ""}, status=422)
    page = visitor.post(f"/jobs/{number}/reopen", {**fields, "pin": "4711"})
    assert "signed and closed" not in page
    visitor.post(f"/jobs/{number}/steps/depth", DEPTH)


def test_a_job_is_corrected_stopped_and_dropped_under_more(visitor: Visitor) -> None:
    number = visitor.start_job()
    header = {"vehicle": "hay lorry", "complaint": "", "set_number": "4471", "reference": "", "step": "depth"}
    page = visitor.post(f"/jobs/{number}/header", header, status=422)
    assert "no reason given" in page
    assert 'value="hay lorry"' in page, "what was typed stays"
    page = visitor.post(f"/jobs/{number}/header", {**header, "reason": "misheard"})
    assert f"Job {number}: hay lorry" in page
    assert "vehicle: “milk lorry, rear” became “hay lorry”" in page
    assert "Reason: misheard" in page
    state = {"state": "stopped", "step": "depth"}
    assert "no reason given" in visitor.post(f"/jobs/{number}/state", state, status=422)
    page = visitor.post(f"/jobs/{number}/state", {**state, "reason": "bearing on order"})
    assert "This job is stopped." in page
    assert "Bearing on order." in page
    visitor.post(f"/jobs/{number}/steps/depth", DEPTH)
    page = visitor.post(f"/jobs/{number}/state", {"state": "dropped", "reason": "sold for parts"})
    assert "This job was dropped." in page
    assert f'action="/jobs/{number}/steps/complaint"' not in page
    assert "the job was dropped" in visitor.post(f"/jobs/{number}/steps/depth", DEPTH, status=422)
    page = visitor.post(f"/jobs/{number}/state", {"state": "open", "reason": "bought back"})
    assert "was dropped" not in page
    assert f'action="/jobs/{number}/steps/complaint"' in page


def test_a_wrong_pin_leaves_the_form_and_what_was_typed(visitor: Visitor) -> None:
    number = visitor.start_job()
    visitor.post("/settings/people", {"name": "bench one", "role": "lead", "pin": "4711"})
    head = re.search(r'name="head" value="([0-9a-f]+)"', visitor.get(f"/jobs/{number}?step=close"))
    assert head is not None
    fields = {"who": "bench one", "pin": "2580", "statement": "Seen and heard.", "head": head[1]}
    fields |= {"despite": "yes", "although": "sold for parts"}
    page = visitor.post(f"/jobs/{number}/sign", fields, status=422)
    assert "the PIN is wrong" in page
    for kept in ('value="Seen and heard."', 'value="sold for parts"', "<option selected>bench one"):
        assert kept in page
    assert page.count(" autofocus") == 1
    assert re.search(r'id="s-pin"[^>]* autofocus', page)
    assert "2580" not in page
    page = visitor.post(f"/jobs/{number}/sign", {**fields, "pin": "4711"})
    assert "Signed with 10 steps open" in page
    other = visitor.start_job()
    fields = {"step": "fits", "reason": "new case", "who": "bench one", "pin": "2580"}
    page = visitor.post(f"/jobs/{other}/waive", fields, status=422)
    assert "the PIN is wrong" in page
    assert 'value="new case"' in page
    assert re.search(r'id="w-pin"[^>]* autofocus', page)
    assert "2580" not in page
    visitor.post(f"/jobs/{other}/waive", {**fields, "pin": "4711"})


def test_signing_what_changed_meanwhile_shows_what_others_wrote(visitor: Visitor) -> None:
    number = visitor.start_job()
    visitor.post("/settings/people", {"name": "bench one", "role": "lead", "pin": "4711"})
    head = re.search(r'name="head" value="([0-9a-f]+)"', visitor.get(f"/jobs/{number}?step=close"))
    assert head is not None
    visitor.post(f"/jobs/{number}/steps/as-found", {"turning": "12"})
    fields = {"who": "bench one", "pin": "4711", "statement": "Seen.", "head": head[1]}
    fields |= {"despite": "yes", "although": "sold for parts"}
    page = visitor.post(f"/jobs/{number}/sign", fields, status=409)
    assert "added 2 entries meanwhile" in page
    assert "As-found readings" in page
    fresh = re.search(r'name="head" value="([0-9a-f]+)"', page)
    assert fresh is not None
    assert fresh[1] != head[1]


def test_the_sheet_is_a_pdf(visitor: Visitor) -> None:
    number = visitor.start_job()
    visitor.post(f"/jobs/{number}/steps/depth", DEPTH)
    answer = visitor.client.get(f"/jobs/{number}/sheet.pdf")
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")


def test_what_is_not_there_is_said_plainly(visitor: Visitor) -> None:
    assert "no job 99" in visitor.get("/jobs/99", status=404)
    assert "There is no such page" in visitor.get("/nowhere", status=404)
    visitor.get("/designs/..%2F..%2Fetc%2Fpasswd", status=404)
    visitor.get("/designs/NOT-HERE", status=422)
    visitor.get("/files/" + "0" * 64, status=422)


def test_no_design_is_chosen_beforehand(visitor: Visitor) -> None:
    page = visitor.get("/jobs/new")
    assert "Light truck rear, 11/41, face-milled hypoid (3.73), 8.74 in (222 mm)" in page
    assert "8.74 in (222 mm)" in page
    choices = page.partition("Gear set design")[2].partition("</fieldset>")[0]
    assert "checked" not in choices
    assert "nothing chosen" in visitor.post("/jobs/new", {"vehicle": "bus"}, status=422)


def test_the_mounting_distance_is_filled_in_in_the_persons_unit(visitor: Visitor) -> None:
    number = visitor.start_job()
    inch = re.search(
        r'name="mounting_distance" value="([0-9.]+) in"', visitor.get(f"/jobs/{number}?step=depth")
    )
    visitor.post("/settings/me", {"system": "metric", "who": ""})
    metric = re.search(
        r'name="mounting_distance" value="([0-9.]+) mm"', visitor.get(f"/jobs/{number}?step=depth")
    )
    assert inch is not None
    assert metric is not None
    assert abs(float(inch[1]) * 25.4 - float(metric[1])) < 0.003


def picture_file(kind: str = "JPEG") -> tuple[str, bytes, str]:
    out = io.BytesIO()
    Image.new("RGB", (320, 240), "#777777").save(out, kind)
    return "tag.jpg", out.getvalue(), "image/jpeg"


def test_a_piece_is_photographed_shown_and_taken_back(visitor: Visitor) -> None:
    number = visitor.start_job()
    fields = {
        "step": "as-found",
        "piece": "ring_side_shim",
        "tag": "left <b>",
        "caption": "oily",
        "key": "p1",
    }
    path = f"/jobs/{number}/pictures"
    for _ in range(2):  # sent twice, kept once
        page = visitor.post(path, fields, files={"photo": picture_file()})
    assert page.count('<li class="card">') == 1
    assert "side shim, ring gear side; tag: left &lt;b&gt;; oily" in page
    source = re.search(r'<img src="(/files/[0-9a-f]{64})"', page)
    assert source is not None
    answer = visitor.client.get(source[1])
    assert answer.headers["content-type"] == "image/jpeg"
    seq = re.search(r'name="seq" value="(\d+)"', page)
    assert seq is not None
    page = visitor.post(
        f"/jobs/{number}/take-back", {"seq": seq[1], "step": "as-found", "reason": "wrong piece"}
    )
    assert '<li class="card">' not in page
    visitor.post(path, {**fields, "key": "p2"}, files={"photo": ("x.jpg", b"x", "image/jpeg")}, status=422)
    visitor.post(path, {"step": "as-found", "piece": "gears", "key": "p3"}, status=422)


def test_a_mismatch_stops_the_job_on_the_page(visitor: Visitor) -> None:
    number = visitor.start_job()
    fields = {"pinion_number": "1", "ring_number": "2"}
    page = visitor.post(f"/jobs/{number}/steps/identity", fields)
    assert "The job is stopped." in page
    assert "Stopped:" in visitor.get("/")
    waiting = visitor.get(f"/jobs/{number}?step=depth")
    assert "The job is stopped." in waiting
    assert 'id="entryform"' not in waiting
    assert "the job is stopped" in visitor.post(f"/jobs/{number}/steps/depth", DEPTH, status=422)
    visitor.post(f"/jobs/{number}/waive", {"step": "identity", "reason": "numbers worn off"})
    assert 'id="entryform"' in visitor.get(f"/jobs/{number}?step=depth")


def test_paper_of_a_job(visitor: Visitor) -> None:
    number = visitor.start_job()
    visitor.post(f"/jobs/{number}/steps/identity", {"pinion_number": "7", "ring_number": "7"})
    visitor.post("/settings/stock", {"kind": "pinion spacer", "thickness": "0.0600", "count": "1"})
    for path in (
        f"/jobs/{number}/label.pdf",
        "/shelf/1/label.pdf",
        "/bench-sheet.pdf",
        f"/bench-sheet.pdf?job={number}",
    ):
        answer = visitor.client.get(path)
        assert answer.status_code == 200, path
        assert answer.content.startswith(b"%PDF-"), path
    visitor.get("/shelf/99/label.pdf", status=422)
    visitor.get("/bench-sheet.pdf?job=99", status=404)


def test_times_are_local_and_marked_as_times(visitor: Visitor) -> None:
    number = visitor.start_job()
    page = visitor.post(f"/jobs/{number}/steps/depth", DEPTH)
    assert re.search(
        r'<time datetime="\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ">\d{4}-\d\d-\d\d \d\d:\d\d</time>', page
    )
    assert " UTC" not in page


def test_the_default_answers_are_filled_in(visitor: Visitor) -> None:
    number = visitor.start_job()
    page = visitor.get(f"/jobs/{number}?step=depth")
    assert re.search(r'name="method" value="carrier" id="f-method" checked', page)
    assert 'data-only="method:centred,resting,over_case"' in page


def test_the_spacer_in_the_axle_stays_on_the_form_and_in_the_verdict(visitor: Visitor) -> None:
    number = visitor.start_job()
    visitor.post(f"/jobs/{number}/steps/depth", {**DEPTH, "fitted": "0.0545"})
    page = visitor.get(f"/jobs/{number}?step=depth")
    assert re.search(r'id="f-fitted" name="fitted" value="0\.0545 in"', page)
    without = {name: value for name, value in DEPTH.items() if name != "fitted"}
    seq = re.search(r"correct=(\d+)#entryform", page)
    assert seq is not None
    for fields in (without, {**without, "supersedes": seq[1]}):
        page = visitor.post(f"/jobs/{number}/steps/depth", fields)
        assert '<section class="card answer state-not-ok"' in page
        assert "taken to be in still" in page
    # An older reading corrected is filled in with what is in the axle now.
    visitor.post(f"/jobs/{number}/steps/depth", {**DEPTH, "fitted": "0.0609"})
    page = visitor.get(f"/jobs/{number}?step=depth")
    oldest = re.findall(r"correct=(\d+)#entryform", page)[-1]
    page = visitor.get(f"/jobs/{number}?step=depth&correct={oldest}")
    assert 'name="fitted" value="0.0609 in"' in page


def test_seldom_fields_are_folded_unless_something_stands_in_them(visitor: Visitor) -> None:
    number = visitor.start_job()
    page = visitor.get(f"/jobs/{number}?step=depth")
    assert '<details class="group"><summary>Temperature</summary>' in page
    assert '<details class="group"><summary>From the shelf</summary>' in page
    fields = {**DEPTH, "part_temperature": "86"}
    page = visitor.post(f"/jobs/{number}/steps/depth", fields, status=422)
    assert '<details class="group" open><summary>Temperature</summary>' in page
    assert page.count('<details class="group"') == 2


def test_fields_that_may_be_below_zero_ask_for_a_keyboard_with_a_minus(visitor: Visitor) -> None:
    number = visitor.start_job()

    def keyboard(step: str, name: str) -> str:
        page = visitor.get(f"/jobs/{number}?step={step}")
        found = re.search(rf'<(?:input|textarea)[^>]*\bname="{name}"[^>]*>', page)
        assert found is not None
        asked = re.search(r'inputmode="(\w+)"', found[0])
        return asked[1] if asked else ""

    for name in ("cage_height", "case_deviation", "part_temperature", "gauge_temperature"):
        assert keyboard("depth", name) == "text"
    assert keyboard("depth", "fitted") == "decimal"
    assert keyboard("depth", "mark") == "", "the plain keyboard has a minus"
    assert keyboard("backlash", "moved") == "text"
    for name in ("face_readings", "flange_readings", "turned_readings"):
        assert keyboard("fits", name) == "text"
