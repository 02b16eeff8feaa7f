"""Prices that are not kept: the owner's estimate of a job, and the client's quotation of it."""

from __future__ import annotations

from api.calls import JSON, PDF, XML, Answer, Call, Nothing, in_json
from api.examples import JOB
from api.keys import READERS
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
    return in_json(await call.desk.estimate(call.body))


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
    quotation = quotation_for(await call.desk.estimate(call.body), call.desk.card)
    return await in_wanted_type(call, quotation)


async def in_wanted_type(call: Call[Job, Nothing], quotation: Quotation) -> Answer:
    """A quotation as the type that is wanted."""
    if call.wanted == JSON:
        return in_json(quotation)
    named = f"quotation {quotation.title}"
    if call.wanted == XML:
        from quoting.documents.ubl import quotation_xml

        headers = {"Content-Disposition": content_disposition(named, "xml")}
        return Answer(content=quotation_xml(quotation), media_type=XML, headers=headers)
    from quoting.documents.children import render_in_child
    from quoting.documents.quotation import quotation_page

    pdf = await call.desk.document(lambda: render_in_child(quotation_page(quotation)))
    return Answer(content=pdf, media_type=PDF, headers={"Content-Disposition": content_disposition(named, "pdf")})
