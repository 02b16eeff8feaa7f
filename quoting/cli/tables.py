"""Tables that a person likes to read: an estimate, a rate card."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from rich import box
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from quoting.cli.words import amount
from quoting.estimate import Estimate, Option
from quoting.line_items import LineItem
from quoting.numbers import plain
from quoting.rate_card import RateCard, tag_of

NARROW = 100


def show_estimate(estimate: Estimate, card: RateCard, *, why: bool) -> None:
    """The owner's estimate: options side by side, then the first one's plan and lines."""
    console = _console()
    job = estimate.job
    console.print(Text(f"{job.title}, for {job.client.name}", style="bold"))
    console.print(
        f"{card.letterhead.name}, card {estimate.card_version}, {estimate.on}. For the owner: not for the client.\n",
        highlight=False,
    )
    console.print(_options(estimate, card))
    first = estimate.options[0]
    console.print(_plan(first, card), highlight=False)
    console.print(_lines(first, card, why=why))
    for option in estimate.options:
        for warning in option.warnings:
            console.print(f"[yellow]{option.quantity:,}: {warning}[/yellow]", highlight=False)


def _console() -> Console:
    console = Console()
    return console if console.is_terminal else Console(width=max(console.width, NARROW + 20))


def _options(estimate: Estimate, card: RateCard) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="bold")
    table.add_column(f"{estimate.currency}, by quantity")
    for option in estimate.options:
        table.add_column(f"{option.quantity:,}", justify="right")
    first = estimate.options[0].price
    for name in dict.fromkeys(rule.rule for option in estimate.options for rule in option.price.rules):
        table.add_row(name, *(_rule(option, name, card) for option in estimate.options))
    rows: list[tuple[str, str, list[str]]] = [
        ("Net price", "bold", [amount(option.price.net, card) for option in estimate.options]),
        (
            card.tax.name,
            "",
            [amount(option.price.total - option.price.net, card) for option in estimate.options],
        ),
        ("Total", "bold", [amount(option.price.total, card) for option in estimate.options]),
        ("Deposit", "", [amount(option.price.deposit, card) for option in estimate.options]),
        ("A hundred more", "", [amount(option.run_on, card) for option in estimate.options]),
        ("Margin", "", [f"{option.price.margin * 100:.1f} %" for option in estimate.options]),
        ("Hours, all labour", "", [f"{option.hours.labour:.1f}" for option in estimate.options]),
        ("Hours at a press", "", [f"{option.hours.press:.1f}" for option in estimate.options]),
        (
            "Earned a press hour",
            "",
            [_earned(option.hours.earned_a_press_hour, card) for option in estimate.options],
        ),
        (
            "Earned a labour hour",
            "",
            [_earned(option.hours.earned_a_labour_hour, card) for option in estimate.options],
        ),
        ("Ready on", "", [str(option.ready_on) for option in estimate.options]),
    ]
    for name, style, cells in rows:
        if name == card.tax.name and not first.tax:
            continue
        table.add_row(Text(name, style=style), *(Text(cell, style=style) for cell in cells))
    return table


def _rule(option: Option, name: str, card: RateCard) -> str:
    amounts = [rule.amount for rule in option.price.rules if rule.rule == name]
    return amount(sum(amounts, Decimal(0)), card) if amounts else ""


def _earned(value: Decimal | None, card: RateCard) -> str:
    return "" if value is None else amount(value, card)


def _plan(option: Option, card: RateCard) -> str:
    lines = [f"\nPlan for {option.quantity:,}"]
    lines += [
        f"  {way}, {part.sheets_from_stock:,} from stock" for way, part in zip(option.ways, option.parts, strict=True)
    ]
    for number, sitting in enumerate(option.sittings, start=1):
        lines.append(f"  Sitting {number}, {card.presses[sitting.press].name}: {'; '.join(sitting.passes)}")
    if option.runners_up:
        cost = sum((line.exact_cost for line in option.lines), Decimal(0))
        over = amount(option.runners_up[0].exact_cost - cost, card)
        lines.append(f"  Next best, {over} dearer: {'; '.join(option.runners_up[0].ways)}")
    return "\n".join(lines) + "\n"


def _lines(option: Option, card: RateCard, *, why: bool) -> Table:
    table = Table(title=f"Line items for {option.quantity:,}", title_justify="left", box=None, padding=(0, 2, 0, 0))
    table.add_column("Operation")
    table.add_column("What", max_width=46)
    table.add_column("Driven by", justify="right")
    table.add_column("Minutes", justify="right")
    table.add_column("Rate", justify="right")
    table.add_column("Cost", justify="right")
    table.add_column("Price", justify="right")
    for line in option.lines:
        table.add_row(
            line.operation,
            _shortened(line.what) if not why else line.what,
            f"{plain(line.driver, places=1)} {line.driver_unit}",
            plain(line.minutes, places=1) if line.minutes else "",
            f"{plain(line.rate, places=4)} {line.rate_unit}" if line.minutes else "",
            amount(line.cost, card),
            amount(line.price, card),
        )
        if why:
            for sentence in _sentences(line):
                table.add_row("", Text(sentence, style="dim"))
    return table


def _shortened(what: str) -> str:
    return what if len(what) <= 44 else what[:43] + "…"


def _sentences(line: LineItem) -> list[str]:
    worked = [
        f"{working.what}: {step.sentence} = {plain(step.result)} {step.unit}"
        for working in line.workings
        for step in working.steps
    ]
    return [*worked, line.sentence]


def show_card(card: RateCard) -> None:
    """A rate card as tables; first how every hour rate is built up."""
    console = _console()
    console.print(Text(f"{card.card.name}, version {card.card.version}, since {card.card.holds_from}", style="bold"))
    console.print(_people(card))
    console.print(_machines(card))
    console.print(_year(card), highlight=False)
    for name in card.__struct_fields__:
        value = getattr(card, name)
        if name in {"format", "card", "people", "machines", "worked_by"}:
            continue
        console.print(Padding(_any_table(name, value), (1, 0, 0, 0)))


def _people(card: RateCard) -> Table:
    table = Table(title="An hour of a person", title_justify="left", box=box.SIMPLE_HEAD)
    for column in (
        "",
        "Wage",
        "Employer's charges",
        "Holidays, sickness",
        "General expense",
        "Chargeable hours",
        "An hour",
    ):
        table.add_column(column, justify="left" if not column else "right")
    hours = sum((each.chargeable_hours for each in card.people.values()), Decimal(0))
    for name, person in card.people.items():
        table.add_row(
            person.name,
            amount(person.wage, card),
            amount(person.employer_charges, card),
            amount(person.holidays_and_sickness, card),
            amount(card.general_expense * person.chargeable_hours / hours, card),
            plain(person.chargeable_hours),
            plain(card.person_rate(name)),
        )
    return table


def _machines(card: RateCard) -> Table:
    table = Table(title="An hour of a machine", title_justify="left", box=box.SIMPLE_HEAD)
    for column in ("", "Depreciation", "Rollers", "Repairs", "Power", "Floor", "Hours a year", "An hour"):
        table.add_column(column, justify="left" if not column else "right")
    named = {name: press.name for name, press in card.presses.items()}
    named |= {name: machine.name for name, machine in card.machines.items()}
    for key, name in named.items():
        year = card.machine_year(key)
        table.add_row(
            name,
            *(
                amount(cost, card)
                for cost in (year.depreciation, year.rollers, year.repairs, year.power, year.floor_space)
            ),
            plain(year.hours),
            plain(card.machine_rate(key)),
        )
    return table


def _year(card: RateCard) -> str:
    """Hours times rates against the year's cost: what rounding an hour rate leaves."""
    sold, spent = card.year_reconciled()
    return f"Hours x rates over the year: {amount(sold, card)}; the year's cost: {amount(spent, card)}\n"


def _any_table(name: str, value: Any) -> Table:
    """Any table of the card: one row a key, nested keys joined."""
    table = Table(title=name.replace("_", " ").capitalize(), title_justify="left", show_header=False, box=None)
    table.add_column(style="dim")
    table.add_column()
    for key, shown in _flat("", value):
        table.add_row(key, shown)
    return table


def _flat(prefix: str, value: Any) -> list[tuple[str, str]]:
    if hasattr(value, "__struct_fields__"):
        tag = value.__struct_config__.tag
        rows = [(prefix, tag_of(value))] if tag else []
        inner = {field: getattr(value, field) for field in value.__struct_fields__}
        return rows + [row for field, one in inner.items() for row in _flat(_join(prefix, field), one)]
    if isinstance(value, dict):
        return [row for key, one in value.items() for row in _flat(_join(prefix, str(key)), one)]
    if isinstance(value, tuple) and value and hasattr(value[0], "__struct_fields__"):
        return [row for place, one in enumerate(value, 1) for row in _flat(_join(prefix, str(place)), one)]
    if isinstance(value, tuple):
        return [(prefix, ", ".join(str(one) for one in value))]
    return [(prefix, "" if value is None else str(value))]


def _join(prefix: str, key: str) -> str:
    return f"{prefix}.{key}" if prefix else key
