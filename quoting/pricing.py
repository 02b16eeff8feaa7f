"""From line items to a price: the card's rules in their written order, each that acts a line of its own."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

from msgspec import Struct
from msgspec.structs import replace

from quoting.formulas import Do, Recording, formula
from quoting.job import Job
from quoting.line_items import LineItem
from quoting.money import round_amount, spread, to_next_step
from quoting.numbers import plain
from quoting.rate_card import RateCard
from quoting.tax import TaxedAmount, TaxLine, tax_lines


class PriceRule(Struct, frozen=True, kw_only=True):
    """What one rule adds or takes off, and the sentence of it."""

    rule: str
    sentence: str
    amount: Decimal


class ItemPrice(Struct, frozen=True, kw_only=True):
    """What is printed for one item, and what it cost."""

    name: str
    pieces: int
    cost: Decimal
    price: Decimal


class Price(Struct, frozen=True, kw_only=True):
    """
    The price of one option.

    ``rules`` add up to ``net``. ``items`` and ``delivery`` are printed as they stand and add
    up to ``net``, or to ``total`` where the card's prices have the tax in them.
    """

    rules: tuple[PriceRule, ...]
    items: tuple[ItemPrice, ...]
    delivery: Decimal
    cost: Decimal
    net: Decimal
    tax: tuple[TaxLine, ...]
    total: Decimal
    deposit: Decimal
    balance: Decimal
    tax_included: bool
    payment_fee: Decimal
    commission: Decimal

    @property
    def margin(self) -> Decimal:
        """Share of the net price that is not cost; fee and commission count as cost."""
        cost = self.cost + self.payment_fee + self.commission
        return (self.net - cost) / self.net if self.net else Decimal(0)


@formula(unit="money", sentence="{base} × {share}")
def share_of(*, base: Decimal, share: Decimal) -> Decimal:
    """A share of an amount. [money]"""
    return base * share


@formula(unit="money", sentence="{cost} / (1 − {least_margin})")
def floor_price(*, cost: Decimal, least_margin: Decimal) -> Decimal:
    """The price under which the card's least margin is not met. [money]"""
    return cost / (1 - least_margin)


@formula(
    unit="money",
    sentence="({net} × {commission} + {gross} × {fee_share} + {fixed})"
    " / (1 − {commission} − {fee_share} × (1 + {tax_rate}))",
)
def fees_grossed_up(
    *,
    net: Decimal,
    gross: Decimal,
    commission: Decimal,
    fee_share: Decimal,
    fixed: Decimal,
    tax_rate: Decimal,
) -> Decimal:
    """What must be added so that commission and payment fee are paid out of what was added. [money]"""
    return (net * commission + gross * fee_share + fixed) / (1 - commission - fee_share * (1 + tax_rate))


class _Running:
    """The price as the rules act on it, one after the other."""

    def __init__(self, lines: Sequence[LineItem], card: RateCard, job: Job, pieces: Sequence[int]) -> None:
        self.card, self.job, self.pieces = card, job, pieces
        self.currency = card.region.currency
        goods = [line for line in lines if not line.is_delivery]
        self.cost = _sum(line.cost for line in lines)
        self.goods_cost = _sum(line.cost for line in goods)
        self.delivery = _sum(line.price for line in lines if line.is_delivery)
        self.labour = _sum(line.price for line in goods if line.cost_class == "labour")
        self.item_costs = _by_item(goods, len(pieces), "cost")
        self.item_prices = list(_by_item(goods, len(pieces), "price"))
        self.rules: list[PriceRule] = []
        self.do: Do = Recording()

    @property
    def goods(self) -> Decimal:
        return _sum(self.item_prices)

    @property
    def net(self) -> Decimal:
        return self.goods + self.delivery

    def add(self, rule: str, amount: Decimal, sentence: str = "") -> None:
        """Let a rule act: its amount is shared over the items by what they stand at."""
        steps = self.do.taken()
        if not amount:
            return
        told = sentence or "; ".join(f"{step.sentence} = {plain(step.result)}" for step in steps)
        self.rules.append(PriceRule(rule=rule, sentence=told, amount=amount))
        shares = spread(amount, [max(price, Decimal(0)) for price in self.item_prices], self.currency)
        self.item_prices = [price + share for price, share in zip(self.item_prices, shares, strict=True)]

    def rounded(self, amount: Decimal) -> Decimal:
        return round_amount(amount, self.currency)


def _sum(amounts: Iterable[Decimal]) -> Decimal:
    return sum(amounts, Decimal(0))


def _by_item(lines: Sequence[LineItem], items: int, field: str) -> tuple[Decimal, ...]:
    """What each item bears of the lines, in cost or in price."""
    totals = [Decimal(0)] * items
    for line in lines:
        if line.item is not None:
            totals[line.item] += getattr(line, field)
            continue
        for place, share in enumerate(getattr(line, f"{field}_shares")):
            totals[place] += share
    return tuple(totals)


def price_option(lines: Sequence[LineItem], job: Job, card: RateCard, pieces: Sequence[int]) -> Price:
    """
    The price of one option from its line items.

    Args:
        pieces: What the client gets of each item.
    """
    running = _Running(lines, card, job, pieces)
    marked_up = running.net - running.cost
    running.rules.append(
        PriceRule(rule="Cost", sentence=f"the sum of {len(lines)} line items, each rounded", amount=running.cost)
    )
    if marked_up:
        running.rules.append(PriceRule(rule="Mark-up", sentence=_mark_up_words(card), amount=marked_up))
    for rule in _RULES:
        rule(running)
    fee, commission = _fees_in(running)
    return _priced(running, fee, commission)


def _mark_up_words(card: RateCard) -> str:
    marks = card.pricing.mark_ups
    if marks is None:
        return f"to a margin of {card.pricing.target_margin} of the price, line by line"
    return f"labour {marks.labour}, materials {marks.materials}, bought in {marks.bought_in}, line by line"


def _discount(running: _Running) -> None:
    """Off the shop's own work only."""
    name = running.job.discount
    if name is None:
        return
    share = running.card.pricing.discounts[name]
    amount = running.do(share_of, base=running.labour, share=share.in_base_unit)
    running.add(f"Discount: {name}", -running.rounded(amount))


def _rush(running: _Running) -> None:
    """On the shop's own work; a dearer carriage is in the delivery already."""
    if running.job.rush:
        share = running.card.pricing.rush.in_base_unit
        amount = running.do(share_of, base=running.labour, share=share)
        running.add("Rush", running.rounded(amount))


def _least_charges(running: _Running) -> None:
    pricing = running.card.pricing
    if pricing.least_charge_item is not None:
        least = pricing.least_charge_item.in_base_unit
        short = _sum([max(Decimal(0), least - price) for price in running.item_prices])
        if short:
            raised = [max(price, least) for price in running.item_prices]
            running.rules.append(
                PriceRule(
                    rule="Least charge an item",
                    sentence=f"no item under {plain(least)}",
                    amount=running.rounded(short),
                )
            )
            running.item_prices = raised
    least = pricing.least_charge.in_base_unit
    if running.goods < least:
        running.add("Least charge", least - running.goods, f"{plain(least)} − {plain(running.goods)}")


def _floor(running: _Running) -> None:
    share = running.card.pricing.least_margin.in_base_unit
    floor = running.rounded(running.do(floor_price, cost=running.cost, least_margin=share))
    if running.net < floor:
        running.add("Floor", floor - running.net)
    running.do.taken()


def _fees(running: _Running) -> None:
    pricing = running.card.pricing
    goods_rate, delivery_rate = _tax_rates(running)
    amount = running.do(
        fees_grossed_up,
        net=running.net,
        gross=running.goods * (1 + goods_rate) + running.delivery * (1 + delivery_rate),
        commission=pricing.commission.in_base_unit,
        fee_share=pricing.payment_fee_share.in_base_unit,
        fixed=pricing.payment_fee_fixed * _payments(running.card),
        tax_rate=goods_rate,
    )
    running.add("Commission and payment fee", running.rounded(amount))


def _rounding(running: _Running) -> None:
    rounding = running.card.pricing.rounding
    if rounding.of == "unit price":
        _round_unit_prices(running)
        return
    if running.card.tax.prices_include_tax:
        return  # the printed total is rounded with its tax, in _priced
    rounded = _to_step(running, running.net)
    running.add(
        "Rounding",
        rounded - running.net,
        f"{plain(running.net)} to {rounding.way} {rounding.step}: {plain(rounded)}",
    )


def _to_step(running: _Running, amount: Decimal) -> Decimal:
    """The card's step, upwards where the nearest would go under the floor."""
    pricing = running.card.pricing
    rounded = to_next_step(amount, pricing.rounding.step, up=pricing.rounding.way == "up")
    floor = running.cost / (1 - pricing.least_margin)
    return rounded if rounded >= floor else to_next_step(amount, pricing.rounding.step, up=True)


def _round_unit_prices(running: _Running) -> None:
    pricing = running.card.pricing.rounding
    up = pricing.way == "up"
    before = running.goods
    running.item_prices = [
        running.rounded(to_next_step(price / pieces, pricing.step, up=up) * pieces)
        for price, pieces in zip(running.item_prices, running.pieces, strict=True)
    ]
    if running.goods != before:
        running.rules.append(
            PriceRule(
                rule="Rounding",
                sentence=f"each unit price to {pricing.way} {pricing.step}",
                amount=running.goods - before,
            )
        )


_RULES = (_discount, _rush, _least_charges, _floor, _fees, _rounding)


def _payments(card: RateCard) -> int:
    """A deposit makes two payments of one."""
    return 2 if card.pricing.deposit else 1


def _tax_rates(running: _Running) -> tuple[Decimal, Decimal]:
    tax = running.card.tax
    own = tax.delivery_rate if tax.delivery_rate is not None else tax.rate
    return tax.rate.in_base_unit, own.in_base_unit


def _fees_in(running: _Running) -> tuple[Decimal, Decimal]:
    """Payment fee and commission that the finished price will really cost."""
    pricing = running.card.pricing
    goods_rate, delivery_rate = _tax_rates(running)
    gross = running.goods * (1 + goods_rate) + running.delivery * (1 + delivery_rate)
    fee = gross * pricing.payment_fee_share + pricing.payment_fee_fixed * _payments(running.card)
    return running.rounded(fee), running.rounded(running.net * pricing.commission)


def _priced(running: _Running, fee: Decimal, commission: Decimal) -> Price:
    card, currency = running.card, running.currency
    goods_rate, delivery_rate = _tax_rates(running)
    included = card.tax.prices_include_tax
    prices, delivery = list(running.item_prices), running.delivery
    if included:
        prices, delivery = _with_tax_in(running, goods_rate, delivery_rate)
    amounts = [TaxedAmount(price, goods_rate) for price in prices]
    if delivery:
        amounts.append(TaxedAmount(delivery, delivery_rate))
    taxes = tax_lines(amounts, currency, included=included)
    net = _sum([line.base for line in taxes])
    total = net + _sum([line.tax for line in taxes])
    rules = list(running.rules)
    if net != running.net:
        rules.append(
            PriceRule(rule="Rounding", sentence="the total rounded with its tax in it", amount=net - running.net)
        )
    deposit = min(total, max(running.rounded(total * card.pricing.deposit), Decimal(0)))
    return Price(
        rules=tuple(rules),
        items=tuple(
            ItemPrice(name=item.name, pieces=pieces, cost=cost, price=price)
            for item, pieces, cost, price in zip(
                running.job.items, running.pieces, running.item_costs, prices, strict=True
            )
        ),
        delivery=delivery,
        cost=running.cost,
        net=net,
        tax=taxes,
        total=total,
        deposit=deposit,
        balance=total - deposit,
        tax_included=included,
        payment_fee=fee,
        commission=commission,
    )


def _with_tax_in(running: _Running, goods_rate: Decimal, delivery_rate: Decimal) -> tuple[list[Decimal], Decimal]:
    """Printed prices with the tax in them, their sum rounded as the card says."""
    delivery = running.rounded(running.delivery * (1 + delivery_rate))
    goods = running.goods * (1 + goods_rate)
    if running.card.pricing.rounding.of == "total":
        goods = _to_step(running, goods + delivery) - delivery
    return list(spread(running.rounded(goods), running.item_prices, running.currency)), delivery


def with_deposit(price: Price, paid_before: Decimal) -> Price:
    """The deposit, not under what is paid to others before printing begins, nor over the total."""
    deposit = min(price.total, max(price.deposit, paid_before)) if price.deposit else Decimal(0)
    return replace(price, deposit=deposit, balance=price.total - deposit)
