"""What the program gives for the demonstration job and a second job through every step.

Each scene is computed once, in a folder of its own whose name is masked; so are times and hashes.
"""

from __future__ import annotations

import io
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any, Final

from golden_split import Split, masked, split_data, split_pages

from axlewright.demo import scenario
from axlewright.job import Outcome, enter, job_sheet_pdf, put_on_shelf, spacers, start_job, take_back
from axlewright.job.pattern import enter_patterns
from axlewright.job.photos import FlankLook
from axlewright.language import using_language
from axlewright.records import JobStore, open_store
from axlewright.units import System, using_system

LANGUAGES: Final = ("en", "de")
SYSTEMS: Final[tuple[System, ...]] = ("inch", "metric")
SET: Final = {"mark": "+2", "mark_unit": "0.001 in", "mark_meaning": "plus_means_larger_mounting_distance"}
CARRIER: Final = {"bearing": "1.2500 1.2500", "mounting_distance": "4.3125", **SET}
ROUND: Final = "0.0 0.001 0.002 0.003 0.002 0.001 0.0 0.0"
EVERY_STEP: Final[tuple[tuple[str, str, dict[str, str]], ...]] = (
    ("complaint asks", "complaint", {"heard": "growl", "when": "always", "oil": "low", "others_out": "no"}),
    (
        "as-found",
        "as-found",
        {"backlash": "0.0100 0.0120 0.0110 0.0115", "spacer": "0.0600", "ring_side": "0.2500",
         "other_side": "0.2650", "turning": "12 lb-in", "end_play": "0", "ring_runout": "0.0020",
         "tagged": "yes", "pattern": "high, toward heel"},
    ),
    (
        "identity with thicknesses",
        "identity",
        {"pinion_number": "4471", "ring_number": "4471", **SET, "timing": "none", "condition": "new",
         "ring_thickness": "1.7000", "ring_thickness_before": "1.7000", "etched_backlash": "0.0070"},
    ),
    (
        "fits",
        "fits",
        {"bearings": "good", "flange_readings": ROUND,
         "face_readings": "0.0 0.001 0.002 0.001 0.0 0.0 0.0 0.0",
         "bolts": "10", "seating_gap": "0.0010", "companion_runout": "0.0030"},
    ),
    ("fits outside", "fits", {"bearings": "good", "flange_runout": "0.0010", "ring_face_runout": "0.0090"}),
    ("depth by carrier", "depth", {"place": "under_head", "carrier": "5.6255 5.6250 5.6254", **CARRIER}),
    (
        "depth by centred arbor",
        "depth",
        {"place": "behind_cup", "method": "centred", "gap": "1.0006", "arbor": "2.5000", "block": "3.3748",
         **CARRIER},
    ),
    (
        "depth by resting arbor",
        "depth",
        {"place": "under_head", "method": "resting", "gap": "1.0006", "arbor": "1.5000", "bore": "2.5000",
         "block": "3.3748", "rests": "toward_pinion", **CARRIER},
    ),
    (
        "depth from the parting face",
        "depth",
        {"place": "under_head", "method": "parting", "parting": "5.6244", "casting_depth": "1.2490",
         "cap_depth": "1.2510", **CARRIER},
    ),
    (
        "depth by gauge",
        "depth",
        {"place": "under_head", "method": "gauge", "zero_spacer": "0.0605 0.0605", **SET},
    ),
    (
        "depth from the old spacer",
        "depth",
        {"place": "under_head", "method": "old", "old_spacer": "0.0600", "old_bearing": "1.2490",
         "bearing": "1.2500", **SET, "old_mark": "-1", "old_mark_unit": "0.001 in",
         "old_mark_meaning": "plus_means_larger_mounting_distance"},
    ),
    (
        "depth at a cage flange, warm",
        "depth",
        {"place": "cage_flange", "carrier": "5.5000", "cage_height": "-0.0365", **CARRIER,
         "part_temperature": "30 C", "gauge_temperature": "20 C", "part_material": "aluminium"},
    ),
    (
        "preload by sleeve",
        "preload",
        {"bearings": "new", "kind": "sleeve", "torque": "20 lb-in", "seal": "3 lb-in", "nut": "10"},
    ),
    (
        "preload by cord and spacer",
        "preload",
        {"bearings": "used", "kind": "spacer", "force": "5 lbf", "radius": "2.0000", "between": "cones",
         "spacer": "0.4500", "setup_bearings": "yes"},
    ),
    (
        "first side shims",
        "backlash",
        {"stage": "zero", "axle": "truck", "sides": "cups", "target": "0.0080", "ring_side": "0.2500",
         "other_side": "0.2650", "each_side": "0.0040"},
    ),
    (
        "backlash with adjusters",
        "backlash",
        {"readings": "0.0120 0.0125 0.0130 0.0120", "axle": "truck", "sides": "adjusters",
         "thread_pitch": "0.1000", "notches": "24", "target": "0.0080"},
    ),
    (
        "backlash right",
        "backlash",
        {"readings": "0.0070 0.0072 0.0075 0.0070", "axle": "light", "sides": "cups", "ring_side": "0.2440",
         "other_side": "0.2790", "rise": "3 lb-in", "caps_free": "9.0000", "caps_loaded": "9.0080"},
    ),
    (
        "final",
        "final",
        {"backlash": "0.0070 0.0080 0.0070 0.0080", "torque": "24 lb-in", "pattern": "changed"},
    ),
    ("close", "close", {"locks": "yes", "oil": "yes", "road": "quiet at 45 mph", "gone": "gone"}),
)  # fmt: skip
"""Name, step and fields, lengths bare in inches."""


@cache
def place(name: str) -> Path:
    """Return a folder for this run, the same for the same name."""
    _MADE.append(Path(tempfile.mkdtemp(prefix=f"golden-place-{name}")))
    return _MADE[-1]


_MADE: Final[list[Path]] = []


def forget_places() -> None:
    """Throw the folders of this run away."""
    while _MADE:
        shutil.rmtree(_MADE.pop(), ignore_errors=True)


def in_inches(fields: Mapping[str, str]) -> dict[str, str]:
    """Write the unit at every bare length, so that the fields mean the same in both systems."""
    bare = re.compile(r"(?<!\S)(-?\d+\.\d+)(?!\S)")
    return {
        name: text if name.endswith("mark_unit") else bare.sub(r"\1 in", text)
        for name, text in fields.items()
    }


def _told(outcome: Outcome) -> dict[str, Any]:
    """Return an outcome as plain data, without the numbers of its entries."""
    both: tuple[System, System] = ("inch", "metric")

    def in_both(text: object) -> dict[str, str]:
        out = {}
        for system in both:
            with using_system(system):
                out[system] = str(text)
        return out

    return {
        "step": outcome.step,
        "verdict": outcome.verdict,
        "why": str(outcome.why),
        "sums": [
            {
                "name": str(one.label),
                "text": in_both(one),
                "result": in_both(one.result),
                "uncertainty": in_both(one.sure),
                "note": str(one.note),
            }
            for one in outcome.sums
        ],
        "limits": [
            {
                "name": str(one.name),
                "value": in_both(one.allowed),
                "read": in_both(one.read),
                "source": str(one.source),
                "origin": one.origin,
                "verdict": one.verdict,
            }
            for one in outcome.limits
        ],
        "notes": [str(one) for one in outcome.notes],
        "questions": [str(one) for one in outcome.questions],
        "cautions": [str(one) for one in outcome.cautions],
        "values": json.loads(json.dumps(outcome.values, default=str)),
    }


@cache
def jobs(language: str, system: System) -> tuple[Path, dict[str, Any], dict[str, Any]]:
    """Run both jobs once; return the folder of their records and the outcomes of both."""
    home = place(f"{language}_{system}") / "records"
    demo: dict[str, Any] = {}
    with using_language(language), using_system(system), open_store(home) as store:
        sizes = " ".join(f"{one} in" for one in scenario.SPACERS_IN.split())
        put_on_shelf(
            store, "pinion spacer", sizes, design_name=scenario.DESIGN, who=scenario.WHO, system=system
        )
        assert len(spacers(store, scenario.DESIGN)) == len(scenario.SPACERS_IN.split())
        number = start_job(
            store,
            design_name=scenario.DESIGN,
            vehicle=scenario.VEHICLE,
            complaint=scenario.COMPLAINT,
            set_number=scenario.SET_NUMBER,
            who=scenario.WHO,
        ).number
        for step, fields in scenario.STEPS:
            demo[step] = _told(enter(store, number, step, in_inches(fields), who=scenario.WHO, system=system))
        looks = {
            photo.flank: FlankLook(photo=photo.path.read_bytes(), corners=photo.corners)
            for photo in scenario.demo_photos()
        }
        demo["pattern"] = _told(enter_patterns(store, number, looks, who=scenario.WHO, system=system))
        every = _every_step(store, system)
    return home, demo, every


def _every_step(store: JobStore, system: System) -> dict[str, Any]:
    """Put a second job through every step and most ways; one entry corrected, one taken back, one waived."""
    out: dict[str, Any] = {}
    number = start_job(
        store, design_name=scenario.DESIGN, vehicle="hay lorry", complaint="growls", who="bench two"
    ).number
    for name, step, fields in EVERY_STEP:
        out[name] = enter(store, number, step, in_inches(fields), who="bench two", system=system)
    first = out["fits outside"].entries[0].seq
    again = in_inches({"bearings": "good", "flange_runout": "0.0010", "ring_face_runout": "0.0020"})
    out["fits corrected"] = enter(
        store, number, "fits", again, who="bench two", system=system, supersedes=first
    )
    take_back(store, number, out["close"].entries[0].seq, "too early", who="bench two")
    store.waive(number, "pattern", "no paint left", who="bench two")
    words: dict[Any, FlankLook] = {
        "drive": FlankLook(words="high, toward heel, about half"),
        "coast": FlankLook(words="high, centred, about half"),
    }
    out["pattern in words"] = enter_patterns(store, number, words, who="bench two", system=system)
    return {name: _told(one) for name, one in out.items()}


def demo_job(language: str, system: System) -> Split:
    """Outcomes of the demonstration job."""
    return split_data(jobs(language, system)[1])


def every_step(language: str, system: System) -> Split:
    """Outcomes of the second job."""
    return split_data(jobs(language, system)[2])


FOOT: Final = re.compile(r"\w+ \d+(?: · [^·<]{1,40})? · \w+ <hash> \w+ \d+ \w+ \d+")
"""The foot of a page, which stands wherever the page ends."""


def sheets(language: str, system: System) -> Split:
    """The text of both jobs' sheets, a sentence a line, however the lines are broken on paper."""
    home = jobs(language, system)[0]
    out = {}
    with using_language(language), open_store(home) as store, _one_time_zone():
        for number in (1, 2):
            pdf = job_sheet_pdf(store, number, system=system, shop=scenario.SHOP)
            text = subprocess.run(
                ["pdftotext", "-raw", "-", "-"], input=pdf, capture_output=True, check=True
            ).stdout.decode("utf-8")
            whole = re.sub(r"(?<=[0-9a-f]\u200b)\s+(?=[0-9a-f]\u200b)", "", text)  # hashes break anywhere
            line = masked(" ".join(whole.replace("\u200b", "").split()))
            out[f"job {number}"] = re.sub(r"(?<=[.;:?]) (?=\D)", "\n", FOOT.sub("\n", line))
    return split_pages(out)


@contextmanager
def _one_time_zone() -> Iterator[None]:
    """Print in UTC: a longer zone breaks the lines of a sheet elsewhere."""
    before = os.environ.get("TZ")
    os.environ["TZ"] = "UTC"
    time.tzset()
    try:
        yield
    finally:
        if before is None:
            del os.environ["TZ"]
        else:
            os.environ["TZ"] = before
        time.tzset()


def _command(language: str, *arguments: str) -> Any:
    """Run a command with ``--json`` and return its answer."""
    from typer.testing import CliRunner

    from axlewright.cli.app import app

    with using_language(language):
        done = CliRunner().invoke(app, [*arguments, "--json"])
    assert done.exit_code == 0, (arguments, done.output, done.exception)
    return json.loads(done.stdout)


SPACER: Final = (
    "spacer", "--carrier", "5.6230 5.6235 5.6225", "--bearing", "1.2490", "--mounting-distance", "4.3125",
    "--place", "under_head", "--mark", "+2", "--mark-unit", "0.001 in",
    "--mark-meaning", "plus_means_larger_mounting_distance", "--stock", "0.0590 0.0600",
)  # fmt: skip
READ: Final = (
    "read", "--design", "TY-222", "--drive-words", "high, toward heel, about half",
    "--coast-words", "high, centred, about half", "--backlash", "0.20mm", "--spacer-now", "0.0545in",
    "--mark", "+0.002in",
)  # fmt: skip


def commands(language: str) -> Split:
    """What the main commands print with ``--json``."""
    home = str(jobs(language, "inch")[0])
    out = {
        "spacer": _command(language, *SPACER),
        "read words": _command(language, *READ),
        "read photos": _command(language, "read", "--design", "TY-222", *_photo_options()),
        "roll": _command(language, "roll", "TY-222", "--pinion-out", "2 thou", "--ring-away", "0.05 mm"),
        "roll loaded": _command(language, "roll", "TY-222", "--torque", "200Nm", "--flank", "drive"),
        "designs": _command(language, "designs", "TY-222"),
        "job list": _command(language, "job", "list", "--home", home),
        "job next": _command(language, "job", "next", "1", "--home", home),
        "job shelf": _command(language, "job", "shelf", "list", "--home", home)[:3],
        "job add": _command(
            language, "job", "add", "2", "depth", *_typed(EVERY_STEP[5][2]), "--who", "b", "--try",
            "--home", home,
        ),
    }  # fmt: skip
    if language == "en":  # what was typed and kept; its words are compared as outcomes in the other language
        out["job show"] = _command(language, "job", "show", "1", "--home", home)
    return split_data(out)


def _typed(fields: Mapping[str, str]) -> list[str]:
    return [f"{name}={text}" for name, text in fields.items()]


def _photo_options() -> list[str]:
    out = []
    for photo in scenario.demo_photos():
        out += [f"--{photo.flank}", str(photo.path), f"--{photo.flank}-corners", photo.corners]
    return out


@cache
def _batch_home() -> Path:
    home = place("batch") / "records"
    _command("en", "batch", "import", "--demo", "--home", str(home))
    return home


def batch_commands() -> Split:
    """What the commands about many sets print with ``--json``."""
    home = str(_batch_home())
    return split_data(
        {
            "best": _command("en", "batch", "best", "--home", home)[:4],
            "charts": _command("en", "batch", "charts", "--design", "TY-222", "--home", home),
            "study": _command("en", "batch", "study", "--design", "TY-222", "--count", "2000"),
        }
    )


def practice_review() -> Split:
    """An exercise from beginning to end."""
    from axlewright.job import practice
    from axlewright.training import Action, ExerciseName

    with open_store(place("practice") / "records") as store:
        kept = practice.start_practice(store, ExerciseName("TY-222", 1, 3), "bench one")
        for kind in DEEDS:
            kept = practice.practise(store, kept.key, Action(kind))  # type: ignore[arg-type]
        return split_data(practice.review_json(practice.played_attempt(store, kept.attempt)))


DEEDS: Final = ("identity", "backlash", "roll", "listen", "runout", "housing", "sign")


def listened(language: str) -> Split:
    """What is heard in a made drive, always the same one."""
    from axlewright.sound import DrivePlan, DriveSource, Tyre, save_drive, simulate_drive

    folder = place(f"sound_{language}")
    source = DriveSource("mesh", 41, 9.0, pinion_runout=0.3, pinion_order=41 / 11)
    drive = simulate_drive((source,), Tyre(2.1, 0.005, ""), DrivePlan(duration_s=20), 3)
    recording = save_drive(drive, folder, "drive", "flac")
    told = _command(
        language, "listen", str(recording), "--ring-teeth", "41", "--pinion-teeth", "11",
        "--tyre-rollout", "2.10m", "--speed-marks", str(recording.with_suffix(".marks")),
    )  # fmt: skip
    return split_data(told)


class _Visible(HTMLParser):
    """Collects what a page shows: its text, what stands in fields, what is read out for pictures."""

    BREAKS: Final = re.compile(
        "p|li|td|th|tr|dt|dd|h[1-4]|figcaption|label|legend|button|summary|option|caption|title|div|section|"
        "article|nav|header|footer|main|form|fieldset|input|select|textarea|details|text|desc"
    )
    HIDDEN: Final = frozenset(("script", "style", "template"))

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.out = io.StringIO()
        self.hidden = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.hidden += tag in self.HIDDEN
        if self.BREAKS.fullmatch(tag):
            self.out.write("\n")
        given = dict(attrs)
        if tag == "input" and given.get("type") not in ("hidden", "submit", "checkbox", "radio"):
            self.out.write(f"[{given.get('value') or ''}]\n")
        if (tag == "option" and "selected" in given) or (tag == "input" and "checked" in given):
            self.out.write("[chosen] ")
        for name in ("aria-label", "alt", "placeholder"):
            if given.get(name):
                self.out.write(f"\n{name}: {given[name]}\n")

    def handle_endtag(self, tag: str) -> None:
        self.hidden -= tag in self.HIDDEN
        if self.BREAKS.fullmatch(tag):
            self.out.write("\n")

    def handle_data(self, data: str) -> None:
        if not self.hidden:
            self.out.write(data.replace("\n", " "))


def visible(page: str) -> str:
    reader = _Visible()
    reader.feed(page)
    return reader.out.getvalue()


STEP_KEYS: Final = (
    "complaint", "as-found", "identity", "fits", "depth", "preload", "backlash", "pattern", "final", "close",
)  # fmt: skip


def _visit(language: str, system: System, home: Path, go: Callable[[Any], dict[str, str]]) -> Split:
    sys.path.insert(0, str(Path(__file__).parents[1] / "web"))
    try:
        from web_visitor import Caller
    finally:
        sys.path.pop(0)

    from axlewright.web import create_app

    app = create_app(home)
    app.state.site.warmth.ready = True
    client = Caller(app, "http://127.0.0.1:8420", "127.0.0.1")
    _post(client, "/settings/me", {"who": "bench one", "system": system, "language": language})
    return split_pages({name: visible(page) for name, page in go(client).items()})


def _get(client: Any, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200, (path, answer.text[:1000])
    return str(answer.text)


def _post(client: Any, path: str, fields: dict[str, str]) -> Any:
    found = re.search(r'name="token" value="([0-9a-f]{64})"', _get(client, "/settings"))
    assert found
    answer = client.post(path, data={"token": found[1], **fields})
    assert answer.status_code == 200, (path, answer.text[:1000])
    return answer


def job_pages(language: str, system: System) -> Split:
    """The bench and every step of both jobs as pages show them."""

    def go(client: Any) -> dict[str, str]:
        paths = ["/", "/jobs/new", "/settings", "/designs", "/designs/TY-222", "/jobs/1/pattern"]
        paths += [f"/jobs/{job}?step={step}" for job in (1, 2) for step in STEP_KEYS]
        return {path: _get(client, path) for path in paths}

    return _visit(language, system, jobs(language, system)[0], go)


def practice_pages(language: str, system: System) -> Split:
    """An exercise from beginning to end, and the list of attempts."""

    def go(client: Any) -> dict[str, str]:
        begun = _post(client, "/practice", {"design": "TY-222", "level": "1", "number": "3"})
        path = begun.url.path
        pages = {
            kind: _post(client, path, {"kind": kind, "seen": str(n)}).text for n, kind in enumerate(DEEDS)
        }
        return {"begun": begun.text, **pages, "attempts": _get(client, "/practice")}

    return _visit(language, system, place(f"practice_{language}") / "records", go)


def batch_pages(language: str, system: System) -> Split:
    """Sets, one set, charts and a study."""

    def go(client: Any) -> dict[str, str]:
        sets = _get(client, "/batch")
        one = re.search(r'href="(/batch/set[^"]*)"', sets)
        assert one
        paths = {"charts": "/batch/charts?design=TY-222", "study": "/batch/study?design=TY-222&count=2000"}
        shown = {name: _get(client, path) for name, path in paths.items()}
        return {"sets": sets, "set": _get(client, one[1].replace("&amp;", "&")), **shown}

    return _visit(language, system, _batch_home(), go)


def _scenes() -> dict[str, Callable[[], Split]]:
    out: dict[str, Callable[[], Split]] = {}
    for language in LANGUAGES:
        for system in SYSTEMS:
            for name, scene in (("demo_job", demo_job), ("sheets", sheets)):
                out[f"{name}_{language}_{system}"] = lambda s=scene, a=language, b=system: s(a, b)
        out[f"commands_{language}"] = lambda a=language: commands(a)
        out[f"listen_{language}"] = lambda a=language: listened(a)
    for language, system in zip(LANGUAGES, SYSTEMS, strict=True):
        for name, scene in (
            ("every_step", every_step),
            ("job_pages", job_pages),
            ("practice_pages", practice_pages),
            ("batch_pages", batch_pages),
        ):
            out[f"{name}_{language}"] = lambda s=scene, a=language, b=system: s(a, b)
    out["batch_commands"] = batch_commands
    out["practice_review"] = practice_review
    return {name: cache(scene) for name, scene in out.items()}


SCENES: Final = _scenes()
"""What is kept, by the name of its file."""
