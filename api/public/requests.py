"""A request that is kept: answered by a quotation at once, left to the shop, or an enquiry that has no price yet."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import msgspec
from msgspec import Struct

from api.calls import Answer, Call, Nothing
from api.keys import Role
from api.media_types import JSON
from api.operations import Answers, operation
from api.problems import ProblemError
from api.public.allowances import REQUESTS, spend, spend_by_email
from api.public.artwork import artwork_of, take_up
from api.public.prices import EXAMPLE, told_of_choice
from api.public.quotations import kind_of
from api.public.types import RequestAnswer, told
from quoting import Fault, InputError
from quoting.book import Entry, QuoteBook
from quoting.documents.fonts import faces_for
from quoting.errors import NotPricedError, UnfitTextError
from quoting.offers import Choice, check_choice, issued_at_once, offer_by_key, quote_choice, unpriced

FROM_PAGES: tuple[Role, ...] = ("form", "owner")


class RequestAsked(Struct, frozen=True, forbid_unknown_fields=True):
    """A choice that a visitor sends, with who they are."""

    choice: Choice


@operation(
    method="POST",
    path="/v1/public/requests",
    id="send-request",
    summary="Send a choice: it becomes a quotation at once, a request that waits for the shop, or an enquiry.",
    face="public",
    may=FROM_PAGES,
    body=RequestAsked,
    example={
        "choice": EXAMPLE["choice"] | {"contact": {"name": "Wilmot Dace", "email": "wilmot@lantern-and-eel.example"}}
    },
    answers=(Answers(status=201, what="What became of it.", content={JSON: RequestAnswer}, headers=("Location",)),),
    problems=("not-offered", "unfit-text", "quota-exceeded", "not-set-up"),
    once=True,
)
async def send_request(call: Call[RequestAsked, Nothing]) -> Answer:
    """Keep a request."""
    with told_of_choice():
        kept = await keep(call, call.body.choice)
    link = f"{call.desk.settings.base_url}/v1/public/quotations/{kept.token}"
    made = {
        "kind": kind_of(kept.entry),
        "number": kept.entry.number,
        "link": link,
        "valid_until": kept.entry.days.valid_until if kept.entry.days else None,
    }
    return told(RequestAnswer, made, status=201, headers={**kept.headers, "Location": link})


class Kept(Struct, frozen=True, kw_only=True):
    """A request that is kept, and what opens its private link."""

    entry: Entry
    token: str
    headers: dict[str, str] = {}


async def keep(call: Call[Any, Any], choice: Choice) -> Kept:
    """
    Keep a choice that somebody sent, once: the second time under the same key it is the first one again.

    Raises:
        InputError: with every fault of the choice.
        ProblemError: too many were sent, or the server has no secret.
        StorageError: it cannot be kept now.
    """
    card = call.card
    _check(choice)
    offer, on = offer_by_key(choice.product, card), call.desk.today(card)
    if not call.desk.settings.secret:
        raise ProblemError("not-set-up")  # nothing makes a private link
    before = await call.desk.in_book(lambda book: book.answered_before("ask", call.request_key()))
    artwork = await artwork_of(call, choice)
    if before is not None:
        await take_up(call, before, artwork)
        return await _kept(call, before)
    check_choice(choice, offer, card, on=on, artwork=artwork)
    left = await spend(call, REQUESTS)
    await spend_by_email(call, choice.contact.email if choice.contact else "")
    try:
        estimate = await call.desk.engine(lambda: quote_choice(choice, card, on=on, artwork=artwork))
    except NotPricedError:
        estimate = unpriced(choice, card, on=on, artwork=artwork)
    at_once = issued_at_once(choice, offer, artwork)

    def ask(book: QuoteBook) -> Entry:
        now, by = call.desk.now(), call.credential.by
        return book.ask(estimate, card, offer=offer.name, held=not at_once, at=now, by=by, key=call.request_key())

    entry = await call.desk.in_book(ask)
    await take_up(call, entry, artwork)
    return await _kept(call, entry, left)


async def _kept(call: Call[Any, Any], entry: Entry, headers: dict[str, str] | None = None) -> Kept:
    token = await call.desk.in_book(lambda book: book.link_token(entry))
    return Kept(entry=entry, token=token, headers=headers or {})


def _check(choice: Choice) -> None:
    """
    Hold that it says who asks, and nothing that a document cannot show.

    Raises:
        InputError: with every place.
    """
    faults = list(_unfit(msgspec.to_builtins(choice, enc_hook=str), "$"))
    if choice.contact is None:
        faults.append(Fault("$.contact", "who asks: a name and an e-mail address", "nothing"))
    if faults:
        raise InputError(faults)


def _unfit(told: Any, where: str) -> Iterator[Fault]:
    """Every text that no document can show."""
    if isinstance(told, dict):
        for key, one in told.items():
            yield from _unfit(one, f"{where}.{key}")
    elif isinstance(told, list | tuple):
        for place, one in enumerate(told):
            yield from _unfit(one, f"{where}[{place}]")
    elif isinstance(told, str):
        try:
            faces_for(told)
        except UnfitTextError as error:
            expected, _, found = str(error).removeprefix("expected ").partition("; found ")
            yield Fault(where, expected, found)


ROUTES = (send_request,)
