"""Comparisons: a job over quantities, sizes, stocks and presses, with costs and plots. Nothing is kept."""

from __future__ import annotations

import datetime
from typing import Annotated, Literal

from msgspec import Meta, Struct

from api.calls import Answer, Call, in_json
from api.documents import rendered
from api.examples import JOB
from api.keys import READERS
from api.media_types import CSV, JSON, PDF, SVG
from api.operations import Answers, operation
from api.problems import ProblemError
from quoting import Job, RateCard
from quoting.compare import Comparison, asked_price, compare_job
from quoting.documents.names import content_disposition
from quoting.shop import Count, Name

MOST_WORDS = 20

Words = Annotated[tuple[Name, ...], Meta(max_length=MOST_WORDS)]


class ComparisonAsked(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A job, and over what it is compared; what is left out stays as the job has it."""

    job: Job
    quantities: Annotated[tuple[Count, ...], Meta(max_length=200)] = ()
    sizes: Words = ()
    stocks: Words = ()
    presses: Words = ()
    part: Name | None = None
    price: Name | None = None


PLOTS = Literal["margins", "price-and-cost", "make-up"]


class PlotAsked(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Which plot, where an image is accepted; the variant by its place, from 1."""

    plot: PLOTS = "price-and-cost"
    variant: Annotated[int, Meta(ge=1, le=1000)] = 1


@operation(
    method="POST",
    path="/v1/comparisons",
    id="compare",
    summary="A job over quantities, sizes, stocks and presses: JSON, CSV, a report with plots, one plot, by Accept.",
    face="owner",
    may=READERS,
    body=ComparisonAsked,
    query=PlotAsked,
    example={"job": JOB, "quantities": [100, 200]},
    answers=(Answers(what="The comparison.", content={JSON: Comparison, CSV: None, PDF: None, SVG: None}),),
    problems=("invalid-job", "not-offered", "not-quotable", "not-found", "document-unavailable"),
)
async def compare(call: Call[ComparisonAsked, PlotAsked]) -> Answer:
    """Compare."""
    on = call.desk.today(call.card)
    comparison = await call.desk.question(lambda: _compared(call.body, call.card, on))
    if call.wanted == JSON:
        return in_json(comparison)
    if call.wanted == SVG:
        return Answer(content=await call.desk.question(lambda: _plot(comparison, call.query)), media_type=SVG)
    if call.wanted == CSV:
        from quoting.documents.comparison_csv import comparison_csv

        return Answer(content=comparison_csv(comparison).encode(), media_type=CSV, headers=_named("csv"))
    from quoting.documents.comparison_pdf import comparison_page

    paper = call.card.region.paper
    page = await call.desk.question(lambda: comparison_page(comparison, paper=paper))
    return Answer(content=await rendered(call.desk, page), media_type=PDF, headers=_named("pdf"))


def _named(ending: str) -> dict[str, str]:
    return {"Content-Disposition": content_disposition("comparison", ending)}


def _compared(asked: ComparisonAsked, card: RateCard, on: datetime.date) -> Comparison:
    return compare_job(
        asked.job,
        card,
        on=on,
        quantities=asked.quantities,
        sizes=asked.sizes,
        stocks=asked.stocks,
        presses=asked.presses,
        part=asked.part,
        price_asked=asked_price(asked.price, card) if asked.price else None,
    )


def _plot(comparison: Comparison, asked: PlotAsked) -> bytes:
    from quoting.plots import plots_of

    plots = plots_of(comparison)
    found = plots.get(f"{asked.plot}-{asked.variant}") or (plots.get(asked.plot) if asked.variant == 1 else None)
    if found is None:
        raise ProblemError("not-found", offered=tuple(plots))
    return found.encode()


ROUTES = (compare,)
