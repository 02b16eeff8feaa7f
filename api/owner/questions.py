"""Questions asked of a price: why it is so, what moved it, what if, how likely a loss is. For the owner."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta, Struct
from msgspec.structs import replace

from api.calls import Answer, Call, Nothing, in_json
from api.examples import JOB
from api.keys import READERS
from api.media_types import JSON, SVG
from api.operations import Answers, operation
from api.problems import ProblemError
from quoting import Job, RateCard, estimate_job
from quoting.difference import Difference, difference
from quoting.explain import Node, explained
from quoting.planning.pins import Pin
from quoting.shop import Count, Name
from quoting.what_if import Swing, WhatIf, change_from, swings, what_if

Hash = Annotated[str, Meta(pattern=r"^[0-9a-f]{64}\Z", description="The content hash of a published rate card.")]
_PRICING = ("invalid-job", "not-offered", "not-quotable")


class ExplanationAsked(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A job, and which of its quantities; the first if left out."""

    job: Job
    quantity: Count | None = None
    pins: Annotated[tuple[Pin, ...], Meta(max_length=50)] = ()


@operation(
    method="POST",
    path="/v1/explanations",
    id="explain",
    summary="Why a price is what it is: from the total down to every rate and formula. Nothing is kept.",
    face="owner",
    may=READERS,
    body=ExplanationAsked,
    example={"job": JOB},
    answers=(Answers(what="The total, and everything that it comes from.", content={JSON: Node}),),
    problems=_PRICING,
)
async def explain(call: Call[ExplanationAsked, Nothing]) -> Answer:
    """Explain a price."""
    asked, card, on = call.body, call.card, call.desk.today(call.card)
    job = replace(asked.job, quantities=(asked.quantity or asked.job.quantities[0],))

    def work() -> Node:
        estimate = estimate_job(job, card, on=on, pins=asked.pins)
        return explained(estimate.options[0], estimate, card)

    return in_json(await call.desk.question(work))


class DifferenceAsked(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """
    Two jobs, or one at two published cards.

    ``card`` and ``to_card`` are content hashes; the card in force where they are left out.
    """

    job: Job
    to_job: Job | None = None
    card: Hash | None = None
    to_card: Hash | None = None
    quantity: Count | None = None


@operation(
    method="POST",
    path="/v1/differences",
    id="difference",
    summary="Which inputs moved the price from one card or job to another, and by how much. Nothing is kept.",
    face="owner",
    may=READERS,
    body=DifferenceAsked,
    example={"job": JOB, "to_job": JOB},
    answers=(Answers(what="The difference.", content={JSON: Difference}),),
    problems=(*_PRICING, "invalid-card", "not-found"),
)
async def compare_prices(call: Call[DifferenceAsked, Nothing]) -> Answer:
    """Tell what moved a price."""
    asked = call.body
    before, after = await _card(call, asked.card), await _card(call, asked.to_card)
    on = call.desk.today(call.card)
    return in_json(
        await call.desk.question(
            lambda: difference(
                (asked.job, before), (asked.to_job or asked.job, after), on=on, quantity=asked.quantity
            )
        )
    )


async def _card(call: Call[DifferenceAsked, Nothing], hash: str | None) -> RateCard:
    return call.card if hash is None else await call.desk.in_book(lambda book: book.card(hash))


class WhatIfAsked(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A job, and changes of the card as the command line takes them: ``make_ready.plate +10 %``."""

    job: Job
    changes: Annotated[tuple[Name, ...], Meta(min_length=1, max_length=20)]


@operation(
    method="POST",
    path="/v1/what-ifs",
    id="what-if",
    summary="A job at a changed card: cost, price and margin before and after. Nothing is kept.",
    face="owner",
    may=READERS,
    body=WhatIfAsked,
    example={"job": JOB, "changes": ["make_ready.plate +10 %"]},
    answers=(Answers(what="What it does to each quantity.", content={JSON: WhatIf}),),
    problems=(*_PRICING, "invalid-card"),
)
async def ask_what_if(call: Call[WhatIfAsked, Nothing]) -> Answer:
    """Ask what if."""
    asked, card, on = call.body, call.card, call.desk.today(call.card)
    changes = [change_from(written) for written in asked.changes]
    return in_json(await call.desk.question(lambda: what_if(asked.job, card, changes, on=on)))


class SwingsAsked(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A job, and which of its quantities; the first if left out."""

    job: Job
    quantity: Count | None = None


class Swings(Struct, frozen=True, kw_only=True):
    """The inputs that move the margin most, widest first."""

    swings: tuple[Swing, ...]


@operation(
    method="POST",
    path="/v1/swings",
    id="swings",
    summary="Which times and rates of the card move the margin most, as JSON or a plot by Accept. Nothing is kept.",
    face="owner",
    may=READERS,
    body=SwingsAsked,
    example={"job": JOB},
    answers=(Answers(what="The swings.", content={JSON: Swings, SVG: None}),),
    problems=_PRICING,
)
async def ask_swings(call: Call[SwingsAsked, Nothing]) -> Answer:
    """Ask what moves the margin."""
    asked, card, on = call.body, call.card, call.desk.today(call.card)
    quantity = asked.quantity or asked.job.quantities[0]
    found = await call.desk.question(lambda: swings(asked.job, card, quantity, on=on))
    if call.wanted == JSON:
        return in_json(Swings(swings=found))
    if not found:
        raise ProblemError("not-found", "expected an input of the card that has a spread; found none")
    from quoting.plots import tornado

    svg = await call.desk.question(lambda: tornado(found, f"{asked.job.title}, {quantity:,}"))
    return Answer(content=svg.encode(), media_type=SVG)


class RiskAsked(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A job, which of its quantities, and the chance that draws begin with."""

    job: Job
    quantity: Count | None = None
    seed: Annotated[int, Meta(ge=0, le=2**31 - 1)] = 1


@operation(
    method="POST",
    path="/v1/risks",
    id="risk",
    summary="How likely a price leaves a loss: 10,000 draws over the card's own spreads. Nothing is kept.",
    face="owner",
    may=READERS,
    body=RiskAsked,
    example={"job": JOB},
    answers=(Answers(what="What the draws say.", content={JSON: "quoting.risk:Risk"}),),
    problems=_PRICING,
)
async def ask_risk(call: Call[RiskAsked, Nothing]) -> Answer:
    """Ask how likely a loss is."""
    asked, card, on = call.body, call.card, call.desk.today(call.card)

    def work() -> object:
        from quoting.risk import risk_of  # numpy

        return risk_of(asked.job, card, asked.quantity or asked.job.quantities[0], on=on, seed=asked.seed)

    return in_json(await call.desk.question(work))


ROUTES = (explain, compare_prices, ask_what_if, ask_swings, ask_risk)
