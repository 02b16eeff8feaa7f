"""
Why a price is what it is: a tree from the total down to every rate and formula, with its numbers.

Nothing is priced here: amounts and sentences are those that the formulas left when they priced the job.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from msgspec import Struct

from quoting.errors import Fault, RateCardError
from quoting.estimate import Estimate, Option
from quoting.formulas import Step
from quoting.line_items import LineItem, Working
from quoting.money import minor_units, round_amount
from quoting.numbers import in_engine_context, plain
from quoting.pricing import PriceRule
from quoting.rate_card import RateCard
from quoting.tax import TaxLine


class Node(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """
    One number of a price and what it comes from.

    ``is_sum``: the children's amounts add up to this one exactly; else they are what ``sentence`` is
    worked with. Amounts of money that a client or a line is charged are rounded, others exact.
    """

    label: str
    amount: Decimal
    unit: str
    sentence: str = ""
    children: tuple[Node, ...] = ()
    is_sum: bool = False


@in_engine_context
def explained(option: Option, estimate: Estimate, rate_card: RateCard) -> Node:
    """
    Everything that the total of an option comes from.

    Tax and net; the rules of the price; every line with its minutes or draws and its rate; every
    formula; every hour rate from a year's wages, charges and expense. For the owner.

    Args:
        rate_card: The card that priced the estimate.

    Raises:
        RateCardError: another card than that.
    """
    if rate_card.content_hash != estimate.card_hash:
        expected = f"the card that priced the estimate, {estimate.card_name} {estimate.card_version}"
        found = f"{rate_card.card.name} {rate_card.card.version}, of other content"
        raise RateCardError([Fault("card", expected, found)])
    return _Explanation(option, rate_card).total()


def told(node: Node) -> Iterator[tuple[int, Node, bool]]:
    """
    Every node from the top down, with its depth and whether its children were told before.

    An hour rate stands under many lines: what it is made of is given once.
    """
    return _told(node, 0, set())


def _told(node: Node, depth: int, before: set[Node]) -> Iterator[tuple[int, Node, bool]]:
    again = bool(node.children) and node in before
    yield depth, node, again
    if not again:
        before.add(node)
        for child in node.children:
            yield from _told(child, depth + 1, before)


@in_engine_context
def explanation_text(node: Node, currency: str) -> str:
    """The tree as indented lines: what each number is, and what it comes from."""
    return "\n".join(_line(depth, one, currency, again=again) for depth, one, again in told(node))


def _line(depth: int, node: Node, currency: str, *, again: bool) -> str:
    text = f"{'  ' * depth}{node.label}: {amount_text(node, currency)} {node.unit}".rstrip()
    if node.sentence:
        text += f" = {node.sentence}" if not node.is_sum else f" ({node.sentence})"
    if again:
        return f"{text}, as above"
    return f"{text}, the sum of" if node.is_sum else text


def amount_text(node: Node, currency: str) -> str:
    """A node's amount: money in coins where it is whole coins, else no needless digit."""
    if node.unit.startswith(currency) and node.amount == round_amount(node.amount, currency):
        return f"{node.amount:,.{minor_units(currency)}f}"
    return plain(node.amount)


class _Explanation:
    """The tree of one option."""

    def __init__(self, option: Option, card: RateCard) -> None:
        self.option, self.card = option, card
        self.currency = card.region.currency

    def total(self) -> Node:
        price = self.option.price
        taxes = tuple(self._tax(line) for line in price.tax)
        off = (self._rounding(price.rounding),) if price.rounding else ()
        told = f"{self.option.quantity:,} of them: {'; '.join(self.option.ways)}"
        return self._sum("Total", price.total, self.currency, (self._net(), *taxes, *off), told)

    def _rounding(self, amount: Decimal) -> Node:
        told = "no base and its tax, both rounded, make this price exactly"
        return Node(label="Rounding", amount=amount, unit=self.currency, sentence=told)

    def _tax(self, line: TaxLine) -> Node:
        rate = plain(line.rate, places=6)
        worked = f"{plain(line.base)} × {rate}"
        told = f"{worked}, {line.reason}" if line.reason else worked
        return Node(label=self.card.tax.name, amount=line.tax, unit=self.currency, sentence=told)

    def _net(self) -> Node:
        rules = tuple(self._rule(rule) for rule in self.option.price.rules)
        return self._sum("Net price", self.option.price.net, self.currency, rules)

    def _rule(self, rule: PriceRule) -> Node:
        """Cost and mark-up are sums over the lines; any other rule is its own sentence."""
        below: tuple[Node, ...] = ()
        if rule.rule == "Cost":
            below = tuple(self._cost(line) for line in self.option.lines)
        elif rule.rule == "Mark-up":
            below = tuple(self._put_on(line) for line in self.option.lines)
        return Node(
            label=rule.rule,
            amount=rule.amount,
            unit=self.currency,
            sentence=rule.sentence,
            children=below,
            is_sum=bool(below),
        )

    def _put_on(self, line: LineItem) -> Node:
        worked, _, _ = line.price_sentence.rpartition(" = ")
        return Node(
            label=_name(line),
            amount=line.price - line.cost,
            unit=self.currency,
            sentence=f"{worked} − {plain(line.cost)} cost, both rounded",
        )

    def _cost(self, line: LineItem) -> Node:
        before, sentence = self._clauses(line)
        below = (*before, *self._minutes_and_rate(line)) if line.minutes else (*before, *self._drawn(line))
        return Node(label=_name(line), amount=line.cost, unit=self.currency, sentence=sentence, children=below)

    def _clauses(self, line: LineItem) -> tuple[tuple[Node, ...], str]:
        """The arithmetic that gives the cost, and what was worked out before it."""
        *before, last = line.sentence.split("; ")
        if line.minutes:
            return (), last.rpartition(" = ")[0]
        worked = [clause.rpartition(" = ") for clause in before if " = " in clause]
        nodes = tuple(
            Node(label="Worked before", amount=Decimal(result), unit="", sentence=arithmetic)
            for arithmetic, _, result in worked
        )
        return nodes, last.rpartition(" = ")[0] or "as it is charged"

    def _minutes_and_rate(self, line: LineItem) -> tuple[Node, Node]:
        workings = tuple(self._working(working) for working in line.workings)
        return self._sum("Minutes", line.minutes, "min", workings), self._hour(line)

    def _drawn(self, line: LineItem) -> tuple[Node, ...]:
        """What the parts draw of a purchase, and what is bought of it; nothing of a charge."""
        drawn = sum((working.amount for working in line.workings), Decimal(0))
        if not line.sentence.startswith(f"{plain(drawn)} {line.driver_unit} drawn"):
            return ()
        workings = tuple(self._working(working) for working in line.workings)
        used = self._sum("Drawn", drawn, line.driver_unit, workings)
        if line.driver == drawn:
            return (used,)
        told = "whole packs, not under the least order, the count that costs least by the card's bands"
        return used, Node(label="Bought", amount=line.driver, unit=line.driver_unit, sentence=told)

    def _working(self, working: Working) -> Node:
        """One share of a line; the formula that gives it is its sentence, those before it its children."""
        steps = working.steps
        sentence = ""
        if steps and steps[-1].result == working.amount:
            steps, sentence = steps[:-1], steps[-1].sentence
        return Node(
            label=working.what,
            amount=working.amount,
            unit=working.unit,
            sentence=sentence,
            children=tuple(self._step(step) for step in steps),
        )

    def _step(self, step: Step) -> Node:
        name = step.formula.replace("_", " ").capitalize()
        unit = step.unit.replace("money", self.currency)
        return Node(label=name, amount=step.result, unit=unit, sentence=step.sentence)

    def _hour(self, line: LineItem) -> Node:
        people = (self._person(line.person),) if line.person else ()
        machines = (self._machine(line.machine),) if line.machine else ()
        return self._sum("An hour", line.rate, f"{self.currency} an hour", (*people, *machines))

    def _person(self, name: str) -> Node:
        """A person's hour: a year's cost over the hours sold, and a share of the general expense."""
        card, someone = self.card, self.card.people[name]
        a_year = f"{self.currency} a year"
        costs = (
            self._given("Wage", someone.wage.in_base_unit, someone.unpaid_because),
            self._given("Employer's charges", someone.employer_charges.in_base_unit),
            self._given("Holidays and sickness", someone.holidays_and_sickness.in_base_unit),
        )
        own = self._sum("A year", _added(costs), a_year, costs)
        hours = self._hours_sold(name)
        everybody = tuple(self._hours_sold(each) for each in card.people)
        all_hours = self._sum("Everybody's hours sold", _added(everybody), "h a year", everybody)
        general = self._given("General expense", card.general_expense.in_base_unit)
        sentence = (
            f"{plain(own.amount)} / {plain(hours.amount)} h + {plain(general.amount)} general expense"
            f" / {plain(all_hours.amount)} h, to 0.0001"
        )
        return Node(
            label=someone.name,
            amount=card.person_rate(name),
            unit=f"{self.currency} an hour",
            sentence=sentence,
            children=(own, hours, general, all_hours),
        )

    def _hours_sold(self, name: str) -> Node:
        someone = self.card.people[name]
        sentence = f"{plain(someone.paid_hours)} h paid × {plain(someone.chargeable)} of them charged"
        label = f"{someone.name}, hours sold"
        return Node(label=label, amount=someone.chargeable_hours, unit="h a year", sentence=sentence)

    def _machine(self, name: str) -> Node:
        """A machine's hour: what it costs a year over the hours it runs."""
        year = self.card.machine_year(name)
        costs = (
            self._given("Depreciation", year.depreciation.in_base_unit),
            self._given("Rollers", year.rollers.in_base_unit),
            self._given("Repairs", year.repairs.in_base_unit),
            self._given("Power", year.power.in_base_unit),
            self._given("Floor space", year.floor_space.in_base_unit),
        )
        hours = Node(label="Hours run", amount=year.hours.in_base_unit, unit="h a year")
        a_year = self._sum("A year", _added(costs), f"{self.currency} a year", costs)
        return Node(
            label=(self.card.presses.get(name) or self.card.machines[name]).name,
            amount=self.card.machine_rate(name),
            unit=f"{self.currency} an hour",
            sentence=f"{plain(a_year.amount)} / {plain(hours.amount)} h, to 0.0001",
            children=(a_year, hours),
        )

    def _given(self, label: str, amount: Decimal, told: str = "") -> Node:
        """What the card says outright, a year."""
        return Node(label=label, amount=amount, unit=f"{self.currency} a year", sentence=told)

    @staticmethod
    def _sum(label: str, amount: Decimal, unit: str, children: tuple[Node, ...], told: str = "") -> Node:
        return Node(label=label, amount=amount, unit=unit, sentence=told, children=children, is_sum=True)


def _added(nodes: Sequence[Node]) -> Decimal:
    return sum((node.amount for node in nodes), Decimal(0))


def _name(line: LineItem) -> str:
    return f"{line.operation}, {line.what}"
