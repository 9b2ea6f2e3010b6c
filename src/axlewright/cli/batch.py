"""Commands for many sets: read a roll-test log, best positions, matching, charts, labels, studies."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from axlewright.cli.options import new_file, plain_errors, print_json
from axlewright.errors import InputError
from axlewright.language import eager as _

batch = typer.Typer(
    no_args_is_help=True,
    help="Many sets on the roll tester: log, best positions, charts, matching, labels, studies.",
)

HOME = Annotated[Path | None, typer.Option(help="Folder of the records.")]
JSON = Annotated[bool, typer.Option("--json", help="Print JSON.")]
DESIGN = Annotated[str, typer.Option(help="Name of a design; all without it.")]
SYSTEM = Annotated[str, typer.Option("--units", help="inch or metric: unit of bare numbers, shown first.")]


def _system(text: str) -> Literal["inch", "metric"]:
    if text not in ("inch", "metric"):
        raise InputError(
            _("unknown units '{text}'").format(text=text), where="--units", fix=_("use inch or metric")
        )
    return "metric" if text == "metric" else "inch"


@batch.command("import")
@plain_errors
def import_log(
    file: Annotated[Path, typer.Argument(help="Log as CSV, or - with --demo.")] = Path("-"),
    demo: Annotated[bool, typer.Option(help="Put in the log of the invented shop.")] = False,
    who: Annotated[str, typer.Option(help="Who read it, where no row says so.")] = "",
    home: HOME = None,
    as_json: JSON = False,
) -> None:
    """Read a log file into the records; nothing is kept while a row cannot be read."""
    from axlewright.job import batch as log
    from axlewright.records import open_store

    with open_store(home) as store:
        if demo:
            count = log.fill_with_demo(store, who=who or "bench")
            problems: list[Any] = []
            repeated: tuple[int, ...] = ()
            unknown: tuple[str, ...] = ()
        else:
            read = log.import_log(store, file.read_bytes(), name=file.name, who=who or "bench")
            count, problems = len(read.rolls), list(read.problems)
            repeated, unknown = read.repeated, read.unknown
    if as_json:
        print_json(
            {
                "taken": count,
                "problems": [
                    {"row": p.row, "column": p.column, "what": p.what, "fix": p.fix} for p in problems
                ],
                "repeated_rows": list(repeated),
                "unknown_columns": list(unknown),
            }
        )
    else:
        for problem in problems:
            typer.echo(problem.text(), err=True)
        if problems:
            typer.echo(_("Nothing was taken: mend these and read the file again."), err=True)
        else:
            typer.echo(_("{count} readings taken").format(count=count))
        if repeated:
            typer.echo(_("{count} rows were there already and were left out").format(count=len(repeated)))
        if unknown:
            typer.echo(_("columns passed over: {names}").format(names=", ".join(unknown)))
    if problems:
        raise typer.Exit(2)


@batch.command("best")
@plain_errors
def best(
    design: DESIGN = "",
    number: Annotated[str, typer.Option("--set", help="One set.")] = "",
    open_only: Annotated[bool, typer.Option("--open", help="Only sets that are not decided.")] = False,
    mark_unit: Annotated[
        str, typer.Option(help="What one of the mark counts: 0.001 in, 0.01 mm or 0.001 mm; kept.")
    ] = "",
    mark_meaning: Annotated[
        str,
        typer.Option(
            help="plus_means_larger_mounting_distance or plus_means_thicker_spacer; kept.",
        ),
    ] = "",
    units: SYSTEM = "inch",
    home: HOME = None,
    as_json: JSON = False,
) -> None:
    """Give the best position and mark of each set, or the position to run next."""
    from dataclasses import replace

    from axlewright.job import batch as log
    from axlewright.records import open_store

    _system(units)
    with open_store(home) as store:
        if mark_unit or mark_meaning:
            ways = log.practice(store)
            ways = replace(
                ways,
                mark_unit=mark_unit or ways.mark_unit,  # type: ignore[arg-type]
                mark_meaning=mark_meaning or ways.mark_meaning,  # type: ignore[arg-type]
            )
            log.put_practice(store, ways, who="bench")
        if number:
            views = [log.set_view(store, design, number)]
        else:
            views = log.set_views(store, design, latest=1_000_000)
    views = [v for v in reversed(views) if not (open_only and v.decided)]
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


def _plain(view: Any) -> dict[str, Any]:
    found = view.best
    out: dict[str, Any] = {
        "set": view.number,
        "design": view.design,
        "decided": view.decided,
        "question": view.question,
    }
    if found is None:
        return out | {"trouble": view.trouble}
    mark = found.mark
    return out | {
        "best_mm": round(found.best_mm, 5),
        "interval_95_mm": [round(v, 5) for v in found.interval_95_mm],
        "standard_uncertainty_mm": round(found.standard_uncertainty_mm, 5),
        "method": found.method,
        "positions": found.positions,
        "smallest_reading_mm": found.smallest_reading_mm,
        "why_not": found.why_not,
        "next_position_mm": None if found.next_position_mm is None else round(found.next_position_mm, 5),
        "mark": None if mark is None else {"value": mark.value, "unit": mark.unit, "meaning": mark.meaning},
        "pattern_best_mm": None if view.pattern is None else round(view.pattern.best_mm, 5),
    }


@batch.command("charts")
@plain_errors
def charts(
    design: Annotated[str, typer.Option(help="Name of a design.")],
    what: Annotated[str, typer.Option(help="best, drive, coast or backlash.")] = "best",
    subgroup: Annotated[int, typer.Option(help="Sets in a point; 1 for single sets.")] = 1,
    low: Annotated[float | None, typer.Option(help="Lower limit: mm for lengths, else µrad.")] = None,
    high: Annotated[float | None, typer.Option(help="Upper limit.")] = None,
    home: HOME = None,
    as_json: JSON = False,
) -> None:
    """Give control limits, signals and capability of one figure of the decided sets."""
    from axlewright.job import batch as log
    from axlewright.plant.drawing import panel_text
    from axlewright.records import open_store

    with open_store(home) as store:
        views = log.set_views(store, design, latest=1_000_000)
    found = log.chart_answer(views, what, subgroup=subgroup, low=low, high=high)
    unit = "mm" if what in log.LENGTHS else "µrad"
    c = found.capability
    if as_json:
        print_json(
            {
                "figure": what,
                "unit": unit,
                "kind": found.chart.kind,
                "stable": found.chart.stable,
                "panels": [
                    {
                        "name": p.name,
                        "center": p.center,
                        "low": p.low,
                        "high": p.high,
                        "signals": [
                            {"rule": s.rule, "sets": [found.chart.labels[k] for k in s.points]}
                            for s in p.signals
                        ],
                    }
                    for p in (found.chart.place, found.chart.spread)
                ],
                "capability": None
                if c is None
                else {
                    c.names[0]: c.cp,
                    c.names[1]: c.cpk,
                    "intervals_95": [c.cp_interval, c.cpk_interval],
                    "count": c.count,
                    "outside": c.outside,
                    "outside_share_95": c.outside_interval,
                    "notes": list(c.notes()),
                },
                "trouble": found.trouble,
            }
        )
        return
    for panel in (found.chart.place, found.chart.spread):
        typer.echo(panel_text(panel, found.chart.labels, unit))
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


@batch.command("match")
@plain_errors
def match(
    design: Annotated[str, typer.Option(help="Name of a design.")],
    carriers: Annotated[Path, typer.Option(help="A line each: carrier, zero-mark spacer; or a table.")],
    place: Annotated[str, typer.Option(help="under_head, behind_cup or cage_flange.")],
    spacers: Annotated[str, typer.Option(help="Such as '1.500mm*3 1.525mm*2'; the shelf without it.")] = "",
    sets: Annotated[str, typer.Option(help="Set numbers; the last decided ones without it.")] = "",
    coming: Annotated[int, typer.Option(help="Sets in the coming week.")] = 40,
    step: Annotated[str, typer.Option(help="Step of sizes that can be bought.")] = "0.001 in",
    service: Annotated[int, typer.Option(help="Service level for each size, percent.")] = 95,
    units: SYSTEM = "inch",
    home: HOME = None,
    as_json: JSON = False,
) -> None:
    """Match carriers, sets and spacers, and say what to order."""
    from axlewright.job.matching import match_answer
    from axlewright.records import open_store
    from axlewright.units import show_length

    system = _system(units)
    fields = {
        "design": design,
        "place": place,
        "carriers": carriers.read_text(encoding="utf-8-sig"),
        "spacers": spacers,
        "sets": sets,
        "coming": str(coming),
        "step": step,
        "service": str(service),
    }
    with open_store(home) as store:
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
                else [
                    {"mm": line.thickness_mm, "have": line.wanted, "there": line.there, "order": line.order}
                    for line in order.lines
                ],
                "order_trouble": found.order_trouble,
            }
        )
        return
    for one in m.best.matches:
        spacer = _("no spacer left") if one.spacer is None else show_length(one.spacer.thickness_mm, system)
        off = "" if one.misfit_mm is None else f"  ({show_length(one.misfit_mm, system, signed=True)})"
        typer.echo(f"{one.carrier.number}  {one.set.number}  {spacer}{off}")
    typer.echo(
        _("within {tolerance}: {matched} of {count} matched, {came} as they came").format(
            tolerance=show_length(m.tolerance_mm, system),
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
            size = show_length(line.thickness_mm, system)
            typer.echo(_("order {count} of {size}").format(count=line.order, size=size))


def _finite(value: float) -> float | None:
    return value if value == value else None


@batch.command("labels")
@plain_errors
def labels(
    out: Annotated[Path, typer.Option(help="PDF to write.")],
    design: DESIGN = "",
    number: Annotated[str, typer.Option("--set", help="One set.")] = "",
    overwrite: Annotated[bool, typer.Option(help="Overwrite the file.")] = False,
    home: HOME = None,
    as_json: JSON = False,
) -> None:
    """Print the labels of decided sets as one PDF, a label on each page."""
    from axlewright.contact.once import write_atomically
    from axlewright.job import batch as log
    from axlewright.records import open_store

    new_file(out, overwrite)
    with open_store(home) as store:
        views = (
            [log.set_view(store, design, number)]
            if number
            else list(reversed(log.set_views(store, design, latest=1_000_000)))
        )
        write_atomically(out, log.labels_pdf(store, views))
    count = sum(v.best is not None and v.best.mark is not None for v in views)
    if as_json:
        print_json({"file": str(out), "labels": count})
    else:
        typer.echo(_("{count} labels in {file}").format(count=count, file=out))


@batch.command("study")
@plain_errors
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
    overwrite: Annotated[bool, typer.Option(help="Overwrite the file.")] = False,
    as_json: JSON = False,
) -> None:
    """Say what spread of settings puts what share of patterns outside acceptance."""
    from axlewright.contact.once import write_atomically
    from axlewright.gearset import load_design
    from axlewright.plant import SettingSpread, tolerance_study
    from axlewright.units import parse_angle, parse_length

    if out is not None:
        new_file(out, overwrite)
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
        write_atomically(out, result.csv_text().encode())
    if as_json:
        print_json(result.plain())
    else:
        typer.echo(result.csv_text(), nl=False)
