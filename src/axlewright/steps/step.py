"""What a step is: its fields and the rule that judges what was typed with what is known of the job.

A step stands in one file of this room. Its fields are declared once (`field.Field`); the form, `job add`, the
check of every field, the record, the sheet and the docs follow from the declaration. Its rule takes the
answers, typed, and what is known of the job, and returns a `result.Result` of values and messages.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import KW_ONLY, dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from axlewright.language import Text, _, decode, n_
from axlewright.steps.answers import Answers
from axlewright.steps.field import Field
from axlewright.steps.result import Result
from axlewright.units import System

if TYPE_CHECKING:
    from axlewright.gearset import GearSetDesign
    from axlewright.records import Entry, Instrument, Job
    from axlewright.setup import ShimPlace, StockItem
    from axlewright.steps.fitted import LastFitted


@dataclass(frozen=True, slots=True)
class Context:
    """What is already known when a step is entered.

    Attributes
    ----------
    entries : tuple of Entry
        Those of the job that count, oldest first.
    shelf, leaves, side_shims : tuple of StockItem
        Spacers, leaves for packs and side shims on the shelf.
    instrument : Instrument or None
        The one named at the step, where it stands in the list of instruments.
    fitted : LastFitted or None
        The depth spacer last said to be fitted, also where that entry was taken back.
    """

    job: Job
    design: GearSetDesign | None
    entries: tuple[Entry, ...]
    shelf: tuple[StockItem, ...]
    who: str
    system: System
    leaves: tuple[StockItem, ...] = ()
    side_shims: tuple[StockItem, ...] = ()
    instrument: Instrument | None = None
    fitted: LastFitted | None = None

    @classmethod
    def without_job(cls, system: System, *, shelf: tuple[StockItem, ...] = ()) -> Context:
        """Return what is known where a step is worked out without a job: nothing but what is at hand."""
        from axlewright.records import Job

        never = datetime.min.replace(tzinfo=UTC)
        job = Job(0, "", "", "", "", "", "", "open", "", 0, never, never)
        return cls(job, None, (), shelf, "", system)

    @property
    def of_job(self) -> bool:
        """Whether there is a job, with a shelf that can be filled and parts that go in."""
        return self.job.number > 0

    def last_values(self, step: str) -> dict[str, Any]:
        """Return the values of the last result of a step; empty when there is none."""
        return next(iter(reversed(self.all_values(step))), {})

    def all_values(self, step: str) -> list[dict[str, Any]]:
        """Return the values of every result of a step that counts, oldest first."""
        return [
            dict(decode(e.payload.get("values", {})))
            for e in self.entries
            if e.step == step and e.kind == "result"
        ]


@dataclass(frozen=True, slots=True)
class StepForm:
    """A step as it is entered: its fields and its rule.

    Attributes
    ----------
    step : str
        Key of the step in the order of the job.
    lead : str
        What to do, one or two sentences.
    button : str
        What the button says.
    folded : tuple of str
        Headings whose fields are folded away as long as nothing stands in them; none is needed.
    rule : callable
        ``rule(answers, context) -> Result``.
    """

    step: str
    lead: str
    fields: tuple[Field, ...]
    button: str = n_("Work it out and keep it")
    folded: tuple[str, ...] = ()
    _: KW_ONLY
    rule: Callable[[Answers, Context], Result]

    def labels(self) -> dict[str, Text]:
        """Return the label of each field."""
        return {f.name: _(f.label) for f in self.fields}

    def field(self, name: str) -> Field:
        """Return the field with this name; `KeyError` where there is none."""
        for one in self.fields:
            if one.name == name:
                return one
        raise KeyError(name)

    def groups(self) -> list[tuple[str, list[Field]]]:
        """Return the fields by heading, in order."""
        out: list[tuple[str, list[Field]]] = []
        for one in self.fields:
            if not out or out[-1][0] != one.group:
                out.append((one.group, []))
            out[-1][1].append(one)
        return out


def pinion_out_of_spacers(before_mm: float, after_mm: float, place: ShimPlace) -> float:
    """Return how far the pinion moved out [mm] when one spacer was exchanged for another."""
    from axlewright.setup import pinion_out_of_shim_change_mm

    return pinion_out_of_shim_change_mm(after_mm - before_mm, place)
