"""Rolling, designs, shelf, help."""

from __future__ import annotations

import time
from pathlib import Path

import httpx
import pytest
from web_visitor import Visitor, served

import axlewright as aw
from axlewright.contact import compiled, mesh
from axlewright.gearset import design_to_toml
from axlewright.web import create_app
from axlewright.web.rolling_state import BACKLASH_GRID, CONTROLS, State, state_of

WHOLE = b'name = "%s"\npinion_teeth = 11\nring_teeth = 41\nring_outer_diameter_mm = 222\n'


def test_rolling_follows_the_engine(warm: Visitor) -> None:
    data = warm.client.get("/api/roll?design=TY-222&pinion=0.127").json()
    for flank in ("drive", "coast"):
        rolling = aw.roll(aw.load_design("TY-222"), flank, pinion_out_mm=0.127)
        shown = data["flanks"][flank]
        assert shown["summary"] == rolling.summary()
        assert shown["words"] == str(rolling.pattern.describe())
        assert f"{rolling.motion_error_pp_urad:.1f}" in shown["motion"]
        assert shown["svg"].startswith("<svg role")
    assert data["words"] == "pinion 0.0050 in (0.127 mm) out"


def test_any_state_is_a_link_that_means_the_same_in_both_systems(warm: Visitor) -> None:
    link = "/rolling?design=TY-222&pinion=0.127&ring=-0.0508"
    inch = warm.get(link)
    assert 'value="5"' in inch
    assert 'value="-2"' in inch
    warm.post("/settings/me", {"system": "metric", "who": ""})
    metric = warm.get(link)
    assert 'value="0.127"' in metric
    assert "pinion 0.127 mm (0.0050 in) out" in metric


def test_two_states_stand_side_by_side(warm: Visitor) -> None:
    page = warm.get("/rolling?design=TY-222&beside=design%3DTY-222%26pinion%3D0.127")
    assert "as designed, without load" in page
    assert "pinion 0.0050 in (0.127 mm) out" in page
    assert page.count("<svg role") == 4


def test_the_plain_form_rolls_without_script(warm: Visitor) -> None:
    page = warm.get("/rolling?design=TY-310&show_pinion=4&show_ring=0")
    assert "pinion 0.0040 in (0.102 mm) out" in page


@pytest.mark.parametrize(
    "query", ["pinion=abc", "pinion=nan", "pinion=1e9", "pinion=99", "torque=-1", "design=NONE"]
)
def test_states_out_of_reach_are_said_in_a_sentence(warm: Visitor, query: str) -> None:
    answer = warm.client.get(f"/api/roll?{query}")
    told = answer.json()
    if answer.status_code == 200:
        assert all(told["flanks"][f]["error"] for f in ("drive", "coast"))
    else:
        assert answer.status_code == 422
        assert told["error"]


def test_a_state_comes_back_from_its_own_link() -> None:
    state = State("TY-222", pinion=0.05, ring=-0.1, torque=300.0, offset=0.02, angle=0.05)
    from urllib.parse import parse_qsl

    assert state_of(dict(parse_qsl(state.query())), ["TY-222"]) == state
    assert {c.name for c in CONTROLS} == {"pinion", "ring", "torque", "offset", "angle"}


def test_a_design_of_ones_own_is_checked_and_kept(visitor: Visitor) -> None:
    text = design_to_toml(aw.load_design("TY-222")).replace('"TY-222"', '"HILL-7"')
    page = visitor.post("/designs", {}, files={"file": ("mine.toml", text.encode())})
    assert "HILL-7" in page
    assert "HILL-7" in visitor.get("/jobs/new")
    assert "yours" in visitor.get("/designs")
    again = visitor.client.get("/designs/HILL-7/file.toml").text
    assert "pinion_teeth = 11" in again


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b"\xff\xfe", "no text file"),
        (b"name = ", "not readable as TOML"),
        (WHOLE % b"X" + b"wheels = 4\n", "unknown field"),
        (WHOLE % b"../X", "Use letters"),
        (WHOLE % b"TY-222", "another name"),
        (WHOLE % b"ty-222", "another name"),
        (WHOLE % "Ü7".encode(), "Use letters"),
        (WHOLE % (b"x" * 61), "Use letters"),
    ],
)
def test_a_wrong_design_file_is_refused(visitor: Visitor, text: bytes, said: str) -> None:
    assert said in visitor.post("/designs", {}, files={"file": ("x.toml", text)}, status=422)


def test_a_design_is_made_of_teeth_and_diameter(visitor: Visitor) -> None:
    fields = {"name": "HILL-8", "pinion_teeth": "11", "ring_teeth": "41", "diameter": "8,74"}
    fields["offset"] = "38 mm"
    page = visitor.post("/designs/typed", fields)
    assert "HILL-8" in page
    assert "estimated: " in page
    text = visitor.client.get("/designs/HILL-8/file.toml").text
    assert "ring_outer_diameter_mm = 221.996" in text  # 8.74 in, as inches are the visitor's
    assert "offset_mm = 38.0" in text
    assert 'value="HILL-8"' in visitor.get("/jobs/new")


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"ring_teeth": "many"}, "Count them"),
        ({"diameter": ""}, "Ring gear diameter"),
        ({"offset": "3 feet-ish"}, "Offset between the axes"),
        ({"name": "ty-222"}, "there already"),
        ({"name": '"\nhand = "left'}, "Use letters"),
        ({"offset": "110 mm"}, "do not fit on a ring gear"),
    ],
)
def test_a_design_that_cannot_be_is_refused_and_stays_typed(
    visitor: Visitor, changed: dict[str, str], said: str
) -> None:
    fields = {"name": "HILL-9", "pinion_teeth": "11", "ring_teeth": "41", "diameter": "222 mm", **changed}
    page = visitor.post("/designs/typed", fields, status=422)
    assert said in page
    assert 'value="222 mm"' in page or not fields["diameter"]
    assert "HILL-9" not in visitor.get("/jobs/new")


def test_estimates_are_marked(visitor: Visitor) -> None:
    page = visitor.get("/designs/TY-222")
    assert "estimated: " in page
    assert "pinion_spiral_angle_deg" in page


def test_the_shelf_counts(visitor: Visitor) -> None:
    fields = {"kind": "pinion spacer", "thickness": "0.0600 0.0605 1.55 mm", "count": "2"}
    page = visitor.post("/settings/stock", fields, status=422)
    assert "counted in mm as at the end, is unusual" in page  # 0.06 mm is no spacer
    page = visitor.post("/settings/stock", {**fields, "thickness": "0.0600 in 0.0605 in 1.55 mm"})
    assert "Put on the shelf" in page
    assert page.count("<td>2</td>") == 3
    assert "Understood: 0.0600 in" in page
    page = visitor.post("/settings/stock", {**fields, "thickness": "0.054 1,55mm"}, status=422)
    assert "type the unit at each" in page
    assert 'name="really"' not in page
    assert 'name="really"' in visitor.post("/settings/stock", {**fields, "thickness": "9"}, status=422)
    page = visitor.post("/settings/stock", {**fields, "thickness": "1", "really": "yes"})
    assert "Understood: 1.0000 in" in page
    assert "unknown" in visitor.post("/settings/stock", {**fields, "kind": "sweets"}, status=422)
    assert "0.0600x" in visitor.post("/settings/stock", {**fields, "thickness": "0.0600x"}, status=422)


def test_only_an_admin_enters_people_once_there_is_one(visitor: Visitor) -> None:
    visitor.post("/settings/people", {"name": "bench one", "role": "admin", "pin": "4711"})
    more = {"name": "bench two", "role": "technician", "pin": "1234"}
    visitor.post("/settings/people", more, status=422)
    visitor.post("/settings/people", {**more, "by": "bench one", "by_pin": "4711"})
    page = visitor.get("/settings")
    assert "bench two, technician" in page
    assert "4711" not in page


def test_help_rolls_its_pictures(warm: Visitor) -> None:
    page = warm.get("/help")
    assert page.count("<svg role") == 10
    pattern = aw.roll(aw.load_design("TY-222"), "drive", pinion_out_mm=0.127).pattern
    assert str(pattern.describe()) in page


def test_a_rolling_that_cannot_be_prepared_is_said_and_not_called_ready(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from axlewright.web.page import Warmth

    def broken(*_args: object, **_more: object) -> None:
        raise RuntimeError("no compiler")

    monkeypatch.setattr(aw, "roll", broken, raising=False)
    warmth = Warmth()
    warmth._warm("TY-222")
    assert not warmth.ready
    assert warmth.trouble == "no compiler"


@pytest.mark.parametrize("path", ["/rolling", "/help"])
def test_the_pages_say_why_nothing_can_be_rolled(tmp_path: Path, path: str) -> None:
    app = create_app(tmp_path / "records")
    with served(app) as base:
        warmth = app.state.site.warmth
        while not (warmth.ready or warmth.trouble):
            time.sleep(0.1)
        warmth.ready, warmth.trouble = False, "no compiler"
        page = httpx.get(f"{base}{path}").text
    assert "could not be prepared: no compiler" in page
    assert "Getting ready" not in page


def test_a_slider_that_moves_prepares_nothing_anew(warm: Visitor, monkeypatch: pytest.MonkeyPatch) -> None:
    """Why it is quick on any machine; how quick says benchmarks/page.py."""
    made = []
    for name in ("prepare_mesh", "build_geometry"):
        real = getattr(mesh, name)
        monkeypatch.setattr(mesh, name, lambda *a, real=real, **more: made.append(a) or real(*a, **more))
    kernels = [one for one in vars(compiled).values() if hasattr(one, "signatures")]
    assert kernels
    warm.client.get("/api/roll?design=TY-222").json()
    before, made[:] = [len(one.signatures) for one in kernels], []
    answers = [warm.client.get(f"/api/roll?design=TY-222&pinion={0.01 * k:.3f}").json() for k in range(20)]
    assert len({answer["flanks"]["drive"]["svg"] for answer in answers}) == 20
    assert made == []
    assert [len(one.signatures) for one in kernels] == before


@pytest.mark.parametrize(
    ("way", "loads"), [("", [300.0, 300.0]), ("drive", [300.0, 0.0]), ("coast", [0.0, 300.0])]
)
def test_the_load_stands_on_the_side_that_was_chosen(warm: Visitor, way: str, loads: list[float]) -> None:
    data = warm.client.get(f"/api/roll?design=TY-222&torque=300&way={way}").json()
    assert [data["flanks"][flank]["summary"]["torque_nm"] for flank in ("drive", "coast")] == loads
    assert ("on the drive side" in data["words"]) is (way == "drive")
    assert state_of({"way": "sideways"}, ["TY-222"]).way == ""


def test_the_backlash_is_the_engines(warm: Visitor) -> None:
    from axlewright.contact import Settings, backlash_at
    from axlewright.units import show_length

    data = warm.client.get("/api/roll?design=TY-222&ring=0.1&pinion=-0.05").json()
    design, at = aw.load_design("TY-222"), Settings(-0.05, 0.1)
    found = backlash_at(design, at, **BACKLASH_GRID)
    assert show_length(found.in_rotation_mm) in data["backlash"]
    assert abs(found.in_rotation_mm - backlash_at(design, at).in_rotation_mm) < 0.0002
    bound = warm.client.get("/api/roll?design=TY-222&ring=-0.5").json()
    assert "the teeth bind" in bound["backlash"]
