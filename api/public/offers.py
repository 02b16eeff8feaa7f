"""What the shop offers on its pages: the list, one offer in full, and the JSON Schema that a form is drawn from."""

from __future__ import annotations

from typing import Any

from msgspec.structs import asdict

from api.calls import Answer, Call, Nothing
from api.etags import tag_of_content
from api.keys import Role
from api.media_types import JSON
from api.operations import Answers, operation
from api.problems import ProblemError
from api.public.allowances import LOOKS, spend
from api.public.types import OfferDetails, OfferList, tagged, told
from quoting import NotOfferedError
from quoting.offer import Offer
from quoting.offers import choice_schema, offer_by_key, public_offer, public_offers
from quoting.reader import to_json

ON_PAGES: tuple[Role, ...] = ("form", "owner", "owner-ro")
LISTED = ("not-found", "quota-exceeded")
OFFERS = "/v1/public/offers"
SCHEMA_JSON = "application/schema+json"


@operation(
    method="GET",
    path=OFFERS,
    id="list-offers",
    summary="What the shop offers on its pages.",
    face="public",
    may=ON_PAGES,
    answers=(Answers(what="The offers.", content={JSON: OfferList}, headers=("ETag",)),),
    problems=("quota-exceeded",),
    tagged=True,
)
async def list_offers(call: Call[Nothing, Nothing]) -> Answer:
    """Every offer, in the card's order."""
    left = await spend(call, LOOKS)
    card = call.card
    made = {
        "shop": {
            "name": card.letterhead.name,
            "currency": card.region.currency,
            "locale": card.region.locale,
            "tax_name": card.tax.name,
            "tax_included": card.tax.prices_include_tax,
        },
        "offers": [
            {
                "key": seen.key,
                "name": seen.name,
                "issued": seen.issued,
                "schema": _schema_url(call, seen.key),
                "least_quantity": seen.least_quantity,
                "greatest_quantity": seen.greatest_quantity,
            }
            for seen in public_offers(card)
        ],
    }
    return tagged(told(OfferList, made, headers=left))


@operation(
    method="GET",
    path=OFFERS + "/{offer}",
    id="get-offer",
    summary="One offer: everything that may be chosen of it.",
    face="public",
    may=ON_PAGES,
    answers=(Answers(what="The offer.", content={JSON: OfferDetails}, headers=("ETag",)),),
    problems=LISTED,
    tagged=True,
)
async def get_offer(call: Call[Nothing, Nothing]) -> Answer:
    """One offer in full."""
    left = await spend(call, LOOKS)
    seen = public_offer(_offer(call), call.card)
    return tagged(told(OfferDetails, asdict(seen) | {"schema": _schema_url(call, seen.key)}, headers=left))


@operation(
    method="GET",
    path=OFFERS + "/{offer}/schema",
    id="get-offer-schema",
    summary="The JSON Schema (2020-12) of a choice of one offer; a form is drawn from it.",
    face="public",
    may=ON_PAGES,
    answers=(
        Answers(what="The schema.", content={SCHEMA_JSON: dict[str, Any], JSON: dict[str, Any]}, headers=("ETag",)),
    ),
    problems=LISTED,
    tagged=True,
)
async def get_offer_schema(call: Call[Nothing, Nothing]) -> Answer:
    """The schema of one offer."""
    left = await spend(call, LOOKS)
    offer = _offer(call)
    content = to_json({"$id": _schema_url(call, offer.key), **choice_schema(offer, call.card)})
    headers = {**left, "ETag": tag_of_content(content)}
    return Answer(content=content, media_type=call.wanted, headers=headers)


def _offer(call: Call[Nothing, Nothing]) -> Offer:
    try:
        return offer_by_key(call.path["offer"], call.card)
    except NotOfferedError as error:
        raise ProblemError("not-found") from error


def _schema_url(call: Call[Any, Any], key: str) -> str:
    return f"{call.desk.settings.base_url}{OFFERS}/{key}/schema"


ROUTES = (list_offers, get_offer, get_offer_schema)
