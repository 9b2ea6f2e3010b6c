"""Commands for many sets: read a roll-test log, best positions, matching, charts, labels, studies."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from axlewright.cli.command import Commands, picked, print_json, read_bytes, write
from axlewright.cli.options import HERE, JSON, OUT, OVERWRITE, STORE, SYSTEM, choice
from axlewright.errors import InputError
from axlewright.language import eager as _
from axlewright.units import Length

if TYPE_CHECKING:
    from axlewright.job.batch import SetView
    from axlewright.plant.control import Panel
    from axlewright.records import JobStore

batch = Commands(help="Many sets on the roll tester: log, best positions, charts, matching, labels, studies.")

SETS = Annotated[str, typer.Option("--design", help="Name of a design; all without it.")]
DESIGN = Annotated[str, typer.Option(help="Name of a design.")]
ONE_SET = Annotated[str, typer.Option("--set", help="One set.")]


@batch.command("import")
def import_log(
    file: Annotated[Path | None, typer.Argument(help="Log as CSV; - for standard input.")] = None,
    demo: Annotated[bool, typer.Option(help="Put in the log of the invented shop.")] = False,
    who: Annotated[str, typer.Option(help="Who read it, where no row says so.")] = "bench",
    store: STORE = HERE,
    as_json: JSON = False,
) -> None:
    """Read a log file into the records; nothing is kept while a row cannot be read."""
    from axlewright.job import batch as log
    from axlewright.plant import ReadLog

    if demo:
        count, read = log.fill_with_demo(store, who=who), ReadLog((), (), (), ())
    elif file is None:
        raise InputError(_("no log is named"), fix=_("name a file, - for standard input, or --demo"))
    else:
        read = log.import_log(store, read_bytes(file), name=file.name, who=who)
        count = len(read.rolls)
    problems = read.problems
    if as_json:
        print_json(
            {
                "taken": count,
                "problems": [picked(problem, "row column what fix") for problem in problems],
                "repeated_rows": read.repeated,
                "unknown_columns": read.unknown,
            }
        )
    else:
        for problem in problems:
            typer.echo(str(problem.text()), err=True)
        if problems:
            typer.echo(_("Nothing was taken: mend these and read the file again."), err=True)
        else:
            typer.echo(_("{count} readings taken").format(count=count))
        if read.repeated:
            typer.echo(
                _("{count} rows were there already and were left out").format(count=len(read.repeated))
            )
        if read.unknown:
            typer.echo(_("columns passed over: {names}").format(names=", ".join(read.unknown)))
    if problems:
        raise typer.Exit(2)


@batch.command()
def best(
    design: SETS = "",
    number: ONE_SET = "",
    open_only: Annotated[bool, typer.Option("--open", help="Only sets that are not decided.")] = False,
    mark_unit: Annotated[
        str, choice("0.001 in", "0.01 mm", "0.001 mm", help="What one of the mark counts; kept.")
    ] = "",
    mark_meaning: Annotated[
        str,
        choice(
            "plus_means_larger_mounting_distance", "plus_means_thicker_spacer", help="What plus means; kept."
        ),
    ] = "",
    system: SYSTEM = "inch",
    store: STORE = HERE,
    as_json: JSON = False,
) -> None:
    """Give the best position and mark of each set, or the position to run next."""
    from dataclasses import replace

    from axlewright.job import batch as log

    ways = {"mark_unit": mark_unit, "mark_meaning": mark_meaning}
    said: dict[str, Any] = {name: value for name, value in ways.items() if value}
    if said:
        log.put_practice(store, replace(log.practice(store), **said), who="bench")
    views = [view for view in _views(store, design, number) if not (open_only and view.decided)]
    if as_json:
        print_json([_plain(view) for view in views])
        return
    for view in views:
        mark = log.mark_text(view)
        answer = view.trouble if view.best is None else view.best.text()
        shown = f"  {_('mark {mark}').format(mark=mark)}" if mark else ""
        typer.echo(f"{view.number}  {view.design}{shown}  {answer}")
        if view.question:
            typer.echo(f"    ? {view.question}")


def _views(store: JobStore, design: str, number: str = "") -> list[SetView]:
    """Return one set, or all of them in the order they came."""
    from axlewright.job import batch as answers

    if number:
        return [answers.set_view(store, design, number)]
    return list(reversed(answers.set_views(store, design, latest=1_000_000)))


def _plain(view: SetView) -> dict[str, Any]:
    out = picked(view, "set=number design decided question")
    found = view.best
    if found is None:
        return out | {"trouble": view.trouble}
    following, pattern = found.next_position_mm, view.pattern
    return {
        **out,
        "best_mm": round(found.best_mm, 5),
        "interval_95_mm": [round(v, 5) for v in found.interval_95_mm],
        "standard_uncertainty_mm": round(found.standard_uncertainty_mm, 5),
        **picked(found, "method positions smallest_reading_mm why_not"),
        "next_position_mm": None if following is None else round(following, 5),
        "mark": None if found.mark is None else picked(found.mark, "value unit meaning"),
        "pattern_best_mm": None if pattern is None else round(pattern.best_mm, 5),
    }


@batch.command()
def charts(
    design: DESIGN,
    what: Annotated[str, choice("best", "drive", "coast", "backlash", help="Which figure.")] = "best",
    subgroup: Annotated[int, typer.Option(help="Sets in a point; 1 for single sets.")] = 1,
    low: Annotated[float | None, typer.Option(help="Lower limit: mm for lengths, else µrad.")] = None,
    high: Annotated[float | None, typer.Option(help="Upper limit.")] = None,
    store: STORE = HERE,
    as_json: JSON = False,
) -> None:
    """Give control limits, signals and capability of one figure of the decided sets."""
    from axlewright.job import batch as log
    from axlewright.plant.drawing import panel_text

    views = log.set_views(store, design, latest=1_000_000)
    found = log.chart_answer(views, what, subgroup=subgroup, low=low, high=high)
    unit = "mm" if what in log.LENGTHS else "µrad"
    chart, c = found.chart, found.capability
    panels = (chart.place, chart.spread)
    if as_json:

        def signals(panel: Panel) -> list[dict[str, Any]]:
            return [
                {"rule": one.rule, "sets": [chart.labels[k] for k in one.points]} for one in panel.signals
            ]

        capability = None
        if c is not None:
            capability = {
                **dict(zip(c.names, (c.cp, c.cpk), strict=True)),
                "intervals_95": [c.cp_interval, c.cpk_interval],
                **picked(c, "count outside outside_share_95=outside_interval"),
                "notes": c.notes(),
            }
        print_json(
            {
                "figure": what,
                "unit": unit,
                **picked(chart, "kind stable"),
                "panels": [picked(p, "name center low high") | {"signals": signals(p)} for p in panels],
                "capability": capability,
                "trouble": found.trouble,
            }
        )
        return
    for panel in panels:
        typer.echo(panel_text(panel, chart.labels, unit))
    if c is not None:
        from axlewright.units import show_number

        for name, value, ends in zip(c.names, (c.cp, c.cpk), (c.cp_interval, c.cpk_interval), strict=True):
            if value is not None and ends is not None:
                among = " … ".join(show_number(end, 2) for end in ends)
                typer.echo(f"{name} {show_number(value, 2)} ({among}, 95 %)")
        for note in c.notes():
            typer.echo(f"? {note}")
    elif found.trouble:
        typer.echo(f"? {found.trouble}")


@batch.command()
def match(
    design: DESIGN,
    carriers: Annotated[
        Path,
        typer.Option(help="Text: on each line a carrier and its zero-mark spacer; - for standard input."),
    ],
    place: Annotated[str, typer.Option(help="under_head, behind_cup or cage_flange.")],
    spacers: Annotated[str, typer.Option(help="Such as '1.500mm*3 1.525mm*2'; the shelf without it.")] = "",
    sets: Annotated[str, typer.Option(help="Set numbers; the last decided ones without it.")] = "",
    coming: Annotated[int, typer.Option(help="Sets in the coming week.")] = 40,
    step: Annotated[str, typer.Option(help="Step of sizes that can be bought.")] = "0.001 in",
    service: Annotated[int, typer.Option(help="Service level for each size, percent.")] = 95,
    system: SYSTEM = "inch",
    store: STORE = HERE,
    as_json: JSON = False,
) -> None:
    """Match carriers, sets and spacers, and say what to order."""
    from axlewright.job.matching import match_answer

    fields = {
        "design": design,
        "place": place,
        "carriers": read_bytes(carriers).decode("utf-8-sig"),
        "spacers": spacers,
        "sets": sets,
        "coming": str(coming),
        "step": step,
        "service": str(service),
    }
    found = match_answer(store, fields, system)
    m, order = found.matching, found.order
    if as_json:
        print_json(
            {
                "matches": [
                    {
                        "carrier": one.carrier.number,
                        "set": one.set.number,
                        "wanted_mm": round(one.wanted_mm, 5),
                        "spacer_mm": None if one.spacer is None else one.spacer.thickness_mm,
                        "misfit_mm": None if one.misfit_mm is None else round(one.misfit_mm, 5),
                    }
                    for one in m.best.matches
                ],
                "rms_misfit_mm": m.rms_mm,
                "bound_mm": m.bound_mm,
                "within": {
                    "matched": m.best.within,
                    "as_they_came": m.first_come.within,
                    "most": m.most_within,
                },
                "worst_mm": {
                    "matched": _finite(m.best.worst_misfit_mm),
                    "as_they_came": _finite(m.first_come.worst_misfit_mm),
                },
                "order": None
                if order is None
                else [picked(line, "mm=thickness_mm have=wanted there order") for line in order.lines],
                "order_trouble": found.order_trouble,
            }
        )
        return
    for one in m.best.matches:
        spacer = _("no spacer left") if one.spacer is None else Length(one.spacer.thickness_mm)
        off = "" if one.misfit_mm is None else f"  ({Length(one.misfit_mm, signed=True)})"
        typer.echo(f"{one.carrier.number}  {one.set.number}  {spacer}{off}")
    typer.echo(
        _("within {tolerance}: {matched} of {count} matched, {came} as they came").format(
            tolerance=Length(m.tolerance_mm),
            matched=m.best.within,
            count=len(m.best.matches),
            came=m.first_come.within,
        )
    )
    if order is None:
        typer.echo(f"? {found.order_trouble}")
        return
    for line in order.lines:
        if line.order:
            size = Length(line.thickness_mm)
            typer.echo(_("order {count} of {size}").format(count=line.order, size=size))


def _finite(value: float) -> float | None:
    return value if value == value else None


@batch.command()
def labels(
    out: OUT,
    design: SETS = "",
    number: ONE_SET = "",
    overwrite: OVERWRITE = False,
    store: STORE = HERE,
    as_json: JSON = False,
) -> None:
    """Print the labels of decided sets as one PDF, a label on each page."""
    from axlewright.job.batch import labels_pdf

    views = _views(store, design, number)
    write(out, labels_pdf(store, views))
    count = sum(view.best is not None and view.best.mark is not None for view in views)
    if as_json:
        print_json({"file": str(out), "labels": count})
    else:
        typer.echo(_("{count} labels in {file}").format(count=count, file=out))


@batch.command()
def study(
    design: Annotated[str, typer.Option(help="Name of a design or path of a design file.")],
    pinion_out: Annotated[str, typer.Option(help="Standard deviation of pinion depth.")] = "0.025 mm",
    pinion_mean: Annotated[str, typer.Option(help="Mean pinion out.")] = "0 mm",
    ring_away: Annotated[str, typer.Option(help="Standard deviation of ring-gear position.")] = "0.03 mm",
    offset: Annotated[str, typer.Option(help="Standard deviation of the offset.")] = "0.025 mm",
    shaft_angle: Annotated[str, typer.Option(help="Standard deviation of the shaft angle.")] = "0.0143 deg",
    lie: Annotated[float, typer.Option(help="Standard deviation of how sets' own patterns lie.")] = 0.065,
    count: Annotated[int, typer.Option(help="Settings to draw.")] = 40_000,
    seed: Annotated[int, typer.Option(help="The same seed gives the same answer.")] = 1,
    workers: Annotated[int, typer.Option(help="Processes; 0 for as many as there are processors.")] = 1,
    out: Annotated[Path | None, typer.Option(help="CSV to write.")] = None,
    overwrite: OVERWRITE = False,
    as_json: JSON = False,
) -> None:
    """Say what spread of settings puts what share of patterns outside acceptance."""

    from axlewright.gearset import load_design
    from axlewright.plant import SettingSpread, tolerance_study
    from axlewright.units import parse_angle, parse_length

    spread = SettingSpread(
        parse_length(pinion_out, where="--pinion-out"),
        parse_length(ring_away, where="--ring-away"),
        parse_length(offset, where="--offset"),
        parse_angle(shaft_angle, where="--shaft-angle"),
        lie,
        parse_length(pinion_mean, where="--pinion-mean"),
    )
    result = tolerance_study(load_design(design), spread, count=count, seed=seed, workers=workers)
    if out is not None:
        write(out, result.csv_text().encode())
    if as_json:
        print_json(result.plain())
    else:
        typer.echo(result.csv_text(), nl=False)
