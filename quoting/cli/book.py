"""`quoting book`: the quote book on the command line; it may run beside a server."""

from __future__ import annotations

import datetime
import os
from collections.abc import Callable
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from quoting.book import Entry, QuoteBook
    from quoting.estimate import Estimate
    from quoting.rate_card import RateCard

DEFAULT = "quotations/book.sqlite"
_PATH = click.Path(path_type=Path)
_STATES = ("draft", "open", "accepted", "declined", "withdrawn", "lapsed")


@click.group()
def book() -> None:
    """Keep quotations: numbered, revised, accepted. For the owner."""


def _in_book(function: Callable[..., None]) -> Callable[..., None]:
    return click.option(
        "--book",
        "address",
        envvar="QUOTING_BOOK",
        default=DEFAULT,
        show_default=True,
        help="A file, or postgresql://USER@HOST/NAME; also told by QUOTING_BOOK.",
    )(function)


def _change(function: Callable[..., None]) -> Callable[..., None]:
    for decorate in (
        click.option("--key", default="", help="Makes it safe to ask for twice."),
        click.option("--by", default="owner", show_default=True, help="The part you play; no name of a person."),
        click.option("--at", callback=_instant, help="When, as 2026-11-25T10:00+00:00; now if left out."),
        _in_book,
    ):
        function = decorate(function)
    return function


def _instant(_: click.Context, __: click.Parameter, told: str | None) -> datetime.datetime:
    try:
        at = datetime.datetime.fromisoformat(told) if told else datetime.datetime.now(datetime.UTC)
    except ValueError as error:
        raise click.BadParameter(str(error)) from error
    if at.tzinfo is None:
        raise click.BadParameter(f"expected an instant with its offset, such as {told}+00:00; found none")
    return at


def _opened(address: str, *, make: bool = False) -> QuoteBook:
    from quoting.book import QuoteBook

    artwork = os.environ.get("QUOTING_ARTWORK")
    return QuoteBook(address, make=make, artwork=Path(artwork) if artwork else None)


def _priced(job_path: Path, card_path: Path, at: datetime.datetime) -> tuple[Estimate, RateCard]:
    from zoneinfo import ZoneInfo

    from quoting.estimate import estimate_job, load_job
    from quoting.rate_card import load_rate_card

    card = load_rate_card(card_path)
    on = at.astimezone(ZoneInfo(card.region.time_zone)).date()
    return estimate_job(load_job(job_path), card, on=on), card


def _told(entry: Entry, at: datetime.datetime) -> str:
    revision = f", revision {entry.revision}" if entry.revision > 1 else ""
    days = f", valid until {entry.days.valid_until}" if entry.days else ""
    return f"{entry.named}: {entry.state_at(at)}{revision}{days}"


_card = click.option("--card", "card_path", type=_PATH, required=True, help="Rate card: a TOML file or a folder.")
_no_pdf = click.option("--no-pdf", is_flag=True, help="Make and keep no PDF and XML.")


@book.command()
@click.argument("job_path", metavar="JOB", type=_PATH)
@_card
@_change
def draft(job_path: Path, card_path: Path, address: str, at: datetime.datetime, by: str, key: str) -> None:
    """Price a job and keep it as a draft, without a number."""
    estimate, card = _priced(job_path, card_path, at)
    with _opened(address, make=True) as opened:
        click.echo(_told(opened.draft(estimate, card, at=at, by=by, key=key), at))


@book.command()
@click.argument("what", metavar="JOB|DRAFT")
@click.option("--card", "card_path", type=_PATH, help="Rate card, where a job is priced.")
@click.option("--series", default="Q", show_default=True, help="Series of numbers.")
@_no_pdf
@_change
def issue(
    what: str,
    card_path: Path | None,
    series: str,
    address: str,
    at: datetime.datetime,
    by: str,
    key: str,
    *,
    no_pdf: bool,
) -> None:
    """Price a JOB and issue its quotation, or issue a DRAFT by its id: number, days, PDF."""
    priced = _priced(Path(what), card_path, at) if card_path else None
    with _opened(address, make=priced is not None) as opened:
        if priced is None:
            entry = opened.issue(what, at=at, by=by, series=series, key=key)
        else:
            estimate, card = priced
            entry = opened.draft_and_issue(estimate, card, at=at, by=by, series=series, key=key)
        click.echo(_told(entry, at))
        _documents(opened, entry, at, by, no_pdf=no_pdf)


@book.command()
@click.argument("number")
@click.argument("job_path", metavar="JOB", type=_PATH)
@_card
@_no_pdf
@_change
def revise(
    number: str,
    job_path: Path,
    card_path: Path,
    address: str,
    at: datetime.datetime,
    by: str,
    key: str,
    *,
    no_pdf: bool,
) -> None:
    """Price a JOB and issue it as the next revision of NUMBER."""
    estimate, card = _priced(job_path, card_path, at)
    with _opened(address) as opened:
        entry = opened.revise(number, estimate, card, at=at, by=by, key=key)
        click.echo(_told(entry, at))
        _documents(opened, entry, at, by, no_pdf=no_pdf)


def _documents(opened: QuoteBook, entry: Entry, at: datetime.datetime, by: str, *, no_pdf: bool) -> None:
    if not no_pdf:
        from quoting.book.sending import keep_documents

        keep_documents(opened, entry.id, at=at, by=by)


@book.command()
@click.argument("number")
@_change
def documents(number: str, address: str, at: datetime.datetime, by: str, key: str) -> None:
    """Make and keep the PDF and the XML of NUMBER, where that was left out or failed."""
    with _opened(address) as opened:
        entry = opened.get(number)
        _documents(opened, entry, at, by, no_pdf=False)
        click.echo(_told(opened.get(number), at))


@book.command()
@click.argument("number")
@click.option("--quantity", type=int, help="The option taken; may be left out where there is one.")
@click.option("--who", default="", help="Who said so.")
@click.option("--note", default="", help="What was said.")
@_change
def accept(number: str, address: str, at: datetime.datetime, **told: Any) -> None:
    """Record that the client takes NUMBER."""
    with _opened(address) as opened:
        entry = opened.accept(number, at=at, **told)
        click.echo(f"{_told(entry, at)}; deposit {_amount(entry, entry.deposit_minor)}, {_balance(entry)}")


@book.command()
@click.argument("number")
@click.option("--who", default="", help="Who said so.")
@click.option("--note", default="", help="What was said.")
@_change
def decline(number: str, address: str, at: datetime.datetime, **told: Any) -> None:
    """Record that the client does not take NUMBER."""
    with _opened(address) as opened:
        click.echo(_told(opened.decline(number, at=at, **told), at))


@book.command()
@click.argument("number")
@click.option("--note", default="", help="Why.")
@_change
def withdraw(number: str, address: str, at: datetime.datetime, **told: Any) -> None:
    """Take NUMBER back, or put a draft away."""
    with _opened(address) as opened:
        click.echo(_told(opened.withdraw(number, at=at, **told), at))


@book.command()
@click.argument("number")
@click.argument("amount")
@_change
def pay(number: str, amount: str, address: str, at: datetime.datetime, **told: Any) -> None:
    """Record an AMOUNT that came for what was accepted."""
    try:
        paid = Decimal(amount)
    except InvalidOperation as error:
        raise click.BadParameter(f"expected an amount such as 12.50; found {amount}") from error
    with _opened(address) as opened:
        entry = opened.record_payment(number, paid, at=at, **told)
        click.echo(f"{_told(entry, at)}; {_balance(entry)}")


@book.command("list")
@click.option("--state", type=click.Choice(_STATES), help="Only those in a state.")
@click.option("--text", default="", help="Whole words of client, title, reference or items.")
@click.option("--client", help="Only those of a client, by id.")
@click.option("--number", default="", help="Only the one of a number.")
@click.option("--from", "dated_from", type=click.DateTime(["%Y-%m-%d"]), help="Issued on a day or after.")
@click.option("--until", "dated_until", type=click.DateTime(["%Y-%m-%d"]), help="Issued on a day or before.")
@click.option("--limit", type=click.IntRange(1, 200), default=50, show_default=True)
@click.option("--cursor", default="", help="Where the page before ended.")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
@_in_book
def list_(address: str, limit: int, cursor: str, *, as_json: bool, **wanted: Any) -> None:
    """List quotations, newest first."""
    from quoting.book import Wanted
    from quoting.cli.tables_of_book import show_list
    from quoting.reader import to_json

    for name in ("dated_from", "dated_until"):
        wanted[name] = wanted[name].date() if wanted[name] else None
    with _opened(address) as opened:
        found = opened.list(Wanted(**wanted), at=datetime.datetime.now(datetime.UTC), most=limit, cursor=cursor)
    click.echo(to_json(found, indent=2).decode() if as_json else show_list(found))


@book.command()
@click.argument("number")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
@_in_book
def show(number: str, address: str, *, as_json: bool) -> None:
    """Show NUMBER: how it stands, its options, its history."""
    from quoting.cli.tables_of_book import show_entry
    from quoting.reader import to_json

    with _opened(address) as opened:
        entry, history = opened.get(number), opened.history(number)
        client = opened.client(entry.client)
    at = datetime.datetime.now(datetime.UTC)
    click.echo(to_json(entry, indent=2).decode() if as_json else show_entry(entry, client, history, at))


@book.command()
@click.argument("number")
@click.argument("kind")
@click.option("--revision", type=int, help="Of which revision; the newest if left out.")
@click.option("--out", type=_PATH, required=True, help="The file to write.")
@_in_book
def paper(number: str, kind: str, revision: int | None, out: Path, address: str) -> None:
    """Write a paper of NUMBER as it was kept: job, estimate, quotation, pdf, xml."""
    from quoting.cli.documents import write_file

    with _opened(address) as opened:
        write_file(opened.paper(number, kind, revision=revision).content, out)
    click.echo(f"{out} written")


@book.command()
@click.option("--after", default="", help="The last id of the page before.")
@_in_book
def clients(address: str, after: str) -> None:
    """List the address book, 200 clients at a time."""
    from quoting.cli.tables_of_book import show_clients

    with _opened(address) as opened:
        click.echo(show_clients(opened.clients(after=after)))


@book.command()
@click.option("--again", is_flag=True, help="Have all of it tried once more, from now on.")
@click.option("--after", default=0, help="The last event of the page before.")
@_in_book
def undeliverable(address: str, after: int, *, again: bool) -> None:
    """List what could not be told by mail or webhook, 100 deliveries at a time."""
    from quoting.cli.tables_of_book import show_deliveries

    with _opened(address) as opened:
        if again:
            tried = opened.outbox.try_again(at=datetime.datetime.now(datetime.UTC))
            click.echo(f"{tried} to be tried again by the sender of quoting serve")
            return
        click.echo(show_deliveries(opened.outbox.undeliverable(after=after)))


@book.command()
@click.argument("client")
@click.option("--yes", is_flag=True, help="Do not ask.")
@_change
def erase(client: str, address: str, at: datetime.datetime, by: str, key: str, *, yes: bool) -> None:
    """Take everything personal of CLIENT (an id) out of the book; numbers and sums stay."""
    if not yes:
        click.confirm(f"Erase {client}, and every paper of their quotations, for ever?", abort=True)
    with _opened(address) as opened:
        erased = opened.erase_client(client, at=at, by=by)
    click.echo(f"{client} erased, with the papers of {len(erased)} quotations")


@book.command()
@click.option("--quick", is_flag=True, help="Leave prices alone.")
@click.option("--anchor", metavar="POSITION:HASH", help="An event written down earlier, that must still stand.")
@_in_book
def verify(address: str, anchor: str | None, *, quick: bool) -> None:
    """Hold every row against the history, every price against the engine."""
    from quoting.book import Anchor
    from quoting.book.repricing import ENGINES
    from quoting.errors import BookError

    position, colon, hash = (anchor or "").partition(":")
    if anchor and not (colon and position.isdecimal()):
        raise click.BadParameter(f"expected POSITION:HASH; found {anchor}")
    with _opened(address) as opened:
        report = opened.verify(
            engines={} if quick else ENGINES, anchor=Anchor(int(position), hash) if anchor else None
        )
    for fault in (*report.tampering, *report.drift, *report.not_recomputed):
        click.echo(fault, err=True)
    click.echo(
        f"{report.events} events, {report.quotations} quotations, {report.recomputed} prices worked out again:"
        f" {len(report.tampering)} tampered with, {len(report.drift)} drifted,"
        f" {len(report.not_recomputed)} of rules that are not here. Head {report.events}:{report.head}"
    )
    if not report.is_sound:
        raise BookError("expected a sound book; found what is told above")


@book.command()
@click.argument("out", type=_PATH)
@_in_book
def export(out: Path, address: str) -> None:
    """Write everything the book holds into a ZIP file, to be read without it."""
    with _opened(address) as opened:
        opened.export(out)
    click.echo(f"{out} written")


@book.command()
@click.argument("out", type=_PATH)
@_in_book
def backup(out: Path, address: str) -> None:
    """Write a backup, while the book is in use."""
    with _opened(address) as opened:
        opened.back_up(out)
    click.echo(f"{out} written")


@book.command()
@click.argument("backup_path", metavar="BACKUP", type=_PATH)
@_in_book
def restore(backup_path: Path, address: str) -> None:
    """Bring a BACKUP back to where there is no book yet, and verify it."""
    from quoting.book import QuoteBook
    from quoting.errors import BookError

    QuoteBook.restore(backup_path, address)
    with _opened(address) as opened:
        report = opened.verify(engines={})
    if not report.is_sound:
        raise BookError("\n".join(report.tampering))
    click.echo(f"{report.quotations} quotations restored, {report.events} events verified")


@book.command()
@_in_book
def upgrade(address: str) -> None:
    """Bring the book to the newest tables; take a backup first."""
    from quoting.book import QuoteBook

    QuoteBook.upgrade(address)
    click.echo("The book is at the newest tables")


def _amount(entry: Entry, minor: int) -> str:
    from quoting.cli.tables_of_book import coins

    return coins(minor, entry.terms.currency)


def _balance(entry: Entry) -> str:
    return f"balance {_amount(entry, entry.balance_minor)}"
