"""A whole job from the command line: everything the pages do, and JSON out."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from typer.testing import CliRunner

from axlewright.cli.app import app


class Shop:
    """A command line with a folder of its own."""

    def __init__(self, home: Path) -> None:
        self.home = home
        self.runner = CliRunner()

    def run(self, *arguments: str, code: int = 0) -> str:
        done = self.runner.invoke(app, [*arguments, "--home", str(self.home)])
        assert done.exit_code == code, done.output + str(done.exception)
        return done.output

    def json(self, *arguments: str) -> Any:
        return json.loads(self.run(*arguments, "--json"))


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    one = Shop(tmp_path / "records")
    one.run("job", "new", "--design", "TY-222", "--vehicle", "milk lorry", "--who", "bench one")
    return one


DEPTH = (
    "place=under_head",
    "carrier=5.6255 5.6250 5.6254 5,6256 5.6255",
    "bearing=1.2500 1.2500",
    "mounting_distance=109.5375 mm",
    "mark=+2",
    "mark_unit=0.001 in",
    "mark_meaning=plus_means_larger_mounting_distance",
)


def test_a_step_is_tried_and_then_kept_corrected_and_taken_back(shop: Shop) -> None:
    tried = shop.json("job", "add", "1", "depth", *DEPTH, "--who", "b", "--try")
    assert tried["sums"][0]["shown"].endswith("= 0.0609 in")
    assert tried["entries"] == []
    assert len(shop.json("job", "show", "1")["entries_list"]) == 1, "nothing was kept"
    kept = shop.json("job", "add", "1", "depth", *DEPTH, "fitted=0.0559", "--who", "b", "--key", "k1")
    again = shop.json("job", "add", "1", "depth", *DEPTH, "fitted=0.0559", "--who", "b", "--key", "k1")
    assert kept == again
    assert kept["verdict"] == "not ok"
    better = shop.json(
        "job",
        "add",
        "1",
        "depth",
        *DEPTH,
        "fitted=0.0609",
        "--who",
        "b",
        "--corrects",
        str(kept["entries"][0]),
    )
    assert better["verdict"] == "ok"
    shop.run("job", "take-back", "1", str(better["entries"][0]), "--reason", "other axle", "--who", "b")
    states = {s["key"]: s["state"] for s in shop.json("job", "show", "1")["steps"]}
    assert states["depth"] == "open"


def test_entries_are_named_by_number_and_superseded_ones_are_shown(shop: Shop) -> None:
    said = shop.run("job", "add", "1", "depth", *DEPTH, "--who", "one")
    assert "kept as entry 2" in said, "the number that --corrects and take-back ask for"
    shop.run("job", "add", "1", "depth", *DEPTH, "note=wrong arbor", "--corrects", "2", "--who", "two")
    shown = shop.run("job", "show", "1")
    assert "entry 4, two, " in shown
    assert "no longer counts: where the shim sits" in shown
    assert "Entry 2 by one, " in shown
    assert "Reason: wrong arbor" in shown
    tried = shop.run("job", "add", "1", "depth", *DEPTH, "--who", "one", "--try")
    assert "kept as" not in tried


def test_others_writing_meanwhile_are_noticed(shop: Shop) -> None:
    head = shop.json("job", "show", "1")["head"]
    assert head in shop.run("job", "show", "1")
    shop.run("job", "add", "1", "as-found", "turning=12", "--who", "bench two")
    late = shop.run("job", "add", "1", "as-found", "turning=13", "--who", "b", "--head", head, code=2)
    assert "bench two" in late or "meanwhile" in late


def test_every_field_of_every_step_is_listed(shop: Shop) -> None:
    from axlewright.job import FORMS

    for step, form in FORMS.items():
        listed = shop.run("job", "add", "1", step)
        for field in form.fields:
            assert f"\n{field.name} " in f"\n{listed}"
    assert "[only with method=old]" in shop.run("job", "add", "1", "depth")


@pytest.mark.parametrize(
    ("step", "fields", "asks"),
    [
        ("depth", ("carrier=5.62x",), "'x'"),
        ("depth", ("carrier=5625",), "unusual"),
        ("preload", ("bearings=new", "kind=sleeve", "torque=20 lbs"), "unit"),
        (
            "preload",
            ("bearings=new", "kind=sleeve", "torque=20", "limit_low=8 lb-in (11 N·m)"),
            "not the same",
        ),
        ("fits", ("bearings=good", "flange_runout=1 yard"), "unit"),
        ("depth", ("part_temperature=warm", "gauge_temperature=20 C"), "no temperature"),
        ("depth", ("colour=blue",), "unknown field"),
        ("polish", (), "unknown step"),
    ],
)
def test_nonsense_is_asked_about_and_nothing_is_kept(
    shop: Shop, step: str, fields: tuple[str, ...], asks: str
) -> None:
    given = {part.partition("=")[0]: part for part in (DEPTH if step == "depth" else ())}
    given |= {part.partition("=")[0]: part for part in fields}
    told = shop.run("job", "add", "1", step, *given.values(), "--who", "b", code=2)
    assert asks in told
    assert len(shop.json("job", "show", "1")["entries_list"]) == 1


def test_a_stopped_job_says_so_until_a_lead_answers(shop: Shop) -> None:
    shop.run("people", "add", "lead", "admin", "--pin", "2580")
    shop.run("job", "add", "1", "identity", "pinion_number=1", "ring_number=2", "--who", "b")
    assert shop.json("job", "next", "1")["stops"] is True
    assert "stopped until this is answered" in shop.run("job", "next", "1")
    assert "the job is stopped" in shop.run("job", "add", "1", "fits", "bearings=ok", "--who", "b", code=2)
    reason = ("--reason", "numbers worn off", "--who", "lead")
    shop.run("job", "waive", "1", "identity", *reason, "--pin", "0000", code=2)
    shop.run("job", "waive", "1", "identity", *reason, "--pin", "2580")
    shop.run("job", "add", "1", "fits", "bearings=ok", "--who", "b")


def test_pictures_advice_and_signature(shop: Shop, tmp_path: Path) -> None:
    shop.run("people", "add", "lead", "admin", "--pin", "2580")
    photo = tmp_path / "tag.jpg"
    out = io.BytesIO()
    Image.new("RGB", (320, 240), "#777777").save(out, "JPEG")
    photo.write_bytes(out.getvalue())
    told = shop.run(
        "job", "picture", "1", "as-found", "--piece", "ring_side_cap", "--photo", str(photo), "--who", "b"
    )
    assert "entry 2" in told
    wrong = shop.run("job", "picture", "1", "as-found", "--piece", "boot", "--tag", "x", "--who", "b", code=2)
    assert "ring_side_cap" in wrong, "it says which pieces there are"
    assert "no advice 2" in shop.run("job", "advice", "1", "2", "--followed", "--who", "b", code=2)
    blind = shop.run("job", "sign", "1", "--who", "lead", "--pin", "2580", code=2)
    assert "state of the job that was seen" in blind
    head = shop.json("job", "show", "1")["head"]
    sign = ("job", "sign", "1", "--who", "lead", "--pin", "2580", "--head", head)
    assert "10 steps are not done" in shop.run(*sign, code=2)
    assert shop.json("job", "show", "1")["state"] == "open"
    assert "Signed with 10 steps open" in shop.run(*sign, "--although", "sold for parts")
    assert shop.json("job", "show", "1")["state"] == "closed"
    assert "'job reopen' first" in shop.run("job", "show", "1")
    late = ("job", "add", "1", "as-found", "turning=12", "--who", "b")
    assert "the job is closed" in shop.run(*late, code=2)
    shop.run("job", "reopen", "1", "--reason", "a leak", "--who", "lead", "--pin", "1111", code=2)
    shop.run("job", "reopen", "1", "--reason", "a leak", "--who", "lead", "--pin", "2580")
    shop.run(*late)


def test_a_job_is_stopped_dropped_opened_and_its_header_corrected(shop: Shop) -> None:
    why = ("--reason", "bearing on order", "--who", "b")
    assert "job 1: stopped" in shop.run("job", "state", "1", "stopped", *why)
    shop.run("job", "add", "1", "as-found", "turning=12", "--who", "b")
    assert "job 1: dropped" in shop.run("job", "state", "1", "dropped", *why)
    assert "the job was dropped" in shop.run(
        "job", "add", "1", "as-found", "turning=12", "--who", "b", code=2
    )
    assert "'finished' is no state" in shop.run("job", "state", "1", "finished", *why, code=2)
    shown = shop.run("job", "show", "1")
    assert "dropped: bearing on order" in shown
    shop.run("job", "state", "1", "open", *why)
    assert "nothing is different" in shop.run("job", "correct-header", "1", *why, code=2)
    shop.run("job", "correct-header", "1", "--vehicle", "hay lorry", *why)
    header = shop.json("job", "show", "1")
    assert (header["vehicle"], header["state"], header["chain_holds"]) == ("hay lorry", "open", True)
    assert "milk lorry" in str(header["entries_list"]), "what stood there stays"
    assert "vehicle: “milk lorry” became “hay lorry”; bearing on order" in shop.run("job", "show", "1")


def test_shelf_and_instruments(shop: Shop, tmp_path: Path) -> None:
    shop.run("job", "shelf", "add", "pinion spacer", "0.0600 0.0605", "--count", "2", "--who", "b")
    rows = shop.json("job", "shelf", "list")
    assert [round(row["thickness_mm"] / 25.4, 4) for row in rows] == [0.06, 0.0605]
    shop.run("job", "shelf", "move", str(rows[0]["id"]), "--change", "-2", "--who", "b", "--job", "1")
    assert shop.json("job", "shelf", "list")[0]["count"] == 0
    shop.run("job", "shelf", "move", str(rows[0]["id"]), "--change", "-1", "--who", "b", code=2)
    dial = ("job", "instruments", "put", "dial 3", "--resolution")
    shop.run(*dial, "0.0005 in", "--calibrated-on", "2025-01-31", "--due-on", "2026-01-31")
    (tool,) = shop.json("job", "instruments", "list")
    assert tool["overdue"] is True
    assert tool["resolution"] == "0.0005 in"
    assert "no date" in shop.run(*dial, "0.0005 in", "--due-on", "soon", code=2)
    assert "has no unit" in shop.run(*dial, "0.0005", code=2)


def test_paper(shop: Shop, tmp_path: Path) -> None:
    shop.run("job", "add", "1", "identity", "pinion_number=7", "ring_number=7", "--who", "b")
    shop.run("job", "shelf", "add", "side shim", "0.080", "--who", "b")
    for number, command in enumerate(
        (
            ("sheet", "1", "--paper", "us-letter"),
            ("set-label", "1"),
            ("spacer-label", "1"),
            ("blank-sheet",),
            ("blank-sheet", "--number", "1"),
        )
    ):
        out = tmp_path / f"{number}.pdf"
        shop.run("job", *command, "--out", str(out))
        assert out.read_bytes().startswith(b"%PDF-")
        assert "exists already" in shop.run("job", *command, "--out", str(out), code=2)
    assert "no piece 99" in shop.run("job", "spacer-label", "99", "--out", str(tmp_path / "x.pdf"), code=2)
    wrong = shop.run("job", "sheet", "1", "--out", str(tmp_path / "y.pdf"), "--paper", "a3", code=2)
    assert "use one of a4, us-letter" in wrong


def test_carried_to_another_shop_and_back(shop: Shop, tmp_path: Path) -> None:
    shop.run("job", "add", "1", "as-found", "turning=12", "--who", "b")
    shop.run("job", "export", "1", "--out", str(tmp_path / "job.zip"))
    other = Shop(tmp_path / "other")
    assert other.json("job", "import", str(tmp_path / "job.zip"))["entries"] == 3
    shop.run("backup", str(tmp_path / "all.zip"))
    third = Shop(tmp_path / "third")
    third.run("restore", str(tmp_path / "all.zip"))
    assert third.json("job", "show", "1")["head"] == shop.json("job", "show", "1")["head"]
