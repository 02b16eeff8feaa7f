"""Rate cards: checked, published as versions that stay as they are, listed. The one published last prices."""

from __future__ import annotations

from msgspec import Struct

from api.calls import Answer, Call, Nothing, in_json
from api.etags import tag_of_content
from api.keys import OWNER, READERS
from api.media_types import JSON, TOML
from api.operations import Answers, operation
from quoting import RateCard
from quoting.book.looking_up import CardVersion
from quoting.reader import to_json


class CheckedCard(Struct, frozen=True, kw_only=True):
    """A rate card without a fault, and what it holds."""

    name: str
    version: str
    hash: str
    presses: int
    stocks: int
    inks: int
    founts: int
    finishing: int
    offers: int


class PublishedCards(Struct, frozen=True, kw_only=True):
    """Every published version, oldest first; ``in_force`` is the hash of the one that prices."""

    cards: tuple[CardVersion, ...]
    in_force: str


@operation(
    method="POST",
    path="/v1/rate-cards/checks",
    id="check-card",
    summary="Read a rate card, as JSON or TOML, and tell every fault of it. Nothing is kept.",
    face="owner",
    may=READERS,
    body=RateCard,
    takes=(JSON, TOML),
    answers=(Answers(what="No fault, and what it holds.", content={JSON: CheckedCard}),),
    problems=("invalid-card",),
)
async def check(call: Call[RateCard, Nothing]) -> Answer:
    """Check a card."""
    card = call.body
    counted = {name: len(getattr(card, name)) for name in CheckedCard.__struct_fields__[3:]}
    return in_json(CheckedCard(name=card.card.name, version=card.card.version, hash=card.content_hash, **counted))


@operation(
    method="POST",
    path="/v1/rate-cards",
    id="publish-card",
    summary="Keep a version of a rate card for ever; a new one prices from now on.",
    face="owner",
    may=OWNER,
    body=RateCard,
    takes=(JSON, TOML),
    answers=(Answers(status=201, what="The version.", content={JSON: CardVersion}, headers=("Location",)),),
    problems=("invalid-card", "card-published"),
    once=True,
)
async def publish(call: Call[RateCard, Nothing]) -> Answer:
    """Publish a card."""
    card, asked = call.body, call.request_key()
    version = await call.desk.publish(card, by=call.credential.by, key=asked)
    where = f"{call.desk.settings.base_url}/v1/rate-cards/{version.hash}"
    return in_json(version, status=201, Location=where)


@operation(
    method="GET",
    path="/v1/rate-cards",
    id="list-cards",
    summary="Every published version of a rate card, and which one prices.",
    face="owner",
    may=READERS,
    answers=(Answers(what="The versions.", content={JSON: PublishedCards}),),
)
async def list_cards(call: Call[Nothing, Nothing]) -> Answer:
    """List the cards."""
    versions = await call.desk.in_book(lambda book: book.cards())
    return in_json(PublishedCards(cards=versions, in_force=call.card.content_hash))


@operation(
    method="GET",
    path="/v1/rate-cards/{hash}",
    id="get-card",
    summary="A rate card as it was published, by the hash of its content.",
    face="owner",
    may=READERS,
    answers=(Answers(what="The card.", content={JSON: RateCard}, headers=("ETag",)),),
    problems=("not-found",),
    tagged=True,
)
async def get(call: Call[Nothing, Nothing]) -> Answer:
    """Look at a card."""
    card = await call.desk.in_book(lambda book: book.card(call.path["hash"]))
    content = to_json(card)
    return Answer(content=content, headers={"ETag": tag_of_content(content)})


ROUTES = (check, publish, list_cards, get)
