"""Washing up: minutes from one ink to the next, or to a clean press."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from msgspec import Struct

from quoting.numbers import at_most
from quoting.shop import Ink, Name
from quoting.units import Duration

CLEAN = "clean"


class WashingUpRates(Struct, frozen=True, forbid_unknown_fields=True):
    """Minutes by the shade that is on the press and the shade (or ``clean``) that follows it."""

    minutes: dict[Name, dict[Name, Duration]]


def wash_table(rates: WashingUpRates, inks: Mapping[str, Ink]) -> dict[tuple[str, str], Decimal]:
    """
    Minutes from each ink to each other and to ``clean``, closed under going through a third.

    If it is quicker to wash to yellow and then to red than straight to red, or to wash clean,
    that is what the table says: otherwise adding a colour to a job could lower its cost.
    """
    shades = {name: ink.shade for name, ink in inks.items()}
    table: dict[tuple[str, str], Decimal] = {}
    for before, shade in shades.items():
        for after, next_shade in [*shades.items(), (CLEAN, CLEAN)]:
            same = before == after
            table[before, after] = Decimal(0) if same else rates.minutes[shade][next_shade].in_base_unit
    for through in shades:
        for before in shades:
            for after in [*shades, CLEAN]:
                round_about = table[before, through] + table[through, after]
                table[before, after] = at_most(table[before, after], round_about)
    return {(before, after): at_most(minutes, table[before, CLEAN]) for (before, after), minutes in table.items()}
