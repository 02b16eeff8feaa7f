"""
How likely a loss is at a price, and what price makes one less likely than one in ten.

Every input that moves the job's cost is drawn over its own spread in the card: make-ready, speeds,
spoilage, the price of stock. Low and high are taken for what one job in ten falls under and one in ten
goes over; between them and the usual value a draw is normal, each side with its own width, since
overruns have longer tails. Draws share a common factor, as strong as the card says: the same hands in
the same week. The plan is the one already chosen, and the price is held. Hour rates are not drawn:
they are the year's, not the job's.

The engine's own formulas work on arrays of draws (see ``quoting.many``), so there are floats here.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

import numpy as np
from msgspec import Struct

from quoting.compare import left_at
from quoting.costing import exact_cost
from quoting.estimate import Figures, figures_of
from quoting.formulas import Plainly
from quoting.job import Job
from quoting.many import Floats, Many, floats
from quoting.money import round_amount, smallest_coin, to_next_step
from quoting.numbers import in_engine_context
from quoting.planning.orders import WashMemory, orders_of_passes
from quoting.planning.prepared import PreparedJob
from quoting.planning.search import worked_out
from quoting.pricing import fees_grossed_up
from quoting.rate_card import RateCard
from quoting.units import Factor, Measure, Share
from quoting.what_if import measures_of, with_measures

DRAWS = 10_000
ONE_IN = 10
# 90 % of a normal lies under 1.2815515655446004 (tables of the normal distribution, A).
P90_OF_NORMAL = 1.2815515655446004
_NOTHING = 1e-9
_OF_THE_YEAR = ("people.", "general_expense", "pricing.", "tax.", "working_days.", "limits.", "founts.")


class Spread(Struct, frozen=True):
    """
    An input's low, usual and high, and which way is dear: 1 where more costs more, −1 where less does.

    No draw is over ``most``.
    """

    low: float
    usual: float
    high: float
    dear: int = 1
    most: float = math.inf


class Risk(Struct, frozen=True, kw_only=True):
    """
    What the draws say of one quantity. Money in the card's currency; shares from 0 to 1.

    ``…_error`` is a standard error: how far off the figure is for the draws being so many and no more.
    ``loss`` is how likely the price leaves less than nothing, with its standard error. ``safe_net`` is
    the net price at which a loss is less likely than one in ten, and ``safe_net_error`` its own.
    ``loss_if_independent`` is what one would believe without the common factor.
    """

    title: str
    currency: str
    quantity: int
    draws: int
    seed: int
    common_factor: Decimal
    inputs: tuple[str, ...]
    net: Decimal
    usual_cost: Decimal
    cost_p10: Decimal
    cost_p10_error: Decimal
    cost_p50: Decimal
    cost_p50_error: Decimal
    cost_p90: Decimal
    cost_p90_error: Decimal
    cost_mean: Decimal
    cost_mean_error: Decimal
    margin_p10: Decimal
    margin_p50: Decimal
    margin_p90: Decimal
    loss: Decimal
    loss_error: Decimal
    loss_if_independent: Decimal
    safe_net: Decimal
    safe_total: Decimal
    safe_net_error: Decimal


class HeldJob:
    """A job with the plan chosen at the card's own figures, to be costed at any others."""

    def __init__(self, job: Job, card: RateCard, quantity: int, on: datetime.date) -> None:
        self.prepared = PreparedJob(job, card)
        self.figures: Figures = figures_of(self.prepared, quantity, on)
        self.plans = list(self.figures.plans)
        self.orders = orders_of_passes(self.plans, card, self.prepared.memory)

    @property
    def tax_rate(self) -> Decimal:
        """Tax on the price, as a share of the net price."""
        price = self.figures.price
        return (price.total - price.net) / price.net if price.net else Decimal(0)

    def bearable(self, net: Decimal) -> Decimal:
        """The cost at which a net price leaves nothing. [money]"""
        return left_at(net, self.figures, self.prepared) + self.figures.price.cost

    def net_for(self, cost: Decimal) -> Decimal:
        """The net price that leaves nothing at a cost. [money]"""
        pricing = self.prepared.card.pricing
        fees: Decimal = fees_grossed_up(
            net=cost,
            gross=cost * (1 + self.tax_rate),
            commission=pricing.commission.in_base_unit,
            fee_share=pricing.payment_fee_share.in_base_unit,
            fixed=pricing.payment_fee_fixed * (2 if pricing.deposit else 1),
            tax_rate=self.tax_rate,
        )
        return cost + fees

    def cost(self, measures: Mapping[str, Any]) -> Any:
        """
        What the held plan costs, unrounded, with other measures at some keys of the card.

        Args:
            measures: Decimals, or many numbers at once; what comes back is of the same kind. [money]
        """
        card = with_measures(self.prepared.card, dict(measures))
        at = self.prepared.at(card)
        at.memory = WashMemory(card, self.prepared.memory.inks, longest_by=self.prepared.memory)
        _, _, requirements = worked_out(Plainly(), at, self.figures.quantity, self.plans, self.orders)
        return exact_cost(Plainly(), requirements, card, self.prepared.rates)


def drawn(spreads: Sequence[Spread], *, draws: int, common_factor: float, seed: int) -> list[Floats]:
    """
    Draws of each input, one array each.

    Two inputs' normal scores have the common factor as their correlation. A draw stays over half the
    low and under twice the high.

    Source:
        One-factor model of equally correlated normals (Vasicek 1987, from memory); split normal by
        its tenth and ninetieth percentiles (Fechner 1897, from memory).
    """
    chance = np.random.default_rng(seed)
    shared = chance.standard_normal(draws)
    return [_drawn(spread, shared, chance.standard_normal(draws), common_factor) for spread in spreads]


def _drawn(spread: Spread, shared: Floats, own: Floats, common_factor: float) -> Floats:
    score = spread.dear * (np.sqrt(common_factor) * shared + np.sqrt(1 - common_factor) * own) / P90_OF_NORMAL
    width = np.where(score < 0, spread.usual - spread.low, spread.high - spread.usual)
    most = min(spread.high * 2, spread.most)
    values: Floats = np.clip(spread.usual + score * width, min(spread.low / 2, most), most)
    return values


@in_engine_context
def risk_of(
    job: Job,
    card: RateCard,
    quantity: int,
    *,
    on: datetime.date,
    seed: int = 1,
    draws: int = DRAWS,
    net: Decimal | None = None,
) -> Risk:
    """
    Draw a job's cost and hold a price against it.

    Args:
        seed: The same seed gives the same draws.
        net: The net price held; the card's own where none is given.

    Raises:
        NotOfferedError: the job asks for what the card does not hold.
        NoPlanError: a part that no press can make.
    """
    held = HeldJob(job, card, quantity, on)
    inputs = drawn_inputs(held, card)
    price = held.figures.price.net if net is None else net
    strength = float(card.risk_common_factor)
    together, apart = (_costs(held, card, inputs, draws, seed, factor) for factor in (strength, 0.0))
    bearable = held.bearable(price)
    loss = _share_over(together, bearable)
    dear = _quantile(together, 1 - Decimal(1) / ONE_IN)
    safe = held.net_for(dear)
    money = _Money(card.region.currency)
    return Risk(
        title=job.title,
        currency=card.region.currency,
        quantity=quantity,
        draws=draws,
        seed=seed,
        common_factor=card.risk_common_factor.in_base_unit,
        inputs=tuple(inputs),
        net=price,
        usual_cost=held.figures.price.cost,
        cost_p10=money.of(_quantile(together, Decimal("0.1"))),
        cost_p10_error=money.of(_quantile_error(together, 0.1)),
        cost_p50=money.of(_quantile(together, Decimal("0.5"))),
        cost_p50_error=money.of(_quantile_error(together, 0.5)),
        cost_p90=money.of(dear),
        cost_p90_error=money.of(_quantile_error(together, 0.9)),
        cost_mean=money.of(_decimal(together.mean())),
        cost_mean_error=money.of(_decimal(together.std(ddof=1) / np.sqrt(draws))),
        margin_p10=_margin(price, bearable, dear),
        margin_p50=_margin(price, bearable, _quantile(together, Decimal("0.5"))),
        margin_p90=_margin(price, bearable, _quantile(together, Decimal("0.1"))),
        loss=loss,
        loss_error=error_of_share(loss, draws),
        loss_if_independent=_share_over(apart, bearable),
        safe_net=money.up(safe),
        safe_total=money.up(safe * (1 + held.tax_rate)),
        safe_net_error=money.of(held.net_for(dear + _quantile_error(together, 0.9)) - safe),
    )


class _Money:
    """Amounts of one currency."""

    def __init__(self, currency: str) -> None:
        self._currency = currency

    def of(self, amount: Decimal) -> Decimal:
        return round_amount(amount, self._currency)

    def up(self, amount: Decimal) -> Decimal:
        return to_next_step(amount, smallest_coin(self._currency), up=True)


def _decimal(value: Any) -> Decimal:
    """A figure of the draws as the report gives it: to the ninth place."""
    return Decimal(f"{value:.9f}")


def _margin(net: Decimal, bearable: Decimal, cost: Decimal) -> Decimal:
    return (bearable - cost) / net if net else Decimal(0)


def _quantile(costs: Floats, share: Decimal) -> Decimal:
    return _decimal(np.quantile(costs, float(share)))


def _quantile_error(costs: Floats, share: float) -> Decimal:
    """
    Standard error of a quantile: half the way between the draws one standard error of their count apart.

    Source:
        Order statistics, large samples: W. J. Conover, Practical Nonparametric Statistics (from memory).
    """
    apart = np.sqrt(share * (1 - share) / len(costs))
    low, high = np.quantile(costs, [max(0.0, share - apart), min(1.0, share + apart)])
    return _decimal((high - low) / 2)


def _share_over(costs: Floats, bearable: Decimal) -> Decimal:
    return Decimal(int((costs > float(bearable)).sum())) / len(costs)


def error_of_share(share: Decimal, draws: int) -> Decimal:
    """Standard error of a share that was counted in so many draws (binomial)."""
    return (share * (1 - share) / draws).sqrt()


def drawn_inputs(held: HeldJob, card: RateCard) -> dict[str, int]:
    """
    Keys of the inputs that move the job's cost and are the job's, not the year's; each with the way that is dear.

    One run of the formulas: for each input two places, at its low and at its high, all others usual.
    """
    spreads = {
        key: spread_of(measure)
        for key, measure in measures_of(card).items()
        if measure.low != measure.high and not key.startswith(_OF_THE_YEAR) and ".year." not in key
    }
    arrays = {key: np.full(2 * len(spreads), spread.usual) for key, spread in spreads.items()}
    for place, (key, spread) in enumerate(spreads.items()):
        arrays[key][2 * place : 2 * place + 2] = spread.low, spread.high
    cost = held.cost({key: Many(array) for key, array in arrays.items()})
    ends = np.broadcast_to(np.asarray(floats(cost)), (2 * len(spreads),)).reshape(-1, 2)
    return {
        key: 1 if high > low else -1
        for key, (low, high) in zip(spreads, ends, strict=True)
        if abs(high - low) > _NOTHING
    }


def spread_of(measure: Measure, dear: int = 1) -> Spread:
    """A measure's spread, as it is drawn."""
    high = float(measure.high)
    most = math.inf
    if isinstance(measure, Share):
        most = (1 + high) / 2
    elif isinstance(measure, Factor) and high <= 1:
        most = 1.0
    return Spread(float(measure.low), float(measure.in_base_unit), high, dear, most)


def _costs(
    held: HeldJob, card: RateCard, inputs: Mapping[str, int], draws: int, seed: int, common_factor: float
) -> Floats:
    known = measures_of(card)
    spreads = [spread_of(known[key], dear) for key, dear in inputs.items()]
    arrays = drawn(spreads, draws=draws, common_factor=common_factor, seed=seed)
    cost = held.cost({key: Many(array) for key, array in zip(inputs, arrays, strict=True)})
    costs: Floats = np.broadcast_to(np.asarray(floats(cost), dtype=np.float64), (draws,))
    return costs
