"""The demo: every job of both demo shops, priced and written as quotations."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from pathlib import Path
from zoneinfo import ZoneInfo

from rich import box
from rich.console import Console
from rich.table import Table

from quoting.cli.words import amount
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

    pdf = quotation_pdf(quotation_for(estimate, card))
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        half_written = out.with_name(out.name + ".part")
        half_written.write_bytes(pdf)
        half_written.replace(out)
    except OSError as error:
        raise DocumentError(f"expected to write {out}; found {error.strerror}") from error


def run_demo(out: Path, on: datetime.date | None) -> int:
    """Price and write every demo job; a job that fails is told and the others go on. Exit code."""
    console = Console()
    failed: list[str] = []
    no_pdf: list[DocumentError] = []
    for shop in sorted(packaged("rate_cards_demo").iterdir()):
        if not (shop / "card").is_dir():
            continue
        card = load_rate_card(shop / "card")
        day = on or datetime.datetime.now(ZoneInfo(card.region.time_zone)).date()
        table = _table(card)
        for path, estimate in _estimates(shop, card, day, failed, console):
            if console.is_terminal:
                console.print(f"  {shop.name}/{path.stem}".ljust(60), end="\r", highlight=False)
            _add_rows(table, path.stem, estimate, card)
            if no_pdf:
                continue
            try:
                write_quotation(estimate, card, out / f"{shop.name}-{path.stem}.pdf")
            except DocumentError as error:
                no_pdf.append(error)
        console.print(table)
    for message in failed:
        console.print(message, style="red", highlight=False)
    if no_pdf:
        console.print(f"No PDF written. {no_pdf[0]}", highlight=False, soft_wrap=True)
    else:
        console.print(f"Quotations written to {out}", highlight=False)
    return 1 if failed else 0


def _estimates(
    shop: Path, card: RateCard, day: datetime.date, failed: list[str], console: Console
) -> Iterator[tuple[Path, Estimate]]:
    for path in sorted((shop / "jobs").glob("*.toml")):
        try:
            yield path, estimate_job(load_job(path), card, on=day)
        except QuotingError as error:
            failed.append(f"{shop.name}/{path.stem}: {error}")


def _table(card: RateCard) -> Table:
    table = Table(
        title=f"{card.letterhead.name} ({card.region.currency})",
        title_justify="left",
        title_style="bold",
        box=box.SIMPLE_HEAD,
        padding=(0, 1, 0, 0),
    )
    for name in ("Job", "Quantity"):
        table.add_column(name, no_wrap=True)
    for name in ("Hours", "Cost", "Net price", card.tax.name, "Total", "Margin"):
        table.add_column(name, justify="right", no_wrap=True)
    return table


def _add_rows(table: Table, name: str, estimate: Estimate, card: RateCard) -> None:
    for place, option in enumerate(estimate.options):
        price = option.price
        table.add_row(
            name if place == 0 else "",
            f"{option.quantity:,}",
            f"{option.hours.labour:.1f}",
            amount(price.cost, card),
            amount(price.net, card),
            amount(price.total - price.net, card),
            amount(price.total, card),
            f"{price.margin * 100:.1f} %",
        )
