"""`quoting compare`, `quoting what-if` and `quoting risk`: for the owner."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from quoting.compare import Cell, Comparison, Variant
    from quoting.documents.formats import Formats
    from quoting.rate_card import RateCard
    from quoting.risk import Risk
    from quoting.what_if import Swing, WhatIf

_PATH = click.Path(path_type=Path)


def _common(function: Callable[..., None]) -> Callable[..., None]:
    """What all three take: a job, a card, a day, JSON."""
    for decorate in (
        click.option("--json", "as_json", is_flag=True, help="All of it as JSON."),
        click.option("--on", type=click.DateTime(["%Y-%m-%d"]), default=None, help="The day; today if left out."),
        click.option("--card", "card_path", type=_PATH, required=True, help="Rate card: a TOML file or a folder."),
        click.argument("job_path", metavar="JOB", type=_PATH),
    ):
        function = decorate(function)
    return function


@click.command()
@_common
@click.option("--quantities", metavar="50,100,250", help="Quantities; the job's own if left out.")
@click.option("--sizes", metavar='"90 mm,95 mm"', help="Finished sizes of the part; its own if left out.")
@click.option("--stocks", metavar="NAME,NAME", help="Stocks of the card; the part's own if left out.")
@click.option("--presses", metavar="NAME,NAME", help="Presses of the card; the cheapest if left out.")
@click.option("--part", help="Whose size and stock change, where the job has several parts.")
@click.option("--price", metavar='"4.20 each"', help="A price before tax to break even at: 'each' or 'in all'.")
@click.option("--csv", "csv_path", type=_PATH, help="Write the grid as CSV.")
@click.option("--svg", "svg_folder", type=_PATH, help="Write the plots into a folder.")
@click.option("--pdf", "pdf_path", type=_PATH, help="Write the report, for the owner, as PDF.")
def compare(
    job_path: Path,
    card_path: Path,
    on: datetime.datetime | None,
    *,
    as_json: bool,
    quantities: str | None,
    sizes: str | None,
    stocks: str | None,
    presses: str | None,
    part: str | None,
    price: str | None,
    csv_path: Path | None,
    svg_folder: Path | None,
    pdf_path: Path | None,
) -> None:
    """Which sizes and quantities pay: costs, prices and margins side by side."""
    from quoting.compare import asked_price, compare_job
    from quoting.estimate import load_job
    from quoting.rate_card import load_rate_card

    card = load_rate_card(card_path)
    comparison = compare_job(
        load_job(job_path),
        card,
        on=_day(on, card),
        quantities=[_whole(word) for word in _words(quantities)],
        sizes=_words(sizes),
        stocks=_words(stocks),
        presses=_words(presses),
        part=part,
        price_asked=asked_price(price, card) if price else None,
    )
    if as_json:
        _json(comparison)
    else:
        click.echo("\n\n".join(_comparison_words(comparison, card)))
    for path in _written(comparison, card, csv_path, svg_folder, pdf_path):
        click.echo(f"{path} written", err=as_json)


def _words(told: str | None) -> list[str]:
    return [word.strip() for word in (told or "").split(",") if word.strip()]


def _whole(word: str) -> int:
    if not (word.isascii() and word.isdigit() and len(word) <= 7):
        raise click.BadParameter(f"expected whole numbers such as 50,100; found {word!r}", param_hint="--quantities")
    return int(word)


def _json(value: Any) -> None:
    from quoting.reader import to_json

    click.echo(to_json(value, indent=2).decode())


def _day(on: datetime.datetime | None, card: RateCard) -> datetime.date:
    from zoneinfo import ZoneInfo

    return on.date() if on else datetime.datetime.now(ZoneInfo(card.region.time_zone)).date()


def _written(
    comparison: Comparison, card: RateCard, csv_path: Path | None, svg_folder: Path | None, pdf_path: Path | None
) -> Iterator[Path]:
    from quoting.cli.documents import write_file

    if csv_path is not None:
        from quoting.documents.comparison_csv import comparison_csv

        write_file(comparison_csv(comparison).encode(), csv_path)
        yield csv_path
    if svg_folder is not None:
        from quoting.plots import plots_of

        for name, svg in plots_of(comparison).items():
            write_file(svg.encode(), svg_folder / f"{name}.svg")
            yield svg_folder / f"{name}.svg"
    if pdf_path is not None:
        from quoting.documents.comparison_pdf import comparison_pdf

        write_file(comparison_pdf(comparison, paper=card.region.paper), pdf_path)
        yield pdf_path


def _formats(card: RateCard) -> Formats:
    from quoting.documents.formats import Formats

    return Formats(card.region.locale, card.region.currency)


def _comparison_words(comparison: Comparison, card: RateCard) -> Iterator[str]:
    formats = _formats(card)
    head = f"{comparison.title}: {comparison.part}"
    told = f"{card.letterhead.name}, {formats.short_day(comparison.on)}. For the owner, not for the client."
    yield f"{click.style(head, bold=True)}\n{told}"
    for variant in comparison.variants:
        yield _variant_words(comparison, variant, formats)


def _variant_words(comparison: Comparison, variant: Variant, formats: Formats) -> str:
    from quoting.cli.words import table
    from quoting.compare import answers, in_tables

    if variant.refusals:
        reasons = "\n".join(f"  {way}: {why}" for way, why in variant.refusals.items())
        return f"{click.style(variant.label, bold=True)}\n{reasons}"
    tables: list[str] = []
    for cells in in_tables(variant.cells):
        rows = [[name, *(cell(one) for one in cells)] for name, cell in _rows(comparison, formats)]
        headers = [comparison.currency, *(formats.count(cell.quantity) for cell in cells)]
        tables.append(table(rows, headers=headers, title="" if tables else variant.label))
    plans = [f"From {formats.count(plan.quantity)}: {'; '.join(plan.ways)}" for plan in variant.plans]
    return "\n".join(["\n\n".join(tables), *plans, *answers(comparison, variant, formats)])


def _rows(comparison: Comparison, formats: Formats) -> list[tuple[str, Callable[[Cell], str]]]:
    def money(name: str) -> Callable[[Cell], str]:
        return lambda cell: "" if getattr(cell, name) is None else formats.amount(getattr(cell, name))

    rows: list[tuple[str, Callable[[Cell], str]]] = [
        ("Labour", money("labour")),
        ("Materials", money("materials")),
        ("Bought in", money("bought_in")),
        ("Cost", money("cost")),
        ("Price, before tax", money("net")),
        ("Each", lambda cell: formats.number(cell.each)),
        ("Total", money("total")),
        ("Deposit", money("deposit")),
        ("A hundred more, to the next", money("a_hundred_more")),
        ("Margin", lambda cell: formats.rounded_share(cell.margin)),
        ("Contribution", money("contribution")),
        ("Earned a press hour", money("earned_a_press_hour")),
        ("Earned a labour hour", money("earned_a_labour_hour")),
        ("What changes", lambda cell: " and ".join(cell.changed)),
    ]
    if comparison.price_asked is not None:
        rows.insert(-1, ("Left at that price", money("at_price")))
    return rows


@click.command("what-if")
@_common
@click.option(
    "--change",
    "changes",
    multiple=True,
    metavar='"make_ready.plate +10 %"',
    help="A key of the card, then +, - or = and by how much; * is any key. May be given again.",
)
@click.option("--quantity", type=click.IntRange(1), default=None, help="For the swings; the first if left out.")
@click.option("--svg", "svg_path", type=_PATH, help="Write the plot of what moves the margin most.")
def what_if(
    job_path: Path,
    card_path: Path,
    on: datetime.datetime | None,
    *,
    as_json: bool,
    changes: tuple[str, ...],
    quantity: int | None,
    svg_path: Path | None,
) -> None:
    """What a changed rate or time does to price and margin; without a change, what moves the margin most."""
    from quoting.estimate import load_job
    from quoting.rate_card import load_rate_card
    from quoting.what_if import change_from, swings
    from quoting.what_if import what_if as changed

    card, job = load_rate_card(card_path), load_job(job_path)
    day = _day(on, card)
    if changes:
        found = changed(job, card, [change_from(change) for change in changes], on=day)
        if as_json:
            _json(found)
        else:
            click.echo(_what_if_words(found, card))
        return
    count = quantity or job.quantities[0]
    widest = swings(job, card, count, on=day)
    if as_json:
        _json(widest)
    else:
        click.echo(_swing_words(widest, job.title, count, _formats(card)))
    if svg_path is not None:
        from quoting.cli.documents import write_file
        from quoting.plots import tornado

        write_file(tornado(widest, f"{job.title}, {_formats(card).count(count)}").encode(), svg_path)
        click.echo(f"{svg_path} written", err=as_json)


def _what_if_words(found: WhatIf, card: RateCard) -> str:
    from quoting.cli.words import table

    formats = _formats(card)
    changed = [[key, before, after] for key, before, after in found.changed]
    rows = []
    for effect in found.effects:
        for name, one in (("before", effect.before), ("after", effect.after), ("after, plan held", effect.held)):
            rows.append(
                [
                    formats.count(effect.quantity),
                    name,
                    formats.amount(one.cost),
                    formats.amount(one.net),
                    formats.rounded_share(one.margin),
                ]
            )
        rows.append(
            [
                formats.count(effect.quantity),
                "after, price held",
                "",
                "",
                formats.rounded_share(effect.margin_at_old_price),
            ]
        )
    return "\n\n".join(
        [
            table(changed, headers=["Changed", "from", "to"], left=(0, 1, 2), title=found.title),
            table(rows, headers=["Quantity", "", "Cost", "Price, before tax", "Margin"], left=(1,)),
        ]
    )


def _swing_words(widest: tuple[Swing, ...], title: str, quantity: int, formats: Formats) -> str:
    from quoting.cli.words import table

    rows = [
        [
            one.key,
            one.low,
            formats.rounded_share(one.margin_at_low),
            one.high,
            formats.rounded_share(one.margin_at_high),
        ]
        for one in widest
    ]
    headers = ["Input, over its own spread", "at", "margin", "at", "margin"]
    return table(
        rows,
        headers=headers,
        title=f"{title}, {formats.count(quantity)}: what moves the margin most, price and plan held",
    )


@click.command()
@_common
@click.option("--quantity", type=click.IntRange(1), default=None, help="The job's first quantity if left out.")
@click.option("--price", metavar="AMOUNT", help="Net price to hold; the card's own if left out.")
@click.option("--seed", type=click.IntRange(0, 2**32 - 1), default=1, show_default=True)
@click.option("--draws", type=click.IntRange(100, 1_000_000), default=10_000, show_default=True)
def risk(
    job_path: Path,
    card_path: Path,
    on: datetime.datetime | None,
    *,
    as_json: bool,
    quantity: int | None,
    price: str | None,
    seed: int,
    draws: int,
) -> None:
    """How likely a loss is at a price, and what price makes one less likely than one in ten."""
    from quoting.estimate import load_job
    from quoting.money import read_amount
    from quoting.rate_card import load_rate_card
    from quoting.risk import risk_of

    card, job = load_rate_card(card_path), load_job(job_path)
    found = risk_of(
        job,
        card,
        quantity or job.quantities[0],
        on=_day(on, card),
        seed=seed,
        draws=draws,
        net=read_amount(price, card.region.currency, "price") if price else None,
    )
    if as_json:
        _json(found)
    else:
        click.echo(_risk_words(found, card))


def _risk_words(found: Risk, card: RateCard) -> str:
    from quoting.cli.words import table

    formats = _formats(card)
    money = formats.amount
    rows = [
        ["Cost at the card's own figures", money(found.usual_cost)],
        ["Cost: one in ten is under", f"{money(found.cost_p10)} ± {money(found.cost_p10_error)}"],
        ["Cost: as often under as over", f"{money(found.cost_p50)} ± {money(found.cost_p50_error)}"],
        ["Cost: one in ten is over", f"{money(found.cost_p90)} ± {money(found.cost_p90_error)}"],
        ["Cost: mean", f"{money(found.cost_mean)} ± {money(found.cost_mean_error)}"],
        ["Price before tax", money(found.net)],
        ["Margin: one in ten is under", formats.rounded_share(found.margin_p10)],
        ["Margin: as often under as over", formats.rounded_share(found.margin_p50)],
        ["Margin: one in ten is over", formats.rounded_share(found.margin_p90)],
        [
            "How likely a loss is",
            f"{formats.rounded_share(found.loss)} ± {formats.rounded_share(found.loss_error)}",
        ],
        ["... if nothing went wrong together", formats.rounded_share(found.loss_if_independent)],
        [
            "Price at which a loss is less likely than one in ten",
            f"{money(found.safe_net)} ± {money(found.safe_net_error)}",
        ],
        ["... with tax", money(found.safe_total)],
    ]
    told = (
        f"After ±: the standard error. {formats.count(found.draws)} draws of {len(found.inputs)} inputs,"
        f" common factor {formats.number(found.common_factor)}, seed {found.seed}; plan and price held."
        " Hour rates are not drawn: they are the year's."
    )
    return f"{table(rows, title=f'{found.title}, {formats.count(found.quantity)}, {found.currency}')}\n{told}"
