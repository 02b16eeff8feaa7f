"""The history of the book, what somebody outside is told of it, and the proof that nobody changed it."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

from api.calls import Answer, Call, Nothing, in_json
from api.keys import OWNER, READERS
from api.media_types import JSON
from api.operations import Answers, operation
from api.paging import Cursor, Limit, cursor_after, next_link, read_cursor
from quoting.book import Anchor, Report
from quoting.book.chain import Event
from quoting.book.outbox import Delivery
from quoting.book.repricing import ENGINES

EVENTS = "/v1/book/events"
DELIVERIES = "/v1/book/deliveries"


class PageAsked(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Which page."""

    limit: Limit = 50
    cursor: Cursor = ""


class Events(Struct, frozen=True, kw_only=True):
    """
    Events, oldest first; each is chained to the one before by its hash.

    ``body`` is the JSON that is hashed. ``cursor`` asks for what comes after, and is empty where nothing does yet.
    """

    events: tuple[Event, ...]
    cursor: str


class Undeliverable(Struct, frozen=True, kw_only=True):
    """What nobody could be told; ``cursor`` asks for the next page and is empty after the last."""

    deliveries: tuple[Delivery, ...]
    cursor: str


class Deliveries(Struct, frozen=True, kw_only=True):
    """What a quotation's changes came to, channel by channel."""

    deliveries: tuple[Delivery, ...]


class RetryAsked(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Which change; everything that was given up where none is named."""

    position: Annotated[int, Meta(ge=1, le=2**53)] | None = None


class Retried(Struct, frozen=True, kw_only=True):
    """How many deliveries are tried again."""

    deliveries: int


class AnchorAsked(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """An event written down earlier."""

    position: Annotated[int, Meta(ge=1, le=2**53)]
    hash: Annotated[str, Meta(pattern=r"^[0-9a-f]{64}\Z")]


class VerificationAsked(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Whether every price is worked out again too, and an event that must still stand."""

    prices: bool = True
    anchor: AnchorAsked | None = None


@operation(
    method="GET",
    path=EVENTS,
    id="list-events",
    summary="The history of the whole book, oldest first.",
    face="owner",
    may=READERS,
    query=PageAsked,
    answers=(Answers(what="A page of it.", content={JSON: Events}, headers=("Link",)),),
    problems=("invalid-cursor",),
)
async def list_events(call: Call[Nothing, PageAsked]) -> Answer:
    """List events."""
    most, after = call.query.limit, int(read_cursor("events", call.query.cursor) or 0)
    found = await call.desk.in_book(lambda book: book.events(after=after, most=most + 1))
    page = found[:most]
    cursor = cursor_after("events", str(page[-1].position)) if len(found) > most else ""
    link = next_link(call.desk.settings.base_url, EVENTS, {"limit": most}, cursor)
    return in_json(Events(events=page, cursor=cursor), Link=link)


@operation(
    method="GET",
    path="/v1/book/quotations/{which}/history",
    id="history",
    summary="Everything that befell a quotation.",
    face="owner",
    may=READERS,
    answers=(Answers(what="Its events.", content={JSON: Events}),),
    problems=("not-found",),
)
async def history(call: Call[Nothing, Nothing]) -> Answer:
    """Tell a quotation's history."""
    return in_json(Events(events=await call.desk.in_book(lambda book: book.history(call.path["which"])), cursor=""))


@operation(
    method="GET",
    path="/v1/book/quotations/{which}/deliveries",
    id="deliveries",
    summary="What became of telling somebody of a quotation's changes.",
    face="owner",
    may=READERS,
    answers=(Answers(what="Its deliveries.", content={JSON: Deliveries}),),
    problems=("not-found",),
)
async def deliveries(call: Call[Nothing, Nothing]) -> Answer:
    """Tell a quotation's deliveries."""
    found = await call.desk.in_book(lambda book: book.outbox.of(book.get(call.path["which"]).id))
    return in_json(Deliveries(deliveries=found))


class UndeliverableAsked(PageAsked, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Which page of what was given up."""

    state: Literal["undeliverable"] = "undeliverable"


@operation(
    method="GET",
    path=DELIVERIES,
    id="undeliverable",
    summary="Changes that somebody should have been told of and could not.",
    face="owner",
    may=READERS,
    query=UndeliverableAsked,
    answers=(Answers(what="A page of them.", content={JSON: Undeliverable}, headers=("Link",)),),
    problems=("invalid-cursor",),
)
async def undeliverable(call: Call[Nothing, UndeliverableAsked]) -> Answer:
    """List what was given up."""
    most, after = call.query.limit, int(read_cursor("deliveries", call.query.cursor) or 0)
    found = await call.desk.in_book(lambda book: book.outbox.undeliverable(after=after, most=most))
    # A change goes to several channels: a page ends where a change does.
    cursor = cursor_after("deliveries", str(found[-1].told.position)) if len(found) == most else ""
    link = next_link(call.desk.settings.base_url, DELIVERIES, {"limit": most}, cursor)
    return in_json(Undeliverable(deliveries=found, cursor=cursor), Link=link)


@operation(
    method="POST",
    path=DELIVERIES + "/retry",
    id="retry-deliveries",
    summary="Try again to tell what was given up: of one change, or of all.",
    face="owner",
    may=OWNER,
    body=RetryAsked,
    example={},
    answers=(Answers(what="How many are tried again.", content={JSON: Retried}),),
)
async def retry(call: Call[RetryAsked, Nothing]) -> Answer:
    """Try again."""
    position = call.body.position
    count = await call.desk.in_book(lambda book: book.outbox.try_again(at=call.desk.now(), position=position))
    return in_json(Retried(deliveries=count))


@operation(
    method="POST",
    path="/v1/book/verifications",
    id="verify",
    summary="Hold every row of the book against its history, and every price against the engine of its rules.",
    face="owner",
    may=READERS,
    body=VerificationAsked,
    example={"prices": False},
    answers=(Answers(what="What was found.", content={JSON: Report}),),
)
async def verify(call: Call[VerificationAsked, Nothing]) -> Answer:
    """Verify the book."""
    body = call.body
    anchor = Anchor(body.anchor.position, body.anchor.hash) if body.anchor else None
    report = await call.desk.question(
        lambda: call.desk.book.verify(engines=ENGINES if body.prices else {}, anchor=anchor)
    )
    return in_json(report)


ROUTES = (list_events, history, deliveries, undeliverable, retry, verify)
