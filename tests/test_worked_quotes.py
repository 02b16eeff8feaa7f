"""The engine against the worked quotes: to the penny and to the sheet."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest

from quoting import Job, RateCard, estimate_job
from quoting.estimate import Option
from tests.conftest import DAY, demo_jobs
from tests.worked_quotes import HERE, WorkedQuote, read_worked_quote, row, worked_quotes

PATHS = worked_quotes()
# Lengths are kept to 1e-7 mm, which the worked quotes leave out: a form's ink differs in its ninth place.
LENGTHS_ROUNDED_HOURS = Fraction(1, 10**8)


def name_of(path: Path) -> str:
    return f"{path.parent.name}/{path.stem}"


def found_in(option: Option, names: list[str]) -> dict[str, Fraction]:
    """What the engine says of everything that a worked quote may expect."""
    sums: dict[str, Decimal] = {
        "cost": option.price.cost,
        "net": option.price.net,
        "total": option.price.total,
        "deposit": option.price.deposit,
    }
    for line in option.lines:
        key = f"cost of {line.operation}"
        sums[key] = sums.get(key, Decimal(0)) + line.cost
    for part in option.parts:
        sums[f"sheets of {part.plan.label}"] = Decimal(part.sheets_from_stock)
    minutes = sum((line.minutes for line in option.lines), Decimal(0))
    found = {name: Fraction(sums.get(name, Decimal(0))) for name in names}
    if "hours" in names:
        found["hours"] = Fraction(minutes) / 60
    return found


def test_every_demo_job_has_a_worked_quote() -> None:
    assert sorted(name_of(path) for path in PATHS) == sorted(f"{shop}/{job}" for shop, job in demo_jobs())


@pytest.mark.parametrize("path", PATHS, ids=name_of)
def test_every_quoted_row_stands_in_its_card_or_job(path: Path) -> None:
    quote = read_worked_quote(path)

    said = {where: row(quote.shop, where, quote.job) for _, where, _ in quote.quoted}

    assert said == {where: text for _, where, text in quote.quoted}
    assert len(said) > 20


@pytest.mark.parametrize("path", PATHS, ids=name_of)
def test_the_engine_agrees_with_the_worked_quote(
    path: Path, cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]
) -> None:
    quote: WorkedQuote = read_worked_quote(path)
    estimate = estimate_job(jobs[quote.shop, quote.job], cards[quote.shop], on=DAY)
    option = next(one for one in estimate.options if one.quantity == quote.quantity)

    found = found_in(option, list(quote.expected))

    hours = {"hours": Fraction(found.pop("hours"))}
    expected = dict(quote.expected)
    assert abs(expected.pop("hours") - hours["hours"]) < LENGTHS_ROUNDED_HOURS
    assert {k: float(v) for k, v in expected.items()} == {k: float(v) for k, v in found.items()}
    assert expected == found


@pytest.mark.parametrize("path", PATHS, ids=name_of)
def test_no_operation_of_the_engine_is_missing_from_the_worked_quote(
    path: Path, cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]
) -> None:
    quote = read_worked_quote(path)
    estimate = estimate_job(jobs[quote.shop, quote.job], cards[quote.shop], on=DAY)
    option = next(one for one in estimate.options if one.quantity == quote.quantity)

    worked = {name.removeprefix("cost of ") for name in quote.expected if name.startswith("cost of ")}

    assert {line.operation for line in option.lines} <= worked


def test_a_worked_quote_is_read_without_the_library() -> None:
    assert "quoting" not in {
        word
        for line in (HERE / "__init__.py").read_text().splitlines()
        if line.startswith(("import", "from"))
        for word in line.split()
    }
