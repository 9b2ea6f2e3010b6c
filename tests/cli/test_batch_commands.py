"""Many sets on the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import Result
from typer.testing import CliRunner

from axlewright.cli.batch import batch

LOG = "set;design;pinion out [mm];drive motion error [µrad]\n" + "".join(
    f"{n};TY-222;{x};{30 * (1 + ((x - 0.02) / 0.08) ** 2):.1f}\n".replace(".", ",")
    for n in range(1, 31)
    for x in (-0.1, -0.05, 0.0, 0.05 + 0.001 * n, 0.1)
)


def run(*args: str | Path) -> Result:
    return CliRunner().invoke(batch, [str(a) for a in args])


@pytest.fixture
def home(tmp_path: Path) -> Path:
    (tmp_path / "log.csv").write_text(LOG, encoding="utf-8")
    done = run("import", tmp_path / "log.csv", "--home", tmp_path, "--json")
    assert done.exit_code == 0, done.output
    assert json.loads(done.output)["taken"] == 150
    return tmp_path


def test_best_positions_with_their_marks(home: Path) -> None:
    assert "mark" not in run("best", "--home", home, "--set", "4").output
    ways = ("--mark-unit", "0.001 in", "--mark-meaning", "plus_means_larger_mounting_distance")
    told = json.loads(run("best", "--home", home, "--json", *ways).output)
    assert [one["set"] for one in told] == [str(n) for n in range(1, 31)]
    for one in told:
        assert one["decided"]
        assert one["best_mm"] == pytest.approx(0.02, abs=0.02)
        low, high = one["interval_95_mm"]
        assert low < one["best_mm"] < high
        assert one["mark"]["value"] == round(one["best_mm"] / 0.0254)
    assert "mark +1" in run("best", "--home", home, "--set", "4").output


def test_charts_and_capability(home: Path) -> None:
    told = json.loads(
        run("charts", "--design", "TY-222", "--low", "-0.1", "--high", "0.1", "--home", home, "--json").output
    )
    assert told["unit"] == "mm"
    assert len(told["panels"]) == 2
    assert set(told["capability"]) >= {"Cp", "Cpk"} or set(told["capability"]) >= {"Pp", "Ppk"}
    said = run("charts", "--design", "TY-222", "--low", "-0.1", "--high", "0.1", "--home", home).output
    assert "30 points" in said


def test_match_order_and_labels(home: Path) -> None:
    (home / "carriers.txt").write_text("\n".join(f"C-{n} {1.5 + 0.004 * n:.3f} mm" for n in range(12)))
    base = ("match", "--design", "TY-222", "--carriers", home / "carriers.txt", "--home", home)
    told = json.loads(
        run(*base, "--place", "under_head", "--spacers", "1.475mm*9 1.5mm*9 1.525mm*9", "--json").output
    )
    assert len(told["matches"]) == 12
    assert told["within"]["matched"] >= told["within"]["as_they_came"]
    assert told["order"]
    wrong = run(*base, "--place", "somewhere")
    assert wrong.exit_code == 2
    assert "Where the spacer sits" in wrong.output
    out = home / "labels.pdf"
    assert "no set has a mark" in run("labels", "--out", out, "--home", home).output
    ways = ("--mark-unit", "0.01 mm", "--mark-meaning", "plus_means_thicker_spacer")
    run("best", "--home", home, *ways)
    assert "30 labels" in run("labels", "--out", out, "--home", home).output
    assert out.read_bytes().startswith(b"%PDF")
    assert "exists already" in run("labels", "--out", out, "--home", home).output


def test_a_study_is_a_table(tmp_path: Path) -> None:
    out = tmp_path / "study.csv"
    done = run("study", "--design", "TY-222", "--count", "2000", "--out", out)
    assert done.exit_code == 0, done.output
    assert out.read_text() == done.output
    told = json.loads(run("study", "--design", "TY-222", "--count", "2000", "--json").output)
    assert f"outside,{told['outside']}\n" in done.output


def test_what_is_wrong_leaves_with_two_and_takes_nothing(tmp_path: Path) -> None:
    (tmp_path / "bad.csv").write_text(LOG + "31;TY-222;x;1\n", encoding="utf-8")
    done = run("import", tmp_path / "bad.csv", "--home", tmp_path)
    assert done.exit_code == 2
    assert "Row 152, pinion out [mm]: 'x' is not a number" in done.output
    assert run("best", "--home", tmp_path).output == ""
    assert run("import", tmp_path / "none.csv", "--home", tmp_path).exit_code == 2
    assert run("charts", "--design", "TY-222", "--home", tmp_path).exit_code == 2


def test_the_demonstration_is_put_in_once(tmp_path: Path) -> None:
    assert "readings taken" in run("import", "--demo", "--home", tmp_path).output
    again = run("import", "--demo", "--home", tmp_path)
    assert again.exit_code == 2
    assert "readings already" in again.output
