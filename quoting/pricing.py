"""From line items to a price: the card's rules in their written order, each that acts a line of its own."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

from msgspec import Struct
from msgspec.structs import replace

from quoting.formulas import Do, Recording, formula
from quoting.job import Job
from quoting.line_items import LineItem
from quoting.money import part_and_rest, round_amount, spread, to_next_step
from quoting.numbers import at_least, in_engine_context, plain
from quoting.rate_card import MINUTES_AN_HOUR, RateCard
from quoting.tax import Category, TaxedAmount, TaxLine, tax_lines


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


class Price(Struct, frozen=True, kw_only=True, omit_defaults=True):
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
    def rounding(self) -> Decimal:
        """What a total with the tax in it is off base and tax: a coin by category and rate at most, else nothing."""
        return self.total - self.net - _sum(line.tax for line in self.tax)

    @property
    @in_engine_context
    def margin(self) -> Decimal:
        """Share of the net price that is not cost; fee and commission count as cost."""
        cost = self.cost + self.payment_fee + self.commission
        return (self.net - cost) / self.net if self.net else Decimal(0)


@formula(unit="money", sentence="{base} × {share}")
def share_of(*, base: Decimal, share: Decimal) -> Decimal:
    """A share of an amount. [money]"""
    return base * share


@formula(
    unit="money", sentence="the greater of 0 and {hour_target} an hour × {press_minutes} min / 60 − {labour} labour"
)
def hours_short_of_target(*, hour_target: Decimal, press_minutes: Decimal, labour: Decimal) -> Decimal:
    """What own labour must bring over its cost, so that press hours earn what they should. [money]"""
    return at_least(Decimal(0), hour_target * press_minutes / MINUTES_AN_HOUR - labour)


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

    def __init__(
        self,
        lines: Sequence[LineItem],
        card: RateCard,
        job: Job,
        pieces: Sequence[int],
        days_left: int | None,
        do: Do,
    ) -> None:
        self.card, self.job, self.pieces, self.days_left = card, job, pieces, days_left
        self.currency = card.region.currency
        goods = [line for line in lines if not line.is_delivery]
        self.cost = _sum(line.cost for line in lines)
        self.goods_cost = _sum(line.cost for line in goods)
        self.delivery = _sum(line.price for line in lines if line.is_delivery)
        self.labour = _sum(line.price for line in goods if line.cost_class == "labour")
        self.labour_cost = _sum(line.cost for line in goods if line.cost_class == "labour")
        self.press_minutes = _sum(line.minutes for line in goods if line.machine in card.presses)
        self.item_costs = _by_item(goods, len(pieces), "cost")
        self.item_prices = list(_by_item(goods, len(pieces), "price"))
        self.taxed = _taxes_of_items(job, card)
        self.discount = Decimal(0)
        self.rules: list[PriceRule] = []
        self.do = do

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

    @property
    def floor(self) -> Decimal:
        """The least net price: cost with the card's least margin, unless the owner waived it by name."""
        return Decimal(0) if self.job.under_floor else self.cost / (1 - self.card.pricing.least_margin)


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


def price_option(
    lines: Sequence[LineItem],
    job: Job,
    card: RateCard,
    pieces: Sequence[int],
    *,
    days_left: int | None = None,
    do: Do | None = None,
) -> Price:
    """
    The price of one option from its line items.

    Args:
        pieces: What the client gets of each item.
        days_left: Working days until it is needed, where that is known: for a rush by days.
        do: Plainly where nobody reads the sentences; they are written down where it is left out.
    """
    running = _Running(lines, card, job, pieces, days_left, do or Recording())
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


def _hour_target(running: _Running) -> None:
    """Own labour brings what the press hours must earn; what is paid to others is passed on at cost."""
    target = running.card.pricing.hour_target
    if target is None:
        return
    short = running.do(
        hours_short_of_target,
        hour_target=target.in_base_unit,
        press_minutes=running.press_minutes,
        labour=running.labour_cost,
    )
    amount = running.rounded(short)
    running.add("Hour to be earned", amount)
    running.labour += amount


def _discount(running: _Running) -> None:
    """Off the shop's own work only."""
    name = running.job.discount
    if name is None:
        return
    share = running.card.pricing.discounts[name]
    amount = running.do(share_of, base=running.labour, share=share.in_base_unit)
    running.discount = running.rounded(amount)
    running.add(f"Discount: {name}", -running.discount)


def _offered_discount(running: _Running) -> None:
    """Off what the client's own discount left of the shop's work."""
    offered = running.job.offered_discount
    if offered is None:
        return
    left = running.labour - running.discount
    amount = running.rounded(running.do(share_of, base=left, share=offered.share.in_base_unit))
    running.add(f"Discount: {offered.because}", -amount)


def _rush(running: _Running) -> None:
    """On the shop's own work; a dearer carriage is in the delivery already."""
    if running.job.rush:
        amount = running.do(share_of, base=running.labour, share=_rush_share(running))
        running.add("Rush", running.rounded(amount))


def _rush_share(running: _Running) -> Decimal:
    """By the working days that are left, where the card says so; else, and past its bands, the usual rush."""
    pricing, left = running.card.pricing, running.days_left
    bands = [band.rise for band in pricing.rush_by_days if left is not None and left <= band.days_left]
    return bands[0].in_base_unit if bands else pricing.rush.in_base_unit


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
    waived = running.job.under_floor
    if running.net < floor and waived:
        told = f"by {running.card.people[waived.by].name}: {waived.because}; the floor is {plain(floor)}"
        running.rules.append(PriceRule(rule="Floor waived", sentence=told, amount=running.rounded(Decimal(0))))
    elif running.net < floor:
        running.add("Floor", floor - running.net)
    running.do.taken()


def _fees(running: _Running) -> None:
    pricing = running.card.pricing
    amount = running.do(
        fees_grossed_up,
        net=running.net,
        gross=_gross(running),
        commission=pricing.commission.in_base_unit,
        fee_share=pricing.payment_fee_share.in_base_unit,
        fixed=pricing.payment_fee_fixed * _payments(running.card),
        tax_rate=_mean_rate(running),
    )
    running.add("Commission and payment fee", running.rounded(amount))


def _rounding(running: _Running) -> None:
    rounding = running.card.pricing.rounding
    if running.card.tax.prices_include_tax:
        return  # what is printed is rounded with its tax, in _with_tax_in
    if rounding.of == "unit price":
        _round_unit_prices(running)
        return
    rounded = _to_step(running, running.net, running.floor)
    running.add(
        "Rounding",
        rounded - running.net,
        f"{plain(running.net)} to {rounding.way} {rounding.step}: {plain(rounded)}",
    )


def _to_step(running: _Running, amount: Decimal, floor: Decimal) -> Decimal:
    """The card's step, upwards where the nearest would go under the floor."""
    pricing = running.card.pricing
    rounded = to_next_step(amount, pricing.rounding.step, up=pricing.rounding.way == "up")
    return rounded if rounded >= floor else to_next_step(max(amount, floor), pricing.rounding.step, up=True)


def _round_unit_prices(running: _Running) -> None:
    rounding = running.card.pricing.rounding
    before = running.goods
    prices = _by_unit(running, running.item_prices, up=rounding.way == "up")
    if _sum(prices) + running.delivery < running.floor:
        prices = _by_unit(running, running.item_prices, up=True)
    running.item_prices = prices
    if running.goods != before:
        running.rules.append(
            PriceRule(
                rule="Rounding",
                sentence=f"each unit price to {rounding.way} {rounding.step}",
                amount=running.goods - before,
            )
        )


def _by_unit(running: _Running, prices: Sequence[Decimal], *, up: bool) -> list[Decimal]:
    """Each item's price as its pieces times a unit price at the card's step."""
    step = running.card.pricing.rounding.step
    return [
        running.rounded(to_next_step(price / pieces, step, up=up) * pieces)
        for price, pieces in zip(prices, running.pieces, strict=True)
    ]


_RULES = (_hour_target, _discount, _offered_discount, _rush, _least_charges, _floor, _fees, _rounding)


def _payments(card: RateCard) -> int:
    """A deposit makes two payments of one."""
    return 2 if card.pricing.deposit else 1


class _Taxed(Struct, frozen=True):
    """The tax that a price bears."""

    rate: Decimal
    category: Category = "standard"
    reason: str = ""

    def on(self, amount: Decimal) -> TaxedAmount:
        return TaxedAmount(amount, self.rate, self.category, self.reason)


def _taxes_of_items(job: Job, card: RateCard) -> list[_Taxed]:
    """Each item's tax: its own kind, the job's, or the card's usual one."""
    found = []
    for item in job.items:
        name = item.tax or job.tax
        kind = card.tax.kinds[name] if name else None
        found.append(
            _Taxed(kind.rate.in_base_unit, kind.category, kind.reason) if kind else _Taxed(card.tax.rate.in_base_unit)
        )
    return found


def _delivery_taxed(running: _Running, delivery: Decimal) -> list[TaxedAmount]:
    """Delivery by its own rate, or shared over the goods' taxes by their value."""
    tax = running.card.tax
    if not delivery:
        return []
    if tax.delivery_rate is not None and not running.job.tax:
        return [_Taxed(tax.delivery_rate.in_base_unit).on(delivery)]
    by_tax: dict[_Taxed, Decimal] = {}
    for taxed, price in zip(running.taxed, running.item_prices, strict=True):
        by_tax[taxed] = by_tax.get(taxed, Decimal(0)) + max(price, Decimal(0))
    shares = spread(delivery, list(by_tax.values()), running.currency)
    return [taxed.on(share) for taxed, share in zip(by_tax, shares, strict=True)]


def _gross(running: _Running) -> Decimal:
    """What the client pays in all, tax unrounded."""
    if len(set(running.taxed)) == 1 and running.card.tax.delivery_rate is None:
        return running.net * (1 + running.taxed[0].rate)
    goods = [taxed.on(price) for taxed, price in zip(running.taxed, running.item_prices, strict=True)]
    return _sum(one.amount * (1 + one.rate) for one in [*goods, *_delivery_taxed(running, running.delivery)])


def _mean_rate(running: _Running) -> Decimal:
    """The rate on what is added to the goods, which is shared by what they stand at."""
    rates = [taxed.rate for taxed in running.taxed]
    if len(set(rates)) == 1 or not running.goods:
        return rates[0]
    return _sum(rate * price for rate, price in zip(rates, running.item_prices, strict=True)) / running.goods


def _fees_in(running: _Running) -> tuple[Decimal, Decimal]:
    """Payment fee and commission that the finished price will really cost."""
    pricing = running.card.pricing
    fee = _gross(running) * pricing.payment_fee_share + pricing.payment_fee_fixed * _payments(running.card)
    return running.rounded(fee), running.rounded(running.net * pricing.commission)


def _priced(running: _Running, fee: Decimal, commission: Decimal) -> Price:
    card, currency = running.card, running.currency
    included = card.tax.prices_include_tax
    prices, delivery = list(running.item_prices), _delivery_taxed(running, running.delivery)
    if included:
        prices, delivery = _with_tax_in(running)
    amounts = [taxed.on(price) for taxed, price in zip(running.taxed, prices, strict=True)]
    taxes = tax_lines([*amounts, *delivery], currency, included=included)
    net = _sum(line.base for line in taxes)
    asked = _sum(one.amount for one in [*amounts, *delivery])
    total = asked if included else net + _sum(line.tax for line in taxes)
    rules = list(running.rules)
    if net != running.net:
        rules.append(
            PriceRule(rule="Rounding", sentence="the total rounded with its tax in it", amount=net - running.net)
        )
    deposit, balance = part_and_rest(total, card.pricing.deposit.in_base_unit, currency)
    return Price(
        rules=tuple(rules),
        items=tuple(
            ItemPrice(name=item.name, pieces=pieces, cost=cost, price=price)
            for item, pieces, cost, price in zip(
                running.job.items, running.pieces, running.item_costs, prices, strict=True
            )
        ),
        delivery=_sum(one.amount for one in delivery),
        cost=running.cost,
        net=net,
        tax=taxes,
        total=total,
        deposit=deposit,
        balance=balance,
        tax_included=included,
        payment_fee=fee,
        commission=commission,
    )


def _with_tax_in(running: _Running) -> tuple[list[Decimal], list[TaxedAmount]]:
    """Printed prices with the tax in them, rounded as the card says and not under the floor."""
    delivery = [
        TaxedAmount(running.rounded(one.amount * (1 + one.rate)), one.rate, one.category, one.reason)
        for one in _delivery_taxed(running, running.delivery)
    ]
    rates = [taxed.rate for taxed in running.taxed]
    gross = [price * (1 + rate) for price, rate in zip(running.item_prices, rates, strict=True)]
    if running.card.pricing.rounding.of == "unit price":
        return _units_with_tax_in(running, gross, delivery), delivery
    sent = _sum(one.amount for one in delivery)
    goods = _to_step(running, _sum(gross) + sent, Decimal(0)) - sent
    prices = list(spread(running.rounded(goods), running.item_prices, running.currency))
    step = running.card.pricing.rounding.step
    while _net_of(running, prices, delivery) < running.floor:
        goods = to_next_step(goods + sent + step, step, up=True) - sent
        prices = list(spread(running.rounded(goods), running.item_prices, running.currency))
    return prices, delivery


def _units_with_tax_in(running: _Running, gross: list[Decimal], delivery: Sequence[TaxedAmount]) -> list[Decimal]:
    """Printed prices, each unit price at the card's step: a step more of each where they miss the floor."""
    step = running.card.pricing.rounding.step
    prices = _by_unit(running, gross, up=running.card.pricing.rounding.way == "up")
    if _net_of(running, prices, delivery) < running.floor:
        prices = _by_unit(running, gross, up=True)
    while _net_of(running, prices, delivery) < running.floor:
        prices = [
            price + running.rounded(step * pieces) for price, pieces in zip(prices, running.pieces, strict=True)
        ]
    return prices


def _net_of(running: _Running, printed: Sequence[Decimal], delivery: Sequence[TaxedAmount]) -> Decimal:
    """What prices with tax in them leave once it is backed out, delivery with them."""
    amounts = [taxed.on(price) for taxed, price in zip(running.taxed, printed, strict=True)]
    return _sum(line.base for line in tax_lines([*amounts, *delivery], running.currency, included=True))


def with_deposit(price: Price, paid_before: Decimal) -> Price:
    """The deposit, not under what is paid to others before printing begins, nor over the total."""
    deposit = min(price.total, max(price.deposit, paid_before)) if price.deposit else Decimal(0)
    return replace(price, deposit=deposit, balance=price.total - deposit)
