"""
Nothing of the shop's inside crosses: not in bodies, headers, tags, errors or documents (A43, A44).

Pairs of cards: one has every cost of the other times a factor, and mark-ups that make up for it, so that every
price is the same to the coin; who works, what machines and suppliers are called and what is noted differ too.
"""

from __future__ import annotations

import datetime
import hashlib
import io
import itertools
import random
from collections.abc import Callable, Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import msgspec
import pikepdf
import pytest
from litestar.testing import TestClient
from msgspec import Struct, inspect
from msgspec.structs import replace

from api.app import create_app
from api.etags import tag_of_content
from api.operations import Operation
from api.public import ROUTES, types
from api.public.types import PublicType, told
from quoting import estimate_job, load_job
from quoting.book import QuoteBook
from quoting.job import Client
from quoting.offers import Prices, prices_of, public_offers, read_choice
from quoting.offers.prices import AskedPrice, NextPrice
from quoting.quotation import Quotation, QuotedItem, QuotedOption, QuotedPrice, QuotedTax
from quoting.rate_card import Letterhead, RateCard
from quoting.units import Amount, Measure, Rise
from tests.api.conftest import HERE, SECRET
from tests.api.public.conftest import Shop
from tests.api.public.visiting import COASTERS, CONTACT, UNPRICED, Visitor
from tests.conftest import DAY, demo_job_path
from tests.offers.choosing import any_choice
from tests.offers.test_choices import CARD

PAIRS = 100
# Powers of 2 and 5, so that cost, rate and mark-up stay finite; at most 3 places, so that no hour rate is rounded.
FACTORS = ("0.8", "0.64", "0.5", "0.4", "0.32", "0.25", "0.2", "0.16", "0.125")
_PRICES = {"pricing", "tax", "offers", "letterhead"}  # what is the client's already
INSIDE = "CANARY-{}"


def operations() -> list[Operation]:
    """Every operation of the public face."""
    return [route.opt["operation"] for route in ROUTES]


# A43: types


def test_every_answer_of_the_public_face_is_a_public_type() -> None:
    for one in operations():
        assert one.face == "public"
        for answer in one.answers:
            for media_type, kind in answer.content.items():
                told = f"{one.id} {media_type}"
                if kind is None or kind == dict[str, Any]:
                    assert media_type != "application/json" or one.id == "get-offer-schema", told
                else:
                    assert issubclass(kind, PublicType), told


def test_public_types_are_made_of_nothing_but_themselves() -> None:
    checked = 0
    for name, kind in vars(types).items():
        if not (isinstance(kind, type) and issubclass(kind, PublicType)):
            continue
        checked += 1
        assert kind.__module__ == types.__name__, name
        assert kind.__bases__ == ((Struct,) if kind is PublicType else (PublicType,)), name
        for field in inspect.type_info(kind).fields:  # type: ignore[attr-defined]  # a struct's
            for inner in structs_in(field.type):
                assert issubclass(inner, PublicType), f"{name}.{field.name}"
    assert checked >= 20


@pytest.mark.parametrize(
    ("inner", "public"),
    [
        (Quotation, types.PublicQuotation),
        (QuotedOption, types.PublicOption),
        (QuotedItem, types.PublicItem),
        (QuotedPrice, types.PublicPrice),
        (QuotedTax, types.PublicTax),
        (Letterhead, types.PublicShop),
        (Client, types.PublicClient),
        (AskedPrice, types.PricedQuantity),
        (NextPrice, types.NextQuantity),
        (Prices, types.ChoicePrices),
    ],
)
def test_nothing_that_is_the_clients_is_left_out(inner: type[Struct], public: type[Struct]) -> None:
    assert inner.__struct_fields__ == public.__struct_fields__


def structs_in(kind: Any) -> Iterator[type]:
    """Every struct inside a type."""
    if isinstance(kind, inspect.StructType):
        yield kind.cls
    for inner in (*getattr(kind, "types", ()), getattr(kind, "item_type", None), getattr(kind, "value_type", None)):
        if inner is not None:
            yield from structs_in(inner)


def test_what_is_no_public_type_is_not_told() -> None:
    estimate = estimate_job(load_job(demo_job_path("marrowby-lane", "reprint")), CARD, on=DAY)

    with pytest.raises(TypeError):
        told(type(estimate), estimate)
    with pytest.raises(msgspec.ValidationError):
        told(types.ChoicePrices, estimate)
    with pytest.raises(msgspec.ValidationError):
        told(
            types.Shop,
            {"name": "x", "currency": "GBP", "locale": "en", "tax_name": "", "tax_included": False, "cost": 1},
        )


# A44: pairs


def with_costs(card: RateCard, factor: Decimal, name: Callable[[str], str]) -> RateCard:
    """The same prices at other costs: every amount that the shop pays times a factor, every name another."""

    def scaled(value: Any, path: tuple[str, ...]) -> Any:
        if path[:1] and path[0] in _PRICES:
            return value
        if isinstance(value, Amount):
            return Amount(f"{(value.in_base_unit * factor).normalize():f}")
        if isinstance(value, Struct) and not isinstance(value, Measure):
            return replace(
                value, **{one: scaled(getattr(value, one), (*path, one)) for one in value.__struct_fields__}
            )
        if isinstance(value, dict):
            return {key: scaled(one, (*path, key)) for key, one in value.items()}
        return tuple(scaled(one, path) for one in value) if isinstance(value, tuple) else value

    made: RateCard = scaled(card, ())
    marks = made.pricing.mark_ups
    assert marks is not None
    rises = {
        one: Rise(f"{(((1 + getattr(marks, one)) / factor - 1) * 100).normalize():f} %")
        for one in marks.__struct_fields__
    }
    return replace(
        made,
        card=replace(made.card, name=name("card")),
        pricing=replace(made.pricing, mark_ups=type(marks)(**rises)),
        people={key: replace(one, name=name(key), unpaid_because=name("note")) for key, one in made.people.items()},
        presses={key: replace(one, name=name(key)) for key, one in made.presses.items()},
        machines={key: replace(one, name=name(key)) for key, one in made.machines.items()},
        plate_suppliers={key: replace(one, name=name(key)) for key, one in made.plate_suppliers.items()},
    )


class Chance:
    """Chance that is the same for both of a pair."""

    def __init__(self) -> None:
        self._draws = itertools.count()

    def __call__(self, size: int) -> bytes:
        """So many bytes."""
        drawn = b"".join(hashlib.sha256(f"{next(self._draws)}".encode()).digest() for _ in range(size // 32 + 1))
        return drawn[:size]


class Side:
    """One shop of a pair: its app and book, at a time that stands still."""

    def __init__(self, shop: Shop, book: Path) -> None:
        self._chance = Chance()
        self.book = QuoteBook(str(book), secret=SECRET.encode(), chance=self._chance)
        self.at = datetime.datetime(2026, 11, 25, 10, tzinfo=datetime.UTC)
        made = self.book.keys.make("pages", scopes=("form",), at=self.at, by="owner")
        app = create_app(replace(shop.settings, book=str(book)), clock=lambda: self.at)
        self.desk: Any = app.state.desk
        self.desk._book = self.book
        self.desk._published = True
        self.client = TestClient(app, base_url=HERE, raise_server_exceptions=False)
        self.key = made.secret

    def use(self, card: RateCard) -> None:
        """Price with another card from now on."""
        self.at += datetime.timedelta(seconds=1)
        self.book.publish_card(card, at=self.at, by="owner")
        self.desk.card = card
        self.desk._card_until = 0.0

    def told(self, choice: dict[str, Any], key: str, *, documents: bool) -> list[tuple[Any, ...]]:
        """Everything that a visitor is told, byte for byte, but for the id of each request."""
        visitor = Visitor(self.client, self.key, address="2001:db8::1")
        answers = [visitor.get("/v1/public/offers")]
        answers += [visitor.get(f"/v1/public/offers/{choice['product']}{more}") for more in ("", "/schema")]
        answers += [visitor.price(choice), visitor.price({**choice, "edges": "plaid", "quantities": [1]})]
        sent = visitor.send(choice, key=key)
        answers.append(sent)
        if sent.status_code == 201:
            path = "/" + sent.json()["link"].split("/", 3)[3]
            accepts = ["application/json", "application/xml", *(["application/pdf"] if documents else [])]
            answers += [visitor.get(path, Accept=accept) for accept in accepts]
            answers.append(visitor.post(f"{path}/acceptance", {"revision": 1, "quantity": 7}, key=f"{key}-accepted"))
            answers.append(visitor.post(f"{path}/decline", {"revision": 1}, key=f"{key}-declined"))
        answers.append(visitor.price(UNPRICED))
        return [self._bare(answer) for answer in answers]

    @staticmethod
    def _bare(answer: Any) -> tuple[Any, ...]:
        id = answer.headers["request-id"]
        headers = sorted((name, value) for name, value in answer.headers.items() if name != "request-id")
        return answer.status_code, headers, answer.content.replace(id.encode(), b"")


@pytest.fixture
def sides(shop: Shop, tmp_path: Path) -> Iterator[tuple[Side, Side]]:
    """Both shops of a pair."""
    pair = Side(shop, tmp_path / "one.sqlite"), Side(shop, tmp_path / "other.sqlite")
    yield pair
    for side in pair:
        side.book.close()


def generous(card: RateCard) -> RateCard:
    """The card without what looks at cost: no floor; a deposit that covers what is paid before printing."""
    return replace(card, pricing=replace(card.pricing, least_margin=type(card.pricing.least_margin)("0 %")))


def pairs(number: int, chance: random.Random) -> Iterator[tuple[RateCard, RateCard, dict[str, Any]]]:
    """Two cards of equal prices and different costs, and a choice; costs are rounded, which may tip the plan."""
    marks = CARD.pricing.mark_ups
    assert marks is not None
    while True:
        rises = {one: Rise(f"{chance.randrange(120, 160)} %") for one in marks.__struct_fields__}
        base = generous(CARD)
        base = replace(
            base,
            card=replace(base.card, version=f"pair {number}"),
            pricing=replace(base.pricing, mark_ups=type(marks)(**rises)),
        )
        other = with_costs(base, Decimal(chance.choice(FACTORS)), lambda what: f"Another {what} {number}")
        told = any_choice(chance.choice(public_offers(CARD)), chance, may_be_unpriced=False)
        told["quantities"] = told["quantities"][:1]
        choice = read_choice(told)
        if prices_of(choice, base, on=DAY) == prices_of(choice, other, on=DAY):
            yield base, other, told


def compare(sides: tuple[Side, Side], numbers: range, *, documents: Callable[[int], bool]) -> None:
    """Hold the answers of pairs against each other."""
    for number in numbers:
        one, other, choice = next(pairs(number, random.Random(f"pair {number}")))
        assert one.person_rate("owner") != other.person_rate("owner")
        assert one.content_hash != other.content_hash
        answers = []
        for side, card in zip(sides, (one, other), strict=True):
            side.use(card)
            answers.append(side.told(choice, f"key-of-pair-{number:08}", documents=documents(number)))
        for here, there in zip(*answers, strict=True):
            assert here == there, choice
        assert [answer[0] for answer in answers[0][:6]] == [200, 200, 200, 200, 422, 201]


def test_a_hundred_pairs_of_shops_tell_the_same_to_the_byte(sides: tuple[Side, Side], pango: None) -> None:
    compare(sides, range(PAIRS), documents=lambda number: number % 50 == 0)


@pytest.mark.long
def test_a_thousand_pairs_of_shops_tell_the_same_to_the_byte(sides: tuple[Side, Side], pango: None) -> None:
    compare(sides, range(PAIRS, 11 * PAIRS), documents=lambda number: number % 10 == 0)


# A44: canaries


def planted(card: RateCard) -> tuple[RateCard, list[str]]:
    """The card with sentinels for everything that is the shop's own, and what to look for."""
    names = (INSIDE.format(number) for number in itertools.count())
    sentinels: list[str] = []

    def name(_: str = "") -> str:
        sentinels.append(next(names))
        return sentinels[-1]

    made = with_costs(card, Decimal("0.8"), name)
    wage = "31337.77"
    owner = replace(made.people["owner"], wage=Amount(wage))
    marks = made.pricing.mark_ups
    assert marks is not None
    made = replace(
        made,
        people={**made.people, "owner": owner},
        pricing=replace(made.pricing, mark_ups=replace(marks, labour=Rise("173.31 %"))),
    )
    rate = made.person_rate("owner")
    sentinels += [wage, "173.31", "1.7331", f"{rate}", made.content_hash, made.content_hash[:16]]
    sentinels += [*made.presses, *made.plate_suppliers]
    return made, sentinels


def test_no_sentinel_of_the_shops_inside_is_told(sides: tuple[Side, Side], pango: None) -> None:
    card, sentinels = planted(generous(CARD))
    side = sides[0]
    side.use(replace(card, card=replace(card.card, version="canaries")))
    wanted = {"title": "Coasters", "contact": CONTACT}
    told = side.told({**COASTERS, **wanted}, "key-of-the-canaries-00", documents=True)
    told += side.told(
        {**COASTERS, "front": {"lines": [{"text": "W" * 200}]}}, "key-of-the-canaries-01", documents=False
    )
    everything = b"\n".join(_opened(content) + str(headers).encode() for _, headers, content in told)

    assert len(sentinels) >= 20
    assert b"Wilmot Dace" in everything
    assert [one for one in sentinels if one.encode() in everything] == []


def _opened(content: bytes) -> bytes:
    """An answer, and of a PDF every stream, its metadata and attachments among them."""
    if not content.startswith(b"%PDF"):
        return content
    parts = [content]
    with pikepdf.open(io.BytesIO(content)) as pdf:
        parts += [one.read_bytes() for one in pdf.objects if isinstance(one, pikepdf.Stream)]
    return b"\n".join(parts)


def test_a_tag_is_of_what_is_told_and_of_nothing_else(sides: tuple[Side, Side]) -> None:
    side = sides[0]
    side.use(replace(CARD, card=replace(CARD.card, version="tags")))
    answer = Visitor(side.client, side.key).get("/v1/public/offers/cards")

    assert answer.headers["etag"] == tag_of_content(answer.content)
