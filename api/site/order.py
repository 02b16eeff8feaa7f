"""
The order form over HTTP: pages that work without scripts, and the parts that its script asks for.

A price keeps nothing. A request is kept once: its form's token is signed, good for a while, and stands as its
Idempotency-Key. What a machine fills gets the same thanks, and nothing is kept of it.
"""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta, Struct

from api.calls import Answer, Call, Nothing
from api.demo import form_key
from api.etags import tag_of_content
from api.keys import ANYBODY
from api.media_types import ARTWORK, CSS, FORM, HTML, SCRIPT
from api.operations import Answers, operation
from api.problems import ProblemError
from api.public.allowances import LOOKS, PRICES, UPLOADS, spend
from api.public.artwork import artwork_of, put_by
from api.public.quotations import kind_of
from api.public.requests import keep
from api.reading import Form
from api.site.fields import HONEYPOT, Fields
from api.site.form import FILES, HOME, Asked, artwork_part, choice_from, faults_of, form_page, price_part
from api.site.form_token import is_human, new_token
from api.site.render import locale_for, page
from api.uploads import Upload
from quoting.errors import ArtworkTooLargeError, JobError, KeyUsedError, NotPricedError, UnfitArtworkError
from quoting.offers import PublicOffer, offer_by_key, prices_of, public_offer, public_offers

# A page of ours may run our script and style, ask us, and send its form to us.
PAGE_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self' data:; "
    "form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
_SHOWN = {"Content-Security-Policy": PAGE_POLICY}
_HTML = {HTML: None}


class Thanks(Struct, frozen=True, kw_only=True):
    """What is said to who sent a form; ``kind`` as in ``RequestAnswer``."""

    kind: str
    number: str = ""
    link: str = ""
    headers: dict[str, str] = {}


class Shown(Struct, frozen=True, forbid_unknown_fields=True):
    """Which product the demo's page shows; the first where it is left out."""

    product: str = ""


class Spoken(Struct, frozen=True, forbid_unknown_fields=True):
    """The language of a page: ``fr-FR`` or ``fr``; the browser's, else the shop's, where it is left out."""

    locale: str = ""


class SpokenOfFile(Spoken, frozen=True, forbid_unknown_fields=True):
    """What a file is called, with the ending of its kind, and the language of its page."""

    name: Annotated[str, Meta(max_length=200)] = ""


@operation(
    method="GET",
    path="/order",
    id="show-offers",
    summary="The shop's offers, a page.",
    face="site",
    may=ANYBODY,
    query=Spoken,
    answers=(Answers(what="The page.", content=_HTML),),
    problems=("quota-exceeded",),
)
async def show_offers(call: Call[Nothing, Spoken]) -> Answer:
    """Every product and its form."""
    left = await spend(call, LOOKS)
    locale = _locale(call, call.query)
    body = page(
        "offers.html",
        locale,
        call.card.region.currency,
        offers=public_offers(call.card),
        shop=call.card.letterhead.name,
        files=FILES,
        home=HOME,
        asked=f"?locale={locale}",
    )
    return Answer(content=body, media_type=HTML, headers={**left, **_SHOWN})


@operation(
    method="GET",
    path="/order/{product}",
    id="show-order-form",
    summary="The order form of one product, a page that works with scripts and without.",
    face="site",
    may=ANYBODY,
    query=Spoken,
    answers=(Answers(what="The page.", content=_HTML),),
    problems=("not-found", "quota-exceeded"),
)
async def show_order_form(call: Call[Nothing, Spoken]) -> Answer:
    """The form as a page."""
    left = await spend(call, LOOKS)
    return _page(call, "order.html", Asked(fields={}), left)


@operation(
    method="GET",
    path="/order/{product}/form",
    id="get-order-form",
    summary="The order form of one product, to be put into a page of the shop's own.",
    face="site",
    may=ANYBODY,
    query=Spoken,
    answers=(Answers(what="The form.", content=_HTML),),
    problems=("not-found", "quota-exceeded"),
)
async def get_order_form(call: Call[Nothing, Spoken]) -> Answer:
    """The form as a part."""
    left = await spend(call, LOOKS)
    return _page(call, "form.html", Asked(fields={}), left)


@operation(
    method="POST",
    path="/order/{product}/price",
    id="price-order-form",
    summary="What stands in the form's price box for what is chosen. Nothing is kept.",
    face="site",
    may=ANYBODY,
    query=Spoken,
    body=Form,
    takes=(FORM,),
    answers=(Answers(what="Prices, or what is missing.", content=_HTML),),
    problems=("not-found", "quota-exceeded"),
)
async def price_order_form(call: Call[Form, Spoken]) -> Answer:
    """Price what is chosen."""
    left = await spend(call, PRICES)
    asked = await _priced(call, call.body.fields)
    return Answer(
        content=price_part(call.card, locale=_locale(call, call.query), asked=asked), media_type=HTML, headers=left
    )


@operation(
    method="POST",
    path="/order/{product}/artwork",
    id="measure-order-form",
    summary="What stands beside the form's field of artwork: what the file, the body itself, measures.",
    face="site",
    may=ANYBODY,
    query=SpokenOfFile,
    body=Upload,
    takes=ARTWORK,
    answers=(Answers(what="What it measures, or why it cannot be used.", content=_HTML),),
    problems=("not-found", "quota-exceeded", "artwork-busy", "artwork-unavailable"),
)
async def measure_order_form(call: Call[Upload, SpokenOfFile]) -> Answer:
    """Measure a file and put it by."""
    left = await spend(call, UPLOADS)
    card, locale = call.card, _locale(call, call.query)
    _offer(call)
    try:
        found = await put_by(call, call.query.name)
    except (UnfitArtworkError, ArtworkTooLargeError) as error:
        return Answer(content=artwork_part(card, locale=locale, refused=str(error)), media_type=HTML, headers=left)
    body = artwork_part(card, locale=locale, handle=found.handle, artwork=found.artwork)
    return Answer(content=body, media_type=HTML, headers=left)


@operation(
    method="POST",
    path="/order/{product}/send",
    id="send-order-form",
    summary="Send what is chosen; answers with a part to show in the form's place.",
    face="site",
    may=ANYBODY,
    query=Spoken,
    body=Form,
    takes=(FORM,),
    answers=(
        Answers(status=201, what="What became of it.", content=_HTML),
        Answers(what="What does not fit; nothing is kept.", content=_HTML),
    ),
    problems=("not-found", "quota-exceeded"),
)
async def send_order_form(call: Call[Form, Spoken]) -> Answer:
    """Send what is chosen, for the form's script."""
    sent = await _sent(call)
    locale = _locale(call, call.query)
    if isinstance(sent, Asked):
        return Answer(content=price_part(call.card, locale=locale, asked=sent), media_type=HTML)
    return Answer(content=_thanks(call, "sent.html", locale, sent), status=201, media_type=HTML, headers=sent.headers)


@operation(
    method="POST",
    path="/order/{product}",
    id="post-order-form",
    summary="The form without scripts: show the price, or send what is chosen.",
    face="site",
    may=ANYBODY,
    query=Spoken,
    body=Form,
    takes=(FORM,),
    answers=(
        Answers(status=201, what="What became of it.", content=_HTML),
        Answers(what="The form again, with its price or what does not fit.", content=_HTML),
    ),
    problems=("not-found", "quota-exceeded"),
)
async def post_order_form(call: Call[Form, Spoken]) -> Answer:
    """Price or send, answered by a page."""
    if call.body.fields.get("do") == ("price",):
        left = await spend(call, PRICES)
        return _page(call, "order.html", await _priced(call, call.body.fields), left)
    sent = await _sent(call)
    if isinstance(sent, Asked):
        return _page(call, "order.html", sent, {})
    body = _thanks(call, "sent_page.html", _locale(call, call.query), sent)
    return Answer(content=body, status=201, media_type=HTML, headers={**sent.headers, **_SHOWN})


@operation(
    method="GET",
    path="/",
    id="show-demo-shop",
    summary="A page of an invented shop that holds the order form, in a demo alone.",
    face="site",
    may=ANYBODY,
    query=Shown,
    answers=(Answers(what="The page.", content=_HTML),),
    problems=("not-found",),
)
async def show_demo_shop(call: Call[Nothing, Shown]) -> Answer:
    """The demo's shop."""
    settings, card = call.desk.settings, call.card
    if not settings.demo or not settings.book:
        raise ProblemError("not-found")
    offers = public_offers(card)
    product = next((one for one in offers if one.key == call.query.product), offers[0])
    key = await call.desk.in_book(lambda _: form_key(settings))
    body = page(
        "demo_shop.html",
        card.region.locale,
        card.region.currency,
        shop=card.letterhead,
        offers=offers,
        product=product,
        key=key,
        files=FILES,
        base=settings.base_url,
    )
    return Answer(content=body, media_type=HTML, headers=_SHOWN)


@operation(
    method="GET",
    path="/order/files/{name}",
    id="get-site-file",
    summary="The script and the style of the pages.",
    face="site",
    may=ANYBODY,
    answers=(Answers(what="The file.", content={SCRIPT: None, CSS: None}, headers=("ETag",)),),
    problems=("not-found",),
    tagged=True,
)
async def get_site_file(call: Call[Nothing, Nothing]) -> Answer:
    """A file of ours, known by its content."""
    kinds = {"order.js": SCRIPT, "order.css": CSS, "office.css": CSS, "shop.css": CSS}
    name = call.path["name"]
    if name not in kinds:
        raise ProblemError("not-found")
    content = site_file(name)
    headers = {
        "ETag": tag_of_content(content),
        "Cache-Control": "public, max-age=300",
        "Cross-Origin-Resource-Policy": "cross-origin",
    }
    return Answer(content=content, media_type=kinds[name], headers=headers)


def site_file(name: str) -> bytes:
    """A file of the pages."""
    from importlib.resources import files

    return files("api.site").joinpath("files", name).read_bytes()


def _locale(call: Call[object, Spoken], asked: Spoken) -> str:
    return locale_for(asked.locale, call.accept_language, call.card.region.locale)


def _offer(call: Call[object, Spoken]) -> PublicOffer:
    try:
        return public_offer(offer_by_key(call.path["product"], call.card), call.card)
    except JobError as error:
        raise ProblemError("not-found") from error


def _page(call: Call[object, Spoken], name: str, asked: Asked, headers: dict[str, str]) -> Answer:
    token = new_token(call.desk.settings.secret, call.desk.now())
    today = call.desk.today(call.card)
    locale = _locale(call, call.query)
    body = form_page(
        name,
        _offer(call),
        call.card,
        locale=locale,
        asked=asked,
        token=token,
        today=today,
        most_bytes=call.desk.settings.most_artwork_bytes,
    )
    return Answer(content=body, media_type=HTML, headers={**headers, **(_SHOWN if name == "order.html" else {})})


async def _priced(call: Call[Form, Spoken], fields: Fields) -> Asked:
    offer, locale = _offer(call), _locale(call, call.query)
    on = call.desk.today(call.card)
    try:
        choice = choice_from(fields, offer, with_contact=False, locale=locale)
        artwork = await artwork_of(call, choice)
        prices = await call.desk.engine(lambda: prices_of(choice, call.card, on=on, artwork=artwork))
    except NotPricedError as error:
        return Asked(fields=fields, not_priced=error.reasons)
    except JobError as error:
        return Asked(fields=fields, faults=faults_of(error, locale))
    return Asked(fields=fields, prices=prices)


async def _sent(call: Call[Form, Spoken]) -> Asked | Thanks:
    """Keep what a person sent; thank a machine for nothing."""
    offer, locale = _offer(call), _locale(call, call.query)
    fields, settings = call.body.fields, call.desk.settings
    token = (fields.get("token") or ("",))[-1]
    if any(fields.get(HONEYPOT, ())) or not is_human(token, settings.secret, call.desk.now()):
        return Thanks(kind="request")
    call.key = token
    try:
        kept = await keep(call, choice_from(fields, offer, with_contact=True, locale=locale))
    except KeyUsedError:  # one form, another request: it was not shown for that
        return Thanks(kind="request")
    except JobError as error:
        return Asked(fields=fields, faults=faults_of(error, locale))
    link = f"{settings.base_url}/look/{kept.token}"
    return Thanks(kind=kind_of(kept.entry), number=kept.entry.number, link=link, headers=kept.headers)


def _thanks(call: Call[object, Spoken], name: str, locale: str, sent: Thanks) -> bytes:
    card = call.card
    told = {"shop": card.letterhead.name, "files": FILES, "home": HOME}
    return page(name, locale, card.region.currency, answer=sent, link=sent.link, **told)


ROUTES = (
    show_demo_shop,
    show_offers,
    get_site_file,
    show_order_form,
    get_order_form,
    price_order_form,
    measure_order_form,
    send_order_form,
    post_order_form,
)
