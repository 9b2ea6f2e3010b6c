"""The demo job, whole: photos and readings in, cause, cure, record and sheet out."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from axlewright.demo import run_demo
from axlewright.demo.__main__ import main
from axlewright.job import job_view
from axlewright.records import open_store


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    lines: list[str] = []
    return run_demo(tmp_path_factory.mktemp("demo"), lines.append), lines


def test_the_cause_is_found_within_its_stated_uncertainty(demo):
    """The photos were drawn with the pinion 0.127 mm (0.005 in) out; nothing in the reader knows that."""
    result, _ = demo
    with open_store(result.home) as store:
        entries = store.entries(result.number)
        told = next(e for e in reversed(entries) if e.kind == "result" and e.step == "pattern").payload
    depth = told["diagnosis"]["cause"]["pinion_out_mm"]
    assert depth["p05"] < 0.127 < depth["p95"]
    cure = told["diagnosis"]["cure"]["pinion_move_mm"]
    assert cure["mean"] == pytest.approx(-0.127, abs=0.0254)
    advice = told["diagnosis"]["advice"][0]
    assert advice["spacer_change_mm"] == pytest.approx(0.127, abs=0.0254)
    assert advice["cost_class"] == "L3"
    after = advice["expected"]["drive"]
    assert abs(after["center"][1]) < 0.15


def test_the_measured_spacer_agrees_with_what_the_pattern_asks_for(demo):
    result, _ = demo
    depth = result.outcomes["depth"]
    # 5.6230 − 4.3125 − 1.2490 − 0.0020 in
    assert depth.values["spacer_mm"] == pytest.approx(0.0595 * 25.4, abs=1e-3)
    assert depth.verdict == "not ok"


def test_the_words_say_it_plainly(demo):
    _, lines = demo
    text = "\n".join(lines)
    assert "too far out" in text
    assert "5.6230 − 4.3125 − 1.2490 − 0.0020 = 0.0595 in" in text


def test_the_sheet_holds_the_sum_the_limits_and_the_cautions(demo):
    result, _ = demo
    text = subprocess.run(
        ["pdftotext", "-layout", str(result.sheet), "-"], capture_output=True, check=True
    ).stdout.decode()
    for words in ("milk lorry", "0.0595", "Caution", "default", "Contact pattern", "Signatures"):
        assert words in text


def test_the_record_holds_and_the_photos_carry_no_location(demo):
    result, _ = demo
    with open_store(result.home) as store:
        assert store.verify(result.number).holds
        files = {f for e in store.entries(result.number) for f in e.files}
        assert files
        for name in files:
            data = store.read_file(name)
            assert b"GPS" not in data[:4096]
        assert job_view(store, result.number).step("depth").status.state == "not ok"


def test_a_folder_that_cannot_be_written_is_one_sentence(tmp_path: Path, capsys):
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    assert main(["--no-serve", "--folder", str(blocked)]) == 2
    assert len(capsys.readouterr().err.strip().splitlines()) == 1
