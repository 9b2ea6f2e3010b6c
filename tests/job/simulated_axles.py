"""Axles with a hidden error, and a bench that does whatever the next step asks."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any, Final

import numpy as np
from rolled_jobs import SD

import axlewright as aw
from axlewright.contact import ContactPattern, backlash_per_move, roll
from axlewright.contact.atlas import backlash_change_mm
from axlewright.diagnosis import COST_WORDS, Diagnosis, Evidence, Spread, diagnose, spacer_sign
from axlewright.job import enter, job_view, start_job
from axlewright.job.entering import Outcome
from axlewright.job.pattern import answer_advice, enter_readings
from axlewright.pattern import PatternReading
from axlewright.records import JobStore
from axlewright.units import System

FLANKS: Final = ("drive", "coast")
GRID_MM: Final = 0.0127
"""Settings are rolled at whole steps of the spacers (0.0005 in), so that jobs share them."""
SHIM_MM: Final = (6.35, 6.73)
SPACER_STEP_MM: Final = {"inch": 0.0127, "metric": 0.01}
MOST_TASKS: Final = 60
LOOKS_AGAIN: Final = 2
"""So often a doubtful pattern is read once more before its advice is followed."""


@lru_cache(maxsize=4096)
def _rolled(name: str, pinion: int, ring: int) -> tuple[dict[str, ContactPattern], float]:
    """Return both patterns and the backlash [mm] at whole steps of `GRID_MM`."""
    design = aw.load_design(name)
    at = {f: roll(design, f, pinion * GRID_MM, ring * GRID_MM) for f in FLANKS}
    nought = {f: roll(design, f, 0.0, 0.0) for f in FLANKS} if (pinion or ring) else at
    turned = (at[f].shift_urad - nought[f].shift_urad for f in FLANKS)
    backlash = design.backlash_nominal_mm + backlash_change_mm(design, *turned)
    return {f: at[f].pattern for f in FLANKS}, backlash


@dataclass(frozen=True, slots=True)
class Ask:
    """What a step asked to be moved, and which way: `task` counts what was done before.

    `limit` tells that the backlash was outside its limit: that is put right whatever decides.
    """

    task: int
    step: str
    member: str
    way: int
    limit: bool = False


@dataclass(slots=True)
class Axle:
    """An axle on the bench.

    Attributes
    ----------
    sum_off_mm : float
        Where the pinion sits with the spacer of the sum, out plus [mm].
    ring_mm : float
        Where the ring gear sits, away plus [mm].
    """

    store: JobStore
    rng: np.random.Generator
    design: str
    place: str
    system: System
    marked: bool
    sum_off_mm: float
    ring_mm: float
    sum_mm: float = 1.5
    fitted_mm: float = 0.0
    number: int = 0
    moved_mm: float = 0.0
    looks: int = 0
    accepted_at: int | None = None
    stuck: str = ""
    tasks: list[str] = field(default_factory=list)
    asks: list[Ask] = field(default_factory=list)
    after_accepted: list[str] = field(default_factory=list)

    @property
    def pinion_mm(self) -> float:
        thicker = self.fitted_mm - self.sum_mm
        return self.sum_off_mm + (thicker if self.place == "cage_flange" else -thicker)

    def length(self, mm: float) -> str:
        return f"{mm:.3f} mm" if self.system == "metric" else f"{mm / 25.4:.5f} in"

    def enter(self, step: str, **fields: str) -> Outcome:
        self.tasks.append(step)
        return enter(self.store, self.number, step, fields, who="b", system=self.system)

    def ask(self, step: str, member: str, move_mm: float, limit: bool = False) -> None:
        if abs(move_mm) > 1e-6:
            self.asks.append(Ask(len(self.tasks), step, member, 1 if move_mm > 0 else -1, limit))

    def start(self) -> None:
        self.number = start_job(
            self.store, design_name=self.design, vehicle="v", complaint="c", who="b"
        ).number
        step = SPACER_STEP_MM[self.system]
        self.fitted_mm = round(self.sum_mm / step) * step + step * int(self.rng.integers(-8, 9))
        self.enter("complaint", heard="whine", when="drive", others_out="yes")
        self.enter("as-found", backlash="0.20 mm 0.21 mm 0.20 mm", tagged="yes")
        self.enter("identity", pinion_number="A 12", ring_number="A 12")
        self.enter("fits", bearings="good")

    def depth(self) -> Outcome:
        reads, mark = 100.0, {}
        far = reads + self.sum_mm + 30.0
        fields = {"carrier": self.length(far), "mounting_distance": self.length(reads)}
        if self.place == "cage_flange":  # mounting distance + bearing + cage − carrier
            fields["carrier"] = self.length(reads + 30.0 + 20.0 - self.sum_mm)
            fields["cage_height"] = self.length(20.0)
        if self.marked:
            mark = {
                "mark": "0",
                "mark_unit": "0.01 mm",
                "mark_meaning": "plus_means_larger_mounting_distance",
            }
        fields |= {"bearing": self.length(30.0), "fitted": self.length(self.fitted_mm), "place": self.place}
        out = self.enter("depth", **fields, **mark)
        left = out.values.get("pinion_left_out_mm")
        if out.verdict == "not ok" and left is not None:
            self.ask("depth", "pinion", -left)
        return out

    def backlash_read(self) -> str:
        """Return the backlash at four places round the ring gear, as typed."""
        _patterns, mean = _rolled(self.design, *self.steps())
        return " ".join(f"{max(0.0, mean + off):.3f} mm" for off in (0.008, -0.008, 0.0, 0.004))

    def backlash(self) -> Outcome:
        design = aw.load_design(self.design)
        shims = (SHIM_MM[0] - self.ring_mm, SHIM_MM[1] + self.ring_mm)
        low, high = design.backlash_nominal_mm - 0.05, design.backlash_nominal_mm + 0.05
        out = self.enter(
            "backlash",
            readings=self.backlash_read(),
            stem="in_rotation",
            axle="light",
            limit_low=f"{max(0.05, low):.3f} mm",
            limit_high=f"{high:.3f} mm",
            ring_side=f"{shims[0]:.3f} mm",
            other_side=f"{shims[1]:.3f} mm",
            **({"moved": f"{self.moved_mm:.3f} mm"} if self.moved_mm else {}),
        )
        self.moved_mm = 0.0
        if "ring_side_new_mm" in out.values:
            self.ask("backlash", "ring", out.values["ring_away_mm"], out.verdict == "not ok")
        return out

    def steps(self) -> tuple[int, int]:
        return round(self.pinion_mm / GRID_MM), round(self.ring_mm / GRID_MM)

    def move_ring(self, by_mm: float) -> None:
        self.ring_mm += by_mm
        self.moved_mm += by_mm

    def pattern(self) -> None:
        """Roll, read with an error, and do what is said."""
        patterns, _backlash = _rolled(self.design, *self.steps())
        off = self.rng.normal(0.0, (*SD, *SD))
        read = {}
        for k, flank in enumerate(FLANKS):
            (x, y), one = patterns[flank].center, patterns[flank]
            moved = replace(one, center=(x + float(off[2 * k]), y + float(off[2 * k + 1])))
            read[flank] = PatternReading(pattern=moved, center_sd=SD, length_sd=0.03, source="photo")
        self.tasks.append("pattern")
        out = enter_readings(self.store, self.number, read, who="b", system=self.system)
        pinion, ring = (float(out.values.get(k) or 0.0) for k in ("pinion_move_mm", "shim_move_mm"))
        if "pinion_move_mm" not in out.values:
            self.looks += 1
            if self.looks > LOOKS_AGAIN:
                self.stuck = out.why
            return
        if not pinion and not ring:
            if out.values["cost_words"] == "new parts or housing work":
                self.stuck = out.why
                return
            self.enter("pattern", accepted="yes")
            self.accepted_at = len(self.tasks)
            return
        if out.verdict == "ask" and self.looks < LOOKS_AGAIN:
            self.looks += 1
            return
        self.looks = 0
        self.ask("pattern", "pinion", pinion)
        self.ask("pattern", "ring", ring)
        advice = next(e for e in out.entries if e.kind == "advice")
        answer_advice(self.store, self.number, advice.seq, True, "", who="b")
        if ring:
            self.move_ring(ring)
        if pinion:
            self.fitted_mm = float(out.values["spacer_to_fit_mm"])
            self.depth()

    def work(self) -> None:
        """Do the next thing until nothing but the closing is left."""
        self.start()
        preload = {"bearings": "new", "kind": "spacer", "torque": "20 lb-in"}
        while len(self.tasks) < MOST_TASKS and not self.stuck:
            view = job_view(self.store, self.number)
            key, state = view.next.key, view.step(view.next.key or "close").status.state
            if self.accepted_at is not None:
                self.after_accepted.append(key)
            if key == "close":
                return
            if key == "depth" and state == "ask":  # to be decided by the pattern: on with what stands open
                later = [s.key for s in view.steps if s.key in ("preload", "backlash", "pattern")]
                key = next(k for k in later if view.step(k).status.state not in ("ok", "waived"))
            if key == "depth":
                out = self.depth()
                if out.verdict == "not ok":
                    self.fitted_mm = float(out.values.get("wanted_mm", out.values["spacer_mm"]))
            elif key == "preload":
                self.enter("preload", **preload)
            elif key == "backlash":
                out = self.backlash()
                if "ring_side_new_mm" in out.values:
                    self.move_ring(float(out.values["ring_away_mm"]))
            elif key == "pattern":
                self.pattern()
            elif key == "final":
                self.enter("final", backlash=self.backlash_read(), torque="22 lb-in", pattern="same")

    def reversed_asks(self) -> list[tuple[Ask, Ask]]:
        """Return what a step asked for the other way round than the patterns did before it."""
        out = []
        for member in ("pinion", "ring"):
            last: Ask | None = None
            for one in (a for a in self.asks if a.member == member):
                if one.step == "pattern":
                    last = one
                elif last is not None and one.way != last.way:
                    out.append((last, one))
        return out


def axle_of(store: JobStore, seed: int) -> Axle:
    """Return the axle of a seed: design, place of the shim, system and errors are drawn."""
    rng = np.random.default_rng(seed)
    return Axle(
        store,
        rng,
        design=str(rng.choice(["TY-222", "TY-310", "TY-205H", "TY-176B"])),
        place=str(rng.choice(["under_head", "behind_cup", "cage_flange"])),
        system="inch" if rng.random() < 0.5 else "metric",
        marked=bool(rng.random() < 0.8),
        sum_off_mm=float(rng.normal(0.0, 0.08)),
        ring_mm=float(rng.normal(0.0, 0.08)),
    )


def summary(axle: Axle) -> dict[str, Any]:
    """Return what to say of an axle when a check fails."""
    return {
        "job": axle.number,
        "design": axle.design,
        "place": axle.place,
        "tasks": axle.tasks,
        "asks": axle.asks,
    }


@lru_cache(maxsize=8)
def _template(name: str) -> tuple[Diagnosis, float]:
    """Return a diagnosis of a design where it was developed, and how far a pattern rises per pinion out."""
    patterns, _backlash = _rolled(name, 0, 0)
    read = {
        f: PatternReading(pattern=p, center_sd=SD, length_sd=0.03, source="photo")
        for f, p in patterns.items()
    }
    high, low = (_rolled(name, k, 0)[0]["drive"].center[1] for k in (8, -8))
    told = diagnose(Evidence(aw.load_design(name), **read))
    told = replace(told, posterior=told.posterior.thinned(64))
    return told, (high - low) / (16 * GRID_MM)


def quick_diagnosis(evidence: Evidence, **_rest: Any) -> Diagnosis:
    """Return the change that the height of the drive pattern and the backlash ask for.

    It stands in for `axlewright.diagnosis.diagnose` where many jobs are worked and only what the record makes
    of an advice counts. Lengthwise it would have the ring gear beside where the backlash wants it.
    """
    told, per_mm = _template(evidence.design.name)
    assert evidence.drive is not None
    x, y = evidence.drive.pattern.center
    out, sd = y / per_mm, SD[1] / per_mm
    move = -round(out / GRID_MM) * GRID_MM if abs(out) > 0.04 else 0.0
    ring = 0.0
    if evidence.backlash_mm is not None and evidence.backlash_target_mm is not None:
        per_ring, per_pinion = (one.computed for one in backlash_per_move(evidence.design))
        wanted = evidence.backlash_target_mm + float(np.clip(x, -0.02, 0.02))
        steps = round((wanted - evidence.backlash_mm - per_pinion * move) / per_ring / GRID_MM)
        ring = steps * GRID_MM if abs(steps) > 2 else 0.0
    change, cost = spacer_sign(evidence.place) * move, "L3" if move else "L1" if ring else "L0"
    now = evidence.spacer_now_mm
    advice = replace(
        told.advice[0],
        text="Move them.",
        pinion_move_mm=move,
        shim_move_mm=ring,
        spacer_change_mm=change,
        spacer_to_fit_mm=None if now is None else now + change,
        cost_class=cost,
        cost_words=COST_WORDS[cost],
        look_again=False,
        saves_hours=None,
    )
    depth = Spread(out, sd, out - 1.64 * sd, out + 1.64 * sd)
    cure = Spread(-out, sd, -out - 1.64 * sd, 1.64 * sd - out)
    return replace(
        told,
        cause=told.cause | {"pinion_out_mm": depth},
        cure=told.cure | {"pinion_move_mm": cure},
        explained=True,
        advice=(advice,),
    )
