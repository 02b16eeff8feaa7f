"""The demo: every job of both demo shops, priced and written as quotations."""

from __future__ import annotations

import datetime
import sys
from collections.abc import Iterator
from pathlib import Path
from zoneinfo import ZoneInfo

import click

from quoting.cli.documents import write_file
from quoting.cli.words import amount, table
from quoting.errors import DocumentError, QuotingError
from quoting.estimate import Estimate, estimate_job, load_job
from quoting.places import packaged
from quoting.quotation import quotation_for
from quoting.rate_card import RateCard, load_rate_card


def write_quotation(estimate: Estimate, card: RateCard, out: Path) -> None:
    """
    Write the quotation of an estimate as PDF, whole or not at all.

    Raises:
        DocumentError: it cannot be rendered, or the file cannot be written.
    """
    from quoting.documents import quotation_pdf

    write_file(quotation_pdf(quotation_for(estimate, card)), out)


def run_demo(out: Path, on: datetime.date | None) -> int:
    """Price and write every demo job; a job that fails is told and the others go on. Exit code."""
    failed: list[str] = []
    no_pdf: DocumentError | None = None
    shops = [shop for shop in sorted(packaged("rate_cards_demo").iterdir()) if (shop / "card").is_dir()]
    for shop in shops:
        card = load_rate_card(shop / "card")
        day = on or datetime.datetime.now(ZoneInfo(card.region.time_zone)).date()
        rows: list[list[str]] = []
        for name, estimate in _estimates(shop, card, day, failed):
            rows.extend(_rows(name, estimate, card))
            try:
                if no_pdf is None:
                    write_quotation(estimate, card, out / f"{shop.name}-{name}.pdf")
            except DocumentError as error:
                no_pdf = error
        click.echo(_table(rows, card))
    for message in failed:
        click.secho(message, fg="red", err=True)
    click.echo(f"No PDF written. {no_pdf}" if no_pdf else f"Quotations written to {out}")
    return 1 if failed else 0


def _estimates(shop: Path, card: RateCard, day: datetime.date, failed: list[str]) -> Iterator[tuple[str, Estimate]]:
    """Each job's estimate, with its name shown while a person waits for it."""
    for path in sorted((shop / "jobs").glob("*.toml")):
        if sys.stdout.isatty():
            click.echo(f"\r{shop.name}: {path.stem}".ljust(60) + "\r", nl=False)
        try:
            yield path.stem, estimate_job(load_job(path), card, on=day)
        except QuotingError as error:
            failed.append(f"{shop.name}/{path.stem}: {error}")


def _table(rows: list[list[str]], card: RateCard) -> str:
    headers = ["Job", "Quantity", "Hours", "Cost", "Net price", card.tax.name, "Total", "Margin"]
    return table(rows, headers=headers, title=f"{card.letterhead.name}, {card.region.currency}") + "\n"


def _rows(name: str, estimate: Estimate, card: RateCard) -> Iterator[list[str]]:
    for place, option in enumerate(estimate.options):
        price = option.price
        yield [
            name if place == 0 else "",
            f"{option.quantity:,}",
            f"{option.hours.labour:.1f}",
            amount(price.cost, card),
            amount(price.net, card),
            amount(price.total - price.net, card),
            amount(price.total, card),
            f"{price.margin * 100:.1f} %",
        ]
