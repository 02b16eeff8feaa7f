"""What was sent of a quotation: its PDF and XML, kept byte for byte; its papers; the docket for the bench."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

from api.calls import Answer, Call, Nothing, in_json
from api.documents import ENDINGS, document, rendered
from api.etags import tag_of_content
from api.examples import JOB
from api.keys import READERS
from api.media_types import JSON, PDF, XML
from api.operations import Answers, operation
from api.owner.kept import tag_of
from quoting import Estimate, Job, Quotation, estimate_job
from quoting.book import Entry, QuoteBook
from quoting.docket import Docket, docket_for
from quoting.documents.names import content_disposition
from quoting.errors import QuoteNotFoundError
from quoting.planning.pins import Pin
from quoting.rate_card import RateCard
from quoting.reader import from_json

ONE = "/v1/book/quotations/{which}"


class PaperAsked(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Of which revision; of the newest if left out."""

    revision: Annotated[int, Meta(ge=0, le=100_000)] | None = None


class DocketAsked(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Which option is made; the accepted one, else the first, if left out. The language of the bench."""

    quantity: Annotated[int, Meta(ge=1, le=1_000_000)] | None = None
    locale: Annotated[str, Meta(pattern=r"^[a-z]{2}-[A-Z]{2}\Z")] | None = None


class DocketOfJobAsked(DocketAsked, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A job to be made, with choices of the owner's instead of the search."""

    job: Job
    pins: Annotated[tuple[Pin, ...], Meta(max_length=50)] = ()


async def document_of(call: Call[Nothing, object], entry: Entry, revision: int) -> Answer:
    """The PDF or XML of a revision: as it was sent, or made now of what was quoted; looking changes nothing."""
    kind = ENDINGS[call.wanted]
    content = await _kept_document(call, entry, revision, kind)
    named = f"quotation {entry.named}"
    return Answer(
        content=content,
        media_type=call.wanted,
        headers={
            "ETag": tag_of(entry).of(kind, str(revision)),
            "Content-Disposition": content_disposition(named, kind),
        },
    )


async def _kept_document(call: Call[Nothing, object], entry: Entry, revision: int, kind: str) -> bytes:
    desk = call.desk
    if f"{revision}/{kind}" in entry.commitments:
        return await desk.in_book(lambda book: book.paper(entry.id, kind, revision=revision).content)
    paper = await desk.in_book(lambda book: book.paper(entry.id, "quotation", revision=revision))
    quotation = from_json(paper.content, Quotation)
    return await document(desk, quotation, call.wanted)


@operation(
    method="GET",
    path=ONE + "/revisions/{revision}",
    id="get-revision",
    summary="A revision as it was sent: the client's quotation, as JSON, PDF or UBL 2.1 by Accept.",
    face="owner",
    may=READERS,
    answers=(Answers(what="The revision.", content={JSON: Quotation, PDF: None, XML: None}, headers=("ETag",)),),
    problems=("not-found", "unfit-text", "document-unavailable"),
    tagged=True,
)
async def get_revision(call: Call[Nothing, Nothing]) -> Answer:
    """Look at a revision."""
    which, revision = call.path["which"], _revision(call.path["revision"])
    entry = await call.desk.in_book(lambda book: book.get(which))
    if call.wanted != JSON:
        return await document_of(call, entry, revision)
    paper = await call.desk.in_book(lambda book: book.paper(which, "quotation", revision=revision))
    return Answer(content=paper.content, headers={"ETag": tag_of_content(paper.content)})


def _revision(told: str) -> int:
    if not (told.isascii() and told.isdecimal() and len(told) <= 6):
        raise QuoteNotFoundError(told[:20])
    return int(told)


_PAPER_TYPES: dict[str, type] = {"job": Job, "estimate": Estimate}


def _paper(kind: Literal["job", "estimate"]) -> object:
    @operation(
        method="GET",
        path=f"{ONE}/{kind}",
        id=f"get-{kind}",
        summary=f"The {kind} of a quotation, as it was kept.",
        face="owner",
        may=READERS,
        query=PaperAsked,
        answers=(Answers(what=f"The {kind}.", content={JSON: _PAPER_TYPES[kind]}, headers=("ETag",)),),
        problems=("not-found",),
        tagged=True,
    )
    async def get_paper(call: Call[Nothing, PaperAsked]) -> Answer:
        which, revision = call.path["which"], call.query.revision
        paper = await call.desk.in_book(lambda book: book.paper(which, kind, revision=revision))
        return Answer(content=paper.content, headers={"ETag": tag_of_content(paper.content)})

    return get_paper


get_job, get_estimate = _paper("job"), _paper("estimate")


@operation(
    method="GET",
    path=ONE + "/docket",
    id="get-docket",
    summary="The job docket of a quotation, for the bench: PDF, or JSON, by Accept.",
    face="owner",
    may=READERS,
    query=DocketAsked,
    answers=(Answers(what="The docket.", content={PDF: None, JSON: Docket}),),
    problems=("not-found", "not-quotable", "invalid-job", "unfit-text", "document-unavailable"),
)
async def get_docket(call: Call[Nothing, DocketAsked]) -> Answer:
    """The docket of what is kept."""
    entry, job, pins, card = await call.desk.in_book(lambda book: made_from(book, call.path["which"]))
    taken = None if entry.accepted is None else entry.terms.options[entry.accepted].quantity
    quantity = call.query.quantity or taken
    docket = await call.desk.engine(
        lambda: docket_for(
            estimate_job(job, card, on=entry.terms.priced_on, pins=pins),
            card,
            quantity=quantity,
            locale=call.query.locale,
            number=entry.number,
        )
    )
    return await _docket_in_wanted_type(call, docket)


@operation(
    method="POST",
    path="/v1/dockets",
    id="docket",
    summary="The job docket of a job, for the bench: PDF, or JSON, by Accept. Nothing is kept.",
    face="owner",
    may=READERS,
    body=DocketOfJobAsked,
    example={"job": JOB},
    answers=(Answers(what="The docket.", content={PDF: None, JSON: Docket}),),
    problems=("invalid-job", "not-offered", "not-quotable", "unfit-text", "document-unavailable"),
)
async def docket_of_job(call: Call[DocketOfJobAsked, Nothing]) -> Answer:
    """The docket of a job."""
    asked, card = call.body, call.card
    docket = await call.desk.made(
        asked.job,
        card,
        lambda estimate: docket_for(estimate, card, quantity=asked.quantity, locale=asked.locale),
        pins=asked.pins,
    )
    return await _docket_in_wanted_type(call, docket)


async def _docket_in_wanted_type(call: Call[object, object], docket: Docket) -> Answer:
    if call.wanted == JSON:
        return in_json(docket)
    from quoting.documents.docket import docket_page

    pdf = await rendered(call.desk, docket_page(docket))
    named = f"docket {docket.number or docket.title}"
    return Answer(content=pdf, media_type=PDF, headers={"Content-Disposition": content_disposition(named, "pdf")})


def made_from(book: QuoteBook, which: str) -> tuple[Entry, Job, tuple[Pin, ...], RateCard]:
    """What a quotation was made from, as it was kept."""
    entry = book.get(which)
    job = from_json(book.paper(which, "job").content, Job)
    try:
        pins = from_json(book.paper(which, "pins").content, tuple[Pin, ...])
    except QuoteNotFoundError:
        pins = ()
    return entry, job, pins, book.card(entry.terms.card)


ROUTES = (get_revision, get_job, get_estimate, get_docket, docket_of_job)
