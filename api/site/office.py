"""
The owner's pages: price a job, compare, see requests and quotations, revise, issue, print.

Every page but the one to sign in at is made by ``office``, which lets nobody pass who is not signed in, nobody
change anything whose key only reads, and no form in that is not of our own page.
"""

from __future__ import annotations

import base64
import datetime
import hmac
from collections.abc import Awaitable, Callable
from typing import Any

from litestar.handlers import HTTPRouteHandler
from msgspec import Struct
from msgspec.structs import replace

from api.calls import Answer, Call, Nothing
from api.documents import rendered
from api.keys import ANYBODY, READERS, credential_of
from api.media_types import ARTWORK, FORM, HTML, PDF
from api.operations import Answers, operation
from api.owner.artwork import download
from api.owner.kept import kept, listed
from api.owner.papers import document_of, made_from
from api.problems import ProblemError
from api.public.allowances import LOOKS, spend
from api.reading import Form
from api.site.fields import Fields
from api.site.form import FILES
from api.site.form_token import is_ours, new_token
from api.site.job_text import job_text
from api.site.order import PAGE_POLICY
from api.site.render import page
from api.site.sessions import Session, demo_session, ended_cookie, new_cookie, session_of
from quoting import Estimate, Job, QuotingError, estimate_job, read_job
from quoting.book import Entry, QuoteBook, State, Wanted
from quoting.compare import compare_job
from quoting.docket import docket_for
from quoting.documents.formats import Formats
from quoting.documents.names import content_disposition
from quoting.errors import BookError, Fault, InputError, JobError, StorageError
from quoting.money import read_amount
from quoting.reader import from_json, toml_data

OFFICE, ONE = "/office", "/office/quotes/{which}"
STATES: tuple[State, ...] = ("draft", "open", "accepted", "declined", "withdrawn", "lapsed")
SAMPLE = """format = 1
title = "Calling cards"
quantities = [100, 250]
client = { name = "Name of the client" }

[[items]]
name = "Calling card"
size = "90 x 55 mm"
stock = "STOCK"

[items.front]
impression = "visible"

[[items.front.colours]]
ink = "INK"
form = { kind = "plate", size = "60 x 30 mm", share_inked = "8 %", supplier = "SUPPLIER" }
"""
_HTML = {HTML: None}
_SHOWN = {"Content-Security-Policy": PAGE_POLICY}
Work = Callable[[Call[Any, Any], Session], Awaitable[Answer]]


class ListAsked(Struct, frozen=True, forbid_unknown_fields=True):
    """Which quotations a page lists."""

    text: str = ""
    state: str = ""
    cursor: str = ""


class DocketAsked(Struct, frozen=True, forbid_unknown_fields=True):
    """The option that is made."""

    quantity: int | None = None


def office(*, writes: bool = False, **told: Any) -> Callable[[Work], HTTPRouteHandler]:
    """An operation of the owner's pages, for who is signed in."""

    def made(work: Work) -> HTTPRouteHandler:
        async def guarded(call: Call[Any, Any]) -> Answer:
            session = await _signed_in(call)
            if session is None:
                return Answer(status=303, media_type=HTML, headers={"Location": f"{OFFICE}/sign-in"})
            if writes:
                _check_writes(session)
            if told["method"] == "POST":
                _check_form(call, session)
            return await work(call, session)

        body = {"body": Form, "takes": (FORM,)} if told["method"] == "POST" else {}
        answers = told.pop("answers", (Answers(what="The page.", content=_HTML),))
        return operation(
            face="site", may=ANYBODY, answers=(*answers, Answers(status=303, what="Sign in first.")), **body, **told
        )(guarded)

    return made


async def _signed_in(call: Call[Any, Any]) -> Session | None:
    """Who is signed in, and what their key may do now: a key that has ended opens nothing any more."""
    settings, now = call.desk.settings, call.desk.now()
    if settings.demo:
        return demo_session(settings.secret)
    session = session_of(call.cookies, _secret(call), now)
    if session is None:
        return None
    keys = await call.desk.in_book(lambda book: book.keys.list())
    key = next((one for one in keys if one.id == session.key_id and one.is_good(now)), None)
    credential = credential_of(key) if key else None
    if credential is None or credential.role not in READERS:
        return None
    return replace(session, may_write=credential.role == "owner")


def _check_writes(session: Session) -> None:
    """
    Hold that a session may change anything.

    Raises:
        ProblemError: its key only reads.
    """
    if not session.may_write:
        raise ProblemError("forbidden")


def _secret(call: Call[Any, Any]) -> str:
    if not call.desk.settings.secret:
        raise ProblemError("not-set-up")  # nothing signs a session
    return call.desk.settings.secret


def _check_form(call: Call[Form, Any], session: Session) -> None:
    if not hmac.compare_digest(_one(call.body.fields, "csrf").encode(), session.csrf.encode()):
        raise ProblemError("forbidden")


# Signing in


@operation(
    method="GET",
    path=f"{OFFICE}/sign-in",
    id="show-sign-in",
    summary="Where the owner signs in, a page.",
    face="site",
    may=ANYBODY,
    answers=(Answers(what="The page.", content=_HTML),),
    problems=("quota-exceeded",),
)
async def show_sign_in(call: Call[Nothing, Nothing]) -> Answer:
    """The page to sign in at."""
    await spend(call, LOOKS)
    return _sign_in_page(call)


@operation(
    method="POST",
    path=f"{OFFICE}/sign-in",
    id="sign-in",
    summary="Sign in with a key of the owner's; a session begins.",
    face="site",
    may=ANYBODY,
    body=Form,
    takes=(FORM,),
    answers=(
        Answers(status=303, what="Signed in."),
        Answers(what="The page again: that key opens nothing.", content=_HTML),
    ),
    problems=("quota-exceeded",),
)
async def sign_in(call: Call[Form, Nothing]) -> Answer:
    """Begin a session."""
    await spend(call, LOOKS)
    try:
        credential = await call.desk.credential(f"Bearer {_one(call.body.fields, 'key')}")
    except ProblemError:
        return _sign_in_page(call, "That key opens nothing here.")
    if credential.role not in READERS:
        return _sign_in_page(call, "That key opens nothing here.")
    cookie = new_cookie(_secret(call), credential.id, call.desk.now(), is_secure=_is_secure(call))
    return Answer(status=303, media_type=HTML, headers={"Location": OFFICE, "Set-Cookie": cookie})


@office(method="POST", path=f"{OFFICE}/sign-out", id="sign-out", summary="End the session.")
async def sign_out(call: Call[Form, Nothing], _: Session) -> Answer:
    """End the session."""
    cookie = ended_cookie(is_secure=_is_secure(call))
    return Answer(status=303, media_type=HTML, headers={"Location": f"{OFFICE}/sign-in", "Set-Cookie": cookie})


def _sign_in_page(call: Call[Any, Any], wrong: str = "") -> Answer:
    region = call.card.region
    body = page(
        "office_sign_in.html",
        region.locale,
        region.currency,
        files=FILES,
        shop=call.card.letterhead.name,
        wrong=wrong,
    )
    return Answer(content=body, media_type=HTML, headers=_SHOWN)


def _is_secure(call: Call[Any, Any]) -> bool:
    return call.desk.settings.base_url.startswith("https:")


# Lists


@office(
    method="GET",
    path=OFFICE,
    id="show-quotations",
    summary="The quotations of the book, a page.",
    query=ListAsked,
    problems=("invalid-cursor",),
)
async def show_quotations(call: Call[Nothing, ListAsked], session: Session) -> Answer:
    """Quotations, newest first."""
    asked = call.query
    state = next((one for one in STATES if one == asked.state), None)
    wanted = Wanted(state=state, text=asked.text[:200])
    found = await call.desk.in_book(lambda book: book.list(wanted, at=call.desk.now(), most=50, cursor=asked.cursor))
    rows = [listed(one) for one in found.quotations]
    return await _page(
        call,
        "office_list.html",
        session,
        at="list",
        heading="Quotations",
        asked=asked,
        found=rows,
        cursor=found.cursor,
    )


@office(method="GET", path=f"{OFFICE}/requests", id="show-requests", summary="What waits for the owner, a page.")
async def show_requests(call: Call[Nothing, Nothing], session: Session) -> Answer:
    """Requests that wait for a price or for the owner's look."""
    found = await call.desk.in_book(
        lambda book: book.list(Wanted(state="draft"), at=call.desk.now(), most=200, cursor="")
    )
    waiting = [listed(one) for one in found.quotations]
    return await _page(
        call, "office_list.html", session, at="requests", heading="Requests and drafts", found=waiting, cursor=""
    )


# Pricing


@office(method="GET", path=f"{OFFICE}/price", id="show-pricing", summary="Price a job, a page.")
async def show_pricing(call: Call[Nothing, Nothing], session: Session) -> Answer:
    """The page to price at, with a job to begin from."""
    card = call.card
    sample = SAMPLE.replace("STOCK", next(iter(card.stocks))).replace("INK", next(iter(card.inks), ""))
    text = sample.replace("SUPPLIER", next(iter(card.plate_suppliers), ""))
    return await _pricing(call, session, text)


@office(
    method="POST",
    path=f"{OFFICE}/price",
    id="price-on-page",
    summary="Price a job, compare it, keep it as a draft or issue it.",
)
async def price_on_page(call: Call[Form, Nothing], session: Session) -> Answer:
    """Price; or compare, keep, issue."""
    fields = call.body.fields
    text, do = _one(fields, "job"), _one(fields, "do")
    quantities, sizes = _one(fields, "quantities"), _one(fields, "sizes")
    try:
        job = read_job(toml_data(text))
        estimate = await call.desk.estimate(job, call.card)
        if do in {"draft", "issue"}:
            _check_writes(session)
            entry = await _kept(call, fields, estimate, do)
            return _to(entry)
        plots = await _plots(call, job, quantities, sizes) if do == "compare" else []
    except QuotingError as error:
        return await _pricing(call, session, text, wrong=_told(error), quantities=quantities, sizes=sizes)
    return await _pricing(call, session, text, estimate=estimate, plots=plots, quantities=quantities, sizes=sizes)


async def _kept(call: Call[Form, Nothing], fields: Fields, estimate: Estimate, do: str) -> Entry:
    _use_token(call, fields)
    asked = call.request_key(do)
    now, by, card = call.desk.now(), "owner", call.card

    def work(book: QuoteBook) -> Entry:
        keep = book.draft_and_issue if do == "issue" else book.draft
        return keep(estimate, card, at=now, by=by, key=asked)

    return await call.desk.in_book(work)


async def _plots(call: Call[Any, Any], job: Job, quantities: str, sizes: str) -> list[tuple[str, str, str]]:
    """Plots of a comparison: name, what it shows in words, and itself in base64."""
    wanted = [_whole(one) for one in quantities.replace(";", ",").split(",") if one.strip()]
    listed_sizes = [one.strip() for one in sizes.replace(";", ",").split(",") if one.strip()]
    on = call.desk.today(call.card)

    def work() -> list[tuple[str, str, str]]:
        from quoting.plots import plots_of

        comparison = compare_job(job, call.card, on=on, quantities=wanted, sizes=listed_sizes)
        return [
            (name, f"Plot: {name.replace('-', ' ')}", base64.b64encode(drawn.encode()).decode())
            for name, drawn in plots_of(comparison).items()
        ]

    return await call.desk.question(work)


async def _pricing(
    call: Call[Any, Any],
    session: Session,
    text: str,
    *,
    wrong: tuple[str, ...] = (),
    estimate: Estimate | None = None,
    plots: Any = (),
    quantities: str = "",
    sizes: str = "",
) -> Answer:
    told = {"text": text, "estimate": estimate, "plots": plots, "quantities": quantities, "sizes": sizes}
    return await _page(call, "office_price.html", session, at="price", wrong=wrong, accepted=None, **told)


# One quotation


@office(
    method="GET", path=ONE, id="show-quotation", summary="A quotation of the book, a page.", problems=("not-found",)
)
async def show_quotation(call: Call[Nothing, Nothing], session: Session) -> Answer:
    """How one stands, what it costs and brings, and what may be done with it."""
    return await _quotation(call, session)


@office(
    method="POST",
    path=ONE + "/{move}",
    id="move-on-page",
    summary="Issue, revise, accept, decline, withdraw a quotation, or record money that came.",
    writes=True,
    problems=("not-found",),
)
async def move_on_page(call: Call[Form, Nothing], session: Session) -> Answer:
    """Do one thing with it; where it cannot be done, the page says why."""
    move = MOVES.get(call.path["move"])
    if move is None:
        raise ProblemError("not-found")
    fields = call.body.fields
    _use_token(call, fields)
    try:
        entry = await move(call, fields)
    except (BookError, InputError, QuotingError) as error:
        if isinstance(error, StorageError):
            raise
        return await _quotation(call, session, wrong=_told(error), text=_one(fields, "job"))
    return _to(entry)


Move = Callable[[Call[Form, Nothing], Fields], Awaitable[Entry]]


async def _issue(call: Call[Form, Nothing], fields: Fields) -> Entry:
    told = _common(call, fields)
    return await call.desk.in_book(lambda book: book.issue(call.path["which"], **told))


async def _accept(call: Call[Form, Nothing], fields: Fields) -> Entry:
    told = _common(call, fields) | {"quantity": _whole(_one(fields, "quantity")), "who": _one(fields, "who")[:200]}
    return await call.desk.in_book(lambda book: book.accept(call.path["which"], **told))


async def _decline(call: Call[Form, Nothing], fields: Fields) -> Entry:
    told = _common(call, fields) | {"note": _one(fields, "note")[:2000]}
    return await call.desk.in_book(lambda book: book.decline(call.path["which"], **told))


async def _withdraw(call: Call[Form, Nothing], fields: Fields) -> Entry:
    told = _common(call, fields) | {"note": _one(fields, "note")[:2000]}
    return await call.desk.in_book(lambda book: book.withdraw(call.path["which"], **told))


async def _pay(call: Call[Form, Nothing], fields: Fields) -> Entry:
    told, which = _common(call, fields), call.path["which"]

    def work(book: QuoteBook) -> Entry:
        amount = read_amount(_one(fields, "amount"), book.get(which).terms.currency)
        return book.record_payment(which, amount, **told)

    return await call.desk.in_book(work)


async def _revise(call: Call[Form, Nothing], fields: Fields) -> Entry:
    job = read_job(toml_data(_one(fields, "job")))
    estimate = await call.desk.estimate(job, call.card)
    told, which, card = _common(call, fields), call.path["which"], call.card

    def work(book: QuoteBook) -> Entry:
        again = book.revise if book.get(which).revision else book.draft_again
        return again(which, estimate, card, **told)

    return await call.desk.in_book(work)


MOVES: dict[str, Move] = {
    "issue": _issue,
    "accept": _accept,
    "decline": _decline,
    "withdraw": _withdraw,
    "pay": _pay,
    "revise": _revise,
}


@office(
    method="GET",
    path=ONE + "/quotation.pdf",
    id="get-quotation-pdf",
    summary="The quotation as it is sent.",
    answers=(Answers(what="The document.", content={PDF: None}),),
    problems=("not-found", "document-unavailable", "unfit-text"),
)
async def get_quotation_pdf(call: Call[Nothing, Nothing], _: Session) -> Answer:
    """Print the quotation."""
    entry = await call.desk.in_book(lambda book: book.get(call.path["which"]))
    return await document_of(call, entry, entry.revision)


@office(
    method="GET",
    path=ONE + "/docket.pdf",
    id="get-docket-pdf",
    summary="The docket for the bench.",
    query=DocketAsked,
    answers=(Answers(what="The document.", content={PDF: None}),),
    problems=("not-found", "document-unavailable", "unfit-text", "not-quotable", "invalid-job"),
)
async def get_docket_pdf(call: Call[Nothing, DocketAsked], _: Session) -> Answer:
    """Print the docket."""
    from quoting.documents.docket import docket_page

    entry, job, pins, card = await call.desk.in_book(lambda book: made_from(book, call.path["which"]))
    taken = None if entry.accepted is None else entry.terms.options[entry.accepted].quantity
    docket = await call.desk.engine(
        lambda: docket_for(
            estimate_job(job, card, on=entry.terms.priced_on, pins=pins),
            card,
            quantity=call.query.quantity or taken,
            number=entry.number,
        )
    )
    headers = {"Content-Disposition": content_disposition(f"docket {entry.named}", "pdf")}
    return Answer(content=await rendered(call.desk, docket_page(docket)), media_type=PDF, headers=headers)


@office(
    method="GET",
    path=ONE + "/artwork/{hash}",
    id="get-artwork-of-office",
    summary="A file of artwork as it came, as a download.",
    answers=(Answers(what="The file.", content=dict.fromkeys(ARTWORK)),),
    problems=("not-found",),
)
async def get_artwork_of_office(call: Call[Nothing, Nothing], _: Session) -> Answer:
    """Hand a file out."""
    return await download(call)


async def _quotation(
    call: Call[Any, Any], session: Session, *, wrong: tuple[str, ...] = (), text: str = ""
) -> Answer:
    which, now = call.path["which"], call.desk.now()

    def work(book: QuoteBook) -> tuple[Any, ...]:
        entry = book.get(which)
        history, deliveries, files = book.history(which), book.outbox.of(entry.id), book.artwork.kept(entry.id)
        if entry.erased:
            return entry, history, deliveries, files, None
        return entry, history, deliveries, files, from_json(book.paper(which, "estimate").content, Estimate)

    entry, history, deliveries, files, estimate = await call.desk.in_book(work)
    told = kept(entry, now)
    return await _page(
        call,
        "office_quote.html",
        session,
        at="",
        wrong=wrong,
        kept=told,
        estimate=estimate,
        accepted=told.accepted,
        text=text or (job_text(estimate.job) if estimate else ""),
        history=history,
        deliveries=deliveries,
        artwork=files,
        currency=entry.terms.currency,
    )


async def _page(call: Call[Any, Any], name: str, session: Session, *, currency: str = "", **told: Any) -> Answer:
    region = call.card.region
    formats = Formats(region.locale, currency or region.currency)
    waiting = await call.desk.in_book(lambda book: _waiting(book, call.desk.now()))
    given = {"wrong": (), "asked": ListAsked(), "states": STATES} | told

    def earned(option: Any) -> str:
        hours = option.hours
        return formats.rounded_money(hours.earned_a_press_hour) if hours.earned_a_press_hour is not None else "—"

    body = page(
        name,
        region.locale,
        currency or region.currency,
        files=FILES,
        shop=call.card.letterhead.name,
        session=session,
        token=new_token(call.desk.settings.secret, call.desk.now()),
        can_keep=session.may_write,
        waiting=waiting,
        earned=earned,
        **given,
    )
    return Answer(content=body, media_type=HTML, headers=_SHOWN)


def _waiting(book: QuoteBook, at: datetime.datetime) -> int:
    return len(book.list(Wanted(state="draft"), at=at, most=100, cursor="").quotations)


def _common(call: Call[Form, Nothing], fields: Fields) -> dict[str, Any]:
    """What every move is told: when, by whom, of which version, and under which key."""
    version = _whole(_one(fields, "version"))
    key = call.request_key(call.path["move"])
    return {"at": call.desk.now(), "by": "owner", "version": version, "key": key}


def _use_token(call: Call[Form, Nothing], fields: Fields) -> None:
    """The form's own token stands as its Idempotency-Key: a double click does it once."""
    call.key = _one(fields, "token")
    if not is_ours(call.key, call.desk.settings.secret):
        raise ProblemError("forbidden")


def _to(entry: Entry) -> Answer:
    return Answer(status=303, media_type=HTML, headers={"Location": f"{OFFICE}/quotes/{entry.id}"})


def _told(error: QuotingError) -> tuple[str, ...]:
    if isinstance(error, InputError):
        return ("This does not fit:", *(str(fault) for fault in error.faults))
    first, *more = str(error).splitlines() or ["It could not be done."]
    return (first, *more)


def _one(fields: Fields, name: str) -> str:
    return (fields.get(name) or ("",))[-1].strip()


def _whole(written: str) -> int:
    told = written.strip()
    if not (told.isascii() and told.isdecimal() and len(told) < 10):
        raise JobError([Fault("quantities", "whole numbers", repr(told[:40]))])
    return int(told)


ROUTES = (
    show_sign_in,
    sign_in,
    sign_out,
    show_quotations,
    show_requests,
    show_pricing,
    price_on_page,
    show_quotation,
    get_quotation_pdf,
    get_docket_pdf,
    get_artwork_of_office,
    move_on_page,
)
