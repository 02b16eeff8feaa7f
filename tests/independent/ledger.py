"""Lines: labour by operation, item, person and machine; what is bought once for the job; sums paid."""

from __future__ import annotations

from collections import defaultdict
from fractions import Fraction

from tests.independent.card import Card
from tests.independent.measures import measure, penny, up


class Ledger:
    """Everything that a job asks for, until it is priced line by line."""

    def __init__(self, card: Card) -> None:
        self.card = card
        self._minutes: dict[tuple[str, int | None, str, str | None], Fraction] = defaultdict(Fraction)
        self._drawn: dict[tuple[str, str], Fraction] = defaultdict(Fraction)
        self._paid: list[tuple[str, Fraction]] = []

    def labour(
        self, operation: str, item: int | None, person: str, minutes: Fraction, machine: str | None = None
    ) -> None:
        """Minutes of a person, at a machine or not."""
        self._minutes[operation, item, person, machine] += minutes

    def draw(self, pot: str, key: str, amount: Fraction) -> None:
        """Something of a stock, an ink or a plate order."""
        self._drawn[pot, key] += amount

    def charge(self, operation: str, paid: Fraction) -> None:
        """A sum paid, input tax not in it."""
        self._paid.append((operation, self.card.after_tax(paid)))

    def operations(self) -> dict[str, Fraction]:
        """What each operation costs: the sum of its lines, each rounded."""
        lines = [
            (operation, minutes / 60 * (self.card.person_rate(person) + self.card.machine_rate(machine)))
            for (operation, _, person, machine), minutes in self._minutes.items()
        ]
        for (pot, key), amount in self._drawn.items():
            lines.extend({"stock": self._stock, "ink": self._ink, "plates": self._plates}[pot](key, amount))
        total: dict[str, Fraction] = defaultdict(Fraction)
        for operation, exact in [*lines, *self._paid]:
            total[operation] += penny(exact)
        return {operation: cost for operation, cost in total.items() if cost}

    def _stock(self, name: str, sheets: Fraction) -> list[tuple[str, Fraction]]:
        card, stock = self.card, self.card.stock(name)
        with_tax = bool(stock.get("prices_include_tax"))
        carriage, least = measure(stock["carriage_in"]), stock.get("least_order", 1)
        if stock["supply"] == "house":
            usual = up(Fraction(max(stock.get("usual_order", 1), least), stock["pack"])) * stock["pack"]
            a_sheet = (usual * card.price_a_sheet(name, usual) + carriage) / usual
            return [("Stock", card.after_tax(sheets * a_sheet, includes_tax=with_tax))]
        wanted = max(int(sheets), least)
        counts = [max(wanted, band["at_least"]) for band in stock["prices"]]
        packs = [up(Fraction(count, stock["pack"])) * stock["pack"] for count in counts]
        cheapest = min(count * card.price_a_sheet(name, count) for count in packs)
        bought = card.after_tax(cheapest, includes_tax=with_tax)
        return [("Stock", bought), ("Carriage in", card.after_tax(carriage))]

    def _ink(self, name: str, grams: Fraction) -> list[tuple[str, Fraction]]:
        ink = self.card["inks"][name]
        asks = grams * measure(ink["price"]) / measure(ink["price_mass"])
        return [("Ink", self.card.after_tax(max(measure(ink["least_charge"]), asks)))]

    def _plates(self, name: str, area: Fraction) -> list[tuple[str, Fraction]]:
        supplier = self.card["plate_suppliers"][name]
        asks = measure(supplier["base_charge"]) + area * measure(supplier["price"]) / measure(supplier["price_area"])
        plates = max(measure(supplier["least_charge"]), asks)
        return [
            ("Plates", self.card.after_tax(plates)),
            ("Carriage in", self.card.after_tax(measure(supplier["carriage"]))),
        ]
