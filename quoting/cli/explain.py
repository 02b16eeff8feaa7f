"""`quoting explain` and `quoting difference`: why a price is what it is, and what moved it. For the owner."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from quoting.difference import Difference, Moved
    from quoting.rate_card import RateCard

_PATH = click.Path(path_type=Path)


def _common(function: Callable[..., None]) -> Callable[..., None]:
    """What both take: a job, a card, a quantity, a day, JSON."""
    for decorate in (
        click.option("--json", "as_json", is_flag=True, help="All of it as JSON."),
        click.option("--on", type=click.DateTime(["%Y-%m-%d"]), default=None, help="The day; today if left out."),
        click.option("--quantity", type=click.IntRange(1, 1_000_000), help="The job's first if left out."),
        click.option("--card", "card_path", type=_PATH, required=True, help="Rate card: a TOML file or a folder."),
        click.argument("job_path", metavar="JOB", type=_PATH),
    ):
        function = decorate(function)
    return function


@click.command()
@_common
@click.option("--pdf", "pdf_path", type=_PATH, help="Write it as a PDF for the owner.")
def explain(
    job_path: Path,
    card_path: Path,
    quantity: int | None,
    on: datetime.datetime | None,
    pdf_path: Path | None,
    *,
    as_json: bool,
) -> None:
    """Why the price is what it is: from the total down to every rate and formula."""
    from msgspec.structs import replace

    from quoting.estimate import estimate_job, load_job
    from quoting.explain import explained, explanation_text
    from quoting.job_artwork import artwork_told
    from quoting.rate_card import load_rate_card

    card, job = load_rate_card(card_path), load_job(job_path)
    asked = replace(job, quantities=(quantity or job.quantities[0],))
    estimate = estimate_job(asked, card, on=_day(on, card))
    found = explained(estimate.options[0], estimate, card)
    if pdf_path:
        from quoting.cli.documents import write_file
        from quoting.documents.explanation import explanation_pdf

        write_file(explanation_pdf(found, estimate.options[0], estimate, paper=card.region.paper), pdf_path)
    if as_json:
        _json(found)
        return
    click.secho(f"{job.title}, for {job.client.name}", bold=True)
    click.echo(f"{card.letterhead.name}, card {estimate.card_version}, {estimate.on}. For the owner.\n")
    click.echo(explanation_text(found, estimate.currency))
    told = list(artwork_told(job))
    if told:
        click.secho("\nArtwork, as it was measured", bold=True)
        click.echo("\n".join(told))


@click.command()
@_common
@click.option("--to-card", "to_card_path", type=_PATH, help="The card to compare with; the same if left out.")
@click.option("--to-job", "to_job_path", type=_PATH, help="The job to compare with; the same if left out.")
def difference(
    job_path: Path,
    card_path: Path,
    to_card_path: Path | None,
    to_job_path: Path | None,
    quantity: int | None,
    on: datetime.datetime | None,
    *,
    as_json: bool,
) -> None:
    """Which inputs moved the price from one card or job to another, and by how much."""
    from quoting.difference import difference as difference_of
    from quoting.estimate import load_job
    from quoting.rate_card import load_rate_card

    if to_card_path is None and to_job_path is None:
        raise click.UsageError("expected --to-card, --to-job or both; found neither")
    card, job = load_rate_card(card_path), load_job(job_path)
    to_card = load_rate_card(to_card_path) if to_card_path else card
    to_job = load_job(to_job_path) if to_job_path else job
    found = difference_of((job, card), (to_job, to_card), on=_day(on, card), quantity=quantity)
    if as_json:
        _json(found)
    else:
        click.echo("\n".join(_difference_words(found, to_card)))


def _json(value: Any) -> None:
    from quoting.reader import to_json

    click.echo(to_json(value, indent=2).decode())


def _day(on: datetime.datetime | None, card: RateCard) -> datetime.date:
    from zoneinfo import ZoneInfo

    return on.date() if on else datetime.datetime.now(ZoneInfo(card.region.time_zone)).date()


def _difference_words(found: Difference, card: RateCard) -> Iterator[str]:
    from quoting.cli.words import amount, table

    first, last = found.before, found.after
    rows = [["before", "", "", amount(first.net, card), amount(first.total, card)]]
    for moved in found.moved:
        rows.extend(_rows(moved, card))
    rows.append(["after", "", "", amount(last.net, card), amount(last.total, card)])
    title = f"{first.title}, {first.quantity:,}, {first.card}"
    if (last.title, last.quantity, last.card) != (first.title, first.quantity, first.card):
        title += f" -> {last.title}, {last.quantity:,}, {last.card}"
    headers = [found.currency, "Before", "After", "Net price", "Total"]
    yield table(rows, headers=headers, left=(0, 1, 2), title=title)
    still = [", ".join(moved.inputs) for moved in found.moved if not _moves(moved)]
    if still:
        yield f"Changed without moving the price: {', '.join(still)}"
    yield from (line for moved in found.moved for line in _notes(moved))
    yield found.note


def _notes(moved: Moved) -> Iterator[str]:
    """Why inputs were changed together (the first reason; JSON has all), and which plan is the cheapest now."""
    if moved.refused:
        yield f"Changed together: {', '.join(moved.inputs)}; refused {_short(moved.refused[0], most=160)}"
    if moved.ways:
        yield f"From {moved.inputs[-1]} on another plan: {'; '.join(moved.ways)}"


def _moves(moved: Moved) -> bool:
    return bool(moved.net or moved.total)


def _rows(moved: Moved, card: RateCard) -> Iterator[list[str]]:
    """A row a key that differs; what they move stands on the first."""
    from quoting.cli.words import amount

    if not _moves(moved):
        return
    parts = [f"{'+' if part > 0 else ''}{amount(part, card)}" for part in (moved.net, moved.total)]
    for place, key in enumerate(moved.keys):
        yield [key.key, _short(key.before), _short(key.after), *(parts if place == 0 else ["", ""])]


def _short(text: str, *, most: int = 32) -> str:
    return text if len(text) <= most else f"{text[: most - 1]}…"
