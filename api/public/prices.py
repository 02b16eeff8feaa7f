"""Prices while a visitor chooses: nothing is kept."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from msgspec import Struct

from api.calls import Answer, Call, Nothing
from api.media_types import JSON
from api.operations import Answers, operation
from api.public.allowances import PRICES, spend
from api.public.artwork import artwork_of
from api.public.offers import ON_PAGES
from api.public.types import ChoicePrices, told
from api.reading import placed
from quoting import InputError
from quoting.offers import Choice, prices_of

EXAMPLE = {
    "choice": {
        "product": "coasters",
        "quantities": [100, 200],
        "front": {"inks": ["harbour-blue"], "lines": [{"text": "THE LANTERN & EEL"}, {"text": "Quay Street"}]},
    }
}


class PricesAsked(Struct, frozen=True, forbid_unknown_fields=True):
    """A choice whose price is wanted."""

    choice: Choice


@contextmanager
def told_of_choice() -> Iterator[None]:
    """Tell the faults of a choice by where they stand in the body, under ``choice``."""
    try:
        yield
    except InputError as error:
        raise placed(error, "choice") from error


@operation(
    method="POST",
    path="/v1/public/prices",
    id="price-choice",
    summary="What a choice costs, with the next quantities and a hundred more. Nothing is kept.",
    face="public",
    may=ON_PAGES,
    body=PricesAsked,
    example=EXAMPLE,
    answers=(Answers(what="The prices.", content={JSON: ChoicePrices}),),
    problems=("not-offered", "not-priced", "quota-exceeded"),
)
async def price_choice(call: Call[PricesAsked, Nothing]) -> Answer:
    """Price a choice."""
    left = await spend(call, PRICES)
    card, choice = call.card, call.body.choice
    on = call.desk.today(card)
    artwork = await artwork_of(call, choice)
    with told_of_choice():
        return await call.desk.engine(
            lambda: told(ChoicePrices, prices_of(choice, card, on=on, artwork=artwork), headers=left)
        )


ROUTES = (price_choice,)
