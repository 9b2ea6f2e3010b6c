"""Which evidence decides where pinion and ring gear belong.

Evidence has an order. What was measured and added up comes first in time and last in rank:

1. ``"accepted"``: the gears belong where they sat when a pattern was accepted;
2. ``"advice"``: a change was made on the patterns' evidence, so they belong where that change put them;
3. ``"sum"``: the depth sum for the pinion, the backlash wanted for the ring gear.

A limit is no evidence: what is outside its limit stays outside, whatever decides.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, Literal

from axlewright.records.types import Entry

Basis = Literal["sum", "advice", "accepted"]
_STILL_MM: Final = 1e-6
"""A change smaller than this is none."""


@dataclass(frozen=True, slots=True)
class Deciding:
    """What decides at one moment of a job.

    Attributes
    ----------
    pinion, ring : {"sum", "advice", "accepted"}
        Which evidence decides on the pinion's and on the ring gear's place.
    spacer_mm : float or None
        The spacer wanted [mm]; None while nothing tells.
    sum_mm : float or None
        What the depth sum gives [mm], also where it no longer decides.
    fitted_mm : float or None
        The spacer that is in [mm].
    seq : int or None
        Of the pattern result that decides on the pinion.
    """

    pinion: Basis = "sum"
    ring: Basis = "sum"
    spacer_mm: float | None = None
    sum_mm: float | None = None
    fitted_mm: float | None = None
    seq: int | None = None


@dataclass(frozen=True, slots=True)
class _Advised:
    """A change that the patterns asked for and that was not made yet."""

    seq: int
    of: int
    spacer_mm: float | None
    ring_mm: float

    @classmethod
    def of_result(cls, entry: Entry) -> _Advised:
        values = entry.payload.get("values", {})
        change, fit = values.get("spacer_change_mm"), values.get("spacer_to_fit_mm")
        moves = fit is not None and abs(float(change or 0.0)) > _STILL_MM
        return cls(
            entry.seq,
            int(entry.payload.get("of") or 0),
            float(fit) if moves else None,
            float(values.get("shim_move_mm") or 0.0),
        )


class _Reader:
    """Goes through a job's entries, oldest first."""

    def __init__(self) -> None:
        self.now = Deciding()
        self.before_accepted = self.now
        self.advised: _Advised | None = None
        self.advice: dict[int, int] = {}
        self.place: Any = None
        self.bearing_mm: float | None = None
        self.pair: tuple[Any, Any] | None = None

    def read(self, entry: Entry) -> None:
        values = entry.payload.get("values", {})
        if entry.kind == "advice":
            self.advice[entry.seq] = int(entry.payload.get("of") or 0)
        elif entry.kind == "decision" and "advice" in entry.payload:
            self._answered(self.advice.get(int(entry.payload["advice"])), bool(entry.payload.get("taken")))
        elif entry.kind != "result":
            return
        elif entry.step == "identity":
            pair = (values.get("pinion_number"), values.get("ring_number"))
            if self.pair not in (None, pair):
                self._from_the_start()
            self.pair = pair
        elif entry.step == "pattern":
            self._pattern(entry, values)
        else:
            self.measured(entry.step, values)

    def measured(self, step: str, values: Mapping[str, Any]) -> None:
        if step == "depth":
            self._depth(values)
        elif step == "backlash" and self.advised is not None and abs(self.advised.ring_mm) > _STILL_MM:
            self.now = replace(self.now, ring="advice")

    def _depth(self, values: Mapping[str, Any]) -> None:
        place, bearing = values.get("place"), values.get("bearing_mean_mm")
        if self.place not in (None, place):
            self._from_the_start()
        elif self.now.pinion != "sum" and None not in (self.now.spacer_mm, self.bearing_mm, bearing):
            self._with_bearing(float(bearing or 0.0) - float(self.bearing_mm or 0.0))
        self.place, self.bearing_mm = place, bearing if bearing is not None else self.bearing_mm
        if values.get("spacer_mm") is not None:
            self.now = replace(self.now, sum_mm=float(values["spacer_mm"]))
            if self.now.pinion == "sum":
                self.now = replace(self.now, spacer_mm=self.now.sum_mm)
        if not values.get("fitted"):
            return
        fitted = float(values["spacer_now_mm"])
        self.now = replace(self.now, fitted_mm=fitted)
        if self.now.pinion == "accepted" and self.now.spacer_mm is None:
            self.now = replace(self.now, spacer_mm=fitted)  # which one was in is said only now
        # A spacer belongs to the evidence whose value it comes nearer to.
        to_fit = None if self.advised is None else self.advised.spacer_mm
        wanted = self.now.spacer_mm
        if to_fit is not None and (wanted is None or abs(fitted - to_fit) < abs(fitted - wanted)):
            self._followed()

    def _with_bearing(self, wider_mm: float) -> None:
        """Keep the pinion where patterns put it when its bearing is another one, or was read again."""
        change = wider_mm if self.place == "cage_flange" else -wider_mm
        self.now = replace(self.now, spacer_mm=float(self.now.spacer_mm or 0.0) + change)

    def _pattern(self, entry: Entry, values: Mapping[str, Any]) -> None:
        if "accepted" not in values:
            self.advised = _Advised.of_result(entry)
        elif not values["accepted"]:
            if self.now.pinion == "accepted":
                now = self.now
                self.now = replace(self.before_accepted, sum_mm=now.sum_mm, fitted_mm=now.fitted_mm)
        elif entry.payload.get("verdict") == "ok":
            self.before_accepted, self.advised = self.now, None
            self.now = replace(
                self.now, pinion="accepted", ring="accepted", spacer_mm=self.now.fitted_mm, seq=entry.seq
            )

    def _answered(self, reading: int | None, taken: bool) -> None:
        if self.advised is None or reading != self.advised.of:
            return
        if taken:
            self._followed()
        else:
            self.advised = None

    def _followed(self) -> None:
        assert self.advised is not None
        if self.advised.spacer_mm is not None:
            self.now = replace(
                self.now, pinion="advice", spacer_mm=self.advised.spacer_mm, seq=self.advised.seq
            )
        if abs(self.advised.ring_mm) > _STILL_MM:
            self.now = replace(self.now, ring="advice")

    def _from_the_start(self) -> None:
        """Another set, or the shim in another place: what patterns showed before says nothing on it."""
        self.now, self.advised = Deciding(), None
        self.bearing_mm = None


def deciding(entries: Sequence[Entry], step: str = "", values: Mapping[str, Any] | None = None) -> Deciding:
    """Say which evidence decides.

    Parameters
    ----------
    entries : sequence of Entry
        Those of a job that count, oldest first.
    step, values : str, mapping, optional
        "depth" or "backlash" and what was found there, when it is about to be entered. Of depth count
        `place`, `spacer_mm` (what the sum gives), `bearing_mean_mm`, and `fitted` with `spacer_now_mm`
        where the spacer in is known.
    """
    reader = _Reader()
    for entry in entries:
        reader.read(entry)
    if step:
        reader.measured(step, values or {})
    return reader.now
