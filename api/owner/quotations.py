"""Quotations of the book: drafted, issued, revised, accepted, declined, withdrawn, paid; listed and looked at."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from typing import Annotated, Literal

from msgspec import Meta, Struct
from msgspec.structs import asdict

from api.calls import Answer, Call, Nothing, in_json
from api.examples import JOB
from api.keys import OWNER, READERS
from api.media_types import JSON
from api.operations import Answers, operation
from api.owner.kept import KeptQuotation, ListedQuotation, changed, created, kept, listed, tag_of
from api.owner.papers import document_of
from api.paging import Cursor, Limit, next_link
from quoting import Job
from quoting.book import Entry, QuoteBook, Wanted
from quoting.money import read_amount
from quoting.planning.pins import Pin

PRICING = ("invalid-job", "not-offered", "not-quotable")
ONE = "/v1/book/quotations/{which}"
KEPT = (Answers(what="The quotation.", content={JSON: KeptQuotation}, headers=("ETag",)),)

ListedState = Literal["draft", "open", "accepted", "declined", "withdrawn", "lapsed"]
Series = Annotated[str, Meta(pattern=r"^[A-Za-z0-9]{1,20}\Z")]
Locale = Annotated[str, Meta(pattern=r"^[a-z]{2}-[A-Z]{2}\Z")]
Words = Annotated[str, Meta(max_length=200)]
Note = Annotated[str, Meta(max_length=4000)]
Written = Annotated[str, Meta(pattern=r"^[0-9]{1,12}(\.[0-9]{1,4})?\Z", description="An amount, such as 12.50.")]


class JobAsked(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A job to be kept: choices of the owner's instead of the search, and the client's language."""

    job: Job
    pins: Annotated[tuple[Pin, ...], Meta(max_length=50)] = ()
    locale: Locale | None = None


class QuotationAsked(JobAsked, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A job to be quoted at once: numbered in a series, from then on binding."""

    series: Series = "Q"


class IssueAsked(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A draft to be numbered."""

    series: Series = "Q"


class AcceptanceAsked(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What the client takes; the quantity may be left out where there is one."""

    quantity: Annotated[int, Meta(ge=1, le=1_000_000)] | None = None
    revision: Annotated[int, Meta(ge=1, le=100_000)] | None = None
    who: Words = ""
    note: Note = ""


class DeclineAsked(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """That the client does not take it."""

    revision: Annotated[int, Meta(ge=1, le=100_000)] | None = None
    who: Words = ""
    note: Note = ""


class WithdrawalAsked(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """That the shop takes it back."""

    note: Note = ""


class PaymentAsked(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Money that came, in the quotation's currency."""

    amount: Written


class ListAsked(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Which quotations: all that fit everything that is told."""

    state: ListedState | None = None
    client: Words | None = None
    series: Series | None = None
    number: Annotated[str, Meta(max_length=40)] = ""
    text: Words = ""
    dated_from: datetime.date | None = None
    dated_until: datetime.date | None = None
    limit: Limit = 50
    cursor: Cursor = ""


class Quotations(Struct, frozen=True, kw_only=True):
    """A page of quotations, newest first; ``cursor`` asks for the next one and is empty after the last."""

    quotations: tuple[ListedQuotation, ...]
    cursor: str


@operation(
    method="POST",
    path="/v1/book/drafts",
    id="draft",
    summary="Keep a priced job without a number.",
    face="owner",
    may=OWNER,
    body=JobAsked,
    example={"job": JOB},
    answers=(Answers(status=201, what="The draft.", content={JSON: KeptQuotation}, headers=("ETag", "Location")),),
    problems=(*PRICING, "card-published"),
    once=True,
)
async def draft(call: Call[JobAsked, Nothing]) -> Answer:
    """Keep a draft."""
    return created(call, await _priced(call, QuoteBook.draft, "draft"))


@operation(
    method="PUT",
    path="/v1/book/drafts/{which}",
    id="draft-again",
    summary="Put a newer job in a draft's place.",
    face="owner",
    may=OWNER,
    body=JobAsked,
    example={"job": JOB},
    answers=KEPT,
    problems=(*PRICING, "not-found", "quote-open", "quote-expired", "quote-accepted", "quote-declined",
              "quote-withdrawn", "quote-erased", "card-published"),
    once=True,
    guarded="must",
)  # fmt: skip
async def draft_again(call: Call[JobAsked, Nothing]) -> Answer:
    """Keep a newer job."""
    return changed(await _priced(call, QuoteBook.draft_again, "draft again", which=call.path["which"]))


@operation(
    method="POST",
    path="/v1/book/drafts/{which}/issue",
    id="issue",
    summary="Give a draft the next number of its series; from now on it binds the shop.",
    face="owner",
    may=OWNER,
    body=IssueAsked,
    example={"series": "Q"},
    answers=KEPT,
    problems=("not-found", "quote-open", "quote-expired", "quote-accepted", "quote-declined", "quote-withdrawn",
              "quote-erased"),
    once=True,
    guarded="may",
)  # fmt: skip
async def issue(call: Call[IssueAsked, Nothing]) -> Answer:
    """Issue a draft."""
    return await _moved(call, QuoteBook.issue, series=call.body.series)


@operation(
    method="POST",
    path="/v1/book/quotations",
    id="create-quotation",
    summary="Price a job, keep it and issue it with the next number of its series, in one transaction.",
    face="owner",
    may=OWNER,
    body=QuotationAsked,
    example={"job": JOB},
    answers=(
        Answers(status=201, what="The quotation.", content={JSON: KeptQuotation}, headers=("ETag", "Location")),
    ),
    problems=(*PRICING, "card-published"),
    once=True,
)
async def create(call: Call[QuotationAsked, Nothing]) -> Answer:
    """Quote and keep."""
    entry = await _priced(call, QuoteBook.draft_and_issue, "draft and issue", series=call.body.series)
    return created(call, entry)


@operation(
    method="GET",
    path="/v1/book/quotations",
    id="list-quotations",
    summary="Quotations, newest first; found by state, client, series, number, day and words.",
    face="owner",
    may=READERS,
    query=ListAsked,
    answers=(Answers(what="A page of them.", content={JSON: Quotations}, headers=("Link",)),),
    problems=("invalid-cursor",),
)
async def list_quotations(call: Call[Nothing, ListAsked]) -> Answer:
    """List quotations."""
    asked = asdict(call.query)
    most, cursor = asked.pop("limit"), asked.pop("cursor")
    found = await call.desk.in_book(
        lambda book: book.list(Wanted(**asked), at=call.desk.now(), most=most, cursor=cursor)
    )
    page = Quotations(quotations=tuple(listed(one) for one in found.quotations), cursor=found.cursor)
    link = next_link(call.desk.settings.base_url, "/v1/book/quotations", asked | {"limit": most}, found.cursor)
    return in_json(page, Link=link)


@operation(
    method="GET",
    path=ONE,
    id="get-quotation",
    summary="A quotation by number or id: how it stands, as JSON; as it is sent, as PDF or UBL 2.1 by Accept.",
    face="owner",
    may=READERS,
    answers=(
        Answers(
            what="The quotation.",
            content={JSON: KeptQuotation, "application/pdf": None, "application/xml": None},
            headers=("ETag",),
        ),
    ),
    problems=("not-found", "unfit-text", "document-unavailable"),
    tagged=True,
)
async def get(call: Call[Nothing, Nothing]) -> Answer:
    """Look at a quotation."""
    entry = await call.desk.in_book(lambda book: book.get(call.path["which"]))
    if call.wanted != JSON:
        return await document_of(call, entry, entry.revision)
    now = kept(entry, call.desk.now())
    return in_json(now, ETag=tag_of(entry).of("lapsed" if now.state == "lapsed" else ""))


@operation(
    method="POST",
    path=ONE + "/revisions",
    id="revise",
    summary="Issue a new revision under the same number, in place of the one before.",
    face="owner",
    may=OWNER,
    body=JobAsked,
    example={"job": JOB},
    answers=KEPT,
    problems=(*PRICING, "not-found", "quote-draft", "quote-accepted", "quote-withdrawn", "quote-erased",
              "card-published"),
    once=True,
    guarded="must",
)  # fmt: skip
async def revise(call: Call[JobAsked, Nothing]) -> Answer:
    """Revise."""
    return changed(await _priced(call, QuoteBook.revise, "revise", which=call.path["which"]))


_ENDINGS = ("not-found", "quote-draft", "quote-open", "quote-expired", "quote-replaced", "quote-accepted",
            "quote-declined", "quote-withdrawn", "quote-erased")  # fmt: skip


@operation(
    method="POST",
    path=ONE + "/acceptance",
    id="accept",
    summary="Record that the client takes it.",
    face="owner",
    may=OWNER,
    body=AcceptanceAsked,
    example={"quantity": 100, "who": "the client, by telephone"},
    answers=KEPT,
    problems=_ENDINGS,
    once=True,
    guarded="may",
)
async def accept(call: Call[AcceptanceAsked, Nothing]) -> Answer:
    """Record an acceptance."""
    return await _moved(call, QuoteBook.accept, **asdict(call.body))


@operation(
    method="POST",
    path=ONE + "/decline",
    id="decline",
    summary="Record that the client does not take it.",
    face="owner",
    may=OWNER,
    body=DeclineAsked,
    example={"note": "another time"},
    answers=KEPT,
    problems=_ENDINGS,
    once=True,
    guarded="may",
)
async def decline(call: Call[DeclineAsked, Nothing]) -> Answer:
    """Record a refusal."""
    return await _moved(call, QuoteBook.decline, **asdict(call.body))


@operation(
    method="POST",
    path=ONE + "/withdrawal",
    id="withdraw",
    summary="Take a quotation back, or put a draft away.",
    face="owner",
    may=OWNER,
    body=WithdrawalAsked,
    example={"note": "the stock is no longer made"},
    answers=KEPT,
    problems=_ENDINGS,
    once=True,
    guarded="may",
)
async def withdraw(call: Call[WithdrawalAsked, Nothing]) -> Answer:
    """Take it back."""
    return await _moved(call, QuoteBook.withdraw, note=call.body.note)


@operation(
    method="POST",
    path=ONE + "/payments",
    id="pay",
    summary="Record money that came for what was accepted: the deposit asked, or what is left.",
    face="owner",
    may=OWNER,
    body=PaymentAsked,
    example={"amount": "12.50"},
    answers=KEPT,
    problems=(*_ENDINGS, "overpaid"),
    once=True,
    guarded="may",
)
async def pay(call: Call[PaymentAsked, Nothing]) -> Answer:
    """Record a payment."""
    entry = await call.desk.in_book(lambda book: book.get(call.path["which"]))
    return await _moved(call, QuoteBook.record_payment, amount=read_amount(call.body.amount, entry.terms.currency))


async def _moved(call: Call[object, Nothing], move: Callable[..., Entry], **more: object) -> Answer:
    """What befell a quotation, answered."""
    version, key = await _version_meant(call), call.request_key()
    told = {"at": call.desk.now(), "by": call.credential.by, "version": version, "key": key, **more}
    return changed(await call.desk.in_book(lambda book: move(book, call.path["which"], **told)))


async def _priced(call: Call[JobAsked, Nothing], move: Callable[..., Entry], operation: str, **more: object) -> Entry:
    """
    What became of a job that was priced for it; nothing is priced where the same request was answered before.

    Raises:
        KeyUsedError: its key came with another request.
    """
    key, body = call.request_key(), call.body
    before = await call.desk.in_book(lambda book: book.answered_before(operation, key))
    if before is not None:
        return before
    estimate = await call.desk.estimate(body.job, call.card, pins=body.pins)
    told = {"at": call.desk.now(), "by": call.credential.by, "pins": body.pins, "locale": body.locale, "key": key}
    if call.tag is not None:
        told["version"] = await _version_meant(call)
    return await call.desk.in_book(lambda book: move(book, estimate=estimate, card=call.card, **told, **more))


async def _version_meant(call: Call[object, Nothing]) -> int | None:
    """The version of this very quotation that If-Match names; None where it was not sent."""
    tag = call.tag
    if tag is None:
        return None
    entry = await call.desk.in_book(lambda book: book.get(call.path["which"]))
    return tag.version_of(entry.id)


ROUTES = (draft, draft_again, issue, create, list_quotations, get, revise, accept, decline, withdraw, pay)
