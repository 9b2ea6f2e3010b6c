"""Commands about jobs: everything the pages do, for scripts."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from axlewright.cli import job_answers, job_paper
from axlewright.cli.job_options import (
    HOME,
    JSON,
    NUMBER,
    SYSTEM,
    WHO,
    check_system,
    entry_data,
    opened_store,
)
from axlewright.cli.job_stores import instruments, shelf
from axlewright.cli.options import check_compound, plain_errors, print_json, sum_text
from axlewright.errors import InputError
from axlewright.language import eager as _
from axlewright.language import eager_plural as plural

if TYPE_CHECKING:
    from axlewright.gearset import FlankName
    from axlewright.job.photos import FlankLook
    from axlewright.records import Job

job = typer.Typer(no_args_is_help=True, help="Keep jobs: start, enter readings, show, print, carry.")
job.command("picture")(job_answers.picture)
job.command("take-back")(job_answers.take_back)
job.command("waive")(job_answers.waive)
job.command("advice")(job_answers.advice)
job.command("sign")(job_answers.sign)
job.command("reopen")(job_answers.reopen)
job.command("sheet")(job_paper.sheet)
job.command("set-label")(job_paper.set_label)
job.command("spacer-label")(job_paper.spacer_label)
job.command("blank-sheet")(job_paper.blank_sheet)
job.add_typer(shelf, name="shelf")
job.add_typer(instruments, name="instruments")


def job_data(one: Job) -> dict[str, Any]:
    """Return a job's header as plain data."""
    return {
        "number": one.number,
        "uid": one.uid,
        "design": one.design_name,
        "vehicle": one.vehicle,
        "complaint": one.complaint,
        "set_number": one.set_number,
        "reference": one.reference,
        "state": one.state,
        "entries": one.entry_count,
        "head": one.head,
        "created_at": one.created_at.isoformat(),
        "changed_at": one.changed_at.isoformat(),
    }


@job.command("new")
@plain_errors
def new(
    design: Annotated[str, typer.Option(help="Design of the set.")],
    vehicle: Annotated[str, typer.Option(help="What it is in.")] = "",
    complaint: Annotated[str, typer.Option(help="What is wrong.")] = "",
    set_number: Annotated[str, typer.Option(help="Pair number of the set.")] = "",
    reference: Annotated[str, typer.Option(help="Your own order number.")] = "",
    who: WHO = "",
    home: HOME = None,
    as_json: JSON = False,
) -> None:
    """Start a job."""
    from axlewright.job import start_job

    with opened_store(home) as store:
        one = start_job(
            store,
            design_name=design,
            vehicle=vehicle,
            complaint=complaint,
            set_number=set_number,
            reference=reference,
            who=who,
        )
        if as_json:
            print_json(job_data(one))
        else:
            typer.echo(f"Job {one.number} started: {one.design_name}, {one.vehicle or 'vehicle not given'}")


@job.command("list")
@plain_errors
def list_jobs(
    text: Annotated[str, typer.Argument(help="Words to look for; all jobs when empty.")] = "",
    home: HOME = None,
    as_json: JSON = False,
) -> None:
    """List jobs, last changed first, or search them."""
    with opened_store(home) as store:
        rows = store.search(text) if text else store.list_jobs()
        if as_json:
            print_json([job_data(one) for one in rows])
            return
        for one in rows:
            typer.echo(f"{one.number:5} {one.state:8} {one.design_name:10} {one.vehicle} {one.complaint}")
        if not rows:
            typer.echo(_("no jobs"))


@job.command("show")
@plain_errors
def show(number: NUMBER, home: HOME = None, as_json: JSON = False, system: SYSTEM = "inch") -> None:
    """Show a job: its steps, readings, sums and verdicts."""
    from axlewright.job import job_view
    from axlewright.job.sentences import sentence
    from axlewright.job.superseded import superseded_readings
    from axlewright.steps.clock import local_time

    check_system(system)
    with opened_store(home) as store:
        view = job_view(store, number)
        if as_json:
            print_json(
                {
                    **job_data(view.job),
                    "chain_holds": store.verify(number).holds,
                    "steps": [{"key": s.key, "state": s.status.state} for s in view.steps],
                    "entries_list": [entry_data(e) for e in view.entries],
                }
            )
            return
        one = view.job
        typer.echo(f"Job {one.number}: {one.design_name}, {one.vehicle}. {sentence(one.complaint)}")
        if one.state == "closed":
            typer.echo(
                _("  signed and closed; an entry now would stand outside the signature: 'job reopen' first")
                if any(entry.kind == "sign-off" for entry in view.entries)
                else _("  closed; 'job reopen' comes before a new entry")
            )
        for step in view.steps:
            typer.echo(f"  [{step.status.state:7}] {step.key}")
            for gone in superseded_readings(view.entries, step.key):
                typer.echo(_("            no longer counts: {values}").format(values=gone.values))
                typer.echo(f"              {gone.fate}")
            latest = step.latest
            if latest is None:
                continue
            typer.echo(
                _("            entry {number}, {who}, {when}").format(
                    number=latest.seq, who=latest.who, when=local_time(latest.at)
                )
            )
            if latest.result is None:
                continue
            for line in latest.result.sums:
                typer.echo(f"            {line.label}: {sum_text(line)}")
            if latest.result.why:
                typer.echo(f"            {sentence(latest.result.why)}")
        chain = store.verify(number)
        typer.echo(
            _("  record: unchanged since written")
            if chain.holds
            else _("  record: BROKEN, {why}").format(why=chain.why)
        )
        typer.echo(_("  state of the record: {head}").format(head=one.head))


@job.command("next")
@plain_errors
def next_step(number: NUMBER, home: HOME = None, as_json: JSON = False) -> None:
    """Say what to do next, why, and what it costs."""
    from axlewright.job.entering import cautions_of

    with opened_store(home) as store:
        step = store.next_step(number)
        cautions = cautions_of(step.key) if step.key else ()
        if as_json:
            print_json(
                {
                    "key": step.key,
                    "title": step.title,
                    "why": step.why,
                    "cost": step.cost,
                    "cautions": list(cautions),
                    "stops": step.stops,
                    "left": step.left,
                }
            )
            return
        if not step.key:
            typer.echo(_("Nothing is left to do."))
            return
        if step.stops:
            typer.echo(_("The job is stopped until this is answered."))
        typer.echo(f"{step.title}: {step.why} ({step.cost})")
        for caution in cautions:
            typer.echo(f"  caution: {caution}")


@job.command("add")
@plain_errors
def add(
    number: NUMBER,
    step: Annotated[str, typer.Argument(help="complaint, as-found, identity, fits, depth, preload, …")],
    fields: Annotated[
        list[str] | None, typer.Argument(help="name=value, such as carrier='5.6230 5.6228'; none lists them.")
    ] = None,
    who: WHO = "",
    system: SYSTEM = "inch",
    key: Annotated[str, typer.Option(help="Resending with the same key changes nothing.")] = "",
    corrects: Annotated[int | None, typer.Option(help="Entry that these readings take the place of.")] = None,
    head: Annotated[
        str, typer.Option(help="The record's state you have seen; refused when others wrote meanwhile.")
    ] = "",
    try_only: Annotated[bool, typer.Option("--try", help="Work it out and keep nothing.")] = False,
    home: HOME = None,
    as_json: JSON = False,
) -> None:
    """Enter readings of a step: computed, judged and kept.

    A value outside the usual band is asked about; add really=yes when the numbers are really so.
    """
    from axlewright.job import FORMS, enter
    from axlewright.job.entering import outcome_of, work_out

    chosen = check_system(system)
    if step not in FORMS:
        raise InputError(
            _("unknown step '{step}'").format(step=step),
            where=_("step"),
            fix=_("use one of {forms}").format(forms=", ".join(FORMS)),
        )
    if not fields:
        for field in FORMS[step].fields:
            answers = f" ({', '.join(c.key for c in field.choices)})" if field.choices else ""
            needed = _(" (needed)") if field.needed else ""
            only = _(" [only with {what}]").format(what=field.only.replace(":", "=")) if field.only else ""
            typer.echo(f"{field.name:24} {_(field.label)}{needed}{answers}{only}")
        return
    typed: dict[str, str] = {}
    for part in fields:
        name, sign, value = part.partition("=")
        if not sign:
            raise InputError(
                _("'{part}' is not name=value").format(part=part),
                where=_("fields"),
                fix=_("write for example mark=+2"),
            )
        typed[name.strip()] = value.strip()
    with opened_store(home) as store:
        if try_only:
            found = work_out(store, number, step, typed, who=who or _("nobody named"), system=chosen)
            outcome = outcome_of(step, found.payload(), ())
        else:
            outcome = enter(
                store,
                number,
                step,
                typed,
                who=who,
                system=chosen,
                idempotency_key=key,
                expected_head=head or None,
                supersedes=corrects,
            )
    if as_json:
        print_json(outcome.to_json())
        return
    typer.echo(f"{outcome.verdict}: {outcome.why}")
    for line in outcome.sums:
        typer.echo(f"  {line.label}: {sum_text(line)}")
    for note in (*outcome.notes, *(f"? {q}" for q in outcome.questions)):
        typer.echo(f"  {note}")
    if outcome.entries:
        typer.echo(_("  kept as entry {number}").format(number=outcome.entries[0].seq))


@job.command("photos")
@plain_errors
def photos(
    number: NUMBER,
    drive: Annotated[Path | None, typer.Option(help="Photo of the drive flank.")] = None,
    drive_corners: Annotated[str, typer.Option(help="Four corners, pixels.")] = "",
    coast: Annotated[Path | None, typer.Option(help="Photo of the coast flank.")] = None,
    coast_corners: Annotated[str, typer.Option(help="Four corners, pixels.")] = "",
    drive_words: Annotated[str, typer.Option(help="In place of a photo.")] = "",
    coast_words: Annotated[str, typer.Option(help="In place of a photo.")] = "",
    compound: Annotated[str, typer.Option(help="rubbed, print or auto.")] = "auto",
    who: WHO = "",
    home: HOME = None,
    as_json: JSON = False,
) -> None:
    """Read the patterns of both flanks into a job and say what to change."""
    from axlewright.job.pattern import enter_patterns
    from axlewright.job.photos import FlankLook

    with opened_store(home) as store:
        looks: dict[FlankName, FlankLook] = {}
        given: tuple[tuple[FlankName, Path | None, str, str], ...] = (
            ("drive", drive, drive_corners, drive_words),
            ("coast", coast, coast_corners, coast_words),
        )
        for name, path, corners, words in given:
            if path is not None or words:
                data = path.read_bytes() if path is not None else None
                looks[name] = FlankLook(photo=data, corners=corners, words=words)
        outcome = enter_patterns(store, number, looks, compound=check_compound(compound), who=who)
    if as_json:
        print_json(outcome.to_json())
        return
    typer.echo(f"{outcome.verdict}: {outcome.why}")
    for note in outcome.notes:
        typer.echo(f"  {note}")


@job.command("export")
@plain_errors
def export(
    number: NUMBER,
    out: Annotated[Path, typer.Option(help="File to write.")],
    overwrite: Annotated[bool, typer.Option(help="Overwrite it.")] = False,
    home: HOME = None,
) -> None:
    """Write a job with its files into one file."""
    from axlewright.records import export_job

    with opened_store(home) as store:
        typer.echo(str(export_job(store, number, out, overwrite=overwrite)))


@job.command("import")
@plain_errors
def import_(
    file: Annotated[Path, typer.Argument(help="File written by 'job export'.")],
    home: HOME = None,
    as_json: JSON = False,
) -> None:
    """Take in a job that was exported elsewhere."""
    from axlewright.records import import_job

    with opened_store(home) as store:
        one = import_job(store, file)
    if as_json:
        print_json(job_data(one))
    else:
        typer.echo(_("Job {number} taken in").format(number=one.number))


@plain_errors
def backup(
    out: Annotated[Path, typer.Argument(help="File to write.")],
    overwrite: Annotated[bool, typer.Option(help="Overwrite it.")] = False,
    home: HOME = None,
) -> None:
    """Write all records into one file."""
    from axlewright.records import backup as back_up

    with opened_store(home) as store:
        typer.echo(str(back_up(store, out, overwrite=overwrite)))


@plain_errors
def restore(
    file: Annotated[Path, typer.Argument(help="File written by 'backup'.")],
    overwrite: Annotated[bool, typer.Option(help="Replace records that are there.")] = False,
    home: HOME = None,
) -> None:
    """Bring back records from a backup."""
    from axlewright.records import restore as bring_back

    with opened_store(home) as store:
        count = bring_back(store, file, overwrite=overwrite)
        typer.echo(plural("{count} job restored", "{count} jobs restored", count).format(count=count))
