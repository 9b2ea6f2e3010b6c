"""Commands about jobs: everything the pages do, for scripts."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from axlewright.cli.command import Commands, picked, print_json, print_rows, sum_text, write
from axlewright.cli.options import (
    COMPOUND,
    HEAD,
    HERE,
    HOME,
    JSON,
    KEY,
    NAMED_PIN,
    NUMBER,
    OUT,
    OVERWRITE,
    SEQ,
    STEP,
    STORE,
    SYSTEM,
    WHO,
    choice,
)
from axlewright.cli.records import entry_data, export, import_, instruments, job_data, shelf
from axlewright.cli.steps import AddCommand, print_result, typed_fields
from axlewright.cli.steps import fields as list_fields
from axlewright.language import eager as _

if TYPE_CHECKING:
    from axlewright.gearset import FlankName
    from axlewright.job import JobView, Outcome
    from axlewright.job.photos import FlankLook

job = Commands(help="Keep jobs: start, enter readings, show, print, carry.")
job.command("export")(export)
job.command("import")(import_)
job.add_typer(shelf, name="shelf")
job.add_typer(instruments, name="instruments")

PAPER = Annotated[str, choice("a4", "us-letter", help="Size of the paper.")]
SHOP = Annotated[str, typer.Option(help="Name of the shop.")]


@job.command()
def new(
    design: Annotated[str, typer.Option(help="Design of the set.")],
    vehicle: Annotated[str, typer.Option(help="What it is in.")] = "",
    complaint: Annotated[str, typer.Option(help="What is wrong.")] = "",
    set_number: Annotated[str, typer.Option(help="Pair number of the set.")] = "",
    reference: Annotated[str, typer.Option(help="Your own order number.")] = "",
    who: WHO = "",
    store: STORE = HERE,
    as_json: JSON = False,
) -> None:
    """Start a job."""
    from axlewright.job import start_job

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
        return
    typer.echo(
        _("Job {number} started: {design}, {vehicle}").format(
            number=one.number, design=one.design_name, vehicle=one.vehicle or _("vehicle not given")
        )
    )


@job.command("list")
def list_jobs(
    text: Annotated[str, typer.Argument(help="Words to look for; all jobs when empty.")] = "",
    store: STORE = HERE,
    as_json: JSON = False,
) -> None:
    """List jobs, last changed first, or search them."""
    rows = [job_data(one) for one in (store.search(text) if text else store.list_jobs())]
    print_rows(rows, as_json, "{number:5} {state:8} {design:10} {vehicle} {complaint}", _("no jobs"))


@job.command()
def show(number: NUMBER, store: STORE = HERE, as_json: JSON = False, system: SYSTEM = "inch") -> None:
    """Show a job: its steps, readings, sums and verdicts."""
    from axlewright.job import job_view

    view = job_view(store, number)
    chain = store.verify(number)
    if as_json:
        print_json(
            {
                **job_data(view.job),
                "chain_holds": chain.holds,
                "steps": [{"key": step.key, "state": step.status.state} for step in view.steps],
                "entries_list": [entry_data(entry) for entry in view.entries],
            }
        )
        return
    for line in _shown(view):
        typer.echo(line)
    typer.echo(
        _("  record: unchanged since written")
        if chain.holds
        else _("  record: BROKEN, {why}").format(why=chain.why)
    )
    typer.echo(_("  state of the record: {head}").format(head=view.job.head))


def _shown(view: JobView) -> Iterable[str]:
    from axlewright.job.header import history
    from axlewright.language import joined, local_time, sentence

    one = view.job
    yield f"{_('Job {number}').format(number=one.number)}: {one.design_name}, {one.vehicle}. " + str(
        sentence(one.complaint)
    )
    if one.state == "closed":
        yield (
            _("  signed and closed; an entry now would stand outside the signature: 'job reopen' first")
            if any(entry.kind == "sign-off" for entry in view.entries)
            else _("  closed; 'job reopen' comes before a new entry")
        )
    for change in history(view.entries):
        said = joined(change.what, change.reason, between="; ")
        yield f"  {local_time(change.at)}, {change.who}: {said}"
    if one.state in ("stopped", "dropped"):
        yield f"  {_(one.state)}: {view.state_reason}"
    for step in view.steps:
        yield f"  [{step.status.state:7}] {step.key}"
        for gone in step.struck:
            yield _("            no longer counts: {values}").format(values=gone.values)
            yield f"              {gone.fate}"
        latest = step.latest
        if latest is None:
            continue
        yield _("            entry {number}, {who}, {when}").format(
            number=latest.seq, who=latest.who, when=local_time(latest.at)
        )
        if latest.result is not None:
            yield from (f"            {line.label}: {sum_text(line)}" for line in latest.result.sums)
            if latest.result.why:
                yield f"            {sentence(latest.result.why)}"


@job.command("next")
def next_step(number: NUMBER, store: STORE = HERE, as_json: JSON = False) -> None:
    """Say what to do next, why, and what it costs."""
    from axlewright.job.entering import cautions_of

    step = store.next_step(number)
    cautions = cautions_of(step.key) if step.key else ()
    if as_json:
        print_json({**picked(step, "key title why cost"), "cautions": cautions, **picked(step, "stops left")})
        return
    if not step.key:
        typer.echo(_("Nothing is left to do."))
        return
    if step.stops:
        typer.echo(_("The job is stopped until this is answered."))
    typer.echo(f"{step.title}: {step.why} ({step.cost})")
    for caution in cautions:
        typer.echo(_("  caution: {caution}").format(caution=caution))


@job.command(cls=AddCommand)
def add(
    number: NUMBER,
    step: STEP,
    fields: Annotated[
        list[str] | None, typer.Argument(help="name=value, such as carrier='5.6230 5.6228'; none lists them.")
    ] = None,
    who: WHO = "",
    system: SYSTEM = "inch",
    key: KEY = "",
    corrects: Annotated[int | None, typer.Option(help="Entry that these readings take the place of.")] = None,
    head: HEAD = "",
    try_only: Annotated[bool, typer.Option("--try", help="Work it out and keep nothing.")] = False,
    store: STORE = HERE,
    as_json: JSON = False,
) -> None:
    """Enter readings of a step: computed, judged and kept.

    A value outside the usual band is asked about; add really=yes when the numbers are really so.
    """
    from axlewright.job import enter
    from axlewright.job.entering import outcome_of, work_out

    if not fields:
        list_fields(step, as_json)
        return
    typed = typed_fields(fields)
    if try_only:
        found = work_out(store, number, step, typed, who=who or _("nobody named"), system=system)
        outcome = outcome_of(step, found.payload(), ())
    else:
        outcome = enter(
            store,
            number,
            step,
            typed,
            who=who,
            system=system,
            idempotency_key=key,
            expected_head=head or None,
            supersedes=corrects,
        )
    _print_outcome(outcome, as_json)


@job.command()
def photos(
    number: NUMBER,
    drive: Annotated[Path | None, typer.Option(help="Photo of the drive flank.")] = None,
    drive_corners: Annotated[str, typer.Option(help="Four corners, pixels.")] = "",
    coast: Annotated[Path | None, typer.Option(help="Photo of the coast flank.")] = None,
    coast_corners: Annotated[str, typer.Option(help="Four corners, pixels.")] = "",
    drive_words: Annotated[str, typer.Option(help="In place of a photo.")] = "",
    coast_words: Annotated[str, typer.Option(help="In place of a photo.")] = "",
    compound: COMPOUND = "auto",
    who: WHO = "",
    store: STORE = HERE,
    as_json: JSON = False,
) -> None:
    """Read the patterns of both flanks into a job and say what to change."""
    from axlewright.job.pattern import enter_patterns
    from axlewright.job.photos import FlankLook

    looks: dict[FlankName, FlankLook] = {}
    given: tuple[tuple[FlankName, Path | None, str, str], ...] = (
        ("drive", drive, drive_corners, drive_words),
        ("coast", coast, coast_corners, coast_words),
    )
    for name, path, corners, words in given:
        if path is not None or words:
            looks[name] = FlankLook(None if path is None else path.read_bytes(), corners=corners, words=words)
    how: Any = compound
    _print_outcome(enter_patterns(store, number, looks, compound=how, who=who), as_json)


def _print_outcome(outcome: Outcome, as_json: bool) -> None:
    if as_json:
        print_json(outcome.to_json())
        return
    print_result(outcome)
    if outcome.entries:
        typer.echo(_("  kept as entry {number}").format(number=outcome.entries[0].seq))


@job.command()
def picture(
    number: NUMBER,
    step: STEP,
    piece: Annotated[str, typer.Option(help="What it shows, such as ring_side_cap; wrong ones are listed.")],
    photo: Annotated[Path | None, typer.Option(help="Picture file; place and device are taken out.")] = None,
    tag: Annotated[str, typer.Option(help="What is written on the tag.")] = "",
    caption: Annotated[str, typer.Option(help="What is to be seen.")] = "",
    who: WHO = "",
    key: KEY = "",
    store: STORE = HERE,
    as_json: JSON = False,
) -> None:
    """Keep a photograph, a tag, or both, of a shim, a cap or another piece."""
    from axlewright.job.pictures import add_picture

    data = None if photo is None else photo.read_bytes()
    kept = add_picture(
        store, number, step, piece=piece, photo=data, tag=tag, caption=caption, who=who, idempotency_key=key
    )
    if as_json:
        print_json(entry_data(kept))
    else:
        typer.echo(_("kept as entry {seq}").format(seq=kept.seq))


@job.command("take-back")
def take_back(
    number: NUMBER,
    seq: SEQ,
    reason: Annotated[str, typer.Option(help="Why it no longer counts.")],
    who: WHO = "",
    key: KEY = "",
    store: STORE = HERE,
) -> None:
    """Say that an entry no longer counts; it stays in the record."""
    from axlewright.job import take_back as take

    take(store, number, seq, reason, who=who, idempotency_key=key)
    typer.echo(_("entry {seq} no longer counts; it stays in the record").format(seq=seq))


@job.command()
def waive(
    number: NUMBER,
    step: STEP,
    reason: Annotated[str, typer.Option(help="Why; it stands on the sheet.")],
    who: WHO = "",
    pin: NAMED_PIN = "",
    key: KEY = "",
    store: STORE = HERE,
) -> None:
    """Leave a step out, with a reason; a lead answers a stopped job so."""
    store.waive(number, step, reason, who=who, pin=pin, idempotency_key=key)
    typer.echo(_("step {step} is left out").format(step=step))


@job.command()
def advice(
    number: NUMBER,
    seq: SEQ,
    followed: Annotated[bool, typer.Option("--followed/--not-followed", help="Whether it was followed.")],
    reason: Annotated[str, typer.Option(help="Why not; needed when it was not.")] = "",
    who: WHO = "",
    key: KEY = "",
    store: STORE = HERE,
) -> None:
    """Write down whether an advice was followed."""
    from axlewright.job.pattern import answer_advice

    answer_advice(store, number, seq, followed, reason, who=who, idempotency_key=key)
    typer.echo(_("written down"))


@job.command()
def sign(
    number: NUMBER,
    who: Annotated[str, typer.Option(help="Who signs.")],
    pin: Annotated[str, typer.Option(prompt="PIN", hide_input=True, help="Their PIN; else asked for.")],
    head: HEAD = "",
    statement: Annotated[str, typer.Option(help="What is signed; the usual words when empty.")] = "",
    step: Annotated[str, typer.Option(help="Step that is signed.")] = "close",
    close: Annotated[bool, typer.Option("--close/--keep-open", help="Close the job with it.")] = True,
    although: Annotated[
        str, typer.Option(help="Reason for signing although steps are not done; it stands on the sheet.")
    ] = "",
    key: KEY = "",
    store: STORE = HERE,
) -> None:
    """Sign a job with a PIN and close it."""
    from axlewright.job.signing import signature_note, statement_for
    from axlewright.records import not_done

    entry = store.sign_off(
        number,
        who=who,
        pin=pin,
        statement=statement if statement.strip() else statement_for(bool(not_done(store.entries(number)))),
        step=step,
        head=head,
        close=close,
        although=although,
        idempotency_key=key,
    )
    typer.echo(_("signed by {name} as entry {seq}").format(name=entry.who, seq=entry.seq))
    note = signature_note(entry.payload)
    if note:
        typer.echo(note)


@job.command()
def reopen(
    number: NUMBER,
    reason: Annotated[str, typer.Option(help="Why; it stands on the sheet.")],
    who: WHO = "",
    pin: NAMED_PIN = "",
    key: KEY = "",
    store: STORE = HERE,
) -> None:
    """Open a closed job again; only then it takes entries."""
    store.reopen(number, reason, who=who, pin=pin, idempotency_key=key)
    typer.echo(_("job {number} is open again; its signature stays in the record").format(number=number))


@job.command()
def state(
    number: NUMBER,
    wanted: Annotated[str, typer.Argument(metavar="STATE", help="stopped, dropped or open.")],
    reason: Annotated[str, typer.Option(help="Why; it stands in the record.")],
    who: WHO = "",
    key: KEY = "",
    store: STORE = HERE,
) -> None:
    """Stop a job, drop it, or set it open again; a dropped job takes no entries."""
    from axlewright.job.header import set_state

    one = set_state(store, number, wanted, reason, who=who, idempotency_key=key)
    typer.echo(_("job {number}: {state}").format(number=number, state=_(one.state)))


@job.command("correct-header")
def correct_header(
    number: NUMBER,
    reason: Annotated[str, typer.Option(help="Why; it stands in the record.")],
    vehicle: Annotated[str | None, typer.Option(help="What it is in.")] = None,
    complaint: Annotated[str | None, typer.Option(help="What is wrong.")] = None,
    set_number: Annotated[str | None, typer.Option(help="Pair number of the set.")] = None,
    reference: Annotated[str | None, typer.Option(help="Your own order number.")] = None,
    who: WHO = "",
    key: KEY = "",
    store: STORE = HERE,
) -> None:
    """Correct a job's header; what stood there stays in the record."""
    from axlewright.job.header import correct_header as correct

    given = {
        "vehicle": vehicle,
        "complaint": complaint,
        "set_number": set_number,
        "reference": reference,
    }
    fields = {name: text for name, text in given.items() if text is not None}
    correct(store, number, fields, reason, who=who, idempotency_key=key)
    typer.echo(
        _("the header of job {number} is corrected; what stood there stays in the record").format(
            number=number
        )
    )


def _print(out: Path, data: bytes, said: str) -> None:
    write(out, data)
    typer.echo(f"{said}: {out}")


@job.command()
def sheet(
    number: NUMBER,
    out: OUT,
    overwrite: OVERWRITE = False,
    paper: PAPER = "a4",
    system: SYSTEM = "inch",
    shop: SHOP = "",
    link: Annotated[str, typer.Option(help="Address of the job, printed as a QR code.")] = "",
    store: STORE = HERE,
) -> None:
    """Print the job sheet as PDF."""
    from axlewright.job import job_sheet_pdf

    size: Any = paper
    data = job_sheet_pdf(store, number, system=system, shop=shop, link=link, paper=size)
    _print(out, data, _("sheet of job {number}").format(number=number))


@job.command("set-label")
def set_label(
    number: NUMBER, out: OUT, overwrite: OVERWRITE = False, system: SYSTEM = "inch", store: STORE = HERE
) -> None:
    """Print the label of a job's set, its facts once more as a DataMatrix."""
    from axlewright.job.labels import set_label_data
    from axlewright.sheets import set_label as drawn

    data = drawn(set_label_data(store, number, system))
    _print(out, data, _("set label of job {number}").format(number=number))


@job.command("spacer-label")
def spacer_label(
    item: Annotated[int, typer.Argument(help="Number of the piece, as 'job shelf list' prints it.")],
    out: OUT,
    overwrite: OVERWRITE = False,
    store: STORE = HERE,
) -> None:
    """Print the label of a piece on the shelf."""
    from axlewright.job.labels import spacer_label_data
    from axlewright.sheets import spacer_label as drawn

    data = drawn(spacer_label_data(store, item))
    _print(out, data, _("label of piece {number}").format(number=item))


@job.command("blank-sheet")
def blank_sheet(
    out: OUT,
    number: Annotated[int | None, typer.Option(help="Job whose facts are printed already.")] = None,
    overwrite: OVERWRITE = False,
    paper: PAPER = "a4",
    shop: SHOP = "",
    home: HOME = None,
) -> None:
    """Print the bench sheet to write on, for paper days."""
    from axlewright.job.labels import blank_sheet_pdf
    from axlewright.records import open_store

    size: Any = paper
    with nullcontext() if number is None else open_store(home) as store:
        data = blank_sheet_pdf(store, number, shop=shop, paper=size)
    _print(out, data, _("bench sheet"))
