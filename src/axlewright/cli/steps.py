"""Commands about single steps: what can be typed into each, and the depth step without a job."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from inspect import Parameter, Signature
from typing import TYPE_CHECKING, Annotated, Any

import typer
import typer.main

from axlewright.cli.command import Command, in_readers_language, picked, print_json, sum_text
from axlewright.cli.options import JSON, SYSTEM, choice, lengths_of
from axlewright.errors import InputError
from axlewright.language import eager as _
from axlewright.steps.field import UNUSUAL, Field
from axlewright.units import System, using_system

if TYPE_CHECKING:
    from axlewright.steps.result import Result


def form_fields(step: str) -> tuple[Field, ...]:
    """Return the fields of a step, or say which steps there are."""
    from axlewright.steps.forms import FORMS

    if step not in FORMS:
        raise InputError(
            _("unknown step '{step}'").format(step=step),
            where=_("step"),
            fix=_("use one of {forms}").format(forms=", ".join(FORMS)),
        )
    return (*FORMS[step].fields, UNUSUAL)


def fields(
    step: Annotated[str, typer.Argument(help="Key of a step; all of them when left out.")] = "",
    as_json: JSON = False,
) -> None:
    """List what can be typed into a step: names, labels, units, answers, and to what each belongs."""
    from axlewright.steps.forms import FORMS

    declared = {one: form_fields(one) for one in ((step,) if step else FORMS)}
    if as_json:
        print_json({key: [_field_data(one) for one in several] for key, several in declared.items()})
        return
    for key, several in declared.items():
        if not step:
            typer.echo(f"[{key}]")
        for field in several:
            typer.echo(f"{field.name:24} {_(field.label)}{_about(field)}")


class AddCommand(Command):
    """A command that enters a step; its help ends with the fields of the step named beside it."""

    _step = ""

    def make_context(self, info_name: str | None, args: list[str], parent: Any = None, **extra: Any) -> Any:
        """Read the arguments, noting the step for the help."""
        from axlewright.steps.forms import FORMS

        self._step = next((one for one in args if one in FORMS), "")
        return super().make_context(info_name, args, parent, **extra)

    def format_help(self, ctx: Any, formatter: Any) -> None:
        """Write the usual help, then the step's fields."""
        super().format_help(ctx, formatter)
        if self._step:
            rows = [(one.name, f"{_(one.label)}{_about(one)}") for one in form_fields(self._step)]
            formatter.write_dl(rows, col_max=24)


def _field_data(one: Field) -> dict[str, Any]:
    return {
        **picked(one, "name kind needed only usual"),
        "label": _(one.label),
        "help": _(one.help),
        "unit": {"inch": one.unit("inch"), "metric": one.unit("metric")},
        "answers": {each.key: _(each.label) for each in one.choices},
    }


def _about(one: Field) -> str:
    kinds = {
        "yes": _("yes or no"),
        "count": _("a whole number"),
        "number": _("a number"),
        "lengths": _("several lengths, {inch} or {metric}"),
    }
    inch, metric = one.unit("inch"), one.unit("metric")
    kind = kinds.get(one.kind, _("{inch} or {metric}") if inch else "")
    what = ", ".join(each.key for each in one.choices) or kind.format(inch=inch, metric=metric)
    only = _("only with {what}").format(what=one.only.replace(":", "=")) if one.only else ""
    return "".join(
        [_(" (needed)") if one.needed else "", f" ({what})" if what else "", f" [{only}]" if only else ""]
    )


def typed_fields(parts: Sequence[str]) -> dict[str, str]:
    """Return what was typed as name=value."""
    typed: dict[str, str] = {}
    for part in parts:
        name, sign, value = part.partition("=")
        if not sign:
            raise InputError(
                _("'{part}' is not name=value").format(part=part),
                where=_("fields"),
                fix=_("write for example mark=+2"),
            )
        typed[name.strip()] = value.strip()
    return typed


def print_result(found: Result) -> None:
    """Print what a step gave: verdict, sums, notes and questions."""
    typer.echo(f"{found.verdict}: {found.why}")
    for line in found.sums:
        typer.echo(f"  {line.label}: {sum_text(line)}")
    for note in (*found.notes, *(f"? {question}" for question in found.questions)):
        typer.echo(f"  {note}")


def _flag(name: str) -> str:
    return f"--{name.replace('_', '-')}"


def _option(one: Field) -> Parameter:
    """Return a field of a step as an option; the step itself reads what is typed into it."""
    kind: Any = bool if one.kind == "yes" else str
    answers = [each.key for each in one.choices]
    option = typer.Option(
        _flag(one.name),
        help=one.label,
        rich_help_panel=one.group or None,
        metavar=None if kind is bool else "|".join(answers) or one.kind.upper().replace(" ", "-"),
        autocompletion=(lambda: answers) if answers else None,
    )
    usual = "0.0005 in" if one.name == "resolution" else ""
    default: Any = False if kind is bool else usual
    return Parameter(one.name, Parameter.KEYWORD_ONLY, default=default, annotation=Annotated[kind, option])


class DepthCommand(Command):
    """A command whose options are the fields of the depth step besides its own."""

    @cached_property
    def fields(self) -> list[Any]:
        """The fields as options; the step is loaded only where they are asked for."""
        left_out = ("note", "instrument")  # kept in a record, and there is none here

        def depth() -> None: ...

        options = [_option(one) for one in form_fields("depth") if one.name not in left_out]
        depth.__signature__ = Signature(options)  # type: ignore[attr-defined]
        made = typer.Typer(add_completion=False)
        made.command()(depth)
        return in_readers_language(typer.main.get_command(made).params)

    def get_params(self, ctx: Any) -> list[Any]:
        """Return all its options."""
        return [*self.fields, *super().get_params(ctx)]

    def invoke(self, ctx: Any) -> Any:
        """Hand what was typed into the fields on as ``ctx.meta["typed"]``."""
        values = {one.name: ctx.params.pop(one.name) for one in self.fields}
        ctx.meta["typed"] = {name: "yes" if value is True else value or "" for name, value in values.items()}
        return super().invoke(ctx)


def spacer(
    ctx: typer.Context,
    system: SYSTEM = "inch",
    unit: Annotated[str, choice("in", "mm", help="Unit of bare numbers.")] = "",
    stock: Annotated[str, typer.Option(help="Measured spacers on the shelf.")] = "",
    as_json: JSON = False,
) -> None:
    """Work out the pinion depth spacer, as the depth step of a job does.

    The options are the fields of that step; see 'axlewright fields depth'.
    """
    from axlewright.job.entering import work_out_alone
    from axlewright.steps.answers import FieldError

    chosen: System = {"in": "inch", "mm": "metric"}.get(unit, system)  # type: ignore[assignment]
    with using_system(chosen):
        shelf = lengths_of(stock, "in" if chosen == "inch" else "mm", "--stock") if stock else ()
        try:
            found = work_out_alone("depth", ctx.meta["typed"], system=chosen, shelf_mm=shelf)
        except FieldError as error:
            raise InputError(error.what, where=_flag(error.field), fix=error.fix) from error
        _print_spacer(found, bool(shelf), as_json)


def _print_spacer(found: Result, stock: bool, as_json: bool) -> None:
    from axlewright.setup import WrittenSum
    from axlewright.units import Length

    total, *others = found.sums
    assert isinstance(total, WrittenSum)  # worked out now, not read from a record
    other = others[0] if others else None
    low, high = total.interval_95
    if not as_json:
        typer.echo(_("Spacer: {sum}").format(sum=sum_text(total)))
        between = _("95 % between {low} and {high}").format(low=Length(low), high=Length(high))
        typer.echo(f"  {between}")
        if other is not None:
            typer.echo(f"  {other.label}: {sum_text(other)}, {other.note}")
        for text in (*found.notes, *(f"? {question}" for question in found.questions)):
            typer.echo(f"  {text}")
        return
    values = found.values
    print_json(
        {
            "spacer_mm": round(total.value, 5),
            "standard_uncertainty_mm": round(total.standard_uncertainty, 5),
            "interval_95_mm": [round(low, 5), round(high, 5)],
            "sum": str(total),
            "terms": [
                {
                    "label": term.label,
                    "value_mm": term.quantity.value,
                    "sign": term.sign,
                    "standard_uncertainty_mm": term.standard_uncertainty,
                }
                for term in total.terms
            ],
            "other_convention": None if other is None else f"{other.label}: {other}, {other.note}",
            "notes": found.notes,
            "questions": found.questions,
            "stock": None
            if not stock or values.get("shelf_mm") is None
            else {
                "thickness_mm": values["shelf_mm"],
                "remainder_mm": values["shelf_mm"] - total.value,
                "pinion_out_mm": values["pinion_left_out_mm"],
            },
        }
    )
