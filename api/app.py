"""The app: a job in, the owner's estimate or the client's quotation out, as JSON or PDF."""

from __future__ import annotations

import datetime
from typing import Any
from zoneinfo import ZoneInfo

from litestar import Litestar, Request, Response, get, post
from litestar.datastructures import State
from litestar.exceptions import HTTPException
from litestar.openapi.config import OpenAPIConfig

from api.comparisons import compare_for_owner
from api.negotiation import JSON, PDF, XML, require_json, wanted_type
from api.problems import http_error, quoting_error, unexpected_error
from api.settings import Settings, settings_from_environment
from quoting import (
    Estimate,
    QuotingError,
    RateCard,
    estimate_job,
    load_rate_card,
    quotation_for,
    read_job,
)
from quoting.documents.children import render_in_child
from quoting.documents.names import content_disposition
from quoting.documents.quotation import quotation_page
from quoting.documents.ubl import quotation_xml
from quoting.reader import json_data, to_json
from quoting.reference import schema_of


@post("/v1/estimates", status_code=200)
async def price_for_owner(request: Request[Any, Any, State], state: State) -> Response[bytes]:
    """The owner's estimate of a job: costs, plans and reasons. Nothing is stored."""
    wanted_type(request, (JSON,))
    return Response(to_json(await _estimate(request, state)), media_type=JSON)


@post("/v1/quotations", status_code=200)
async def quote_for_client(request: Request[Any, Any, State], state: State) -> Response[bytes]:
    """The client's quotation of a job, as JSON, PDF or UBL 2.1 by ``Accept``. Nothing is stored."""
    kind = wanted_type(request, (JSON, PDF, XML))
    quotation = quotation_for(await _estimate(request, state), state.card)
    if kind == JSON:
        return Response(to_json(quotation), media_type=JSON)
    if kind == XML:
        headers = {"Content-Disposition": content_disposition(f"quotation {quotation.title}", "xml")}
        return Response(quotation_xml(quotation), media_type=XML, headers=headers)
    from anyio import to_thread

    pdf = await to_thread.run_sync(render_in_child, quotation_page(quotation))
    headers = {"Content-Disposition": content_disposition(f"quotation {quotation.title}", "pdf")}
    return Response(pdf, media_type=PDF, headers=headers)


@get("/v1/schemas/job", sync_to_thread=False)
def job_schema() -> dict[str, Any]:
    """The JSON Schema of a job."""
    return schema_of("job")


@get("/livez", sync_to_thread=False)
def live() -> dict[str, str]:
    """Whether the process answers."""
    return {"status": "alive"}


async def _estimate(request: Request[Any, Any, State], state: State) -> Estimate:
    require_json(request)
    data = json_data(await request.body())
    card: RateCard = state.card
    today = datetime.datetime.now(ZoneInfo(card.region.time_zone)).date()
    return estimate_job(read_job(data), card, on=today)


def create_app(settings: Settings | None = None) -> Litestar:
    """
    The app for one rate card.

    Raises:
        RateCardError: the card is refused.
    """
    chosen = settings or settings_from_environment()
    return Litestar(
        route_handlers=[price_for_owner, compare_for_owner, quote_for_client, job_schema, live],
        state=State({"card": load_rate_card(chosen.card)}),
        request_max_body_size=chosen.most_body_bytes,
        exception_handlers={
            QuotingError: quoting_error,
            HTTPException: http_error,
            Exception: unexpected_error,
        },
        openapi_config=OpenAPIConfig(title="Quoting", version="1", path="/v1/openapi", render_plugins=[]),
    )
