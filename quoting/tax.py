"""
Tax on a quotation: once per category and rate on the summed base, then rounded (EN 16931).

BR-CO-10 to BR-CO-17 and BR-S-08 are held exactly. Local rules and an accountant come first.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Literal

from msgspec import Struct

from quoting.money import fitted, round_amount
from quoting.numbers import in_engine_context

Category = Literal["standard", "zero", "exempt", "reverse charge", "outside scope"]
# UN/CEFACT code list 5305, the subset of EN 16931.
CODES: dict[Category, str] = {
    "standard": "S",
    "zero": "Z",
    "exempt": "E",
    "reverse charge": "AE",
    "outside scope": "O",
}


class TaxedAmount(Struct, frozen=True):
    """A printed price, the rate that it bears and its category; ``reason`` where there is no tax on it."""

    amount: Decimal
    rate: Decimal
    category: Category = "standard"
    reason: str = ""


class TaxLine(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One category and rate: the base it is charged on and the tax, both rounded."""

    rate: Decimal
    base: Decimal
    tax: Decimal
    category: Category = "standard"
    reason: str = ""

    @property
    def code(self) -> str:
        """The category's code in EN 16931; a standard rate of nothing is a zero rate."""
        return CODES["zero" if self.category == "standard" and not self.rate else self.category]


def tax_lines(amounts: Sequence[TaxedAmount], currency: str, *, included: bool) -> tuple[TaxLine, ...]:
    """
    Tax by category and rate, highest rate first: its rate of the base, rounded (BR-CO-17).

    Args:
        included: Whether the amounts hold the tax already. The base is then what they are less it, rounded;
            base and tax may be a coin off the amounts, since not every sum is a base with its tax.
    """
    lines = []
    for kind, summed in _summed(amounts).items():
        base = round_amount(summed / (1 + kind.rate) if included else summed, currency)
        tax = round_amount(base * kind.rate, currency)
        lines.append(TaxLine(rate=kind.rate, base=base, tax=tax, category=kind.category, reason=kind.reason))
    return tuple(lines)


def _summed(amounts: Iterable[TaxedAmount]) -> dict[TaxedAmount, Decimal]:
    """Sums by category and rate, highest rate first; a category's first reason is its reason."""
    sums: dict[tuple[Decimal, Category], Decimal] = {}
    reasons: dict[tuple[Decimal, Category], str] = {}
    for one in amounts:
        key = (one.rate, one.category)
        sums[key] = sums.get(key, Decimal(0)) + one.amount
        reasons[key] = reasons.get(key) or one.reason
    order = sorted(sums, key=lambda key: (-key[0], tuple(CODES).index(key[1])))
    return {TaxedAmount(Decimal(0), key[0], key[1], reasons[key]): sums[key] for key in order}


class DocumentTotals(Struct, frozen=True, kw_only=True):
    """
    The sums of a document, by EN 16931's terms BT-106 to BT-115.

    ``lines``, ``allowances`` and ``charges`` are each amount without tax, in the order given.
    ``rounding`` is what a total with tax in it is off the sum of base and tax: never over a coin
    for each category and rate, and nothing where prices are without tax.
    """

    lines: tuple[Decimal, ...]
    allowances: tuple[Decimal, ...]
    charges: tuple[Decimal, ...]
    lines_sum: Decimal
    allowances_sum: Decimal
    charges_sum: Decimal
    net: Decimal
    taxes: tuple[TaxLine, ...]
    tax: Decimal
    total: Decimal
    paid: Decimal
    rounding: Decimal
    payable: Decimal


@in_engine_context
def document_totals(
    lines: Sequence[TaxedAmount],
    currency: str,
    *,
    allowances: Sequence[TaxedAmount] = (),
    charges: Sequence[TaxedAmount] = (),
    included: bool = False,
    paid: Decimal = Decimal(0),
) -> DocumentTotals:
    """
    What a document adds up to.

    Args:
        lines: Every line's amount, in whole coins.
        allowances: Taken off the whole, each with the category and rate that it lowers.
        charges: Put on the whole, likewise.
        included: Whether all these amounts hold the tax already.
        paid: What has been paid before. A deposit that is asked for is not.

    Source:
        EN 16931-1:2017, BR-CO-10 to BR-CO-17, BR-S-08 and its like for the other categories (A).
    """
    signed = [
        *lines,
        *(TaxedAmount(-one.amount, one.rate, one.category, one.reason) for one in allowances),
        *charges,
    ]
    taxes = tax_lines(signed, currency, included=included)
    nets = _without_tax(signed, taxes, currency) if included else [one.amount for one in signed]
    first, last = len(lines), len(lines) + len(allowances)
    parts = (nets[:first], [-net for net in nets[first:last]], nets[last:])
    line_nets, allowed, charged = (tuple(_coins(net, currency) for net in part) for part in parts)
    sums = [_coins(sum(part, Decimal(0)), currency) for part in (line_nets, allowed, charged)]
    net = sums[0] - sums[1] + sums[2]
    tax = _coins(sum((line.tax for line in taxes), Decimal(0)), currency)
    asked = sum((one.amount for one in signed), Decimal(0)) if included else net + tax
    return DocumentTotals(
        lines=line_nets,
        allowances=allowed,
        charges=charged,
        lines_sum=sums[0],
        allowances_sum=sums[1],
        charges_sum=sums[2],
        net=net,
        taxes=taxes,
        tax=tax,
        total=net + tax,
        paid=_coins(paid, currency),
        rounding=_coins(asked - (net + tax), currency),
        payable=_coins(asked - paid, currency),
    )


def _coins(amount: Decimal, currency: str) -> Decimal:
    """The same amount at the currency's own places."""
    return round_amount(amount, currency)


def _without_tax(amounts: Sequence[TaxedAmount], taxes: Iterable[TaxLine], currency: str) -> list[Decimal]:
    """Each amount less its tax, rounded so that those of a category and rate add up to its base."""
    nets = [Decimal(0)] * len(amounts)
    for line in taxes:
        places = [
            place for place, one in enumerate(amounts) if (one.rate, one.category) == (line.rate, line.category)
        ]
        exact = [amounts[place].amount / (1 + line.rate) for place in places]
        for place, net in zip(places, fitted(exact, line.base, currency), strict=True):
            nets[place] = net
    return nets
