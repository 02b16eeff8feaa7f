"""What a private link opens: the quotation as it was issued, to look at, to download, to accept or decline."""

from __future__ import annotations

from typing import Any

from msgspec import Struct

from api.calls import Answer, Call, Nothing
from api.documents import ENDINGS, document
from api.etags import tag_of_content
from api.keys import Role
from api.media_types import JSON, PDF, XML
from api.operations import Answers, operation
from api.problems import STATES, ProblemError
from api.public.allowances import LOOKS, spend
from api.public.types import LinkedQuotation, tagged, told
from quoting import Quotation
from quoting.book import Entry, QuoteBook
from quoting.documents.names import content_disposition
from quoting.errors import StateError
from quoting.offers.choice import LineOrNone, Paragraphs
from quoting.reader import from_json
from quoting.shop import Count

WITH_LINK: tuple[Role, ...] = ("anon", "form", "visitor", "owner", "owner-ro")
LINKED = "/v1/public/quotations/{link}"
_STATES = {"draft": "received", "lapsed": "expired"}
_MOVED = ("quote-draft", "quote-expired", "quote-replaced", "quote-accepted", "quote-declined", "quote-withdrawn")


class Acceptance(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Which option of which revision is taken, and by whom."""

    revision: Count
    quantity: Count
    name: LineOrNone = ""
    note: Paragraphs = ""


class Decline(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Which revision is declined, and why."""

    revision: Count
    name: LineOrNone = ""
    note: Paragraphs = ""


@operation(
    method="GET",
    path=LINKED,
    id="get-linked-quotation",
    summary="The quotation of a private link: its state, and itself as JSON, PDF/A-3 or UBL 2.1 by Accept.",
    face="public",
    may=WITH_LINK,
    answers=(
        Answers(what="The quotation.", content={JSON: LinkedQuotation, PDF: None, XML: None}, headers=("ETag",)),
    ),
    problems=("not-found", "quote-draft", "quote-erased", "document-unavailable", "quota-exceeded"),
    tagged=True,
)
async def get_linked_quotation(call: Call[Nothing, Nothing]) -> Answer:
    """Look at a quotation."""
    left = await spend(call, LOOKS)
    entry, quotation = await call.desk.in_book(lambda book: found(book, call.path["link"]))
    if call.wanted == JSON:
        return tagged(_told(call, entry, quotation, left, now=True))
    if quotation is None:
        raise ProblemError("quote-erased" if entry.erased else "quote-draft", "The shop has not issued it yet.")
    return await linked_document(call, entry, quotation, left)


@operation(
    method="POST",
    path=LINKED + "/acceptance",
    id="accept-linked-quotation",
    summary="Accept one option of the quotation of a private link.",
    face="public",
    may=WITH_LINK,
    body=Acceptance,
    example={"revision": 1, "quantity": 100, "name": "Wilmot Dace"},
    answers=(Answers(what="The quotation, accepted.", content={JSON: LinkedQuotation}),),
    problems=("not-found", *_MOVED, "quota-exceeded"),
    once=True,
)
async def accept_linked_quotation(call: Call[Acceptance, Nothing]) -> Answer:
    """Accept one option."""
    asked = call.body
    return await _moved(
        call,
        lambda book, entry: book.accept(
            entry.id,
            at=call.desk.now(),
            by="visitor",
            quantity=asked.quantity,
            who=asked.name,
            note=asked.note,
            revision=asked.revision,
            key=call.request_key(entry.id),
        ),
    )


@operation(
    method="POST",
    path=LINKED + "/decline",
    id="decline-linked-quotation",
    summary="Decline the quotation of a private link.",
    face="public",
    may=WITH_LINK,
    body=Decline,
    example={"revision": 1, "note": "We have all the coasters we need."},
    answers=(Answers(what="The quotation, declined.", content={JSON: LinkedQuotation}),),
    problems=("not-found", *_MOVED, "quota-exceeded"),
    once=True,
)
async def decline_linked_quotation(call: Call[Decline, Nothing]) -> Answer:
    """Decline a quotation."""
    asked = call.body
    return await _moved(
        call,
        lambda book, entry: book.decline(
            entry.id,
            at=call.desk.now(),
            by="visitor",
            who=asked.name,
            note=asked.note,
            revision=asked.revision,
            key=call.request_key(entry.id),
        ),
    )


async def _moved(call: Call[Any, Nothing], move: Any) -> Answer:
    left = await spend(call, LOOKS)

    def work(book: QuoteBook) -> tuple[Entry, Quotation | None]:
        entry = move(book, book.by_link(call.path["link"]))
        return entry, _quotation(book, entry)

    try:
        entry, quotation = await call.desk.in_book(work)
    except StateError as error:  # its words name the quotation as the shop does
        raise ProblemError(STATES.get(error.state, "conflict"), state=error.state) from error
    return _told(call, entry, quotation, left, now=False)


def found(book: QuoteBook, link: str) -> tuple[Entry, Quotation | None]:
    entry = book.by_link(link)
    return entry, _quotation(book, entry)


def _quotation(book: QuoteBook, entry: Entry) -> Quotation | None:
    """The newest revision as it was issued; nothing of a draft, or of what is erased."""
    if not entry.revision or entry.erased:
        return None
    return from_json(book.paper(entry.id, "quotation", revision=entry.revision).content, Quotation)


def _told(
    call: Call[Any, Any], entry: Entry, quotation: Quotation | None, headers: dict[str, str], *, now: bool
) -> Answer:
    """
    Args:
        now: Whether its state is that of this moment; else the one recorded, which a repeated request is told too.
    """
    state = entry.state_at(call.desk.now()) if now else entry.state
    accepted = None if entry.accepted is None else entry.terms.options[entry.accepted].quantity
    made = {
        "kind": kind_of(entry),
        "state": said_state(entry, state),
        "revision": entry.revision,
        "accepted": accepted,
        "quotation": quotation,
    }
    return told(LinkedQuotation, made, headers=headers)


def said_state(entry: Entry, state: str) -> str:
    """A state as visitors are told it."""
    return "erased" if entry.erased else _STATES.get(state, state)


def kind_of(entry: Entry) -> str:
    """What a visitor's request became."""
    if entry.revision:
        return "quotation"
    return "enquiry" if entry.is_enquiry else "request"


async def linked_document(
    call: Call[Nothing, Nothing], entry: Entry, quotation: Quotation, headers: dict[str, str]
) -> Answer:
    """The document as it was sent, or, before it was, as it would be."""
    ending = ENDINGS[call.wanted]
    if f"{entry.revision}/{ending}" in entry.commitments:
        paper = await call.desk.in_book(lambda book: book.paper(entry.id, ending, revision=entry.revision))
        content = paper.content
    else:
        content = await document(call.desk, quotation, call.wanted)
    named = content_disposition(f"quotation {quotation.number} {quotation.title}", ending)
    more = {"Content-Disposition": named, "ETag": tag_of_content(content)}
    return Answer(content=content, media_type=call.wanted, headers={**headers, **more})


ROUTES = (get_linked_quotation, accept_linked_quotation, decline_linked_quotation)
