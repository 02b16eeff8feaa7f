"""Prices that are not kept: the owner's estimate of a job, and the client's quotation of it."""

from __future__ import annotations

from api.calls import Answer, Call, Nothing, in_json
from api.documents import ENDINGS, document
from api.examples import JOB
from api.keys import READERS
from api.media_types import JSON, PDF, XML
from api.operations import Answers, operation
from quoting import Estimate, Job, Quotation, quotation_for
from quoting.documents.names import content_disposition

PRICING = ("invalid-job", "not-offered", "not-quotable")


@operation(
    method="POST",
    path="/v1/estimates",
    id="price",
    summary="The owner's estimate of a job: costs, plans and reasons. Nothing is kept.",
    face="owner",
    may=READERS,
    body=Job,
    example=JOB,
    answers=(Answers(what="The estimate.", content={JSON: Estimate}),),
    problems=PRICING,
)
async def price(call: Call[Job, Nothing]) -> Answer:
    """Price a job."""
    return await call.desk.made(call.body, call.card, in_json)


@operation(
    method="POST",
    path="/v1/quotations",
    id="quote",
    summary="The client's quotation of a job, as JSON, PDF/A-3 or UBL 2.1 by Accept. Nothing is kept.",
    face="owner",
    may=READERS,
    body=Job,
    example=JOB,
    answers=(Answers(what="The quotation.", content={JSON: Quotation, PDF: None, XML: None}),),
    problems=(*PRICING, "unfit-text", "document-unavailable"),
)
async def quote(call: Call[Job, Nothing]) -> Answer:
    """Quote a job."""
    card = call.card
    quotation = await call.desk.made(call.body, card, lambda estimate: quotation_for(estimate, card))
    return await in_wanted_type(call, quotation)


async def in_wanted_type(call: Call[Job, Nothing], quotation: Quotation) -> Answer:
    """A quotation as the type that is wanted."""
    if call.wanted == JSON:
        return in_json(quotation)
    content = await document(call.desk, quotation, call.wanted)
    headers = {"Content-Disposition": content_disposition(f"quotation {quotation.title}", ENDINGS[call.wanted])}
    return Answer(content=content, media_type=call.wanted, headers=headers)


ROUTES = (price, quote)
