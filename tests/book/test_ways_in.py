"""What the API and the sender lean on: private links, keys, deliveries, budgets, requests that come twice."""

from __future__ import annotations

import datetime
import zlib
from concurrent.futures import ThreadPoolExecutor

import pytest
from msgspec.structs import replace
from sqlalchemy import select

from quoting.book import AccessKey, Contact, Delivery, Entry, NewKey, QuoteBook, RequestKey
from quoting.book.tables import IN_ORDER
from quoting.errors import BookError, InputError, KeyUsedError, QuoteNotFoundError, StaleVersionError, StateError
from tests.book.conftest import Addresses
from tests.book.shop import LATER, NOW, SECRET, card, drafted, issued, priced

SOON, HOUR = NOW + datetime.timedelta(minutes=1), datetime.timedelta(hours=1)


def asked(book: QuoteBook, offer: str, **told: object) -> Entry:
    """A request of a visitor's."""
    return book.ask(priced(), card(), offer=offer, at=NOW, by="form", **told)  # type: ignore[arg-type]


def offers() -> dict[str, str]:
    """The card's offers: one that is issued at once, one that the owner issues."""
    return {offer.issued: offer.name for offer in card().offers}


def everything(book: QuoteBook) -> str:
    """Every row of a book as text."""
    with book.storage.reading() as connection:
        return repr([connection.execute(select(table)).all() for table in IN_ORDER])


@pytest.mark.parametrize("issued_by", ["at once", "by the owner"])
def test_a_request_gets_a_private_link_that_opens_it_and_nothing_else(address: str, issued_by: str) -> None:
    with QuoteBook(address, secret=SECRET) as book:
        entry, other = asked(book, offers()[issued_by]), asked(book, offers()[issued_by])
        token = book.link_token(entry)

        assert book.by_link(token) == entry == book.get(entry.id)
        assert token != book.link_token(other)
        assert [event.kind for event in book.history(entry.id)][:2] == ["drafted", "requested"]
        assert (entry.offer, entry.state) == (offers()[issued_by], {"at once": "open"}.get(issued_by, "draft"))
        assert token not in everything(book)
        for wrong in (
            "",
            "x",
            token[:-1],
            token[:-1] + ("A" if token[-1] != "A" else "B"),
            f"{token}ä",
            token.upper(),
        ):
            with pytest.raises(QuoteNotFoundError):
                book.by_link(wrong)
        assert book.verify(engines={}).is_sound
    with QuoteBook(address, secret=SECRET) as again:
        assert again.link_token(again.get(entry.id)) == token
    with QuoteBook(address) as without:
        assert without.by_link(token).id == entry.id
        with pytest.raises(BookError, match="secret of 16 bytes"):
            without.link_token(entry)
        with pytest.raises(BookError, match="secret of 16 bytes"):
            without.make_link(entry.id, at=NOW, by="owner")


def test_a_new_link_takes_the_place_of_the_one_before_and_erasing_ends_it(address: str) -> None:
    with QuoteBook(address, secret=SECRET) as book:
        entry = issued(book)
        first = book.make_link(entry.id, at=NOW, by="owner", key="a-link-for-the-client")
        again = book.make_link(entry.id, at=LATER, by="owner", key="a-link-for-the-client")
        second = book.make_link(entry.id, at=LATER, by="owner", version=first.version)

        assert book.link_token(entry) == ""
        assert again == first
        assert book.by_link(book.link_token(second)).id == entry.id
        with pytest.raises(QuoteNotFoundError):
            book.by_link(book.link_token(first))
        with pytest.raises(StaleVersionError):
            book.make_link(entry.id, at=LATER, by="owner", version=first.version)

        book.erase_client(entry.client, at=LATER, by="owner")

        with pytest.raises(QuoteNotFoundError):
            book.by_link(book.link_token(second))
        with pytest.raises(StateError, match="erased"):
            book.make_link(entry.id, at=LATER, by="owner")
        assert book.verify(engines={}).is_sound


def test_a_client_takes_or_declines_by_the_link(address: str) -> None:
    with QuoteBook(address, secret=SECRET) as book:
        tokens = [book.link_token(asked(book, offers()["at once"])) for _ in range(2)]
        taken, declined = (book.by_link(token) for token in tokens)
        quantity = taken.terms.options[0].quantity

        book.accept(taken.id, quantity=quantity, revision=taken.revision, at=SOON, by="visitor")
        book.decline(declined.id, revision=declined.revision, at=SOON, by="visitor", note="too late for us")

        assert [book.by_link(token).state for token in tokens] == ["accepted", "declined"]


def test_a_request_that_comes_twice_is_kept_once_with_one_link(address: str) -> None:
    offer = offers()["at once"]
    key = RequestKey("a-key-of-the-order-form", whose="form 1", told="a hash of the body")
    with QuoteBook(address, secret=SECRET) as book:
        with ThreadPoolExecutor(16) as crew:
            entries = list(crew.map(lambda _: asked(book, offer, key=key), range(16)))

        assert len({(entry.id, book.link_token(entry)) for entry in entries}) == 1
        assert len(book.list(at=NOW).quotations) == 1
        assert [told.kind for told in book.outbox.waiting()] == ["requested", "issued"]
        with pytest.raises(KeyUsedError):
            asked(book, offer, key=replace(key, told="a hash of another body"))
        assert asked(book, offer, key=replace(key, whose="form 2")).id != entries[0].id
        assert drafted(book, key=key).id != entries[0].id
        assert book.verify(engines={}).is_sound


def test_a_client_is_kept_once_for_a_key_although_they_were_changed_meanwhile(book: QuoteBook) -> None:
    first, second = Contact(name="Hetty Farrow", email="hetty@post.example"), Contact(name="Hetty Farrow-Lunt")
    kept = book.keep_client(first, at=NOW, by="owner", key="a-client-of-the-shop")
    changed = book.keep_client(second, id=kept.id, version=kept.version, at=LATER, by="owner")

    assert book.keep_client(first, at=LATER, by="owner", key="a-client-of-the-shop") == kept
    assert book.client(kept.id) == changed
    with pytest.raises(KeyUsedError):
        book.keep_client(second, at=LATER, by="owner", key="a-client-of-the-shop")
    with pytest.raises(StaleVersionError):
        book.keep_client(first, id=kept.id, version=kept.version, at=LATER, by="owner")
    assert book.verify(engines={}).is_sound


def made(book: QuoteBook, name: str = "shop's site", **told: object) -> NewKey:
    """A key of the order form."""
    return book.keys.make(name, scopes=["form"], at=NOW, by="owner", **told)  # type: ignore[arg-type]


def test_a_key_is_told_once_and_known_until_it_ends(book: QuoteBook) -> None:
    new = made(book, origins=["https://shop.example"])

    assert book.keys.find(new.secret, at=NOW) == new.key == book.keys.list()[0]
    assert (new.key.scopes, new.key.origins) == (("form",), ("https://shop.example",))
    assert new.secret.startswith(f"qk_{new.key.id}_")
    assert len(new.secret) == len("qk_") + 16 + 1 + 43
    assert new.secret not in everything(book)
    assert book.keys.find(new.secret[:-1], at=NOW) is None

    ended = book.keys.end(new.key.id, at=SOON, by="owner")

    assert book.keys.find(new.secret, at=NOW) == ended
    assert book.keys.find(new.secret, at=SOON) is None
    assert book.keys.end(new.key.id, at=LATER, by="owner") == ended
    assert [event.kind for event in book.history(new.key.id)] == ["key made", "key ended"]
    assert book.verify(engines={}).is_sound


def test_a_key_that_ends_by_itself_opens_nothing_after(book: QuoteBook) -> None:
    new = made(book, ends_at=LATER)

    assert book.keys.find(new.secret, at=LATER - datetime.timedelta(microseconds=1)) == new.key
    assert book.keys.find(new.secret, at=LATER) is None


def test_rotating_leaves_both_good_for_the_overlap(book: QuoteBook) -> None:
    old = made(book, origins=["https://shop.example"])
    new = book.keys.rotate(old.key.id, at=NOW, by="owner", overlap=HOUR, key="rotation-of-november")
    again = book.keys.rotate(old.key.id, at=SOON, by="owner", overlap=HOUR, key="rotation-of-november")

    def good(at: datetime.datetime) -> list[bool]:
        return [book.keys.find(one.secret, at=at) is not None for one in (old, new)]

    assert (again.key, again.secret) == (new.key, "")
    assert (new.key.name, new.key.scopes, new.key.origins) == (old.key.name, old.key.scopes, old.key.origins)
    assert [good(at) for at in (NOW, NOW + HOUR - datetime.timedelta(seconds=1), NOW + HOUR)] == [
        [True, True],
        [True, True],
        [False, True],
    ]
    with pytest.raises(QuoteNotFoundError):
        book.keys.rotate(old.key.id, at=LATER, by="owner")
    with pytest.raises(QuoteNotFoundError):
        book.keys.rotate("nobody", at=LATER, by="owner")
    assert book.verify(engines={}).is_sound


@pytest.mark.parametrize("told", [{"scopes": []}, {"scopes": ["form"], "name": ""}, {"scopes": ["a\nb"]}])
def test_a_key_without_scope_or_name_is_refused(book: QuoteBook, told: dict[str, object]) -> None:
    with pytest.raises(InputError):
        book.keys.make(**{"name": "site", "at": NOW, "by": "owner", **told})  # type: ignore[arg-type]

    assert book.keys.list() == ()


def claimed(book: QuoteBook, at: datetime.datetime, most: int = 20) -> tuple[Delivery, ...]:
    """What a sender takes for an hour."""
    return book.outbox.claim(at=at, until=at + HOUR, most=most)


def test_a_change_is_handed_out_once_to_each_channel_and_delivered(book: QuoteBook) -> None:
    issued(book)
    told = book.outbox.waiting()[0]
    for _ in range(2):
        book.outbox.hand_out(told.position, ["mail to shop", "webhook 1", "mail to shop"], at=NOW)

    mail, hook = claimed(book, NOW)

    assert book.outbox.waiting() == ()
    assert (mail.channel, hook.channel, mail.told, mail.attempts) == ("mail to shop", "webhook 1", told, 1)
    assert claimed(book, SOON) == ()
    assert book.outbox.delivered(mail, at=SOON)
    assert not book.outbox.delivered(mail, at=SOON)
    assert book.outbox.failed(hook, "no answer\nin time", next_at=SOON)
    assert [one.delivered_at for one in book.outbox.of(told.id)] == [SOON, None]
    assert [(one.channel, one.attempts, one.refused) for one in claimed(book, SOON)] == [
        ("webhook 1", 2, "no answer in time")
    ]
    assert book.verify(engines={}).is_sound


def test_what_a_sender_died_with_is_taken_up_by_another_and_the_dead_one_is_not_heard(book: QuoteBook) -> None:
    issued(book)
    book.outbox.hand_out(book.outbox.waiting()[0].position, ["mail to shop"], at=NOW)
    (lost,) = claimed(book, NOW)

    (found,) = claimed(book, NOW + HOUR)

    assert (found.told, found.attempts) == (lost.told, 2)
    assert not book.outbox.failed(lost, "too late", next_at=None)
    assert not book.outbox.delivered(lost, at=LATER)
    assert book.outbox.delivered(found, at=LATER)


def test_what_was_given_up_is_listed_and_may_be_tried_again(book: QuoteBook) -> None:
    for _ in range(3):
        issued(book)
    for told in book.outbox.waiting():
        book.outbox.hand_out(told.position, ["mail to shop"], at=NOW)
    deliveries = claimed(book, NOW)
    for one in deliveries:
        book.outbox.failed(one, "address refused", next_at=None)

    first = book.outbox.undeliverable(most=1)
    rest = book.outbox.undeliverable(after=first[0].told.position)

    assert [one.told for one in (*first, *rest)] == [one.told for one in deliveries]
    assert claimed(book, LATER) == ()
    assert book.outbox.try_again(at=LATER, position=first[0].told.position) == 1
    assert [one.told for one in claimed(book, LATER)] == [first[0].told]
    assert book.outbox.try_again(at=LATER) == 2
    assert book.outbox.undeliverable() == ()


def test_senders_that_claim_together_take_each_delivery_once(addresses: Addresses) -> None:
    address = addresses()
    with QuoteBook(address) as one, QuoteBook(address) as other:
        for _ in range(12):
            issued(one)
        for told in one.outbox.waiting():
            one.outbox.hand_out(told.position, ["mail", "webhook"], at=NOW)
        with ThreadPoolExecutor(8) as crew:
            found = list(crew.map(lambda place: claimed([one, other][place % 2], NOW, most=5), range(8)))

    taken = [(delivery.told.position, delivery.channel) for some in found for delivery in some]
    assert len(taken) == len(set(taken)) == 24


def test_what_a_channel_said_of_somebody_goes_with_them(book: QuoteBook) -> None:
    entry = issued(book, priced(client="Isaac Pell"))
    book.outbox.hand_out(book.outbox.waiting()[0].position, ["mail to client"], at=NOW)
    (delivery,) = claimed(book, NOW)
    book.outbox.failed(delivery, "550 isaac@post.example unknown", next_at=None)

    book.erase_client(entry.client, at=LATER, by="owner")

    assert [one.refused for one in book.outbox.of(entry.id)] == ["erased"]
    assert "isaac" not in everything(book)


def test_a_budget_is_shared_and_never_overdrawn(addresses: Addresses) -> None:
    address = addresses()
    with QuoteBook(address) as one, QuoteBook(address) as other:
        with ThreadPoolExecutor(16) as crew:
            shares = list(
                crew.map(
                    lambda place: [one, other][place % 2].budgets.take("form", 7, most=100, until=SOON), range(32)
                )
            )

        assert sum(shares) == 100
        assert sorted(set(shares)) == [0, 2, 7]
        assert one.budgets.take("another", 7, most=5, until=SOON) == 5
        assert one.budgets.take("form", 7, most=100, until=LATER) == 7
        other.budgets.forget(before=LATER)
        assert one.budgets.take("another", 7, most=5, until=SOON) == 5


def test_the_history_of_the_book_is_read_page_by_page(book: QuoteBook) -> None:
    issued(book)
    issued(book)
    head = book.head()

    first = book.events(most=3)
    rest = book.events(after=first[-1].position)

    assert [event.position for event in (*first, *rest)] == list(range(1, len(first) + len(rest) + 1))
    assert rest[-1] == head


def test_published_cards_are_listed_and_read_again(book: QuoteBook) -> None:
    hashes = [
        book.publish_card(card(version), at=at, by="owner") for version, at in (("2026-1", NOW), ("2026-2", LATER))
    ]

    assert [(one.hash, one.version, one.published_at) for one in book.cards()] == [
        (hashes[0], "2026-1", NOW),
        (hashes[1], "2026-2", LATER),
    ]
    assert book.card(hashes[1]) == card("2026-2")
    with pytest.raises(QuoteNotFoundError):
        book.card("no hash of a card")


def test_publishing_a_card_is_safe_to_ask_for_twice(book: QuoteBook) -> None:
    first = book.publish_card(card(), at=NOW, by="owner", key="a-card-of-november")
    again = book.publish_card(card(), at=LATER, by="owner", key="a-card-of-november")

    assert first == again
    with pytest.raises(KeyUsedError):
        book.publish_card(card("2026-2"), at=LATER, by="owner", key="a-card-of-november")
    assert [one.published_at for one in book.cards()] == [NOW]


def test_a_card_stands_as_it_was_published_though_it_is_packed_otherwise_today(
    book: QuoteBook, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another zlib packs the same card into other bytes; what is asked for again is the card."""
    pack = zlib.compress
    book.publish_card(card(), at=NOW, by="owner")
    monkeypatch.setattr(zlib, "compress", lambda content, _: pack(content, 9))
    book.publish_card(replace(card()), at=LATER, by="owner", key="a-card-packed-otherwise")

    assert book.verify(engines={}).is_sound


def test_a_key_leads_to_what_stood_already_as_it_was_asked_for(book: QuoteBook) -> None:
    first, second = Contact(name="Hetty Farrow", email="hetty@post.example"), Contact(name="Hetty Farrow-Lunt")
    stands = book.keep_client(first, at=NOW, by="owner")
    kept = book.keep_client(first, at=NOW, by="owner", key="a-client-who-stands")
    book.keep_client(second, id=kept.id, at=LATER, by="owner")
    book.publish_card(card(), at=NOW, by="owner")
    book.publish_card(card(), at=LATER, by="owner", key="a-card-that-stands")

    assert kept.id == stands.id
    assert book.keep_client(first, at=LATER, by="owner", key="a-client-who-stands") == kept
    assert book.client(kept.id).contact == second
    for used in (
        lambda: book.keep_client(second, at=LATER, by="owner", key="a-client-who-stands"),
        lambda: book.publish_card(card("2026-2"), at=LATER, by="owner", key="a-card-that-stands"),
    ):
        with pytest.raises(KeyUsedError):
            used()
    assert [one.published_at for one in book.cards()] == [NOW]
    assert book.verify(engines={}).is_sound


def test_a_book_says_that_it_is_ready(book: QuoteBook) -> None:
    book.check_ready(least_bytes=1)


def test_what_is_public_of_a_key_holds_no_secret() -> None:
    assert set(AccessKey.__struct_fields__) == {"id", "name", "scopes", "origins", "made_at", "ends_at"}
