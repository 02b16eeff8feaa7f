"""Comparisons over HTTP: for the owner, with costs. Nothing is stored."""

from __future__ import annotations

import datetime
from typing import Annotated, Any
from zoneinfo import ZoneInfo

from litestar import Request, Response, post
from litestar.datastructures import State
from msgspec import Meta, Struct

from api.negotiation import JSON, PDF, require_json, wanted_type
from quoting import InputError, Job, JobError, RateCard
from quoting.compare import Comparison, asked_price, compare_job
from quoting.reader import convert, json_data, to_json
from quoting.shop import Count, Name

CSV = "text/csv"
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


@post("/v1/comparisons", status_code=200)
async def compare_for_owner(request: Request[Any, Any, State], state: State) -> Response[bytes]:
    """A job over quantities, sizes, stocks and presses, as JSON, CSV or PDF by ``Accept``."""
    from anyio import to_thread

    kind = wanted_type(request, (JSON, CSV, PDF))
    require_json(request)
    asked = _asked(await request.body())
    comparison = await to_thread.run_sync(_compared, asked, state.card)
    if kind == JSON:
        return Response(to_json(comparison), media_type=JSON)
    if kind == CSV:
        from quoting.documents.comparison_csv import comparison_csv

        return Response(comparison_csv(comparison).encode(), media_type=CSV, headers=_named("comparison.csv"))
    pdf = await to_thread.run_sync(_pdf, comparison, state.card)
    return Response(pdf, media_type=PDF, headers=_named("comparison.pdf"))


def _named(name: str) -> dict[str, str]:
    return {"Content-Disposition": f'attachment; filename="{name}"'}


def _asked(body: bytes) -> ComparisonAsked:
    data = json_data(body)
    try:
        return convert(data, ComparisonAsked)
    except InputError as error:
        raise JobError(error.faults) from error


def _compared(asked: ComparisonAsked, card: RateCard) -> Comparison:
    today = datetime.datetime.now(ZoneInfo(card.region.time_zone)).date()
    return compare_job(
        asked.job,
        card,
        on=today,
        quantities=asked.quantities,
        sizes=asked.sizes,
        stocks=asked.stocks,
        presses=asked.presses,
        part=asked.part,
        price_asked=asked_price(asked.price, card) if asked.price else None,
    )


def _pdf(comparison: Comparison, card: RateCard) -> bytes:
    from quoting.documents.comparison_pdf import comparison_page
    from quoting.documents.render import render_in_child

    return render_in_child(comparison_page(comparison, paper=card.region.paper))
