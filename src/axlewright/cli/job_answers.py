"""Commands that answer for a job: photographs and tags, take back, leave out, follow advice, sign."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from axlewright.cli.job_options import HOME, JSON, NUMBER, WHO, entry_data, opened_store
from axlewright.cli.options import plain_errors, print_json
from axlewright.language import eager as _

SEQ = Annotated[int, typer.Argument(help="Number of the entry, as 'job show --json' lists it.")]
STEP = Annotated[str, typer.Argument(help="complaint, as-found, identity, fits, depth, preload, …")]
KEY = Annotated[str, typer.Option(help="Resending with the same key changes nothing.")]
NAMED_PIN = Annotated[str, typer.Option(help="Their PIN, where people are entered.")]


@plain_errors
def picture(
    number: NUMBER,
    step: STEP,
    piece: Annotated[str, typer.Option(help="What it shows, such as ring_side_cap; wrong ones are listed.")],
    photo: Annotated[Path | None, typer.Option(help="Picture file; place and device are taken out.")] = None,
    tag: Annotated[str, typer.Option(help="What is written on the tag.")] = "",
    caption: Annotated[str, typer.Option(help="What is to be seen.")] = "",
    who: WHO = "",
    key: KEY = "",
    home: HOME = None,
    as_json: JSON = False,
) -> None:
    """Keep a photograph, a tag, or both, of a shim, a cap or another piece."""
    from axlewright.job.pictures import add_picture

    data = None if photo is None else photo.read_bytes()
    with opened_store(home) as store:
        kept = add_picture(
            store,
            number,
            step,
            piece=piece,
            photo=data,
            tag=tag,
            caption=caption,
            who=who,
            idempotency_key=key,
        )
    if as_json:
        print_json(entry_data(kept))
    else:
        typer.echo(_("kept as entry {seq}").format(seq=kept.seq))


@plain_errors
def take_back(
    number: NUMBER,
    seq: SEQ,
    reason: Annotated[str, typer.Option(help="Why it no longer counts.")],
    who: WHO = "",
    key: KEY = "",
    home: HOME = None,
) -> None:
    """Say that an entry no longer counts; it stays in the record."""
    from axlewright.job import take_back as take

    with opened_store(home) as store:
        take(store, number, seq, reason, who=who, idempotency_key=key)
    typer.echo(_("entry {seq} no longer counts; it stays in the record").format(seq=seq))


@plain_errors
def waive(
    number: NUMBER,
    step: STEP,
    reason: Annotated[str, typer.Option(help="Why; it stands on the sheet.")],
    who: WHO = "",
    pin: NAMED_PIN = "",
    key: KEY = "",
    home: HOME = None,
) -> None:
    """Leave a step out, with a reason; a lead answers a stopped job so."""
    with opened_store(home) as store:
        store.waive(number, step, reason, who=who, pin=pin, idempotency_key=key)
    typer.echo(_("step {step} is left out").format(step=step))


@plain_errors
def advice(
    number: NUMBER,
    seq: SEQ,
    followed: Annotated[bool, typer.Option("--followed/--not-followed", help="Whether it was followed.")],
    reason: Annotated[str, typer.Option(help="Why not; needed when it was not.")] = "",
    who: WHO = "",
    key: KEY = "",
    home: HOME = None,
) -> None:
    """Write down whether an advice was followed."""
    from axlewright.job.pattern import answer_advice

    with opened_store(home) as store:
        answer_advice(store, number, seq, followed, reason, who=who, idempotency_key=key)
    typer.echo(_("written down"))


@plain_errors
def sign(
    number: NUMBER,
    who: Annotated[str, typer.Option(help="Who signs.")],
    pin: Annotated[str, typer.Option(prompt="PIN", hide_input=True, help="Their PIN; else asked for.")],
    head: Annotated[
        str, typer.Option(help="The record's state you have seen, as 'job show' prints it.")
    ] = "",
    statement: Annotated[str, typer.Option(help="What is signed; the usual words when empty.")] = "",
    step: Annotated[str, typer.Option(help="Step that is signed.")] = "close",
    close: Annotated[bool, typer.Option("--close/--keep-open", help="Close the job with it.")] = True,
    although: Annotated[
        str, typer.Option(help="Reason for signing although steps are not done; it stands on the sheet.")
    ] = "",
    key: KEY = "",
    home: HOME = None,
) -> None:
    """Sign a job with a PIN and close it."""
    from axlewright.job.signing import signature_note, statement_for
    from axlewright.records import not_done

    with opened_store(home) as store:
        left = bool(not_done(store.entries(number)))
        entry = store.sign_off(
            number,
            who=who,
            pin=pin,
            statement=statement.strip() or statement_for(left),
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


@plain_errors
def reopen(
    number: NUMBER,
    reason: Annotated[str, typer.Option(help="Why; it stands on the sheet.")],
    who: WHO = "",
    pin: NAMED_PIN = "",
    key: KEY = "",
    home: HOME = None,
) -> None:
    """Open a closed job again; only then it takes entries."""
    with opened_store(home) as store:
        store.reopen(number, reason, who=who, pin=pin, idempotency_key=key)
    typer.echo(_("job {number} is open again; its signature stays in the record").format(number=number))
