"""Comparisons: a job over quantities, sizes, stocks and presses, with costs and plots. Nothing is kept."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta, Struct

from api.calls import CSV, JSON, PDF, Answer, Call, Nothing, in_json
from api.desk import Desk
from api.examples import JOB
from api.keys import READERS
from api.operations import Answers, operation
from quoting import Job
from quoting.compare import Comparison, asked_price, compare_job
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


@operation(
    method="POST",
    path="/v1/comparisons",
    id="compare",
    summary="A job over quantities, sizes, stocks and presses, as JSON, CSV or a report with plots by Accept.",
    face="owner",
    may=READERS,
    body=ComparisonAsked,
    example={"job": JOB, "quantities": [100, 200]},
    answers=(Answers(what="The comparison.", content={JSON: Comparison, CSV: None, PDF: None}),),
    problems=("invalid-job", "not-offered", "not-quotable", "document-unavailable"),
)
async def compare(call: Call[ComparisonAsked, Nothing]) -> Answer:
    """Compare."""
    comparison = await call.desk.question(lambda: _compared(call.body, call.desk))
    if call.wanted == JSON:
        return in_json(comparison)
    if call.wanted == CSV:
        from quoting.documents.comparison_csv import comparison_csv

        return Answer(content=comparison_csv(comparison).encode(), media_type=CSV, headers=_named("comparison.csv"))
    paper = call.desk.card.region.paper
    pdf = await call.desk.document(lambda: _pdf(comparison, paper))
    return Answer(content=pdf, media_type=PDF, headers=_named("comparison.pdf"))


def _named(name: str) -> dict[str, str]:
    return {"Content-Disposition": f'attachment; filename="{name}"'}


def _compared(asked: ComparisonAsked, desk: Desk) -> Comparison:
    card = desk.card
    return compare_job(
        asked.job,
        card,
        on=desk.today(),
        quantities=asked.quantities,
        sizes=asked.sizes,
        stocks=asked.stocks,
        presses=asked.presses,
        part=asked.part,
        price_asked=asked_price(asked.price, card) if asked.price else None,
    )


def _pdf(comparison: Comparison, paper: str) -> bytes:
    from quoting.documents.children import render_in_child
    from quoting.documents.comparison_pdf import comparison_page

    return render_in_child(comparison_page(comparison, paper=paper))
