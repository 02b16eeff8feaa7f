"""The private page of a quotation: who has its link looks at it, downloads it, accepts or declines it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from api.calls import Answer, Call, Nothing
from api.keys import ANYBODY
from api.media_types import FORM, HTML, PDF
from api.operations import Answers, operation
from api.problems import ProblemError
from api.public.allowances import LOOKS, spend
from api.public.quotations import found, linked_document, said_state
from api.reading import Form
from api.site.fields import Fields
from api.site.form import FILES
from api.site.form_token import is_ours, new_token
from api.site.order import PAGE_POLICY
from api.site.render import locale_for, page
from api.site.words import STATES as SAID
from quoting import Quotation
from quoting.book import Entry, QuoteBook
from quoting.errors import InputError, StaleVersionError, StateError
from quoting.languages import language

LOOK = "/look/{link}"


@operation(
    method="GET",
    path=LOOK,
    id="show-linked-quotation",
    summary="The quotation of a private link, a page.",
    face="site",
    may=ANYBODY,
    answers=(Answers(what="The page.", content={HTML: None}),),
    problems=("not-found", "quota-exceeded"),
)
async def show_linked_quotation(call: Call[Nothing, Nothing]) -> Answer:
    """Look at a quotation."""
    left = await spend(call, LOOKS)
    entry, quotation = await call.desk.in_book(lambda book: found(book, call.path["link"]))
    return _page(call, entry, quotation, left)


@operation(
    method="GET",
    path=LOOK + "/quotation.pdf",
    id="get-linked-pdf",
    summary="The quotation of a private link, as it was issued.",
    face="site",
    may=ANYBODY,
    answers=(Answers(what="The document.", content={PDF: None}),),
    problems=("not-found", "quote-draft", "document-unavailable", "quota-exceeded"),
)
async def get_linked_pdf(call: Call[Nothing, Nothing]) -> Answer:
    """Download a quotation."""
    left = await spend(call, LOOKS)
    entry, quotation = await call.desk.in_book(lambda book: found(book, call.path["link"]))
    if quotation is None:
        raise ProblemError("quote-erased" if entry.erased else "quote-draft", "The shop has not issued it yet.")
    return await linked_document(call, entry, quotation, left)


@operation(
    method="POST",
    path=LOOK + "/accept",
    id="accept-on-page",
    summary="Accept one option, from the page.",
    face="site",
    may=ANYBODY,
    body=Form,
    takes=(FORM,),
    answers=(Answers(what="The page, with what came of it.", content={HTML: None}),),
    problems=("not-found", "quota-exceeded"),
)
async def accept_on_page(call: Call[Form, Nothing]) -> Answer:
    """Accept one option."""

    def work(book: QuoteBook, entry: Entry, fields: Fields) -> Entry:
        return book.accept(
            entry.id,
            at=call.desk.now(),
            by="visitor",
            quantity=_whole(fields, "quantity"),
            who=_one(fields, "name")[:120],
            note=_one(fields, "note")[:2000],
            revision=_whole(fields, "revision"),
            key=call.request_key(entry.id),
        )

    return await _moved(call, work)


@operation(
    method="POST",
    path=LOOK + "/decline",
    id="decline-on-page",
    summary="Decline the quotation, from the page.",
    face="site",
    may=ANYBODY,
    body=Form,
    takes=(FORM,),
    answers=(Answers(what="The page, with what came of it.", content={HTML: None}),),
    problems=("not-found", "quota-exceeded"),
)
async def decline_on_page(call: Call[Form, Nothing]) -> Answer:
    """Decline it."""

    def work(book: QuoteBook, entry: Entry, fields: Fields) -> Entry:
        return book.decline(
            entry.id,
            at=call.desk.now(),
            by="visitor",
            note=_one(fields, "note")[:2000],
            revision=_whole(fields, "revision"),
            key=call.request_key(entry.id),
        )

    return await _moved(call, work)


Move = Callable[[QuoteBook, Entry, Fields], Entry]


async def _moved(call: Call[Form, Nothing], move: Move) -> Answer:
    """What came of it; where it could not be done, the page says so and how it stands."""
    left = await spend(call, LOOKS)
    fields = call.body.fields
    call.key = _one(fields, "token")
    if not is_ours(call.key, call.desk.settings.secret):
        raise ProblemError("invalid-request", "expected the page's own form; found none of its token")
    wrong = ""

    def work(book: QuoteBook) -> tuple[Entry, Quotation | None]:
        entry, _ = found(book, call.path["link"])
        move(book, entry, fields)
        return found(book, call.path["link"])

    try:
        entry, quotation = await call.desk.in_book(work)
    except (StateError, StaleVersionError, InputError):
        entry, quotation = await call.desk.in_book(lambda book: found(book, call.path["link"]))
        words = language(quotation.locale if quotation else call.card.region.locale)
        wrong = words.say("That could not be done. This is how it stands:")
    return _page(call, entry, quotation, left, wrong=wrong)


def _page(
    call: Call[Any, Nothing], entry: Entry, quotation: Quotation | None, headers: dict[str, str], *, wrong: str = ""
) -> Answer:
    region = call.card.region
    locale = quotation.locale if quotation else locale_for("", call.accept_language, region.locale)
    state = said_state(entry, entry.state_at(call.desk.now()))
    body = page(
        "look.html",
        locale,
        quotation.currency if quotation else region.currency,
        files=FILES,
        shop=quotation.shop.name if quotation else call.card.letterhead.name,
        here=f"/look/{call.path['link']}",
        quotation=quotation,
        state=state,
        said=language(locale).say(SAID[state]),
        revision=entry.revision,
        accepted=None if entry.accepted is None else entry.terms.options[entry.accepted].quantity,
        token=new_token(call.desk.settings.secret, call.desk.now()),
        wrong=wrong,
    )
    return Answer(content=body, media_type=HTML, headers={**headers, "Content-Security-Policy": PAGE_POLICY})


def _one(fields: Fields, name: str) -> str:
    return (fields.get(name) or ("",))[-1].strip()


def _whole(fields: Fields, name: str) -> int | None:
    told = _one(fields, name)
    return int(told) if told.isascii() and told.isdecimal() and len(told) < 10 else None


ROUTES = (show_linked_quotation, get_linked_pdf, accept_on_page, decline_on_page)
