"""
Nothing of the shop's inside crosses: not in bodies, headers, tags, errors or documents (A43, A44).

Pairs of cards: one has every cost of the other times a factor, and mark-ups that make up for it, so that every
price is the same to the coin; who works, what machines and suppliers are called and what is noted differ too.
"""

from __future__ import annotations

import datetime
import io
import itertools
import random
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from decimal import Decimal
from functools import cache, partial
from typing import Any

import httpx
import msgspec
import pikepdf
import pytest
from msgspec import Struct, inspect
from msgspec.structs import replace

from api.etags import tag_of_content
from api.media_types import JSON, PDF, XML
from api.operations import Operation
from api.public import ROUTES, types
from api.public.types import PublicType, told
from api.settings import Settings
from api.telling.sender import payload
from quoting import estimate_job, load_job
from quoting.book import QuoteBook
from quoting.job import Client
from quoting.offers import Prices, prices_of, public_offers, read_choice
from quoting.offers.prices import AskedPrice, NextPrice
from quoting.quotation import Quotation, QuotedItem, QuotedOption, QuotedPrice, QuotedTax
from quoting.rate_card import Letterhead, RateCard
from quoting.reader import to_json
from quoting.units import Amount, Measure, Rise
from tests.api.asking import CARD as CARD_FOLDER
from tests.api.asking import once, problem, together
from tests.api.conftest import ENGINES, MANY, OPEN_HANDED, Mounted, asking, mounted_server, new_book
from tests.api.documents import Held
from tests.api.public.conftest import Shop, made_keys
from tests.api.public.visiting import COASTERS, STATIONERY, UNPRICED, Visitor
from tests.api.serving import free_url
from tests.book.shop import NOW
from tests.conftest import DAY, demo_job_path
from tests.offers.choosing import any_choice
from tests.offers.test_choices import CARD

PAIRS = 100
# Powers of 2 and 5, so that cost, rate and mark-up stay finite; at most 3 places, so that no hour rate is rounded.
FACTORS = ("0.8", "0.64", "0.5", "0.4", "0.32", "0.25", "0.2", "0.16", "0.125")
_PRICES = {"pricing", "tax", "offers", "letterhead"}  # what is the client's already
INSIDE = "CANARY-{}"
FOUND_AT = "https://quotes.marrowby.example"


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


def test_what_would_tell_the_inside_fails_and_tells_nothing_of_it(mounted_shop: Shop) -> None:
    """A43, on the real server, where an operation of the tests answers prices with an estimate."""
    answer = mounted_shop.stranger().get("/v1/inside")

    assert (answer.status_code, problem(answer)) == (500, "failed")
    assert set(answer.json()) == {"type", "title", "status", "detail", "instance"}


# A44: pairs


def with_costs(
    card: RateCard,
    factor: Decimal,
    name: Callable[[str], str],
    amount: Callable[[Amount], Amount] | None = None,
) -> RateCard:
    """
    The same prices at other costs: every amount that the shop pays times a factor, every name another.

    Args:
        amount: What stands for an amount, if not itself times the factor.
    """
    paid = amount or (lambda value: Amount(f"{(value.in_base_unit * factor).normalize():f}"))

    def scaled(value: Any, path: tuple[str, ...]) -> Any:
        if path[:1] and path[0] in _PRICES:
            return value
        if isinstance(value, Amount):
            return paid(value)
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


class Side:
    """One shop of a pair: a real server whose chance repeats, at a time that stands still."""

    def __init__(self, mounted: Mounted, client: httpx.Client) -> None:
        self.book_address = mounted.served.settings.book
        form, owner = made_keys(self.book_address)
        self.visitor = Visitor(client, form, address="2001:db8::1")
        self._owner = {"Authorization": f"Bearer {owner}", "Content-Type": JSON}
        self._client = client
        self._clock = mounted.clock
        self._at = NOW
        self._clock.set(self._at)

    def use(self, card: RateCard) -> None:
        """Price with another card from now on: the owner publishes it."""
        self._at += datetime.timedelta(seconds=1)
        self._clock.set(self._at)
        answer = self._client.post("/v1/rate-cards", content=to_json(card), headers={**self._owner, **once()})
        assert (answer.status_code, answer.json()["hash"]) == (201, card.content_hash), answer.text

    def told_of(self, card: RateCard, choice: dict[str, Any], key: str, *, documents: bool) -> list[tuple[Any, ...]]:
        """The same of another card."""
        self.use(card)
        return self.told(choice, key, documents=documents)

    def told(self, choice: dict[str, Any], key: str, *, documents: bool) -> list[tuple[Any, ...]]:
        """Everything that a visitor is told, byte for byte, but for the id of each request."""
        visitor = self.visitor
        answers = [visitor.get("/v1/public/offers")]
        answers += [visitor.get(f"/v1/public/offers/{choice['product']}{more}") for more in ("", "/schema")]
        answers += [visitor.price(choice), visitor.price({**choice, "edges": "plaid", "quantities": [1]})]
        sent = visitor.send(choice, key=key)
        answers.append(sent)
        if sent.status_code == 201:
            path = "/" + sent.json()["link"].split("/", 3)[3]
            accepts = [JSON, XML, *([PDF] if documents else [])]
            answers += [visitor.get(path, Accept=accept) for accept in accepts]
            answers.append(visitor.post(f"{path}/acceptance", {"revision": 1, "quantity": 7}, key=f"{key}-accepted"))
            answers.append(visitor.post(f"{path}/decline", {"revision": 1}, key=f"{key}-declined"))
        answers.append(visitor.price(UNPRICED))
        return [self._bare(answer) for answer in answers]

    @staticmethod
    def _bare(answer: httpx.Response) -> tuple[Any, ...]:
        id = answer.headers["request-id"]
        # The instant of an answer (RFC 9110, 6.6.1) is the system's, whatever our clock says.
        headers = [one for one in answer.headers.multi_items() if one[0] not in {"request-id", "date"}]
        return answer.status_code, headers, answer.content.replace(id.encode(), b"")

    def webhooks(self) -> list[bytes]:
        """What the sender would tell a webhook of everything that happened here, in order."""
        with QuoteBook(self.book_address) as book:
            return [payload(told, book.get(told.id)) for told in book.outbox.waiting(most=100_000)]


@pytest.fixture(scope="module", params=ENGINES)
def sides(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory, held: Held
) -> Iterator[tuple[Side, Side]]:
    """Both shops of a pair, on each engine; both say that they are found at the same place."""
    with ExitStack() as stack:

        def side(name: str) -> Side:
            folder = tmp_path_factory.mktemp(name)
            told = {**OPEN_HANDED, "most_prices_a_minute": MANY, "base_url": FOUND_AT, "hosts": ("127.0.0.1",)}
            settings = Settings(card=CARD_FOLDER, book=new_book(request, request.param, folder), **told)
            mounted = mounted_server(settings, folder, repeating=True, url=free_url())
            stack.enter_context(mounted.served)
            return Side(mounted, stack.enter_context(asking(mounted.served, held)))

        yield side("one"), side("other")


def generous(card: RateCard) -> RateCard:
    """The card without what looks at cost: no floor; a deposit that covers what is paid before printing."""
    return replace(card, pricing=replace(card.pricing, least_margin=type(card.pricing.least_margin)("0 %")))


@cache
def pair(number: int) -> tuple[RateCard, RateCard, dict[str, Any]]:
    """Two cards of equal prices and different costs, and a choice; costs are rounded, which may tip the plan."""
    chance = random.Random(f"pair {number}")
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
            return base, other, told


def compare(sides: tuple[Side, Side], numbers: range, *, documents: Callable[[int], bool]) -> None:
    """Hold the answers of pairs against each other, and what webhooks are told of them."""
    for number in numbers:
        *cards, choice = pair(number)
        assert cards[0].person_rate("owner") != cards[1].person_rate("owner")
        assert cards[0].content_hash != cards[1].content_hash
        asks = [
            partial(side.told_of, card, choice, f"key-of-pair-{number:08}", documents=documents(number))
            for side, card in zip(sides, cards, strict=True)
        ]
        answers = together(asks, threads=2)
        for here, there in zip(*answers, strict=True):
            assert here == there, choice
        assert [answer[0] for answer in answers[0][:6]] == [200, 200, 200, 200, 422, 201]
    here, there = (side.webhooks() for side in sides)

    assert len(here) >= len(numbers)
    assert here == there


def test_a_hundred_pairs_of_shops_tell_the_same_to_the_byte(sides: tuple[Side, Side], pango: None) -> None:
    """A44, two real servers on each engine; every 50th pair's documents too."""
    compare(sides, range(PAIRS), documents=lambda number: number % 50 == 0)


@pytest.mark.long
def test_a_thousand_pairs_of_shops_tell_the_same_to_the_byte(sides: tuple[Side, Side], pango: None) -> None:
    """A44, ten times as many."""
    compare(sides, range(PAIRS, 11 * PAIRS), documents=lambda number: number % 10 == 0)


# A44: canaries


def planted(card: RateCard) -> tuple[RateCard, list[str]]:
    """The card with sentinels for everything that is the shop's own, and what to look for."""
    numbers = itertools.count()
    sentinels: list[str] = []

    def plant(sentinel: str) -> str:
        sentinels.append(sentinel)
        return sentinel

    def amount(_: Amount) -> Amount:
        number = next(numbers)
        return Amount(plant(f"7{number:03}.{37 + number % 60}"))

    def name(_: str = "") -> str:
        return plant(INSIDE.format(next(numbers)))

    made = with_costs(card, Decimal("0.8"), name, amount)
    marks = made.pricing.mark_ups
    assert marks is not None
    rises = {one: Rise(f"{plant(f'17{place}.3{place}')} %") for place, one in enumerate(marks.__struct_fields__)}
    made = replace(made, pricing=replace(made.pricing, mark_ups=type(marks)(**rises)))
    for person in made.people:
        plant(f"{made.person_rate(person)}")
    for inner in (made.content_hash, made.content_hash[:16], *made.presses, *made.machines, *made.plate_suppliers):
        plant(inner)
    return made, sentinels


def test_no_sentinel_of_the_shops_inside_is_told(sides: tuple[Side, Side], pango: None) -> None:
    """A44: in bodies, headers, errors, in every stream of a PDF, its metadata and attachments, to a webhook."""
    card, sentinels = planted(replace(generous(CARD), card=replace(CARD.card, version="canaries")))
    for side in sides:  # both, so that they stay alike
        side.use(card)
        told = side.told({**COASTERS, "title": "Coasters"}, "key-of-the-canaries-00", documents=True)
        told += side.told(STATIONERY, "key-of-the-canaries-01", documents=False)
        told += side.told(UNPRICED, "key-of-the-canaries-02", documents=False)
        everything = b"\n".join(_opened(content) + str(headers).encode() for _, headers, content in told)
        everything += b"\n".join(side.webhooks()[-3:])

        assert len(sentinels) >= 100
        assert [status for status, _, _ in told].count(201) == 3
        assert b"Wilmot Dace" in everything
        assert b"/EmbeddedFile" in everything
        assert b"pdfaid:part" in everything
        assert [one for one in sentinels if one.encode() in everything] == []


def _opened(content: bytes) -> bytes:
    """An answer, and of a PDF every stream, its metadata and attachments among them."""
    if not content.startswith(b"%PDF"):
        return content
    parts = [content]
    with pikepdf.open(io.BytesIO(content)) as pdf:
        parts += [one.read_bytes() for one in pdf.objects if isinstance(one, pikepdf.Stream)]
    return b"\n".join(parts)


def test_a_tag_is_of_what_is_told_and_of_nothing_else(served_shop: Shop) -> None:
    visitor = served_shop.visitor()
    for path in ("/v1/public/offers", "/v1/public/offers/cards", "/v1/public/offers/cards/schema", visitor.link()):
        answer = visitor.get(path)

        assert answer.headers["etag"] == tag_of_content(answer.content)
