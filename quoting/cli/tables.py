"""Tables that a person likes to read: an estimate, a rate card."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from decimal import Decimal
from typing import Any

import click

from quoting.cli.words import amount, table
from quoting.estimate import Estimate, Option, printed
from quoting.line_items import LineItem
from quoting.numbers import plain
from quoting.rate_card import RateCard, tag_of

WIDEST_WHAT = 44


def show_estimate(estimate: Estimate, card: RateCard, *, why: bool) -> None:
    """The owner's estimate: options side by side, then the first one's plan and lines."""
    job = estimate.job
    click.secho(f"{job.title}, for {job.client.name}", bold=True)
    click.echo(
        f"{card.letterhead.name}, card {estimate.card_version}, {estimate.on}. For the owner, not for the client.\n"
    )
    click.echo(_options(estimate, card))
    for offer in _offers(estimate, card):
        click.secho(offer, fg="yellow")
    first = estimate.options[0]
    click.echo(_plan(first, card))
    click.echo(_lines(first, card))
    if why:
        click.echo("\n" + "\n".join(_sentences(first)))
    for option in estimate.options:
        for warning in option.warnings:
            click.secho(f"{option.quantity:,}: {warning}", fg="yellow")


def _offers(estimate: Estimate, card: RateCard) -> Iterator[str]:
    """Larger quantities that are priced under smaller ones."""
    if len(estimate.options) > 1:
        from quoting.compare import offer_words, offers

        found = list(offers(sorted((option.quantity, printed(option.price)) for option in estimate.options)))
        if found:
            from quoting.documents.formats import Formats

            formats = Formats(card.region.locale, card.region.currency)
            yield from (offer_words(offer, formats) for offer in found)


def _options(estimate: Estimate, card: RateCard) -> str:
    rules = dict.fromkeys(rule.rule for option in estimate.options for rule in option.price.rules)
    rows = [[rule, *(_rule(option, rule, card) for option in estimate.options)] for rule in rules]
    for name, cell, is_bold in _totals(card):
        cells = [name, *(cell(option) for option in estimate.options)]
        rows.append([click.style(text, bold=True) for text in cells] if is_bold else cells)
    headers = [f"{estimate.currency}, by quantity", *(f"{option.quantity:,}" for option in estimate.options)]
    return table(rows, headers=headers)


def _totals(card: RateCard) -> tuple[tuple[str, Callable[[Option], str], bool], ...]:
    """Rows under the rules: a name, what it shows of an option, whether it stands out."""
    return (
        ("Net price", lambda option: amount(option.price.net, card), True),
        (card.tax.name, lambda option: amount(option.price.total - option.price.net, card), False),
        ("Total", lambda option: amount(option.price.total, card), True),
        ("Deposit", lambda option: amount(option.price.deposit, card), False),
        ("A hundred more", lambda option: amount(option.run_on, card), False),
        ("Margin", lambda option: f"{option.price.margin * 100:.1f} %", False),
        ("Hours, all labour", lambda option: f"{option.hours.labour:.1f}", False),
        ("Hours at a press", lambda option: f"{option.hours.press:.1f}", False),
        ("Earned a press hour", lambda option: _earned(option.hours.earned_a_press_hour, card), False),
        ("Earned a labour hour", lambda option: _earned(option.hours.earned_a_labour_hour, card), False),
        ("Ready on", lambda option: str(option.ready_on), False),
    )


def _rule(option: Option, name: str, card: RateCard) -> str:
    amounts = [rule.amount for rule in option.price.rules if rule.rule == name]
    return amount(sum(amounts, Decimal(0)), card) if amounts else ""


def _earned(value: Decimal | None, card: RateCard) -> str:
    return "" if value is None else amount(value, card)


def _plan(option: Option, card: RateCard) -> str:
    lines = [click.style(f"\nPlan for {option.quantity:,}", bold=True)]
    lines += [
        f"  {way}, {part.sheets_from_stock:,} from stock" for way, part in zip(option.ways, option.parts, strict=True)
    ]
    for number, sitting in enumerate(option.sittings, start=1):
        lines.append(f"  Sitting {number}, {card.presses[sitting.press].name}: {'; '.join(sitting.passes)}")
    if option.over_best:
        lines.append(f"  As pinned, {amount(option.over_best, card)} dearer than the cheapest plan")
    if option.runners_up:
        cost = sum((line.exact_cost for line in option.lines), Decimal(0))
        over = amount(option.runners_up[0].exact_cost - cost, card)
        lines.append(f"  Next best, {over} dearer: {'; '.join(option.runners_up[0].ways)}")
    return "\n".join(lines) + "\n"


def _lines(option: Option, card: RateCard) -> str:
    rows = [
        [
            line.operation,
            line.what if len(line.what) <= WIDEST_WHAT else line.what[: WIDEST_WHAT - 1] + "…",
            f"{plain(line.driver, places=1)} {line.driver_unit}",
            plain(line.minutes, places=1) if line.minutes else "",
            plain(line.rate) if line.minutes else "",
            amount(line.cost, card),
            amount(line.price, card),
        ]
        for line in option.lines
    ]
    headers = ["Operation", "What", "Driven by", "Minutes", "An hour", "Cost", "Price"]
    return table(rows, headers=headers, left=(0, 1), title=f"Line items for {option.quantity:,}")


def _sentences(option: Option) -> Iterator[str]:
    """The arithmetic behind every line, and behind every rule of the price."""
    for line in option.lines:
        yield click.style(f"{line.operation}: {plain(line.cost, places=2)}", bold=True)
        yield from (f"  {sentence}" for sentence in _line_sentences(line))
        yield f"  price: {line.price_sentence}"
    for rule in option.price.rules:
        yield f"{click.style(rule.rule, bold=True)}: {rule.sentence}: {plain(rule.amount, places=2)}"


def _line_sentences(line: LineItem) -> list[str]:
    if line.minutes:
        return line.sentence.split("; ")
    drawn = [
        f"{working.what}: {step.sentence} = {plain(step.result)} {step.unit}"
        for working in line.workings
        for step in working.steps
    ]
    return [*drawn, line.sentence]


def show_card(card: RateCard) -> None:
    """A rate card as tables; first how every hour rate is built up."""
    click.secho(f"{card.card.name}, version {card.card.version}, since {card.card.holds_from}\n", bold=True)
    click.echo(_people(card) + "\n")
    click.echo(_machines(card) + "\n")
    sold, spent = card.year_reconciled()
    click.echo(f"Hours x rates over the year: {amount(sold, card)}; the year's cost: {amount(spent, card)}")
    for name in card.__struct_fields__:
        if name not in {"format", "card", "people", "machines"}:
            rows = [list(row) for row in _flat("", getattr(card, name))]
            title = name.replace("_", " ").capitalize()
            click.echo("\n" + table(rows, left=(0, 1), title=title))


def _people(card: RateCard) -> str:
    hours = sum((each.chargeable_hours for each in card.people.values()), Decimal(0))
    rows = [
        [
            person.name,
            amount(person.wage, card),
            amount(person.employer_charges, card),
            amount(person.holidays_and_sickness, card),
            amount(card.general_expense * person.chargeable_hours / hours, card),
            plain(person.chargeable_hours),
            plain(card.person_rate(name)),
        ]
        for name, person in card.people.items()
    ]
    headers = ["", "Wage", "Charges on it", "Holidays, sickness", "General expense", "Hours sold", "An hour"]
    return table(rows, headers=headers, title="An hour of a person")


def _machines(card: RateCard) -> str:
    named = {name: press.name for name, press in card.presses.items()}
    named |= {name: machine.name for name, machine in card.machines.items()}
    rows = []
    for key, name in named.items():
        year = card.machine_year(key)
        costs = (year.depreciation, year.rollers, year.repairs, year.power, year.floor_space)
        rows.append([name, *(amount(cost, card) for cost in costs), plain(year.hours), plain(card.machine_rate(key))])
    headers = ["", "Depreciation", "Rollers", "Repairs", "Power", "Floor", "Hours run", "An hour"]
    return table(rows, headers=headers, title="An hour of a machine")


def _flat(prefix: str, value: Any) -> Iterator[tuple[str, str]]:
    """Any table of the card: one row a key, nested keys joined."""
    if hasattr(value, "__struct_fields__"):
        if value.__struct_config__.tag:
            yield prefix, tag_of(value)
        for field in value.__struct_fields__:
            yield from _flat(_join(prefix, field), getattr(value, field))
    elif isinstance(value, dict):
        for key, one in value.items():
            yield from _flat(_join(prefix, str(key)), one)
    elif isinstance(value, tuple) and value and hasattr(value[0], "__struct_fields__"):
        for place, one in enumerate(value, start=1):
            yield from _flat(_join(prefix, str(place)), one)
    elif isinstance(value, tuple):
        yield prefix, ", ".join(str(one) for one in value)
    else:
        yield prefix, "" if value is None else str(value)


def _join(prefix: str, key: str) -> str:
    return f"{prefix}.{key}" if prefix else key
