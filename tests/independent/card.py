"""A rate card as its TOML files hold it, and the rates that follow from it."""

from __future__ import annotations

import tomllib
from fractions import Fraction
from itertools import product
from pathlib import Path
from typing import Any

from tests.independent.measures import measure, rate_of, size

Table = dict[str, Any]
CLEAN = "clean"


class Card:
    """The tables of a rate card's folder, or of plain data that a test has changed."""

    def __init__(self, tables: Path | Table) -> None:
        self.tables: Table = {}
        if isinstance(tables, Path):
            for path in sorted(tables.glob("*.toml")):
                self.tables |= tomllib.loads(path.read_text(encoding="utf-8"))
        else:
            self.tables = tables
        self.washes = _washes(self)

    def __getitem__(self, name: str) -> Any:
        return self.tables[name]

    def number(self, *path: str) -> Fraction:
        """The measure at a path."""
        found: Any = self.tables
        for key in path:
            found = found[key]
        return measure(found)

    def stock(self, name: str) -> Table:
        """One stock."""
        found: Table = self["stocks"][name]
        return found

    def stock_class(self, stock: str) -> Table:
        """The class of a stock."""
        found: Table = self["stock_classes"][self.stock(stock)["stock_class"]]
        return found

    def finishing(self, kind: str) -> Table:
        """What the card says of one finishing operation."""
        found: Table = next(rates for rates in self["finishing"] if rates["kind"] == kind)
        return found

    def who(self, bench: str) -> str:
        """Who works at a bench."""
        found: str = self["worked_by"][bench]
        return found

    def person_rate(self, name: str) -> Fraction:
        """An hour of somebody's."""
        everybody = sum(_chargeable(person) for person in self["people"].values())
        person = self["people"][name]
        own = sum(measure(person[key]) for key in ("wage", "employer_charges", "holidays_and_sickness"))
        return rate_of(own / _chargeable(person) + self.number("general_expense") / everybody)

    def machine_rate(self, name: str | None) -> Fraction:
        """An hour of a press's or another machine's."""
        if name is None:
            return Fraction(0)
        year = self["presses"].get(name, self["machines"].get(name))["year"]
        costs = sum(measure(year[key]) for key in ("depreciation", "rollers", "repairs", "power", "floor_space"))
        return rate_of(costs / (measure(year["hours"]) / 60))

    def after_tax(self, paid: Fraction, *, includes_tax: bool = False) -> Fraction:
        """What a sum paid to a supplier costs the shop."""
        rate = self.number("tax", "input_rate")
        net = paid / (1 + rate) if includes_tax else paid
        return net if self["tax"]["standing"] == "input tax reclaimed" else net * (1 + rate)

    def price_a_sheet(self, name: str, sheets: int) -> Fraction:
        """One sheet's price where so many are bought together."""
        stock = self.stock(name)
        price = [measure(band["price"]) for band in stock["prices"] if band["at_least"] <= sheets][-1]
        width, height = size(stock["size"])
        grams = width * height / 1_000_000 * measure(stock["grammage"])
        sheets_a_unit = {
            "each": Fraction(1),
            "hundred": Fraction(100),
            "thousand": Fraction(1000),
            "ream": Fraction(500),
            "pack": Fraction(stock["pack"]),
            "kg": 1000 / grams,
            "tonne": 1_000_000 / grams,
            "100 lb": measure("100 lb") / grams,
        }
        return price / sheets_a_unit[stock["price_unit"]]


def _chargeable(person: Table) -> Fraction:
    return measure(person["paid_hours"]) / 60 * measure(person["chargeable"])


def _washes(card: Card) -> dict[tuple[str, str], Fraction]:
    """Minutes from each ink to each other and to clean, closed under going through a third or a clean press."""
    shades = {name: ink["shade"] for name, ink in card["inks"].items()}
    rows = card["washing_up"]["minutes"]
    table = {
        (before, after): Fraction(0) if before == after else measure(rows[shade][to])
        for before, shade in shades.items()
        for after, to in [*shades.items(), (CLEAN, CLEAN)]
    }
    for through, before, after in product(shades, shades, [*shades, CLEAN]):
        table[before, after] = min(table[before, after], table[before, through] + table[through, after])
    return {(before, after): min(minutes, table[before, CLEAN]) for (before, after), minutes in table.items()}
